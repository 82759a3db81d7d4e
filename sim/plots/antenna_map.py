"""How far every unit stays from oscillation with every antenna: a map over capacitance and inductance."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.patches import Rectangle

from sim.plots import inks, shades, style
from sim.plots.style import Row
from sim.quantity import format_quantity

GAP = 0.35
"""Between the map and the rows of removed and shorted antennas, in cells."""


def antenna_map(table: pd.DataFrame, scenario: int, low_limit: float = np.nan):
    """Draw the smallest margin over all units for each capacitance and lead, and for no antenna and a short.

    Parameters
    ----------
    table : DataFrame
        antennas.csv.
    scenario : int
        Which is drawn.
    low_limit : float
        The least margin that the study allows; NaN for none. [1]

    Returns
    -------
    figure : matplotlib.figure.Figure or None
        None where no unit was simulated.
    """
    own = table[(table["scenario"] == scenario) & (table["units"] > 0)]
    if own.empty:
        return None
    leads = sorted(set(own["inductance_h"]))
    grid = own[own["antenna"] == "nominal"]
    shares = sorted(set(grid["capacitance_share"]), reverse=True)
    labels = [_capacitance(grid, share) for share in shares]
    lines = [float(i) for i in range(len(shares))]
    after = len(shares) - 1 + GAP if shares else -1.0
    others = [case for case in ("shorted", "removed") if (own["antenna"] == case).any()]
    lines += [after + 1 + i for i in range(len(others))]
    labels += others
    place = {("nominal", share): line for share, line in zip(shares, lines, strict=False)}
    place |= {(case, None): line for case, line in zip(others, lines[len(shares) :], strict=True)}
    left = max(style.text_width_in(label) for label in labels) + 0.3
    signs = shades.signs_told(own, low_limit)
    height = lines[-1] + 1
    rows = [
        Row(0.2, above=0.30, below=0.26 if signs else 0.04, left=0.14),
        Row(shades.CELL_IN * 1.15 * height, above=0.1, below=0.42, left=left),
    ]
    figure, [[key], [panel]] = style.sheet(rows)
    shades.draw_key(key, signs)
    for row in own.itertuples():
        where = (row.antenna, row.capacitance_share if row.antenna == "nominal" else None)
        # Without an antenna a lead does nothing: one cell as wide as the map.
        wide = len(leads) if row.antenna == "removed" else 1
        _cell(panel, leads.index(row.inductance_h), place[where], wide, row, low_limit)
    panel.set_xlim(-0.5, len(leads) - 0.5)
    panel.set_ylim(lines[-1] + 0.5, -0.5)
    panel.grid(False)
    panel.set_yticks(lines, labels)
    panel.set_xticks(range(len(leads)), ["none" if not lead else f"{lead * 1e6:g}" for lead in leads])
    panel.tick_params(length=0)
    for side in ("left", "bottom"):
        panel.spines[side].set_visible(False)
    panel.set_xlabel("inductance of the lead, uH")
    if shares:
        known = grid["capacitance_f"].notna().any()
        panel.set_ylabel("antenna's capacitance" if known else "share of its own", loc="center")
    return figure


def _capacitance(grid: pd.DataFrame, share: float) -> str:
    farads = grid.loc[grid["capacitance_share"] == share, "capacitance_f"].iloc[0]
    text = format_quantity(farads, "F", 3) if np.isfinite(farads) else f"{share:g}"
    return f"{text}, own" if share == 1 else text


def _cell(panel, column: int, line: float, wide: int, row, low_limit: float) -> None:
    shade, sign = shades.shade_of(row), shades.sign_of(row, low_limit)
    panel.add_patch(Rectangle((column - 0.5, line - 0.5), wide, 1.0, fc=inks.BLUE, alpha=shade, ec=inks.PAPER, lw=0.6))
    bad = sign in (shades.OSCILLATES, shades.UNSURE)
    panel.text(
        column - 0.5 + wide / 2,
        line,
        sign if bad else f"{sign} {row.margin_min:.2f}".strip(),
        ha="center",
        va="center_baseline",
        color=shades.ink_on(shade),
        fontsize=style.SMALL_PT,
        weight="bold" if bad else "normal",
    )
