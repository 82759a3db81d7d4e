"""The picture of strong carriers: readable with one and with sixteen of them, and what it shows."""

import itertools

import numpy as np
import pandas as pd
import pytest

from sim.columns import TABLES
from sim.plots import style
from sim.plots.strong import strong
from sim.summary.products import FALLEN, FALLS
from tests.plots.test_legible import boxes

BANDS = (1.83e6, 3.53e6, 7.05e6)


def _invented(count: int, reserves=(-3.0, 8.0, 55.0, 120.0)):
    """An entry and its products; all numbers invented."""
    hertz = np.linspace(5.4e5, 1.6e6, count)
    carriers = [
        {"name": f"{f / 1e3:.4g} kHz", "frequency_hz": float(f), "emf_v": 0.1, "receiver_dbm": -5.0 - 2 * k}
        for k, f in enumerate(hertz)
    ]
    rows = []
    for band in BANDS:
        for order, where, level in ((2, FALLS, -80.0), (2, FALLEN, -78.0), (3, FALLS, np.nan), (3, FALLEN, -95.0)):
            row = dict.fromkeys(TABLES["products.csv"])
            row |= {"scenario": 0, "band_hz": band, "order": order, "where": where, "frequency_hz": band * 1.01}
            rows.append(row | {"level_nominal_dbm": level, "noise_nominal_dbm": -110.0, "noise": "band"})
    limits = ("output swing", "output current", "slew rate", "input range")
    entry = {"scenario": 0, "carriers": carriers, "bandwidth_hz": 500.0}
    return entry | {"reserves_db": dict(zip(limits, reserves, strict=True))}, pd.DataFrame(rows)


@pytest.mark.parametrize("count", [1, 2, 16])
def test_nothing_stands_on_anything(count):
    """Texts keep clear of each other and within the sheet, with one carrier and with as many as a study may name."""
    with style.drawing():
        found, sheet = boxes(strong(*_invented(count)))
    for text, box in found:
        assert box.x0 >= sheet.x0 - 1 and box.x1 <= sheet.x1 + 1, text
        assert box.y0 >= sheet.y0 - 1 and box.y1 <= sheet.y1 + 1, text
    for (a, first), (b, second) in itertools.combinations(found, 2):
        wide = min(first.x1, second.x1) - max(first.x0, second.x0)
        high = min(first.y1, second.y1) - max(first.y0, second.y0)
        assert wide < 2 or high < 8, (a, b)


def test_what_it_shows():
    """Bars hold the room, cut at 40 dB and said so; marks are explained only where they stand."""
    with style.drawing():
        figure = strong(*_invented(2))
        texts = [text for text, _ in boxes(figure)[0]]
    assert "540 kHz" in texts and "−3" in texts and texts.count("> 40") == 2
    assert "product, second order" in texts and "product, third order" not in texts
    bars = [bar.get_width() for bar in figure.axes[1].patches if bar.get_height() == pytest.approx(0.5)]
    assert bars == [-3.0, 8.0, 40.0, 40.0]


def test_no_number_no_picture():
    """Where the nominal unit gave nothing, nothing is drawn."""
    entry, products = _invented(1)
    entry["carriers"][0]["receiver_dbm"] = None
    assert strong(entry, products) is None
