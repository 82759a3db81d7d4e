"""A wire on the ground: what line theory demands of it, its noise, and what it says about itself."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from sim.antenna.earth_line import SOILS, EarthLine, Soil, _ground_integrals
from sim.antenna.ground_wire import LARGEST_FIT_ERROR, ground_wire
from sim.constants import C0, EPS0, K_B, MU0, T0
from sim.noise.density import field_from_fa

SOIL = {soil.name: soil for soil in SOILS}
BANDS = np.array([1.8e6, 3.5e6, 7e6])


def line(height=0.02, soil="average"):
    """Cross section of insulated hook-up wire."""
    return EarthLine(5e-4, 1.2e-3, 3.5, height, SOIL[soil])


@pytest.mark.parametrize("soil", ["poor", "average", "good"])
@pytest.mark.parametrize("far_end", [300.0, math.inf])
@pytest.mark.parametrize(("length", "height"), [(38, 0.02), (120, 0.02), (120, 0.1)])
def test_network_fits_and_is_passive(soil, far_end, length, height):
    """At the bands the network keeps to the line within the limit; it is positive real from 1 kHz to 1 GHz."""
    wire = ground_wire(line(height, soil), length, far_end)
    assert wire.fit_error(BANDS).max() < LARGEST_FIT_ERROR
    assert wire.network.impedance(np.geomspace(1e3, 1e9, 3000)).real.min() >= 0


def test_over_metal_it_is_the_textbook_s_line():
    """Over ground like metal Z0 is 60 ln(2h/a) and the velocity that of light (closed form, skin effect aside)."""
    metal = Soil("metal", 1.0, 5.8e7, "copper", "closed form")
    gamma, z0 = EarthLine(1e-3, 1e-3, 1.0, 0.1, metal).characteristic(BANDS)
    assert z0.real == pytest.approx(math.sqrt(MU0 / EPS0) / (2 * math.pi) * math.log(200), rel=0.01)
    assert gamma.imag == pytest.approx(2 * np.pi * BANDS / C0, rel=0.01)


def test_insulation_slows_the_wave():
    """A thicker coat of the same wire at the same height raises the capacitance: lower Z0, lower velocity."""
    bare = replace(line(), insulation_radius=5e-4)
    (gamma, z0), (gamma_bare, z0_bare) = line().characteristic(BANDS), bare.characteristic(BANDS)
    assert np.all(z0.real < z0_bare.real)
    assert np.all(gamma.imag > gamma_bare.imag)


@pytest.mark.parametrize("beside", [0.0024, 0.05, 0.5])
def test_a_pair_over_metal_is_a_bundle(beside):
    """Over ground like metal a pair has the Z0 of one conductor of radius sqrt(a D) (closed form, image theory)."""
    metal = Soil("metal", 1.0, 5.8e7, "copper", "closed form")
    _, z0 = EarthLine(5e-4, 5e-4, 1.0, 1.0, metal, beside).characteristic(BANDS)
    bundle = math.log(2 / math.sqrt(5e-4 * beside)) + math.log(math.hypot(1, beside / 2)) / 2
    assert z0.real == pytest.approx(math.sqrt(MU0 / EPS0) / (2 * math.pi) * bundle, rel=0.005)


@pytest.mark.parametrize("soil", ["poor", "good"])
def test_a_pair_lies_between_one_wire_and_half_of_it(soil):
    """Joined closely a pair is nearly one wire, far apart two in parallel: its Z0 falls from the one to the other."""
    alone = line(soil=soil).characteristic(BANDS)[1].real
    pairs = [replace(line(soil=soil), beside=d).characteristic(BANDS)[1].real for d in (0.0024, 0.02, 0.3, 5.0)]
    assert np.all(np.diff([alone, *pairs], axis=0) < 0)
    assert np.all(pairs[-1] > alone / 2)
    assert pairs[-1] == pytest.approx(alone / 2, rel=0.12)


def test_mutual_integrals_against_adaptive_integration():
    """Carson's and Wise's mutual integrals, whose cosine turns 150 times before they have died, to 1e-4."""
    eta, n2, height, beside = 0.02 + 0.05j, 13 - 50j, 0.02, 3.0
    found = _ground_integrals(height, np.array([eta]), np.array([n2]), beside)
    for ours, factor in zip(found, (1.0, n2), strict=True):

        def smooth(s, factor=factor):
            return 2 * np.exp(-2 * height * s) / (factor * s + np.sqrt(s * s + eta**2))

        parts = [
            quad(lambda s, part=part, f=smooth: getattr(f(s), part), 0, 600, weight="cos", wvar=beside, limit=2000)[0]
            for part in ("real", "imag")
        ]
        assert ours[0] == pytest.approx(complex(*parts), abs=1e-4)


@pytest.mark.parametrize("far_end", [300.0, math.inf])
@pytest.mark.parametrize("soil", ["pasture-dry", "pasture-wet"])
def test_network_of_a_pair(soil, far_end):
    """The network of a pair keeps to its line within the limit and is positive real from 1 kHz to 1 GHz."""
    wire = ground_wire(replace(line(soil=soil), beside=0.3), 120, far_end)
    assert wire.fit_error(BANDS).max() < LARGEST_FIT_ERROR
    assert wire.network.impedance(np.geomspace(1e3, 1e9, 3000)).real.min() >= 0
    assert any("pair" in text and "estimate" in text for text in wire.cautions)


def test_a_wide_pair_hears_less_from_the_side():
    """Two wires 5 m apart add waves from the side out of step: cos(k D/2) at low angle, and nothing is lost ahead."""
    one, two = (ground_wire(replace(line(), beside=beside), 120, centre_fed=True) for beside in (0.003, 5.0))
    side, ahead = (
        [np.abs(w.incident_heights(BANDS[2:], phi, 0.01)[1 if phi else 0][0, 0]) for w in (one, two)]
        for phi in (np.pi / 2, 0.0)
    )
    turn = np.cos(2 * np.pi * 7e6 / C0 * 2.5 * np.cos(0.01))
    # The currents of the two lines differ a little too; from ahead that is all.
    carried = [abs(w._carried(*parts(w), 0.0)[0]) for w in (one, two)]
    assert side[1] / side[0] == pytest.approx(turn * carried[1] / carried[0], rel=1e-3)
    assert ahead[1] > 0.5 * ahead[0]


def parts(wire):
    """Propagation constant and reflection at 7 MHz, as arrays."""
    gamma, z0 = wire.line.characteristic(BANDS[2:])
    return gamma, wire._reflection(z0, BANDS[2:])


def test_a_long_lossy_wire_shows_its_characteristic_impedance():
    """When nothing comes back from the end, the end does not matter and Z is Z0."""
    _, z0 = line().characteristic(BANDS)
    for far_end in (1.0, math.inf):
        assert ground_wire(line(), 900, far_end).line_impedance(BANDS[2:]) == pytest.approx(z0[2:], rel=1e-3)


def test_end_resistor_makes_the_pattern_one_sided():
    """A wire with a resistor at its end hears best over that end (Beverage, Rice and Kellogg, 1923)."""
    ends = {}
    for far_end in (350.0, math.inf):
        wire = ground_wire(line(0.1), 160, far_end)
        over_end, behind = np.abs(wire.incident_heights(BANDS[:1], np.array([0.0, np.pi]), np.full(2, 0.35))[0][0])
        ends[far_end] = over_end / behind
    assert ends[350.0] > 2.0
    assert ends[350.0] > ends[math.inf]


def test_emf_by_the_closed_form_is_the_integral():
    """The emf of a centre-fed wire equals a plain numerical integral of field times current."""
    wire = ground_wire(line(0.1), 80, centre_fed=True)
    freq, phi, psi = BANDS[1:2], 0.4, 0.5
    gamma, _ = (x[0] for x in wire.line.characteristic(freq))
    x = np.linspace(-40, 40, 40001)
    current = np.sinh(gamma * (40 - np.abs(x))) / np.sinh(gamma * 40)
    n2 = wire.line.soil.index_squared(freq)[0]
    q = np.sqrt(n2 - np.cos(psi) ** 2)
    k = 2 * np.pi * freq[0] / C0
    gv = (n2 * np.sin(psi) - q) / (n2 * np.sin(psi) + q)
    e = np.sin(psi) * np.cos(phi) * (1 - gv * np.exp(-2j * k * 0.1 * np.sin(psi)))
    e = e * np.exp(1j * k * x * np.cos(psi) * np.cos(phi))
    assert wire.incident_heights(freq, phi, psi)[0][0, 0] == pytest.approx(np.trapezoid(e * current, x), rel=1e-5)


def test_sky_and_soil_share_the_resistance():
    """With the sky at ambient temperature both noises together are those of the whole resistance, 4 k T Re Z."""
    wire = ground_wire(line(), 120, 300.0, ground_loss=0.0)
    outside = wire.external_emf(BANDS, field_from_fa(0.0, BANDS))
    inside = wire.ambient_emf(BANDS, T0)
    assert outside**2 + inside**2 == pytest.approx(4 * K_B * T0 * wire.impedance(BANDS).real, rel=1e-6)
    assert np.all((wire.efficiency(BANDS) > 1e-4) & (wire.efficiency(BANDS) < 0.1))


def test_it_says_what_was_not_checked():
    """Height below NEC-2's reach, electrodes, the balun and the noise route are said; a checked wire says less."""
    low = " ".join(ground_wire(line(), 120, 300.0).cautions)
    assert "20 mm could not be compared" in low and "4 dB" in low and "electrodes" in low
    checked = " ".join(ground_wire(line(0.1), 120, centre_fed=True).cautions)
    assert "could not be compared" not in checked and "electrodes" not in checked and "balun" in checked


@pytest.mark.parametrize("given", [{"height": 1e-3}, {"height": 30.0}, {"beside": 2e-3}])
def test_no_wire(given):
    """A wire inside the ground, higher than long, or inside its neighbour, is refused."""
    with pytest.raises(ValueError, match="ground wire"):
        ground_wire(replace(line(), **given), 20)


def test_no_resistance_below_zero():
    """A far end or an electrode below zero ohms is refused."""
    with pytest.raises(ValueError, match="negative"):
        ground_wire(line(), 20, -1.0)
