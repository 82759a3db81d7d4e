"""Axes in an engineer's words: "1.8 MHz" below, labels at the line ends, forbidden zones hatched."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullFormatter, NullLocator
from matplotlib.transforms import blended_transform_factory

from sim.plots import inks, style
from sim.quantity import format_quantity


def frequency_text(freq_hz: float) -> str:
    """A frequency as it is spoken: "1.83 MHz". [Hz]"""
    return format_quantity(float(freq_hz), "Hz")


def frequency_ticks(low_hz: float, high_hz: float, most: int) -> list[float]:
    """Round frequencies between two bounds, no more than asked for. [Hz]

    Steps of 1-2-5, else 1-3, else decades, else every second or third decade; the first that fits.
    """
    decades = range(math.floor(math.log10(low_hz)), math.ceil(math.log10(high_hz)) + 1)
    for steps in ((1, 2, 5), (1, 3), (1,)):
        ticks = [s * 10.0**d for d in decades for s in steps]
        ticks = [t for t in ticks if low_hz * 0.999 <= t <= high_hz * 1.001]
        if len(ticks) <= most:
            return ticks
    for stride in (2, 3, 4):
        if len(ticks[::stride]) <= most:
            return ticks[::stride]
    return ticks[:: len(ticks)]


def frequency_axis(panel, low_hz: float, high_hz: float, most: int = 6) -> None:
    """Make the horizontal axis a logarithmic frequency axis with words for ticks. [Hz]"""
    panel.set_xscale("log")
    panel.set_xlim(low_hz, high_hz)
    ticks = frequency_ticks(low_hz, high_hz, most)
    while len(ticks) > 1 and _crowded(panel, ticks):
        ticks = frequency_ticks(low_hz, high_hz, len(ticks) - 1)
    panel.xaxis.set_major_locator(FixedLocator(ticks))
    panel.xaxis.set_major_formatter(FuncFormatter(lambda value, _: frequency_text(value)))
    panel.xaxis.set_minor_locator(NullLocator())
    panel.xaxis.set_minor_formatter(NullFormatter())


def _crowded(panel, ticks: list[float]) -> bool:
    """True where the words at the ticks would touch."""
    low, high = panel.get_xlim()
    width_in = panel.get_position().width * style.WIDTH_IN
    centres = [math.log(t / low) / math.log(high / low) * width_in for t in ticks]
    halves = [style.text_width_in(frequency_text(t)) / 2 for t in ticks]
    return any(centres[i + 1] - halves[i + 1] < centres[i] + halves[i] + 0.04 for i in range(len(ticks) - 1))


def value_axis(axis, most: int = 5) -> None:
    """Few round ticks without offsets or powers of ten."""
    axis.set_major_locator(MaxNLocator(nbins=most, steps=[1, 2, 2.5, 5, 10]))
    axis.set_major_formatter(FuncFormatter(lambda value, _: plain(value)))


def level_axis(panel, low: float, high: float) -> None:
    """Make the vertical axis logarithmic with plain numbers for ticks (0.1, 1, 10 …)."""
    panel.set_yscale("log")
    panel.set_ylim(low, high)
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    for steps in ((1, 2, 5), (1, 3), (1,)):
        ticks = [s * 10.0**d for d in decades for s in steps if low <= s * 10.0**d <= high]
        if len(ticks) <= 7:
            break
    panel.yaxis.set_major_locator(FixedLocator(ticks))
    panel.yaxis.set_major_formatter(FuncFormatter(lambda value, _: plain(value)))
    panel.yaxis.set_minor_locator(NullLocator())


def plain(value: float) -> str:
    """A number without needless digits and with a true minus sign."""
    text = f"{value:.6g}"
    return "0" if text in ("-0", "0") else text.replace("-", "−")


def band_marks(panel, bands_hz: Sequence[float], named: bool) -> None:
    """Thin lines where the study reads its measures; named at the top where there is room. [Hz]"""
    low, high = panel.get_xlim()
    place = blended_transform_factory(panel.transData, panel.transAxes)
    shown = [f for f in bands_hz if low <= f <= high]
    for f in shown:
        panel.axvline(f, color=inks.SOFT, lw=0.7, ls=(0, (1, 2)), zorder=1)
    if not named:
        return
    width_in = panel.get_position().width * style.WIDTH_IN
    free_from = -math.inf
    for f in shown:
        text = plain(round(f / 1e6, 3))
        centre = math.log(f / low) / math.log(high / low) * width_in
        half = style.text_width_in(text) / 2
        if centre - half < free_from:  # a neighbour's name stands there already
            continue
        panel.text(
            f,
            1.01,
            text,
            transform=place,
            ha="center",
            va="bottom",
            fontsize=style.SMALL_PT - 0.5,
            color=inks.SOFT,
        )
        free_from = centre + half + 0.05


def apart(positions: Sequence[float], gap: float, low: float, high: float) -> np.ndarray:
    """Positions moved as little as needed to stand a gap apart between two bounds.

    Parameters
    ----------
    positions : sequence of float, length n
        Where each would like to be.
    gap, low, high : float
        Same unit. If n gaps do not fit, they stand evenly from low to high.

    Returns
    -------
    moved : ndarray, shape (n,)
        In the order given.
    """
    wish = np.clip(np.asarray(positions, dtype=float), low, high)
    order = np.argsort(wish, kind="stable")
    n = len(wish)
    if n > 1 and (n - 1) * gap > high - low:
        gap = (high - low) / (n - 1)
    # Less the stacked gaps, "at least a gap apart" is "not decreasing": pool neighbours that cross.
    blocks: list[list[float]] = []
    for rank, value in enumerate(wish[order]):
        blocks.append([value - rank * gap, 1])
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            last, count = blocks.pop()
            blocks[-1] = [
                (blocks[-1][0] * blocks[-1][1] + last * count) / (blocks[-1][1] + count),
                blocks[-1][1] + count,
            ]
    level = np.concatenate([np.full(int(count), mean) for mean, count in blocks]) if n else np.empty(0)
    level = np.clip(level, low, high - (n - 1) * gap) + np.arange(n) * gap if n else level
    moved = np.empty(n)
    moved[order] = level
    return moved


def end_labels(
    panel,
    ends: Sequence[float],
    texts: Sequence[str],
    colours: Sequence[str],
    size_pt: float = style.SMALL_PT,
) -> None:
    """Write each line's name beside its right end, never one upon another.

    Parameters
    ----------
    panel : matplotlib.axes.Axes
        Limits and scale already set; names stand outside, to the right.
    ends : sequence of float
        The value at which each line leaves the panel, in data units.
    texts, colours : sequence of str
        Same length.
    size_pt : float
        Of the letters. [pt]
    """
    if not len(ends):
        return
    box = panel.get_position()
    height_in = box.height * panel.figure.get_figheight()
    width_in = box.width * style.WIDTH_IN
    at = panel.transAxes.inverted().transform(
        panel.transData.transform(np.column_stack([np.full(len(ends), panel.get_xlim()[1]), ends]))
    )[:, 1]
    at = np.clip(np.nan_to_num(at, nan=0.0), 0.0, 1.0)
    lift = size_pt * 1.22 / 72 / height_in
    moved = apart(at, lift, 0.0, 1.0)
    for own, seat, text, colour in zip(at, moved, texts, colours, strict=True):
        panel.annotate(
            text,
            xy=(1.0, own),
            xytext=(1.0 + 0.11 / width_in, seat),
            xycoords="axes fraction",
            textcoords="axes fraction",
            va="center",
            ha="left",
            fontsize=size_pt,
            color=colour,
            annotation_clip=False,
            # From the middle of the name's left edge: from its centre, a steep line would run through its neighbours.
            arrowprops={
                "arrowstyle": "-",
                "color": colour,
                "lw": 0.7,
                "shrinkA": 0.5,
                "shrinkB": 0,
                "relpos": (0.0, 0.5),
            },
        )


def forbid(panel, low: float, high: float, along: str = "x") -> None:
    """Hatch what lies outside a limit and draw the limit itself; an infinite side is left open.

    Parameters
    ----------
    panel : matplotlib.axes.Axes
    low, high : float
        The limit, in data units.
    along : {"x", "y"}
        The axis it is read on.
    """
    first, last = panel.get_xlim() if along == "x" else panel.get_ylim()
    span, line = (panel.axvspan, panel.axvline) if along == "x" else (panel.axhspan, panel.axhline)
    paint = {
        "facecolor": "none",
        "edgecolor": inks.FORBIDDEN,
        "hatch": "////",
        "lw": 0,
        "alpha": 0.6,
        "zorder": 0.6,
    }
    if math.isfinite(low) and low > first:
        span(first, min(low, last), **paint)
        line(low, color=inks.FORBIDDEN, lw=1.3, zorder=1.5)
    if math.isfinite(high) and high < last:
        span(max(high, first), last, **paint)
        line(high, color=inks.FORBIDDEN, lw=1.3, zorder=1.5)
