"""The likelihood of one hypothesis, against the textbook's normal distribution and invented sweeps."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from sim.diagnosis.bench import BenchSetup
from sim.diagnosis.fit import Hypothesis, difference, distance, fit, good_test, noise_of

FREQ_HZ = np.geomspace(5e5, 1e7, 12)


def _hypothesis(rng, size=0.02, columns=4) -> Hypothesis:
    gain = 2 / (1 + 1j * FREQ_HZ / 3e6)
    return Hypothesis(gain, size * (rng.normal(size=(columns, 12)) + 1j * rng.normal(size=(columns, 12))))


def _drawn(own: Hypothesis, bench: BenchSetup, rng) -> np.ndarray:
    noise = noise_of(own.gain, bench) * rng.normal(size=24)
    moved = rng.normal(size=len(own.columns)) @ own.columns
    return own.gain * np.exp(moved + noise[:12] + 1j * noise[12:])


def test_likelihood_is_that_of_the_normal_distribution():
    """With all variables integrated out, ln L differs from the density with the full covariance by a constant."""
    rng, bench = np.random.default_rng(1), BenchSetup()
    own = _hypothesis(rng)
    stacked = np.concatenate([own.columns.real, own.columns.imag], axis=1).T
    covariance = stacked @ stacked.T + np.diag(noise_of(own.gain, bench) ** 2)
    normal = multivariate_normal(np.zeros(24), covariance)
    for _ in range(5):
        observed = _drawn(own, bench, rng)
        known = normal.logpdf(difference(observed, own.gain, bench)) + 12 * np.log(2 * np.pi)
        assert fit(observed, own, bench).likelihood == pytest.approx(known, abs=1e-4)


def test_most_likely_values_are_found():
    """Where the columns say more than the noise, the values that made a sweep come back."""
    rng, bench = np.random.default_rng(2), BenchSetup()
    own = _hypothesis(rng, size=0.2)
    z = np.array([1.0, -0.5, 0.2, 2.0])
    assert fit(own.gain * np.exp(z @ own.columns), own, bench).z == pytest.approx(z, abs=0.02)


def test_good_units_are_refused_as_often_as_asked():
    """Sweeps drawn from the hypothesis fail its test in the share that was asked for, here 20 %."""
    rng, bench = np.random.default_rng(3), BenchSetup()
    own = _hypothesis(rng)
    refused = np.mean([not good_test(fit(_drawn(own, bench, rng), own, bench), 0.2).passed for _ in range(1000)])
    # Two tests of 10 % each, independent: 19 %, with 1.2 % standard deviation of the count.
    assert refused == pytest.approx(0.19, abs=0.04)


def test_what_no_tolerance_makes_is_refused():
    """A bump at one frequency is no tolerance, and a part six standard deviations off is none either."""
    rng, bench = np.random.default_rng(4), BenchSetup()
    own = _hypothesis(rng, columns=2)
    bump = own.gain.copy()
    bump[5] *= 1.06
    assert good_test(fit(own.gain, own, bench)).passed
    assert not good_test(fit(bump, own, bench)).passed
    assert not good_test(fit(own.gain * np.exp(6 * own.columns[0]), own, bench)).passed


def test_near_the_floor_nothing_is_told():
    """Far below the floor of the bench any two hypotheses are the same, far above it they are not."""
    bench, none = BenchSetup(floor_db=-80), np.zeros((1, 12), dtype=complex)
    low = [Hypothesis(np.full(12, level, dtype=complex), none) for level in (1e-7, -1e-8)]
    high = [Hypothesis(np.full(12, level, dtype=complex), none) for level in (1e-2, 2e-2)]
    assert distance(*low, bench) < 3.3 < distance(*high, bench)


def test_distance_is_symmetric_and_follows_the_tolerances():
    """Two hypotheses a column apart are far without that column as a tolerance, and near with it."""
    rng, bench = np.random.default_rng(5), BenchSetup()
    own = _hypothesis(rng, columns=1)
    moved = Hypothesis(own.gain * np.exp(own.columns[0]), own.columns)
    stiff = [Hypothesis(one.gain, one.columns * 0) for one in (own, moved)]
    assert distance(own, moved, bench) == pytest.approx(distance(moved, own, bench), rel=1e-6)
    assert distance(own, moved, bench) < 1.1 < 10 < distance(*stiff, bench)
