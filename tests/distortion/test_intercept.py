"""Intercept points from levels."""

import math

import pytest

from sim.distortion.estimate import CarrierLevel
from sim.distortion.intercept import intercept_dbm, power_dbm
from sim.distortion.two_tone import TransientProduct

A, B, C = (CarrierLevel(hertz, 0.5, 0.5) for hertz in (5e6, 6e6, 6.7e6))


def test_power():
    """1 V peak in 50 Ω is 10 mW."""
    assert power_dbm(1.0, 50.0) == pytest.approx(10.0)
    assert power_dbm(0.0, 50.0) == -math.inf


def test_two_tones():
    """P + Δ for second and P + Δ/2 for third order, Δ the distance of product to tone."""
    level = power_dbm(0.5, 75.0)
    assert intercept_dbm(TransientProduct(2, 11e6, ((0, 1), (1, 1)), 0.5e-3), (A, B), 75.0) == pytest.approx(level + 60)
    third = TransientProduct(3, 4e6, ((0, 2), (1, -1)), 0.5e-3)
    assert intercept_dbm(third, (A, B), 75.0) == pytest.approx(level + 30)


def test_all_products_of_one_curve_show_one_intercept():
    """Of y = x + k2 x² + k3 x³ harmonics and products of three carriers give the same intercept points."""
    k2, k3, v = 1e-3, 1e-4, 0.5
    second = [
        TransientProduct(2, 11e6, ((0, 1), (1, 1)), k2 * v**2),
        TransientProduct(2, 10e6, ((0, 2),), k2 * v**2 / 2),
    ]
    third = [
        TransientProduct(3, 4e6, ((0, 2), (1, -1)), 3 / 4 * k3 * v**3),
        TransientProduct(3, 15e6, ((0, 3),), k3 * v**3 / 4),
        TransientProduct(3, 17.7e6, ((0, 1), (1, 1), (2, 1)), 3 / 2 * k3 * v**3),
    ]
    for products in (second, third):
        found = {round(intercept_dbm(product, (A, B, C), 75.0), 9) for product in products}
        assert len(found) == 1
