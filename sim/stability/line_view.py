"""A unit's plane as the lines of one group see it, and the points at which their turns are looked at."""

from dataclasses import dataclass

import numpy as np

from sim.stability.family import Table
from sim.stability.plane import Plane

ROOM = 0.5
"""A bound may fall inside a cell by this share of its change across it. [1]"""


@dataclass(frozen=True)
class View:
    """The plane behind one group's tee and against its cable, at some frequencies: 1 + T = f (1 − a Γ)/(1 − b Γ).

    Attributes
    ----------
    size : ndarray, shape (n_probe, n_freq)
        |f|.
    f, b : complex ndarray, same shape
    a : complex ndarray, shape (n_freq,)
    endless : complex ndarray, shape (n_freq,)
        1 + z D on an endless line.
    """

    size: np.ndarray
    f: np.ndarray
    a: np.ndarray
    b: np.ndarray
    endless: np.ndarray


def view_of(plane: Plane, group) -> View:
    """What a group's lines see.

    Parameters
    ----------
    plane : Plane
    group : Group
        On the plane's frequencies.
    """
    x = plane.reference
    closed, inverse, opened = plane.closed, plane.inverse, plane.opened
    n0 = (1 - closed * x) * group.u0 + closed * group.v0
    n1 = (1 - closed * x) * group.u1 + closed * group.v1
    d0 = (inverse - opened * x) * group.u0 + opened * group.v0
    d1 = (inverse - opened * x) * group.u1 + opened * group.v1
    f = n0 / d0
    return View(size=np.abs(f), f=f, a=-n1 / n0, b=-d1 / d0, endless=n0 / group.u0)


def points_of(table: Table, loads: np.ndarray, cells: np.ndarray):
    """Dense points of some cells.

    Parameters
    ----------
    table : Table
    loads, cells : int ndarray, shape (n,)

    Returns
    -------
    pair, point : int ndarray
        Place of the cell among those given, number of the point.
    last : bool ndarray
        Whether it is the cell's end.
    """
    begin = table.starts[table.row_of[loads], cells]
    counts = table.starts[table.row_of[loads], cells + 1] - begin + 1
    first = np.cumsum(counts) - counts
    pair = np.repeat(np.arange(len(loads)), counts)
    point = begin[pair] + np.arange(len(pair)) - first[pair]
    last = np.zeros(len(pair), dtype=bool)
    last[first + counts - 1] = True
    return pair, point, last


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
    end = table.ends[load, cell]
    return (end + (table.ends[load, cell + 1] - end) * share) * table.turn[point]
