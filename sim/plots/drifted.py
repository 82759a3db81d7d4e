"""A unit over the years: gain and phase at the bands since its first record."""

from __future__ import annotations

import datetime

import numpy as np

from sim.plots import axes, inks, style
from sim.plots.style import FAMILIES, Row

_MOST_BANDS = 5


def drifted(found):
    """Draw what changed since the first record, a line a band.

    Parameters
    ----------
    found : Drift

    Returns
    -------
    figure : matplotlib.figure.Figure
    """
    bands = sorted({freq for change in found.changes for freq in change.freq_hz})
    if len(bands) > _MOST_BANDS:
        bands = [bands[i] for i in np.linspace(0, len(bands) - 1, _MOST_BANDS).round().astype(int)]
    figure, rows = style.sheet(
        [Row(1.3, left=0.60, right=0.86), Row(1.3, above=0.36, below=0.48, left=0.60, right=0.86)]
    )
    first = min(change.date for change in found.changes)
    last = max(change.date for change in found.changes)
    days = max((last - first).days, 1)
    for row, key, limit, title in (
        (rows[0], "gain_db", found.gain_limit_db, "Gain since the first record, dB"),
        (rows[1], "phase_deg", found.phase_limit_deg, "Phase since the first record, degrees"),
    ):
        panel, ends, texts, colours = row[0], [], [], []
        for band, family in zip(bands, FAMILIES, strict=False):
            seen = [
                ((change.date - first).days, getattr(change, key)[change.freq_hz.index(band)])
                for change in found.changes
                if band in change.freq_hz
            ]
            seen.sort(key=lambda pair: pair[0])  # those of one day stay in their order
            at, values = zip(*seen, strict=True)
            panel.plot(at, values, ls=family.dash, marker=family.marker, color=family.ink, zorder=3, clip_on=False)
            ends.append(values[-1])
            texts.append(axes.frequency_text(band))
            colours.append(family.ink)
        panel.set_xlim(-0.03 * days, 1.03 * days)
        reach = max(1.6 * limit, 1.15 * max(abs(v) for change in found.changes for v in getattr(change, key)))
        panel.set_ylim(-reach, reach)
        panel.axhspan(-limit, limit, color=inks.BLUE, alpha=0.16, lw=0)
        axes.value_axis(panel.yaxis, most=5)
        _dates(panel, first, days)
        panel.set_title(title)
        axes.end_labels(panel, ends, texts, colours)
    rows[1][0].set_xlabel("shaded: what two measurements of one unit may differ by")
    return figure


def _dates(panel, first: datetime.date, days: int) -> None:
    """Three or four dates below the axis."""
    count = 3 if days >= 2 else days + 1
    ticks = sorted(set(np.linspace(0, days, count).round().astype(int).tolist()))
    panel.set_xticks(ticks, [(first + datetime.timedelta(days=tick)).isoformat() for tick in ticks])
