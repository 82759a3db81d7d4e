"""How far the band's noise stands above the chain's own, over frequency and over units."""

from __future__ import annotations

import numpy as np
import pandas as pd

from sim.plots import axes, inks, names, style
from sim.plots.choice import Shown, curve_rows, merged, window
from sim.plots.style import FAMILIES, Row

CURVE = "noise_margin_db"
_ROOM_IN = 1.12


def noise_margin(curves: pd.DataFrame, shown: Shown, bands_hz: tuple[float, ...], low_limit: float = np.nan):
    """Draw the noise margin: with its whole envelope for one scenario, else the line 95 % of units beat.

    Parameters
    ----------
    curves : DataFrame
        curves.parquet with noise_margin_db.
    shown : Shown
    bands_hz : tuple of float
        Marked. [Hz]
    low_limit : float
        The least margin the study allows, hatched below; NaN for none. [dB]

    Returns
    -------
    figure : matplotlib.figure.Figure or None
    """
    shown = merged(curves, (CURVE,), shown)
    items = [(name, curve_rows(curves, number, CURVE)) for number, name in shown.items()]
    items = [(name, rows) for name, rows in items if len(rows) and np.isfinite(rows["p05"]).any()]
    if not items:
        return None
    low, high = window(bands_hz, items[0][1]["frequency_hz"], beyond=4.0)
    key = names.keyed([name for name, _ in items], _ROOM_IN - 0.18)
    figure, [[panel]] = style.sheet([Row(2.2, above=0.42 + key.height_in, right=_ROOM_IN)])
    key.draw(figure, [family.ink for family in FAMILIES])
    ends, texts, colours, seen = [], [], [], [low_limit]
    if len(items) == 1:
        rows = _between(items[0][1], low, high)
        freq_hz = rows["frequency_hz"]
        panel.fill_between(freq_hz, rows["p05"], rows["p95"], color=inks.BLUE, alpha=0.28, lw=0)
        for column, text, ink, dash in (
            ("max", "best unit", inks.STEEL, (0, (1, 1.5))),
            ("nominal", "nominal", inks.INK, "-"),
            ("p05", "95 % beat this", inks.BLUE, (0, (5, 1.6))),
            ("min", "worst unit", inks.RUST, (0, (1, 1.5))),
        ):
            panel.plot(freq_hz, rows[column], color=ink, ls=dash, lw=1.3)
            ends.append(rows[column].iloc[-1])
            texts.append(text)
            colours.append(ink)
        seen += [rows["min"].min(), rows["max"].max()]
    else:
        for (_, rows), label, family in zip(items, key.labels, FAMILIES, strict=False):
            rows = _between(rows, low, high)
            panel.plot(
                rows["frequency_hz"],
                rows["p05"],
                color=family.ink,
                ls=family.dash,
                marker=family.marker,
                markevery=max(len(rows) // 6, 1),
            )
            ends.append(rows["p05"].iloc[-1])
            texts.append(label)
            colours.append(family.ink)
            seen += [rows["p05"].min(), rows["p05"].max()]
    panel.set_title(
        "Noise margin, dB" if len(items) == 1 else "Noise margin that 95 % of units beat, dB", pad=15
    )
    axes.frequency_axis(panel, low, high)
    finite = [v for v in seen if np.isfinite(v)]
    slack = max((max(finite) - min(finite)) * 0.08, 0.5)
    panel.set_ylim(min(finite) - slack * 1.6, max(finite) + slack)
    axes.value_axis(panel.yaxis)
    axes.band_marks(panel, bands_hz, named=True)
    axes.forbid(panel, low_limit, np.inf, along="y")
    axes.end_labels(panel, ends, texts, colours)
    return figure


def _between(rows: pd.DataFrame, low: float, high: float) -> pd.DataFrame:
    return rows[(rows["frequency_hz"] >= low * 0.999) & (rows["frequency_hz"] <= high * 1.001)]
