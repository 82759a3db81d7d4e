"""The noise rise in words, for a check at the receiver."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from sim.summary.plug_in import noise_words, rises, told


def summary(nominal=(15.8, 14.7)):
    """Noise rise at two bands, and a row of another measure."""
    pairs = zip((1.83e6, 7.05e6), nominal, strict=True)
    rows = [("noise_rise_db", f, value, value - 0.5, value + 0.5) for f, value in pairs]
    rows.append(("gain_db", 1.83e6, 10.0, 9.0, 11.0))
    return pd.DataFrame(rows, columns=["measure", "frequency_hz", "nominal", "p05", "p95"]).assign(scenario=0)


def test_a_sentence_by_band():
    """Every band has its rise with the stretch of nine units in ten, and the conditions follow."""
    first, second = told(rises(summary()), 0, "", "rural noise at its median")
    assert first == (
        "Check at the receiver: plug the antenna in, and the noise must rise by 15.8 dB at 1.83 MHz (nine units in ten"
        " 15.3 to 16.3) and 14.7 dB at 7.05 MHz (14.2 to 15.2)."
    )
    assert "rural noise at its median" in second and "AGC off" in second and "no attenuator" in second


def test_nothing_is_said_where_nothing_is_heard():
    """A bench source has no rise, and a band without a number is left out."""
    assert told(rises(summary((np.nan, np.nan))), 0, "", "") == []
    assert [entry["frequency_hz"] for entry in rises(summary((np.nan, 14.7)))] == [7.05e6]
    assert told(rises(summary()), 1, "", "") == []


def test_one_unit_has_no_spread():
    """Without percentiles the rise stands alone."""
    alone = summary().assign(p05=np.nan, p95=np.nan)
    assert "(nine" not in told(rises(alone), 0, "", "")[0]


@pytest.mark.parametrize(
    ("noise", "level", "location", "words"),
    [
        ("quiet-rural", "median", "median", "quiet-rural noise at its median"),
        ("city", "lower-decile", "any", "city noise at its lower decile of time and place"),
        ("rural", "25 %", "median", "rural noise at its 25 % level"),
        ("rural", "median", "10 %", "rural noise at its median in a place at the 10 % level of its class"),
        (object(), "median", "median", "the noise that you measured"),
    ],
)
def test_the_noise_it_holds_for(noise, level, location, words):
    """Class, level and place are named; a table of measurements is the builder's own."""
    site = SimpleNamespace(noise=noise, level=level, location=location)
    assert noise_words(SimpleNamespace(site=site)) == words
