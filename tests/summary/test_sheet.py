"""The bench sheet: its frequencies, its limits, and what the page makes of it."""

import numpy as np
import pandas as pd
import pytest

from sim.measures.panel import BANDED, CURVES, SINGLE
from sim.measures.ratings import RESTING
from sim.measures.surroundings import curve_frequencies
from sim.report.sheet import bench_sheet, set_up
from sim.summary.collect import Gathered
from sim.summary.sheet import Device, bench_rows, sheet_frequencies
from sim.tables import write_csv

BANDS = np.array([1.83e6, 3.53e6, 7.05e6])
CURVE_HZ = curve_frequencies(BANDS)
UNITS = 100


def _gathered() -> Gathered:
    """A hundred and one units: gain 10 dB + 0.01 dB a unit, phase round the half turn; the last one failed."""
    shape = (1, UNITS + 1)
    step = 0.01 * np.arange(UNITS + 1)
    banded = np.zeros((*shape, len(BANDED), len(BANDS)))
    banded[0, :, BANDED.index("gain_db")] = 10 + step[:, None]
    banded[0, :, BANDED.index("phase_deg")] = ((179.5 + step + 180) % 360 - 180)[:, None]
    curves = np.zeros((*shape, len(CURVES), len(CURVE_HZ)))
    curves[0, :, CURVES.index("gain_db")] = 8 + step[:, None]
    curves[0, :, CURVES.index("phase_deg")] = 170 + step[:, None]
    single = np.zeros((*shape, len(SINGLE)))
    single[0, :, SINGLE.index("current_ma")] = 5 + step
    single[0, :, SINGLE.index("supply_v")] = 12 - step
    # Supply 11 V; lower input 5 V above ground, higher one 5.9 V below supply, output 6 V.
    resting = np.tile(np.array([11.0, 5.0, 5.9, 6.0, 5.0, 1e-3]), (*shape, 1, 1))
    for values in (banded, curves, single, resting):
        values[0, -1] = np.nan
    misfit = np.zeros(shape)
    misfit[0, -1] = np.nan
    return Gathered(np.array([0]), np.arange(UNITS + 1), banded, single, curves, misfit, (), 1.0, 2.0, resting=resting)


@pytest.fixture
def rows() -> pd.DataFrame:
    """bench.csv of one scenario."""
    return bench_rows(_gathered(), 0, 0, BANDS, CURVE_HZ, (Device("Xamp", "OPA2822"),))


def test_ten_frequencies_with_every_band():
    """All bands are among them, they rise, and no gap is more than twice another."""
    found = sheet_frequencies(BANDS, CURVE_HZ)
    assert len(found) == 10 and set(BANDS) <= set(found)
    gaps = np.diff(np.log(found))
    assert gaps.min() > 0 and gaps.max() < 2.5 * gaps.min()
    assert len(sheet_frequencies(np.linspace(1e6, 7e6, 14), CURVE_HZ)) == 14


def test_limits_are_the_ends_of_the_units(rows):
    """Nominal is unit 0; least and largest are of the units that were drawn and simulated."""
    gain = rows[(rows["quantity"] == "bench gain") & (rows["frequency_hz"] == 3.53e6)].iloc[0]
    assert (gain["nominal"], gain["low"], gain["units"]) == (10.0, 10.01, UNITS - 1)
    assert gain["high"] == pytest.approx(10.99)
    current = rows[rows["quantity"] == "supply current"].iloc[0]
    assert (current["low"], current["high"]) == (pytest.approx(5.01), pytest.approx(5.99))


def test_phases_round_the_half_turn_stay_together(rows):
    """Units on both sides of 180 degrees are a degree apart, not 359."""
    phase = rows[(rows["quantity"] == "bench phase") & (rows["frequency_hz"] == 1.83e6)].iloc[0]
    assert phase["nominal"] == pytest.approx(179.5)
    assert (phase["low"], phase["high"]) == (pytest.approx(179.51), pytest.approx(180.49))


def test_volts_at_the_pins(rows):
    """Each against the negative supply pin."""
    volts = {row["quantity"]: row["nominal"] for _, row in rows[rows["place"] != ""].iterrows()}
    assert volts == {
        "positive supply pin": 11.0,
        "lower input pin": 5.0,
        "higher input pin": pytest.approx(5.1),
        "output pin": 6.0,
    }
    assert len(RESTING) == 6


def test_page(rows, tmp_path):
    """Ten rows of gain and phase, six of rest, a note on what the limits are worth; nothing without a table."""
    write_csv(rows, tmp_path / "bench.csv", "bench.csv")
    sheet = bench_sheet(tmp_path, {"run": {"temperature": "20"}}, 0, {0: "as designed"})
    assert len(sheet.signal.rows) == 10 and len(sheet.volts.rows) == 6
    assert "95 % of boards" in sheet.note
    assert sheet.volts.rows[0] == ("supply current", "5.00 mA", "5.01 … 5.99 mA")
    # Beta quantile of 19 and 2 at 5 %: 0.784 (Wilks); of 4 units 0.249.
    for units, said in ((20, "78 % of boards lie between"), (20, "93 units promise 95 %"), (4, "too few")):
        write_csv(rows.assign(units=units), tmp_path / "bench.csv", "bench.csv")
        assert said in bench_sheet(tmp_path, {}, 0, {0: "as designed"}).note
    (tmp_path / "bench.csv").unlink()
    assert not bench_sheet(tmp_path, {}, 0, {0: "as designed"}).signal.rows


def test_set_up_is_drawn():
    """Ports, dummy and supply with their values; a balun before two inputs."""
    bench = {"source": "50 ohm", "dummy": "47 pF 1%", "load": "75 ohm"}
    drawn = set_up({"fixture": bench, "supply": {"voltage": "12 V"}})
    for said in ("50 Ω", "47 pF ±1 %", "75 Ω", "supply 12 V"):
        assert said in drawn
    assert len({len(line) for line in drawn.split("\n")[:5]}) == 1
    assert "balun" in set_up({"antenna": {"model": "short-dipole"}})
