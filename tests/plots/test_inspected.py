"""Pictures of an inspected unit: legible, and showing what they say."""

import datetime
import itertools

import numpy as np
import pytest

from sim.diagnosis.bench import BenchSetup
from sim.inspection.cloud import Cloud
from sim.inspection.drift import Change, Drift
from sim.inspection.ready import Ready
from sim.inspection.verdict import inspect
from sim.measured.sweep import Sweep
from sim.plots import style
from sim.plots.drifted import drifted
from sim.plots.inspected import inspected
from tests.plots.test_legible import boxes

FREQ_HZ = np.geomspace(0.5e6, 10e6, 40)


def _clear(figure) -> None:
    """No text upon another or off the sheet."""
    found, sheet = boxes(figure)
    for text, box in found:
        assert box.x0 >= sheet.x0 - 1 and box.x1 <= sheet.x1 + 1, text
        assert box.y0 >= sheet.y0 - 1 and box.y1 <= sheet.y1 + 1, text
    for (a, first), (b, second) in itertools.combinations(found, 2):
        wide = min(first.x1, second.x1) - max(first.x0, second.x0)
        high = min(first.y1, second.y1) - max(first.y0, second.y0)
        assert wide < 2 or high < 8, (a, b)


def _cloud() -> Cloud:
    rng = np.random.default_rng(2)
    gain = 3 * np.exp(rng.normal(0, 0.01, (200, 1)) + 1j * rng.normal(0, 0.01, (200, 1)) * FREQ_HZ / 1e6)
    nothing = np.zeros(40, dtype=complex)
    nominal = np.full(40, 3 + 0j)
    return Cloud(BenchSetup(), FREQ_HZ, nominal, nothing, gain, np.zeros_like(gain), 0, (), np.empty((0, 40)))


@pytest.mark.parametrize("level", [1.0, 1.002, 0.7, 1e-3])
@pytest.mark.parametrize("bands", [(1.83e6, 3.53e6, 7.05e6), (1.8e6, 1.9e6, 2.0e6, 9.9e6)])
def test_sweep_over_the_mask(level, bands):
    """Labels stay apart for good and bad units; the deviation and the worst place are drawn where they are."""
    cloud = _cloud()
    found = inspect(cloud, Ready(Sweep("x", "x", FREQ_HZ, cloud.nominal * level, None), None, None), bands)
    with style.drawing():
        figure = inspected(found, cloud, bands)
        _clear(figure)
    gain, _, together = figure.axes
    (sweep,) = (line for line in gain.lines if line.get_marker() == "o")
    np.testing.assert_allclose(sweep.get_ydata(), 20 * np.log10(level), atol=0.01)
    ring = together.lines[-1]
    assert ring.get_xdata()[0] == found.worst.freq_hz
    assert ring.get_ydata()[0] == pytest.approx(found.worst.distance / found.worst.allowed)


@pytest.mark.parametrize("years", [0, 1, 12])
@pytest.mark.parametrize("size", [0.01, 9.0])
def test_years(years, size):
    """One line a band from zero on, dates below, the same day's sweeps in their order."""
    bands, first = (1.83e6, 3.53e6, 7.05e6), datetime.date(2026, 11, 25)
    last = first.replace(year=first.year + years)
    rows = [(first, 0.0), (last, size), (last, size / 2)]
    changes = tuple(Change(date, bands, (x,) * 3, (-x,) * 3) for date, x in rows)
    with style.drawing():
        figure = drifted(Drift(first, changes, 0.11, 0.7, False))
        _clear(figure)
    lines = [line for line in figure.axes[0].lines if len(line.get_xdata()) == 3]
    assert len(lines) == 3
    for line in lines:
        np.testing.assert_allclose(line.get_ydata(), [0, size, size / 2])
