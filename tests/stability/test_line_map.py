"""Margins and verdicts over feedlines against the plain way: every frequency, nothing skipped."""

import numpy as np
import pytest

from sim.constants import T0
from sim.feedline.cable import load_cable
from sim.feedline.ends import WORDS, end_impedance
from sim.feedline.line import chain_matrix, input_impedance
from sim.feedline.route import Route, Section
from sim.feedline.tee import Tee
from sim.stability.family import build_table, grid, loads_of
from sim.stability.line_map import fine_grid, judge_lines
from tests.stability.buffer import Buffer

CABLES = tuple(load_cable(name) for name in ("rg6-cu", "rg58"))
TEE = Tee(220e-6, 5e-12, 5e3, 2.0, 100e-9)
LOW, HIGH = 10.0, 3e9


def table_for(buffer, loads):
    """The table that a scenario would get with this buffer as its nominal unit."""
    return build_table(loads, fine_grid(buffer.plane(grid(LOW, HIGH)), loads, grid(LOW, HIGH)))


def plain(buffer, load, points=200_000):
    """Smallest |1 + T| and unstable poles of one load, on a grid that follows every turn of the line."""
    turn = 1 / (2 * max(load.line.length, 0.1) / 2e8)
    # Beyond 3 GHz of a short line, or 500 turns of a long one, nothing happens any more.
    top = min(HIGH, 500 * turn + 5e8)
    freq = np.union1d(np.geomspace(LOW, HIGH, 6000), np.linspace(1e4, top, points))
    impedance = end_impedance(load.end, load.line.z0, load.line.at_receiver, freq)
    for section in reversed(load.line.sections):
        impedance = input_impedance(chain_matrix(section.cable, section.length, freq, T0), impedance)
    if load.line.at_amplifier:
        impedance = input_impedance(load.line.at_amplifier.amplifier_end(freq), impedance)
    distance = 1 + buffer.loop(freq, impedance)
    steps = np.angle(distance[1:] / distance[:-1])
    # The loop gain has a pole at zero frequency, passed on its right: half a turn more than from -90 degrees to 0.
    turns = np.round((steps.sum() + np.angle(distance[0])) / np.pi)
    assert np.abs(steps).max() < 2.5
    return np.abs(distance).min(), -int(turns)


@pytest.mark.parametrize(("series", "tee"), [(0.5, None), (4.0, TEE), (47.0, TEE)])
def test_against_every_frequency(series, tee):
    """Margins are right within two hundredths and counts of poles exactly, on stable and unstable lines."""
    buffer = Buffer(series=series)
    loads = loads_of(CABLES, (0.3, 0.9, 2.7, 8.0, 31.0, 130.0), WORDS, Route((Section(CABLES[0], 20.0),), tee, tee))
    found = judge_lines(buffer.plane((table := table_for(buffer, loads)).freq_hz), table)
    assert found.resolved.all()
    rng = np.random.default_rng(5)
    for i in rng.choice(len(loads), 12, replace=False):
        margin, unstable = plain(buffer, loads[i])
        what = f"{loads[i].line.name} {loads[i].line.length} m {loads[i].end_name}"
        assert found.margin[i] == pytest.approx(margin, rel=0.02, abs=2e-3), what
        assert found.unstable[i] == unstable, what


def test_a_resistor_before_the_line_makes_it_stable_on_everything():
    """With a series resistor above the largest negative output resistance no load is unstable, and it is said so."""
    for series, holds in ((0.5, False), (47.0, True)):
        buffer = Buffer(series=series)
        loads = loads_of(CABLES, tuple(np.geomspace(0.2, 200, 20)), WORDS)
        table = table_for(buffer, loads)
        found = judge_lines(buffer.plane(table.freq_hz), table)
        assert found.unconditional is holds
        assert found.stable.all() == holds
        lowest = buffer.z_out(np.geomspace(1e4, 2e9, 20_000)).real.min()
        assert found.least_resistance == pytest.approx(lowest, abs=0.2)


def test_the_frequency_of_oscillation_is_told():
    """Where the loop passes around -1 lies near the growing pole that Newton's method finds on the same load."""
    buffer = Buffer(series=0.5)
    loads = loads_of(CABLES, (0.9,), ("open",))
    table = table_for(buffer, loads)
    found = judge_lines(buffer.plane(table.freq_hz), table)
    for i, load in enumerate(loads):
        assert found.unstable[i] == 2
        # A lossless line of the same length and impedance is near enough, and has a closed form off the axis.
        delay = load.line.length / (load.cable.velocity_factor * 299792458.0)

        def distance(s, delay=delay, z0=load.cable.z0):
            z = z0 / np.tanh(s * delay)
            gain = 2 * np.pi * buffer.gbw / s / (1 + s / (2 * np.pi * buffer.second))
            return 1 + gain * (buffer.series + z) / (buffer.r_out + buffer.series + z)

        pole = 2j * np.pi * found.turn_hz[i]
        for _ in range(60):
            slope = (distance(pole * (1 + 1e-6)) - distance(pole)) / (1e-6 * pole)
            pole -= distance(pole) / slope
        assert pole.real > 0
        assert found.turn_hz[i] == pytest.approx(pole.imag / 2 / np.pi, rel=0.2)


def test_the_deepest_of_several_dips_is_found():
    """Where several dips nearly touch zero it is the deepest one, of every frequency, that is told."""
    buffer = Buffer(gbw=397.433e6, second=94.563e6, r_out=68.70, series=2.4253)
    loads = loads_of(CABLES, (2.61,), ("unplugged",))
    found = judge_lines(buffer.plane((table := table_for(buffer, loads)).freq_hz), table)
    [i] = [i for i, load in enumerate(loads) if load.line.length and load.cable is CABLES[1]]
    margin, unstable = plain(buffer, loads[i])
    assert found.margin[i] == pytest.approx(margin, rel=0.02, abs=1e-3)
    assert found.unstable[i] == unstable == 6
