"""What settles a feedline's margin without following it: bounds, kinds of loads, whole turns."""

import numpy as np
import pytest

from sim.feedline.cable import load_cable
from sim.feedline.ends import WORDS
from sim.feedline.route import Route, Section
from sim.stability.family import build_table, grid, loads_of
from sim.stability.kinds import WINDOW_CELLS, WINDOW_TURNS, cut_at
from sim.stability.line_margin import _bounds
from sim.stability.line_view import Runs, view_of
from tests.stability.buffer import Buffer

CABLES = tuple(load_cable(name) for name in ("rg6-cu", "rg58"))
LENGTHS = (0.3, 2.7, 31.0, 130.0)


def table():
    """Two cables, and a line of two sections that begins with the first of them."""
    own = Route((Section(CABLES[0], 12.0), Section(CABLES[1], 7.0)), None, None)
    return build_table(loads_of(CABLES, LENGTHS, WORDS, own), grid(10.0, 3e9))


@pytest.mark.parametrize("series", [0.5, 47.0])
def test_a_bound_is_the_least_of_all_phases(series):
    """It is the smallest |1 + T| over the phases of a reflection, whether Z_out has a positive or a negative part."""
    loads = table()
    view = view_of(Buffer(series=series).plane(loads.freq_hz), loads.together)
    bound, cut = _bounds(loads, view, 0)
    kinds, phases = loads.kinds, np.exp(1j * np.linspace(0, 2 * np.pi, 4001))
    signs = set()
    for kind in np.random.default_rng(3).choice(np.nonzero(kinds.known)[0], 12, replace=False):
        group = kinds.view_of[kind]
        for column in range(0, bound.shape[1], 7):
            place = cut.start + column
            gamma = float(kinds.radius[kind, place]) * phases
            f, a, b = view.f[0, group, place], view.a[group, place], view.b[0, group, place]
            least = np.abs(f * (1 - a * gamma) / (1 - b * gamma)).min()
            if least < 30:
                assert abs(bound[kind, column]) == pytest.approx(least, rel=2e-3, abs=2e-3 * abs(f))
                signs.add(bool(bound[kind, column] < 0))
    assert signs == ({True, False} if series < 1 else {False})


def test_what_is_left_out_below_is_far_from_the_margin():
    """No load comes within its margin at a frequency below the first that is looked at."""
    loads = table()
    plane = Buffer(series=47.0).plane(loads.freq_hz)
    view = view_of(plane, loads.together)
    _, cut = _bounds(loads, view, 0)
    assert cut.start > 0
    group = loads.view_of
    distance = np.abs(view.f[0][group] * (1 - view.a[group] * loads.on_grid) / (1 - view.b[0][group] * loads.on_grid))
    assert (distance[:, : cut.start].min(axis=1) > distance[:, cut.start :].min(axis=1)).all()


def test_kinds_hold_what_no_bound_tells_apart():
    """Open and unplugged ends of one line are one kind, other ends and lines others; sections are never known."""
    loads = table()
    kinds = loads.kinds
    by_kind = {}
    for load, kind in zip(loads.loads, kinds.of, strict=True):
        by_kind.setdefault(kind, set()).add((load.line.name, load.line.length, load.end_name))
    names = [{name for *_, name in own} for own in by_kind.values()]
    assert {"open", "unplugged"} in names and {"short"} in names and {"matched"} in names
    lines = [{own[:2] for own in members} for members in by_kind.values()]
    assert all(len(own) == 1 for own in lines)
    assert (kinds.radius[kinds.of] >= loads.radius).all()
    assert np.abs(kinds.radius[kinds.of] - loads.radius).max() < 2e-3
    assert not kinds.known[kinds.of[loads.several]].any() and kinds.known[kinds.of[~loads.several]].all()
    # The line of sections begins with the first cable: it sees the amplifier as that one's loads do.
    assert set(kinds.view_of[kinds.of[loads.several]]) == {0}


def test_windows_hold_a_whole_turn():
    """Between both places a line turns once and more, in few cells; where it cannot there is no window."""
    loads = table()
    kinds, cut = loads.kinds, cut_at(loads.kinds, 40)
    first = np.array([np.nonzero(kinds.of == kind)[0][0] for kind in range(len(kinds.radius))])
    phase = loads.phase[loads.row_of[first]]
    rows, columns = np.nonzero(~cut.none)
    assert len(rows) > 100
    width = cut.radius.shape[1]
    left, right = cut.left[rows, columns], cut.right[rows, columns]
    assert (left // width == rows).all() and (right // width == rows).all()
    left, right = left % width + 40, right % width + 40
    assert (left <= columns + 40).all() and (columns + 40 <= right).all()
    assert (right - left <= WINDOW_CELLS).all()
    assert (phase[rows, right] - phase[rows, left] >= WINDOW_TURNS - 1e-9).all()
    assert cut.none[kinds.of[loads.several]].all()


def test_points_of_neighbouring_cells_come_once():
    """A run of cells has the points of each and one more at its end: every other cell begins where one ends."""
    loads = table()
    load = np.array([3, 3, 3, 9])
    cell = np.array([100, 101, 104, 104])
    pair, point, ends = Runs.of(loads, load, cell).points()
    row = loads.row_of[load]
    steps = loads.starts[row, cell + 1] - loads.starts[row, cell]
    assert len(point) == steps.sum() + 3
    assert ends.tolist() == [steps[0] + steps[1], steps[:3].sum() + 1, steps.sum() + 2]
    assert point[0] == loads.starts[row[0], 100] and point[ends[0]] == loads.starts[row[0], 102]
    assert (np.delete(loads.cell[point], ends) == np.delete(cell[pair], ends)).all()
