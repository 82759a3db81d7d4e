"""Site noise: classes, deciles and a builder's own table."""

import math

import numpy as np
import pytest

from sim.noise.density import field_from_dbuv
from sim.noise.external import CLASSES, field_density, man_made, measured_fa, measured_field, noise_class


def test_classes_are_those_of_the_study_file():
    """The four man-made classes and galactic noise are known by name."""
    assert [c.name for c in CLASSES] == ["city", "residential", "rural", "quiet-rural", "galactic"]


def test_unknown_class_lists_the_known():
    """A wrong name raises ValueError with all names."""
    with pytest.raises(
        ValueError, match="no noise class 'suburb'; there are city, residential, rural, quiet-rural, galactic"
    ):
        man_made("suburb", 1e6)


def test_validity_of_classes():
    """Man-made curves hold from 0.3 to 250 MHz."""
    assert noise_class("rural").valid([0.2e6, 0.3e6, 250e6, 251e6]).tolist() == [False, True, True, False]


def test_deciles_combine_time_and_place():
    """Rural, lower side: 4.6 dB with time and 6.8 dB with place are 8.2 dB together."""
    rural = noise_class("rural")
    assert rural.decile_db("lower") == pytest.approx(
        math.hypot(4.6, 6.8)
    )  # ITU-R P.372 man-made noise deciles
    assert rural.decile_db("upper") == pytest.approx(math.hypot(9.2, 6.8))
    with pytest.raises(KeyError):
        rural.decile_db("middle")


def test_measured_table_is_straight_over_log_frequency():
    """Points are met, the geometric middle is the mean, and outside there is no value."""
    noise = measured_fa([1e6, 4e6, 10e6], [60.0, 50.0, 40.0])
    assert noise.fa_db([1e6, 2e6, 4e6, 10e6]) == pytest.approx([60.0, 55.0, 50.0, 40.0])
    assert np.isnan(noise.fa_db([0.99e6, 10.1e6])).all()
    assert noise.valid([0.99e6, 1e6, 10e6, 10.1e6]).tolist() == [False, True, True, False]
    assert np.isnan(field_density(noise, 20e6))


def test_measured_field_comes_back_as_given():
    """A table of field strengths returns them at its points."""
    noise = measured_field([1.8e6, 7e6], [-40.0, -45.0])
    assert field_density(noise, [1.8e6, 7e6]) == pytest.approx(field_from_dbuv([-40.0, -45.0]))


def test_class_sampled_as_a_table_is_the_class():
    """A class is a straight line over log frequency, so a table of two of its points gives all of it."""
    noise = measured_fa([1e6, 30e6], man_made("quiet-rural", [1e6, 30e6]))
    freq = np.geomspace(1e6, 30e6, 20)
    assert field_density(noise, freq) == pytest.approx(field_density("quiet-rural", freq))


@pytest.mark.parametrize(
    ("freq", "level", "words"),
    [
        ([], [], "one level a frequency"),
        ([1e6, 2e6], [50.0], "one level a frequency"),
        ([2e6, 1e6], [50.0, 40.0], "must be above 0 and rise"),
        ([0.0, 1e6], [50.0, 40.0], "must be above 0 and rise"),
        ([1e6, 2e6], [50.0, math.nan], "finite numbers"),
    ],
)
@pytest.mark.parametrize("table", [measured_fa, measured_field])
def test_bad_tables_are_refused(table, freq, level, words):
    """Empty, uneven, falling and non-finite tables raise ValueError in either form."""
    with pytest.raises(ValueError, match=words):
        table(freq, level)
