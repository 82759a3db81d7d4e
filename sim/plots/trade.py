"""What each value of a swept choice does: gain, noise and stability against it, the best value marked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from sim.noise.density import snr_loss
from sim.plots import axes, inks, style, words
from sim.plots.style import FAMILIES, Row
from sim.quantity import WORDS

LOSS = "snr_loss_db"
_ALWAYS = ("system_gain_db", "noise_margin_db", LOSS, "stability_margin")
_MOST_PANELS = 7
_ROOM_IN = 0.72
_HEIGHT_IN = 1.0
_LOG_FROM = 8.0
"""Ratio of largest to smallest value from which the axis is logarithmic. [1]"""


@dataclass(frozen=True)
class _Line:
    """One measure at one band against the swept value; nan where the nominal unit has none."""

    band_hz: float
    nominal: np.ndarray
    p05: np.ndarray
    p95: np.ndarray


def trade(optimum: Mapping, summary: pd.DataFrame, alike: Sequence[Mapping] = ()):
    """Draw small panels, one a measure, over the values of one swept choice.

    Parameters
    ----------
    optimum : mapping
        One of the answer's optima: name, numbers [SI], values, scenarios, keeps, best, flat.
    summary : DataFrame
        summary.csv.
    alike : sequence of mapping
        Optima of the same key with other choices; all of them get the same vertical ranges.

    Returns
    -------
    figure : matplotlib.figure.Figure or None
        None where no measure has a number.
    """
    measures = _measures(summary)
    every = [one for one in (optimum, *alike) if one["key"] == optimum["key"]]
    drawn = [(m, _lines(optimum, summary, m)) for m in measures]
    drawn = [(m, lines) for m, lines in drawn if lines][:_MOST_PANELS]
    if not drawn:
        return None
    rows = [Row(_HEIGHT_IN, above=0.30, below=0.04, right=_ROOM_IN) for _ in drawn]
    rows[0] = Row(_HEIGHT_IN, above=0.50, below=0.04, right=_ROOM_IN)
    rows[-1] = Row(_HEIGHT_IN, above=rows[-1].above, below=0.46, right=_ROOM_IN)
    figure, panels = style.sheet(rows)
    for place, ((measure, lines), [panel]) in enumerate(zip(drawn, panels, strict=True)):
        low, high = _limit(summary, measure)
        seen = [line for one in every for line in _lines(one, summary, measure)]
        panel.set_title(_title(measure, summary))
        _value_axis(panel, optimum, named=place == len(drawn) - 1)
        panel.set_ylim(*_range(seen, low, high))
        axes.value_axis(panel.yaxis, most=4)
        _mark(panel, optimum, named=place == 0)
        ends = []
        for line, family in zip(lines, FAMILIES, strict=False):
            _draw(panel, optimum, line, family)
            last = line.nominal[np.isfinite(line.nominal)]
            ends.append(float(last[-1]) if last.size else np.nan)
        axes.forbid(panel, low, high, along="y")
        if np.isfinite(lines[0].band_hz):
            names = [axes.frequency_text(line.band_hz) for line in lines]
            axes.end_labels(panel, ends, names, [family.ink for family in FAMILIES[: len(lines)]])
    return figure


def _measures(summary: pd.DataFrame) -> list[str]:
    """What is drawn: gain, noise and stability, then whatever else has a limit and is no match and no verdict."""
    bounded = summary["limit_low"].notna() | summary["limit_high"].notna()
    limited = [str(m) for m in dict.fromkeys(summary.loc[bounded, "measure"])]
    rest = [m for m in limited if m not in _ALWAYS and m != "stable" and not m.startswith(("match_", "("))]
    first = [m for m in rest if m == "gain_db"]
    return [_ALWAYS[0], *first, *_ALWAYS[1:], *(m for m in rest if m not in first)]


def _lines(optimum: Mapping, summary: pd.DataFrame, measure: str) -> list[_Line]:
    """A line for each of at most three bands: the lowest, the middle and the highest."""
    own = summary[summary["measure"] == ("noise_margin_db" if measure == LOSS else measure)]
    own = own[own["scenario"].isin(optimum["scenarios"])]
    bands = sorted(float(f) for f in own["frequency_hz"].dropna().unique())
    if len(bands) > 3:
        bands = [bands[0], bands[len(bands) // 2], bands[-1]]
    found = []
    for band in bands or [np.nan]:
        rows = own[np.isclose(own["frequency_hz"], band, rtol=1e-9)] if bands else own
        rows = rows.drop_duplicates("scenario").set_index("scenario").reindex(optimum["scenarios"])
        nominal, p05, p95 = (rows[name].to_numpy(dtype=float) for name in ("nominal", "p05", "p95"))
        if measure == LOSS:  # a small margin is a large loss
            nominal, p05, p95 = snr_loss(nominal), snr_loss(p95), snr_loss(p05)
        if np.isfinite(nominal).any():
            found.append(_Line(band, nominal, p05, p95))
    return found


def _title(measure: str, summary: pd.DataFrame) -> str:
    if measure == LOSS:
        return "Loss of signal to noise, dB"
    unit = str(summary.loc[summary["measure"] == measure, "unit_of_measure"].iloc[0])
    return words.heading(measure, unit)


def _limit(summary: pd.DataFrame, measure: str) -> tuple[float, float]:
    rows = summary[summary["measure"] == measure]
    if rows.empty:
        return np.nan, np.nan
    return float(rows["limit_low"].iloc[0]), float(rows["limit_high"].iloc[0])


def _range(lines: Sequence[_Line], low: float, high: float) -> tuple[float, float]:
    """Where the lines run, and the limits unless they are far away."""
    values = np.concatenate([np.concatenate([line.nominal, line.p05, line.p95]) for line in lines])
    values = values[np.isfinite(values)]
    first, last = float(values.min()), float(values.max())
    size = max(last - first, 0.05 * max(abs(first), abs(last)), 1e-6)
    for limit in (low, high):
        if np.isfinite(limit) and first - 20 * size < limit < last + 20 * size:
            first, last = min(first, limit), max(last, limit)
    slack = 0.09 * max(last - first, size)
    return first - slack, last + slack


def _value_axis(panel, optimum: Mapping, named: bool) -> None:
    """The swept value, logarithmic where it spans much, with the values tried for ticks as far as they fit."""
    numbers = np.asarray(optimum["numbers"], dtype=float)
    if numbers[0] > 0 and numbers[-1] / numbers[0] >= _LOG_FROM:
        panel.set_xscale("log")
        edge = (numbers[-1] / numbers[0]) ** 0.03
        panel.set_xlim(numbers[0] / edge, numbers[-1] * edge)
    else:
        edge = 0.03 * (numbers[-1] - numbers[0])
        panel.set_xlim(numbers[0] - edge, numbers[-1] + edge)
    kept = _fitting(panel, optimum)
    texts = dict(kept)
    panel.xaxis.set_major_locator(FixedLocator([number for number, _ in kept]))
    panel.xaxis.set_minor_locator(NullLocator())
    panel.xaxis.set_major_formatter(FuncFormatter(lambda value, _: texts.get(value, "")))
    panel.tick_params(axis="x", labelbottom=named)
    if named:
        panel.set_xlabel(style.shortened(style.drawable(optimum["name"]), 3.0))


def _fitting(panel, optimum: Mapping) -> list[tuple[float, str]]:
    """Values and their texts for ticks, the ends and the best first, none closer to another than its letters allow."""
    numbers, best = list(optimum["numbers"]), optimum["best"]
    texts = [style.shortened(style.drawable(value_text(text)), 0.8) for text in optimum["values"]]
    width_in = panel.get_position().width * style.WIDTH_IN
    to_axes = panel.transData + panel.transAxes.inverted()
    at = [to_axes.transform((number, panel.get_ylim()[0]))[0] * width_in for number in numbers]
    half = [style.text_width_in(text) / 2 + 0.03 for text in texts]
    order = [0, len(numbers) - 1]
    if best:
        order.insert(0, optimum["scenarios"].index(best["scenario"]))
    for stride in (4, 2, 1):
        order += range(0, len(numbers), stride)
    kept: list[int] = []
    for place in dict.fromkeys(order):
        if all(abs(at[place] - at[other]) >= half[place] + half[other] for other in kept):
            kept.append(place)
    return [(numbers[place], texts[place]) for place in sorted(kept)]


def value_text(text: str) -> str:
    """A value as a tick names it: without tolerance and words, "56p" of "56p 2% C0G"."""
    first, _, rest = str(text).partition(" ")
    unit = rest.split(" ")[0]
    spoken = unit.isalpha() and unit.lower() not in WORDS and first[-1:].isdigit()
    return f"{first} {unit}" if spoken else first


def _mark(panel, optimum: Mapping, named: bool) -> None:
    """The stretch that is as good as the best, and the best itself."""
    best, flat, numbers = optimum["best"], optimum["flat"], optimum["numbers"]
    if best is None:
        return
    of = dict(zip(optimum["scenarios"], numbers, strict=True))
    first, last = of[flat["scenarios"][0]], of[flat["scenarios"][-1]]
    if last > first:
        panel.axvspan(first, last, color=inks.GRID, alpha=0.55, lw=0, zorder=0.4)
    panel.axvline(of[best["scenario"]], color=inks.INK, lw=1.1, ls=(0, (6, 1.5, 1.2, 1.5)), zorder=1.2)
    if not named:
        return
    box = panel.get_position()
    width_in, height_in = box.width * style.WIDTH_IN, box.height * panel.figure.get_figheight()
    text = f"best: {style.shortened(style.drawable(value_text(best['value'])), 1.0)}"
    at = (panel.transData + panel.transAxes.inverted()).transform((of[best["scenario"]], panel.get_ylim()[0]))[0]
    half = style.text_width_in(text) / 2 / width_in
    panel.text(
        min(max(at, half), 1.0 + _ROOM_IN / width_in - half - 0.02),
        1.0 + 0.24 / height_in,
        text,
        transform=panel.transAxes,
        ha="center",
        va="bottom",
        fontsize=style.SMALL_PT,
    )


def _draw(panel, optimum: Mapping, line: _Line, family) -> None:
    numbers = np.asarray(optimum["numbers"], dtype=float)
    keeps = np.asarray(optimum["keeps"], dtype=bool)
    panel.fill_between(numbers, line.p05, line.p95, color=family.ink, alpha=0.2, lw=0)
    panel.plot(numbers, line.nominal, color=family.ink, ls=family.dash, lw=1.3)
    for chosen, face in ((keeps, family.ink), (~keeps, inks.PAPER)):
        look = {"marker": family.marker, "ms": 3.6, "mec": family.ink, "mew": 0.9, "mfc": face}
        panel.plot(numbers[chosen], line.nominal[chosen], ls="", **look)
