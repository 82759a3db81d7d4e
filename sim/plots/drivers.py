"""Which parts cause the spread: ranked, for the gain itself and for how alike the units are."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from sim.plots import axes, inks, style, words
from sim.plots.drivers_table import REST, ranked
from sim.plots.style import FAMILIES, Row

_MOST_PARTS = 6


def drivers(rows: pd.DataFrame, titles: Sequence[tuple[str, str]], scenario: int):
    """A panel a measure: each part's share of the variance, a marker a band, largest first.

    Parameters
    ----------
    rows : DataFrame
        drivers.csv: scenario, measure, frequency_hz, part, share, slope_per_percent.
    titles : sequence of (measure, title)
        Panels from top to bottom; measures without rows are passed over.
    scenario : int
        Whose drivers.

    Returns
    -------
    figure : matplotlib.figure.Figure or None
    """
    own = rows[rows["scenario"] == scenario]
    tables = [(title, ranked(own[own["measure"] == measure], _MOST_PARTS)) for measure, title in titles]
    tables = [(title, table) for title, table in tables if len(table)]
    if not tables:
        return None
    bands = sorted({f for _, table in tables for f in table.columns if np.isfinite(f)})
    longest = max(style.text_width_in(words.part_name(part)) for _, table in tables for part in table.index)
    left = min(max(longest + 0.16, 0.5), 2.1)
    first_above = 0.60 if bands else 0.32
    figure, panels = style.sheet(
        [
            Row(0.215 * len(table), above=first_above if i == 0 else 0.34, below=0.24, left=left, right=0.55)
            for i, (_, table) in enumerate(tables)
        ]
    )
    look = {band: FAMILIES[i % len(FAMILIES)] for i, band in enumerate(bands)}
    for [panel], (title, table) in zip(panels, tables, strict=True):
        _panel(panel, table, look, left)
        figure.text(
            0.02, panel.get_position().y1 + 0.10 / figure.get_figheight(), title, va="bottom", weight="bold"
        )
    _key(figure, look)
    return figure


def _panel(panel, table: pd.DataFrame, look, left: float) -> None:
    panel.set_xlim(min(0.0, float(np.nanmin(table.to_numpy()))) * 100 - 1, 104)
    panel.set_ylim(len(table) - 0.4, -0.6)
    for place, (part, shares) in enumerate(table.iterrows()):
        values = 100 * shares.to_numpy(dtype=float)
        finite = values[np.isfinite(values)]
        if not finite.size:
            continue
        ink = inks.SOFT if part == REST else inks.BLUE
        panel.plot(
            [0, finite.max()], [place, place], color=ink, lw=4.5, alpha=0.35, solid_capstyle="butt", zorder=2
        )
        for band, value in zip(table.columns, values, strict=True):
            family = look.get(band)
            panel.plot(
                [value],
                [place],
                marker=family.marker if family else "o",
                ms=4.4,
                ls="",
                mfc=inks.PAPER if part == REST else (family.ink if family else ink),
                mec=family.ink if family else ink,
                zorder=3,
                clip_on=False,
            )
        panel.annotate(
            f"{finite.max():.0f} %",
            (1, place),
            xycoords=("axes fraction", "data"),
            xytext=(7, 0),
            textcoords="offset points",
            va="center",
            fontsize=style.SMALL_PT,
        )
    panel.axvline(0, color=inks.SOFT, lw=0.8)
    panel.set_yticks(
        range(len(table)), [style.shortened(words.part_name(p), left - 0.1) for p in table.index]
    )
    panel.tick_params(axis="y", length=0)
    panel.set_xticks([0, 25, 50, 75, 100], ["0", "25", "50", "75", "100 %"])
    panel.grid(False, axis="y")
    panel.spines["left"].set_visible(False)


def _key(figure, look) -> None:
    """Which marker is which band, in one line at the top."""
    if not look:
        return
    height = figure.get_figheight()
    step = min(0.95 / len(look), 0.24)
    for i, (band, family) in enumerate(look.items()):
        x = 0.035 + i * step
        y = 1 - 0.14 / height
        figure.add_artist(_marker(x, y, family))
        figure.text(x + 0.02, y, axes.frequency_text(band), va="center", fontsize=style.SMALL_PT)


def _marker(x: float, y: float, family):
    from matplotlib.lines import Line2D

    return Line2D([x], [y], marker=family.marker, color=family.ink, ls="", ms=4.4)
