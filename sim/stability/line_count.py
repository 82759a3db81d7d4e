"""Unstable poles of one unit on every feedline, by turns of 1 + z D: see :mod:`sim.stability.line_map`."""

import numpy as np

from sim.stability.family import ROOM, Table, exact_reflection, group_at
from sim.stability.line_view import Runs, View, gamma_of, view_at, view_of
from sim.stability.plane import Plane

COUNT_TURN = np.deg2rad(60.0)
"""Largest turn of 1 − a Γ between neighbours that is believed; larger ones are divided. [rad]"""
COUNT_ROUNDS = 8
SURE = 1e-5
"""Room for the digits of a radius. [1]"""
START_TURN = 0.08
"""How far from the real axis a count may begin. [rad]"""
SLOWEST_HZ, SLOW_POINTS = 0.01, 61
"""Where it does not, it is begun again from here, a decade below where poles are looked for, with so many points."""


def count_poles(plane: Plane, table: Table, view: View) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """How many poles are unstable with each load.

    Parameters
    ----------
    plane : Plane
    table : Table
    view : View
        Of what stands before the table's lines.

    Returns
    -------
    unstable : int ndarray, shape (n_load,)
    resolved : bool ndarray, same shape
        Whether the count is sure.
    turn_hz : ndarray, same shape
        Highest frequency at which the locus turns the unstable way; NaN for none. [Hz]
    """
    start, resolved = _starts(plane, table, view)
    end, sure = _half_turns(view.endless)
    turns, turn_hz = end[table.view_of] - start, np.full(len(table.loads), np.nan)
    resolved &= sure[table.view_of]
    load, cell = _open_cells(table, view)
    if len(load):
        crossings, sure, turn_hz = _crossings(plane, table, view, load, cell)
        turns += 2 * crossings
        resolved &= sure
        # Where 1 − a Γ ends on the negative axis, it is half a turn further than the crossings say.
        ends = 1 - view.a[table.view_of, -1] * table.endings
        turns += np.where(ends.real < 0, np.sign(ends.imag), 0).astype(int)
    return plane.unstable - turns, resolved, turn_hz


def _open_cells(table: Table, view: View) -> tuple[np.ndarray, np.ndarray]:
    """Loads and cells in which |a Γ| may reach one."""
    kinds, size = table.kinds, np.abs(view.a)
    # No load's reflection is larger than the group's largest.
    ends, inside = table.most_in_cells
    reach = np.maximum(size[:, 1:], size[:, :-1]) * inside + ROOM * np.abs(size[:, 1:] - size[:, :-1]) * ends
    near = np.nonzero((reach >= 1 - SURE).any(axis=0))[0]
    if not len(near):
        return near, near
    size = size.astype(np.float32)
    left, right = (size[:, at][kinds.view_of] * kinds.radius[:, at] for at in (near, near + 1))
    step = np.abs(right - left)
    step *= np.float32(ROOM)
    step += np.maximum(left, right)
    if step.max() < 1:
        return near[:0], near[:0]
    load, place = np.nonzero((step >= 1)[kinds.of])
    return load, near[place]


def _half_turns(locus: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Half turns from the positive real axis to the end of each locus, and whether its steps are small."""
    steps = np.angle(locus[:, 1:] / locus[:, :-1])
    turns = np.round((np.angle(locus[:, 0]) + steps.sum(axis=1)) / np.pi).astype(int)
    return turns, np.abs(steps).max(axis=1) < np.pi / 2


def _starts(plane: Plane, table: Table, view: View) -> tuple[np.ndarray, np.ndarray]:
    """Half turns at which each load's 1 + z D leaves the real axis, and whether that is sure.

    The network is real: where its determinant goes as c s^m, m being its slope, c is real, and a quarter circle from
    the real axis to the imaginary one adds m right angles. An unplugged output behind a capacitor has m = 1, a lossy
    line that ends in its own impedance m = 1/2. What is not real with that is the turn of something slower.
    """
    endless, of = view.endless[:, :2], table.view_of
    returned = 1 - view.a[:, :2][of] * table.beginnings
    # The sum of both angles, and not that of their product: the turns of both are counted from there.
    apart = np.angle(endless[:, 0])[of] + np.angle(returned[:, 0])
    growth = _growth(endless)[of] + _growth(returned)
    half, sure = _to_axis(apart, growth / np.log(table.freq_hz[1] / table.freq_hz[0]))
    if sure.all():
        return half, sure
    freq_hz = np.geomspace(table.freq_hz[0], SLOWEST_HZ, SLOW_POINTS)
    slower, unsure = plane.at(freq_hz), np.nonzero(~sure)[0]
    numbers, firsts = np.unique(table.view_of[unsure], return_index=True)
    slow = {number: view_of(slower, group_at(table.loads[row], freq_hz)) for number, row in
            zip(numbers, unsure[firsts], strict=True)}  # fmt: skip
    for row in unsure:
        below_view = slow[table.view_of[row]]
        below = below_view.endless * (1 - below_view.a * exact_reflection(table.loads[row], freq_hz))
        steps = np.angle(below[1:] / below[:-1])
        angle = apart[row] + steps.sum()
        growth = _growth(below[None, :-3:-1])
        found = _to_axis(np.array([angle]), growth / np.log(freq_hz[-2] / freq_hz[-1]))
        half[row], sure[row] = found[0][0], found[1][0] and np.abs(steps).max() < COUNT_TURN
    return half, sure


def _growth(value: np.ndarray) -> np.ndarray:
    """Logarithm of the second value's size over the first's, of each row."""
    square = value.real**2 + value.imag**2
    return np.log(square[:, 1] / square[:, 0]) / 2


def _to_axis(angle: np.ndarray, power: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Half turns nearest to an angle less that of its power of s, and whether they are near."""
    turns = angle / np.pi - power / 2
    half = np.round(turns)
    return half.astype(int), np.abs(turns - half) * np.pi < START_TURN


def _crossings(plane, table, view, load, cell):
    """How often 1 − a Γ of each load crosses the negative real axis in some cells, counter-clockwise positive.

    Also whether that is sure, and the highest frequency at which it does so clockwise. [Hz]
    """
    n_load = len(table.loads)
    pair, point, ends = Runs.of(table, load, cell).points()
    share, freq_hz = table.share[point], table.dense_hz[point]
    share[ends], freq_hz[ends] = 1.0, table.freq_hz[cell[pair[ends]] + 1]
    of_load, of_cell = load[pair], cell[pair]
    group = table.view_of[of_load]
    a = view.a[group, of_cell] + (view.a[group, of_cell + 1] - view.a[group, of_cell]) * share
    locus = 1 - a * gamma_of(table, of_load, of_cell, point, share)
    step = np.delete(np.arange(len(point)), ends)
    owner, low, high = of_load[step], locus[step], locus[step + 1]
    low_hz, high_hz = freq_hz[step], freq_hz[step + 1]
    # A sum of small steps less the difference of principal values is a whole number of turns.
    found = -(np.bincount(owner, np.angle(high) - np.angle(low), n_load))
    passed_hz = np.full(n_load, np.nan)
    for _ in range(COUNT_ROUNDS):
        turn = np.angle(high / low)
        size = np.abs(high / low)
        wide = (np.abs(turn) > COUNT_TURN) | (size > 4) | (size < 0.25)
        found += np.bincount(owner[~wide], turn[~wide], n_load)
        past = ~wide & (turn < 0) & (np.angle(low) < 0) & (np.angle(high) > 0)
        np.fmax.at(passed_hz, owner[past], np.sqrt(low_hz[past] * high_hz[past]))
        owner, low, high, low_hz, high_hz = (x[wide] for x in (owner, low, high, low_hz, high_hz))
        if not len(owner):
            break
        ends = low_hz[:, None] * (high_hz / low_hz)[:, None] ** (np.arange(5) / 4)
        values = np.column_stack([low, _locus_at(plane, table, owner, ends[:, 1:4]), high])
        owner = np.repeat(owner, 4)
        low, high = values[:, :-1].ravel(), values[:, 1:].ravel()
        low_hz, high_hz = ends[:, :-1].ravel(), ends[:, 1:].ravel()
    resolved = np.ones(n_load, dtype=bool)
    found += np.bincount(owner, np.angle(high / low), n_load)
    resolved[owner] = False
    return np.round(found / (2 * np.pi)).astype(int), resolved, passed_hz


def _locus_at(plane, table, owner, freq_hz):
    """1 − a Γ at exact frequencies, one row a step."""
    view, gamma = view_at(plane, table, owner, freq_hz)
    return 1 - view.a * gamma
