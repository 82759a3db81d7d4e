"""Which units belong together: against exhaustive search, published examples and bounds."""

import itertools

import numpy as np
import pytest

from sim.array import choose as module
from sim.array.choose import choose, replaced, score
from tests.checks import Against, Standing

# Eight units at one frequency; best sets and scores: exhaustive search by other code.
AGAINST = Against("choosing units", "exhaustive search by other code", Standing.OTHER_CODE)
EIGHT = 10 ** (np.array([0.0, 0.12, -0.08, 0.05, 0.31, -0.22, 0.1, -0.03]) / 20) * np.exp(
    1j * np.deg2rad([0.0, 0.8, -0.5, 0.3, 1.9, 0.2, -1.1, 0.4])
)


def _random(count: int, n_freq: int = 3, seed: int = 1) -> np.ndarray:
    rng = np.random.default_rng(seed)
    common = 3 * np.exp(1j * rng.normal(size=n_freq))
    return common * (1 + 0.01 * (rng.normal(size=(count, n_freq)) + 1j * rng.normal(size=(count, n_freq))))


@pytest.mark.parametrize(("pick", "units", "value"), [(3, (1, 4, 8), 0.0048203), (4, (1, 3, 4, 8), 0.00816433)])
def test_eight_units(check, pick, units, value):
    """Set and score are those of other code."""
    found = choose(EIGHT[:, None], pick)
    assert tuple(unit + 1 for unit in found.sets[0]) == units
    assert found.exact
    check("spread of the best set", found.scores[0], value, abs=1e-7)


# Ten gains in dB; smallest ranges by exhaustive search, and by sorting: the best are consecutive (exchange argument).
TEN = np.array([12.03, 11.87, 12.21, 12.1, 11.95, 12.4, 12.08, 12.15, 11.7, 12.12])


@pytest.mark.parametrize(("pick", "width"), [(4, 0.07), (6, 0.18)])
def test_gains_alone(check, pick, width):
    """With real gains the chosen units are neighbours in order of gain, and span no more than the best range."""
    members = list(choose(10 ** (TEN / 20)[:, None].astype(complex), pick).sets[0])
    check("range of the best set", np.ptp(TEN[members]), width, abs=1e-9, unit="dB")
    rank = np.argsort(np.argsort(TEN))[members]
    assert np.ptp(rank) == pick - 1


@pytest.mark.parametrize("seed", range(6))
def test_heuristic_against_exhaustive_search(seed, monkeypatch):
    """Without trying all sets the result is at most a tenth worse than the best, and the bound is below the best."""
    gains = _random(11, seed=seed)
    sure = choose(gains, 4)
    brute = min(score(gains[list(one)]) for one in itertools.combinations(range(11), 4))
    assert sure.scores[0] == pytest.approx(brute, rel=1e-9)
    monkeypatch.setattr(module, "MOST_SETS", 10)
    found = choose(gains, 4)
    assert not found.exact and found.bound <= brute <= found.scores[0] * (1 + 1e-9)
    assert found.scores[0] <= 1.1 * brute


@pytest.mark.parametrize("seed", range(3))
def test_two_sets_together(seed):
    """Two sets of three out of eight: the least sum of squares of all ways, no unit twice."""
    gains = _random(8, seed=seed)
    found = choose(gains, 3, sets=2)
    ways = [
        (a, b)
        for a in itertools.combinations(range(8), 3)
        for b in itertools.combinations(sorted(set(range(8)) - set(a)), 3)
        if a < b
    ]
    best = min(sum(score(gains[list(one)]) ** 2 for one in way) for way in ways)
    assert len(set(found.sets[0]) | set(found.sets[1])) == 6
    assert sum(value**2 for value in found.scores) == pytest.approx(best, rel=1e-9)


def test_common_gain_and_delay_count_nothing():
    """Twice the gain and a metre of cable on all units change neither set nor score."""
    gains = _random(9)
    turned = 2 * gains * np.exp(-1j * np.array([0.3, 0.6, 1.2]))
    assert choose(gains, 4).sets == choose(turned, 4).sets
    assert choose(gains, 4).scores == pytest.approx(choose(turned, 4).scores)


def test_tenth_of_a_decibel_is_as_bad_as_two_thirds_of_a_degree():
    """Gain and phase count as the same relative error."""
    gain = score(np.array([[1.0], [10 ** (0.1 / 20)]]))
    phase = score(np.array([[1.0], [np.exp(1j * np.deg2rad(0.66))]]))
    assert gain == pytest.approx(phase, rel=0.01)


def test_ties_go_to_the_set_with_spares():
    """Of two pairs that differ by less than the repeatability the one with a near spare is taken."""
    gains = np.array([1.0, 1.001, 1.5, 1.5011, 1.502, 1.503])[:, None].astype(complex)
    assert choose(gains, 2).sets[0] in ((2, 3), (3, 4))
    alone = np.array([1.0, 1.0, 1.5, 1.5011, 1.502])[:, None].astype(complex)
    assert choose(alone, 2).sets == ((0, 1),)
    assert choose(alone, 2, repeatability=0.002).sets[0] in ((2, 3), (3, 4), (2, 4))


def test_best_spare():
    """The unit that leaves the least score in each one's place."""
    gains = np.array([1.0, 1.01, 1.02, 2.0])[:, None].astype(complex)
    assert [spare for spare, _ in replaced(gains, [0, 1], [2, 3])] == [2, 2]
    assert replaced(gains, [0, 1], []) == []
    with pytest.raises(ValueError, match="not so many"):
        choose(gains, 3, sets=2)
