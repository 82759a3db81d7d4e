"""The network of R, L and C that stands for a line: passive, exact where it can be, without noise."""

import shutil

import numpy as np
import pytest

from sim.antenna.ladder import Ladder, fit_ladder, line_branches, relative_error
from tests.antenna.test_short_vertical import ngspice_table

needs_ngspice = pytest.mark.skipif(shutil.which("ngspice") is None, reason="no ngspice on PATH")
LENGTH, Z0, VELOCITY, ALPHA = 100.0, 300.0, 2e8, 4e-3


def line_impedance(freq_hz, reflected):
    """Input impedance of a distortionless line (R'/L' = G'/C'), in closed form."""
    back = reflected * np.exp(-2 * (ALPHA + 2j * np.pi * freq_hz / VELOCITY) * LENGTH)
    return Z0 * (1 + back) / (1 - back)


@pytest.mark.parametrize("reflected", [1.0, 0.5, -0.4])
def test_branches_are_the_partial_fractions_of_the_line(reflected):
    """With many branches and the real pole of a reflection below 0 the ladder is the distortionless line itself."""
    freq = np.geomspace(0.2e6, 3e6, 50)
    ladder = line_branches(LENGTH, ALPHA, Z0, VELOCITY, reflected, 4000)
    y = 1 / ladder.impedance(freq)
    if reflected < 0:
        # Resonances at 0, 1, 2 ...: the one at 0 is a single pole and no branch of the start.
        damping = ALPHA * VELOCITY - np.log(-reflected) / (2 * LENGTH / VELOCITY)
        y = y + 1 / (Z0 * LENGTH / VELOCITY) / (2j * np.pi * freq + damping)
    assert y * line_impedance(freq, reflected) == pytest.approx(np.ones(50), abs=0.02)


def test_fit_finds_the_line_with_few_branches():
    """Ten branches fit an open line over two decades within 1 %."""
    freq = np.geomspace(0.05e6, 5e6, 200)
    start = line_branches(LENGTH, ALPHA, Z0, VELOCITY, 1.0, 8)
    ladder = fit_ladder(freq, line_impedance(freq, 1.0), start)
    assert relative_error(ladder, freq, line_impedance(freq, 1.0)).max() < 0.01


def test_positive_real_from_1_khz_to_1_ghz():
    """Whatever it was fitted to, here an impedance that no passive network has, the network stays passive."""
    freq = np.geomspace(0.1e6, 10e6, 80)
    active = 100 * np.exp(1j * 2.0 * np.sin(np.log(freq)))
    ladder = fit_ladder(freq, active, line_branches(50.0, 4e-3, 100.0, 2e8, 1.0, 4))
    assert relative_error(ladder, freq, active).max() > 0.3
    assert ladder.impedance(np.geomspace(1e3, 1e9, 5000)).real.min() >= 0
    assert min(ladder.conductance, ladder.capacitance, *np.ravel(ladder.branches)) > 0


@needs_ngspice
def test_cards_are_the_network_without_noise_and_run_a_transient(tmp_path):
    """Plain ngspice finds the impedance in the cards, no noise, and a sine settles to the AC value."""
    ladder = Ladder(1e-4, 5e-12, ((20.0, 30e-6, 1e-5, 200e-12), (15.0, 20e-6, 2e-4, 40e-12)))
    cards = [*ladder.cards("t", "0", "z_"), "I1 0 t dc 0 ac 1 sin(0 1m 2meg)"]
    control = [
        "op",
        "ac lin 5 1e6 5e6",
        "wrdata z.txt v(t)",
        "noise v(t) I1 lin 3 1e6 5e6",
        "setplot noise1",
        "wrdata n.txt onoise_spectrum",
        "tran 1n 60u 55u",
        "meas tran top max v(t)",
        "let peak = top + 0*v(t)",
        "wrdata p.txt peak",
    ]
    table = ngspice_table(tmp_path, cards, control, "z.txt")
    assert table[:, 1] + 1j * table[:, 2] == pytest.approx(ladder.impedance(table[:, 0]), rel=1e-6)
    assert np.loadtxt(tmp_path / "n.txt")[:, 1].max() < 1e-15
    assert np.loadtxt(tmp_path / "p.txt")[0, 1] == pytest.approx(1e-3 * abs(ladder.impedance(2e6)), rel=0.01)
