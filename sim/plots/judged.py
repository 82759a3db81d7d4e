"""Pictures of a judged deck: the locus of the worst probe round −1, and what the worst node does after a kick."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.patches import Circle
from matplotlib.ticker import FuncFormatter, MaxNLocator

from sim.errors import BandfloorError
from sim.plots import axes, inks, style
from sim.plots.feedline_map import feedline_map
from sim.plots.style import Row
from sim.quantity import format_quantity

_HALF_WIDTH, _HALF_HEIGHT = 2.0, 1.62
_BINS = 1200


def draw_judged(trial, name: str, folder: Path, lines=None) -> list[Path]:
    """Draw the pictures into a folder, which is made where there is none.

    Parameters
    ----------
    trial : Trial
    name : str
        First part of the files' names.
    folder : Path
    lines : DeckOnLines, optional
        On every feedline, for the map.

    Returns
    -------
    list of Path

    Raises
    ------
    BandfloorError
        The folder cannot be written.
    """
    worst = trial.verdict.worst
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with style.drawing():
            written = [folder / f"{name}-locus.svg"]
            style.save(locus(worst, trial.stable), written[0])
            if trial.kick is not None:
                written.append(folder / f"{name}-kick.svg")
                style.save(after_a_kick(trial.kick), written[1])
            if lines is not None:
                written.append(folder / f"{name}-lines.svg")
                style.save(_over_lines(lines), written[-1])
    except OSError as error:
        raise BandfloorError(
            f"{folder}: the pictures cannot be written: {error.strerror}.\n  Name another folder."
        ) from error
    return written


def _over_lines(lines):
    import pandas as pd

    found = lines.found
    table = pd.DataFrame(
        {
            "scenario": 0,
            "cable": [load.line.name for load in lines.loads],
            "length_m": [float(load.line.length) for load in lines.loads],
            "far_end": [load.end_name for load in lines.loads],
            "margin_min": found.margin,
            "unstable": (found.unstable > 0).astype(int),
            "unresolved": (~found.resolved).astype(int),
            "units": 1,
        }
    )
    figure, _ = feedline_map(table, 0)
    # The map's words are those of many units; here there is one deck.
    key = figure.axes[0]
    key.set_title("Smallest distance from −1")
    for text in key.texts:
        text.set_text(text.get_text().replace("a unit oscillates", "oscillates"))
    return figure


def locus(probe, stable: bool):
    """Locus of one probe's loop gain round −1, with the circle of its margin.

    Parameters
    ----------
    probe : ProbeVerdict
    stable : bool

    Returns
    -------
    figure : matplotlib.figure.Figure
    """
    found = probe.loop
    # Wide enough for the nearest point, however far that is.
    scale = max(1.0, 1.2 * found.margin / _HALF_HEIGHT)
    high = (style.WIDTH_IN - 0.60 - 0.14) * _HALF_HEIGHT / _HALF_WIDTH
    figure, ((panel,),) = style.sheet([Row(high, above=0.52, left=0.60, below=0.44)])
    panel.set_xlim(-1 - _HALF_WIDTH * scale + 0.55, -1 + _HALF_WIDTH * scale + 0.55)
    panel.set_ylim(-_HALF_HEIGHT * scale, _HALF_HEIGHT * scale)
    near = np.abs(probe.t + 1) < 40 * scale
    t = np.where(near, probe.t, np.nan + 0j)
    panel.add_patch(Circle((0, 0), 1.0, fill=False, ec=inks.SOFT, lw=0.8, ls=(0, (1, 2))))
    panel.add_patch(Circle((-1, 0), found.margin, fc=inks.OCHRE, alpha=0.16, lw=0))
    panel.add_patch(Circle((-1, 0), found.margin, fill=False, ec=inks.OCHRE, lw=1.0))
    panel.plot(t.real, t.imag, color=inks.BLUE, lw=1.6)
    panel.plot(t.real, -t.imag, color=inks.BLUE, lw=1.0, ls=(0, (3, 2)), alpha=0.8)
    panel.plot([-1], [0], marker="+", ms=9, mew=1.8, color=inks.RUST, ls="none")
    panel.annotate(
        "unit circle",
        (np.cos(0.9), np.sin(0.9)),
        (2, 2),
        textcoords="offset points",
        color=inks.SOFT,
        fontsize=style.SMALL_PT,
    )
    low = int(np.abs(probe.freq_hz - found.margin_freq_hz).argmin())
    at = probe.t[low]
    panel.plot([at.real], [at.imag], marker="o", ms=4.5, color=inks.INK, ls="none", zorder=5)
    word = "stable" if stable else "not stable"
    panel.set_title(
        f"Loop gain at probe {style.shortened(style.drawable(probe.probe.name), 1.2)}: {word}\n"
        f"nearest to −1: {found.margin:.3f} at {format_quantity(found.margin_freq_hz, 'Hz', 3)} (dot, circle)"
    )
    panel.set_xlabel("real part (solid: positive frequencies, dashed: their mirror)")
    panel.set_ylabel("imaginary part")
    axes.value_axis(panel.xaxis)
    axes.value_axis(panel.yaxis)
    return figure


_ENDINGS = {
    "settles": "its ringing dies away",
    "undecided": "undecided",
    "grows": "it grows",
    "limit cycle": "it goes on oscillating",
    "latched": "it stays elsewhere",
}


def after_a_kick(kick):
    """A node's voltage after a kick of about a millivolt.

    Parameters
    ----------
    kick : KickTest

    Returns
    -------
    figure : matplotlib.figure.Figure
    """
    time_s, volts = _thinned(kick.time_s, kick.volts - kick.rest_v)
    time_unit, time_scale = _unit(kick.time_s[-1], (("s", 1.0), ("ms", 1e-3), ("us", 1e-6), ("ns", 1e-9)))
    unit, scale = _unit(np.abs(volts).max(), (("V", 1.0), ("mV", 1e-3), ("uV", 1e-6), ("nV", 1e-9)))
    figure, ((panel,),) = style.sheet([Row(1.9, above=0.34, left=0.62, below=0.44)])
    panel.axhline(0, color=inks.SOFT, lw=0.8)
    panel.plot(time_s / time_scale, volts / scale, color=inks.BLUE, lw=0.9)
    panel.set_xlim(0, kick.time_s[-1] / time_scale)
    panel.set_title(
        f"After a kick, node {style.shortened(style.drawable(kick.node), 1.3)}: {_ENDINGS[kick.ending.value]}"
    )
    panel.set_xlabel(f"time [{time_unit}]".replace("[us]", "[µs]"))
    panel.set_ylabel(f"away from rest [{unit}]".replace("[u", "[µ"))
    for axis in (panel.xaxis, panel.yaxis):
        axis.set_major_locator(MaxNLocator(nbins=6, steps=[1, 2, 2.5, 5, 10]))
        axis.set_major_formatter(FuncFormatter(lambda value, _: axes.plain(value)))
    return figure


def _unit(largest: float, units) -> tuple[str, float]:
    """The unit in which a value reads between 1 and 1000, and its size; the last one for what is smaller."""
    return next(((name, size) for name, size in units if largest >= size), units[-1])


def _thinned(time_s: np.ndarray, volts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Smallest and largest value of each of some hundred stretches: looks the same, and stays a small file."""
    if len(time_s) <= 2 * _BINS:
        return time_s, volts
    edges = np.searchsorted(time_s, np.linspace(0, time_s[-1], _BINS + 1))
    kept = set()
    for first, last in zip(edges[:-1], edges[1:], strict=True):
        if last > first:
            kept |= {first + int(volts[first:last].argmin()), first + int(volts[first:last].argmax())}
    order = np.array(sorted(kept))
    return time_s[order], volts[order]
