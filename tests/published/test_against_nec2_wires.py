"""Wires on the ground against NEC-2, from a study to the antenna that its deck holds.

Work: Burke and Poggio, Numerical Electromagnetics Code (NEC-2), 1981; program nec2c 1.3; own decks, in
tests/data/nec2-nec2c-1.3 beside the values read from their output. Rows named ``*_formula`` are an earlier
calculation of the same line formulas by other code. Tolerances are those of the comparison that set the model's
accuracy: they catch gross errors. Impedances are those of the fitted network, as it stands in the deck.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from sim.antenna.earth_line import reflection
from sim.constants import C0
from sim.deck.build import antenna_of
from sim.study.read import read_study
from tests.checks import Against, Standing

AGAINST = Against("wires on the ground", "NEC-2 (nec2c 1.3), own decks", Standing.PROGRAM)
FORMULAS = Against("wires on the ground", "line formulas by other code", Standing.OTHER_CODE)
FILE = Path(__file__).parents[1] / "data" / "nec2-nec2c-1.3" / "ground_wire.csv"
ROWS = list(csv.DictReader(line for line in FILE.read_text(encoding="utf-8").splitlines() if line[0] != "#"))


def wire_of(row, folder, azimuth=0.0, elevation=20.0):
    """The antenna of a study that describes a row's wire, fed in its middle."""
    path = folder / "wire.toml"
    path.write_text(
        f"""title = "wire of a published row"
[amplifier]
circuit = "transimpedance"
opamp = "OPA2822"
[antenna]
model = "ground-wire"
feed = "centre"
length = "{row["length"]} m"
height = "{row["height"]} m"
radius = "1 mm"
coat_radius = "1 mm"
soil_permittivity = {row["permittivity"]}
soil_conductivity = "{row["conductivity"]} S/m"
azimuth = {azimuth}
elevation = {elevation}
[bands]
frequencies = [{row["frequency_hz"]}]
""",
        encoding="utf-8",
    )
    return antenna_of(read_study(path))


def modelled(row, folder):
    """Our value for a row, in the row's unit."""
    freq, quantity = np.array([float(row["frequency_hz"])]), row["quantity"].removesuffix("_formula")
    if quantity.startswith("Voc"):
        elevation, azimuth = (float(word[2:]) for word in quantity.split("_")[1:])
        wire = wire_of(row, folder, azimuth, elevation)
        psi = np.radians(elevation)
        vertical_share = np.abs(np.cos(psi) * (1 + reflection(wire.line.soil, freq, psi)[0]))
        return (wire.effective_height(freq) * vertical_share).item()
    wire = wire_of(row, folder)
    gamma, z0 = wire.line.characteristic(freq)
    match quantity:
        case "Z_re":
            return wire.impedance(freq).real.item()
        case "Z_im":
            return wire.impedance(freq).imag.item()
        case "Z0_re":
            return z0.real.item()
        case "Z0_im":
            return z0.imag.item()
        case "VF":
            return (2 * np.pi * freq / C0 / gamma.imag).item()
        case "atten":
            return (2000 / np.log(10) * gamma.real).item()
        case "eta_sky":
            return wire.efficiency(freq).item()
    raise AssertionError(quantity)


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r['case']}-{r['quantity']}")
def test_row_within_its_tolerance(check, row, tmp_path):
    """Impedance, line constants, emf and efficiency agree with NEC-2 within the row's stated tolerance."""
    kind, size = row["tolerance"].split()
    value, ours, quantity = float(row["value"]), modelled(row, tmp_path), row["quantity"]
    against = FORMULAS if quantity.endswith("_formula") else AGAINST
    if kind == "abs_dB":
        power = 10 if quantity == "eta_sky" else 20
        levels = power * np.log10(np.abs([ours, value]))
        check(quantity, *levels.tolist(), abs=float(size), unit="dB", against=against)
    else:
        check(quantity, ours, value, **{kind: float(size)}, unit=row["unit"], against=against)


def test_all_ten_wires_are_there():
    """The table holds thirteen quantities of each of ten wires."""
    assert len(ROWS) == 130
    assert len({row["case"] for row in ROWS}) == 10
