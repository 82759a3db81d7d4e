"""Shades and signs of maps of margins, and their key: a sign beside the shade, since colour alone tells nobody."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.patches import Rectangle

from sim.plots import inks, style

STEPS = (0.2, 0.4, 0.6, 0.8)
"""Margins at which the shade changes. [1]"""
SHADES = (0.85, 0.6, 0.4, 0.22, 0.07)
"""Opacity of the ink below the first of :data:`STEPS`, between them, above the last."""
OSCILLATES, UNSURE, BELOW = "×", "?", "–"
CELL_IN = 0.185
"""Height of a cell. [inch]"""


def shade_of(row) -> float:
    """Opacity of a cell; `row` of a map's table. [1]"""
    bad = row.unstable or row.unresolved
    return SHADES[0] if bad else SHADES[int(np.searchsorted(STEPS, row.margin_min, side="right"))]


def ink_on(shade: float) -> str:
    """Ink that can be read on a shade."""
    return inks.PAPER if shade > 0.5 else inks.INK


def sign_of(row, low_limit: float) -> str:
    """Sign of a cell, empty for none.

    Parameters
    ----------
    row : namedtuple
        Of a map's table.
    low_limit : float
        The least margin that the study allows; NaN for none. [1]
    """
    if row.unstable:
        return OSCILLATES
    if row.unresolved:
        return UNSURE
    return BELOW if row.margin_min <= low_limit else ""


def signs_told(own: pd.DataFrame, low_limit: float) -> str:
    """What the signs that occur mean; arguments as for the maps."""
    signs = []
    if (own["unstable"] > 0).any():
        signs.append(f"{OSCILLATES} a unit oscillates")
    if (own["unresolved"] > 0).any():
        signs.append(f"{UNSURE} not judged")
    if (own["margin_min"] <= low_limit).any():
        signs.append(f"{BELOW} below the limit")
    return "   ".join(signs)


def draw_key(panel, signs: str) -> None:
    """What the shades mean, then the signs.

    Parameters
    ----------
    panel : Axes
    signs : str
        From :func:`signs_told`.
    """
    panel.set_title("Smallest distance from −1 of all units")
    texts = [f"< {STEPS[0]:g}", *(f"– {step:g}" for step in STEPS[1:]), f"> {STEPS[-1]:g}"]
    panel.set_xlim(0, 1)
    panel.set_ylim(0, 1)
    panel.axis("off")
    panel.set_xticks([])
    panel.set_yticks([])
    width_in = panel.get_position().width * style.WIDTH_IN
    at = 0.0
    for text, shade in zip(texts, SHADES, strict=True):
        panel.add_patch(Rectangle((at, 0.1), 0.2 / width_in, 0.8, fc=inks.BLUE, alpha=shade, lw=0, clip_on=False))
        at += 0.26 / width_in
        panel.text(at, 0.5, text, va="center", fontsize=style.SMALL_PT)
        at += (style.text_width_in(text) + 0.14) / width_in
    panel.text(0, -0.35, signs, va="top", fontsize=style.SMALL_PT)
