"""Products of carriers: which there are, and how much of each."""

import itertools

import numpy as np
import pytest

from sim.distortion.mixes import Mix, mixes


def _found(frequencies, **options):
    return {mix.words(): mix.frequency_hz for mix in mixes(frequencies, **options)}


def test_two_tones_make_ten_products():
    """Second and third order of 5 and 6 MHz, all of them and nothing else."""
    assert _found([5e6, 6e6]) == {
        "b - a": 1e6,
        "2a - b": 4e6,
        "2b - a": 7e6,
        "2a": 10e6,
        "a + b": 11e6,
        "2b": 12e6,
        "3a": 15e6,
        "2a + b": 16e6,
        "a + 2b": 17e6,
        "3b": 18e6,
    }


def test_three_carriers_mix_once_each():
    """Each of the four ways to add and subtract three carriers is there, once, above zero."""
    found = [mix for mix in mixes([1.0e6, 1.3e6, 1.7e6], orders=(3,)) if len(mix.carriers) == 3]
    assert sorted(round(mix.frequency_hz) for mix in found) == [600_000, 1_400_000, 2_000_000, 4_000_000]
    assert {mix.coefficient for mix in found} == {1.5}


def test_only_what_falls_into_a_band():
    """Products outside all bands are left out."""
    assert list(_found([5e6, 6e6], bands_hz=[(0.9e6, 1.1e6), (10.5e6, 11.5e6)])) == ["b - a", "a + b"]


def test_equal_carriers_make_no_direct_voltage():
    """A product that falls on zero is none."""
    assert all(mix.frequency_hz > 0 for mix in mixes([5e6, 5e6]))


@pytest.mark.parametrize("frequencies", [(3, 4), (5, 7, 11)])
def test_coefficients_against_a_transform(frequencies):
    """Amplitudes in x² and x³ of a sum of cosines, added up frequency by frequency, are those of its spectrum."""
    volts = (0.7, 1.1, 0.4)
    phase = 2 * np.pi * np.arange(256) / 256
    wave = sum(v * np.cos(f * phase) for v, f in zip(volts, frequencies, strict=False))
    for order in (2, 3):
        spectrum = 2 * np.abs(np.fft.rfft(wave**order)) / 256
        found = np.zeros(129)
        for mix in mixes([float(f) * 100 for f in frequencies], orders=(order,)):
            amplitude = mix.coefficient * np.prod([volts[i] ** abs(times) for i, times in mix.carriers])
            found[round(mix.frequency_hz / 100)] += amplitude
        own = set(frequencies) if order == 3 else set()
        for index in set(range(1, 129)) - own:
            assert found[index] == pytest.approx(spectrum[index], abs=1e-12)


def test_order_and_signs():
    """A mix knows its order and each of its carriers."""
    mix = Mix(4e6, ((0, 2), (1, -1)))
    assert mix.order == 3
    assert mix.signed == ((0, 1), (0, 1), (1, -1))
    assert len(set(itertools.permutations(mix.signed))) / 4 == mix.coefficient
