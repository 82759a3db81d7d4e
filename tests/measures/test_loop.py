"""Margins of loops with known poles."""

import numpy as np
import pytest

from sim.measures.loop import judge_loop

FREQ_HZ = np.geomspace(1e-3, 1e6, 4000)


def _loop(gain, poles_hz, zeros_hz=()):
    s = 1j * FREQ_HZ
    t = gain * np.ones_like(s)
    for zero in zeros_hz:
        t = t * (1 + s / zero)
    for pole in poles_hz:
        t = t / (1 + s / pole)
    return t


def test_three_equal_poles():
    """Gain margin 20 log10(8/K), phase crossing at sqrt(3) times the pole: closed form for K/(1+s)^3."""
    verdict = judge_loop(FREQ_HZ, _loop(4, (1, 1, 1)), True)
    assert verdict.stable
    assert verdict.gain_margin_db == pytest.approx(20 * np.log10(2), abs=0.02)
    verdict = judge_loop(FREQ_HZ, _loop(16, (1, 1, 1)), True)
    assert verdict.unstable_poles == 2
    assert verdict.gain_margin_db == pytest.approx(-20 * np.log10(2), abs=0.02)


def test_stable_however_far_the_gain_falls():
    """A stable loop whose only crossing lies a million times beyond -1 has no gain margin to worry about."""
    t = _loop(1e12, (1, 1, 1), (30, 30))
    verdict = judge_loop(FREQ_HZ, t, True)
    assert verdict.stable
    assert verdict.gain_margin_db == 60


def test_unstable_with_very_much_gain():
    """An unstable loop far beyond -1 keeps its bad margin."""
    verdict = judge_loop(FREQ_HZ, _loop(1e6, (1, 1, 1)), True)
    assert not verdict.stable
    assert verdict.gain_margin_db == -60
