"""What a leak costs and what finds it, over its resistance: drier on the left, wetter on the right."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from sim.plots import axes, inks, style
from sim.plots.style import FAMILIES, Row
from sim.quantity import format_quantity
from sim.summary.weathering import FOUND_FROM

LEAST_VALUES = 3
"""Resistances from which there is a curve to draw."""
_ROOM_IN = 1.30
_LEAST_LOSS_DB, _LEAST_RATIO = 0.01, 0.1
"""Below these nothing is drawn: as good as nothing. [dB, 1]"""


def leak_curves(weather: pd.DataFrame) -> list[tuple[str, str]]:
    """What can be drawn: keys with resistances enough, each with the other choices under which they were tried.

    Parameters
    ----------
    weather : DataFrame
        weather.csv, with empty texts for cells without.
    """
    known = weather[(weather["key"] != "") & weather["gain_change_db"].notna()]
    return [
        (str(key), str(others))
        for (key, others), rows in known.groupby(["key", "others"], sort=False)
        if rows["ohm"].nunique() >= LEAST_VALUES
    ]


def weathering(weather: pd.DataFrame, key: str, others: str):
    """Draw loss of signal to noise, and how far each measurement moves against what it takes to be found.

    Parameters
    ----------
    weather : DataFrame
        weather.csv.
    key, others : str
        One of :func:`leak_curves`.

    Returns
    -------
    figure : matplotlib.figure.Figure or None
    """
    rows = weather[(weather["key"] == key) & (weather["others"] == others)].drop_duplicates(["ohm", "frequency_hz"])
    rows = rows[rows["gain_change_db"].notna()].sort_values("ohm", ascending=False)
    if rows.empty:
        return None
    bands = sorted(rows["frequency_hz"].unique())
    bands = bands if len(bands) <= 3 else [bands[0], bands[len(bands) // 2], bands[-1]]
    figure, [[lost], [found]] = style.sheet(
        [
            Row(1.35, above=0.34, below=0.06, right=_ROOM_IN),
            Row(1.9, above=0.34, below=0.46, right=_ROOM_IN),
        ]
    )
    ohms = np.array(sorted(rows["ohm"].unique()))
    _loss(lost, rows, ohms, bands)
    _finders(found, rows[rows["frequency_hz"] == bands[0]], ohms)
    lost.set_title("Signal to noise lost, dB")
    found.set_title(f"Change at {axes.frequency_text(bands[0])}, over the least one found")
    _resistances(lost, ohms, named=False)
    _resistances(found, ohms, named=True)
    found.set_xlabel(f"{key.replace('_', ' ')}, drier to wetter" if "leak" in key or "bridge" in key else "contact")
    return figure


def _loss(panel, rows, ohms, bands) -> None:
    top = max(float(rows["snr_lost_db"].max(skipna=True)), 10 * _LEAST_LOSS_DB)
    axes.level_axis(panel, _LEAST_LOSS_DB, 10 ** (math.log10(top) + 0.12))
    _turned(panel, ohms)
    ends = []
    for band, family in zip(bands, FAMILIES, strict=False):
        own = rows[rows["frequency_hz"] == band]
        ends.append(_line(panel, own["ohm"], own["snr_lost_db"], family, _LEAST_LOSS_DB))
    axes.end_labels(
        panel, ends, [axes.frequency_text(band) for band in bands], [family.ink for family in FAMILIES[: len(bands)]]
    )


def _finders(panel, rows, ohms) -> None:
    ratios = {finder.name: rows[finder.column].abs() / finder.least for finder in FOUND_FROM}
    ratios = {name: ratio for name, ratio in ratios.items() if (ratio >= _LEAST_RATIO).any()}
    top = max([10.0, *(float(ratio.max()) for ratio in ratios.values())])
    axes.level_axis(panel, _LEAST_RATIO, 10 ** (math.log10(top) + 0.1))
    _turned(panel, ohms)
    axes.forbid(panel, 1.0, math.inf, along="y")
    ends = [
        _line(panel, rows["ohm"], ratio, family, _LEAST_RATIO)
        for ratio, family in zip(ratios.values(), FAMILIES, strict=False)
    ]
    axes.end_labels(panel, ends, list(ratios), [family.ink for family in FAMILIES[: len(ratios)]])


def _turned(panel, ohms) -> None:
    edge = (ohms[-1] / ohms[0]) ** 0.03
    panel.set_xscale("log")
    panel.set_xlim(ohms[-1] * edge, ohms[0] / edge)


def _line(panel, ohms, values, family, least: float) -> float:
    """One line, broken where it is below what is drawn; its height at the wet end."""
    shown = np.where(values.to_numpy(dtype=float) >= least, values.to_numpy(dtype=float), np.nan)
    panel.plot(ohms, shown, color=family.ink, ls=family.dash, lw=1.3, marker=family.marker, ms=3.6, mec=family.ink)
    known = shown[np.isfinite(shown)]
    return float(known[-1]) if known.size else float("nan")


def _resistances(panel, ohms, named: bool) -> None:
    """The resistances tried for ticks, as far as their words fit."""
    width_in = panel.get_position().width * style.WIDTH_IN
    per_in = width_in / (math.log(ohms[-1] / ohms[0]) * 1.06)
    kept: list[float] = []
    for ohm in ohms:
        half = style.text_width_in(format_quantity(float(ohm), "ohm")) / 2 + 0.02
        if all(math.log(ohm / other) * per_in > 2 * half for other in kept):
            kept.append(float(ohm))
    panel.xaxis.set_major_locator(FixedLocator(kept))
    panel.xaxis.set_major_formatter(FuncFormatter(lambda value, _: format_quantity(float(value), "ohm")))
    panel.xaxis.set_minor_locator(NullLocator())
    panel.tick_params(axis="x", labelbottom=named)
    panel.grid(axis="x", color=inks.GRID, lw=0.5)
