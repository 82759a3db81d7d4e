"""Rows of small histograms on one value axis: the same measure in several bands or scenarios."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.plots import axes, inks, style

ROW_IN = 0.30
_BINS = 48


@dataclass(frozen=True)
class Ridge:
    """One histogram: its name, its values (finite ones are drawn), the nominal one, a note at the right."""

    label: str
    values: np.ndarray
    nominal: float
    note: str = ""


@dataclass(frozen=True)
class Heading:
    """A line between histograms: which scenario the rows below belong to."""

    label: str


def span_of(ridges: list[Ridge], low: float, high: float) -> tuple[float, float]:
    """The stretch of values worth showing: where the units are, and the limits unless far away.

    Values further out than three times the 90 % range are left to the edge of the panel, so that one wild
    unit does not flatten all others. A limit is far away beyond five times the span of the units.
    """
    sets = [np.asarray(r.values, dtype=float) for r in ridges]
    sets = [s[np.isfinite(s)] for s in sets]
    sets = [s for s in sets if s.size]
    if not sets:
        return 0.0, 1.0
    first, last = np.inf, -np.inf
    for values in sets:
        p05, p95 = np.quantile(values, [0.05, 0.95])
        reach = 3 * (p95 - p05)
        first = min(first, max(values.min(), p05 - reach))
        last = max(last, min(values.max(), p95 + reach))
    size = max(last - first, 1e-3 * max(abs(first), abs(last)), 1e-9)
    for limit in (low, high):
        if np.isfinite(limit) and first - 5 * size < limit < last + 5 * size:
            first, last = min(first, limit), max(last, limit)
    slack = 0.06 * max(last - first, size)
    return first - slack, last + slack


def draw(panel, ridges: list[Ridge | Heading], low: float, high: float) -> None:
    """Draw the rows from top to bottom with the limit hatched across them.

    Parameters
    ----------
    panel : matplotlib.axes.Axes
        As high as the rows need (``ROW_IN`` each).
    ridges : list of Ridge or Heading
    low, high : float
        Limits, infinite where open, in the unit of the values.
    """
    first, last = span_of([r for r in ridges if isinstance(r, Ridge)], low, high)
    panel.set_xlim(first, last)
    panel.set_ylim(len(ridges) - 0.05, -0.12)
    edges = np.linspace(first, last, _BINS + 1)
    axes.forbid(panel, low, high)
    for place, ridge in enumerate(ridges):
        base = place + 0.86
        if isinstance(ridge, Heading):
            panel.annotate(
                ridge.label,
                (0.02, base - 0.20),
                xycoords=("figure fraction", "data"),
                ha="left",
                va="center",
                fontsize=style.SMALL_PT,
                weight="bold",
                zorder=5,
                bbox={"facecolor": inks.PAPER, "edgecolor": "none", "pad": 1.5},
            )
            continue
        values = np.asarray(ridge.values, dtype=float)
        values = values[np.isfinite(values)]
        panel.annotate(
            ridge.label,
            (0, base - 0.28),
            xycoords=("axes fraction", "data"),
            xytext=(-5, 0),
            textcoords="offset points",
            ha="right",
            va="center",
            fontsize=style.SMALL_PT,
        )
        panel.axhline(base, color=inks.GRID, lw=0.8, zorder=1)
        if values.size:
            counts, _ = np.histogram(np.clip(values, first, last), edges)
            tall = 0.80 * counts / counts.max()
            panel.fill_between(
                edges,
                base - np.append(tall, tall[-1]),
                base,
                step="post",
                color=inks.BLUE,
                alpha=0.85,
                lw=0,
                zorder=2,
            )
            panel.plot([np.median(values)] * 2, [base, base - 0.80], color=inks.INK, lw=1.2, zorder=3)
        if np.isfinite(ridge.nominal):
            panel.plot(
                [np.clip(ridge.nominal, first, last)],
                [base],
                marker="D",
                ms=4.4,
                mfc=inks.PAPER,
                mec=inks.INK,
                mew=1.1,
                ls="",
                zorder=4,
                clip_on=False,
            )
        panel.annotate(
            ridge.note,
            (1, base - 0.28),
            xycoords=("axes fraction", "data"),
            xytext=(5, 0),
            textcoords="offset points",
            ha="left",
            va="center",
            fontsize=style.SMALL_PT,
        )
    panel.set_yticks([])
    panel.spines["left"].set_visible(False)
    panel.grid(False, axis="y")
    axes.value_axis(panel.xaxis, most=6)
