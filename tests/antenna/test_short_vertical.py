"""The short vertical: element values, ranges, and the cards that stand for it."""

import csv
import math
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from sim.antenna.short_vertical import four_elements, short_vertical
from sim.constants import K_B

DATA = Path(__file__).parents[1] / "data"
needs_ngspice = pytest.mark.skipif(shutil.which("ngspice") is None, reason="no ngspice on PATH")


def rows(name):
    """Rows of a table below tests/data."""
    lines = (DATA / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if line[0] != "#"))


def ngspice_table(folder, cards, control, file):
    """Run cards in plain `ngspice -b`; the table that `wrdata` wrote."""
    deck = "\n".join(["* one-port", *cards, ".temp 16.85", ".control", *control, ".endc", ".end", ""])
    (folder / "deck.cir").write_text(deck, encoding="utf-8")
    run = subprocess.run(
        ["ngspice", "-b", "deck.cir"], cwd=folder, capture_output=True, text=True, timeout=60, check=False
    )
    assert (folder / file).exists(), run.stdout + run.stderr
    return np.loadtxt(folder / file)


@pytest.mark.parametrize("row", rows("own-calculations/four_elements.csv"), ids=lambda r: r["case"])
def test_element_values(row):
    """The four elements equal an evaluation of the same closed forms by other code."""
    e = four_elements(float(row["height"]), float(row["radius"]), 0.075)
    ours = [e.c1 * 1e12, e.l * 1e6, e.c2 * 1e12, e.r, e.height0]
    table = [float(row[key]) for key in ("c1_pf", "l_uh", "c2_pf", "r_ohm", "height0_m")]
    assert ours == pytest.approx(table, rel=1e-5)


@pytest.mark.parametrize(
    "row", rows("textbook-antennas/short_vertical.csv"), ids=lambda r: f"{r['case']}-{r['quantity']}"
)
def test_textbook_values_of_a_short_antenna(row):
    """Far below resonance capacitance is within 2 % and radiation resistance within 8 % of the textbook's."""
    antenna = short_vertical(float(row["height"]), float(row["radius"]), ground_loss=0.0)
    if row["quantity"] == "C_formula":
        capacitance = -1e12 / (2 * np.pi * 1e5 * antenna.impedance(1e5).imag)
        assert capacitance == pytest.approx(float(row["value"]), rel=0.02)
    else:
        resistance = antenna.radiation_impedance(float(row["frequency_hz"])).real
        # The effective height is not exactly h/2: the base gap lifts it, a thick wire near the ground lowers
        # it.
        assert resistance == pytest.approx(float(row["value"]), rel=0.08)


def test_radiation_resistance_and_height_are_one_thing():
    """R = 40 (k h_e)^2 holds where the antenna is short; it is how R was made."""
    antenna = short_vertical(6.0, 0.01)
    freq = np.array([0.5e6, 1.8e6, 3.5e6])
    k = 2 * np.pi * freq / 299_792_458.0
    assert antenna.radiation_impedance(freq).real == pytest.approx(
        40 * (k * antenna.effective_height(freq)) ** 2, rel=1e-9
    )


def test_ground_loss_is_in_series_and_stray_is_kept_apart():
    """Ground loss adds to the impedance; the stray is reported, not mixed in."""
    lossless, real = short_vertical(7.0, 0.008, ground_loss=0, stray=0), short_vertical(7.0, 0.008)
    freq = np.array([1.83e6, 7.05e6])
    assert real.impedance(freq) - lossless.impedance(freq) == pytest.approx(30.0)
    assert real.effective_height(freq) == pytest.approx(lossless.effective_height(freq))
    assert (real.shunt_capacitance, lossless.shunt_capacitance) == (3e-12, 0.0)


def test_validity_ends_at_kh_of_1_6():
    """The range ends at 12.7 MHz for 6 m, and marks each frequency."""
    antenna = short_vertical(6.0, 0.01)
    assert antenna.high_hz == pytest.approx(1.6 * 299_792_458.0 / (2 * math.pi * 6.0))
    assert antenna.valid([1.8e6, 12.7e6, 12.8e6]).tolist() == [True, True, False]


def test_cautions_name_what_leaves_the_fit():
    """Dimensions inside the fitted ratios give no caution; each one outside is named with its range."""
    assert short_vertical(7.0, 0.008).cautions == ()
    assert short_vertical(3.0, 0.0005, gap=0.15).cautions == ()
    assert short_vertical(3.0, 0.03, gap=0.16).cautions == (
        "height over radius is 100; the model was fitted for 150 to 16000",
        "gap over height is 0.0533; the model was fitted for 0.0047 to 0.0500",
    )
    assert short_vertical(7.0, 0.03).cautions == (
        "the gap is 2.5 radii; the model was fitted for 3 and more",
    )


@pytest.mark.parametrize(
    "dimensions", [(0.05, 0.01, 0.075), (6.0, 0.0, 0.075), (6.0, 0.01, 0.0), (math.nan, 0.01, 0.1)]
)
def test_meaningless_dimensions_are_refused(dimensions):
    """A stump, a wire without radius, a missing gap and no number at all raise ValueError."""
    with pytest.raises(ValueError, match="needs a height of at least 10 radii"):
        four_elements(*dimensions)


def test_a_gap_too_large_is_refused():
    """A gap of a quarter of the height would make an element negative and raises ValueError."""
    with pytest.raises(ValueError, match="a gap of 1.5 m is too large for a short vertical of 6 m"):
        four_elements(6.0, 0.01, 1.5)


@pytest.mark.parametrize("loss", [{"ground_loss": -1.0}, {"stray": -1e-12}])
def test_negative_losses_are_refused(loss):
    """Negative ground loss and negative stray raise ValueError."""
    with pytest.raises(ValueError, match="must not be negative"):
        short_vertical(6.0, 0.01, **loss)


@needs_ngspice
@pytest.mark.parametrize("ground_loss", [30.0, 0.0])
def test_cards_have_the_impedance(tmp_path, ground_loss):
    """An AC run of the cards in ngspice gives impedance() to 1e-6, from 100 kHz to past resonance."""
    antenna = short_vertical(7.0, 0.008, ground_loss=ground_loss)
    cards = ("Vx a 0 dc 0 ac 1", *antenna.netlist("a", "0", "ant"))
    control = ("set numdgt=15", "ac dec 20 100k 12meg", "let z = -1/i(vx)", "wrdata z.txt z")
    table = ngspice_table(tmp_path, cards, control, "z.txt")
    ours = antenna.impedance(table[:, 0])
    assert np.max(np.abs(table[:, 1] + 1j * table[:, 2] - ours) / np.abs(ours)) < 1e-6
    # The radiation resistance hides under the reactance, so it gets its own look.
    assert table[:, 1] == pytest.approx(ours.real, rel=1e-6)


@needs_ngspice
def test_only_the_ground_connection_makes_noise(tmp_path):
    """Thermal noise at the open terminals is that of the ground resistance alone; radiation is noiseless."""
    antenna = short_vertical(7.0, 0.008, ground_loss=30.0)
    cards = ("Vx g 0 dc 0 ac 1", *antenna.netlist("a", "g", "ant"), "Rleak a 0 1e15 noisy=0")
    control = ("noise v(a) vx dec 1 1meg 10meg", "setplot noise1", "wrdata n.txt onoise_spectrum")
    table = ngspice_table(tmp_path, cards, control, "n.txt")
    assert table[:, 1] == pytest.approx(math.sqrt(4 * K_B * 290.0 * 30.0), rel=1e-5)


def test_names_of_cards_begin_with_the_prefix():
    """Two antennas in one deck share no element and no inner node."""
    first = short_vertical(6, 0.01).netlist("a", "0", "one")
    second = short_vertical(6, 0.01).netlist("b", "0", "two")
    words = [{word for card in cards for word in card.split()[:3]} for cards in (first, second)]
    assert words[0] & words[1] == {"0"}
    assert all(card[1:].startswith("one_") for card in first)
