"""Wet against dry: the rows, which measurement finds what, and the sentences made of that."""

import dataclasses
import math

import numpy as np
import pytest

from sim.summary.weathering import FOUND_FROM, Nominal, Wet, weather_rows, weathering

BANDS = (1.8e6, 7e6)
DRY = {
    "gain_db": [10.0, 10.0],
    "phase_deg": [179.5, 170.0],
    "output_noise_nv": [10.0, 10.0],
    "noise_margin_db": [14.0, 20.0],
    "output_dc_v": [6.0],
    "current_ma": [5.0],
    "supply_v": [11.0],
    "stability_margin": [0.9],
    "stable": [1.0],
}


def wet(name="input leak 1k", number=1, **changes):
    """A wet scenario that differs from the dry one by so much."""
    values = {measure: np.array(values) + np.array(changes.get(measure, 0.0)) for measure, values in DRY.items()}
    return Wet(number, name, name, "input_leak", 1e3, "", Nominal(values), Nominal(DRY))


def test_rows_are_wet_less_dry():
    """Decibels of noise are a ratio, phase is the shorter way round, loss follows from the margins (by hand)."""
    one = wet(gain_db=[-0.5, -0.2], phase_deg=[1.0, 0.5], output_noise_nv=[10.0, 1.0], noise_margin_db=[-6.0, -1.0])
    first, second = weather_rows([one], BANDS)
    assert first["gain_change_db"] == pytest.approx(-0.5) and second["gain_change_db"] == pytest.approx(-0.2)
    assert first["phase_change_deg"] == pytest.approx(1.0)
    assert first["noise_change_db"] == pytest.approx(20 * math.log10(2))
    lost = 10 * math.log10((1 + 10**-0.8) / (1 + 10**-1.4))
    assert first["snr_lost_db"] == pytest.approx(lost)
    assert second["found_by"] == "gain sweep; noise on a dummy" and "phase sweep" in second["not_found_by"]


def test_the_shorter_way_round():
    """From 179.5 to -179.9 degrees it is 0.6 degrees, not 359.4."""
    [row, _] = weather_rows([wet(phase_deg=[-359.4, 0.0])], BANDS)
    assert row["phase_change_deg"] == pytest.approx(0.6)


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"gain_db": 0.11}, "gain sweep"),
        ({"phase_deg": -1.1}, "phase sweep"),
        ({"output_noise_nv": 0.7}, "noise on a dummy"),
        ({"output_dc_v": -0.03}, "output at rest"),
        ({"current_ma": 0.3}, "supply current"),
        ({"supply_v": -0.2}, "volts at the unit"),
    ],
)
def test_each_measurement_finds_its_own(changes, name):
    """One change above what is found names that measurement and no other, by either sign."""
    rows = weather_rows([wet(**changes)], BANDS)
    assert {row["found_by"] for row in rows} == {name}
    assert set(rows[0]["not_found_by"].split("; ")) == {finder.name for finder in FOUND_FROM} - {name}


def test_what_a_gain_sweep_does_not_find_opens():
    """Leaks that other measurements find, that none finds, and that cost something are named, each in its sentence."""
    said = weathering(
        [
            wet("input leak 10k", 1, gain_db=-0.07, output_noise_nv=1.0, noise_margin_db=-0.8),
            wet("input leak 100k", 2, gain_db=-0.01),
            wet("input leak 300", 3, gain_db=-2.0, output_noise_nv=20.0, noise_margin_db=-10.0),
        ],
        BANDS,
    )
    assert said.headline == (
        "A gain sweep does not find input leak 10k (noise on a dummy finds it).",
        "No measurement finds input leak 100k.",
        "Water and dirt cost 0.5 dB of signal to noise or more with input leak 300 (1.3 dB).",
    )
    assert said.told[0] == (
        "input leak 10k: costs 0.03 dB of signal to noise at 1.8 MHz; found by noise on a dummy (+0.8 dB) alone; a gain"
        " sweep moves by 0.07 dB and does not find it."
    )
    assert said.told[1].startswith("input leak 100k: costs no signal to noise; found by none of the measurements")
    assert "gain sweep 0.1 dB" in said.told[-1] and "our choice" in said.told[-1]


def test_among_sisters_it_must_stand_out_of_their_spread():
    """0.5 dB of gain where units differ by 0.3 dB is none; 3 degrees where they differ by 1 degree is one (2 sd)."""
    spread = {finder.column: np.array([0.0]) for finder in FOUND_FROM}
    spread |= {"gain_change_db": np.array([0.3, 0.1]), "phase_change_deg": np.array([1.0, 1.0])}
    one = dataclasses.replace(wet(gain_db=-0.5, phase_deg=3.0, supply_v=0.05), spread=spread)
    first, second = weather_rows([one], BANDS)
    assert first["found_by"] == "gain sweep; phase sweep" and first["found_among_sisters_by"] == "phase sweep"
    assert second["found_among_sisters_by"] == "gain sweep; phase sweep"
    assert weather_rows([wet(gain_db=-0.5)], BANDS)[0]["found_among_sisters_by"] == ""


def test_a_unit_that_gave_no_numbers():
    """It has rows without numbers and is said to have none; nothing is made up."""
    lost = Wet(4, "connector leak 50", "connector leak 50 Ω", "connector_leak", 50.0, "", Nominal({}), Nominal(DRY))
    said = weathering([lost], BANDS)
    assert all(math.isnan(row["gain_change_db"]) and row["found_by"] == "" for row in said.rows)
    assert said.told[0] == "connector leak 50: gave no numbers to compare; see failures.csv." and not said.headline


def test_without_a_band_to_hear():
    """A bench source hears nothing: what signal to noise costs is not known, the rest is compared."""
    nothing = {"noise_margin_db": np.array([-np.inf, -np.inf])}
    one = Wet(1, "w", "w", "", math.nan, "", Nominal(DRY | nothing), Nominal(DRY | nothing))
    said = weathering([one], BANDS)
    assert "not known" in said.told[0]
