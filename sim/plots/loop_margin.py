"""How far the units stay from oscillation: the loop's distance from −1 over frequency, and over units."""

from __future__ import annotations

import numpy as np
import pandas as pd

from sim.plots import axes, inks, names, ridge, style
from sim.plots.choice import Shown, curve_rows, merged
from sim.plots.ridge import Ridge
from sim.plots.style import FAMILIES, Row

CURVE = "loop_distance"
_ROOM_IN = 1.12
_LABEL_IN = 1.6


def loop_margin(curves: pd.DataFrame, measures: pd.DataFrame, shown: Shown, low_limit: float = np.nan):
    """Draw |1 + T| over frequency and the smallest value of it in each unit.

    Parameters
    ----------
    curves, measures : DataFrame
        curves.parquet with loop_distance, measures.parquet with stability_margin and stable.
    shown : Shown
    low_limit : float
        The least stability margin the study allows; NaN for none. [1]

    Returns
    -------
    figure : matplotlib.figure.Figure or None
    """
    margins = _ridges(measures, shown)
    distinct = merged(curves, (CURVE,), shown)
    lines = [(name, curve_rows(curves, number, CURVE)) for number, name in distinct.items()]
    lines = [(name, rows[np.isfinite(rows["min"])]) for name, rows in lines]
    lines = [(name, rows) for name, rows in lines if len(rows)]
    if not margins and not lines:
        return None
    widest = max((style.text_width_in(r.label) for r in margins), default=0.0)
    key = names.keyed([name for name, _ in lines], _ROOM_IN - 0.18)
    rows = [Row(1.9, above=0.34 + key.height_in, right=_ROOM_IN)] if lines else []
    if margins:
        rows.append(
            Row(ridge.ROW_IN * max(len(margins), 1), above=0.40, left=max(widest + 0.16, 0.22), right=0.98)
        )
    figure, panels = style.sheet(rows)
    if lines:
        key.draw(figure, [family.ink for family in FAMILIES])
        _over_frequency(panels[0][0], list(zip(key.labels, [own for _, own in lines], strict=True)), low_limit)
    if margins:
        panel = panels[-1][0]
        ridge.draw(panel, margins, low_limit, np.inf)
        figure.text(
            0.02,
            panel.get_position().y1 + 0.11 / figure.get_figheight(),
            "Smallest distance in each unit",
            va="bottom",
            weight="bold",
        )
    return figure


def _ridges(measures: pd.DataFrame, shown: Shown) -> list[Ridge]:
    rows = []
    several = len(shown.numbers) > 1
    margin = measures[measures["measure"] == "stability_margin"]
    stable = measures[measures["measure"] == "stable"]
    labels = names.apart(shown.names, _LABEL_IN) if several else [""]
    for number, label in zip(shown.numbers, labels, strict=True):
        own = margin[margin["scenario"] == number]
        units = own[own["unit"] > 0]
        if own.empty:
            continue
        nominal = own.loc[own["unit"] == 0, "value"]
        verdicts = stable[(stable["scenario"] == number) & (stable["unit"] > 0)]["value"]
        bad = int((verdicts == 0).sum())
        note = "none unstable" if len(verdicts) and bad == 0 else f"{bad} unstable" if bad else ""
        rows.append(
            Ridge(
                label,
                units["value"].to_numpy(dtype=float),
                float(nominal.iloc[0]) if len(nominal) else np.nan,
                note,
            )
        )
    return rows


def _over_frequency(panel, lines, low_limit: float) -> None:
    ends, texts, colours = [], [], []
    low = min(float(rows["frequency_hz"].iloc[0]) for _, rows in lines)
    high = max(float(rows["frequency_hz"].iloc[-1]) for _, rows in lines)
    alone = len(lines) == 1
    if alone:
        rows = lines[0][1]
        panel.fill_between(rows["frequency_hz"], rows["p05"], rows["p95"], color=inks.BLUE, alpha=0.28, lw=0)
        drawn = [
            ("nominal", rows, "nominal", inks.INK, "-", ""),
            ("worst unit", rows, "min", inks.RUST, (0, (4, 1.4)), ""),
        ]
    else:
        drawn = [
            (name, rows, "min", f.ink, f.dash, f.marker)
            for (name, rows), f in zip(lines, FAMILIES, strict=False)
        ]
    lowest = low_limit if np.isfinite(low_limit) and low_limit > 0 else 1.0
    for name, rows, column, ink, dash, marker in drawn:
        values = rows[column].to_numpy(dtype=float)
        panel.plot(
            rows["frequency_hz"],
            np.where(values > 0, values, np.nan),
            color=ink,
            ls=dash,
            lw=1.4,
            marker=marker,
            markevery=max(len(rows) // 7, 1),
        )
        positive = values[values > 0]
        lowest = min(lowest, positive.min()) if positive.size else lowest
        ends.append(values[-1])
        texts.append(name)
        colours.append(ink)
    panel.set_title("Loop: distance from −1" + ("" if alone else ", worst unit at each frequency"))
    axes.frequency_axis(panel, low, high)
    # The story is near 1 and below; far above, the loop is merely strong.
    axes.level_axis(panel, max(lowest * 0.6, 1e-3), 30.0)
    if np.isfinite(low_limit):
        axes.forbid(panel, low_limit, np.inf, along="y")
    axes.end_labels(panel, ends, texts, colours)
