"""The map over feedlines, from an invented table."""

import itertools

import numpy as np
import pandas as pd
import pytest

from sim.plots import feedline_map, shades, style
from sim.plots.figures import write_figures
from tests.plots.invented import invented_run
from tests.plots.test_legible import boxes

ENDS = ("open", "short", "matched", "half", "double", "unplugged", "a-filter-with-a-long-name.s1p")


def invented_table(cables=("rg6-ccs", "rg58", "rg213"), lengths=20, unstable=0.3):
    """A row for each cable, length and far end, numbers invented, and the study's own feedline."""
    rng = np.random.default_rng(3)
    rows = [
        (1, cable, float(length), end, float(rng.uniform(0.05, 1.1)), int(rng.random() < unstable) * 7)
        for cable in cables
        for length in np.geomspace(0.2, 200, lengths)
        for end in ENDS
    ]
    rows.append((1, "own feedline", 130.0, "open", 0.7, 0))
    table = pd.DataFrame(rows, columns=["scenario", "cable", "length_m", "far_end", "margin_min", "unstable"])
    return table.assign(margin_p05=table["margin_min"], unit=3, margin_frequency_hz=7e7, unresolved=0, units=100)


@pytest.mark.parametrize(("cables", "lengths"), [(("rg6-ccs",), 1), (("rg6-ccs", "rg58", "rg213", "rg11-cu"), 20)])
def test_texts_keep_clear_of_each_other(cables, lengths):
    """No text stands on another or off the sheet; at most three cables are drawn."""
    with style.drawing():
        figure, drawn = feedline_map.feedline_map(invented_table(cables, lengths), 1, 0.4)
        found, sheet = boxes(figure)
    assert len(drawn) == min(len(cables), 3)
    for text, box in found:
        assert box.x0 >= sheet.x0 - 1 and box.x1 <= sheet.x1 + 1, text
        assert box.y0 >= sheet.y0 - 1 and box.y1 <= sheet.y1 + 1, text
    for (a, first), (b, second) in itertools.combinations(found, 2):
        wide = min(first.x1, second.x1) - max(first.x0, second.x0)
        high = min(first.y1, second.y1) - max(first.y0, second.y0)
        assert wide < 2 or high < 8, (a, b)


def test_what_oscillates_is_told_by_a_sign():
    """Each unstable cell has its sign, and only those: no verdict by colour alone."""
    table = invented_table(("rg58",), 6)
    with style.drawing():
        figure, _ = feedline_map.feedline_map(table, 1)
    signs = [t for t in figure.axes[1].texts if t.get_text() == shades.OSCILLATES]
    assert len(signs) == (table["unstable"] > 0).sum() > 0
    assert all(a - b > 0.1 for a, b in itertools.pairwise(shades.SHADES))


def test_the_picture_comes_with_the_table(tmp_path):
    """It is drawn where stability.csv is there, and its caption names what was left out."""
    folder = invented_run(tmp_path)
    assert "feedline_map" not in {figure.name for figure in write_figures(folder)}
    invented_table(("rg6-ccs", "rg58", "rg213", "rg11-cu")).to_csv(folder / "stability.csv", index=False)
    [figure] = [figure for figure in write_figures(folder) if figure.name == "feedline_map"]
    assert "Left out for want of room" in figure.caption
