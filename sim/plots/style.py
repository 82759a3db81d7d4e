"""The look of every figure: sheet size, type, line families, saving.

A sheet is 4.6 inches wide. Two stand side by side on a laptop, one fills a phone, and in both places the
type stays between 9 and 13 pixels. Sizes are given in inches because labels do not shrink with a panel.
Text is stored as outlines: the same picture everywhere, whatever fonts are installed.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import matplotlib
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure as Sheet
from matplotlib.font_manager import findfont, get_font

from sim.plots import inks
from sim.tables import replace_file

WIDTH_IN = 4.6
SIZE_PT = 9.4
SMALL_PT = 8.5

RC = {
    "svg.fonttype": "path",
    "svg.hashsalt": "bandfloor",
    "text.parse_math": False,  # titles and part names come from outside: "$" is a character, not a formula
    "font.family": "DejaVu Sans",
    "font.size": SIZE_PT,
    "axes.titlesize": SIZE_PT,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.titlepad": 6.0,
    "axes.titlecolor": inks.INK,
    "axes.edgecolor": inks.SOFT,
    "axes.facecolor": "none",
    "axes.linewidth": 0.8,
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.labelcolor": inks.INK,
    "axes.labelsize": SMALL_PT,
    "axes.unicode_minus": True,
    "grid.color": inks.GRID,
    "grid.linewidth": 0.7,
    "xtick.color": inks.SOFT,
    "ytick.color": inks.SOFT,
    "xtick.labelcolor": inks.INK,
    "ytick.labelcolor": inks.INK,
    "xtick.labelsize": SMALL_PT,
    "ytick.labelsize": SMALL_PT,
    "text.color": inks.INK,
    "lines.linewidth": 1.6,
    "lines.markersize": 4.0,
    "hatch.linewidth": 0.7,
    "figure.facecolor": inks.PAPER,
    "savefig.facecolor": inks.PAPER,
}


@dataclass(frozen=True)
class Family:
    """How one line among several is told from the others: dash pattern, marker and ink together."""

    dash: str | tuple[int, tuple[float, ...]]
    marker: str
    ink: str


FAMILIES = (
    Family("-", "o", inks.BLUE),
    Family((0, (5, 1.6)), "s", inks.RUST),
    Family((0, (1.2, 1.2)), "^", inks.GREEN),
    Family((0, (6, 1.5, 1.2, 1.5)), "D", inks.PLUM),
    Family((0, (9, 2)), "v", inks.OCHRE),
    Family((0, (4, 1.2, 1, 1.2, 1, 1.2)), "P", inks.STEEL),
    Family((0, (2.5, 2.5)), "X", inks.INK),
    Family((0, (1, 2.6)), "*", inks.SOFT),
)


@dataclass(frozen=True)
class Row:
    """One row of panels on a sheet; all sizes in inches.

    ``above`` holds the panel's title, ``below`` the labels of the horizontal axis, ``left`` and ``right``
    those of the vertical axis and of the line ends.
    """

    height: float
    columns: int = 1
    above: float = 0.30
    below: float = 0.28
    left: float = 0.46
    right: float = 0.14


@contextmanager
def drawing():
    """Draw with this module's settings and none of the user's own plotting configuration."""
    defaults = {key: value for key, value in matplotlib.rcParamsDefault.items() if "backend" not in key}
    with matplotlib.rc_context(rc={**defaults, **RC}):
        yield


def sheet(rows: Sequence[Row]):
    """An empty sheet with the rows of panels asked for, from top to bottom.

    Parameters
    ----------
    rows : sequence of Row
        At least one.

    Returns
    -------
    figure : matplotlib.figure.Figure
        4.6 inches wide, as high as the rows need.
    panels : list of list of matplotlib.axes.Axes
        One list a row, panels from left to right.
    """
    height = sum(row.above + row.height + row.below for row in rows)
    figure = Sheet(figsize=(WIDTH_IN, height))
    FigureCanvasSVG(figure)
    panels, top = [], height
    for row in rows:
        top -= row.above
        cell = WIDTH_IN / row.columns
        width = cell - row.left - row.right
        panels.append(
            [
                figure.add_axes(
                    (
                        (column * cell + row.left) / WIDTH_IN,
                        (top - row.height) / height,
                        width / WIDTH_IN,
                        row.height / height,
                    )
                )
                for column in range(row.columns)
            ]
        )
        top -= row.height + row.below
    return figure, panels


@lru_cache(maxsize=4096)
def text_width_in(text: str, size_pt: float = SMALL_PT, bold: bool = False) -> float:
    """How wide a text comes out. [in]"""
    font = get_font(findfont("DejaVu Sans:bold" if bold else "DejaVu Sans"))
    # Measured large and scaled down: at the size itself, advances would be rounded to whole pixels.
    font.set_size(100, 72)
    font.set_text(text)
    return font.get_width_height()[0] / 64 / 100 * size_pt / 72


def shortened(text: str, room_in: float, size_pt: float = SMALL_PT, bold: bool = False) -> str:
    """The text, cut with an ellipsis where it would be wider than the room. [in]"""
    if text_width_in(text, size_pt, bold) <= room_in:
        return text
    kept = len(text) - 1
    while kept > 1 and text_width_in(text[:kept].rstrip() + "…", size_pt, bold) > room_in:
        kept -= 1
    return text[:kept].rstrip() + "…"


@lru_cache(maxsize=4096)
def drawable(text: str) -> str:
    """The text with what the figures' font lacks replaced by a box, and no line breaks."""
    known = _letters()
    return "".join(c if ord(c) in known else "□" for c in " ".join(str(text).split()))


@lru_cache(maxsize=1)
def _letters() -> frozenset[int]:
    return frozenset(get_font(findfont("DejaVu Sans")).get_charmap())


def save(figure, path: Path) -> None:
    """Write the figure as SVG: same bytes for the same figure, and never half a file.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
    path : Path
        Its folder must exist.
    """
    with replace_file(path) as file:
        figure.savefig(file, format="svg", metadata={"Date": None, "Creator": None})
