"""Shares of variance: against laws whose shares are known on paper."""

import math

import numpy as np
import pytest

from sim.summary.collect import Response
from sim.summary.drivers import COLUMNS, REST, drivers_table
from sim.summary.matching import build_deviations

NONE = math.nan


def drawn(count, seed, *spreads):
    """Independent normal deviations from nominal, one column a spread; row 0 is nominal. [1]"""
    deviations = np.random.default_rng(seed).normal(size=(count + 1, len(spreads))) * spreads
    deviations[0] = 0
    return deviations.T


def shares(table, measure="gain_db"):
    """Share by part."""
    return table[table["measure"] == measure].set_index("part")["share"]


def test_linear_law():
    """Of y = 3 a + 2 b + c with equal spreads the shares are 9, 4 and 1 of 14, and the slopes 3, 2 and 1 per cent."""
    a, b, c = drawn(20000, 1, 0.01, 0.01, 0.01)
    parts = {"Ra": 1e3 * (1 + a), "Cb": 8e-12 * (1 + b), "Rc": 75 * (1 + c)}
    y = 5 + 100 * (3 * a + 2 * b + c)
    table = drivers_table(4, [Response("gain_db", 1e6, y)], parts, np.arange(20001), 16)
    assert tuple(table.columns) == COLUMNS
    assert table["part"].tolist() == ["Ra", "Cb", "Rc", REST]
    assert set(table["scenario"]) == {4} and set(table["frequency_hz"]) == {1e6}
    # Sampling: 1/sqrt(20000) of correlation between parts moves a share by about 1 % of the whole.
    np.testing.assert_allclose(shares(table)[:3], np.array([9, 4, 1]) / 14, atol=0.015)
    np.testing.assert_allclose(table["slope_per_percent"][:3], [3, 2, 1], rtol=1e-9)
    assert abs(shares(table)[REST]) < 1e-12


def test_shares_add_up_to_r_squared():
    """With noise beside, the parts' shares add up to R² of an ordinary fit, and the rest is what is missing to 1."""
    a, b, noise = drawn(500, 2, 0.01, 0.05, 1.0)
    y = 100 * a + 20 * b + 0.5 * noise
    table = drivers_table(0, [Response("gain_db", 1e6, y)], {"Ra": 1 + a, "Rb": 1 + b}, np.arange(501), 16)
    x = np.column_stack([np.ones(500), a[1:], b[1:]])
    left = y[1:] - x @ np.linalg.lstsq(x, y[1:], rcond=None)[0]
    assert shares(table)[REST] == pytest.approx(left.var() / y[1:].var(), rel=1e-9)
    assert shares(table).sum() == pytest.approx(1, abs=1e-12)


def test_many_measures_at_once_and_alone():
    """A measure's rows do not depend on which others are asked with it, nor on which of them failed more units."""
    a, b = drawn(200, 3, 0.01, 0.02)
    parts, units = {"Ra": 1 + a, "Rb": 1 + b}, np.arange(201)
    holes = np.where(units % 7 == 3, np.nan, a - b)
    asked = [Response("gain_db", 1e6, a + b), Response("supply_v", NONE, holes), Response("gain_db", 2e6, a * b + b)]
    together = drivers_table(0, asked, parts, units, 16)
    alone = [drivers_table(0, [one], parts, units, 16) for one in asked]
    start = 0
    for table in alone:
        rows = together.iloc[start : start + len(table)]
        assert rows["measure"].tolist() == table["measure"].tolist()
        np.testing.assert_allclose(rows["share"], table["share"], atol=1e-12)
        start += len(table)
    assert start == len(together)


def test_lot_moves_the_gain_and_not_the_match():
    """A part that is the same throughout a build owns most of the gain's variance and none of the match's."""
    units, build = np.arange(1601), 16
    lot = np.concatenate([[0], np.repeat(drawn(100, 4, 0.05)[0][1:], build)])
    single, other = drawn(1600, 5, 0.01, 0.005)
    parts = {"C": 1e-9 * (1 + lot), "Ra": 1e3 * (1 + single), "Rb": 1e3 * (1 + other)}
    y = 100 * (lot + single + other)
    table = drivers_table(0, [Response("gain_db", 1e6, y), Response("match_gain_db", 1e6, y)], parts, units, build)
    assert shares(table)["C"] > 0.9
    match = shares(table, "match_gain_db")
    assert abs(match["C"]) < 1e-12
    np.testing.assert_allclose(match[["Ra", "Rb"]], [0.8, 0.2], atol=0.03)
    assert match[REST] == pytest.approx(0, abs=1e-12)


def test_match_with_failed_units():
    """A failed unit is left out of the mean over its build in measure and parts alike, so the fit stays exact."""
    a, lot = drawn(160, 6, 0.01, 0.03)
    lot = np.concatenate([[0], np.repeat(lot[1:11], 16)])
    y = 100 * (a + lot)
    y[5:9] = np.nan
    match = build_deviations(y, np.arange(161), 16)
    parts = {"Ra": 1 + a, "C": 1 + lot}
    table = drivers_table(0, [Response("match_gain_db", 1e6, match)], parts, np.arange(161), 16)
    assert shares(table, "match_gain_db")["Ra"] == pytest.approx(1, abs=1e-12)


def test_values_that_move_together():
    """Parameters of one die that say the same share what they cause equally; their sum is what one alone would have."""
    die, other = drawn(2000, 7, 0.1, 0.1)
    parts = {"X.gbw": 1e8 * (1 + die), "X.en": 1e-9 * (1 - die), "X.iq": 1e-3 * (1 + 0.5 * die), "R": 1 + other}
    table = drivers_table(0, [Response("gain_db", 1e6, die + other)], parts, np.arange(2001), 16)
    found = shares(table)
    np.testing.assert_allclose(found[:3], found[:3].mean(), rtol=1e-9)
    assert found[:3].sum() == pytest.approx(0.5, abs=0.03)
    assert found[REST] == pytest.approx(0, abs=1e-12)


def test_independent_parts_are_told_apart_with_few_units():
    """Thirty parts on forty-two units: the fit of a linear law is still exact, so none was left out as alike."""
    x = drawn(42, 8, *[0.01] * 30)
    y = 100 * np.arange(1, 31) @ x
    parts = {f"R{i}": 1 + x[i] for i in range(30)}
    table = drivers_table(0, [Response("gain_db", 1e6, y)], parts, np.arange(43), 16)
    np.testing.assert_allclose(table["slope_per_percent"][:30], np.arange(1, 31), rtol=1e-6)


def test_slope_of_temperature_and_of_an_offset():
    """Temperature's slope is for a kelvin, an offset's for one standard deviation of it."""
    t, vos = drawn(300, 9, 15.0, 2e-3)
    y = 0.02 * t + 500 * vos
    parts = {"temperature_c": 25 + t, "Xamp.vos": vos}
    table = drivers_table(0, [Response("output_dc_v", NONE, y)], parts, np.arange(301), 16)
    np.testing.assert_allclose(table["slope_per_percent"][:2], [0.02, 500 * vos[1:].std()], rtol=1e-9)


def test_parts_that_do_not_vary_have_no_rows():
    """A part of fixed value, and a temperature that is always the same though not the nominal one, are passed over."""
    [a] = drawn(50, 10, 0.01)
    temperature = np.concatenate([[25.0], np.full(50, 20.0)])
    parts = {"Ra": 1 + a, "Rfix": np.full(51, 0.1), "temperature_c": temperature}
    table = drivers_table(0, [Response("gain_db", 1e6, a)], parts, np.arange(51), 16)
    assert table["part"].tolist() == ["Ra", REST]


@pytest.mark.parametrize(
    ("values", "why"),
    [(np.full(31, 7.0), "constant"), (np.full(31, np.nan), "failed"), (7 + 1e-13 * np.arange(31), "rounding")],
    ids=lambda v: v if isinstance(v, str) else "",
)
def test_measures_that_do_not_vary_have_no_rows(values, why):
    """Nothing is said of what causes a spread that is not there."""
    [a] = drawn(30, 11, 0.01)
    assert drivers_table(0, [Response("stable", NONE, values)], {"Ra": 1 + a}, np.arange(31), 16).empty


def test_too_few_units():
    """One part needs eleven good units; with ten there are no rows."""
    [a] = drawn(11, 12, 0.01)
    y = 3 * a
    asked = [Response("gain_db", 1e6, y)]
    assert len(drivers_table(0, asked, {"Ra": 1 + a}, np.arange(12), 16)) == 2
    y[4] = np.nan
    assert drivers_table(0, asked, {"Ra": 1 + a}, np.arange(12), 16).empty


def test_nothing_drawn():
    """A study without tolerances has no drivers, and its table has all columns."""
    table = drivers_table(0, [Response("gain_db", 1e6, np.arange(20.0))], {"Ra": np.ones(20)}, np.arange(20), 16)
    assert table.empty and tuple(table.columns) == COLUMNS
