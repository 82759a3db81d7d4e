"""Gain and phase on the bench over frequency: the nominal unit, and how far the others stray from it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from sim.plots import axes, inks, names, style
from sim.plots.choice import Shown, curve_rows, merged, window
from sim.plots.style import FAMILIES, Row

CURVES = ("gain_db", "phase_deg")
_LABEL_ROOM_IN = 1.05


def envelope(curves: pd.DataFrame, shown: Shown, bands_hz: tuple[float, ...]):
    """Draw nominal gain and phase together, then each scenario's spread about its own nominal.

    A spread of tenths of a decibel is lost on a scale of tens; so it has panels of its own.

    Parameters
    ----------
    curves : DataFrame
        curves.parquet, with gain_db and phase_deg.
    shown : Shown
        Scenarios to draw; equal ones are merged.
    bands_hz : tuple of float
        Marked by thin vertical lines. [Hz]

    Returns
    -------
    figure : matplotlib.figure.Figure or None
        None where there is no such curve.
    """
    shown = merged(curves, CURVES, shown)
    items = [(n, name, [curve_rows(curves, n, c) for c in CURVES]) for n, name in shown.items()]
    items = [
        (n, name, [gain, _unwrapped(phase)]) for n, name, (gain, phase) in items if len(gain) and len(phase)
    ]
    if not items:
        return None
    low, high = window(bands_hz, items[0][2][0]["frequency_hz"])
    alone = len(items) == 1
    room = 0.14 if alone else _LABEL_ROOM_IN
    spread_rows = [Row(0.85, columns=2, above=0.36 if i == 0 else 0.30, left=0.50) for i in range(len(items))]
    key = names.keyed([name for _, name, _ in items], room - 0.18)
    above = 0.42 + key.height_in
    figure, panels = style.sheet([Row(1.55, above=above, right=room), Row(1.55, right=room), *spread_rows])
    key.draw(figure, [family.ink for family in FAMILIES])
    for which, title in ((0, "Gain on the bench, dB"), (1, "Phase on the bench, degrees")):
        lines = list(zip(key.labels, [own[which] for *_, own in items], strict=True))
        _together(panels[which][0], lines, title, low, high)
        axes.band_marks(panels[which][0], bands_hz, named=which == 0)
    panels[0][0].set_title("Gain on the bench, dB", pad=15)
    panels[1][0].set_title("Phase on the bench, degrees")
    for row, name, (*_, own) in zip(panels[2:], key.labels, items, strict=True):
        for panel, rows, unit in zip(row, own, ("dB", "°"), strict=True):
            _about_nominal(panel, rows, low, high)
            axes.band_marks(panel, bands_hz, named=False)
            head = f"Spread, {unit}" if alone else f"{style.shortened(name, 1.0, bold=True)}: spread, {unit}"
            panel.set_title(head, fontsize=style.SMALL_PT)
    return figure


def _unwrapped(rows: pd.DataFrame) -> pd.DataFrame:
    """Phase without jumps of a full turn; each column keeps its distance from nominal."""
    out = rows.copy()
    nominal = rows["nominal"].to_numpy(dtype=float)
    steady = np.rad2deg(np.unwrap(np.deg2rad(nominal))) if np.isfinite(nominal).all() else nominal
    for column in ("nominal", "p05", "p50", "p95", "min", "max"):
        away = rows[column].to_numpy(dtype=float) - nominal
        out[column] = steady + (away + 180.0) % 360.0 - 180.0
    return out


def _together(panel, lines, title: str, low: float, high: float) -> None:
    """Nominal curves of all scenarios on one panel, named at their right ends."""
    ends, texts, colours, lowest, highest = [], [], [], [], []
    for (name, rows), family in zip(lines, FAMILIES, strict=False):
        rows = rows[(rows["frequency_hz"] >= low * 0.999) & (rows["frequency_hz"] <= high * 1.001)]
        freq_hz, nominal = rows["frequency_hz"].to_numpy(), rows["nominal"].to_numpy()
        if len(lines) == 1:
            panel.fill_between(freq_hz, rows["min"], rows["max"], color=family.ink, alpha=0.22, lw=0)
        panel.plot(
            freq_hz,
            nominal,
            ls=family.dash,
            color=family.ink,
            marker=family.marker if len(lines) > 1 else "",
            markevery=max(len(rows) // 6, 1),
            zorder=3,
        )
        ends.append(nominal[-1])
        texts.append(name)
        colours.append(family.ink)
        seen = rows[["nominal", "min", "max"]].to_numpy() if len(lines) == 1 else nominal
        finite = seen[np.isfinite(seen)]
        lowest.append(finite.min(initial=np.inf))
        highest.append(finite.max(initial=-np.inf))
    axes.frequency_axis(panel, low, high)
    if np.isfinite(lowest).any():
        top, bottom = max(highest), min(lowest)
        slack = max((top - bottom) * 0.06, 0.5)
        panel.set_ylim(bottom - slack, top + slack)
    axes.value_axis(panel.yaxis)
    if len(lines) > 1:
        axes.end_labels(panel, ends, texts, colours)


def _about_nominal(panel, rows: pd.DataFrame, low: float, high: float) -> None:
    """Where nine units in ten lie (dark) and where all lie (outline), as difference from nominal."""
    rows = rows[(rows["frequency_hz"] >= low * 0.999) & (rows["frequency_hz"] <= high * 1.001)]
    freq_hz = rows["frequency_hz"].to_numpy()
    away = {c: (rows[c] - rows["nominal"]).to_numpy() for c in ("min", "p05", "p50", "p95", "max")}
    panel.fill_between(freq_hz, away["p05"], away["p95"], color=inks.BLUE, alpha=0.30, lw=0)
    for column in ("min", "max"):
        panel.plot(freq_hz, away[column], color=inks.BLUE, lw=0.9, ls=(0, (2, 1.2)))
    panel.plot(freq_hz, away["p50"], color=inks.INK, lw=1.2)
    panel.axhline(0.0, color=inks.SOFT, lw=0.8)
    axes.frequency_axis(panel, low, high, most=3)
    axes.value_axis(panel.yaxis, most=4)
