"""Loads that no bound can tell apart, and between which places on the grid a line turns once."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

WINDOW_TURNS, WINDOW_CELLS = 1.25, 8
"""Turns of a line's reflection within which one of its phases brings the loop next to −1. [1] In so many cells, or
fewer, what is before the line turns by less than what is more than one turn."""
SAME_RADIUS = 2e-3
"""Reflections whose size differs by less everywhere are bounded together. [1]"""
BEGIN_AT = 4
"""Cuts begin at multiples of this place, so that few are made."""


@dataclass(frozen=True, eq=False)
class Kinds:
    """Loads of which all is the same but the phase of the far end: open and unplugged ends of one line.

    Attributes
    ----------
    of : int ndarray, shape (n_load,)
        Kind of each load.
    view_of : int ndarray, shape (n_kind,)
        Number of what stands before the lines of each kind.
    views : tuple of slice
        Kinds behind each of these.
    radius : float32 ndarray, shape (n_kind, n_freq)
        Bound of |Γ|. [1]
    known : bool ndarray, shape (n_kind,)
        Whether |Γ| is as large as its bound.
    left, right : int ndarray, shape (n_kind, n_freq)
        Places on the grid between which the reflection turns once and more around each place; −1 in both where they
        would be too far apart, or |Γ| is not known.
    """

    of: np.ndarray
    view_of: np.ndarray
    views: tuple[slice, ...]
    radius: np.ndarray
    known: np.ndarray
    left: np.ndarray
    right: np.ndarray


@dataclass(frozen=True)
class Cut:
    """The kinds from one place on the grid.

    Attributes
    ----------
    start : int
        The place.
    radius, square : float32 ndarray, shape (n_kind, n_freq − start)
        Bound of |Γ|, and its square. [1]
    left, right : int ndarray, same shape
        Places between which the reflection turns once and more, as indices into an array of this shape laid flat.
    none : bool ndarray, same shape
        Where there are no such places.
    """

    start: int
    radius: np.ndarray
    square: np.ndarray
    left: np.ndarray
    right: np.ndarray
    none: np.ndarray


@lru_cache(maxsize=8)
def cut_at(kinds: Kinds, start: int) -> Cut:
    """The kinds from a place on the grid that is a multiple of :data:`BEGIN_AT`, kept."""
    radius = np.ascontiguousarray(kinds.radius[:, start:])
    first = np.arange(len(radius))[:, None] * radius.shape[1] - start
    none = kinds.left[:, start:] < start
    left, right = (np.where(none, 0, side[:, start:] + first) for side in (kinds.left, kinds.right))
    return Cut(start, radius, radius * radius, left, right, none)


def find_kinds(radius, views, several, lengths, phase) -> Kinds:
    """Which loads may be bounded together.

    Parameters
    ----------
    radius : float32 ndarray, shape (n_load, n_freq)
    views : int ndarray, shape (n_load,)
        Number of what stands before each load's line.
    several : bool ndarray, shape (n_load,)
        Whether the radius is no more than a bound.
    lengths : ndarray, shape (n_load,)
        [m]
    phase : ndarray, shape (n_load, n_freq)
        Turns of each load's line. [1]
    """
    found: dict[tuple, list[list[int]]] = {}
    for i in np.argsort(views, kind="stable"):
        alike = found.setdefault((views[i], several[i], lengths[i]), [])
        mine = next((own for own in alike if np.abs(radius[own[0]] - radius[i]).max() < SAME_RADIUS), None)
        if mine is None:
            alike.append([i])
        else:
            mine.append(i)
    members = sorted((own for alike in found.values() for own in alike), key=lambda own: (views[own[0]], own[0]))
    of, firsts = np.empty(len(views), dtype=int), [own[0] for own in members]
    for kind, own in enumerate(members):
        of[own] = kind
    view_of = views[firsts]
    ends = np.searchsorted(view_of, np.arange(view_of[-1] + 2)).tolist()
    windows = np.array([_window(phase[i]) if not several[i] else np.full((2, phase.shape[1]), -1) for i in firsts])
    return Kinds(
        of=of,
        view_of=view_of,
        views=tuple(slice(low, high) for low, high in zip(ends[:-1], ends[1:], strict=True)),
        radius=np.array([radius[own].max(axis=0) for own in members]),
        known=~several[firsts],
        left=windows[:, 0],
        right=windows[:, 1],
    )


def _window(phase: np.ndarray) -> np.ndarray:
    """Places left and right of each between which a line turns once and more; −1 where they are too far apart."""
    left = np.searchsorted(phase, phase - WINDOW_TURNS / 2, side="right") - 1
    right = np.searchsorted(phase, phase + WINDOW_TURNS / 2)
    outside = (left < 0) | (right >= len(phase)) | (right - left > WINDOW_CELLS)
    return np.where(outside, -1, [left, right])
