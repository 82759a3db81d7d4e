"""What an array hears around the horizon, with the spread over the arrays that the units make."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from sim.plots import axes, inks, style
from sim.plots.style import Row

if TYPE_CHECKING:
    import pandas as pd

LOWEST_DB = -50.0
_MOST_BANDS = 4


def array_pattern(rows: pd.DataFrame, wanted_db: float):
    """A panel a band: response below the wanted direction over the azimuth away from it.

    Parameters
    ----------
    rows : DataFrame
        array_pattern.csv, of one scenario and direction.
    wanted_db : float
        Front to back that the study asks for. [dB]

    Returns
    -------
    figure : matplotlib.figure.Figure or None
        None without rows.
    """
    bands = sorted(rows["frequency_hz"].unique())[:_MOST_BANDS]
    if not bands:
        return None
    last = len(bands) - 1
    figure, panels = style.sheet(
        [Row(1.15, above=0.30, below=0.44 if place == last else 0.16, left=0.50) for place in range(len(bands))]
    )
    for place, ([panel], band) in enumerate(zip(panels, bands, strict=True)):
        own = rows[rows["frequency_hz"] == band].sort_values("azimuth_deg")
        azimuth = own["azimuth_deg"].to_numpy(dtype=float)
        low, high, nominal = (
            np.maximum(own[column].to_numpy(dtype=float), LOWEST_DB) for column in ("p05_db", "p95_db", "nominal_db")
        )
        panel.set_xlim(-180, 180)
        panel.set_ylim(LOWEST_DB, 3)
        if np.isfinite(low).all():
            panel.fill_between(azimuth, low, high, color=inks.BLUE, alpha=0.30, lw=0, zorder=2)
            panel.plot(azimuth, high, color=inks.BLUE, lw=1.0, ls=(0, (5, 1.6)), zorder=3)
        panel.plot(azimuth, nominal, color=inks.INK, lw=1.6, zorder=4)
        for behind in (-180, 180):
            panel.plot([behind], [-wanted_db], marker="v", ms=7, color=inks.FORBIDDEN, clip_on=False, ls="", zorder=5)
        panel.set_xticks(range(-180, 181, 45), [_bearing(t) if place == last else "" for t in range(-180, 181, 45)])
        panel.set_yticks(range(-50, 1, 10), [axes.plain(value) for value in range(-50, 1, 10)])
        panel.set_title(f"{axes.frequency_text(band)}: response, dB")
    panels[-1][0].set_xlabel("degrees from the wanted bearing")
    return figure


def _bearing(turn: int) -> str:
    return axes.plain(turn)
