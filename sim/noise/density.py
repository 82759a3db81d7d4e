"""External noise factor to field strength and back, after ITU-R P.372, Radio noise.

The external noise factor fa is the noise power available from an equivalent *lossless* antenna over k T0 b;
Fa = 10 log10 fa. For a short vertical over perfect ground, rms, in a bandwidth of 1 Hz,

    E = Fa + 20 log10 f_MHz - 95.5        dB above 1 uV/m                                 (P.372, equation 7)

E is the total vertical field at the ground, so the antenna's open-circuit voltage is E times its effective
height. The constant follows from V^2 = 4 k T0 fa R, R = 40 (k h)^2 and E = V/h as -95.51; the
Recommendation's is that, rounded, and is what is used here.
"""

import numpy as np

from sim.constants import K_B, T0

# ITU-R P.372 equation (7), short vertical monopole over perfect ground, dB(uV/m) at 1 MHz and 1 Hz.
FIELD_CONSTANT_DB = -95.5


def field_from_fa(fa_db, freq_hz):
    """Field density that belongs to an external noise figure.

    Parameters
    ----------
    fa_db : array_like
        Fa, over k T0 b. [dB]
    freq_hz : array_like, broadcast with `fa_db`
        Above zero. [Hz]

    Returns
    -------
    field : ndarray
        Total vertical field at the ground, rms. [V/m/√Hz]
    """
    level_db = np.asarray(fa_db, dtype=float) + 20.0 * np.log10(np.asarray(freq_hz, dtype=float) / 1e6)
    return field_from_dbuv(level_db + FIELD_CONSTANT_DB)


def fa_from_field(field, freq_hz):
    """External noise figure that belongs to a field density; the inverse of `field_from_fa`.

    Parameters
    ----------
    field : array_like
        Above zero. [V/m/√Hz]
    freq_hz : array_like, broadcast with `field`
        Above zero. [Hz]

    Returns
    -------
    fa_db : ndarray
        [dB]
    """
    return (
        dbuv_from_field(field) - 20.0 * np.log10(np.asarray(freq_hz, dtype=float) / 1e6) - FIELD_CONSTANT_DB
    )


def field_from_dbuv(level_db):
    """DB above 1 uV/m in a bandwidth of 1 Hz to V/m/√Hz."""
    return 1e-6 * 10.0 ** (np.asarray(level_db, dtype=float) / 20.0)


def dbuv_from_field(field):
    """V/m/√Hz to dB above 1 uV/m in a bandwidth of 1 Hz."""
    return 20.0 * np.log10(np.asarray(field, dtype=float) / 1e-6)


def thermal_voltage(resistance, temperature_k=T0):
    """Open-circuit thermal noise of a resistance.

    Parameters
    ----------
    resistance : array_like
        Real part of an impedance. [Ω]
    temperature_k : array_like, broadcast with it
        [K]

    Returns
    -------
    density : ndarray
        sqrt(4 k T R), Nyquist. [V/√Hz]
    """
    return np.sqrt(4.0 * K_B * np.asarray(temperature_k, dtype=float) * np.asarray(resistance, dtype=float))


def lossless_voltage(fa_db, radiation_resistance):
    """Open-circuit noise of a lossless antenna by the gain route, sqrt(4 k T0 fa R).

    Equals field times effective height for a short vertical over perfect ground (within the rounding of the
    field constant, 0.01 dB). Over real soil the two part by 3-7 dB and the field route is the one to use for
    verticals.

    Parameters
    ----------
    fa_db : array_like
        [dB]
    radiation_resistance : array_like, broadcast with it
        [Ω]

    Returns
    -------
    density : ndarray
        [V/√Hz]
    """
    return thermal_voltage(radiation_resistance, T0 * 10.0 ** (np.asarray(fa_db, dtype=float) / 10.0))


def snr_loss(margin_db):
    """What noise of one's own costs in signal to noise.

    Parameters
    ----------
    margin_db : array_like
        External over internal noise, as powers. [dB]

    Returns
    -------
    loss_db : ndarray
        10 log10(1 + 10^(-margin/10)): all noise over the external noise alone. [dB]
    """
    return 10.0 * np.log10(1.0 + 10.0 ** (-np.asarray(margin_db, dtype=float) / 10.0))
