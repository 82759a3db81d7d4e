"""The plain source: its impedance, the cards that stand for it, and what is no source."""

import shutil

import numpy as np
import pytest

from sim.antenna.plain import plain
from sim.constants import K_B
from tests.antenna.test_short_vertical import ngspice_table

needs_ngspice = pytest.mark.skipif(shutil.which("ngspice") is None, reason="no ngspice on PATH")
FREQ = np.array([0.5e6, 1.8e6, 7e6])


def test_impedance_is_the_sum_of_its_elements():
    """At resonance of L and C only the resistances are left (hand calculation)."""
    antenna = plain(30.0, 3.0, capacitance=62e-12, inductance=1e-6, radiation=2.0)
    resonance = 1 / (2 * np.pi * np.sqrt(62e-12 * 1e-6))
    assert antenna.impedance(resonance) == pytest.approx(32.0)
    # 1/(2 pi 1.8 MHz 62 pF) = 1426.1 ohm, 2 pi 1.8 MHz 1 uH = 11.31 ohm
    assert antenna.impedance(1.8e6).imag == pytest.approx(-1426.13 + 11.31, abs=0.02)
    assert antenna.external_emf(FREQ, np.full(3, 2.0)) == pytest.approx(6.0)


@needs_ngspice
@pytest.mark.parametrize(
    "given", [{"capacitance": 62e-12}, {"inductance": 2e-6, "radiation": 20.0}, {"resistance": 0.0}]
)
def test_cards_have_the_impedance_and_only_the_loss_makes_noise(tmp_path, given):
    """Plain ngspice finds the impedance in the cards, and 4kT times the loss resistance alone as noise."""
    given = {"resistance": 30.0, "capacitance": 100e-12, "radiation": 5.0, **given}
    antenna = plain(effective_height=1.0, **given)
    cards = [*antenna.netlist("t", "0", "z_"), "I1 0 t dc 0 ac 1", "Rleak t 0 1e12 noisy=0"]
    control = [
        "ac lin 3 1e6 7e6",
        "wrdata z.txt v(t)",
        "noise v(t) I1 lin 3 1e6 7e6",
        "setplot noise1",
        "wrdata n.txt onoise_spectrum",
    ]
    table = ngspice_table(tmp_path, cards, control, "z.txt")
    assert table[:, 1] + 1j * table[:, 2] == pytest.approx(antenna.impedance(table[:, 0]), rel=1e-5)
    noise = np.loadtxt(tmp_path / "n.txt")[:, 1]
    assert noise**2 == pytest.approx(4 * K_B * 290.0 * given["resistance"], rel=1e-3, abs=1e-24)


@pytest.mark.parametrize(
    "given", [{"resistance": -1.0}, {"capacitance": 0.0}, {"effective_height": 0.0}, {"resistance": 0.0}]
)
def test_no_source(given):
    """Negative values, no height and no element at all are refused."""
    with pytest.raises(ValueError, match="plain source"):
        plain(**{"resistance": 1.0, "effective_height": 1.0, **given})
