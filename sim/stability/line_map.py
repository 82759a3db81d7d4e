"""The loop of one unit on every feedline: smallest distance from −1, and unstable poles, of each load.

Theory of operation
-------------------
Behind what stands before the line, 1 + T = f (1 − a Γ)/(1 − b Γ) for each probe, with a the reflection that the closed
network shows to the line, b the one that it would show with the probe's loop opened, and f its value on an endless one.

*Margin.* f, a, b and |Γ| change slowly, so the smallest value over all phases of Γ is a bound that no length of line
can hide a resonance from (:mod:`sim.stability.bound`). Where the bound lies above what was already found, nothing is
looked at; elsewhere the line's turns are followed with :data:`~sim.stability.family.POINTS_A_TURN` points each, and the
smallest one is refined with exact values.

*Poles.* The turns of 1 + z D around zero are those on an endless line plus those of 1 − a Γ. Where |a Γ| < 1 the latter
cannot turn; elsewhere every step of its locus is made small enough to be counted, or the load is unresolved. A network
that is stable with its reference and shows |a| < 1 to every passive termination, which is Re Z_out > 0, is stable on
every passive line.
"""

from dataclasses import dataclass

import numpy as np

from sim.stability.bound import least_over_disc
from sim.stability.family import Load, Table, build_table, group_at
from sim.stability.line_count import count_poles
from sim.stability.line_view import ROOM, View, gamma_of, points_of, view_of
from sim.stability.plane import Plane

PASSIVE_LOW_HZ, PASSIVE_HIGH_HZ = 1e4, 2e9
"""Range over which the output resistance must be positive for the test of every passive line. [Hz]"""
LEAST_GAIN = 0.01
"""What would lower a margin by less than this share is not looked for. [1]"""
NOMINAL_STEP, LARGEST_STEP = 0.15, 0.4
"""Change of a reflection, or of the logarithm of f, between neighbours of the grid, above which points are added: for
the grid of a scenario, and for a unit that turns more quickly than the nominal one."""
MOST_ADDED, ROUNDS = 600, 8
WINDOW, STRIDE = 6, 2
"""Every how manyth dense point, and how many of these on either side of the smallest bound, is looked at first: a whole
turn of the line and more."""
SMALL, FLAT = 0.3, 0.004
"""A reflection up to this size is not followed if it changes 1 + T by no more than this share. [1]"""
CARED_FOR = 0.5
"""Loads whose bound is below this are refined with exact values; others are good to two hundredths. [1]"""
DEEP, DEEP_ROUNDS = 0.002, 10
"""A margin is refined until the chords around it promise less than this share, at most so often. [1]"""


@dataclass(frozen=True)
class LineMap:
    """Verdicts of one unit, in the order of the table's loads.

    Attributes
    ----------
    margin : ndarray, shape (n_load,)
        Smallest |1 + T| over all frequencies and probes. [1]
    freq_hz : ndarray, shape (n_load,)
        Where. [Hz]
    turn_hz : ndarray, shape (n_load,)
        Where the loop passes around −1 the unstable way: near the frequency of oscillation; NaN where it does not. [Hz]
    unstable : int ndarray, shape (n_load,)
        Unstable poles.
    resolved : bool ndarray, shape (n_load,)
        Whether every step of the count was small enough to be believed.
    least_resistance, least_resistance_hz : float
        Smallest real part of the output impedance from 10 kHz to 2 GHz, and where. [Ω, Hz]
    unconditional : bool
        Stable on every passive line: stable with the reference and the resistance above zero.
    """

    margin: np.ndarray
    freq_hz: np.ndarray
    turn_hz: np.ndarray
    unstable: np.ndarray
    resolved: np.ndarray
    least_resistance: float
    least_resistance_hz: float
    unconditional: bool

    @property
    def stable(self) -> np.ndarray:
        """Loads without an unstable pole whose count is resolved, bool, shape (n_load,)."""
        return self.resolved & (self.unstable == 0)


def judge_lines(plane: Plane, table: Table) -> LineMap:
    """Margin and verdict of one unit on every load of a table.

    Parameters
    ----------
    plane : Plane
        At an output, on the table's frequencies.
    table : Table
        From :func:`sim.stability.family.table_of`.

    Returns
    -------
    LineMap

    Notes
    -----
    Where the network turns too quickly for the table's grid, points are added, and the table is made anew for this
    unit.
    """
    views = [view_of(plane, group) for group in table.groups]
    finer, table = _fine_enough(plane, table, views)
    if finer is not plane:
        plane, views = finer, [view_of(finer, group) for group in table.groups]
    margin, freq_hz = _margins(plane, table, views)
    unstable, resolved, turn_hz = count_poles(plane, table, views)
    within = (plane.freq_hz >= PASSIVE_LOW_HZ) & (plane.freq_hz <= PASSIVE_HIGH_HZ)
    resistance = np.where(within, plane.own_immittance.real, np.inf)
    least = int(resistance.argmin())
    return LineMap(
        margin=margin,
        freq_hz=freq_hz,
        turn_hz=turn_hz,
        unstable=unstable,
        resolved=resolved,
        least_resistance=float(resistance[least]),
        least_resistance_hz=float(plane.freq_hz[least]),
        unconditional=bool(plane.unstable == 0 and resistance[least] > 0),
    )


# ---------------------------------------------------------------------- a grid that is fine enough


def fine_grid(plane: Plane, loads: tuple[Load, ...], freq_hz: np.ndarray, step: float = NOMINAL_STEP) -> np.ndarray:
    """A grid with points added wherever a network turns quickly, for the table of all units like it.

    Parameters
    ----------
    plane : Plane
        Of the nominal unit.
    loads : tuple of Load
    freq_hz : ndarray, shape (n_freq,)
        From :func:`sim.stability.family.grid`. [Hz]
    step : float
        Largest change between neighbours.

    Returns
    -------
    freq_hz : ndarray, ascending
    """
    kinds = list({(load.cable, load.line.at_amplifier): load for load in loads}.values())
    start = len(freq_hz)
    for _ in range(ROUNDS):
        here = plane.at(freq_hz)
        wide = np.any([_steps(view_of(here, group_at(load, freq_hz)), step) for load in kinds], axis=0)
        if not wide.any() or len(freq_hz) - start > MOST_ADDED:
            break
        middle = np.sqrt(freq_hz[1:] * freq_hz[:-1])[wide]
        freq_hz = np.union1d(freq_hz, middle)
    return freq_hz


def _fine_enough(plane: Plane, table: Table, views: "list[View]") -> tuple[Plane, Table]:
    # What turns is the network, so it shows against any of the cables.
    if not _steps(views[0], LARGEST_STEP).any():
        return plane, table
    freq_hz = fine_grid(plane, table.loads, table.freq_hz, LARGEST_STEP)
    return plane.further(freq_hz), build_table(table.loads, freq_hz)


def _steps(view: View, step: float) -> np.ndarray:
    """Cells in which something turns too far."""
    a = np.abs(np.diff(view.a)) > step * (1 + np.abs(view.a[1:]))
    b = np.abs(np.diff(view.b)) > step * (1 + np.abs(view.b[:, 1:]))
    ratio = view.f[:, 1:] / view.f[:, :-1]
    # Far from −1 the loop may turn as it likes.
    f = (np.abs(np.log(ratio)) > step) & (np.minimum(view.size[:, 1:], view.size[:, :-1]) < 3)
    return a | (b | f).any(axis=0)


# ---------------------------------------------------------------------- margins


@dataclass(frozen=True)
class _Dip:
    """Where each load comes nearest on what was looked at: distance of the nearest chord, place and step there."""

    near: np.ndarray
    freq_hz: np.ndarray
    step: np.ndarray

    def with_rows(self, rows: np.ndarray, other: "_Dip") -> "_Dip":
        for mine, its in zip(vars(self).values(), vars(other).values(), strict=True):
            mine[rows] = its
        return self


def _margins(plane: Plane, table: Table, views: list[View]) -> tuple[np.ndarray, np.ndarray]:
    margins, places = np.full(len(table.loads), np.inf), np.full(len(table.loads), np.nan)
    # Group by group: arrays that fit into the allocator's small blocks cost half as much as large ones.
    for probe in range(len(plane.inverse)):
        for view, group in zip(views, table.groups, strict=True):
            cut = _Cut(table, group.loads.start, view.f[probe], view.a, view.b[probe])
            f, a, b = cut.narrow
            start = _first_needed(f, a, b, table.radius[group.loads])
            bound = least_over_disc(f[start:], a[start:], b[start:], table.radius[group.loads, start:])
            # First around the smallest bound, as many points for each load; then wherever a bound stays below that.
            low, radius = bound.argmin(axis=1) + start, table.radius[group.loads]
            at, share = radius[np.arange(len(low)), low], a[low] * np.conj(b[low])
            turns = (at * np.abs(a[low] - b[low]) > FLAT * np.abs(1 - share * at * at)) | (at > SMALL)
            # Where the phase of a small reflection changes next to nothing the bound is the value.
            near, step = _vertex(bound, low - start), np.full(len(low), LEAST_GAIN)
            dip, looked = _Dip(near, table.freq_hz[low], step), np.ones((len(low), bound.shape[1] - 1), dtype=bool)
            each = np.nonzero(turns)[0]
            if len(each):
                found, looked[each] = _around(cut, each, low[each], start)
                dip = dip.with_rows(each, found)
            cared = bound.min(axis=1) < CARED_FOR
            nearest, at_hz = _refined(plane, table, group, probe, dip, cared)
            cells = np.minimum(bound[:, 1:], bound[:, :-1]) - ROOM * np.abs(np.diff(bound))
            more = (cells < ((1 - LEAST_GAIN) * nearest[:, None]).astype(np.float32)) & ~looked
            if more.any():
                other, other_hz = _refined(plane, table, group, probe, _elsewhere(cut, more, start), cared)
                nearest, at_hz = np.fmin(nearest, other), np.where(other < nearest, other_hz, at_hz)
            own, closer = group.loads, nearest < margins[group.loads]
            margins[own], places[own] = np.where(closer, nearest, margins[own]), np.where(closer, at_hz, places[own])
    return margins, places


def _first_needed(f, a, b, radius) -> int:
    """The place on the grid below which the loop is so strong that no load comes near what all have at its end."""
    most = radius.max(axis=0)
    room = 1 - abs(b[-1]) * most[-1]
    if room <= 0:
        return 0
    reached = f[-1] * (1 + abs(a[-1]) * most[-1]) / room
    return max(int((least_over_disc(f, a, b, most) <= 3 * reached).argmax()) - 1, 0)


@dataclass(frozen=True)
class _Cut:
    """1 + T of one probe on the dense points of a group's loads, interpolated between the grid's frequencies."""

    table: Table
    first: int
    f: np.ndarray
    a: np.ndarray
    b: np.ndarray

    @property
    def narrow(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """|f|, a and b, precise enough for a bound."""
        return np.abs(self.f).astype(np.float32), self.a.astype(np.complex64), self.b.astype(np.complex64)

    def __call__(self, load, cell, share, point):
        gamma = gamma_of(self.table, load + self.first, cell, point, share)
        low, high = self._taken(cell), self._taken(cell + 1)
        f, a, b = (x + (y - x) * share for x, y in zip(low, high, strict=True))
        return f * (1 - a * gamma) / (1 - b * gamma)

    def _taken(self, cell):
        return self.f[cell], self.a[cell], self.b[cell]


def _vertex(bound: np.ndarray, low: np.ndarray) -> np.ndarray:
    """Least value of each row by the parabola through its smallest sample and the neighbours."""
    rows, low = np.arange(len(low)), low.clip(1, bound.shape[1] - 2)
    left, middle, right = (bound[rows, low + step].astype(float) for step in (-1, 0, 1))
    curve = left - 2 * middle + right
    least = middle - (left - right) ** 2 / np.where(curve > 0, 8 * curve, np.inf)
    return np.where(curve > 0, np.maximum(least, 0.0), np.minimum(np.minimum(left, right), middle))


def _around(cut: _Cut, loads: np.ndarray, low: np.ndarray, start: int) -> tuple[_Dip, np.ndarray]:
    """On the dense points around one place of some loads; and which cells from `start` are done with that."""
    table = cut.table
    each = np.arange(len(low))
    rows = table.starts[table.row_of[loads + cut.first]]
    reach = WINDOW * STRIDE
    centre = rows[each, low].clip(rows[:, 0] + reach, rows[:, -1] - reach)
    point = centre[:, None] + np.arange(-reach, reach + 1, STRIDE)
    cell = table.cell[point]
    distance = cut(loads[:, None], cell, table.share[point], point)
    bend = np.diff(distance, 2)
    bend = (bend[:, np.arange(2 * WINDOW).clip(0, 2 * WINDOW - 2)] + bend[:, np.arange(-1, 2 * WINDOW - 1).clip(0)]) / 2
    near, place = _chords(distance[:, :-1], distance[:, 1:], bend)
    best = near.argmin(axis=1)
    freq_hz = table.dense_hz[point[each, best]]
    step = np.log(table.dense_hz[point[each, best] + STRIDE] / freq_hz)
    number = np.arange(start, table.starts.shape[1] - 1)
    # Where a line hardly turns within a cell it is the network that does, and every point is wanted.
    turns = np.diff(rows[:, start:], axis=1) > 2 * STRIDE
    looked = turns & (number > cell[:, :1]) & (number < cell[:, -1:])
    return _Dip(near[each, best], freq_hz * np.exp(step * place[each, best]), step), looked


def _elsewhere(cut: _Cut, cells: np.ndarray, start: int) -> _Dip:
    """On all dense points of some of the cells from `start`."""
    table = cut.table
    pair_load, pair_cell = np.nonzero(cells)
    pair_cell += start
    pair, point, last = points_of(table, pair_load + cut.first, pair_cell)
    load, cell = pair_load[pair], pair_cell[pair]
    distance = cut(load, cell, np.where(last, 1.0, table.share[point]), point)
    begin = np.nonzero(~last)[0]
    bend = np.zeros(len(distance), dtype=complex)
    bend[1:-1] = np.diff(distance, 2)
    # Across the ends of a run there is no bend to be had.
    bend[last] = bend[np.append(True, last[:-1])] = 0
    near, place = _chords(distance[begin], distance[begin + 1], (bend[begin] + bend[begin + 1]) / 2)
    owner = load[begin]
    firsts = np.nonzero(np.append(True, owner[1:] != owner[:-1]))[0]
    least = np.full(len(cells), np.inf)
    least[owner[firsts]] = np.minimum.reduceat(near, firsts)
    # Written backwards, so that of equals the first stays.
    hit = np.nonzero(near == least[owner])[0][::-1]
    freq_hz, step = np.full(len(cells), np.nan), np.full(len(cells), np.nan)
    begin_hz = table.dense_hz[point[begin[hit]]]
    step[owner[hit]] = np.log(table.dense_hz[point[begin[hit]] + 1] / begin_hz)
    freq_hz[owner[hit]] = begin_hz * np.exp(step[owner[hit]] * place[hit])
    return _Dip(least, freq_hz, step)


def _chords(start: np.ndarray, end: np.ndarray, bend=0.0) -> tuple[np.ndarray, np.ndarray]:
    """Distance of each step of a locus from zero, and its place there, 0 to 1; `bend` is the second difference."""
    along = end - start
    size = along.real**2 + along.imag**2
    place = -(start.real * along.real + start.imag * along.imag) / np.where(size > 0, size, 1.0)
    place = place.clip(0.0, 1.0)
    nearest = start + place * along - (0.5 * place * (1 - place)) * bend
    return np.sqrt(nearest.real**2 + nearest.imag**2), place


_AROUND = np.array([-1.2, -0.4, 0.4, 1.2])


def _refined(plane, table, group, probe, dip: _Dip, cared: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Exact values around the dip of each load that is cared for; deep ones are looked at again, more finely."""
    at_hz, near = dip.freq_hz.copy(), dip.near.copy()
    step, loads = dip.step, np.nonzero(cared & np.isfinite(dip.near))[0]
    for _ in range(DEEP_ROUNDS if len(loads) else 0):
        freq_hz = at_hz[loads, None] * np.exp(step[loads, None] * _AROUND)
        freq_hz = freq_hz.clip(table.freq_hz[0], table.freq_hz[-1])
        distance = _exactly(plane, table, probe, loads + group.loads.start, freq_hz)
        chord, place = _chords(distance[:, :-1], distance[:, 1:])
        own = np.arange(len(loads))
        best = np.abs(distance).argmin(axis=1)
        near[loads], at_hz[loads] = np.abs(distance[own, best]), freq_hz[own, best]
        deep = chord.min(axis=1) < (1 - DEEP) * near[loads]
        side = chord.argmin(axis=1)
        middle = freq_hz[own, side] * (freq_hz[own, side + 1] / freq_hz[own, side]) ** place[own, side]
        loads = loads[deep]
        if not len(loads):
            break
        at_hz[loads] = middle[deep]
        step = step / 2.5
    return near, at_hz


def _exactly(plane: Plane, table: Table, probe: int, loads: np.ndarray, freq_hz: np.ndarray) -> np.ndarray:
    """1 + T of one probe for some loads of a group, each at frequencies of its own, shape (n, n_freq)."""
    flat = freq_hz.ravel()
    view = view_of(plane.at(flat), group_at(table.loads[loads[0]], flat))
    gamma = table.reflections(loads, freq_hz).ravel()
    return (view.f[probe] * (1 - view.a * gamma) / (1 - view.b[probe] * gamma)).reshape(freq_hz.shape)
