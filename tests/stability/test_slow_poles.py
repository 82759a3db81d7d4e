"""Counts of poles slower than the lowest frequency that is simulated."""

import numpy as np
import pytest

from sim.feedline.cable import load_cable
from sim.stability.family import build_table, grid, loads_of
from sim.stability.line_map import judge_lines
from sim.stability.plane import Plane

CABLE = load_cable("rg6-cu")


def slow_output(slow_hz):
    """An output of 20 - 60/(1 + s/w) ohm, by hand: with a load R a pole at s = w (40 - R)/(20 + R)."""

    def plane(freq_hz):
        own = 20 - 60 / (1 + 1j * np.asarray(freq_hz) / slow_hz)
        one = np.ones((1, len(freq_hz)), dtype=complex)
        return Plane(freq_hz, 1 / (1 / own + 1 / 75), one, 0 * one, one[0] / 75, 0, plane)

    return plane


@pytest.mark.parametrize("slow_hz", [0.5, 1.0, 2.0, 3.0, 5.0, 20.0, 300.0])
def test_a_slow_pole_is_counted(slow_hz):
    """One unstable pole on a shorted line, none on others, with any speed of the pole."""
    loads = loads_of((CABLE,), (0.3, 5.0, 40.0), ("open", "short", "matched", "double"))
    freq_hz = grid(10.0, 3e9)
    plane, table = slow_output(slow_hz)(freq_hz), build_table(loads, freq_hz)
    expected = np.array([int(load.end_name == "short") for load in loads])
    found = judge_lines(plane, table)
    assert found.resolved.all()
    assert found.unstable.tolist() == expected.tolist()
