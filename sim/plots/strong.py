"""Strong carriers and their products against the noise of the bands, and the room that they leave an op-amp."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pandas as pd

from sim.plots import axes, inks, style
from sim.plots.style import Row
from sim.summary.products import FALLS

_KEY_LINES = 3
_MOST_ROOM_DB = 40.0
"""More room than this is drawn as this much. [dB]"""
_LIMITS = ("output swing", "output current", "slew rate", "input range")
_SHAPES = {2: ("s", inks.RUST, "second order"), 3: ("^", inks.GREEN, "third order")}


def strong(entry: Mapping, products: pd.DataFrame):
    """Draw levels at the receiver over frequency, and below them the room until each limit.

    Parameters
    ----------
    entry : mapping
        One of the answer's ``strong``.
    products : DataFrame
        products.csv.

    Returns
    -------
    figure : matplotlib.figure.Figure or None
        None where the nominal unit has no number.
    """
    carriers = [one for one in entry["carriers"] if one["receiver_dbm"] is not None]
    if not carriers:
        return None
    own = products[products["scenario"] == entry["scenario"]]
    rows = [
        Row(2.3, above=0.62 + 0.155 * _KEY_LINES, left=0.56),
        Row(0.95, above=0.42, below=0.46, left=1.12, right=0.78),
    ]
    figure, [[levels], [room]] = style.sheet(rows)
    _levels(levels, carriers, own)
    _key(figure, entry, own)
    _rooms(room, entry["reserves_db"])
    return figure


def _levels(panel, carriers, own: pd.DataFrame) -> None:
    bands = [float(band) for band in own["band_hz"].drop_duplicates()]
    every = [one["frequency_hz"] for one in carriers] + bands
    noise = own.drop_duplicates("band_hz").set_index("band_hz")["noise_nominal_dbm"]
    numbered = own[own["level_nominal_dbm"].notna()]
    heights = [one["receiver_dbm"] for one in carriers]
    seen = [*heights, *noise.dropna(), *numbered["level_nominal_dbm"]]
    low, high = min(seen) - 12.0, max(seen) + 14.0
    axes.frequency_axis(panel, min(every) / 1.35, max(every) * 1.25)
    panel.set_ylim(low, high)
    axes.value_axis(panel.yaxis)
    panel.set_title("Level at the receiver, dBm", pad=15)
    for one in carriers:
        panel.plot([one["frequency_hz"]] * 2, [low, one["receiver_dbm"]], color=inks.BLUE, lw=1.6)
    look = {"ls": "", "marker": "o", "ms": 5, "mec": inks.BLUE}
    panel.plot([one["frequency_hz"] for one in carriers], heights, mfc=inks.BLUE, **look)
    for row in numbered.itertuples():
        marker, ink, _ = _SHAPES[int(row.order)]
        falls = row.where == FALLS
        if falls:
            panel.plot([row.frequency_hz] * 2, [low, row.level_nominal_dbm], color=ink, lw=0.9)
        face = ink if falls else inks.PAPER
        look = {"ls": "", "marker": marker, "ms": 4.6, "mec": ink, "mfc": face, "mew": 1.1, "zorder": 3}
        panel.plot([row.frequency_hz], [row.level_nominal_dbm], **look)
    for band, level in noise.dropna().items():
        panel.plot([band / 1.12, band * 1.12], [level, level], color=inks.INK, lw=2.4, zorder=2.5)
    axes.band_marks(panel, bands, named=True)
    _name_carriers(panel, carriers)


def _name_carriers(panel, carriers) -> None:
    """The strongest carriers first, each only where no other name stands."""
    low, high = panel.get_xlim()
    width_in = panel.get_position().width * style.WIDTH_IN
    height_in = panel.get_position().height * panel.figure.get_figheight()
    bottom, top = panel.get_ylim()

    def place_of(one) -> tuple[float, float]:
        across = math.log(one["frequency_hz"] / low) / math.log(high / low)
        return across * width_in, (one["receiver_dbm"] - bottom) / (top - bottom) * height_in

    marks = [place_of(one) for one in carriers]
    taken = [(x - 0.04, x + 0.04, y - 0.04, y + 0.04) for x, y in marks]
    for one in sorted(carriers, key=lambda carrier: -carrier["receiver_dbm"]):
        text = axes.frequency_text(one["frequency_hz"])
        half = style.text_width_in(text) / 2
        x, y = place_of(one)
        x, y = min(max(x, half), width_in - half), y + 0.07
        box = (x - half, x + half, y, y + 0.16)
        if all(box[1] + 0.03 < b[0] or b[1] + 0.03 < box[0] or box[3] <= b[2] or b[3] <= box[2] for b in taken):
            taken.append(box)
            panel.text(
                x / width_in,
                y / height_in,
                text,
                transform=panel.transAxes,
                ha="center",
                va="bottom",
                fontsize=style.SMALL_PT,
                color=inks.BLUE,
            )


def _key(figure, entry: Mapping, own: pd.DataFrame) -> None:
    """What the marks mean, above the panel; a mark that is nowhere is not explained."""
    of_what = "noise of the band" if (own["noise"] == "band").all() else "the chain's own noise"
    hertz = axes.frequency_text(entry["bandwidth_hz"])
    lines = [("o", inks.BLUE, inks.BLUE, "carriers, unmodulated"), ("_", inks.INK, inks.INK, f"{of_what} in {hertz}")]
    for order, (marker, ink, words) in _SHAPES.items():
        rows = own[(own["order"] == order) & own["level_nominal_dbm"].notna()]
        for falls, face, more in ((True, ink, "product, {}"), (False, inks.PAPER, "{}, had it fallen there")):
            if ((rows["where"] == FALLS) == falls).any():
                lines.append((marker, ink, face, more.format(words)))
    height = figure.get_figheight()
    panel = figure.add_axes((0, 1 - (0.12 + 0.155 * _KEY_LINES) / height, 1, (0.12 + 0.155 * _KEY_LINES) / height))
    panel.set_axis_off()
    panel.set_xticks([])
    panel.set_yticks([])
    panel.set_xlim(0, style.WIDTH_IN)
    panel.set_ylim(0.12 + 0.155 * _KEY_LINES, 0)
    for place, (marker, ink, face, text) in enumerate(lines):
        column, line = divmod(place, _KEY_LINES)
        x, y = 0.14 + 2.26 * column, 0.14 + 0.155 * line
        size = 9 if marker == "_" else 4.6
        panel.plot([x], [y], ls="", marker=marker, ms=size, mec=ink, mfc=face, mew=2.2 if marker == "_" else 1.1)
        panel.text(x + 0.14, y, style.shortened(text, 2.0), va="center", fontsize=style.SMALL_PT)


def _rooms(panel, reserves: Mapping) -> None:
    """A bar a limit, to the right where there is room, to the left where there is none."""
    names = [name for name in _LIMITS if reserves.get(name) is not None]
    values = np.array([reserves[name] for name in names], dtype=float)
    drawn = np.clip(values, -_MOST_ROOM_DB, _MOST_ROOM_DB)
    panel.set_title("Room of the nominal unit until, dB")
    panel.set_xlim(min(-6.0, drawn.min(initial=0.0) - 3.0), max(drawn.max(initial=0.0), 10.0) + 3.0)
    panel.set_ylim(len(names) - 0.5, -0.5)
    for place, (value, at) in enumerate(zip(values, drawn, strict=True)):
        panel.barh(place, at, height=0.5, color=inks.BLUE if value >= 0 else inks.FORBIDDEN, zorder=2)
    axes.forbid(panel, 0.0, np.inf)
    panel.set_yticks(range(len(names)), names)
    axes.value_axis(panel.xaxis, most=6)
    panel.grid(visible=False, axis="y")
    texts = [f"> {_MOST_ROOM_DB:.0f}" if value > _MOST_ROOM_DB else axes.plain(round(value, 1)) for value in values]
    width_in = panel.get_position().width * style.WIDTH_IN
    for place, text in enumerate(texts):
        panel.text(
            1 + 0.1 / width_in, place, text, transform=panel.get_yaxis_transform(), va="center", fontsize=style.SMALL_PT
        )
