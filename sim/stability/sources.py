"""The loop of one unit with every antenna: smallest distance from −1, and unstable poles, of each source.

Theory of operation
-------------------
With X in series with the emf in place of the antenna's X_ref everything at the plane is 1 + z (X − X_ref) in the
numerator and q + p (X − X_ref) in the denominator (:mod:`sim.stability.plane`). What the antenna itself is need not be
known: 1 − z X_ref = v, the input voltage for 1 V of emf, so that

    1 + z (X − X_ref) = v + z X,        q + p (X − X_ref) = q_0 + p X       with q_0 = q − p X_ref

and v, z, q, q_0 and p share the unit's barycentric weights. An antenna of k times the capacitance is X_ref/k with all
it consists of, z X_ref = 1 − v; a lead adds s L; a removed antenna leaves z and p alone; a short leaves v and q_0.

*Poles.* Everything here is known off the imaginary axis too. The zeros of the numerator are counted along a closed way
around the right half plane between two radii: up the axis, and on quarter circles to the real axis, where the numerator
is real: the ends need not be taken to the nearest real direction, how near they come is a check. What has unstable
poles with the antenna as it is, P, has P − N of them with the other one.

*Resonances.* A lead and a capacitance resonate as sharply as they like. On a zero near the axis the numerator turns by
half a turn within a step of any width, so no step is believed that turns by more than :data:`LARGEST_TURN`; a zero
could hide only behind one of the network's own poles in the same step, and around those points are added.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from sim.measures.rational import Barycentric, denominator_roots
from sim.stability.plane import input_plane
from sim.study.stability import ANTENNA_CASES as CASES

POINTS_A_DECADE = 20
ARC_POINTS = 7
"""Points on each quarter circle."""
HIGH_SHARE = 0.67
"""Share of the highest simulated frequency up to where poles are counted, as for all poles. [1]"""
LARGEST_TURN = np.deg2rad(50.0)
LARGEST_CHANGE = 4.0
"""Turn [rad] and change of the size [1] of a step that are believed."""
ROUNDS = 12
PARTS = 4
"""Into so many parts a step is divided, at most so often."""
DEEP = 0.004
"""A margin is refined until no step promises less than this share. [1]"""
END_TURN = 0.15
"""How far from the real axis a count may end. [rad]"""
CLUSTER = np.array([-8.0, -4.0, -2.0, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0, 4.0, 8.0])
"""Points around one of the network's own resonances, in half widths."""
CONDUCTANCE_LOW_HZ, CONDUCTANCE_HIGH_HZ = 1e4, 2e9
_UNBELIEVED = 1e-7


@dataclass(frozen=True)
class Source:
    """What stands at the amplifier's input.

    Attributes
    ----------
    case : str
        Of :data:`CASES`.
    share : float
        Capacitance over that of the unit's own antenna; 1 where there is none. [1]
    inductance : float
        In series. [H]
    """

    case: str = "nominal"
    share: float = 1.0
    inductance: float = 0.0

    def __post_init__(self):
        if self.case not in CASES:
            raise ValueError(f"{self.case!r} is not one of {CASES}")

    @property
    def parts(self) -> tuple[float, float, float, float]:
        """Weights of 1, v, z and s z in the numerator; the same of q, q_0, p and s p in the denominator."""
        if self.case == "removed":
            return (0.0, 0.0, 1.0, 0.0)
        if self.case == "shorted":
            return (0.0, 1.0, 0.0, self.inductance)
        return (1 / self.share, 1 - 1 / self.share, 0.0, self.inductance)


def sources_of(cases, inductances, shares) -> tuple[Source, ...]:
    """Every antenna of a study: removed, shorted through each lead, each capacitance with each lead.

    Parameters
    ----------
    cases : sequence of str
    inductances : sequence of float
        Of leads; none at all is always among them. [H]
    shares : sequence of float
        Of the capacitance; the antenna as it is is always among them. [1]
    """
    leads = tuple(sorted({0.0, *inductances}))
    found = [Source("removed")] if "removed" in cases else []
    if "shorted" in cases:
        found += [Source("shorted", 1.0, lead) for lead in leads]
    if "nominal" in cases:
        found += [Source("nominal", share, lead) for share in sorted({1.0, *shares}) for lead in leads]
    return tuple(found)


@dataclass(frozen=True)
class InputNetwork:
    """A unit seen from its antenna, anywhere in the right half plane.

    Attributes
    ----------
    rows : callable
        From points s [rad/s], shape (n,), to the columns of numerator and denominators, shape (1 + n_probe, 4, n).
    low, high : float
        Angular frequencies between which poles are counted. [rad/s]
    unstable : int
        Unstable poles with the antenna as it is.
    resonances : complex ndarray
        The network's own poles near the imaginary axis. [rad/s]
    """

    rows: Callable[[np.ndarray], np.ndarray]
    low: float
    high: float
    unstable: int
    resonances: np.ndarray


@dataclass(frozen=True)
class SourceMap:
    """Verdicts of one unit, in the order of the sources.

    Attributes
    ----------
    margin, freq_hz : ndarray, shape (n_source,)
        Smallest |1 + T| over all frequencies and probes [1], and where [Hz].
    turn_hz : ndarray, shape (n_source,)
        Where the numerator turns backwards quickest: about there an unstable unit oscillates. [Hz]
    unstable : int ndarray, shape (n_source,)
    resolved : bool ndarray, shape (n_source,)
    least_conductance, least_conductance_hz : float
        Smallest real part of the input admittance, stray included, from 10 kHz to 2 GHz, and where. [S, Hz]
    """

    margin: np.ndarray
    freq_hz: np.ndarray
    turn_hz: np.ndarray
    unstable: np.ndarray
    resolved: np.ndarray
    least_conductance: float
    least_conductance_hz: float

    @property
    def stable(self) -> np.ndarray:
        """Sources without an unstable pole whose count is resolved, bool, shape (n_source,)."""
        return self.resolved & (self.unstable == 0)


def input_network(values: np.ndarray, freq_hz: np.ndarray, weights: np.ndarray, support: np.ndarray) -> InputNetwork:
    """A unit seen from its antenna, out of its responses.

    Parameters
    ----------
    values : complex ndarray, shape (n_drive, n_read, n_freq)
        See :class:`sim.measures.terminate.Responses`.
    freq_hz : ndarray, shape (n_freq,)
    weights : complex ndarray, shape (n_support,)
        From :func:`sim.measures.rational.fit_weights`.
    support : int ndarray, same shape
    """
    s = 2j * np.pi * freq_hz
    v, z = values[-1, 0], -values[-1, 1]
    antenna = (1 - v) / z
    plane = input_plane(values, freq_hz, antenna, 0)
    # Behind a capacitor z and p vanish towards zero frequency; divided by s they keep their digits there.
    blocked = bool(np.angle(z[0]) > np.pi / 4)
    over = s if blocked else np.ones_like(s)
    flat = np.concatenate(
        [v[None], z[None] / over, plane.inverse, plane.inverse - plane.opened * antenna, plane.opened / over]
    )
    probes = len(plane.inverse)

    def rows(points: np.ndarray) -> np.ndarray:
        found = Barycentric(s, support, points)(flat, weights)
        back = points if blocked else 1.0
        out = np.empty((1 + probes, 4, len(points)), dtype=complex)
        out[0, 0], out[0, 1], out[0, 2] = 1.0, found[0], found[1] * back
        out[1:, 0], out[1:, 1] = found[2 : 2 + probes], found[2 + probes : 2 + 2 * probes]
        out[1:, 2] = found[2 + 2 * probes :] * back
        out[:, 3] = points * out[:, 2]
        return out

    high = 2 * np.pi * freq_hz[-1]
    roots, own = denominator_roots(s[support], weights, high)
    near = own & (roots.imag > 0) & (np.abs(roots.real) < 0.3 * np.abs(roots))
    unstable = own & (roots.real > 1e-6 * np.abs(roots))
    return InputNetwork(rows, 2 * np.pi * freq_hz[0], HIGH_SHARE * high, int(unstable.sum()), roots[near])


def judge_sources(network: InputNetwork, sources: tuple[Source, ...]) -> SourceMap:
    """Margin and verdict of one unit with every source.

    Parameters
    ----------
    network : InputNetwork
    sources : tuple of Source

    Returns
    -------
    SourceMap
    """
    parts = np.array([source.parts for source in sources])
    low, high = network.low, network.high
    decades = np.log10(high / low)
    axis = np.geomspace(low, high, int(np.ceil(decades * POINTS_A_DECADE)) + 1)
    width = np.maximum(np.abs(network.resonances.real), 1e-4 * network.resonances.imag)
    cluster = (network.resonances.imag[:, None] + width[:, None] * CLUSTER).ravel()
    axis = np.union1d(axis, cluster[(cluster > low) & (cluster < high)])
    arc = np.exp(0.5j * np.pi * np.arange(ARC_POINTS) / ARC_POINTS)
    way = np.concatenate([low * arc, 1j * axis, (high * arc)[::-1]])
    rows = network.rows(way)
    top = parts @ rows[0]
    turn, resolved, nearest = _turns(network, parts, way, top)
    count = np.round(turn / np.pi).astype(int)
    resolved &= np.abs(turn - np.pi * count) < END_TURN
    unstable = network.unstable - count
    resolved &= unstable >= 0
    on_axis = slice(ARC_POINTS, ARC_POINTS + len(axis))
    margin, at = np.full(len(sources), np.inf), np.full(len(sources), np.nan)
    for probe in range(1, len(rows)):
        distance = top[:, on_axis] / (parts @ rows[probe][:, on_axis])
        near, where = _nearest(network, parts, probe, axis, distance)
        closer = near < margin
        margin, at = np.where(closer, near, margin), np.where(closer, where, at)
    admittance = rows[0, 2, on_axis] / rows[0, 1, on_axis]
    within = (axis >= 2 * np.pi * CONDUCTANCE_LOW_HZ) & (axis <= 2 * np.pi * CONDUCTANCE_HIGH_HZ)
    conductance = np.where(within, admittance.real, np.inf)
    least = int(conductance.argmin())
    return SourceMap(
        margin=margin,
        freq_hz=at / (2 * np.pi),
        turn_hz=nearest / (2 * np.pi),
        unstable=unstable,
        resolved=resolved,
        least_conductance=float(conductance[least]),
        least_conductance_hz=float(axis[least] / (2 * np.pi)),
    )


def _turns(network, parts, way, top):
    """How far each source's numerator turns along the way, whether each step is small, and where it turns quickest."""
    # All steps of the way at once, and only the wide ones one by one.
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = top[:, 1:] / top[:, :-1]
        step, size = np.angle(ratio), np.abs(ratio)
    wide = ~((np.abs(step) <= LARGEST_TURN) & (size <= LARGEST_CHANGE) & (size >= 1 / LARGEST_CHANGE))
    turn = np.where(wide, 0.0, step).sum(axis=1)
    steepest, quickest = _steepest(step, way)
    owner, place = np.nonzero(wide)
    start, end, begin, close = top[owner, place], top[owner, place + 1], way[place], way[place + 1]
    for level in range(1, ROUNDS + 1):
        if not len(owner):
            break
        inner = begin[:, None] * np.exp(np.log(close / begin)[:, None] * (np.arange(1, PARTS) / PARTS))
        columns = network.rows(inner.ravel())[0].reshape(4, *inner.shape)
        values = np.einsum("ij,jik->ik", parts[owner], columns)
        chain = np.column_stack([start, values, end])
        points = np.column_stack([begin, inner, close])
        owner = np.repeat(owner, PARTS)
        start, end = chain[:, :-1].ravel(), chain[:, 1:].ravel()
        begin, close = points[:, :-1].ravel(), points[:, 1:].ravel()
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = end / start
            step, size = np.angle(ratio), np.abs(ratio)
        wide = ~((np.abs(step) <= LARGEST_TURN) & (size <= LARGEST_CHANGE) & (size >= 1 / LARGEST_CHANGE))
        done = ~wide if level < ROUNDS else np.isfinite(step)
        turn += np.bincount(owner[done], step[done], len(parts))
        _steeper(steepest, quickest, owner, step, begin, close)
        owner, start, end, begin, close = (x[wide] for x in (owner, start, end, begin, close))
    resolved = np.ones(len(parts), dtype=bool)
    resolved[owner] = False
    return turn, resolved, quickest


def _steepest(step, way):
    """The quickest turn backwards of each numerator over the logarithm of frequency, and where."""
    width = np.abs(np.log(np.abs(way[1:] / way[:-1])))
    slope = -step / np.where(width > _UNBELIEVED, width, np.inf)
    slope = np.where(np.isfinite(slope), slope, 0.0)
    place, each = slope.argmax(axis=1), np.arange(len(step))
    steepest = np.maximum(slope[each, place], 0.0)
    return steepest, np.where(steepest > 0, np.sqrt(np.abs(way[place] * way[place + 1])), np.nan)


def _steeper(steepest, quickest, owner, step, begin, close):
    """Keep the frequency at which a numerator turns backwards quickest, as it does beside an unstable pole."""
    width = np.abs(np.log(np.abs(close / begin)))
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.where(width > _UNBELIEVED, -step / width, 0.0)
    slope = np.where(np.isfinite(slope), slope, 0.0)
    best = np.zeros(len(steepest))
    np.maximum.at(best, owner, slope)
    hit = np.nonzero((slope == best[owner]) & (slope > steepest[owner]))[0][::-1]
    quickest[owner[hit]] = np.sqrt(np.abs(begin[hit] * close[hit]))
    np.maximum(steepest, best, out=steepest)


def _nearest(network, parts, probe, axis, distance):
    """Smallest distance of each source's locus from zero: steps that promise less than what is known are divided."""
    each = np.arange(len(parts))
    size = np.abs(distance)
    place = size.argmin(axis=1)
    best, at = size[each, place], axis[place]
    # Most steps are far away: with both ends four times as far as the nearest point, and a right angle or less between
    # them, a chord comes no nearer than 4/√2 times that.
    near = size < 4 * best[:, None]
    dot = distance.real[:, 1:] * distance.real[:, :-1] + distance.imag[:, 1:] * distance.imag[:, :-1]
    owner, step = np.nonzero(near[:, 1:] | near[:, :-1] | (dot < 0))
    start, end = distance[owner, step], distance[owner, step + 1]
    begin, close = axis[step], axis[step + 1]
    for _ in range(ROUNDS):
        chord = _chord(start, end)
        # A step that turns far can bulge towards zero further than its chord: its ends' sizes are no bound, either.
        bulge = np.abs(np.angle(end / start)) > LARGEST_TURN
        open_steps = (chord < (1 - DEEP) * best[owner]) | (
            bulge & (np.minimum(np.abs(start), np.abs(end)) < 4 * best[owner])
        )
        owner, start, end, begin, close = (x[open_steps] for x in (owner, start, end, begin, close))
        if not len(owner):
            break
        inner = begin[:, None] * (close / begin)[:, None] ** (np.arange(1, PARTS) / PARTS)
        rows = network.rows(1j * inner.ravel())
        top, below = (rows[k].reshape(4, *inner.shape) for k in (0, probe))
        weights = parts[owner]
        values = np.einsum("ij,jik->ik", weights, top) / np.einsum("ij,jik->ik", weights, below)
        least = np.abs(values)
        side = least.argmin(axis=1)
        lowest = least[np.arange(len(owner)), side]
        np.minimum.at(best, owner, lowest)
        hit = np.nonzero(lowest == best[owner])[0][::-1]
        at[owner[hit]] = inner[hit, side[hit]]
        chain, points = np.column_stack([start, values, end]), np.column_stack([begin, inner, close])
        owner = np.repeat(owner, PARTS)
        start, end = chain[:, :-1].ravel(), chain[:, 1:].ravel()
        begin, close = points[:, :-1].ravel(), points[:, 1:].ravel()
    return best, at


def _chord(start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Distance of each step of a locus from zero."""
    along = end - start
    size = along.real**2 + along.imag**2
    place = -(start.real * along.real + start.imag * along.imag) / np.where(size > 0, size, 1.0)
    return np.abs(start + place.clip(0.0, 1.0) * along)
