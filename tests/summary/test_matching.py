"""Deviations within a build."""

import numpy as np
import pytest

from sim.summary.matching import build_deviations, build_matches, phase_deviations
from tests.summary.made import gathered


def test_deviation_from_own_build():
    """Units 1 to 3 and 4 to 6 are two builds; the nominal unit belongs to none and deviates by 0."""
    values = np.array([100.0, 1, 2, 6, 10, 20, 30])
    assert build_deviations(values, np.arange(7), 3).tolist() == [0, -2, -1, 3, -10, 0, 10]


def test_order_and_cut_do_not_matter():
    """A unit's build follows from its number, wherever it stands and if others are not there."""
    units = np.array([6, 4, 2, 0, 1])
    assert build_deviations(np.array([5.0, 1, 7, 9, 3]), units, 3).tolist() == [2, -2, 2, 0, -2]


def test_failed_units_are_not_in_the_mean():
    """NaN stays NaN and changes nothing for the others; a build of NaN gives no warning."""
    values = np.array([0, 1, np.nan, 3, np.nan, np.nan])
    found = build_deviations(values, np.arange(6), 3)
    np.testing.assert_array_equal(found, [0, -1, np.nan, 1, np.nan, np.nan])


def test_more_dimensions():
    """Further axes are taken one by one."""
    values = np.random.default_rng(1).normal(size=(10, 2, 3))
    found = build_deviations(values, np.arange(10), 4)
    np.testing.assert_array_equal(found[:, 1, 2], build_deviations(values[:, 1, 2], np.arange(10), 4))
    assert found[1:5].mean(axis=0) == pytest.approx(np.zeros((2, 3)), abs=1e-15)


def test_phase_across_the_turn():
    """Angles on both sides of ±180 degrees, or a turn apart, deviate by their difference."""
    phase = np.array([0.0, 179, -179, 540, 10, 20])
    assert phase_deviations(phase, np.arange(6), 3) == pytest.approx([0, -1, 1, 1 - 1, -5, 5])


def test_phase_is_the_arithmetic_mean_where_nothing_wraps():
    """Within half a turn the deviation is that from the plain mean, not from the direction of the mean phasor."""
    phase = np.array([0.0, 0, 0, 60, 5])
    found = phase_deviations(phase, np.arange(5), 4)
    np.testing.assert_allclose(found, [0, -16.25, -16.25, 43.75, -11.25], atol=1e-12)


def test_matches_of_gathered_units():
    """Both matches have the shape (scenario, unit, band) and are taken from bench gain and phase."""
    units = np.arange(9)
    found = build_matches(gathered(units, {"gain_db": units * 1.0, "phase_deg": 2.0 * units}, scenarios=(0, 1)), 4)
    assert found.of("match_gain_db").shape == (2, 9, 3)
    assert found.gain_db[1, :, 2].tolist() == [0, -1.5, -0.5, 0.5, 1.5, -1.5, -0.5, 0.5, 1.5]
    np.testing.assert_allclose(found.of("match_phase_deg"), 2 * found.gain_db, atol=1e-12)
