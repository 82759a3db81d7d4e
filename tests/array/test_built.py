"""Arrays put together from units: which units, which errors, what they do."""

import numpy as np
import pytest

from sim.array.built import CAUSES, Built, Errors, built_arrays, element_errors, responses, rms_within, trimmed
from sim.array.pattern import Look, best_weights, directivity, elements, error_sensitivity, response
from sim.study.model import Study
from tests.small_studies import BASE

SQUARE = [[0, 0], [0, 20], [20, 0], [20, 20]]


def _study(**array) -> Study:
    direction = [{"bearing": 45, "weights": [1, -1, -1, 1], "delays": ["94.3n", "47.2n", "47.2n", "0"]}]
    return Study.model_validate({**BASE, "array": {"positions": SQUARE, "direction": direction, **array}})


def test_arrays_are_made_within_builds():
    """Of builds of ten, four elements make two arrays each; what is left over, and unit 0, is in none."""
    units = np.arange(26)
    built = built_arrays(units, np.zeros(26, dtype=bool), 10, 4)
    assert [list(units[rows]) for rows in built.rows] == [
        [1, 2, 3, 4],
        [5, 6, 7, 8],
        [11, 12, 13, 14],
        [15, 16, 17, 18],
        [21, 22, 23, 24],
    ]
    assert built.whole.all()


def test_an_array_with_a_failed_unit_is_not_whole():
    """It stays among the arrays, as one that is no good."""
    failed = np.zeros(9, dtype=bool)
    failed[6] = True
    built = built_arrays(np.arange(9), failed, 8, 4)
    assert list(built.whole) == [True, False]


def test_too_few_units_make_no_array():
    """Three units are no square; nothing fails."""
    built = built_arrays(np.arange(4), np.zeros(4, dtype=bool), 16, 4)
    assert built.rows.shape == (0, 4)


def _errors(study, n_unit: int = 400) -> Errors:
    rng = np.random.default_rng(3)
    bench = 1 + 0.01 * (rng.normal(size=n_unit + 1) + 1j * rng.normal(size=n_unit + 1))
    built = built_arrays(np.arange(n_unit + 1), np.zeros(n_unit + 1, dtype=bool), 4, 4)
    return element_errors(study, built, bench, bench * np.exp(0.02j * rng.normal(size=n_unit + 1)))


def test_draws_depend_on_the_array_alone():
    """Antennas and places of the first arrays are the same however many more there are."""
    study = _study(antenna_tolerance="3 %", position_tolerance="0.3 m")
    few, many = _errors(study, 40), _errors(study, 400)
    np.testing.assert_array_equal(few.antenna, many.antenna[:10])
    np.testing.assert_array_equal(few.moved, many.moved[:10])
    # Uniform within the tolerance: its standard deviation is the tolerance over the root of three.
    assert np.abs(many.antenna - 1).max() <= 0.03 and np.abs(many.moved).max() <= 0.3
    assert many.antenna.real.std() == pytest.approx(0.03 / np.sqrt(3), rel=0.1)
    assert many.moved.std() == pytest.approx(0.3 / np.sqrt(3), rel=0.1)


@pytest.mark.parametrize("cause", CAUSES)
def test_one_kind_of_error_alone(cause):
    """With one kind of error the others are perfect, and without any all arrays are the pattern itself."""
    study = _study(antenna_tolerance="3 %", position_tolerance="0.3 m")
    errors = _errors(study)
    at, weights = elements(SQUARE, 1.83e6), np.array([1, -1, -1, 1])
    look = Look(np.pi / 4, 0.3)
    own = responses(at, weights, errors.only(cause), [look.behind])[:, 0]
    none = responses(at, weights, errors.only(), [look.behind])[:, 0]
    assert np.ptp(own) > 0
    assert none == pytest.approx(abs(response(at, weights, look.behind.bearing, look.elevation)) ** 2)


def test_a_moved_element_is_one_at_another_place():
    """A step in phase is what the pattern of the moved array has."""
    study = _study(position_tolerance="2 m")
    errors = _errors(study).only("position")
    weights, look = np.array([1, -1, -1, 1]), Look(1.0, 0.3)
    found = responses(elements(SQUARE, 3.53e6), weights, errors, [look])[:, 0]
    for array in (0, 17):
        there = elements(np.array(SQUARE) + errors.moved[array], 3.53e6)
        assert found[array] == pytest.approx(abs(response(there, weights, look.bearing, look.elevation)) ** 2)


def test_a_trimmer_takes_out_gain_at_one_frequency():
    """Gains of amplifier and feedline become alike, phases stay, antennas stay as they are."""
    errors = _errors(_study(antenna_tolerance="3 %"))
    left = trimmed(errors, errors)
    assert np.abs(left.amplifier * left.feedline) == pytest.approx(1)
    assert np.angle(left.amplifier) == pytest.approx(np.angle(errors.amplifier))
    np.testing.assert_array_equal(left.antenna, errors.antenna)


def test_rms_within_an_array():
    """What all elements share is no error; the rest comes out as it was put in."""
    rng = np.random.default_rng(5)
    gain, turn = rng.normal(0, 0.2, (4000, 4)), rng.normal(0, 1.0, (4000, 4))
    shared = 10 ** (rng.normal(0, 1, (4000, 1)) / 20) * np.exp(1j * rng.normal(0, 1, (4000, 1)))
    one = np.ones_like(gain)
    errors = Errors(10 ** (gain / 20) * np.exp(1j * np.deg2rad(turn)) * shared, one, one, np.zeros((4000, 4, 2)))
    assert rms_within(errors) == pytest.approx((0.2, 1.0), rel=0.03)
    assert np.isnan(rms_within(errors.only(*CAUSES).__class__(*(np.ones((0, 4)),) * 3, np.zeros((0, 4, 2))))).all()


def test_best_weights_beat_all_that_are_as_insensitive():
    """Of many random weights with no larger sensitivity none has more directivity; the bound is kept."""
    at, look = elements(SQUARE, 1.83e6), Look(np.pi / 4, np.deg2rad(20))
    limit = 10 ** (5.0 / 10)
    best = best_weights(at, look, limit)
    assert error_sensitivity(at, best, look) == pytest.approx(limit, rel=1e-6)
    rng = np.random.default_rng(7)
    tried = best + 0.2 * (rng.normal(size=(4000, 4)) + 1j * rng.normal(size=(4000, 4)))
    allowed = tried[error_sensitivity(at, tried, look) <= limit]
    assert len(allowed) > 100
    assert directivity(at, allowed, look).max() <= directivity(at, best, look)
    # Less than all elements in phase can have is not to be had.
    assert error_sensitivity(at, best_weights(at, look, 0.1), look) == pytest.approx(0.25, rel=1e-5)


def test_turning_the_array_changes_nothing():
    """Directivity and correlation hang on the array, not on north, and not on a factor of all weights."""
    turn = 0.7
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    weights, look = np.array([1, -1, -1j, 1]), Look(0.4, 0.3)
    plain = directivity(elements(SQUARE, 3.53e6), weights, look)
    turned = elements(np.array(SQUARE) @ rotation.T, 3.53e6)
    assert directivity(turned, weights * (2 - 3j), Look(0.4 - turn, 0.3)) == pytest.approx(plain, rel=1e-12)


def test_built_is_plain():
    """Arrays may be none."""
    none = Built(np.zeros((0, 4), dtype=int), np.zeros(0, dtype=bool))
    errors = element_errors(_study(), none, np.ones(1), np.ones(1))
    assert errors.factor.shape == (0, 4)
