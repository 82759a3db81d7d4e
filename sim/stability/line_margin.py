"""Smallest distance of one unit's loop from −1 on every feedline: see :mod:`sim.stability.line_map`.

Where a line turns once and more while the bound hardly changes, one of its phases attains the bound, and nothing else
needs to be looked at. That settles most loads; only the others are followed point by point. All groups are taken at
once: on arrays of this size each call costs more than its arithmetic.
"""

from dataclasses import dataclass

import numpy as np

from sim.stability.family import ROOM, Table
from sim.stability.kinds import BEGIN_AT, Cut, cut_at
from sim.stability.line_view import Runs, View, gamma_of, view_at
from sim.stability.plane import Plane

LEAST_GAIN = 0.01
"""What would lower a margin by less than this share is not looked for. [1]"""
ATTAINED = 0.02
"""A bound that rises by less than this share while a line turns is taken for the margin. [1]"""
SMALL, FLAT = 0.3, 0.004
"""A reflection up to this size is not followed if it changes 1 + T by no more than this share. [1]"""
CARED_FOR = 0.5
"""Loads whose bound is below this are refined with exact values; others are good to two hundredths. [1]"""
DEEP, DEEP_ROUNDS = 0.1, 6
"""A margin is looked at again, in shorter steps, while it is less than this share of the way that the locus makes
around it, at most so often. [1]"""
MOST_DIPS = 4
"""So many of a load's dips are refined, deepest first, while they may be deeper than what is known."""
TINY, BETWEEN = 0.05, 0.01
"""Below the first, dips that look shallower by no more than the second are refined too: loci between the grid's
frequencies are not known better. [1]"""
FAR = 1.5
"""The loop is looked at from where it may first come within this many times what all bring it to in the end. [1]"""
FEW_POINTS = 20
"""Points a load, above which it is worth asking how near each load surely comes. [1]"""


@dataclass(frozen=True)
class _Dip:
    """Where each load comes nearest on what was looked at: distance of the nearest chord, place and step there."""

    near: np.ndarray
    freq_hz: np.ndarray
    step: np.ndarray


def margins(plane: Plane, table: Table, view: View) -> tuple[np.ndarray, np.ndarray]:
    """Smallest |1 + T| of each load.

    Parameters
    ----------
    plane : Plane
        On the table's frequencies.
    table : Table
    view : View
        Of what stands before the table's lines.

    Returns
    -------
    margin, freq_hz : ndarray, shape (n_load,)
        Over all frequencies and probes, and where. [1, Hz]
    """
    found, places = _of_probe(plane, table, view, 0)
    for probe in range(1, len(plane.inverse)):
        near, at_hz = _of_probe(plane, table, view, probe)
        closer = near < found
        found, places = np.where(closer, near, found), np.where(closer, at_hz, places)
    return found, places


def _of_probe(plane: Plane, table: Table, view: View, probe: int) -> tuple[np.ndarray, np.ndarray]:
    of = table.kinds.of
    bound, cut = _bounds(table, view, probe)
    low, near, follow = _settled(table, view, probe, bound, cut)
    at_hz = table.freq_hz[low + cut.start]
    near, at_hz = near[of], at_hz[of]
    loads = np.nonzero(follow[of])[0]
    if not len(loads):
        return near, at_hz
    kind = np.nonzero(follow)[0]
    place = (np.cumsum(follow) - 1)[of[loads]]
    nearest, places = _on_grid(table, view, probe, loads, cut.start)
    cells = _cells(bound[kind])[place]
    # Every point is wanted wherever a bound stays below what was found.
    runs = _below(table, loads, cells, nearest, cut.start)
    if runs.steps.sum() > FEW_POINTS * len(loads):
        upper, upper_hz = (x[place] for x in _surely(table, kind, bound, cut))
        nearest, places = np.minimum(nearest, upper), np.where(upper < nearest, upper_hz, places)
        runs = _below(table, loads, cells, nearest, cut.start)
    if len(runs.load):
        steps = _on_points(_Locus.of(table, view, probe), loads, runs)
        small, wanted = cells.min(axis=1) < CARED_FOR, 1 - LEAST_GAIN
        for more in range(MOST_DIPS):
            dip, hit = steps.lowest(table)
            lower = dip.near < (np.where(nearest < TINY, nearest + BETWEEN, wanted * nearest) if more else np.inf)
            cared = small & lower
            other, other_hz = dip.near, dip.freq_hz
            if cared.any():
                other, other_hz = _refined(plane, table, probe, loads, dip, cared)
            lower &= other < nearest
            nearest, places = np.where(lower, other, nearest), np.where(lower, other_hz, places)
            if not cared.any():
                break
            # What was refined is known; another dip may turn out to be the deeper one.
            steps.strike(hit[cared])
    near[loads], at_hz[loads] = nearest, places
    return near, at_hz


def _settled(table: Table, view: View, probe: int, bound, cut: Cut) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Where each kind's bound is smallest, its least value, and whether its loads must be followed all the same."""
    kinds, size, crossing = table.kinds, bound, None
    if bound.min() < 0:
        size = np.abs(bound)
        crossing = (bound.min(axis=1) <= 0) & (bound.max(axis=1) > 0)
    low = size.argmin(axis=1)
    if crossing is not None:
        # Between two frequencies the bound falls to nothing, wherever its smallest sample is.
        low[crossing] = _cells(bound[crossing]).argmin(axis=1)
    flat, place = size.ravel(), np.arange(len(size)) * size.shape[1] + low
    least = flat.take(place)
    beside = np.maximum(flat.take(cut.left.ravel().take(place)), flat.take(cut.right.ravel().take(place)))
    follow = (beside > (1 + ATTAINED) * least) | cut.none.ravel().take(place)
    if crossing is not None:
        follow |= crossing
    # Where the phase of a small reflection changes next to nothing the bound is the value.
    rows = np.nonzero(follow)[0]
    group, at, radius = kinds.view_of[rows], low[rows] + cut.start, cut.radius.ravel().take(place[rows])
    a, b = view.a[group, at], view.b[probe, group, at]
    turns = radius * np.abs(a - b) > FLAT * np.abs(1 - a * b.conj() * (radius * radius))
    still = rows[~(turns | (radius > SMALL))]
    follow[still] = False
    near = least.astype(float)
    near[still] = _vertex(size[still], low[still])
    return low, near, follow


# ---------------------------------------------------------------------- bounds


def _bounds(table: Table, view: View, probe: int) -> tuple[np.ndarray, Cut]:
    """Smallest |1 + T| over all phases of each kind's reflection, and the kinds from where on they are wanted.

    float32, shape (n_kind, n_freq − start); negative where the reflection is too large for a zero. Where its size is
    not known, and it may be smaller, 0 takes the place of what is negative.

    A Möbius map takes the circle |Γ| = r to one about (1 − a b* r²)/(1 − |b|² r²) of radius r |a − b|/|1 − |b|² r²|
    (textbook). With |1 − a b* r²|² − r² |a − b|² = (1 − |a|² r²)(1 − |b|² r²) its distance from zero is
    |1 − |a|² r²|/(|1 − a b* r²| + r |a − b|), on either side of |b| r = 1.
    """
    a, b, size = view.a, view.b[probe], view.size[probe]
    mixed, square = a * b.conj(), a.real**2 + a.imag**2
    # (1 − |a|² r²)|f| / (√(1 + r² (r² |a b*|² − 2 Re a b*)) + r |a − b|), with a little above one for rounding.
    parts = (square * -size, size, mixed.real**2 + mixed.imag**2, -2 * mixed.real, np.abs(a - b))
    start = _first_needed(table, parts, view.f[probe, :, -1], a[:, -1], b[:, -1])
    parts = np.array(parts, dtype=np.float32)[:, :, start:]
    kinds, cut = table.kinds, cut_at(table.kinds, start)
    bound = np.empty_like(cut.radius)
    # View by view, into what is there: new arrays as large as all cost more than what is reckoned in them.
    for number, group in enumerate(kinds.views):
        scale, one, both, twice, apart = parts[:, number]
        square, found = cut.square[group], bound[group]
        rim, part = square * both, cut.radius[group] * apart
        rim += twice
        rim *= square
        rim += np.float32(1.000001)
        np.sqrt(rim, out=rim)
        rim += part
        np.multiply(square, scale, out=part)
        part += one
        np.divide(part, rim, out=found)
    if not kinds.known.all():
        np.maximum(bound, 0, out=bound, where=~kinds.known[:, None])
    return bound, cut


def _first_needed(table: Table, parts, f, a, b) -> int:
    """The place on the grid below which the loop is so strong that no load comes near what all have at its end."""
    group, gamma, most = table.view_of, table.endings, table.most
    reached = FAR * np.abs(f[group] * (1 - a[group] * gamma) / (1 - b[group] * gamma)).max()
    scale, size, both, twice, apart = parts
    square = most * most
    rim = np.sqrt(1.000001 + square * (square * both + twice)) + most * apart
    near = size + square * scale <= reached * rim
    return max(int(near.any(axis=0).argmax()) - 1, 0) // BEGIN_AT * BEGIN_AT


def _cells(bound: np.ndarray) -> np.ndarray:
    """What the bound may fall to inside each cell, shape (n, n_freq − 1)."""
    low, high = bound[:, :-1], bound[:, 1:]
    room = np.abs(high - low)
    room *= np.float32(ROOM)
    found = np.minimum(low, high) - room
    if bound.min() < 0:
        # Distance from zero of an interval that may lie on either side of it.
        found = np.maximum(np.maximum(found, -(np.maximum(low, high) + room)), 0)
    return found


def _surely(table: Table, kind: np.ndarray, bound: np.ndarray, cut: Cut) -> tuple[np.ndarray, np.ndarray]:
    """What 1 + T of each of some kinds surely falls to while its line turns once somewhere, and where. [1, Hz]"""
    flat = bound.ravel()
    # The bound may be negative: then it is its size that counts.
    worse = np.maximum(np.abs(flat.take(cut.left[kind])), np.abs(flat.take(cut.right[kind])))
    worse[cut.none[kind]] = np.inf
    best = worse.argmin(axis=1)
    return worse[np.arange(len(kind)), best].astype(float), table.freq_hz[best + cut.start]


def _vertex(bound: np.ndarray, low: np.ndarray) -> np.ndarray:
    """Least value of each row by the parabola through its smallest sample and the neighbours, where it is inside."""
    inner = np.minimum(np.maximum(low, 1), bound.shape[1] - 2)
    flat, place = bound.ravel(), np.arange(len(low)) * bound.shape[1]
    least, place = flat.take(place + low), place + inner
    left, middle, right = flat.take(place - 1), flat.take(place), flat.take(place + 1)
    curve, slope = left - 2 * middle + right, left - right
    curve[(inner != low) | (curve <= 0)] = np.inf
    return np.maximum(least - slope * slope / (8 * curve), 0)


# ---------------------------------------------------------------------- points


@dataclass(frozen=True)
class _Locus:
    """1 + T of one probe on dense points, its f, a and b interpolated between the grid's frequencies."""

    table: Table
    values: np.ndarray
    steps: np.ndarray

    @classmethod
    def of(cls, table: Table, view: View, probe: int) -> "_Locus":
        values = np.array([view.f[probe], view.a, view.b[probe]]).reshape(3, -1)
        # The step from one view to the next is never asked for.
        return cls(table, values, np.diff(values))

    def __call__(self, load, cell, share, point):
        place = self.table.view_of[load] * len(self.table.freq_hz) + cell
        f, a, b = self.values[:, place] + self.steps[:, place] * share
        gamma = gamma_of(self.table, load, cell, point, share)
        return f * (1 - a * gamma) / (1 - b * gamma)


def _on_grid(table: Table, view: View, probe: int, loads: np.ndarray, start: int) -> tuple[np.ndarray, np.ndarray]:
    """Smallest |1 + T| of some loads on the grid itself, and where. [1, Hz]"""
    group, gamma = table.view_of[loads], table.on_grid[loads, start:]
    a, b = (x[:, start:].astype(np.complex64)[group] for x in (view.a, view.b[probe]))
    size = view.size[probe, :, start:].astype(np.float32)[group]
    a *= gamma
    b *= gamma
    size *= np.abs(1 - a)
    size /= np.abs(1 - b)
    best = size.argmin(axis=1)
    return size[np.arange(len(loads)), best].astype(float), table.freq_hz[best + start]


def _below(table: Table, loads: np.ndarray, cells: np.ndarray, nearest: np.ndarray, start: int) -> Runs:
    """Cells from `start` whose bound promises less than what was found."""
    load, cell = np.nonzero(cells < ((1 - LEAST_GAIN) * nearest[:, None]).astype(np.float32))
    return Runs.of(table, loads[load], cell + start)


@dataclass(frozen=True)
class _Steps:
    """Steps of the loci of some loads: load (its place among them), distance, where on the step, and first point."""

    count: int
    owner: np.ndarray
    near: np.ndarray
    place: np.ndarray
    point: np.ndarray

    def lowest(self, table: Table) -> tuple[_Dip, np.ndarray]:
        """The nearest step of each load, and its number."""
        firsts = np.nonzero(np.concatenate([[True], self.owner[1:] != self.owner[:-1]]))[0]
        least = np.full(self.count, np.inf)
        least[self.owner[firsts]] = np.minimum.reduceat(self.near, firsts)
        # Written backwards, so that of equals the first stays.
        hit = np.nonzero(self.near == least[self.owner])[0][::-1]
        number = np.zeros(self.count, dtype=int)
        freq_hz, step = np.full(self.count, np.nan), np.full(self.count, np.nan)
        mine, begin_hz = self.owner[hit], table.dense_hz[self.point[hit]]
        number[mine] = hit
        step[mine] = np.log(table.dense_hz[self.point[hit] + 1] / begin_hz)
        freq_hz[mine] = begin_hz * np.exp(step[mine] * self.place[hit])
        return _Dip(least, freq_hz, step), number

    def strike(self, number: np.ndarray) -> None:
        """Leave some steps and their neighbours out from now on."""
        for beside in (-1, 0, 1):
            self.near[np.minimum(np.maximum(number + beside, 0), len(self.near) - 1)] = np.inf


def _on_points(locus: _Locus, loads: np.ndarray, runs: Runs) -> _Steps:
    """Steps between all dense points of some cells of some loads."""
    table = locus.table
    pair, point, ends = runs.points()
    share = table.share[point]
    share[ends] = 1.0
    distance = locus(runs.load[pair], runs.cell[pair], share, point)
    bend = np.zeros(len(distance), dtype=complex)
    np.subtract(distance[2:], distance[1:-1], out=bend[1:-1])
    bend[1:-1] -= distance[1:-1] - distance[:-2]
    # Across the ends of a run there is no bend to be had, and no step.
    bend[ends] = bend[0] = bend[ends[:-1] + 1] = 0
    near, place = _chords(distance[:-1], distance[1:], (bend[:-1] + bend[1:]) / 2)
    near[ends[:-1]] = np.inf
    owner = np.searchsorted(loads, runs.load)[pair[:-1]]
    return _Steps(len(loads), owner, near, place, point[:-1])


def _chords(start: np.ndarray, end: np.ndarray, bend: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Distance of each step of a locus from zero, and its place there, 0 to 1; `bend` is the second difference."""
    along = end - start
    size = along.real**2 + along.imag**2
    place = -(start.real * along.real + start.imag * along.imag) / np.where(size > 0, size, 1.0)
    place = np.minimum(np.maximum(place, 0.0), 1.0)
    nearest = start + place * along - (0.5 * place * (1 - place)) * bend
    return np.sqrt(nearest.real**2 + nearest.imag**2), place


_AROUND = np.array([-1.2, -0.4, 0.4, 1.2])
_CUBIC = np.linalg.inv(np.vander(_AROUND, increasing=True))
_FINE = np.linspace(-1.4, 1.4, 29)
_POWERS = np.vander(_FINE, 4, increasing=True)


def _refined(plane, table, probe, each, dip: _Dip, cared: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Exact values around the dip of each load that is cared for; deep ones are looked at again, more finely.

    Between four exact values the locus is a cubic: of a twelfth of a turn that is right to a few parts in 1e5.
    """
    at_hz, near = dip.freq_hz.copy(), dip.near.copy()
    loads = np.nonzero(cared)[0]
    step = dip.step[loads]
    for _ in range(DEEP_ROUNDS):
        freq_hz = at_hz[loads, None] * np.exp(step[:, None] * _AROUND)
        freq_hz = freq_hz.clip(table.freq_hz[0], table.freq_hz[-1])
        view, gamma = view_at(plane, table, each[loads], freq_hz)
        distance = view.f[probe] * (1 - view.a * gamma) / (1 - view.b[probe] * gamma)
        curve = distance @ _CUBIC.T
        fine = np.abs(curve @ _POWERS.T)
        place = _bottom(fine)
        near[loads] = np.abs((curve * np.vander(place, 4, increasing=True)).sum(axis=1))
        at_hz[loads] = (at_hz[loads] * np.exp(step * place)).clip(table.freq_hz[0], table.freq_hz[-1])
        edge = np.abs(place) >= _FINE[-1]
        again = edge | (near[loads] < DEEP * np.abs(distance[:, 3] - distance[:, 0]))
        if not again.any():
            break
        loads, step = loads[again], np.where(edge, step, step / 5)[again]
    return near, at_hz


def _bottom(fine: np.ndarray) -> np.ndarray:
    """Where the square of each row is smallest, by the parabola through its smallest sample, in steps."""
    best, own = fine.argmin(axis=1), np.arange(len(fine))
    inner = np.minimum(np.maximum(best, 1), len(_FINE) - 2)
    left, middle, right = (fine[own, inner + step] ** 2 for step in (-1, 0, 1))
    bend = left - 2 * middle + right
    off = (left - right) / np.where(bend > 0, 2 * bend, np.inf)
    return np.where(inner == best, _FINE[inner] + off * (_FINE[1] - _FINE[0]), _FINE[best])
