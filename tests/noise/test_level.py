"""Percentiles of noise: words, percentages, and the law between deciles."""

import math

import numpy as np
import pytest

from sim.noise.level import deviation_db, share_of


def test_words_and_percentages():
    """Deciles are one and nine in ten, and a percentage is what it says, with or without a blank."""
    assert [share_of(word) for word in ("lower-decile", "median", "upper-decile")] == [0.1, 0.5, 0.9]
    assert [share_of(text) for text in ("10 %", "10%", "2.5 %", "99%")] == [0.1, 0.1, 0.025, 0.99]


@pytest.mark.parametrize("text", ["quiet", "10", "%", "0.5 %", "100 %", "nan %", "inf%", "10 % x", "10 %%", ""])
def test_what_is_no_level_is_refused(text):
    """Other words, bare numbers and shares outside 1 to 99 % raise ValueError."""
    with pytest.raises(ValueError, match="is no level of noise"):
        share_of(text)


def test_deciles_are_met_and_sides_differ():
    """At the deciles the deviation is the data's own, at the median there is none."""
    assert deviation_db(0.1, 9.2, 4.6) == pytest.approx(-4.6, abs=1e-12)
    assert deviation_db(0.9, 9.2, 4.6) == pytest.approx(9.2, abs=1e-12)
    assert deviation_db(0.5, 9.2, 4.6) == 0.0


def test_one_sigma_is_a_decile_over_1_282():
    """At 84.13 and 15.87 % the deviation is one standard deviation of its side: decile/1.282 (normal law tables)."""
    above, below = 0.8413447, 1 - 0.8413447
    assert deviation_db(above, 9.2, 4.6) == pytest.approx(9.2 / 1.2816, rel=1e-4)
    assert deviation_db(below, 9.2, 4.6) == pytest.approx(-4.6 / 1.2816, rel=1e-4)


def test_a_decile_for_each_frequency():
    """Deciles may be arrays; each has its own deviation."""
    assert deviation_db(0.1, [9, 9], [6, 7]) == pytest.approx([-6, -7])
    assert math.isclose(float(np.diff(deviation_db(0.3, [9, 9], [6, 12]))[0] / deviation_db(0.3, 9, 6)), 1.0)
