"""A measured unit over the mask of good units: gain, phase, and both together against what is allowed."""

from __future__ import annotations

import numpy as np

from sim.plots import axes, inks, style
from sim.plots.style import Row

NEPER_DB = 20 / np.log(10)


def inspected(found, cloud, bands_hz: tuple[float, ...]):
    """Draw a sweep over the mask.

    Parameters
    ----------
    found : Inspection
        Of a sweep that could be compared.
    cloud : Cloud
        The good units.
    bands_hz : tuple of float
        Marked by thin vertical lines. [Hz]

    Returns
    -------
    figure : matplotlib.figure.Figure or None
        None where nothing was compared.
    """
    if found.mask is None:
        return None
    freq_hz, mask = cloud.freq_hz[found.places], found.mask
    figure, rows = style.sheet(
        [
            Row(1.25, above=0.70, left=0.56, right=0.30),
            Row(1.25, above=0.34, left=0.56, right=0.30),
            Row(0.95, above=0.34, left=0.56, right=0.30),
        ]
    )
    titles = (
        "Gain from nominal, dB",
        "Phase from nominal, degrees",
        "Gain and phase together; 1 is the mask",
    )
    for which, scale in ((0, NEPER_DB), (1, 180 / np.pi)):
        panel = rows[which][0]
        middle, half = mask.middle[which] * scale, mask.half_width(which) * scale
        inner = half * mask.inner / mask.outer
        panel.fill_between(freq_hz, middle - half, middle + half, color=inks.BLUE, alpha=0.16, lw=0)
        panel.fill_between(freq_hz, middle - inner, middle + inner, color=inks.BLUE, alpha=0.22, lw=0)
        for edge in (middle - half, middle + half):
            panel.plot(freq_hz, edge, color=inks.BLUE, lw=0.9, ls=(0, (2, 1.2)))
        panel.plot(freq_hz, found.away[which] * scale, color=inks.RUST, lw=1.5, marker="o", ms=2.4, zorder=3)
        _finish(panel, freq_hz, bands_hz, titles[which], named=which == 0)
    panel = rows[2][0]
    panel.plot(freq_hz, mask.distances(found.away) / mask.outer, color=inks.RUST, lw=1.5, marker="o", ms=2.4, zorder=3)
    panel.set_ylim(0, max(1.3, 1.1 * found.worst.distance / mask.outer))
    _finish(panel, freq_hz, bands_hz, titles[2], named=False)
    axes.forbid(panel, -np.inf, 1.0, along="y")
    worst = found.worst.distance / mask.outer
    panel.plot(
        [found.worst.freq_hz], [worst], marker="o", ms=8, mfc="none", mec=inks.INK, mew=1.2, zorder=4, clip_on=False
    )
    _key(figure)
    return figure


def _finish(panel, freq_hz, bands_hz, title: str, named: bool) -> None:
    axes.frequency_axis(panel, float(freq_hz[0]), float(freq_hz[-1]))
    axes.value_axis(panel.yaxis, most=4)
    axes.band_marks(panel, bands_hz, named=named)
    panel.set_title(title, pad=15 if named else 6)


def _key(figure) -> None:
    """What is what, in one line at the top."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Rectangle

    height = figure.get_figheight()
    y = 1 - 0.17 / height
    look = {"color": inks.RUST, "lw": 1.5, "marker": "o", "ms": 2.4}
    figure.add_artist(Line2D([0.03, 0.09], [y, y], **look))
    figure.text(0.105, y, "this unit", va="center", fontsize=style.SMALL_PT)
    for x, alpha, words in ((0.30, 0.16, "99 of 100 good units"), (0.66, 0.38, "95 of 100")):
        box = Rectangle((x, y - 0.055 / height), 0.06, 0.11 / height, color=inks.BLUE, alpha=alpha, lw=0)
        figure.add_artist(box)
        figure.text(x + 0.075, y, words, va="center", fontsize=style.SMALL_PT)
