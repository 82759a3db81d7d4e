"""Transmission lines in a deck: how many unstable poles they make or mend, and where these are.

Theory of operation
-------------------
With every line's ends terminated in its impedance the deck is lumped; S is its scattering matrix at those ends. A
lossless line hands the wave from one end to the other, delayed: D = [[0, e^(−sT)], [e^(−sT), 0]]. The circuit with its
lines has the natural frequencies of det(I − D S) = 0, and by the argument principle

    unstable poles with lines = unstable poles of the lumped rest − counter-clockwise turns of det(I − D S) round 0.

Where the largest singular value of S is at most one the rest takes power from every wave. All eigenvalues of I − D S
then lie in the right half plane, so the sum of their principal angles *is* the angle of the determinant: no turn can
hide there, however long the lines are, and nothing between two such frequencies need be looked at. Only where S can
give power is the determinant followed, with 24 points in each period of the fastest ripple and more where needed. If S
never gives power, no passive line of any length can make the circuit oscillate.

The zeros themselves are found by Newton's method in the right half plane, since S is known there. They check the count.

Formulas: scattering and the Nyquist count of a determinant are textbook matter (no source); the restriction to where S
gives power is derived here.
"""

from dataclasses import dataclass

import numpy as np

from sim.measures.loop import fine_locus
from sim.stability.lumped import GIVES_POWER, LumpedNetwork, gains, scattering

PERIOD_POINTS = 24
"""Points in a period of the fastest ripple, where the determinant is followed."""
MOST_POINTS = 400_000
"""Points of the determinant above which it is not followed."""

_LOG_POINTS = 200


@dataclass(frozen=True)
class LineCount:
    """What the lines do.

    Attributes
    ----------
    turns : int
        Counter-clockwise turns of det(I − D S) round 0, over −∞…∞.
    resolved : bool
    passive : bool
        The lumped rest never gives power at the ends of its lines, whatever the lines are.
    poles : complex ndarray
        Zeros of the determinant in the right half plane, complex ones in pairs. [rad/s]
    """

    turns: int
    resolved: bool
    passive: bool
    poles: np.ndarray


def _delays(network: LumpedNetwork, s: np.ndarray) -> np.ndarray:
    """D: what comes back to each end, shape (n_s, n_end, n_end)."""
    count = len(network.delay_s)
    found = np.zeros((len(s), count, count), dtype=complex)
    for end in range(count):
        found[:, end, end ^ 1] = np.exp(-s * network.delay_s[end])
    return found


def _matrix(network: LumpedNetwork, s: np.ndarray) -> np.ndarray:
    return np.eye(len(network.delay_s)) - _delays(network, s) @ scattering(network.line_ohm, network.at(s))


def _determinant(network: LumpedNetwork, s: np.ndarray) -> np.ndarray:
    return np.linalg.det(_matrix(network, s))


def gains_with_lines(network: LumpedNetwork, freq_hz: np.ndarray) -> np.ndarray:
    """Loop gain of each probe with the lines in place, from the lumped responses alone.

    Parameters
    ----------
    network : LumpedNetwork
    freq_hz : ndarray, shape (n_freq,)

    Returns
    -------
    t : complex ndarray, shape (n_probe, n_freq)

    Notes
    -----
    A line's wave into its end is that of a current source there. With v0 the ends' voltages without these sources and
    a reference of z0 each, the sources are J with [I − D (2 Z/z0 − I)] J = (2/z0) D v0.
    """
    s = 2j * np.pi * np.asarray(freq_hz, dtype=float)
    values = network.at(s)
    if not len(network.delay_s):
        return gains(values, network.probes)
    two = 2 * network.probes
    inverse = 1 / network.line_ohm
    delays = _delays(network, s)
    z = values[two:, two:].transpose(2, 1, 0)
    # Both ends of a line have the same impedance, so D keeps the scale.
    left = np.eye(len(inverse)) - delays @ (2 * inverse[:, None] * z - np.eye(len(inverse)))
    right = delays @ (2 * inverse[:, None] * values[:two, two:].transpose(2, 1, 0))
    sources = np.linalg.solve(left, right)
    added = np.einsum("erf,fed->drf", values[two:, :two], sources)
    return gains(values[:two, :two] + added, network.probes)


def count_lines(network: LumpedNetwork) -> LineCount:
    """Turns of the lines' determinant, and its zeros in the right half plane.

    Parameters
    ----------
    network : LumpedNetwork

    Returns
    -------
    LineCount
    """
    if not len(network.delay_s):
        return LineCount(0, True, True, np.array([], dtype=complex))
    freq_hz = _watched(network)
    gain = np.linalg.norm(scattering(network.line_ohm, network.at(2j * np.pi * freq_hz)), 2, axis=(1, 2))
    active = gain > GIVES_POWER
    total, resolved, starts = 0.0, not active[-1], [np.array([])]
    for first, last in _ranges(active):
        grid = _dense(network, freq_hz[first], freq_hz[last], freq_hz[first : last + 1])
        if len(grid) > MOST_POINTS:
            resolved = False
            continue

        def locus(at_hz):
            return _determinant(network, 2j * np.pi * at_hz) - 1

        fine_hz, t, fine = fine_locus(locus, grid, locus(grid))
        resolved &= fine
        turn = np.angle((1 + t[1:]) / (1 + t[:-1])).sum()
        ends = np.angle(np.linalg.eigvals(_matrix(network, 2j * np.pi * fine_hz[[0, -1]]))).sum(axis=1)
        if first == 0:
            # The range reaches down to zero frequency, where the determinant is real.
            angle = np.angle(1 + t[0])
            ends[0] = angle - np.pi * np.round(angle / np.pi)
            resolved &= bool(abs(ends[0]) < 0.1 * np.pi)
        total += turn - (ends[1] - ends[0])
        distance = np.abs(1 + t)
        low = np.nonzero((distance[1:-1] <= distance[:-2]) & (distance[1:-1] <= distance[2:]))[0] + 1
        starts += [fine_hz[low], np.linspace(fine_hz[0], fine_hz[-1], 12)]
    turns = total / np.pi
    whole = bool(abs(turns - np.round(turns)) < 0.05)
    # Where no line can add a pole only those that the lumped rest has already are looked for.
    poles = _zeros(network, np.concatenate(starts)) if active.any() or len(network.poles) else network.poles
    return LineCount(int(np.round(turns)), resolved and whole, not active.any(), poles)


def _watched(network: LumpedNetwork) -> np.ndarray:
    """Frequencies at which S is looked at: evenly in the logarithm, and closely round every resonance of the rest."""
    low, high = network.freq_hz[0], network.freq_hz[-1]
    even = np.geomspace(low, high, int(_LOG_POINTS * np.log10(high / low)))
    # Support points crowd where the responses bend; between two of them the bend may be sharp.
    own = network.freq_hz[network.support]
    close = (own[:, None] * (1 + np.linspace(-0.05, 0.05, 41))).ravel()
    return np.unique(np.concatenate([even, close[(close >= low) & (close <= high)]]))


def _ranges(active: np.ndarray) -> list[tuple[int, int]]:
    """First and last index of each stretch where S gives power, with a neighbour on each side where there is one."""
    edges = np.diff(np.concatenate([[0], active.astype(int), [0]]))
    starts, stops = np.nonzero(edges == 1)[0], np.nonzero(edges == -1)[0]
    found: list[tuple[int, int]] = []
    for start, stop in zip(np.maximum(starts - 1, 0), np.minimum(stops, len(active) - 1), strict=True):
        if found and start <= found[-1][1]:
            found[-1] = (found[-1][0], int(stop))
        else:
            found.append((int(start), int(stop)))
    return found


def _dense(network: LumpedNetwork, low: float, high: float, watched: np.ndarray) -> np.ndarray:
    step = 1 / (PERIOD_POINTS * network.delay_s.sum())
    count = int((high - low) / step) + 2
    return np.unique(np.concatenate([watched, np.linspace(low, high, min(count, MOST_POINTS + 1))]))


def _zeros(network: LumpedNetwork, starts_hz: np.ndarray) -> np.ndarray:
    """Zeros of the determinant in the right half plane, by Newton's method.

    It starts from each dip, from changes of sign on the positive axis, and at and round each unstable pole of the
    lumped rest: lines move those more or less far.
    """
    ripple = 1 / network.delay_s.sum()
    starts = np.concatenate([2 * np.pi * (starts_hz * 1j + growth * ripple) for growth in (1e-3, 0.03, 0.3)])
    round_about = np.exp(2j * np.pi * np.arange(8) / 8)
    for pole in network.poles[network.poles.imag >= 0]:
        radius = min(abs(pole), 2 * np.pi * ripple) * np.array([1e-6, 0.02, 0.1, 0.3])[:, None]
        starts = np.concatenate([starts, (pole + radius * round_about).ravel()])
    axis = 2 * np.pi * np.geomspace(network.freq_hz[0], network.freq_hz[-1], 400)
    along = _freed(network, axis.astype(complex)).real
    crossing = np.nonzero(np.signbit(along[1:]) != np.signbit(along[:-1]))[0]
    starts = np.concatenate([starts, np.sqrt(axis[crossing] * axis[crossing + 1]).astype(complex)])
    found: list[complex] = []
    for s in _newton(network, starts):
        if s.real <= 1e-7 * abs(s) or abs(s) > 2 * np.pi * network.freq_hz[-1]:
            continue
        if abs(s.imag) < 1e-6 * abs(s):
            s = complex(s.real)
        s = complex(s.real, abs(s.imag))
        if not any(abs(s - other) < 1e-5 * abs(s) for other in found):
            found += [s] if s.imag == 0 else [s, s.conjugate()]
    return np.array(sorted(found, key=lambda s: (abs(s.imag), s.imag)), dtype=complex)


def _freed(network: LumpedNetwork, s: np.ndarray) -> np.ndarray:
    """The determinant freed of the lumped rest's unstable poles, which may lie as near to its zeros as they can."""
    with np.errstate(all="ignore"):
        found = _determinant(network, s)
        for pole in network.poles:
            found = found * (s - pole) / (s + pole.conjugate())
    return np.where(np.isfinite(found), found, 0)


def _newton(network: LumpedNetwork, s: np.ndarray) -> np.ndarray:
    """Where Newton's method ends from each start; only what is a zero."""
    s = np.asarray(s, dtype=complex)
    if not len(s):
        return s
    ripple = 2 * np.pi / network.delay_s.sum()
    for _ in range(40):
        h = 1e-7 * np.abs(s)
        value = _freed(network, s)
        slope = (_freed(network, s + h) - _freed(network, s - h)) / (2 * h)
        step = value / np.where(slope == 0, 1, slope)
        # A longer step would leave the dip it started in.
        size = np.abs(step)
        step = step * np.minimum(1, np.minimum(0.1 * np.abs(s), 0.5 * ripple) / np.where(size > 0, size, 1))
        s = s - step
        s = np.where(s.real < 0, 1j * s.imag + np.abs(s) * 1e-9, s)
        if np.all(np.abs(step) < 1e-10 * np.abs(s)):
            break
    return s[(np.abs(_freed(network, s)) < 1e-6) & (np.abs(step) < 1e-6 * np.abs(s))]
