"""Conversions between noise figures, fields and voltages, and the two routes to an antenna's noise."""

import csv
from pathlib import Path

import numpy as np
import pytest

from sim.antenna.short_vertical import short_vertical
from sim.noise.density import (
    dbuv_from_field,
    fa_from_field,
    field_from_dbuv,
    field_from_fa,
    lossless_voltage,
    snr_loss,
    thermal_voltage,
)
from sim.noise.external import field_density, man_made

FILE = Path(__file__).parents[1] / "data" / "own-calculations" / "vertical_noise.csv"
ROWS = list(csv.DictReader(line for line in FILE.read_text(encoding="utf-8").splitlines() if line[0] != "#"))
FREQ = np.array([0.5e6, 1.8e6, 7e6, 30e6])


def test_conversions_are_inverse():
    """Fa to field and back, and dB(uV/m) to field and back, return what went in."""
    fa_db = np.array([70.0, 46.3, 29.4, 18.0])
    assert fa_from_field(field_from_fa(fa_db, FREQ), FREQ) == pytest.approx(fa_db, abs=1e-12)
    assert dbuv_from_field(field_from_dbuv(fa_db)) == pytest.approx(fa_db, abs=1e-12)


def test_one_microvolt_per_metre():
    """0 dB over 1 uV/m is 1e-6 V/m; 20 dB are ten times that."""
    assert field_from_dbuv([0.0, 20.0]) == pytest.approx([1e-6, 1e-5])


def test_thermal_noise_of_fifty_ohms():
    """50 ohm at 290 K make 0.894861 nV per root hertz."""
    assert thermal_voltage(50.0) == pytest.approx(0.894861e-9, rel=1e-6)  # hand calculation, sqrt(4 k T R)


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r['height']}m-{r['route']}-{r['frequency_hz']}")
def test_open_circuit_noise_of_verticals(row):
    """Both routes give the open-circuit noise of an earlier calculation by other code."""
    antenna = short_vertical(float(row["height"]), float(row["radius"]), ground_loss=0.0)
    freq = float(row["frequency_hz"])
    if row["route"] == "field":
        voltage = field_density(row["noise_class"], freq) * antenna.effective_height(freq)
    else:
        voltage = lossless_voltage(man_made(row["noise_class"], freq), antenna.radiation_impedance(freq).real)
    assert voltage * 1e9 == pytest.approx(float(row["value_nv"]), rel=0.02)
    assert voltage * 1e9 == pytest.approx(float(row["value_nv"]), rel=1e-5)  # today: the print's last digit


@pytest.mark.parametrize("name", ["city", "quiet-rural", "galactic"])
def test_field_route_equals_gain_route(name):
    """Over perfect ground the routes differ by the rounding of the field constant, 0.007 dB."""
    antenna = short_vertical(7.0, 0.008)
    freq = np.geomspace(0.3e6, antenna.high_hz, 40)
    field = field_density(name, freq) * antenna.effective_height(freq)
    gain = lossless_voltage(man_made(name, freq), antenna.radiation_impedance(freq).real)
    assert 20 * np.log10(field / gain) == pytest.approx(0.0068, abs=0.0005)


def test_what_a_margin_costs():
    """10 dB cost 0.414 dB of signal to noise, 6 dB 0.973 dB, 0 dB 3.010 dB; none at all costs everything."""
    # hand calculation, 10 log10(1 + 10^(-M/10))
    assert snr_loss([10.0, 6.0, 0.0]) == pytest.approx([0.413927, 0.973228, 3.010300], abs=1e-6)
    assert snr_loss(-60.0) == pytest.approx(60.0, abs=1e-5)
    assert np.isnan(snr_loss(np.nan))
