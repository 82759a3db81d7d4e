"""Surface impedance of the conductors of a coaxial cable.

Inner conductor: a steel core of radius a under copper out to radius b; fields of a round wire, exact.

    core    E/H = (k2/s2) I0(k2 a)/I1(k2 a)                     k = sqrt(j w mu s), s conductivity
    copper  E = I0(k r) + B K0(k r),  H = (s/k)(I1(k r) - B K1(k r)),  B from E/H of the core at r = a
            impedance a metre = (E/H at b)/(2 pi b)

Shield: a tube whose wall t has the catalogued DC resistance, curvature neglected,

    (k/s) coth(k t)/(2 pi r),   t = 1/(2 pi r s R)

These are the textbook fields of a cylindrical conductor (Schelkunoff, Bell Syst. Tech. J. 13, 1934).
Exponentially scaled Bessel functions keep thick conductors within range. A braid is not a tube: at high
frequency a real one is lossier, by up to some tens of percent.
"""

import numpy as np

from sim.constants import C0, MU0
from sim.feedline.cable import COPPER_CONDUCTIVITY, STEEL_CONDUCTIVITY, STEEL_PERMEABILITY


def inner_impedance(cable, freq_hz, resistivity=1.0):
    """Series impedance of the inner conductor, internal inductance included.

    Parameters
    ----------
    cable : Cable
        With `wire_radius` and `cladding`.
    freq_hz : ndarray
        Above zero. [Hz]
    resistivity : float
        Factor on the resistivity of copper and steel, for temperature.

    Returns
    -------
    impedance : complex ndarray, same shape
        [Ω/m]
    """
    # Imported here: it takes a tenth of a second, which reading and explaining a study should not cost.
    from scipy.special import ive, kve

    omega = 2.0 * np.pi * freq_hz
    s1, s2 = COPPER_CONDUCTIVITY / resistivity, STEEL_CONDUCTIVITY / resistivity
    k1 = np.sqrt(1j * omega * MU0 * s1)
    outer = cable.wire_radius
    core = outer - cable.cladding
    z_outer = k1 * outer
    if core <= 0:
        return k1 / s1 * ive(0, z_outer) / ive(1, z_outer) / (2.0 * np.pi * outer)
    k2 = np.sqrt(1j * omega * MU0 * STEEL_PERMEABILITY * s2)
    z_core = k1 * core
    ratio = k2 / s2 * ive(0, k2 * core) / ive(1, k2 * core) * s1 / k1
    back = (ratio * ive(1, z_core) - ive(0, z_core)) / (kve(0, z_core) + ratio * kve(1, z_core))
    # The functions are scaled by exp(-|Re z|) and exp(z); this puts both waves on the scale of the outer
    # surface.
    back = back * np.exp((z_core - z_outer).real + (z_core - z_outer))
    field = ive(0, z_outer) + back * kve(0, z_outer)
    current = ive(1, z_outer) - back * kve(1, z_outer)
    return k1 / s1 * field / current / (2.0 * np.pi * outer)


def shield_impedance(cable, freq_hz, resistivity=1.0):
    """Series impedance of the shield, internal inductance included.

    Parameters
    ----------
    cable : Cable
        With `wire_radius`, `r_shield` and `shield_conductivity`.
    freq_hz : ndarray
        Above zero. [Hz]
    resistivity : float
        Factor on the shield's resistivity, for temperature.

    Returns
    -------
    impedance : complex ndarray, same shape
        [Ω/m]
    """
    omega = 2.0 * np.pi * freq_hz
    # Z0 = 60 ohm vf ln(r/b) gives the radius of the dielectric, which no catalogue states exactly.
    radius = cable.wire_radius * np.exp(cable.z0 / (60.0 * cable.velocity_factor))
    conductivity = cable.shield_conductivity / resistivity
    wall = 1.0 / (2.0 * np.pi * radius * cable.shield_conductivity * cable.r_shield)
    k = np.sqrt(1j * omega * MU0 * conductivity)
    return k / (2.0 * np.pi * radius * conductivity) / np.tanh(k * wall)


def layered_impedance(cable, freq_hz, resistivity=1.0):
    """Whole series impedance a metre: ideal line, inner conductor and shield. [Ω/m]"""
    ideal = 2j * np.pi * freq_hz * cable.z0 / (cable.velocity_factor * C0)
    return (
        ideal + inner_impedance(cable, freq_hz, resistivity) + shield_impedance(cable, freq_hz, resistivity)
    )
