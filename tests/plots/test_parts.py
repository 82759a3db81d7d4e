"""The calculations behind the pictures: labels apart, ticks, names, rankings, ranges."""

import numpy as np
import pandas as pd
import pytest
from matplotlib.text import Annotation

from sim.columns import EXTERNAL_DECILES
from sim.plots import axes, choice, drivers_table, noise_floor, ridge, style, words
from sim.plots.choice import Shown
from sim.plots.ridge import Ridge


def test_labels_are_moved_apart_and_no_further():
    """Crowded labels end a gap apart around their mean, free ones stay where they are."""
    moved = axes.apart([0.50, 0.51, 0.90], 0.1, 0.0, 1.0)
    np.testing.assert_allclose(moved, [0.455, 0.555, 0.90])


def test_labels_keep_their_order_and_their_bounds():
    """Whatever the wishes, labels stay in order, between the bounds, and a gap apart if that fits."""
    rng = np.random.default_rng(3)
    for _ in range(200):
        n = int(rng.integers(1, 12))
        wish = rng.uniform(-0.2, 1.2, n)
        moved = axes.apart(wish, 0.08, 0.0, 1.0)
        order = np.argsort(np.clip(wish, 0, 1), kind="stable")
        assert moved.min() >= -1e-12 and moved.max() <= 1 + 1e-12
        assert (np.diff(moved[order]) >= 0.08 - 1e-9).all()


def test_too_many_labels_stand_evenly():
    """Eleven labels in the room for six are spread evenly over it."""
    moved = axes.apart([0.5] * 11, 0.2, 0.0, 1.0)
    np.testing.assert_allclose(moved, np.linspace(0, 1, 11))


@pytest.mark.parametrize(
    ("low", "high", "most", "ticks"),
    [
        (1e6, 10e6, 6, [1e6, 2e6, 5e6, 10e6]),
        (183e3, 50e6, 6, [300e3, 1e6, 3e6, 10e6, 30e6]),
        (10e3, 1e9, 6, [10e3, 100e3, 1e6, 10e6, 100e6, 1e9]),
        (10e3, 1e9, 3, [10e3, 1e6, 100e6]),
    ],
)
def test_frequency_ticks_are_round_and_few(low, high, most, ticks):
    """Ticks are 1-2-5, 1-3 or decades, as many as fit."""
    np.testing.assert_allclose(axes.frequency_ticks(low, high, most)[: len(ticks)], ticks)
    assert len(axes.frequency_ticks(low, high, most)) <= most + (most == 3)


def test_scenarios_are_named_by_what_is_varied():
    """Values name a scenario; a bare number takes its key's last word along; else "as designed"."""
    table = pd.DataFrame(
        {"scenario": ["1", "2"], "amplifier.opamp": ["A1", "B2"], "feedline.length": ["0", "60 m"]}
    )
    assert choice.scenario_names(table) == {1: "A1, length 0", 2: "B2, 60 m"}
    assert choice.scenario_names(pd.DataFrame({"scenario": ["1"]})) == {1: "as designed"}


def test_the_worst_scenarios_are_kept():
    """Where not all scenarios fit, the first and those of lowest yield stay, in order of number."""
    scenarios = pd.DataFrame({"scenario": range(1, 7), "x": list("abcdef")})
    summary = pd.DataFrame(
        {
            "scenario": range(1, 7),
            "limit_low": 1.0,
            "limit_high": np.inf,
            "yield": [1.0, 0.9, 0.2, 0.8, 0.5, 0.95],
        }
    )
    shown = choice.shown_scenarios(scenarios, summary, most=3)
    assert shown.numbers == (1, 3, 5) and shown.names == ("a", "c", "e")
    assert shown.note == "3 of 6 scenarios are drawn: the first and the 2 with the lowest yield."


def test_equal_curves_are_merged_and_others_are_not():
    """Scenarios whose curves agree share a line and a name; a difference of 0.001 keeps them apart."""
    base = pd.DataFrame(
        {
            "frequency_hz": [1e6, 2e6],
            **{c: [1.0, 2.0] for c in ("nominal", "p05", "p50", "p95", "min", "max")},
        }
    )
    frames = [base.assign(scenario=n, curve="gain_db") for n in (1, 2, 3)]
    frames[2] = frames[2].assign(p95=[1.001, 2.0])
    shown = Shown((1, 2, 3), ("a", "b", "c"))
    merged = choice.merged(pd.concat(frames), ("gain_db",), shown)
    assert merged.numbers == (1, 3) and merged.names == ("a = b", "c")
    assert choice.merged(pd.concat(frames[:2]), ("gain_db",), Shown((1, 2), ("a", "b"))).names == (
        choice.EVERY,
    )


def test_contributors_are_ranked_by_power_in_the_bands():
    """Loudness counts where the bands are, and external noise is no contributor."""
    grid = pd.DataFrame({"external": [9, 9], "Rf": [5.0, 1.0], "Ro": [1.0, 2.0]}, index=[1e5, 2e6])
    assert noise_floor.loudest(grid, (2.1e6,), 5) == ["Ro", "Rf"]
    assert noise_floor.loudest(grid, (), 1) == ["Rf"]


def test_ranked_drivers_keep_the_sum():
    """Parts beyond the list are put into the rest, so that each band's shares add up to what they were."""
    rows = pd.DataFrame(
        [
            (f, p, s)
            for f in (1e6, 2e6)
            for p, s in zip(["a", "b", "c", "d", "(rest)"], [0.1, 0.5, 0.2, 0.15, 0.05], strict=True)
        ],
        columns=["frequency_hz", "part", "share"],
    )
    table = drivers_table.ranked(rows, 2)
    assert list(table.index) == ["b", "c", "(rest)"]
    np.testing.assert_allclose(table.sum(axis=0), 1.0)
    np.testing.assert_allclose(table.loc["(rest)"], 0.30)


def test_drivers_of_a_measure_without_band_are_kept():
    """A measure without frequency has one column, under NaN."""
    rows = pd.DataFrame({"frequency_hz": [np.nan, np.nan], "part": ["a", "(rest)"], "share": [0.9, 0.1]})
    table = drivers_table.ranked(rows, 5)
    assert np.isnan(table.columns[0]) and table.loc["a"].iloc[0] == 0.9


def test_one_wild_unit_does_not_flatten_the_histogram():
    """The axis ends three times the 90 % range beyond it; near limits are shown and far ones are not."""
    values = np.append(np.linspace(9.0, 11.0, 101), 500.0)
    first, last = ridge.span_of([Ridge("", values, 10.0)], 8.0, np.inf)
    assert first < 8.0 and 11.0 < last < 20.0
    first, _ = ridge.span_of([Ridge("", values, 10.0)], -900.0, np.inf)
    assert first > 8.0


def test_equal_units_still_have_an_axis():
    """A measure that is the same in all units gets an axis of some width."""
    first, last = ridge.span_of([Ridge("", np.full(10, 12.0), 12.0)], -np.inf, np.inf)
    assert first < 12.0 < last


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (1.0, "100 %"),
        (0.9999, ">99.9 %"),
        (0.99912, ">99.9 %"),
        (0.973, "97.3 %"),
        (0.0004, "<0.1 %"),
        (0.0, "0 %"),
        (float("nan"), "–"),
    ],
)
def test_a_yield_is_never_rounded_to_all_or_none(share, text):
    """Only a full yield prints as 100 %, only an empty one as 0 %."""
    assert words.percent(share) == text


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (10.204, "dB", "10.20"),
        (-0.1234, "dB", "−0.12"),
        (0.0123, "dB", "0.012"),
        (178.04, "degree", "178.0"),
        (6.104, "nV/√Hz", "6.10"),
        (0.0, "dB", "0"),
        (float("inf"), "dB", "∞"),
        (-1e-9, "dB", "0"),
    ],
)
def test_numbers_carry_the_decimals_their_unit_deserves(value, unit, text):
    """Decibels to hundredths, degrees to tenths, small numbers to two digits, a true minus sign."""
    assert words.number(value, unit) == text


def test_limits_are_said_in_words():
    """Open sides use signs, closed ones a range, an absent limit nothing."""
    inf = float("inf")
    assert words.limit_text(10, inf, "dB") == "≥ 10 dB"
    assert words.limit_text(-inf, 3, "degree") == "≤ 3°"
    assert words.limit_text(-0.2, 0.2, "dB") == "−0.2 to 0.2 dB"
    assert words.limit_text(float("nan"), float("nan"), "dB") == ""


def _external(top: float, reach_hz: float = np.inf) -> pd.DataFrame:
    """Contributors of one scenario: external noise with deciles as far as its data reach, and one part."""
    freq = np.geomspace(1e6, 2e7, 30)
    rows = {"Rf": 2.0 + 0 * freq}
    for name, level in zip(("external", *EXTERNAL_DECILES), (top, top / 2, top * 3), strict=True):
        rows[name] = np.where(freq <= reach_hz, level, np.nan)
    return pd.concat(
        [
            pd.DataFrame({"scenario": 1, "frequency_hz": freq, "contributor": k, "density_nv": v})
            for k, v in rows.items()
        ]
    )


def _names(panel) -> dict[str, tuple[float, float]]:
    return {text.get_text(): text.xy for text in panel.texts if isinstance(text, Annotation)}


def test_deciles_are_shaded_and_counted_nowhere():
    """The shade spans the deciles, all of it within the panel; no line, name or sum is made of them."""
    with style.drawing():
        [panel] = noise_floor.noise_floor(_external(20.0), Shown((1,), ("one",), ""), (1.83e6, 7.05e6)).axes
    [shade] = panel.collections
    heights = shade.get_paths()[0].vertices[:, 1]
    assert (heights.min(), heights.max()) == pytest.approx((10.0, 60.0))
    assert panel.get_ylim()[1] > 60
    assert {"external", "all internal", "Rf"} == set(_names(panel))
    [internal] = [line for line in panel.lines if np.allclose(line.get_ydata(), 2.0) and line.get_linewidth() > 2]
    assert len(internal.get_xdata()) > 10


def test_noise_that_ends_in_the_panel_is_named_at_its_end():
    """A table of noise that reaches to 8 MHz bears its name beside its last point."""
    with style.drawing():
        shown = Shown((1,), ("one",), "")
        [panel] = noise_floor.noise_floor(_external(20.0, 8e6), shown, (1.83e6, 7.05e6)).axes
    at_hz, level = _names(panel)["external"]
    assert 7e6 < at_hz <= 8e6 and level == 20.0


def test_without_deciles_nothing_is_shaded():
    """A builder's own table has no deciles, and none are drawn."""
    rows = _external(20.0)
    with style.drawing():
        shown = Shown((1,), ("one",), "")
        [panel] = noise_floor.noise_floor(rows[~rows["contributor"].isin(EXTERNAL_DECILES)], shown, (1.83e6,)).axes
    assert len(panel.collections) == 0
