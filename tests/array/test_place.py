"""Which unit goes where: against the pattern itself, every order tried."""

import itertools

import numpy as np
import pytest

from sim.array import place as module
from sim.array.measured import REAR_AZIMUTHS, REAR_ELEVATIONS, weights_at
from sim.array.pattern import elements, response
from sim.array.place import expected, placed, rear_power, sectors, spares
from sim.study.model import Study
from tests.small_studies import BASE

SQUARE = [[0, 0], [0, 20], [20, 0], [20, 20]]
DIRECTIONS = [
    {"bearing": 45, "weights": [1, -1, -1, 1], "delays": ["94.3n", "47.2n", "47.2n", "0"]},
    {"bearing": 135, "weights": [-1, 1, 1, -1], "delays": ["47.2n", "94.3n", "0", "47.2n"]},
]
BANDS = (1.83e6, 3.53e6)


def _study(**array) -> Study:
    table = {"positions": SQUARE, "direction": DIRECTIONS, **array}
    return Study.model_validate({**BASE, "bands": {"frequencies": list(BANDS)}, "array": table})


def _gains(count: int = 4, seed: int = 2) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return 1 + 0.02 * (rng.normal(size=(count, 2)) + 1j * rng.normal(size=(count, 2)))


def test_rear_power_is_that_of_the_pattern():
    """The quadratic forms give the mean power of the rear sector, by the pattern direction by direction."""
    study, gains = _study(), _gains()
    total = []
    for band, freq_hz in enumerate(BANDS):
        at = elements(SQUARE, freq_hz)
        for direction in study.array.direction:
            weights = weights_at(direction, freq_hz) * gains[:, band]
            bearing, elevation = np.deg2rad(direction.bearing), np.deg2rad(20)
            power = share = 0.0
            for azimuth, up in itertools.product(REAR_AZIMUTHS, REAR_ELEVATIONS):
                power += np.cos(up) * abs(response(at, weights, bearing + np.pi + azimuth, up)) ** 2
                share += np.cos(up)
            total.append(power / share / abs(response(at, weights, bearing, elevation)) ** 2)
    assert rear_power(sectors(study.array, BANDS), gains) == pytest.approx(np.mean(total), rel=1e-9)


def test_best_order(monkeypatch):
    """Of all 24 orders none leaves less; swaps find the same."""
    every, gains = sectors(_study().array, BANDS), _gains()
    order, exact = placed(every, gains)
    best = min(rear_power(every, gains[list(one)]) for one in itertools.permutations(range(4)))
    assert exact and rear_power(every, gains[list(order)]) == pytest.approx(best, rel=1e-12)
    monkeypatch.setattr(module, "MOST_ORDERS", 1)
    order, exact = placed(every, gains)
    assert not exact and rear_power(every, gains[list(order)]) == pytest.approx(best, rel=1e-9)


def test_best_spare_for_each_place():
    """The one that leaves least behind in that place."""
    every, gains = sectors(_study().array, BANDS), _gains(6)
    found = spares(every, gains, [0, 1, 2, 3], [4, 5])
    for place, (unit, power) in enumerate(found):
        tried = {}
        for other in (4, 5):
            order = [0, 1, 2, 3]
            order[place] = other
            tried[other] = float(rear_power(every, gains[order]))
        assert (unit, power) == (min(tried, key=tried.get), pytest.approx(min(tried.values())))


def test_what_is_expected():
    """Perfect units and nothing drawn: the pattern's own null; a spread of antennas makes it shallower."""
    perfect = np.ones((4, 2), dtype=complex)
    for entry in expected(_study(), perfect, np.zeros(2), 0.0):
        assert entry.p05_db == pytest.approx(entry.nominal_db) == entry.measured_db
    drawn = expected(_study(antenna_tolerance="3 %"), perfect, np.zeros(2), 0.0)
    assert all(entry.p05_db < entry.p50_db < entry.nominal_db for entry in drawn)
    again = expected(_study(), perfect, np.zeros(2), 0.02)
    assert all(entry.p05_db < entry.nominal_db - 10 for entry in again)
