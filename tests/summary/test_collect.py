"""Chunks brought together: order, failures, percentiles."""

import numpy as np
import pandas as pd
import pytest

from sim.errors import BandfloorError
from sim.measures.panel import BANDED, CURVES, SINGLE
from sim.summary.collect import curve_table, extremes, gather, measures_table, quantiles
from sim.summary.matching import build_matches
from tests.summary.made import BANDS, CURVE_HZ, arrays


def written(folder, *chunks):
    """Files of the chunks, named so that their names tell no order."""
    paths = []
    for i, chunk in enumerate(chunks):
        paths.append(folder / f"chunk{i}.npz")
        np.savez(paths[-1], **chunk)
    return paths


def table_of(both):
    """The rows of all scenarios."""
    matches = build_matches(both, 16)
    return pd.concat([measures_table(both, BANDS, matches, place) for place in range(len(both.scenarios))])


def test_any_cut_gives_the_same(tmp_path):
    """One chunk, or four handed over in a wrong order, give identical arrays and tables."""
    whole = gather(written(tmp_path, arrays(range(41), failed=[(1, 7)])))
    parts = [arrays(r, failed=[(1, 7)] if 7 in r else []) for r in (range(30, 41), range(10), range(12, 30), (10, 11))]
    (tmp_path / "cut").mkdir()
    cut = gather(written(tmp_path / "cut", *parts))
    for name in ("scenarios", "units", "banded", "single", "misfit"):
        np.testing.assert_array_equal(getattr(whole, name), getattr(cut, name))
    for position in (0, 1, 0):
        np.testing.assert_array_equal(whole.curves[position], cut.curves[position])
    tables = [table_of(g) for g in (whole, cut)]
    assert tables[0].equals(tables[1])
    assert curve_table(whole, CURVE_HZ).equals(curve_table(cut, CURVE_HZ))


def test_seconds_and_contributors(tmp_path):
    """Seconds are summed over chunks; contributors come from the chunk with the nominal unit."""
    both = gather(written(tmp_path, arrays([3, 4]), arrays([0, 1, 2])))
    assert (both.seconds_inside, both.seconds_whole) == (2.0, 3.0)
    assert [(c.scenario, c.name) for c in both.contributors] == [(0, "Rf"), (1, "Rf")]
    np.testing.assert_array_equal(both.contributors[0].psd, np.ones(5))


def test_chunk_without_a_good_unit(tmp_path):
    """A chunk of which every unit failed has curves without length and still fits the others."""
    lost = arrays([3, 4], failed=[(s, u) for s in (0, 1) for u in (3, 4)])
    lost["curves"] = np.full((2, 2, len(CURVES), 0), np.nan)
    both = gather(written(tmp_path, arrays([0, 1, 2]), lost))
    assert both.curves.shape == (2, 5, len(CURVES), 5)
    assert both.failed.tolist() == [[False, False, False, True, True]] * 2


def test_nothing_simulated_at_all(tmp_path):
    """Where no unit gave a curve, the table has its rows, all NaN."""
    lost = arrays([0, 1], failed=[(s, u) for s in (0, 1) for u in (0, 1)])
    lost["curves"] = np.full((2, 2, len(CURVES), 0), np.nan)
    table = curve_table(gather(written(tmp_path, lost)), CURVE_HZ)
    assert len(table) == 2 * len(CURVES) * 5
    assert table[["nominal", "p05", "max"]].isna().all(axis=None)


@pytest.mark.parametrize(
    ("chunks", "message"),
    [
        ([], "There are no chunks to bring together.\n  Run the simulate step first."),
        ([arrays([0, 1]), arrays([1, 2])], "A unit is in two chunks.\n  Remove the chunks and run again."),
        (
            [arrays([0, 1]), arrays([2], scenarios=(0,))],
            "The chunks are of different scenarios.\n  Remove them and run again.",
        ),
        (
            [arrays([0, 1]), arrays([2]) | {"banded": np.zeros((2, 1, len(BANDED), 2))}],
            "The chunks differ in their banded values.\n  Remove them and run again.",
        ),
    ],
    ids=["none", "twice", "scenarios", "bands"],
)
def test_chunks_that_do_not_belong_together(tmp_path, chunks, message):
    """Chunks of another run are refused with a message, never mixed in."""
    with pytest.raises(BandfloorError) as caught:
        gather(written(tmp_path, *chunks))
    assert str(caught.value) == message


def test_measures_table(tmp_path):
    """Every scenario, unit, measure and band has a row with its own value; measures are a category."""
    both = gather(written(tmp_path, arrays(range(5), failed=[(1, 2)])))
    table = table_of(both)
    assert list(table.columns) == ["scenario", "unit", "measure", "frequency_hz", "value"]
    assert len(table) == 2 * 5 * (3 * (len(BANDED) + 4) + len(SINGLE))
    assert table["measure"].dtype == "category"
    row = table[(table.scenario == 1) & (table.unit == 4) & (table.measure == "noise_margin_db")]
    expected = 0.001 + 4 + 1000 * BANDED.index("noise_margin_db")
    np.testing.assert_allclose(row["value"], [expected, expected + 0.1, expected + 0.2])
    np.testing.assert_array_equal(row["frequency_hz"], BANDS)
    alone = table[(table.scenario == 0) & (table.unit == 3) & (table.measure == "supply_v")]
    assert alone["frequency_hz"].isna().all() and alone["value"].tolist() == [3 + 1000 * SINGLE.index("supply_v")]
    lost = table[(table.scenario == 1) & (table.unit == 2)]
    assert lost["value"].isna().all()
    assert table["value"].isna().sum() == len(lost)


def test_curve_table(tmp_path):
    """Nominal is unit 0; the spread is over units 1 and up without the failed one."""
    both = gather(written(tmp_path, arrays(range(102), failed=[(0, 101)])))
    table = curve_table(both, CURVE_HZ)
    row = table[(table.scenario == 0) & (table.curve == "gain_db")].iloc[2]
    assert list(table.columns) == ["scenario", "curve", "frequency_hz", "nominal", "p05", "p50", "p95", "min", "max"]
    assert row["frequency_hz"] == CURVE_HZ[2]
    # Units 1 to 100, and 2 for the third point of the curve.
    expected = [2, 2 + 5.95, 2 + 50.5, 2 + 95.05, 3, 102]
    np.testing.assert_allclose(row[["nominal", "p05", "p50", "p95", "min", "max"]].astype(float), expected)


def test_quantiles_agree_with_numpy():
    """On finite values they are numpy's linear quantiles, on any axis."""
    values = np.random.default_rng(5).normal(size=(4, 37, 3))
    found = quantiles(values, (0.0, 0.05, 0.5, 0.95, 1.0), axis=1)
    np.testing.assert_allclose(found, np.quantile(values, (0, 0.05, 0.5, 0.95, 1), axis=1), rtol=1e-14)


def test_quantiles_of_infinite_values():
    """A quantile among infinite values is infinite, one among finite values finite, and NaN counts nowhere."""
    values = np.array([1.0, np.nan, 2.0, 3.0, np.inf, np.inf])
    assert quantiles(values, (0.0, 0.5, 0.6, 1.0), axis=0).tolist() == [1.0, 3.0, np.inf, np.inf]
    assert np.isnan(quantiles(np.array([np.nan, np.nan]), (0.5,), axis=0)).all()
    assert np.isnan(quantiles(np.empty((0, 2)), (0.5,), axis=0)).all()


def test_extremes():
    """They pass over NaN and are NaN where there is nothing else."""
    least, most = extremes(np.array([[1.0, np.nan], [np.nan, np.nan], [-np.inf, np.nan]]), axis=0)
    assert (least[0], most[0]) == (-np.inf, 1.0)
    assert np.isnan([least[1], most[1]]).all()
