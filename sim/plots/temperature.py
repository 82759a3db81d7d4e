"""What temperature does: gain and phase as change, noise, stability and current as they are, over real degrees."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from sim.plots import axes, style, words
from sim.plots.style import FAMILIES, Row

_CHANGES = ("gain_db", "phase_deg")
_LEVELS = ("noise_margin_db", "stability_margin", "line_margin", "current_ma")
_ROOM_IN = 0.72
_HEIGHT_IN = 1.0
_MOST_BANDS = 3


def temperature(table: pd.DataFrame, sweep: int):
    """Draw small panels, one a measure, over temperature.

    Parameters
    ----------
    table : DataFrame
        temperature.csv.
    sweep : int
        Which one of its sweeps.

    Returns
    -------
    figure : matplotlib.figure.Figure or None
        None where no measure has a number.
    """
    own = table[table["sweep"] == sweep]
    measures = [m for m in (*_CHANGES, *_LEVELS) if (own["measure"] == m).any()]
    if not measures:
        return None
    rows = [Row(_HEIGHT_IN, above=0.32, below=0.04, right=_ROOM_IN) for _ in measures]
    rows[-1] = Row(_HEIGHT_IN, above=rows[-1].above, below=0.46, right=_ROOM_IN)
    figure, panels = style.sheet(rows)
    for place, (measure, [panel]) in enumerate(zip(measures, panels, strict=True)):
        _panel(panel, own[own["measure"] == measure], measure, named=place == len(measures) - 1)
    return figure


def _panel(panel, rows: pd.DataFrame, measure: str, named: bool) -> None:
    unit = str(rows["unit_of_measure"].iloc[0])
    changing = measure in _CHANGES
    title = words.heading(measure, unit)
    if changing:
        name, _, mark = title.rpartition(", ")
        title = f"{name}, change from {rows['reference_c'].iloc[0]:g} °C, {mark}"
    panel.set_title(title)
    columns = ("change", "change_p05", "change_p95") if changing else ("nominal", "p05", "p95")
    celsius = np.array(sorted(rows["temperature_c"].unique()))
    _degrees(panel, celsius, named)
    lines = []
    for band, part in _bands(rows):
        part = part.sort_values("temperature_c")
        lines.append((band, *(part[column].to_numpy(dtype=float) for column in columns)))
    seen = np.concatenate([np.concatenate(line[1:]) for line in lines])
    low, high = np.nanmin(seen), np.nanmax(seen)
    slack = 0.1 * max(high - low, 1e-3 * max(abs(low), abs(high)), 1e-6)
    panel.set_ylim(low - slack, high + slack)
    axes.value_axis(panel.yaxis, most=4)
    for (_, middle, lower, upper), family in zip(lines, FAMILIES, strict=False):
        panel.fill_between(celsius, lower, upper, color=family.ink, alpha=0.2, lw=0)
        panel.plot(celsius, middle, color=family.ink, ls=family.dash, lw=1.3, marker=family.marker, ms=3.4)
    if np.isfinite(lines[0][0]):
        names = [axes.frequency_text(line[0]) for line in lines]
        inks_of = [family.ink for family in FAMILIES[: len(lines)]]
        axes.end_labels(panel, [line[1][-1] for line in lines], names, inks_of)


def _bands(rows: pd.DataFrame) -> list[tuple[float, pd.DataFrame]]:
    """At most three bands, the lowest, the middle and the highest; a measure without bands as one of NaN."""
    bands = sorted(float(f) for f in rows["frequency_hz"].dropna().unique())
    if not bands:
        return [(np.nan, rows)]
    if len(bands) > _MOST_BANDS:
        bands = [bands[0], bands[len(bands) // 2], bands[-1]]
    return [(band, rows[np.isclose(rows["frequency_hz"], band, rtol=1e-9)]) for band in bands]


def _degrees(panel, celsius: np.ndarray, named: bool) -> None:
    """Real degrees, ticks at the temperatures computed as far as they fit; the letters on the lowest panel alone."""
    edge = 0.03 * (celsius[-1] - celsius[0])
    panel.set_xlim(celsius[0] - edge, celsius[-1] + edge)
    width_in = panel.get_position().width * style.WIDTH_IN / (celsius[-1] - celsius[0] + 2 * edge)
    kept: list[float] = []
    for value in (celsius[0], celsius[-1], *celsius[1:-1]):
        half = style.text_width_in(axes.plain(value)) / 2 + 0.04
        if all(abs(value - other) * width_in >= half + style.text_width_in(axes.plain(other)) / 2 for other in kept):
            kept.append(float(value))
    panel.xaxis.set_major_locator(FixedLocator(sorted(kept)))
    panel.xaxis.set_minor_locator(NullLocator())
    panel.xaxis.set_major_formatter(FuncFormatter(lambda value, _: axes.plain(round(value, 3))))
    panel.tick_params(axis="x", labelbottom=named)
    if named:
        panel.set_xlabel("Temperature of all boxes, °C")
