"""One new amplifier among old ones: nulls, tolerances, pairs and trims against closed forms and counts by hand."""

import math

import numpy as np
import pytest

from sim.quantity import Limit
from sim.summary.mixed import (
    DB_PER_DEGREE,
    DEFAULT_GAIN_DB,
    DEFAULT_PHASE_DEG,
    alike_share,
    best_trim,
    null_db,
    step_of,
    takes_of,
    wrapped,
)

BANDS = np.array([1.83e6, 3.53e6, 7.05e6])


def _square(elevation_deg: float) -> tuple[np.ndarray, complex]:
    """Weights of a crossfire square of λ/8 side fired along its diagonal, and its forward response.

    Front 1, both sides and rear turned by 180° less the step's phase, so that the rear horizon is a null.
    """
    step = 0.125 / math.sqrt(2)
    turn = np.exp(1j * np.pi * (1 - 2 * step))
    weights, places = np.array([1, turn, turn, turn**2]), np.array([1, 0, 0, -1]) * step
    rear = np.exp(-2j * np.pi * places)
    assert abs(weights @ rear) < 1e-12
    return weights, weights @ np.exp(2j * np.pi * places * math.cos(math.radians(elevation_deg)))


def test_default_is_what_a_square_takes():
    """σ = 10^(−20/20)/√(K ln 20), half the variance each (Ruze 1952; exponential power at a null), by closed form."""
    weights, forward = _square(20)
    k = float((np.abs(weights) ** 2).sum() / abs(forward) ** 2)
    assert 10 * math.log10(k) == pytest.approx(5.6, abs=0.05)
    each = 0.1 / math.sqrt(k * math.log(20)) / math.sqrt(2)
    assert each * 20 / math.log(10) == pytest.approx(DEFAULT_GAIN_DB, abs=0.005)
    assert math.degrees(each) == pytest.approx(DEFAULT_PHASE_DEG, abs=0.05)
    # Of its four elements one weighs as much as the forward signal within half a decibel, as the module says.
    assert 20 * math.log10(1 / abs(forward)) == pytest.approx(0, abs=0.5)


@pytest.mark.parametrize(
    ("gain_db", "phase_deg", "left_db"),
    # Two nearly cancelling phasors, over one of them: √(1 + r² − 2 r cos y), calculated by hand.
    [(0, 1, -35.2), (0.1, 0, -38.8), (-0.1, 1, -33.6), (-1, 5, -17.3), (-2, 10, -11.8)],
)
def test_null_is_that_of_two_phasors(gain_db, phase_deg, left_db):
    """What is left is the distance of two phasors; of a gain step up or down the same within what the table rounds."""
    assert null_db(gain_db, phase_deg) == pytest.approx(left_db, abs=0.08 if gain_db > 0 else 0.05)


def test_one_element_off_leaves_its_own_signal_times_the_error():
    """In a perfect null of four elements one that is off leaves |weight × error|, whichever it is (summed out)."""
    weights, _ = _square(20)
    rear = np.exp(-2j * np.pi * np.array([1, 0, 0, -1]) * 0.125 / math.sqrt(2))
    for element in range(4):
        off = weights.copy()
        off[element] *= 10 ** (0.12 / 20) * np.exp(1j * math.radians(2.3))
        assert 20 * math.log10(abs(off @ rear)) == pytest.approx(float(null_db(0.12, 2.3)), abs=1e-9)
    assert float(null_db(0.12, 2.3)) == pytest.approx(-27.4, abs=0.1)
    assert null_db(0.0, 0.0) == -math.inf


def test_a_turn_more_is_no_step():
    """Phases on both sides of the cut at 180° differ by what is between them."""
    np.testing.assert_allclose(wrapped(np.array([341.7, -359.0, 0.0, -181.0])), [-18.3, 1.0, 0.0, 179.0])
    old, new = np.array([[-170.0], [-171.0], [-169.0]]), np.array([[178.0], [177.0], [179.0]])
    nominal, low, high = step_of(old, new, np.arange(3), 2, turns=True)
    assert nominal[0] == pytest.approx(-12)
    assert low[0] == pytest.approx(-14, abs=0.2) and high[0] == pytest.approx(-10, abs=0.2)


def test_pairs_are_of_one_build():
    """Lots that differ from build to build are no step: only units of a build are paired, never a unit with itself."""
    units = np.arange(5)
    old = np.array([0.0, 1.0, 1.0, 9.0, 9.0])[:, None]
    new = old + np.array([0.5, 0.4, 0.6, 0.4, 0.6])[:, None]
    nominal, low, high = step_of(old, new, units, 2)
    assert nominal[0] == 0.5
    assert low[0] == pytest.approx(0.4, abs=0.01) and high[0] == pytest.approx(0.6, abs=0.01)
    alone = step_of(old[:2], new[:2], units[:2], 2)
    assert np.isnan(alone[1]).all() and np.isnan(alone[2]).all()


def test_share_that_keeps_the_match_counts_the_new_unit_in_the_mean():
    """One of four is off by d: from the mean of all four it is off by 3/4 d, so 0.39 dB still keeps 0.3 dB."""
    units = np.arange(9)
    old = np.zeros((9, 1)), np.zeros((9, 1))
    allowed = takes_of({"match_gain_db": Limit(-0.3, 0.3), "match_phase_deg": Limit(-3, 3)}).bench
    for step, share in ((0.39, 1.0), (0.41, 0.0)):
        assert alike_share(old, (old[0] + step, old[1]), units, 4, allowed) == share
    half = np.array([0, 0.39, 0.39, 0.39, 0.39, 0.41, 0.41, np.nan, 0.39])[:, None]
    assert alike_share(old, (half, old[1]), units, 4, allowed) == 5 / 8, "a unit that failed keeps no match"
    assert math.isnan(alike_share((old[0][:2], old[1][:2]), (half[:2], old[1][:2]), units[:2], 4, allowed))


def test_what_the_array_takes_is_the_studys_own_first():
    """Both limits, one and the other as harmful, system limits for the whole, else the default, each said."""
    gain, phase = Limit(-0.3, 0.3), Limit(-3, 3)
    both = takes_of({"match_gain_db": gain, "match_phase_deg": phase})
    assert both.bench == both.system and (both.bench.gain, both.bench.phase) == (gain, phase)
    assert both.told == "±0.3 dB and ±3° (the study's match limits)"
    one = takes_of({"match_phase_deg": phase}).bench
    assert one.gain.high == pytest.approx(3 * DB_PER_DEGREE) and "as harmful" in one.told
    assert null_db(one.gain.high, 0) == pytest.approx(float(null_db(0, 3)), abs=0.3)
    none = takes_of({"gain_db": Limit(9, 12)})
    assert not none.bench.own and "square" in none.told and none.bench.phase.high == DEFAULT_PHASE_DEG
    mixed = takes_of({"match_gain_db": gain, "match_system_phase_deg": phase})
    assert mixed.bench.gain == gain and mixed.system.phase == phase and "with feedline" in mixed.told


def test_a_delay_is_taken_out_by_its_length_of_cable():
    """1 ns is 24.6 cm of cable at 0.82 c; a unit that leads needs more of it, and nothing is left at any band."""
    allowed = takes_of({}).system
    lead = 360 * BANDS * 1e-9
    trim = best_trim(BANDS, np.zeros(3), lead, 0.82, allowed)
    assert trim.cable_m == pytest.approx(0.82 * 299_792_458 * 1e-9, rel=1e-9) and trim.gain_db == 0
    np.testing.assert_allclose(trim.left_phase_deg, 0, atol=1e-9)
    late = best_trim(BANDS, np.full(3, 0.4), -lead, 0.82, allowed)
    assert late.cable_m == pytest.approx(-trim.cable_m) and late.gain_db == -0.4
    np.testing.assert_allclose(late.left_gain_db, 0, atol=1e-12)
