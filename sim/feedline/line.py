"""What a length of cable does to a signal, to noise, and to the supply that it carries.

A line is its chain matrix [[A, B], [C, D]] seen from the amplifier to the receiver, with series impedance Z
and shunt admittance Y a metre: gamma = sqrt(Z Y), Zc = sqrt(Z/Y). An amplifier with its line is again a
Thevenin source,

    Z2 = (Zo D + B)/(Zo C + A)         E2 = E/(A + C Zo)
    S2 = S/|A + C Zo|^2 + 4 k T (Re Z2 - Re Zo/|A + C Zo|^2)

the last term being the thermal noise of the line (generalised Nyquist theorem for a passive reciprocal
two-port at one temperature; AD - BC = 1). A matched line so has the noise figure 1 + (L - 1) T/290.

Conductors follow the temperature with 0.39 %/K. Not covered: temperature of the dielectric and of the delay,
connectors, leakage through the shield, unequal temperature along the line.
"""

from functools import lru_cache

import numpy as np

from sim.constants import C0, K_B, T0
from sim.feedline.conductor import layered_impedance

# Near 20 degrees C: copper 0.393 %/K (IEC 60028), aluminium 0.39 %/K (handbook value), both from memory.
RESISTANCE_PER_KELVIN = 0.0039
# Attenuation of 8.686 dB a neper over 100 m.
DB_PER_100M = 100.0 * 20.0 / np.log(10.0)
# Surface impedances are computed at these temperatures and interpolated between them: Bessel functions for
# every unit's own temperature would cost more than the circuit simulation. Fixed knots keep results free of
# chunking. [K]
_KNOTS = (210.0, 250.0, 290.0, 330.0, 370.0)


def characteristic(cable, freq_hz, temperature_k=T0):
    """Propagation constant and characteristic impedance.

    Parameters
    ----------
    cable : Cable
    freq_hz : ndarray, shape (n_freq,)
        Above zero. [Hz]
    temperature_k : float or ndarray, broadcast with `freq_hz` (a column for units)
        Of the line; layered cables are interpolated between 210 and 370 K. [K]

    Returns
    -------
    gamma : complex ndarray, shape (n_freq,) or (n_unit, n_freq)
        [1/m]
    zc : complex ndarray, same shape
        [Ω]

    Notes
    -----
    Law: R = 2 Z0 (k0 + k1 sqrt f)/868.6, internal reactance equal to the k1 part (skin effect), and
    G = 2 k2 f/(868.6 Z0); k0 grows with the resistivity, k1 with its square root. The internal inductance
    raises the impedance, so near 1 MHz the line loses up to 5 % less than the law. Layered:
    `sim.feedline.conductor`. Both add them to the ideal line's L = Z0/v and C = 1/(Z0 v). Table: the loss a
    of the table is held exactly and put into the conductors, where nearly all of it is below 30 MHz: with
    Y = j w C and R chosen so that Re sqrt((R + j w L) j w C) = a, R = 2 a b/(w C), b^2 = w^2 L C + a^2.
    """
    freq_hz = np.asarray(freq_hz, dtype=float)
    temperature_k = np.asarray(temperature_k, dtype=float)
    susceptance = 2.0 * np.pi * freq_hz / (cable.z0 * cable.velocity_factor * C0)
    if cable.model == "layered":
        series = _layered_series(cable, freq_hz, temperature_k)
        shunt = susceptance * (1j + cable.loss_tangent)
    elif cable.model == "table":
        series = _table_series(cable, freq_hz, temperature_k)
        shunt = 1j * susceptance
    else:
        series = _law_series(cable, freq_hz, temperature_k)
        shunt = 1j * susceptance + 2.0 * cable.k2 * (freq_hz / 1e6) / (DB_PER_100M * cable.z0)
    return np.sqrt(series * shunt), np.sqrt(series / shunt)


def _resistivity(temperature_k):
    """Factor on a metal's resistivity against 290 K."""
    return 1.0 + RESISTANCE_PER_KELVIN * (temperature_k - T0)


def _law_series(cable, freq_hz, temperature_k):
    """Series impedance by the attenuation law. [Ω/m]"""
    factor = _resistivity(temperature_k)
    per_db = 2.0 * cable.z0 / DB_PER_100M
    skin = per_db * cable.k1 * np.sqrt(freq_hz / 1e6) * np.sqrt(factor)
    ideal = 2.0 * np.pi * freq_hz * cable.z0 / (cable.velocity_factor * C0)
    return per_db * cable.k0 * factor + skin + 1j * (ideal + skin)


def _table_series(cable, freq_hz, temperature_k):
    """Series impedance that gives exactly the loss of the table, see `characteristic`. [Ω/m]"""
    loss = table_loss(cable, freq_hz) / DB_PER_100M
    susceptance = 2.0 * np.pi * freq_hz / (cable.z0 * cable.velocity_factor * C0)
    ideal = 2.0 * np.pi * freq_hz * cable.z0 / (cable.velocity_factor * C0)
    resistance = 2.0 * loss * np.sqrt(ideal * susceptance + loss**2) / susceptance
    # As for the skin effect: how much of it is current confined to a cladding, a table does not say.
    return resistance * np.sqrt(_resistivity(temperature_k)) + 1j * ideal


def table_loss(cable, freq_hz):
    """Attenuation by the record's own table: log(loss) linear in log(frequency).

    Parameters
    ----------
    cable : Cable
        With two rows or more.
    freq_hz : array_like
        Above zero; beyond the rows the outermost two are carried on. [Hz]

    Returns
    -------
    loss : ndarray, same shape
        [dB/100 m]
    """
    x = np.log([point.freq_hz for point in cable.attenuation])
    y = np.log([point.db_per_100m for point in cable.attenuation])
    at = np.log(np.asarray(freq_hz, dtype=float))
    low = np.clip(np.searchsorted(x, at) - 1, 0, len(x) - 2)
    slope = (y[1:] - y[:-1]) / (x[1:] - x[:-1])
    return np.exp(y[low] + slope[low] * (at - x[low]))


def _layered_series(cable, freq_hz, temperature_k):
    """Series impedance of layered conductors, by Lagrange's polynomial through the knots. [Ω/m]"""
    key = tuple(freq_hz.ravel().tolist())
    total = 0.0
    for knot in _KNOTS:
        weight = np.ones_like(temperature_k)
        for other in _KNOTS:
            if other != knot:
                weight = weight * ((temperature_k - other) / (knot - other))
        # At a knot, 290 K above all, every other weight is exactly zero.
        if np.any(weight != 0):
            total = total + weight * np.asarray(_layered_at(cable, key, knot)).reshape(freq_hz.shape)
    return total


@lru_cache(maxsize=64)
def _layered_at(cable, freq_hz, temperature_k):
    """Series impedance on one grid at one temperature; kept, as every unit asks for the same. [Ω/m]"""
    values = layered_impedance(cable, np.array(freq_hz), _resistivity(temperature_k))
    values.setflags(write=False)
    return values


def chain_matrix(cable, length_m, freq_hz, temperature_k=T0):
    """Chain (ABCD) matrix of a length of cable.

    Parameters
    ----------
    cable : Cable
    length_m : float
        0 gives the unit matrix. [m]
    freq_hz : ndarray, shape (n_freq,)
        Above zero. [Hz]
    temperature_k : float or ndarray, broadcast with `freq_hz` (a column for units)
        [K]

    Returns
    -------
    abcd : complex ndarray, shape (n_freq, 2, 2) or (n_unit, n_freq, 2, 2)
        [[1, Ω], [S, 1]]
    """
    return line_matrix(*characteristic(cable, freq_hz, temperature_k), length_m)


def line_matrix(gamma, zc, length_m) -> np.ndarray:
    """Chain matrix of a line of known propagation constant [1/m] and impedance [Ω], shape (..., n_freq, 2, 2)."""
    cosh, sinh = np.cosh(gamma * length_m), np.sinh(gamma * length_m)
    return np.stack([np.stack([cosh, zc * sinh], -1), np.stack([sinh / zc, cosh], -1)], -2)


def through_line(abcd, e_oc, z_out, s_oc, t_line=T0):
    """The Thevenin source at the far end of a line, thermal noise of the line included.

    Parameters
    ----------
    abcd : complex ndarray, shape (..., n_freq, 2, 2)
        From `chain_matrix`, amplifier to receiver.
    e_oc : complex ndarray, shape (..., n_freq)
        Open-circuit voltage of the source. [V, or V per whatever it is referred to]
    z_out : complex ndarray, shape (..., n_freq)
        Its impedance. [Ω]
    s_oc : ndarray, shape (..., n_freq)
        Power density of its open-circuit noise voltage. [V²/Hz]
    t_line : float or ndarray, broadcast with the others
        Temperature that the line's noise has. [K]

    Returns
    -------
    e_oc, z_out, s_oc : ndarray
        The same three at the far end, broadcast against each other over (unit, frequency).
    """
    a, b, c, d = abcd[..., 0, 0], abcd[..., 0, 1], abcd[..., 1, 0], abcd[..., 1, 1]
    division = a + c * z_out
    z_far = (z_out * d + b) / division
    share = 1.0 / (division.real**2 + division.imag**2)
    line_noise = 4.0 * K_B * t_line * (z_far.real - np.real(z_out) * share)
    return e_oc / division, z_far, s_oc * share + line_noise


def input_impedance(abcd, load):
    """Impedance seen into a line.

    Parameters
    ----------
    abcd : complex ndarray, shape (..., n_freq, 2, 2)
    load : complex array_like, broadcast with (..., n_freq)
        At the far end; infinite for an open one. [Ω]

    Returns
    -------
    impedance : complex ndarray
        [Ω]
    """
    a, b, c, d = abcd[..., 0, 0], abcd[..., 0, 1], abcd[..., 1, 0], abcd[..., 1, 1]
    load = np.asarray(load, dtype=complex)
    closed = np.where(np.isfinite(load), load, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(np.isfinite(load), (closed * a + b) / (closed * c + d), a / c)


def matched_loss(cable, length_m, freq_hz, temperature_k=T0):
    """Attenuation of a length between its own impedance. [dB]"""
    return characteristic(cable, freq_hz, temperature_k)[0].real * length_m * DB_PER_100M / 100.0


def loop_resistance(cable, length_m, temperature_k=T0):
    """DC resistance of inner conductor and shield together. [Ω]"""
    return (cable.r_inner + cable.r_shield) * length_m * _resistivity(np.asarray(temperature_k, dtype=float))


def both_voltages_at_constant_power(supply_v, power_w, resistance):
    """Where a load of fixed power can rest behind a feed: the stable point, and the one at which it hangs or collapses.

    Parameters
    ----------
    supply_v, power_w, resistance : array_like
        [V, W, Ω]

    Returns
    -------
    upper, lower : ndarray
        (V ± sqrt(V^2 - 4 P R))/2; NaN where the feed cannot carry that power, P > V^2/(4 R). At the lower one the
        load's resistance to small changes, -V^2/P, is smaller than the feed's, so that it does not stay there. [V]
    """
    supply_v = np.asarray(supply_v, dtype=float)
    square = supply_v**2 - 4.0 * np.asarray(power_w, dtype=float) * np.asarray(resistance, dtype=float)
    root = np.where(square >= 0, np.sqrt(np.maximum(square, 0.0)), np.nan)
    return (supply_v + root) / 2.0, (supply_v - root) / 2.0
