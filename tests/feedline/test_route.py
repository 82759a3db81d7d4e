"""Sections in series and bias tees: chain matrices multiplied, noise and resistance of every part."""

import numpy as np
import pytest

from sim.constants import K_B, T0
from sim.feedline.cable import load_cable
from sim.feedline.line import chain_matrix, characteristic, through_line
from sim.feedline.route import Route, Section
from sim.feedline.tee import Tee

FREQ = np.geomspace(0.1e6, 60e6, 41)
SECTIONS = tuple(
    Section(load_cable(name), length) for name, length in (("rg6-ccs", 90.0), ("rg58", 12.0), ("rg213", 30.0))
)
TEE = Tee(choke=100e-6, choke_capacitance=8e-12, choke_loss=3e3, choke_resistance=1.5, block=22e-9)
IDEAL = {"choke_capacitance": 0.0, "choke_loss": 1e12, "choke_resistance": 0.0}


def loss_db(abcd, z=75.0):
    """Insertion loss between equal resistances. [dB]"""
    a, b, c, d = abcd[..., 0, 0], abcd[..., 0, 1], abcd[..., 1, 0], abcd[..., 1, 1]
    return 20 * np.log10(np.abs((a + b / z + c * z + d) / 2))


def test_one_section_is_the_line_itself():
    """A feedline of one cable without tees has that cable's chain matrix, to the bit."""
    route = Route(SECTIONS[:1])
    assert np.array_equal(route.chain_matrix(FREQ), chain_matrix(SECTIONS[0].cable, 90.0, FREQ))


def test_two_halves_are_the_whole():
    """Cutting a cable changes nothing."""
    cable = load_cable("rg6-ccs-20um")
    cut = Route((Section(cable, 30.0), Section(cable, 70.0))).chain_matrix(FREQ)
    assert np.allclose(cut, chain_matrix(cable, 100.0, FREQ), rtol=1e-12, atol=1e-15)


def test_sections_and_tees_equal_a_cascade_of_scikit_rf():
    """Three cables between two tees are scikit-rf's cascade of lines, capacitors and choke, to 1e-9."""
    skrf = pytest.importorskip("skrf")
    frequency = skrf.Frequency.from_f(FREQ, unit="hz")
    medium = skrf.media.DefinedGammaZ0(frequency, z0=75.0, gamma=1j)
    block = medium.capacitor(TEE.block)
    winding = medium.inductor(TEE.choke) ** medium.resistor(TEE.choke_resistance)
    shunts = [medium.shunt(winding ** medium.short()), medium.shunt_capacitor(TEE.choke_capacitance)]
    shunts.append(medium.shunt(medium.resistor(TEE.choke_loss) ** medium.short()))
    parts = [block, *shunts]
    for section in SECTIONS:
        gamma, zc = characteristic(section.cable, FREQ)
        line = skrf.media.DefinedGammaZ0(frequency, z0=zc, gamma=gamma).line(section.length, "m")
        line.renormalize(75.0)
        parts.append(line)
    whole = parts[0]
    for part in [*parts[1:], *shunts, block]:
        whole = whole**part
    scale = np.array([[1.0, 75.0], [1 / 75.0, 1.0]])
    ours = Route(SECTIONS, TEE, TEE).chain_matrix(FREQ)
    assert np.max(np.abs(whole.a - ours) / scale) < 1e-9 * np.max(np.abs(ours) / scale)


def test_noise_of_every_part_is_added():
    """The product's noise is that of the parts taken one after another, each with its own."""
    z, s, e = 20 + 3j * FREQ / 1e6, np.full(FREQ.shape, 4 * K_B * 400 * 20), np.ones(FREQ.shape, complex)
    whole = through_line(Route(SECTIONS, TEE, TEE).chain_matrix(FREQ), e, z, s)
    one_by_one = (e, z, s)
    lines = [chain_matrix(section.cable, section.length, FREQ) for section in SECTIONS]
    for part in [TEE.amplifier_end(FREQ), *lines, TEE.receiver_end(FREQ)]:
        one_by_one = through_line(part, *one_by_one)
    for got, expected in zip(whole, one_by_one, strict=True):
        assert got == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("changed", "expected"),
    [({"choke": 220e-6, "block": 1.0}, 0.0128), ({"choke": 10.0, "block": 10e-9}, 0.1913)],
    ids=["choke", "block"],
)
def test_insertion_loss_of_one_part(changed, expected):
    """220 uH in shunt and 10 nF in series at 0.5 MHz, 75 ohm: 20 log|1 + Z0/2Zc| and 20 log|1 + Zb/2Z0|, 2 %."""
    tee = Tee(**{**IDEAL, **changed})
    for matrix in (tee.amplifier_end(np.array([0.5e6])), tee.receiver_end(np.array([0.5e6]))):
        assert loss_db(matrix)[0] == pytest.approx(expected, rel=0.02)


def test_core_loss_is_noisy():
    """5 kohm across 75 ohm: noise figure 10 log(1 + 75/5000) = 0.0647 dB at 290 K (closed form)."""
    tee = Tee(choke=10.0, choke_capacitance=0.0, choke_loss=5e3, choke_resistance=0.0, block=1.0)
    source = np.array([4 * K_B * T0 * 75.0])
    emf, z, noise = through_line(tee.receiver_end(np.array([5e6])), np.array([1 + 0j]), np.array([75 + 0j]), source)
    figure = 10 * np.log10(noise / (source * np.abs(emf) ** 2))
    assert figure[0] == pytest.approx(10 * np.log10(1 + 75 / 5000), abs=1e-4)


def test_choke_at_and_above_its_resonance():
    """At 1/(2 pi sqrt(L C)) the core's loss remains, far above it the capacitance."""
    tee = Tee(choke=220e-6, choke_capacitance=5e-12, choke_loss=5e3, choke_resistance=0.0, block=1e-7)
    resonance = 1 / (2 * np.pi * np.sqrt(220e-6 * 5e-12))
    assert tee.choke_impedance(resonance) == pytest.approx(5e3, rel=1e-9)
    # Hand calculation: 942.5 uS of 5 pF less 24.1 uS of 220 uH at 30 MHz.
    assert abs(1 / (1 / tee.choke_impedance(30e6) - 1 / 5e3)) == pytest.approx(1 / 918.4e-6, rel=1e-4)


@pytest.mark.parametrize(
    ("sections", "tees", "expected"),
    [
        ((("rg6-ccs", 100.0),), 2, 12.65 + 2),
        ((("rg6-ccs", 100.0), ("rg6-cu", 100.0)), 1, 12.65 + 3.02 + 1),
        ((("rg6-ccs", 100.0), ("rg6-cu", 100.0)), 0, 12.65 + 3.02),
    ],
)
def test_supply_resistance(sections, tees, expected):
    """Loops of all sections and 1 ohm a choke: 12.65 and 3.02 ohm for 100 m (hand calculation)."""
    tee = Tee(choke=1e-3, choke_capacitance=0.0, choke_loss=1e4, choke_resistance=1.0, block=1e-7)
    parts = tuple(Section(load_cable(name), length) for name, length in sections)
    route = Route(parts, tee if tees > 0 else None, tee if tees > 1 else None)
    assert route.supply_resistance() == pytest.approx(expected, rel=1e-3)
