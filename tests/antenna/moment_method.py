"""A base-fed vertical over perfect ground by the method of moments: an own calculation, independent of the models.

Mixed potentials: piecewise linear current, charge in pulses, the kernel averaged around the conductor (Harrington,
Field Computation by Moment Methods, 1968; NEC-2 uses another basis). The image makes it half of a dipole, whose gap is
one segment.
"""

import numpy as np

from sim.constants import C0, EPS0, MU0


def vertical(height, radius, freq_hz, segments):
    """Base impedance [Ω] and effective height towards the horizon [m] of a vertical, both complex."""
    step, k, omega = height / segments, 2 * np.pi * freq_hz / C0, 2 * np.pi * freq_hz
    distance = np.arange(2 * segments + 1) * step
    nodes, weights = np.polynomial.legendre.leggauss(24)
    around = 2 * radius * np.sin((np.arange(24) + 0.5) * np.pi / 48)
    # The static part of exp(-jkR)/R is integrated along the segment in closed form.
    ends = distance[:, None] + step / 2, distance[:, None] - step / 2
    static = (np.arcsinh(ends[0] / around) - np.arcsinh(ends[1] / around)).mean(axis=1)
    reach = np.hypot((distance[:, None] + nodes * step / 2)[:, :, None], around)
    potential = static + ((np.exp(-1j * k * reach) - 1) / reach).mean(axis=2) @ weights * step / 2
    place = np.arange(2 * segments - 1)
    apart = place[:, None] - place[None, :]
    at = [potential[np.abs(apart + shift)] for shift in (0, 1, -1)]
    magnetic = 1j * omega * MU0 / (4 * np.pi) * step * at[0]
    electric = (2 * at[0] - at[1] - at[2]) / (1j * omega * EPS0 * 4 * np.pi * step)
    drive = np.zeros(len(place))
    drive[segments - 1] = 1.0
    current = np.linalg.solve(magnetic + electric, drive)
    upper = current[segments - 1 :] / current[segments - 1]
    return 0.5 / current[segments - 1], step * (upper.sum() - 0.5)
