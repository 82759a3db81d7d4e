"""Intercept points: one number for how strongly an amplifier mixes, whatever the level."""

import math
from collections.abc import Sequence

from sim.distortion.estimate import Estimate, Product
from sim.distortion.mixes import Mix
from sim.distortion.two_tone import TransientProduct, TwoTone

_TWO_TONES = {2: 1.0, 3: 0.75}
"""Coefficient of a ± b, and of 2a ± b: what the intercept points are defined by."""


def power_dbm(peak_v: float, ohm: float) -> float:
    """Power of a sine in a resistor; -inf for none. [dBm]

    Parameters
    ----------
    peak_v : float
        [V]
    ohm : float
        [Ω]
    """
    return 10 * math.log10(peak_v**2 / (2 * ohm) / 1e-3) if peak_v > 0 else -math.inf


def intercept_dbm(product: Product | TransientProduct, carriers: Sequence, ohm: float) -> float:
    """Output intercept point of the product's order that one product shows.

    Parameters
    ----------
    product : Product or TransientProduct
    carriers : sequence of CarrierLevel
        All carriers, in the order that the product counts them in.
    ohm : float
        Into which power is stated. [Ω]

    Returns
    -------
    intercept : float
        +inf for a product that is not there. [dBm]

    Notes
    -----
    OIPn = (Σ |m| P - P_product + 20 log10(K/K0))/(n - 1): for two tones of power P each P + ΔIM2 and P + ΔIM3/2. K is
    the coefficient of :class:`sim.distortion.mixes.Mix`, K0 that of two tones, so that 2a, or three carriers (6 dB
    more), show the same intercept point. Power series to third order, textbook.
    """
    mix = Mix(product.frequency_hz, product.carriers)
    inputs = sum(abs(times) * power_dbm(carriers[index].output_v, ohm) for index, times in mix.carriers)
    equal = 20 * math.log10(mix.coefficient / _TWO_TONES[mix.order])
    return (inputs - power_dbm(product.output_v, ohm) + equal) / (mix.order - 1)


def lowest_intercept(
    found: Estimate | TwoTone, order: int, ohm: float, bands_hz: Sequence[tuple[float, float]] | None = None
) -> float | None:
    """The lowest output intercept point among products of two or three carriers, harmonics left out.

    Parameters
    ----------
    found : Estimate or TwoTone
    order : int
        2 or 3.
    ohm : float
        Into which power is stated. [Ω]
    bands_hz : sequence of (float, float), optional
        Only products within one of them count. [Hz]

    Returns
    -------
    intercept : float or None
        None without such a product. [dBm]
    """
    among = [
        intercept_dbm(product, found.carriers, ohm)
        for product in found.products
        if product.order == order
        and len(product.carriers) > 1
        and (bands_hz is None or any(low <= product.frequency_hz <= high for low, high in bands_hz))
    ]
    return min(among, default=None)
