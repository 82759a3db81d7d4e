"""What limits the null of an array: front to back with each kind of error alone, and with all together."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from sim.plots import axes, inks, style
from sim.plots.style import FAMILIES, Row

if TYPE_CHECKING:
    import pandas as pd

LINES = (
    ("front_to_back_db", "no errors"),
    ("front_to_back_p05_amplifier_db", "amplifiers alone"),
    ("front_to_back_p05_feedline_db", "feedlines alone"),
    ("front_to_back_p05_antenna_db", "antennas alone"),
    ("front_to_back_p05_position_db", "places alone"),
    ("front_to_back_p05_trimmed_db", "all, gains trimmed"),
    ("front_to_back_p05_db", "all together"),
)
_DEEPEST_DB = 60.0
_MOST_BANDS = 6
_LEFT_IN = 1.45


def array_causes(rows: pd.DataFrame, wanted_db: float):
    """A row a kind of error, a marker a band: what 95 % of arrays beat.

    Parameters
    ----------
    rows : DataFrame
        array.csv, of one scenario and direction.
    wanted_db : float
        Front to back that the study asks for; below it is hatched. [dB]

    Returns
    -------
    figure : matplotlib.figure.Figure or None
        None where the units made no array.
    """
    table = rows.pivot(index="measure", columns="frequency_hz", values="value")
    if "front_to_back_p05_db" not in table.index:
        return None
    bands = list(table.columns)[:_MOST_BANDS]
    figure, [[panel]] = style.sheet([Row(0.25 * len(LINES), above=0.42, below=0.50, left=_LEFT_IN, right=0.24)])
    panel.set_xlim(min(0.0, wanted_db - 10), _DEEPEST_DB)
    panel.set_ylim(len(LINES) - 0.4, -0.6)
    axes.forbid(panel, wanted_db, np.inf)
    for band, family in zip(bands, FAMILIES, strict=False):
        deep = [float(table.loc[measure, band]) for measure, _ in LINES]
        shown = np.clip(deep, *panel.get_xlim())
        look = {"marker": family.marker, "color": family.ink, "ls": "", "ms": 5}
        panel.plot(shown, range(len(LINES)), **look, zorder=3, clip_on=False)
    panel.set_yticks(range(len(LINES)), [name for _, name in LINES])
    panel.tick_params(axis="y", length=0)
    for line in range(1, len(LINES)):
        panel.axhline(line - 0.5, color=inks.GRID, lw=0.7, zorder=0.5)
    panel.grid(False, axis="y")
    ticks = range(0, int(_DEEPEST_DB) + 1, 10)
    panel.set_xticks(ticks, [f"≥ {tick}" if tick == _DEEPEST_DB else str(tick) for tick in ticks])
    panel.set_xlabel("front to back, dB")
    _key(figure, bands)
    return figure


def _key(figure, bands) -> None:
    """Which marker is which band, in one line at the top."""
    from matplotlib.lines import Line2D

    height = figure.get_figheight()
    step = min(0.95 / len(bands), 0.24)
    for place, (band, family) in enumerate(zip(bands, FAMILIES, strict=False)):
        x, y = 0.035 + place * step, 1 - 0.16 / height
        figure.add_artist(Line2D([x], [y], marker=family.marker, color=family.ink, ls="", ms=5))
        figure.text(x + 0.02, y, axes.frequency_text(band), va="center", fontsize=style.SMALL_PT)
