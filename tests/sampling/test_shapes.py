"""Quantile functions against closed forms and against an independent implementation."""

import numpy as np
import pytest
from scipy import stats

from sim.sampling.shapes import lognormal, truncated_normal, uniform

U = (np.arange(20_001) + 0.5) / 20_001


def test_uniform():
    """The ends are where u is 0 and 1, and the standard deviation is (high − low)/√12."""
    assert uniform([0, 0.25, 1], -0.2, 0.8) == pytest.approx([-0.2, 0.05, 0.8])
    assert np.std(uniform(U, -1, 1)) == pytest.approx(0.57735, abs=1e-5)  # 1/√3


@pytest.mark.parametrize(
    ("sigmas", "sd"),
    [(2, 0.439813), (3, 0.328859)],  # closed form: sd² = σ² (1 − 2 a φ(a)/(2 Φ(a) − 1)), a in sigmas; own computation
)
def test_truncated_normal_spread(sigmas, sd):
    """The standard deviation against the tolerance is the closed form's."""
    assert np.std(truncated_normal(U, -1, 1, 1 / sigmas)) == pytest.approx(sd, abs=2e-4)


@pytest.mark.parametrize(("low", "high", "sigma"), [(-1, 1, 0.5), (-17, 3, 1), (-3, 17, 1), (0.5, 0.7, 0.1)])
def test_truncated_normal_agrees_with_scipy(low, high, sigma):
    """Every quantile is that of scipy's truncated normal, also where the cut leaves only a tail."""
    expected = stats.truncnorm.ppf(U[::50], low / sigma, high / sigma, scale=sigma)
    np.testing.assert_allclose(truncated_normal(U[::50], low, high, sigma), expected, rtol=1e-6, atol=1e-9)


def test_truncated_normal_of_ends_for_each_value():
    """Ends may differ from value to value, and each value keeps its own."""
    low, high = np.linspace(-1, 0, 7), np.linspace(0, 1, 7)
    for u in (1e-16, 0.5, 1 - 1e-16):
        found = truncated_normal(np.full(7, u), low, high, 0.3)
        assert np.all((found >= low) & (found <= high))


def test_nothing_to_spread():
    """Without room, or without sigma, the one value that is left comes back, and no NaN."""
    assert truncated_normal([0.1, 0.9], 0.0, 0.0, 0.0).tolist() == [0.0, 0.0]
    assert truncated_normal([0.1, 0.9], 0.2, 0.2, 0.1).tolist() == [0.2, 0.2]
    assert truncated_normal([0.1, 0.9], -1.0, 1.0, 0.0).tolist() == [0.0, 0.0]


def test_lognormal():
    """The median is 1, the logarithm has its sigma less the cut, and nothing lies beyond three of them."""
    found = np.log(lognormal(U, 0.1))
    assert np.median(found) == pytest.approx(0, abs=1e-12)
    assert np.std(found) == pytest.approx(0.3 * 0.328859, abs=1e-4)  # cut at three sigma, as above
    assert np.abs(found).max() <= 0.3
