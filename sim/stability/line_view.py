"""A unit's plane as the lines of one group see it, and the points at which their turns are looked at."""

from dataclasses import dataclass

import numpy as np

from sim.stability.family import Group, Table, group_at
from sim.stability.plane import Plane


@dataclass(frozen=True)
class View:
    """The plane behind tees and against cables, at some frequencies: 1 + T = f (1 − a Γ)/(1 − b Γ).

    Attributes
    ----------
    size : ndarray, shape (n_probe, ..., n_freq)
        |f|.
    f, b : complex ndarray, same shape
    a : complex ndarray, shape (..., n_freq)
    endless : complex ndarray, shape (..., n_freq)
        1 + z D on an endless line.
    """

    size: np.ndarray
    f: np.ndarray
    a: np.ndarray
    b: np.ndarray
    endless: np.ndarray


def view_of(plane: Plane, group: Group) -> View:
    """What lines see.

    Parameters
    ----------
    plane : Plane
    group : Group
        On the plane's frequencies, one or several: its arrays have shape (n_freq,) or (n_group, n_freq).
    """
    x, closed = plane.reference, plane.closed
    inverse, opened = plane.inverse, plane.opened
    n, d = 1 - closed * x, inverse - opened * x
    if group.u0.ndim > 1:
        d, opened = d[:, None], opened[:, None]
    n0, n1 = n * group.u0 + closed * group.v0, n * group.u1 + closed * group.v1
    d0, d1 = d * group.u0 + opened * group.v0, d * group.u1 + opened * group.v1
    f = n0 / d0
    return View(size=np.abs(f), f=f, a=-n1 / n0, b=-d1 / d0, endless=n0 / group.u0)


def view_at(plane: Plane, table: Table, loads: np.ndarray, freq_hz: np.ndarray) -> tuple[View, np.ndarray]:
    """Exact view and reflection of some loads, each at frequencies of its own.

    Parameters
    ----------
    plane : Plane
    table : Table
    loads : int ndarray, shape (n,)
        Ascending, one or more of any group.
    freq_hz : ndarray, shape (n, n_freq)

    Returns
    -------
    view : View
        Its last two axes are those of `freq_hz`.
    gamma : complex ndarray, shape (n, n_freq)
    """
    shape = freq_hz.shape
    ends = np.searchsorted(loads, [group.loads.stop for group in table.groups])
    groups, gammas, start = [], [], 0
    for group, end in zip(table.groups, ends, strict=True):
        if end > start:
            groups.append(group_at(table.loads[group.loads.start], freq_hz[start:end].ravel()))
            gammas.append(table.reflections(loads[start:end], freq_hz[start:end]))
            start = end
    parts = (np.concatenate([vars(g)[name] for g in groups]) for name in ("u0", "u1", "v0", "v1"))
    view = view_of(plane.at(freq_hz.ravel()), Group(slice(0, 0), *parts))
    wide = (len(view.f), *shape)
    return View(
        view.size.reshape(wide), view.f.reshape(wide), view.a.reshape(shape), view.b.reshape(wide),
        view.endless.reshape(shape),
    ), np.concatenate(gammas)  # fmt: skip


@dataclass(frozen=True)
class Runs:
    """Cells of some loads, in the order of load and frequency, and their dense points.

    Attributes
    ----------
    load, cell : int ndarray, shape (n,)
    begin, steps : int ndarray, same shape
        First dense point of each cell, and number of steps to its end.
    """

    load: np.ndarray
    cell: np.ndarray
    begin: np.ndarray
    steps: np.ndarray

    @classmethod
    def of(cls, table: Table, load: np.ndarray, cell: np.ndarray) -> "Runs":
        """Runs of some cells."""
        row = table.row_of[load]
        begin = table.starts[row, cell]
        return cls(load, cell, begin, table.starts[row, cell + 1] - begin)

    def points(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """All dense points, those between neighbouring cells of a load once.

        Returns
        -------
        pair, point : int ndarray
            Place of the cell among all, number of the point.
        ends : int ndarray
            Places of the points at which a cell ends and no other begins.
        """
        last = np.empty(len(self.load), dtype=bool)
        last[-1] = True
        np.not_equal(self.cell[1:], self.cell[:-1] + 1, out=last[:-1])
        last[:-1] |= self.load[1:] != self.load[:-1]
        counts = self.steps + last
        past = np.cumsum(counts)
        pair = np.repeat(np.arange(len(counts)), counts)
        point = np.arange(len(pair)) + (self.begin - past + counts)[pair]
        return pair, point, past[last] - 1


def gamma_of(table: Table, load, cell, point, share):
    """Reflections at dense points, the far end's interpolated inside its cell.

    Parameters
    ----------
    table : Table
    load, cell, point : int ndarray
        Numbers of load, cell and dense point, broadcast.
    share : ndarray
        Place in the cell, 0 to 1.
    """
    end, step = table.ends[load, cell], table.end_steps[load, cell]
    return (end + step * share) * table.turn[point]
