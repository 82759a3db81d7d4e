"""Records of atmospheric noise: what they hold, and where they say nothing."""

import numpy as np
import pytest

from sim.noise.atmospheric import PAST_THE_ENDS, atmospheric_noise, atmospheric_records


def test_records_are_named_after_what_they_are():
    """Three places, two months, two hours; no two alike; the quality of a record is that of its hour."""
    records = atmospheric_records()
    assert len(records) == len({record.name for record in records}) == 12
    for record in records:
        assert record.name == "-".join(
            (*("".join(record.place.split()[i : i + 2]) for i in (0, 2)), record.month.lower(), record.time)
        )
        assert record.quality_db == {"noon": 10.0, "midnight": 5.0}[record.time]
        assert len(record.freq_hz) == len(record.median_db) == len(record.upper_db) == len(record.lower_db) == 3
        assert min(record.upper_db + record.lower_db) > 0


def test_nights_are_louder_than_noons_at_160_metres():
    """At 1.8 MHz a midnight lies at least 19 dB over the noon of its place and month: absorption by day."""
    for record in atmospheric_records():
        if record.time == "noon":
            night = atmospheric_noise(record.name.replace("noon", "midnight"))
            assert night.level_db(1.8e6) - record.level_db(1.8e6) >= 19


def test_table_frequencies_are_met_at_every_decile():
    """50 N 10 E, January, noon: 22, 20, 28 dB; +9/-6, +9/-7, +9/-7 dB (ITU-R P.372 by its reference software)."""
    record = atmospheric_noise("50N-10E-january-noon")
    freq = [1.8e6, 3.5e6, 7e6]
    assert record.level_db(freq) == pytest.approx([22, 20, 28])
    assert record.level_db(freq, 0.1) == pytest.approx([16, 13, 21])
    assert record.level_db(freq, 0.9) == pytest.approx([31, 29, 37])


def test_straight_over_log_frequency_and_no_farther_than_a_twentieth():
    """Half way in log frequency is half way in dB; the last lines go on for 5 %, beyond them is nothing."""
    record = atmospheric_noise("50N-10E-january-midnight")  # 64, 57, 46 dB
    assert record.level_db(np.sqrt(3.5e6 * 7e6)) == pytest.approx(51.5)
    assert record.level_db(7e6 * 1.04) == pytest.approx(46 - 11 * np.log2(1.04))
    assert record.level_db(1.8e6 / 1.04) > 64
    ends = np.array([1.8e6 / PAST_THE_ENDS, 7e6 * PAST_THE_ENDS])
    assert np.isfinite(record.level_db(ends)).all()
    assert np.isnan(record.level_db(ends * [0.999, 1.001])).all()
    assert record.reaches(ends).tolist() == [True, True] and record.inside(ends).tolist() == [False, False]


def test_unknown_record_lists_the_known():
    """A wrong name raises ValueError with all names."""
    with pytest.raises(ValueError, match="no atmospheric noise '50N'; there are 50N-10E-january-noon, 50N-10E-jan"):
        atmospheric_noise("50N")
