"""Lines: chain matrices, their noise and temperature, and the same answer in any chunk."""

import numpy as np
import pytest

from sim.constants import K_B, T0
from sim.feedline.cable import list_cables, load_cable
from sim.feedline.line import (
    both_voltages_at_constant_power,
    chain_matrix,
    characteristic,
    input_impedance,
    loop_resistance,
    matched_loss,
    through_line,
)

FREQ = np.geomspace(0.1e6, 50e6, 37)


@pytest.mark.parametrize("name", list_cables())
def test_line_is_reciprocal_and_adds_up(name):
    """AD - BC = 1, and 70 m after 60 m are 130 m."""
    cable = load_cable(name)
    whole = chain_matrix(cable, 130.0, FREQ)
    assert np.linalg.det(whole) == pytest.approx(1.0, abs=1e-9)
    assert chain_matrix(cable, 60.0, FREQ) @ chain_matrix(cable, 70.0, FREQ) == pytest.approx(whole, rel=1e-9)


@pytest.mark.parametrize("name", list_cables())
def test_high_frequency_limit(name):
    """At 50 MHz impedance and phase velocity are the catalogue's within 2 %."""
    cable = load_cable(name)
    gamma, zc = characteristic(cable, np.array([50e6]))
    assert abs(zc[0]) == pytest.approx(cable.z0, rel=0.02)
    velocity = 2 * np.pi * 50e6 / gamma[0].imag / 299_792_458.0
    assert velocity == pytest.approx(cable.velocity_factor, rel=0.02)


@pytest.mark.parametrize("name", ["rg6-cu", "rg11-cu", "rg59-ccs", "rg58", "rg213"])
def test_matched_loss_is_the_law(name):
    """From 1 MHz the line loses what the law says, less up to 5 % for its internal inductance."""
    cable, freq = load_cable(name), FREQ[FREQ > 1e6]
    law = cable.k0 + cable.k1 * np.sqrt(freq / 1e6) + cable.k2 * freq / 1e6
    assert matched_loss(cable, 100.0, freq) == pytest.approx(law, rel=0.05)


def test_spread_of_copper_clad_steel():
    """At 1.8 MHz 100 m lose 1.07, 1.71 and 3.07 dB with 37, 20 and 10 um of copper."""
    names = ("rg6-ccs", "rg6-ccs-20um", "rg6-ccs-10um")
    losses = [matched_loss(load_cable(name), 100.0, np.array([1.8e6]))[0] for name in names]
    # Own earlier computation by other code (tests/data/own-calculations/layered_conductor.csv).
    assert losses == pytest.approx([1.067, 1.714, 3.067], rel=0.002)


def test_low_frequency_limit_is_the_dc_resistance():
    """At 100 Hz a shorted layered line shows its DC loop resistance."""
    for name in ("rg6-ccs-20um", "rg6-ccs-10um"):
        cable = load_cable(name)
        seen = input_impedance(chain_matrix(cable, 100.0, np.array([100.0])), 0.0)[0]
        assert seen.real == pytest.approx(float(loop_resistance(cable, 100.0)), rel=0.002)


def test_length_zero_changes_nothing():
    """No line: the unit matrix, and source, impedance and noise as they were."""
    abcd = chain_matrix(load_cable("rg6-ccs"), 0.0, FREQ)
    assert np.array_equal(abcd, np.broadcast_to(np.eye(2), abcd.shape))
    e, z, s = np.full(FREQ.size, 2 - 1j), np.full(FREQ.size, 20 + 5j), np.full(FREQ.size, 3e-18)
    e2, z2, s2 = through_line(abcd, e, z, s)
    assert np.array_equal(e2, e)
    assert np.array_equal(z2, z)
    assert s2 == pytest.approx(s, rel=1e-12)


@pytest.mark.parametrize(("load", "sign"), [(np.inf, -1), (0.0, 1)])
def test_far_ends_of_a_short_line(load, sign):
    """A metre of open line is a capacitor, of shorted line an inductor."""
    seen = input_impedance(chain_matrix(load_cable("rg58"), 1.0, np.array([1e6])), load)[0]
    assert np.sign(seen.imag) == sign


def test_noise_of_a_line_in_equilibrium():
    """Source and line at one temperature: noise at the far end is 4 k T Re Z, for any source impedance."""
    rng = np.random.default_rng(1)
    z_out = rng.uniform(1, 300, (5, FREQ.size)) + 1j * rng.uniform(-200, 200, (5, FREQ.size))
    abcd = chain_matrix(load_cable("rg59-ccs"), 77.0, FREQ)
    _, z_far, s_far = through_line(abcd, 1.0 + 0 * z_out, z_out, 4 * K_B * 313.0 * z_out.real, 313.0)
    assert s_far == pytest.approx(4 * K_B * 313.0 * z_far.real, rel=1e-12)


def test_noise_of_a_line_against_its_segments():
    """Noise of a cold line behind a hot source equals that of 2000 ohmic slices summed one by one."""
    cable, freq, pieces = load_cable("rg6-ccs-20um"), np.array([1.8e6]), 2000
    z, s, e = np.array([20 + 3j]), np.array([4 * K_B * 373.0 * 20.0]), np.array([1.0 + 0j])
    whole = through_line(chain_matrix(cable, 100.0, freq), e, z, s, 250.0)
    gamma, zc = characteristic(cable, freq)
    dz, dy = gamma * zc * 100.0 / pieces, gamma / zc * 100.0 / pieces
    for _ in range(pieces):
        z, s = z + dz, s + 4 * K_B * 250.0 * dz.real  # series resistance of a slice, Nyquist
        divisor = 1 + dy * z
        current_noise = 4 * K_B * 250.0 * dy.real  # shunt conductance of a slice, Nyquist
        s = (s + current_noise * np.abs(z) ** 2) / np.abs(divisor) ** 2
        z = z / divisor
    assert whole[1] == pytest.approx(z, rel=0.003)
    assert whole[2] == pytest.approx(s, rel=0.003)


def test_warm_cable_loses_more():
    """30 K raise DC resistance by 11.7 % and the loss by 4-13 %, at 290 K by nothing."""
    for name in ("rg6-ccs", "rg58"):
        cable, freq = load_cable(name), np.array([1.8e6])
        cold, warm = (matched_loss(cable, 100.0, freq, t)[0] for t in (T0, T0 + 30))
        assert 1.04 < warm / cold < 1.13
        assert loop_resistance(cable, 100.0, T0 + 30) / loop_resistance(cable, 100.0) == pytest.approx(1.117)


def test_temperature_between_knots():
    """Interpolated over temperature, the layered line equals one computed at that temperature within 1e-6."""
    from sim.feedline.conductor import layered_impedance

    cable, t = load_cable("rg6-ccs"), np.array([[233.0], [271.0], [311.0], [343.0]])
    gamma, zc = characteristic(cable, FREQ, t)
    exact = np.array([layered_impedance(cable, FREQ, 1 + 0.0039 * (k - T0)) for k in t[:, 0]])
    assert gamma * zc == pytest.approx(exact, rel=1e-6)


@pytest.mark.parametrize("name", ["rg6-ccs", "rg58"])
def test_units_do_not_depend_on_their_chunk(name):
    """Every unit of 13 gets the same bits alone, in chunks of 5, and in one piece."""
    rng = np.random.default_rng(7)
    cable, t = load_cable(name), rng.uniform(253, 313, (13, 1))
    z = rng.uniform(10, 100, (13, FREQ.size)) + 1j * rng.uniform(-50, 50, (13, FREQ.size))

    def far_end(rows):
        return through_line(
            chain_matrix(cable, 130.0, FREQ, t[rows]), z[rows], z[rows], np.abs(z[rows]), t[rows]
        )

    whole = far_end(slice(0, 13))
    for size in (1, 5):
        parts = [far_end(slice(start, start + size)) for start in range(0, 13, size)]
        for place in range(3):
            assert np.array_equal(np.concatenate([part[place] for part in parts]), whole[place])


def test_a_feed_that_cannot_carry_the_power():
    """0.6 W through 39.95 ohm leave 9.468 V of 12; 0.91 W are more than 12 V can push through."""
    expected = [9.468, np.nan]  # hand calculation, limit V^2/(4 R) = 0.901 W
    assert both_voltages_at_constant_power(12.0, [0.6, 0.91], 39.95)[0] == pytest.approx(
        expected, abs=0.0005, nan_ok=True
    )
