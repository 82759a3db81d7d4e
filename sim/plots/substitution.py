"""How far each candidate op-amp is from the one of the design, against what an array takes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from matplotlib.lines import Line2D
from matplotlib.ticker import NullLocator

from sim.plots import axes, inks, style
from sim.plots.style import FAMILIES, Row
from sim.summary.substitution_words import chosen_text

MOST_CANDIDATES = 8
_BAND_IN, _LINE_IN, _GAP_IN = 0.15, 0.15, 0.16
_WIDEST = 4.0
"""Steps beyond so many times what the array takes are drawn as arrows at the edge with their number. [1]"""
_PANELS = (("gain", "gain_db", "db", "Gain step, dB", 2), ("phase", "phase_deg", "deg", "Phase step, degrees", 1))


def substitution(entries: Sequence[Mapping]):
    """Draw a panel for gain and one for phase: a row a candidate, a mark a band, a stroke for the spread.

    Parameters
    ----------
    entries : sequence of mapping
        The answer's substitution.

    Returns
    -------
    figure : matplotlib.figure.Figure or None
        None where no candidate has numbers.
    """
    shown = [entry for entry in entries if entry["steps"]][:MOST_CANDIDATES]
    if not shown:
        return None
    bands = [step["frequency_hz"] for step in shown[0]["steps"]]
    if len(bands) > 3:
        bands = [bands[0], bands[len(bands) // 2], bands[-1]]
    names = [_name(entry) for entry in shown]
    lines = [line for name in names for line in name]
    left = min(max(style.text_width_in(line) for line in lines) + 0.16, 1.9)
    row_in = max(_BAND_IN * len(bands), _LINE_IN * max(len(name) for name in names)) + _GAP_IN
    height = len(shown) * row_in
    figure, panels = style.sheet(
        [
            Row(height, above=0.56, below=0.30, left=left, right=0.16),
            Row(height, above=0.34, below=0.30, left=left, right=0.16),
        ]
    )
    for [panel], (kind, key, unit, title, places) in zip(panels, _PANELS, strict=True):
        panel.set_title(title)
        low, high = (shown[0]["allowed"][f"{kind}_{end}_{unit}"] for end in ("low", "high"))
        low, high = -math.inf if low is None else low, math.inf if high is None else high
        _panel(panel, shown, bands, (kind, key, unit, places), (low, high), _BAND_IN / row_in)
        panel.set_yticks(
            [place + 0.5 for place in range(len(shown))],
            ["\n".join(style.shortened(line, left - 0.1) for line in name) for name in names],
        )
    _key(figure, bands)
    return figure


def _name(entry: Mapping) -> tuple[str, ...]:
    """The candidate; below it what is changed with it, what else is varied, and whether its data are from memory."""
    capacitor = entry["verdict"].rpartition(": ")[2] if entry["kind"] == "capacitor" else ""
    data = "not verified" if entry["unverified"] else ""
    lines = (entry["opamp"], capacitor, chosen_text(entry["others"].items()), data)
    return tuple(style.drawable(text) for text in lines if text)


def _range(shown, key: str, kind: str, unit: str, limit: tuple[float, float]) -> float:
    """Half the width of the axis: what the array takes and all usable candidates, within reason."""
    ends = [abs(end) for end in limit if math.isfinite(end)]
    useful = [
        abs(value)
        for entry in shown
        if entry["kind"] != "no" or not ends
        for step in entry["steps"]
        for value in (step[key], step[f"{kind}_low_{unit}"], step[f"{kind}_high_{unit}"])
        if value is not None
    ]
    if not ends:
        return 1.15 * max([*useful, 0.1])
    return max(1.5 * max(ends), min(1.15 * max([*useful, 0.0]), _WIDEST * max(ends)))


def _panel(panel, shown, bands, what: tuple, limit: tuple[float, float], slot: float) -> None:
    kind, key, unit, places = what
    half = _range(shown, key, kind, unit, limit)
    panel.set_xlim(-half, half)
    panel.set_ylim(len(shown), 0)
    axes.forbid(panel, *limit)
    panel.axvline(0, color=inks.SOFT, lw=0.8)
    for row, entry in enumerate(shown):
        if row:
            panel.axhline(row, color=inks.GRID, lw=0.7)
        for place, band in enumerate(bands):
            step = next(step for step in entry["steps"] if step["frequency_hz"] == band)
            y = row + 0.5 + (place - (len(bands) - 1) / 2) * slot
            ends = (step[f"{kind}_low_{unit}"], step[f"{kind}_high_{unit}"])
            _mark(panel, y, step[key], ends, FAMILIES[place], half, places)
    axes.value_axis(panel.xaxis, most=6)
    panel.yaxis.set_minor_locator(NullLocator())
    panel.tick_params(axis="y", length=0)
    panel.grid(False, axis="y")
    panel.spines["left"].set_visible(False)


def _mark(panel, y: float, value: float, ends, family, half: float, places: int) -> None:
    if abs(value) > half:
        side = 1 if value > 0 else -1
        panel.plot([side * half * 0.97], [y], marker=">" if side > 0 else "<", color=family.ink, ms=5, ls="", zorder=3)
        panel.annotate(
            f"{value:+.{places}f}".replace("-", "−"),
            (side * half * 0.94, y),
            xytext=(-5 * side, 0),
            textcoords="offset points",
            ha="right" if side > 0 else "left",
            va="center",
            fontsize=style.SMALL_PT - 0.5,
            bbox={"facecolor": inks.PAPER, "edgecolor": "none", "pad": 0.6},
            zorder=4,
        )
        return
    if None not in ends:
        panel.plot(ends, [y, y], color=family.ink, lw=1.8, alpha=0.55, solid_capstyle="butt", zorder=2)
    panel.plot([value], [y], marker=family.marker, color=family.ink, ms=4.6, ls="", zorder=3)


def _key(figure, bands: Sequence[float]) -> None:
    """Which mark is which band, in one line at the top."""
    height = figure.get_figheight()
    for place, (band, family) in enumerate(zip(bands, FAMILIES, strict=False)):
        x, y = 0.035 + 0.24 * place, 1 - 0.14 / height
        figure.add_artist(Line2D([x], [y], marker=family.marker, color=family.ink, ls="", ms=4.6))
        figure.text(x + 0.02, y, axes.frequency_text(band), va="center", fontsize=style.SMALL_PT)
