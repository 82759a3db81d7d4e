"""The network that stands for a measured antenna: how well it fits, that it is passive, and its noise."""

import shutil

import numpy as np
import pytest

from sim.antenna.earth_line import SOILS, EarthLine
from sim.antenna.ground_wire import ground_wire
from sim.antenna.ladder import Ladder
from sim.antenna.measured import LARGEST_FIT_ERROR, Measured, measured, negative_resistance, radiation_resistance
from sim.antenna.one_port import OnePort
from sim.antenna.short_vertical import short_vertical
from sim.antenna.tanks import Tanks, fit_tanks
from sim.constants import K_B
from tests.antenna.test_short_vertical import ngspice_table

needs_ngspice = pytest.mark.skipif(shutil.which("ngspice") is None, reason="no ngspice on PATH")
BANDS = np.array([1.83e6, 3.53e6, 7.05e6])
FREQ = np.geomspace(0.5e6, 30e6, 300)
LINE = EarthLine(5e-4, 1.2e-3, 3.5, 0.02, next(soil for soil in SOILS if soil.name == "average"))
VERTICAL = short_vertical(7, 0.008, ground_loss=20.0)


def loop(freq_hz):
    """A loop of 4 uH with a few ohms, resonant at 25 MHz by its own capacitance."""
    return 1 + 0.2e-6 * freq_hz + 2j * np.pi * freq_hz * 4e-6 / (1 - (freq_hz / 25e6) ** 2 * (1 - 0.02j))


KNOWN = {
    "vertical": VERTICAL.impedance(FREQ),
    "terminated wire": 50 + ground_wire(LINE, 120, 300.0).line_impedance(FREQ),
    "open wire": 50 + ground_wire(LINE, 120).line_impedance(FREQ),
    "short wire": 50 + ground_wire(LINE, 38).line_impedance(FREQ),
    "loop": loop(FREQ),
    "resistor": np.full(300, 300 + 0j),
}


def known(name, **words):
    """The network fitted to a known impedance."""
    return measured(OnePort(name, FREQ, KNOWN[name]), BANDS, **words)


def noisy(size, seed=1, freq=FREQ):
    """The vertical as an analyser of 50 ohm sees it, with noise on the reflection."""
    random = np.random.default_rng(seed)
    z = VERTICAL.impedance(freq)
    s = (z - 50) / (z + 50) + size * (random.normal(size=len(freq)) + 1j * random.normal(size=len(freq)))
    return OnePort("noisy", freq, 50 * (1 + s) / (1 - s))


@pytest.mark.parametrize("name", KNOWN)
def test_network_fits_and_is_passive(name):
    """Within the limit at the bands; positive real from 1 kHz to 1 GHz, all elements positive."""
    antenna = known(name)
    truth = np.interp(BANDS, FREQ, KNOWN[name].real) + 1j * np.interp(BANDS, FREQ, KNOWN[name].imag)
    assert antenna.fit_error(BANDS).max() < LARGEST_FIT_ERROR
    assert np.abs(antenna.impedance(BANDS) / truth - 1).max() < LARGEST_FIT_ERROR
    assert antenna.impedance(np.geomspace(1e3, 1e9, 3000)).real.min() >= 0
    network = antenna.network
    if isinstance(network, Tanks):
        assert min(network.resistance, *np.ravel(network.tanks), network.capacitance or 1.0) > 0
        assert network.inductance >= 0
    else:
        assert isinstance(network, Ladder)
        assert min(network.conductance, *np.ravel(network.branches)) > 0


def test_a_short_vertical_is_found_again():
    """Of the impedance of four elements and a ground connection the fit finds these elements."""
    network, e = known("vertical").network, VERTICAL.elements
    assert isinstance(network, Tanks) and len(network.tanks) == 1
    found = [network.resistance, network.capacitance, *network.tanks[0]]
    assert found == pytest.approx([20.0, e.c1, e.r, e.l, e.c2], rel=1e-3)


def test_the_resistance_is_not_lost_beside_the_reactance():
    """Half an ohm beside 1.4 kilohms is met within a tenth of it, as only a weight on the resistance alone does."""
    antenna = short_vertical(7, 0.008, ground_loss=0.0)
    made = measured(OnePort("lossless", FREQ, antenna.impedance(FREQ)), BANDS)
    assert antenna.impedance(BANDS[0]).real < 1.0
    assert made.impedance(BANDS).real == pytest.approx(antenna.impedance(BANDS).real, rel=0.1)


def test_noise_of_an_analyser_averages_out():
    """With noise that scatters the impedance by a percent and hides the resistance the reactance is still met."""
    made = measured(noisy(1e-3, freq=np.linspace(1e6, 10e6, 400)), BANDS)
    assert made.fit_error(BANDS).max() < LARGEST_FIT_ERROR
    assert made.scatter(BANDS).max() > 0.01
    assert len(made.network.tanks) <= 1
    assert np.abs(made.impedance(BANDS) / VERTICAL.impedance(BANDS) - 1).max() < 0.005


def test_a_table_of_three_points():
    """No more elements than the file has numbers: three where they do, a tank as well where they do not."""
    low = BANDS / 2
    made = measured(OnePort("few", low, VERTICAL.impedance(low)), low)
    assert made.network.tanks == () and made.fit_error(low).max() < LARGEST_FIT_ERROR
    made = measured(OnePort("few", BANDS, VERTICAL.impedance(BANDS)), BANDS)
    assert len(made.network.tanks) == 1 and made.fit_error(BANDS).max() < LARGEST_FIT_ERROR


def test_an_active_impedance_is_not_met():
    """What no passive network has is missed by far, and the error says so."""
    active = OnePort("active", FREQ, 300 * np.exp(2j * np.sin(4 * np.log(FREQ))))
    assert measured(active, BANDS).fit_error(BANDS).max() > 0.3


def test_negative_resistance():
    """One point, or nine in a row, below zero by more than noise explains; noise alone is let through."""
    z = KNOWN["vertical"].copy()
    assert negative_resistance(OnePort("good", FREQ, z)) is None
    assert negative_resistance(noisy(2e-4)) is None
    lone = z.copy()
    lone[100] = -0.2 * abs(z[100]) + 1j * z[100].imag
    assert negative_resistance(OnePort("lone", FREQ, lone))[0] == FREQ[100]
    row = z - 0.1 * np.abs(z) * ((FREQ > 3e6) & (FREQ < 4e6))
    freq, resistance = negative_resistance(OnePort("row", FREQ, row))
    assert 2.8e6 < freq < 4.2e6 and resistance < 0


def test_the_file_must_reach_the_bands():
    """A band beyond the file is refused, not extrapolated."""
    with pytest.raises(ValueError, match="does not reach"):
        measured(OnePort("short", FREQ[:100], KNOWN["vertical"][:100]), [1.83e6, 28e6])


def test_noise_of_the_losses():
    """What the effective height does not account for is at ambient temperature; a ground loss given is taken."""
    height = VERTICAL.effective_height(BANDS)
    made = measured(OnePort("v", FREQ, KNOWN["vertical"], VERTICAL.effective_height(FREQ)), BANDS)
    assert made.effective_height(BANDS) == pytest.approx(height, rel=1e-3)
    # The identity of a short vertical holds within 0.7 % of its own resistance here, a fraction of the 20 ohm.
    assert made.loss_resistance(BANDS) == pytest.approx(np.full(3, 20.0), rel=0.02)
    assert made.ambient_emf(BANDS, 290.0) ** 2 == pytest.approx(4 * K_B * 290 * made.loss_resistance(BANDS))
    assert known("vertical", ground_loss=5.0).loss_resistance(BANDS) == pytest.approx(np.full(3, 5.0))
    assert known("vertical", ground_loss=1e4).loss_resistance(BANDS) == pytest.approx(
        known("vertical").impedance(BANDS).real
    )


def test_without_a_height_there_is_no_field_and_all_is_loss():
    """NaN as height and outside noise, and the whole resistance makes noise."""
    made = known("vertical")
    assert np.isnan(made.effective_height(BANDS)).all() and np.isnan(made.external_emf(BANDS, np.ones(3))).all()
    assert made.loss_resistance(BANDS) == pytest.approx(made.impedance(BANDS).real)


def test_radiation_resistance_of_a_monopole():
    """10 (kh)^2 for a short monopole of height h, whose effective height is half of it (Balanis, Antenna Theory)."""
    k = 2 * np.pi * 1e6 / 299792458
    assert radiation_resistance(3.0, 1e6) == pytest.approx(10 * (k * 6.0) ** 2)


def test_fit_begins_anywhere_sensible():
    """Elements that are off by a factor of two are found again (three elements, closed form)."""
    truth = Tanks(20.0, 2e-6, 60e-12, ())
    found = fit_tanks(FREQ, truth.impedance(FREQ), Tanks(40.0, 1e-6, 120e-12, ()))
    assert [found.resistance, found.inductance, found.capacitance] == pytest.approx([20.0, 2e-6, 60e-12], rel=1e-5)


@needs_ngspice
@pytest.mark.parametrize("name", ["vertical", "loop", "terminated wire"])
def test_cards_are_the_network_without_noise_and_run_a_transient(name, tmp_path):
    """Plain ngspice finds the impedance in the cards and no noise, and a sine settles to the AC value."""
    antenna: Measured = known(name)
    cards = [*antenna.netlist("t", "0", "z_"), "I1 0 t dc 0 ac 1 sin(0 1m 2meg)", "Rleak t 0 1e9 noisy=0"]
    control = [
        "op",
        "ac lin 5 1e6 5e6",
        "wrdata z.txt v(t)",
        "noise v(t) I1 lin 3 1e6 5e6",
        "setplot noise1",
        "wrdata n.txt onoise_spectrum",
        "tran 2n 60u 50u",
        "meas tran top max v(t)",
        "meas tran low min v(t)",
        "let peak = (top-low)/2 + 0*v(t)",
        "wrdata p.txt peak",
    ]
    table = ngspice_table(tmp_path, cards, control, "z.txt")
    assert table[:, 1] + 1j * table[:, 2] == pytest.approx(antenna.impedance(table[:, 0]), rel=1e-4)
    assert np.loadtxt(tmp_path / "n.txt")[:, 1].max() < 1e-15
    assert np.loadtxt(tmp_path / "p.txt")[0, 1] == pytest.approx(1e-3 * abs(antenna.impedance(2e6)), rel=0.02)
