"""Short vertical against NEC-2.

Work: Burke and Poggio, Numerical Electromagnetics Code (NEC-2), 1981; program nec2c 1.3; own decks, in
tests/data/nec2-nec2c-1.3 beside the values read from their output (open-circuit voltage = short-circuited
base current in the plane wave times input impedance). The network was fitted to other runs of the same code,
so these rows check the coding and the range, not NEC-2 itself.

Tolerances: NEC-2's base segment acts as the feed gap and does not converge, 3 % of the capacitance over
segment lengths; hence 2 % of |Z|, at least 8 ohm near resonance. One resistor cannot hold the change of
directivity with kh: 6 % of the effective height past kh = 1.1, 3 % below.
"""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

from sim.antenna.short_vertical import short_vertical
from tests.checks import Against, Standing, tolerance_of

AGAINST = Against("short verticals", "NEC-2 (nec2c 1.3), own decks", Standing.PROGRAM)
FILE = Path(__file__).parents[1] / "data" / "nec2-nec2c-1.3" / "short_vertical.csv"
ROWS = list(csv.DictReader(line for line in FILE.read_text(encoding="utf-8").splitlines() if line[0] != "#"))


def antenna_of(row):
    """The vertical of a row; a base segment of 0.1 m is a gap of 75 mm, over perfect ground."""
    return short_vertical(float(row["height"]), float(row["radius"]), gap=0.075, ground_loss=0.0, stray=0.0)


def resonance(antenna):
    """First zero of the reactance. [Hz]"""
    return brentq(lambda f: antenna.impedance(f).imag, 0.5 * antenna.high_hz, antenna.high_hz)


def modelled(row):
    """Our value for a row, in the row's unit."""
    antenna, freq = antenna_of(row), float(row["frequency_hz"] or "nan")
    match row["quantity"]:
        case "C_static":
            return -1e12 / (2 * np.pi * freq * antenna.impedance(freq).imag)
        case "Z_re" | "R_resonance":
            return antenna.impedance(freq).real
        case "Z_im":
            return antenna.impedance(freq).imag
        case "h_eff":
            return antenna.effective_height(freq)
        case "f_resonance":
            return resonance(antenna)


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r['case']}-{r['quantity']}-{r['frequency_hz']}")
def test_row_within_its_tolerance(check, row):
    """Impedance, height, capacitance and resonance agree with NEC-2 within the row's stated tolerance."""
    value, allowed = float(row["value"]), tolerance_of(row["tolerance"])
    check(row["quantity"], modelled(row), value, **allowed, unit=row["unit"])


def worst(quantity):
    """Largest deviation of ours from the table, relative."""
    chosen = [row for row in ROWS if row["quantity"] == quantity]
    assert chosen
    return max(abs(modelled(row) / float(row["value"]) - 1) for row in chosen)


def test_worst_deviations_today():
    """What the comparison reaches today, so that a change of the model shows."""
    assert worst("C_static") == pytest.approx(0.00667, abs=2e-5)
    assert worst("Z_re") == pytest.approx(0.00718, abs=2e-5)
    assert worst("h_eff") == pytest.approx(0.0432, abs=1e-4)
    assert worst("f_resonance") == pytest.approx(0.00130, abs=1e-5)


def test_impedance_of_the_range_within_two_percent():
    """|Z - Z_NEC| stays below 1.7 % of |Z_NEC| up to kh = 1.2, the accuracy that the model claims."""
    pairs = {}
    for row in ROWS:
        if row["quantity"] in ("Z_re", "Z_im"):
            pairs.setdefault((row["case"], row["frequency_hz"]), {})[row["quantity"]] = row
    checked = 0
    for pair in pairs.values():
        antenna, freq = antenna_of(pair["Z_re"]), float(pair["Z_re"]["frequency_hz"])
        if freq > antenna.high_hz * 1.2 / 1.6:
            continue
        reference = float(pair["Z_re"]["value"]) + 1j * float(pair["Z_im"]["value"])
        assert abs(antenna.impedance(freq) - reference) < 0.017 * abs(reference)
        checked += 1
    assert checked == 17
