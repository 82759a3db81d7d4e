"""A site's noise: level, and what is added to man-made noise."""

import numpy as np
import pytest

from sim.measures.surroundings import site_noise
from sim.noise.atmospheric import atmospheric_noise
from sim.noise.density import field_from_fa
from sim.noise.external import man_made, measured_fa, noise_class
from sim.noise.site import SiteNoise
from sim.study.model import Study

FREQ = np.array([1.8e6, 3.5e6, 7e6])


def study(**site):
    """A study with that site."""
    return Study.model_validate(
        {
            "title": "Site",
            "amplifier": {"circuit": "transimpedance", "opamp": "OPA810"},
            "antenna": {"model": "short-vertical", "height": "6 m", "radius": "10 mm"},
            "site": site,
        }
    )


def test_median_of_a_class_is_the_class():
    """Without anything else a site is the median of its class."""
    assert site_noise(study(noise="rural")).fa_db(FREQ) == pytest.approx(man_made("rural", FREQ))


def test_quiet_day_of_a_quiet_rural_site():
    """The lower decile lies 4.6 dB below 46.3, 38.0, 29.4 dB (ITU-R P.372, c - d log10 f and Dl)."""
    quiet = site_noise(study(level="lower-decile"))
    assert quiet.fa_db(FREQ) == pytest.approx([46.3 - 4.6, 38.0 - 4.6, 29.4 - 4.6], abs=0.05)
    assert quiet.fa_db(FREQ) == pytest.approx(site_noise(study(level="10 %")).fa_db(FREQ))


def test_time_and_place_add_as_squares():
    """Rural, any place: the upper decile is sqrt(9.2^2 + 6.8^2) = 11.44 dB up, the lower 8.21 dB down."""
    for level, shift in (("upper-decile", 11.440), ("lower-decile", -8.210)):  # hand calculation
        noise = site_noise(study(noise="rural", level=level, location="any"))
        assert noise.fa_db(FREQ) - man_made("rural", FREQ) == pytest.approx(shift, abs=5e-4)


def test_a_quiet_place_on_a_quiet_day():
    """Rural: a quiet place is 6.8 dB below its class, a quiet day 4.6 dB below its median; both together 11.4 dB.

    Deciles of ITU-R P.372; those over place are the same up and down.
    """
    for level, location, shift in (
        ("median", "lower-decile", -6.8),
        ("median", "90 %", 6.8),
        ("lower-decile", "lower-decile", -11.4),
        ("upper-decile", "10 %", 9.2 - 6.8),
    ):
        noise = site_noise(study(noise="rural", level=level, location=location))
        assert noise.fa_db(FREQ) - man_made("rural", FREQ) == pytest.approx(shift, abs=1e-9)
    assert noise.at(0.1).fa_db(FREQ) - man_made("rural", FREQ) == pytest.approx(-11.4, abs=1e-9)


def test_a_quarter_of_the_time():
    """The lower quartile lies 0.6745 / 1.2816 of the lower decile below the median (quantiles of the normal law)."""
    quarter = site_noise(study(level="25 %"))
    shift = -4.6 * 0.67449 / 1.28155
    assert quarter.fa_db(FREQ) - man_made("quiet-rural", FREQ) == pytest.approx(shift, abs=1e-4)


def test_galactic_noise_is_added_above_the_critical_frequency_alone():
    """At 7 MHz quiet rural 29.43 and galactic 32.56 dB make 34.28 dB (hand calculation); below foF2 nothing changes."""
    noise = site_noise(study(fof2="5M"))
    assert noise.fa_db(7e6) == pytest.approx(34.28, abs=0.01)
    assert noise.fa_db(FREQ[:2]) == pytest.approx(man_made("quiet-rural", FREQ[:2]))
    assert site_noise(study(fof2="7M")).fa_db(7e6) == pytest.approx(man_made("quiet-rural", 7e6))


def test_atmospheric_noise_is_added_as_power():
    """Quiet rural 29.43 and 50 N 10 E, January noon, 28 dB make 31.78 dB at 7 MHz (hand calculation)."""
    noise = site_noise(study(atmospheric="50N-10E-january-noon"))
    assert noise.fa_db(7e6) == pytest.approx(31.78, abs=0.01)
    assert np.isnan(noise.fa_db([1e6, 10e6])).all()


def test_a_summer_night_hides_man_made_noise():
    """40 N 90 W, July midnight, 82 dB at 1.8 MHz: what quiet rural adds to it is below 0.01 dB."""
    noise = site_noise(study(atmospheric="40N-90W-july-midnight"))
    assert noise.fa_db(1.8e6) == pytest.approx(82, abs=0.01)


def test_all_parts_take_the_same_percentile():
    """The power at a decile is the sum of the parts' powers at their own deciles."""
    noise = SiteNoise(noise_class("rural"), 0.1, False, 5e6, atmospheric_noise("35S-150E-july-noon"))
    parts = (43.79 - 4.6, 52 - 23 * np.log10(7) - 2, 27 - 7)
    power = sum(10 ** (part / 10) for part in parts)
    assert noise.fa_db(7e6) == pytest.approx(10 * np.log10(power), abs=0.01)
    assert noise.field(7e6) == pytest.approx(field_from_fa(noise.fa_db(7e6), 7e6))
    assert noise.at(0.9).fa_db(7e6) > noise.at(0.5).fa_db(7e6) > noise.fa_db(7e6)


def test_a_measurement_is_taken_as_it_is():
    """A builder's table has no percentiles, and nothing is added to it."""
    noise = site_noise(study(noise={"frequencies": ["1M", "10M"], "fa_db": [60, 40]}))
    assert not noise.varies and site_noise(study()).varies
    assert noise.at(0.1).fa_db(FREQ) == pytest.approx(measured_fa([1e6, 10e6], [60, 40]).fa_db(FREQ))
