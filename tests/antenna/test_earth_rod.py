"""Earth rods: published resistance through an exported antenna, two rods by integration, their place in the deck."""

import csv
import shutil
from pathlib import Path

import numpy as np
import pytest
import skrf
from scipy.integrate import quad

from sim.antenna.earth_line import SOILS
from sim.antenna.earth_rod import Rods
from sim.constants import EPS0, K_B
from sim.deck.build import antenna_of
from sim.steps.cautions import cautions
from sim.study.read import read_study
from tests.antenna.test_short_vertical import ngspice_table
from tests.checks import Against, Standing, tolerance_of
from tests.conftest import command

AGAINST = Against("earth rods", "published resistance, see tests/data/textbook-antennas", Standing.PAPER)
needs_ngspice = pytest.mark.skipif(shutil.which("ngspice") is None, reason="no ngspice on PATH")
SOIL = {soil.name: soil for soil in SOILS}
FILE = Path(__file__).parents[1] / "data" / "textbook-antennas" / "earth_rod.csv"
ROWS = list(csv.DictReader(line for line in FILE.read_text(encoding="utf-8").splitlines() if line[0] != "#"))
STUDY = """title = "rods"
[amplifier]
circuit = "transimpedance"
opamp = "OPA2822"
[antenna]
model = "ground-wire"
length = "60 m"
stray = "0"
"""


def study(folder, text):
    """A study of a wire with more keys of its antenna, and its file."""
    path = folder / "rods.toml"
    path.write_text(STUDY + text, encoding="utf-8")
    return path


def close(count=1, spacing=3.0):
    """Rods of 1.5 m in average soil."""
    return Rods(count, 1.5, 0.008, spacing, SOIL["average"])


@pytest.mark.parametrize("row", ROWS, ids=lambda r: r["case"])
def test_published_resistance_through_an_export(check, row, tmp_path):
    """What a rod at the feed adds to an exported antenna, at 0.3 MHz, is the published resistance."""
    seen = {}
    for feed in ("0", "rod"):
        text = f"""ground_loss = "{feed}"
rod_length = "{row["length"]} m"
rod_radius = "{row["radius"]} m"
soil_permittivity = {row["permittivity"]}
soil_conductivity = "{row["conductivity"]} S/m"
"""
        out = tmp_path / f"{len(feed)}.s1p"
        done = command("export", study(tmp_path, text), "antenna", "-o", out, folder=tmp_path)
        assert done.returncode == 0, done.stderr
        seen[feed] = skrf.Network(str(out)).z[0, 0, 0]
    added = seen["rod"] - seen["0"]
    check("resistance of a rod", added.real, float(row["value"]), **tolerance_of(row["tolerance"]), unit="ohm")


@pytest.mark.parametrize("spacing", [0.2, 1.0, 3.0, 10.0])
def test_what_one_rod_adds_to_the_other(spacing):
    """Two rods are half of one plus the potential of an even current, averaged over the neighbour by integration."""
    one, two = close(), close(2, spacing)

    def potential(z):
        return np.arcsinh((1.5 - z) / spacing) + np.arcsinh((1.5 + z) / spacing)  # of the rod and its image

    mutual = quad(potential, 0.0, 1.5)[0] / 1.5 / (4 * np.pi * 0.005 * 1.5)
    assert two.resistance() == pytest.approx((one.resistance() + mutual) / 2, rel=1e-9)


def test_rods_far_apart_follow_dwight():
    """At ten lengths Dwight's series (Trans. AIEE 55, 1936; from memory) gives what the closed form gives."""
    ratio = 0.1
    series = ratio * (1 - ratio**2 / 3 + 2 * ratio**4 / 5) / (2 * np.pi * 0.005 * 1.5)
    assert close(2, 15.0).resistance() == pytest.approx((close().resistance() + series) / 2, rel=1e-6)


def test_resistance_and_capacitance_share_the_soil():
    """R C is eps/sigma: the loss tangent of the soil is that of the rod."""
    assert close(2).resistance() * close(2).capacitance() == pytest.approx(13 * EPS0 / 0.005)
    assert close().impedance(1e3) == pytest.approx(close().resistance(), rel=1e-3)


@pytest.mark.parametrize("given", [(3, 3.0, 0.008), (1, 3.0, 0.5), (2, 0.01, 0.008)])
def test_no_rods(given):
    """Three rods, a stump and rods in one another are refused."""
    count, spacing, radius = given
    with pytest.raises(ValueError, match="earth rods"):
        Rods(count, 1.5, radius, spacing, SOIL["average"])


def test_rod_longer_than_half_the_skin_depth(tmp_path):
    """In wet soil at 7 MHz a rod of 1.5 m leaves its formula's range, and the study says so; at 1.8 MHz it does not."""
    # sqrt(2/(w mu0 sigma)) = 2.17 m at 1.8 MHz in 30 mS/m, permittivity aside (hand calculation)
    assert Rods(1, 1.5, 0.008, 3, SOIL["good"]).skin_depth(1.8e6) == pytest.approx(2.17, rel=0.05)
    text = 'soil = "pasture-wet"\nfar_end = "300 + rod"\n[bands]\nfrequencies = ["1.83M", "7.05M"]\n'
    said = [line for line in cautions(read_study(study(tmp_path, text))) if "skin depth" in line]
    assert len(said) == 1 and "7.05 MHz" in said[0]


@needs_ngspice
@pytest.mark.parametrize("feed", ["rod", "20 + two rods"])
def test_cards_in_ngspice(tmp_path, feed):
    """A pair with rods at both ends: impedance, noise of the feed's electrode alone, and a sine that settles."""
    text = f'wires = 2\nfar_end = "300 + rod"\nground_loss = "{feed}"\n'
    antenna = antenna_of(read_study(study(tmp_path, text)))
    cards = [*antenna.netlist("t", "0", "z"), "I1 0 t dc 0 ac 1 sin(0 1m 3.53meg)"]
    control = [
        "op",
        "ac lin 4 1e6 7e6",
        "wrdata z.txt v(t)",
        "noise v(t) I1 lin 4 1e6 7e6",
        "setplot noise1",
        "wrdata n.txt onoise_spectrum",
        "tran 1n 40u 36u",
        "meas tran high max v(t)",
        "meas tran low min v(t)",
        "let peak = (high-low)/2 + 0*v(t)",
        "wrdata p.txt peak",
    ]
    table = ngspice_table(tmp_path, cards, control, "z.txt")
    freq = table[:, 0]
    assert table[:, 1] + 1j * table[:, 2] == pytest.approx(antenna.impedance(freq), rel=1e-5)
    noise = np.loadtxt(tmp_path / "n.txt")[:, 1]
    assert noise**2 == pytest.approx(4 * K_B * 290 * antenna.electrode(freq).real, rel=1e-3)
    assert np.loadtxt(tmp_path / "p.txt")[0, 1] == pytest.approx(1e-3 * abs(antenna.impedance(3.53e6)), rel=0.01)
    assert antenna.impedance(np.geomspace(1e3, 1e9, 3000)).real.min() >= 0
