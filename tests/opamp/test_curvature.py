"""The bend of an output stage from a data sheet's point."""

from dataclasses import replace

import pytest

from sim.opamp.catalogue import list_opamps, load_opamp
from sim.opamp.curvature import (
    NO_POINT,
    NO_SECOND,
    NO_THIRD,
    TANH_ENOUGH,
    TOO_BENT,
    HarmonicPoint,
    curvature,
    fitted,
    harmonic_point,
)
from sim.opamp.macromodel import nominal_parameters

SHEET = HarmonicPoint(1e6, 2.0, 1.0, 200.0, 100.0, -85.0, -99.0)
MACRO = nominal_parameters(load_opamp("OPA2822"))


def test_bend_near_the_integrator_s_closed_form():
    """k2 = 2 HD2 (GBW/2f)/(G V) and k3 = -4 HD3 (GBW/3f)/(G V²) of an unloaded integrator, within what the load takes.

    Hand calculation; the load of 100 Ω costs third order four times its share of 13 %.
    """
    found = fitted(MACRO, SHEET, 5.0)
    assert found.k2 == pytest.approx(2 * 10 ** (-85 / 20) * 240e6 / 2e6 / 2, rel=0.25)
    assert found.k3 == pytest.approx(-4 * 10 ** (-99 / 20) * 240e6 / 3e6 / 2, rel=0.5)
    assert found.remarks == ()
    unloaded = replace(SHEET, load_ohm=1e5, hd3_load_ohm=1e5, frequency_hz=1e5, gain=1.0, hd2_dbc=-100, hd3_dbc=-120)
    alone = fitted(MACRO, unloaded, 5.0)
    assert alone.k2 == pytest.approx(2e-5 * 240e6 / 2e5, rel=0.03)
    # What the second harmonic makes of the fundamental, fed back, is -2 k2²: k3 must make up for it.
    assert alone.k3 == pytest.approx(-4e-6 * 240e6 / 3e5 + 2 * alone.k2**2, rel=0.1)


def test_six_decibels_are_half():
    """Second order is proportional to k2."""
    half = fitted(MACRO, replace(SHEET, hd2_dbc=-85 - 6.0206), 5.0)
    assert half.k2 == pytest.approx(fitted(MACRO, SHEET, 5.0).k2 / 2, rel=1e-5)


def test_what_is_missing_is_said():
    """A harmonic that is not known leaves its order out, in words."""
    no_second = fitted(MACRO, replace(SHEET, hd2_dbc=None), 5.0)
    no_third = fitted(MACRO, replace(SHEET, hd3_dbc=None), 5.0)
    assert (no_second.k2, no_second.remarks, no_second.second_order) == (0.0, (NO_SECOND,), False)
    assert (no_third.k3, no_third.remarks, no_third.third_order) == (0.0, (NO_THIRD,), False)
    assert no_third.second_order
    assert no_second.third_order


def test_input_stage_that_is_worse_than_the_sheet():
    """Where the tanh alone makes more than the data sheet states no bend is added."""
    found = fitted(replace(MACRO, slew=2e6), SHEET, 5.0)
    assert found.k3 == 0
    assert found.remarks == (TANH_ENOUGH,)


def test_bend_is_bounded_by_the_swing():
    """|k3| V² stays below 0.1, and it is said that third order then is too small."""
    found = fitted(MACRO, replace(SHEET, hd3_dbc=-60.0), 5.0)
    assert found.k3 == pytest.approx(-0.1 / 25)
    assert found.remarks == (TOO_BENT,)
    assert not found.third_order


@pytest.mark.parametrize("name", list_opamps())
def test_every_record_gives_a_bend_or_says_why_not(name):
    """Parts with all conditions are fitted at 12 V; of all others something is said."""
    record = load_opamp(name)
    found = curvature(record, 12.0)
    if harmonic_point(record) is None:
        assert found.k2 == found.k3 == 0
        assert found.remarks
    else:
        assert found.k2 > 0
        assert found.k3 <= 0


def test_known_parts():
    """The parts whose data sheets give all conditions."""
    complete = {name for name in list_opamps() if harmonic_point(load_opamp(name)) is not None}
    assert complete >= {"OPA2822", "OPA818", "OPA820"}
    assert curvature(load_opamp("OPA656")).remarks == (NO_POINT, NO_THIRD)
