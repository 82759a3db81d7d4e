"""The picture of temperature: real degrees, units on every axis, no label upon another."""

import itertools

import numpy as np
import pandas as pd
import pytest

from sim.columns import TABLES
from sim.plots import style
from sim.plots.temperature import temperature
from tests.plots.test_legible import boxes

KINDS = {
    "gain_db": ("dB", (1.83e6, 3.53e6, 7.05e6, 14.1e6)),
    "phase_deg": ("degree", (1.83e6, 3.53e6, 7.05e6, 14.1e6)),
    "noise_margin_db": ("dB", (1.83e6, 3.53e6, 7.05e6, 14.1e6)),
    "stability_margin": ("1", (np.nan,)),
    "current_ma": ("mA", (np.nan,)),
}


def _table(celsius):
    rows = []
    for number, (measure, (unit, bands)) in enumerate(KINDS.items()):
        for band, value in itertools.product(bands, celsius):
            middle = number + 0.01 * value + (0 if np.isnan(band) else 1e-8 * band)
            spread = {"p05": middle - 0.2, "p50": middle, "p95": middle + 0.2}
            change = {"change": 0.01 * value, "change_p05": 0.009 * value, "change_p95": 0.011 * value}
            head = {"scenario": 0, "sweep": 0, "temperature_c": value, "reference_c": 25.0, "measure": measure}
            rows.append(head | {"unit_of_measure": unit, "frequency_hz": band, "nominal": middle, **spread, **change})
    return pd.DataFrame(rows, columns=list(TABLES["temperature.csv"]))


@pytest.mark.parametrize("celsius", [(-30, 60), (-30, -15, 0, 25, 40, 60), tuple(range(-30, 61, 2))])
def test_degrees_are_real_and_labels_keep_clear(celsius):
    """The axis runs over the temperatures computed, ends named; of many ticks those that fit; units stand in titles."""
    with style.drawing():
        figure = temperature(_table([float(t) for t in celsius]), 0)
        found, sheet = boxes(figure)
        texts = [text for text, _ in found]
        assert "Temperature of all boxes, °C" in texts and {"−30", "60"} <= set(texts)
        for title in (
            "Bench gain, change from 25 °C, dB",
            "Bench phase, change from 25 °C, degrees",
            "Noise margin, dB",
        ):
            assert title in texts
        assert "Supply current, mA" in texts
        for (a, first), (b, second) in itertools.combinations(found, 2):
            wide = min(first.x1, second.x1) - max(first.x0, second.x0)
            high = min(first.y1, second.y1) - max(first.y0, second.y0)
            assert wide < 2 or high < 8, (a, b)
        for text, box in found:
            assert box.x0 >= sheet.x0 - 1 and box.x1 <= sheet.x1 + 1, text
        low, high = figure.axes[0].get_xlim()
        assert low < celsius[0] and high > celsius[-1] and high - low < 1.1 * (celsius[-1] - celsius[0])


def test_nothing_to_draw():
    """A sweep that is not there has no picture."""
    assert temperature(_table([0.0, 20.0]), 3) is None
