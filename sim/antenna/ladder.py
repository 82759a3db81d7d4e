"""A passive network of R, L and C for an impedance that is known at many frequencies.

    top o--+--G0--+--C0--+--R1--L1--+--(G1 | C1)--o bottom
           |      |      |          ... one branch a resonance, all of them in parallel
           +------+------+--Rn--Ln--+--(Gn | Cn)--o bottom

A line that is open or ends in a resistance is exactly such a sum: with R', L', G', C' constant and a reflection r at
its end its admittance is a sum of terms 2c (s + a)/((s + a)^2 + w^2) over its resonances, and each of them is one
branch with positive elements (partial fractions of the hyperbolic cotangent; own derivation, checked against the line
itself). All elements are positive by construction, so the network is passive at every frequency, in the transient
too; the elements are found by least squares on the relative error of the admittance.

Not covered: impedances whose branches would need negative elements. How well it fits is measured and must be looked at.
"""

from dataclasses import dataclass

import numpy as np

SMALLEST_G = 1e-9
"""Least conductance across a branch's capacitor: the DC path of its inner node. [S]"""


@dataclass(frozen=True)
class Ladder:
    """Elements of the drawing.

    Attributes
    ----------
    conductance, capacitance : float
        G0 and C0. [S, F]
    branches : tuple of (float, float, float, float)
        R, L, G, C of each branch. [Ω, H, S, F]
    """

    conductance: float
    capacitance: float
    branches: tuple[tuple[float, float, float, float], ...]

    def impedance(self, freq_hz):
        """Of the network. [Ω, complex]"""
        s = 2j * np.pi * np.asarray(freq_hz, dtype=float)
        y = self.conductance + s * self.capacitance
        for r, inductance, g, c in self.branches:
            y = y + 1.0 / (r + s * inductance + 1.0 / (g + s * c))
        return 1.0 / y

    def cards(self, top, bottom, prefix):
        """Netlist of the network; all resistors noiseless, as their noise is reckoned outside.

        Parameters
        ----------
        top, bottom : str
            Nodes.
        prefix : str
            Begins the names of elements, after the type letter, and of inner nodes.
        """
        lines = [
            f"R{prefix}_y {top} {bottom} {1.0 / self.conductance!r} noisy=0",
            f"C{prefix}_y {top} {bottom} {self.capacitance!r}",
        ]
        for k, (r, inductance, g, c) in enumerate(self.branches, start=1):
            a, b = f"{prefix}_a{k}", f"{prefix}_b{k}"
            lines += [
                f"R{prefix}_r{k} {top} {a} {r!r} noisy=0",
                f"L{prefix}_l{k} {a} {b} {inductance!r}",
                f"C{prefix}_c{k} {b} {bottom} {c!r}",
                f"R{prefix}_g{k} {b} {bottom} {1.0 / g!r} noisy=0",
            ]
        return tuple(lines)


def fit_ladder(freq_hz, impedance, start, weight=None):
    """Least-squares fit of a ladder to an impedance.

    Parameters
    ----------
    freq_hz : ndarray, shape (n_freq,)
        [Hz]
    impedance : complex ndarray, shape (n_freq,)
        [Ω]
    start : Ladder
        Elements to begin with; all above zero, their number stays.
    weight : ndarray, shape (n_freq,), optional
        How much each frequency counts.

    Returns
    -------
    ladder : Ladder

    Notes
    -----
    Logarithms of the elements are varied, so none of them can become negative.
    """
    from scipy.optimize import least_squares

    s = 2j * np.pi * np.asarray(freq_hz, dtype=float)
    wanted = 1.0 / np.asarray(impedance)
    share = (1.0 if weight is None else weight) / np.abs(wanted)

    def parts(logs):
        g0, c0 = np.exp(logs[:2])
        r, inductance, g, c = np.exp(logs[2:]).reshape(-1, 4).T[:, :, None]
        inner = 1.0 / (g + s * c)
        branch = 1.0 / (r + s * inductance + inner)
        return g0, c0, r, inductance, g, c, inner, branch

    def misfit(logs):
        g0, c0, *_, branch = parts(logs)
        e = (g0 + s * c0 + branch.sum(axis=0) - wanted) * share
        return np.concatenate([e.real, e.imag])

    def slope(logs):
        g0, c0, r, inductance, g, c, inner, branch = parts(logs)
        square = branch**2
        rows = np.stack(
            [-square * r, -square * s * inductance, square * inner**2 * g, square * inner**2 * s * c], axis=1
        )
        whole = np.concatenate([[np.full_like(s, g0), s * c0], rows.reshape(-1, len(s))]) * share
        return np.concatenate([whole.real, whole.imag], axis=1).T

    first = np.log([start.conductance, start.capacitance, *np.ravel(start.branches)])
    floor = np.full(len(first), -80.0)
    floor[4::4] = np.log(SMALLEST_G)
    floor[0] = np.log(1e-12)
    found = least_squares(
        misfit,
        np.clip(first, floor + 1e-9, 39.9),
        slope,
        bounds=(floor, 40.0),
        method="trf",
        max_nfev=120,
        ftol=1e-6,
        xtol=1e-7,
    )
    values = np.exp(found.x)
    branches = tuple(tuple(float(v) for v in row) for row in values[2:].reshape(-1, 4))
    return Ladder(float(values[0]), float(values[1]), branches)


def line_branches(length, gamma_per_m, z0, velocity, reflected, count):
    """Branches of a line with constant R', L', G', C'; a start for `fit_ladder`.

    Parameters
    ----------
    length : float
        [m]
    gamma_per_m : float
        Attenuation. [Np/m]
    z0 : float
        Characteristic resistance. [Ω]
    velocity : float
        [m/s]
    reflected : float
        Reflection at the end, -1 to 1; 1 for open.
    count : int
        Resonances, from the lowest.

    Returns
    -------
    ladder : Ladder
        With a small conductance and capacitance beside the branches.
    """
    delay = length / velocity
    size = min(max(abs(reflected), 1e-3), 1.0)
    damping = gamma_per_m * velocity - np.log(size) / (2.0 * delay)
    offset = 0.5 if reflected > 0 else 1.0
    branches = []
    for n in range(count):
        turn = (n + offset) * np.pi / delay
        # Pairs of poles at -damping +- j turn, each with the residue 1/(Z0 T).
        c = 1.0 / (z0 * delay)
        branches.append((damping / (2 * c), 1 / (2 * c), 2 * c * damping / turn**2, 2 * c / turn**2))
    return Ladder(1e-6, 1e-13, tuple(branches))


def single_pole(length, gamma_per_m, z0, velocity, reflected):
    """Branch at zero frequency of a line that ends in less than its own impedance; arguments of `line_branches`.

    Returns
    -------
    branch : tuple of float
        R, L, G, C; G is large, as the branch has no capacitor.
    """
    delay = length / velocity
    damping = gamma_per_m * velocity - np.log(min(max(-reflected, 1e-3), 1.0)) / (2.0 * delay)
    return damping * z0 * delay, z0 * delay, 10.0, 1e-12


def relative_error(network, freq_hz, impedance):
    """Error of a network's impedance, relative to the impedance wanted. [1], shape of `freq_hz`."""
    return np.abs(network.impedance(freq_hz) / np.asarray(impedance) - 1.0)
