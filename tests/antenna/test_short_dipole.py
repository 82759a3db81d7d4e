"""The short dipole: its network, its noise, its two legs."""

import math
import shutil

import numpy as np
import pytest

from sim.antenna.earth_line import Soil
from sim.antenna.short_dipole import short_dipole
from sim.constants import K_B, T0
from sim.noise.density import field_from_fa
from tests.antenna.test_short_vertical import ngspice_table

needs_ngspice = pytest.mark.skipif(shutil.which("ngspice") is None, reason="no ngspice on PATH")
SOIL = Soil("test", 13.0, 5e-3, "", "")
METAL = Soil("metal", 1.0, 1e9, "", "")
DIPOLE = short_dipole(10.0, 2e-3, 20.0, SOIL)


def test_sky_is_all_there_is_over_metal():
    """Over a perfect conductor nothing is lost: sky resistance and source resistance are one (energy)."""
    freq = np.array([1.8e6, 7e6])
    dipole = short_dipole(10.0, 2e-3, 20.0, METAL)
    assert dipole.sky_resistance(freq) == pytest.approx(dipole.source_resistance(freq), rel=3e-3)


def test_resistance_near_metal_is_that_of_a_loop_of_wire_and_image():
    """A low dipole over metal: R/R0 = (4/5)(2 kH)^2 / 4, the leading term of wire and image (hand calculation)."""
    # Point dipole and its opposite image: F = 1 - (3/2)(sin x/x + cos x/x^2 - sin x/x^3), x = 2kH, to the order x^2.
    dipole = short_dipole(4.0, 1e-3, 8.0, METAL)
    freq = 1.8e6
    x = 2 * (2 * np.pi * freq / 299792458.0) * 8.0
    exact = 1 - 1.5 * (np.sin(x) / x + np.cos(x) / x**2 - np.sin(x) / x**3)
    assert dipole.source_resistance(freq) / dipole.free_space_resistance(freq) == pytest.approx(exact, rel=5e-3)


def test_external_and_soil_noise_make_up_the_source():
    """At an outside noise of kT0 sky and soil together are 4 k T0 R, as of a resistor at T0 (thermodynamics)."""
    freq = np.array([1.83e6, 3.53e6, 7.05e6])
    heard = DIPOLE.external_emf(freq, field_from_fa(np.zeros(3), freq))
    whole = heard**2 + DIPOLE.ambient_emf(freq, T0) ** 2
    assert whole == pytest.approx(4 * K_B * T0 * DIPOLE.source_resistance(freq), rel=1e-3)


def test_positive_real_from_1_khz_to_1_ghz():
    """The network is passive wherever it may be looked at."""
    for height in (1.0, 5.0, 20.0):
        z = short_dipole(10.0, 2e-3, height, SOIL).impedance(np.geomspace(1e3, 1e9, 3000))
        assert z.real.min() >= 0


def test_common_mode_is_in_the_legs_and_the_centre():
    """Legs in parallel and what lies below the centre are the common-mode capacitance, below the tank's resonance."""
    legs, below = 2 * DIPOLE.elements.c1, DIPOLE.centre_capacitance
    assert legs * below / (legs + below) == pytest.approx(DIPOLE.common_capacitance)
    assert math.isinf(short_dipole(10.0, 2e-3, 1.0, SOIL).centre_capacitance)


@pytest.mark.parametrize("height", [0.5, 1.0])
def test_low_dipoles_say_that_they_are(height):
    """Below what was compared there is a caution, and of noise and mast there always is one."""
    assert any("not compared" in text for text in short_dipole(10.0, 2e-3, height, SOIL).cautions)
    assert not any("not compared" in text for text in DIPOLE.cautions)
    assert any("common-mode choke" in text for text in DIPOLE.cautions)


@needs_ngspice
def test_legs_are_the_impedance_without_noise_and_run_a_transient(tmp_path):
    """Plain ngspice finds the impedance between the legs, no noise, and a sine settles to the AC value."""
    cards = [*DIPOLE.leg("p", "m", "z_p"), *DIPOLE.leg("q", "m", "z_n"), *DIPOLE.centre_to_ground("m", "0", "z_c")]
    cards += ["I1 q p dc 0 ac 1 sin(0 1m 7meg)", "Rp p 0 1e8 noisy=0", "Rq q 0 1e8 noisy=0", "E1 d 0 p q 1"]
    control = [
        "op",
        "ac lin 7 1e6 7e6",
        "wrdata z.txt v(d)",
        "noise v(d) I1 lin 3 1e6 7e6",
        "setplot noise1",
        "wrdata n.txt onoise_spectrum",
        "tran 1n 4u 2u 1n",
        "wrdata t.txt v(d)",
    ]
    table = ngspice_table(tmp_path, cards, control, "z.txt")
    z = table[:, 1] + 1j * table[:, 2]
    assert z.imag == pytest.approx(DIPOLE.impedance(table[:, 0]).imag, rel=1e-4)
    assert np.loadtxt(tmp_path / "n.txt")[:, 1].max() < 1e-15
    wave = np.loadtxt(tmp_path / "t.txt")
    swing = (wave[:, 1].max() - wave[:, 1].min()) / 2
    assert swing == pytest.approx(1e-3 * abs(DIPOLE.impedance(7e6)), rel=0.05)
