"""Distortion of the op-amp model through decks, by the estimate and in time, against closed forms and data sheets.

Closed forms: tests/data/own-calculations/tanh_distortion.csv. Data sheets: tests/data/opamp-data-sheets/harmonics.csv.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from sim.distortion.mixes import mixes
from tests.checks import Against, Standing
from tests.distortion.benches import dbc, noninverting, own_stage

AGAINST = Against("distortion of the op-amp model", "tanh of the input stage", Standing.HAND)
SHEET = Against("distortion of the op-amp model", "TI OPA2822, OPA820, OPA818, where fitted", Standing.SHEET)
DATA = Path(__file__).parents[1] / "data"
UNLOADED = 1e5


def rows(name):
    """Rows of a table below tests/data."""
    lines = (DATA / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if line[0] != "#"))


def product_of(frequencies, words):
    """Carriers of a product that is given in words."""
    return next(mix.carriers for mix in mixes(frequencies) if mix.words() == words)


@pytest.mark.parametrize("row", rows("own-calculations/tanh_distortion.csv"), ids=lambda row: row["case"])
def test_input_stage_alone(check, tmp_path, row):
    """The tanh's third order is the closed form's within 1 dB, estimated and in time."""
    frequencies = [float(word) for word in row["frequencies_hz"].split()]
    ideal = {"gbw_hz": float(row["gbw_hz"]), "slew_v_per_us": float(row["slew_v_per_us"])}
    stage = own_stage(tmp_path, noninverting("1k", "1k"), ideal, UNLOADED)
    carriers = stage.carriers(frequencies, float(row["output_v"]))
    product, wanted = product_of(frequencies, row["product"]), float(row["value_dbc"])
    estimated = stage.estimated(carriers)
    assert estimated.valid
    check(f"{row['product']}, estimated", dbc(estimated, product), wanted, abs=1.0, unit="dBc")
    check(f"{row['product']}, in time", dbc(stage.in_time(carriers), product), wanted, abs=1.0, unit="dBc")
    # Today: the finite loop gain, which the closed form leaves out, is the larger part of it.
    assert dbc(estimated, product) == pytest.approx(wanted, abs=0.15)


def test_third_order_falls_two_decibels_a_decibel(tmp_path):
    """Half the tones are 12.04 dB less third order beside them, in time; power series, textbook."""
    stage = own_stage(tmp_path, noninverting("1k", "1k"), {"gbw_hz": 240e6, "slew_v_per_us": 170}, UNLOADED)
    levels = [dbc(stage.in_time(stage.carriers((5e6, 6e6), volts)), ((0, 2), (1, -1))) for volts in (0.25, 0.125)]
    assert levels[0] - levels[1] == pytest.approx(12.04, abs=0.3)


SHEETS = rows("opamp-data-sheets/harmonics.csv")


def sheet_stage(folder, row):
    """A data sheet's own circuit, feedback resistor 402 ohm; 10 V where the record's headroom asks for more."""
    gain = float(row["gain"])
    supply = "5 V" if row["part"] == "OPA2822" else "10 V"
    body = noninverting("402", f"{402 / (gain - 1):g}")
    return own_stage(folder, body, row["part"], float(row["load_ohm"]), supply)


def harmonics(stage, row):
    """Second and third harmonic as estimated and in time. [dBc]"""
    carriers = stage.carriers([float(row["frequency_hz"])], float(row["output_vpp"]) / 2)
    estimated, told = stage.estimated(carriers), stage.in_time(carriers)
    assert estimated.valid
    return [(dbc(estimated, ((0, order),)), dbc(told, ((0, order),))) for order in (2, 3)]


@pytest.mark.parametrize(
    "row", [row for row in SHEETS if float(row["frequency_hz"]) == 1e6], ids=lambda r: f"{r['part']}-{r['load_ohm']}"
)
def test_fitted_bend_gives_the_data_sheet_back(check, tmp_path, row):
    """The model in the data sheet's circuit has the harmonics it was fitted to, within 1 dB both ways."""
    both = harmonics(sheet_stage(tmp_path, row), row)
    for order, wanted, found in zip((2, 3), (row["hd2_dbc"], row["hd3_dbc"]), both, strict=True):
        if wanted:
            for way, ours in zip(("estimated", "in time"), found, strict=True):
                check(f"harmonic {order}, {way}", ours, float(wanted), abs=1.0, unit="dBc", against=SHEET)
            # Today.
            assert found == pytest.approx((float(wanted), float(wanted)), abs=0.4)


@pytest.mark.slow
def test_third_harmonic_rises_as_published(tmp_path):
    """OPA818: from 1 to 50 MHz the third harmonic rises by 36 dB, the model's within 6 dB of that."""
    low, high = (row for row in SHEETS if row["part"] == "OPA818")
    (tmp_path / "low").mkdir()
    (tmp_path / "high").mkdir()
    before = harmonics(sheet_stage(tmp_path / "low", low), low)
    after = harmonics(sheet_stage(tmp_path / "high", high), high)
    published = float(high["hd3_dbc"]) - float(low["hd3_dbc"])
    assert np.subtract(after[1], before[1]) == pytest.approx([published] * 2, abs=6.0)
    # The second harmonic is known to come out too low there: the bend's loop gain is not all that falls with frequency.
    assert after[0][1] - float(high["hd2_dbc"]) == pytest.approx(-12.3, abs=0.5)
