"""Verticals against NEC-2 and textbooks, through exported files and a study's measures.

Work: Burke and Poggio, Numerical Electromagnetics Code (NEC-2), 1981; program nec2c 1.3; own decks, in
tests/data/nec2-nec2c-1.3 beside the values read from their output, with the rows that cannot hold and why. Element
values: own evaluation of the same closed forms by other code. Textbook formulas: tests/data/textbook-antennas; they are
approximations that the model does not use, so they bound it within 2 % (capacitance) and 8 % (resistance).
"""

import csv
import re
from functools import cache

import numpy as np
import pytest

from sim.antenna.earth_line import Soil, reflection
from sim.study.read import read_study
from tests.checks import Against, Standing, tolerance_of
from tests.conftest import ROOT
from tests.small_studies import at_band, effective_height, export, measured, write_study

pytest.importorskip("skrf")


def rows(name):
    """Rows of a table below tests/data."""
    lines = (ROOT / "tests" / "data" / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if line[0] != "#"))


AGAINST = Against("verticals through a study", "NEC-2 (nec2c 1.3), own decks", Standing.PROGRAM)
FORMULA = Against("verticals through a study", "closed forms by other code", Standing.OTHER_CODE)
BOOK = Against("verticals through a study", "Schelkunoff and Friis 1952; any antenna text", Standing.PAPER)
PERFECT = rows("nec2-nec2c-1.3/short_vertical.csv")
SOIL = rows("nec2-nec2c-1.3/vertical_over_soil.csv")
TEXTBOOK = rows("textbook-antennas/short_vertical.csv")
ELEMENTS = rows("own-calculations/four_elements.csv")


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """A study of a row's vertical over perfect ground, read at all frequencies that the tables ask of it."""

    @cache
    def written(height, radius):
        same = [r for r in PERFECT + SOIL + TEXTBOOK if (float(r["height"]), float(r["radius"])) == (height, radius)]
        bands = {float(r["frequency_hz"]) for r in same if r["frequency_hz"]} | {1e5}
        for row in same:
            if row["quantity"] == "f_resonance":
                bands |= set(float(row["value"]) * np.linspace(0.98, 1.02, 9))
        # A base segment of 0.1 m acts as a gap of 75 mm.
        antenna = {"model": "short-vertical", "height": height, "radius": radius, "gap": 0.075}
        antenna |= {"ground_loss": 0, "stray": 0}
        return write_study(tmp_path_factory.mktemp("vertical"), antenna=antenna, bands={"frequencies": sorted(bands)})

    return lambda row: written(float(row["height"]), float(row["radius"]))


@pytest.fixture(scope="module")
def file(study):
    """The exported antenna of a row's study."""
    kept = {}

    def read(row):
        path = study(row)
        if path not in kept:
            kept[path] = export(path, "antenna")
        return kept[path]

    return read


@pytest.fixture(scope="module")
def height(study):
    """Effective height that a row's study has at a frequency, from its measures. [m]"""
    kept = {}

    def read(row, freq_hz=None):
        path = study(row)
        if path not in kept:
            (values,) = measured(path)
            kept[path] = dict(zip(read_study(path).bands.frequencies, effective_height(values), strict=True))
        return kept[path][float(row["frequency_hz"]) if freq_hz is None else freq_hz]

    return read


def within(check, row, ours):
    """Compare a value with a row, within the row's own tolerance."""
    against = FORMULA if row["quantity"].endswith("_formula") else AGAINST
    ours, value = float(ours), float(row["value"])
    check(row["quantity"], ours, value, **tolerance_of(row["tolerance"]), unit=row["unit"], against=against)


def resonance(network):
    """First rising zero of the file's reactance, and the resistance there. [Hz, Ω]"""
    x = network.z[:, 0, 0].imag
    after = int(np.flatnonzero(x > 0)[0])
    share = -x[after - 1] / (x[after] - x[after - 1])
    freq_hz = network.f[after - 1] + share * (network.f[after] - network.f[after - 1])
    return freq_hz, np.interp(freq_hz, network.f, network.z[:, 0, 0].real)


@pytest.mark.parametrize("row", PERFECT, ids=lambda r: f"{r['case']}-{r['quantity']}-{r['frequency_hz']}")
def test_over_perfect_ground(check, row, file, height):
    """Impedance and resonance of the exported file, height of the study: NEC-2 within each row's tolerance."""
    if row["quantity"] == "h_eff":
        within(check, row, height(row))
        return
    network = file(row)
    if row["quantity"] in ("f_resonance", "R_resonance"):
        within(check, row, resonance(network)[row["quantity"] == "R_resonance"])
        return
    freq_hz = float(row["frequency_hz"])
    z = network.z[at_band(network, freq_hz), 0, 0]
    ours = {"Z_re": z.real, "Z_im": z.imag, "C_static": -1e12 / (2 * np.pi * freq_hz * z.imag)}
    within(check, row, ours[row["quantity"]])


@pytest.mark.parametrize("row", TEXTBOOK, ids=lambda r: f"{r['case']}-{r['quantity']}-{r['frequency_hz']}")
def test_textbook_values(check, row, file):
    """The exported file has the textbook's capacitance within 2 % and its radiation resistance within 8 %."""
    network, freq_hz = file(row), float(row["frequency_hz"] or 1e5)
    z = network.z[at_band(network, freq_hz), 0, 0]
    if row["quantity"] == "C_formula":
        ours = -1e12 / (2 * np.pi * freq_hz * z.imag)
        check("capacitance", ours, float(row["value"]), rel=0.02, unit="pF", against=BOOK)
    else:
        check("radiation resistance", z.real, float(row["value"]), rel=0.08, unit="ohm", against=BOOK)


@pytest.mark.parametrize("row", ELEMENTS, ids=lambda r: r["case"])
def test_elements_of_the_exported_deck(row, study, height):
    """The deck's cards are the four elements, and the height towards zero frequency is theirs, all within 0.1 %."""
    deck = export(study(row), "netlist").lower()
    card = r"^{}z_1__{} \S+ \S+ (\S+)"
    for kind, name, key, scale in (("c", "1", "c1_pf", 1e12), ("l", "t", "l_uh", 1e6), ("c", "2", "c2_pf", 1e12)):
        value = float(re.search(card.format(kind, name), deck, re.MULTILINE)[1])
        assert value * scale == pytest.approx(float(row[key]), rel=1e-3)
    radiation = re.search(card.format("r", "rad") + " noisy=0$", deck, re.MULTILINE)[1]
    assert float(radiation) == pytest.approx(float(row["r_ohm"]), rel=1e-3)
    assert height(row, 1e5) == pytest.approx(float(row["height0_m"]), rel=1e-3)


@pytest.mark.parametrize(
    "row",
    [r for r in SOIL if r["quantity"].startswith("Voc")],
    ids=lambda r: f"{r['case']}-{r['quantity']}-{r['frequency_hz']}",
)
def test_wave_from_the_sky_over_real_soil(check, row, height):
    """Height of the study times the wave's vertical field over that soil: NEC-2 with radials, 8 %; by hand 2 %."""
    soil = Soil("of the row", float(row["permittivity"]), float(row["conductivity"]), "", "")
    psi = np.radians(20.0)
    vertical, _ = reflection(soil, float(row["frequency_hz"]), psi)
    within(check, row, height(row) * np.cos(psi) * abs(1 + vertical))


def test_elevated_radials_are_what_the_impedance_lacks(file):
    """The rows of impedance that cannot hold differ by a series capacitance and a loss, as the table's head says."""
    pairs = {}
    for row in SOIL:
        pairs.setdefault((row["case"], float(row["frequency_hz"])), {})[row["quantity"]] = row
    picofarads, ohms = {"h6": [], "h4": []}, []
    for (case, freq_hz), pair in pairs.items():
        network = file(pair["Z_re"])
        ours = network.z[at_band(network, freq_hz), 0, 0]
        more = complex(float(pair["Z_re"]["value"]), float(pair["Z_im"]["value"])) - ours
        picofarads[case.split("_")[2]].append(-1e12 / (2 * np.pi * freq_hz * more.imag))
        ohms.append(more.real)
    assert (round(min(picofarads["h6"])), round(max(picofarads["h6"]))) == (271, 337)
    assert (round(min(picofarads["h4"])), round(max(picofarads["h4"]))) == (111, 116)
    assert (round(min(ohms), 1), round(max(ohms), 1)) == (3.7, 13.7)


def test_sky_efficiency_would_give_less_noise(file):
    """The rows of efficiency that cannot hold lie 3.2 to 6.9 dB below the field route, as the table's head says."""
    resistance = {(r["case"], r["frequency_hz"]): float(r["value"]) for r in SOIL if r["quantity"] == "Z_re"}
    less = []
    for row in SOIL:
        if row["quantity"] == "eta_sky":
            network = file(row)
            perfect = network.z[at_band(network, float(row["frequency_hz"])), 0, 0].real
            heard = float(row["value"]) * resistance[row["case"], row["frequency_hz"]]
            less.append(10 * np.log10(perfect / heard))
    assert (round(min(less), 1), round(max(less), 1)) == (3.2, 6.9)
