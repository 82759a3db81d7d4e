"""How far every unit stays from oscillation on every feedline: a map over length and far end, a panel a cable."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.patches import Rectangle
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from sim.plots import axes, inks, shades, style
from sim.plots.style import Row
from sim.stability.family import OWN

MOST_CABLES = 3
_ENDS = {"half": "half of Z0", "double": "twice Z0"}


def feedline_map(table: pd.DataFrame, scenario: int, low_limit: float = np.nan):
    """Draw the smallest margin over all units for each length and far end.

    Parameters
    ----------
    table : DataFrame
        stability.csv.
    scenario : int
        Which is drawn.
    low_limit : float
        The least margin that the study allows; NaN for none. [1]

    Returns
    -------
    figure : matplotlib.figure.Figure or None
    cables : tuple of str
        Those drawn, worst first where not all fit.
    """
    own = table[(table["scenario"] == scenario) & (table["cable"] != OWN) & (table["length_m"] > 0)]
    own = own[own["units"] > 0]
    if own.empty:
        return None, ()
    cables = list(dict.fromkeys(own["cable"]))
    if len(cables) > MOST_CABLES:
        badness = own.groupby("cable").agg(bad=("unstable", "sum"), least=("margin_min", "min"))
        cables = list(badness.sort_values(["bad", "least"], ascending=[False, True]).index[:MOST_CABLES])
    ends = list(dict.fromkeys(own["far_end"]))
    labels = [style.shortened(_ENDS.get(end, style.drawable(end)), 0.9) for end in ends]
    left = max(style.text_width_in(label) for label in labels) + 0.14
    signs = shades.signs_told(own, low_limit)
    rows = [Row(0.2, above=0.30, below=0.26 if signs else 0.04, left=left)]
    for number in range(len(cables)):
        last = number == len(cables) - 1
        rows.append(Row(shades.CELL_IN * len(ends), above=0.26, below=0.42 if last else 0.1, left=left))
    figure, panels = style.sheet(rows)
    shades.draw_key(panels[0][0], signs)
    for cable, [panel] in zip(cables, panels[1:], strict=True):
        _map(panel, own[own["cable"] == cable], ends, labels, low_limit)
        panel.set_title(style.shortened(style.drawable(cable), 3.0, style.SIZE_PT, bold=True))
        if cable != cables[-1]:
            panel.tick_params(labelbottom=False)
    panels[-1][0].set_xlabel("length, m")
    return figure, tuple(cables)


def _map(panel, rows: pd.DataFrame, ends, labels, low_limit: float) -> None:
    lengths = np.array(sorted(set(rows["length_m"])))
    edges = _edges(lengths)
    for row in rows.itertuples():
        place, line = int(np.searchsorted(lengths, row.length_m)), ends.index(row.far_end)
        shade = shades.shade_of(row)
        panel.add_patch(
            Rectangle(
                (edges[place], line - 0.5), edges[place + 1] - edges[place], 1.0, fc=inks.BLUE, alpha=shade, lw=0
            )
        )
        sign = shades.sign_of(row, low_limit)
        if sign:
            middle = np.sqrt(edges[place] * edges[place + 1])
            panel.text(
                middle, line, sign, ha="center", va="center_baseline", color=shades.ink_on(shade), weight="bold",
                clip_on=True,
            )  # fmt: skip
    for edge in edges[1:-1]:
        panel.axvline(edge, color=inks.PAPER, lw=0.6)
    for line in range(1, len(ends)):
        panel.axhline(line - 0.5, color=inks.PAPER, lw=0.6)
    panel.set_xscale("log")
    panel.set_xlim(edges[0], edges[-1])
    panel.set_ylim(len(ends) - 0.5, -0.5)
    panel.grid(False)
    panel.yaxis.set_major_locator(FixedLocator(range(len(ends))))
    panel.set_yticks(range(len(ends)), labels)
    panel.tick_params(length=0, axis="y")
    ticks = [s * 10.0**d for d in range(-3, 5) for s in (1, 2, 5) if edges[0] <= s * 10.0**d <= edges[-1]]
    if len(ticks) > 11:
        ticks = [t for t in ticks if not f"{t:e}".startswith("2")]
    panel.xaxis.set_major_locator(FixedLocator(ticks))
    panel.xaxis.set_major_formatter(FuncFormatter(lambda value, _: axes.plain(value)))
    panel.xaxis.set_minor_locator(NullLocator())


def _edges(lengths: np.ndarray) -> np.ndarray:
    """Borders half way between neighbours in the logarithm; a single length gets a fifth on either side."""
    if len(lengths) == 1:
        return lengths[0] * np.array([1 / 1.2, 1.2])
    middle = np.sqrt(lengths[1:] * lengths[:-1])
    return np.concatenate([[lengths[0] ** 2 / middle[0]], middle, [lengths[-1] ** 2 / middle[-1]]])
