"""The loop of one unit on every feedline: smallest distance from −1, and unstable poles, of each load.

Theory of operation
-------------------
Behind what stands before the line, 1 + T = f (1 − a Γ)/(1 − b Γ) for each probe, with a the reflection that the closed
network shows to the line, b the one that it would show with the probe's loop opened, and f its value on an endless one.

*Margin.* f, a, b and |Γ| change slowly, so the smallest value over all phases of Γ is a bound that no length of line
can hide a resonance from. Where a line turns once while the bound hardly rises, one of its phases attains the bound,
and that is the margin; so it is with most loads. Others are followed wherever the bound lies below what was already
found, with :data:`~sim.stability.family.POINTS_A_TURN` points a turn, and a small margin is refined with exact values
(:mod:`sim.stability.line_margin`).

*Poles.* The turns of 1 + z D around zero are those on an endless line plus those of 1 − a Γ. Where |a Γ| < 1 the latter
cannot turn; elsewhere every step of its locus is made small enough to be counted, or the load is unresolved. A network
that is stable with its reference and shows |a| < 1 to every passive termination, which is Re Z_out > 0, is stable on
every passive line.
"""

from dataclasses import dataclass

import numpy as np

from sim.stability.family import Load, Table, group_at, table_of
from sim.stability.line_count import count_poles
from sim.stability.line_margin import margins
from sim.stability.line_view import View, view_of
from sim.stability.plane import Plane

PASSIVE_LOW_HZ, PASSIVE_HIGH_HZ = 1e4, 2e9
"""Range over which the output resistance must be positive for the test of every passive line. [Hz]"""
NOMINAL_STEP, LARGEST_STEP = 0.15, 0.4
"""Change of a reflection, or of the logarithm of f, between neighbours of the grid, above which points are added: for
the grid of a scenario, and for a unit that turns more quickly than the nominal one."""
MOST_ADDED, ROUNDS = 600, 8


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
        From :func:`sim.stability.family.build_table`.

    Returns
    -------
    LineMap

    Notes
    -----
    Where the network turns too quickly for the table's grid, points are added, and the table is made anew for this
    unit.
    """
    view = view_of(plane, table.together)
    finer, table = _fine_enough(plane, table, view)
    if finer is not plane:
        plane, view = finer, view_of(finer, table.together)
    margin, freq_hz = margins(plane, table, view)
    unstable, resolved, turn_hz = count_poles(plane, table, view)
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


def _fine_enough(plane: Plane, table: Table, view: View) -> tuple[Plane, Table]:
    # What turns is the network, so it shows against any of the cables.
    first = View(view.size[:, 0], view.f[:, 0], view.a[0], view.b[:, 0], view.endless[0])
    if not _steps(first, LARGEST_STEP).any():
        return plane, table
    freq_hz = fine_grid(plane, table.loads, table.freq_hz, LARGEST_STEP)
    # Units that turn alike get the same points.
    return plane.further(freq_hz), table_of(table.loads, tuple(freq_hz.tolist()))


def _steps(view: View, step: float) -> np.ndarray:
    """Cells in which something turns too far."""
    both = np.concatenate([view.a[None], view.b])
    wide = np.abs(both[:, 1:] - both[:, :-1]) > step * (1 + np.abs(both[:, 1:]))
    # Far from −1 the loop may turn as it likes. A logarithm of this size takes a change of at least that.
    low, high, size = view.f[:, :-1], view.f[:, 1:], view.size
    far = np.abs(high - low) > (1 - np.exp(-step)) * size[:, :-1]
    far &= np.minimum(size[:, 1:], size[:, :-1]) < 3
    far[far] = np.abs(np.log(high[far] / low[far])) > step
    return wide.any(axis=0) | far.any(axis=0)
