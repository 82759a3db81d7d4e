"""Noise at the receiver over frequency: what comes from outside against what the chain makes itself."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.patheffects import withStroke

from sim.columns import EXTERNAL, EXTERNAL_DECILES
from sim.plots import axes, inks, names, style
from sim.plots.choice import Shown, window
from sim.plots.style import FAMILIES, Row

_OUTSIDE = [EXTERNAL, *EXTERNAL_DECILES]
_NAMED = 5
_ROOM_IN = 1.5


def noise_floor(contributors: pd.DataFrame, shown: Shown, bands_hz: tuple[float, ...]):
    """Draw external noise, all internal noise together, and the largest internal contributors.

    Parameters
    ----------
    contributors : DataFrame
        scenario, frequency_hz, contributor, density_nv: nominal unit, at the receiver. The deciles of the external
        noise, where they are there, are shaded. [nV/√Hz]
    shown : Shown
        One panel a scenario: full width up to two, else two abreast with numbers for names.
    bands_hz : tuple of float
        Marked. [Hz]

    Returns
    -------
    figure : matplotlib.figure.Figure or None
        None where there are no rows for the scenarios.
    """
    grids = [(name, _grid(contributors, number)) for number, name in shown.items()]
    grids = [(name, grid) for name, grid in grids if len(grid)]
    if not grids:
        return None
    leaders = loudest(pd.concat([grid for _, grid in grids]), bands_hz, _NAMED)
    low, high = window(bands_hz, grids[0][1].index, beyond=4.0)
    floor, ceiling = _levels([grid for _, grid in grids], low, high)
    wide = len(grids) <= 2
    if wide:
        rows = [Row(2.5, above=0.42, right=_ROOM_IN) for _ in grids]
    else:
        key_lines = (len(leaders) + 4) // 2
        rows = [Row(1.45, columns=2, right=0.26) for _ in range((len(grids) + 1) // 2)]
        rows[0] = Row(1.45, columns=2, above=0.62 + 0.155 * key_lines, right=0.26)
    figure, panels = style.sheet(rows)
    flat = [panel for row in panels for panel in row]
    heads = names.apart([name for name, _ in grids], 1.8, bold=True)
    for spare in flat[len(grids) :]:
        spare.remove()
    for panel, (name, grid), short in zip(flat, grids, heads, strict=False):
        _panel(panel, grid.loc[low * 0.999 : high * 1.001], leaders, (low, high), (floor, ceiling), wide)
        axes.band_marks(panel, bands_hz, named=wide)
        if wide:
            head = (
                "Noise at the receiver, nV/√Hz"
                if len(grids) == 1
                else f"{name}: noise at the receiver, nV/√Hz"
            )
            panel.set_title(style.shortened(head, 4.1, style.SIZE_PT, bold=True), pad=15)
        else:
            panel.set_title(short, fontsize=style.SMALL_PT)
    if not wide:
        _key(figure, leaders, any(set(EXTERNAL_DECILES) <= set(grid.columns) for _, grid in grids))
    return figure


def loudest(grid: pd.DataFrame, bands_hz: tuple[float, ...], most: int) -> list[str]:
    """Internal contributors by their largest share of the internal noise power in the bands.

    Parameters
    ----------
    grid : DataFrame
        Index frequency [Hz], one column a contributor. [nV/√Hz]
    bands_hz : tuple of float
        The nearest rows are judged; all rows where there are no bands. [Hz]
    most : int

    Returns
    -------
    names : list of str
        Loudest first, at most as many as asked for.
    """
    power = grid.drop(columns=_OUTSIDE, errors="ignore").fillna(0.0) ** 2
    if bands_hz:
        near = {min(power.index, key=lambda f, b=b: abs(np.log(f / b))) for b in bands_hz}
        power = power.loc[sorted(near)]
    share = power.div(power.sum(axis=1).replace(0.0, np.nan), axis=0).max(axis=0)
    share = share[share > 0].sort_values(ascending=False, kind="stable")
    return [str(name) for name in share.index[:most]]


def _grid(contributors: pd.DataFrame, scenario: int) -> pd.DataFrame:
    rows = contributors[contributors["scenario"] == scenario]
    return rows.pivot_table(
        index="frequency_hz", columns="contributor", values="density_nv", aggfunc="first", observed=True
    ).sort_index()


def _internal(grid: pd.DataFrame) -> pd.Series:
    return np.sqrt((grid.drop(columns=_OUTSIDE, errors="ignore").fillna(0.0) ** 2).sum(axis=1))


def _levels(grids: list[pd.DataFrame], low: float, high: float) -> tuple[float, float]:
    """Vertical range for all panels: the loudest line down to a thirtieth of the quietest internal total."""
    cut = [grid.loc[low * 0.999 : high * 1.001] for grid in grids]
    top = max(np.nanmax(grid.to_numpy(dtype=float)) for grid in cut)
    top = max(top, *[float(_internal(grid).max()) for grid in cut])
    bottom = min(float(_internal(grid).min()) for grid in cut) / 12
    if not bottom > 0:
        bottom = top / 1e4
    return bottom, top * 1.5


def _panel(panel, grid, leaders, span, levels, wide: bool) -> None:
    freq_hz = grid.index.to_numpy()
    lines = []  # values, name, number in the key, ink, drawing
    internal = _internal(grid).to_numpy()
    if set(EXTERNAL_DECILES) <= set(grid.columns):
        quiet, noisy = (grid[name].to_numpy() for name in EXTERNAL_DECILES)
        panel.fill_between(freq_hz, quiet, noisy, color=inks.STEEL, alpha=0.25, lw=0)
    if EXTERNAL in grid:
        lines.append((grid[EXTERNAL].to_numpy(), "external", "E", inks.INK, {"lw": 2.4, "ls": "-"}))
    lines.append((internal, "all internal", "I", inks.RUST, {"lw": 2.2, "ls": (0, (4, 1.2))}))
    # Solid belongs to the external noise alone; so the contributors start at the second dash pattern.
    families = FAMILIES[2:] + FAMILIES[:2]
    few = len(freq_hz) <= 12
    for place, (name, family) in enumerate(zip(leaders, families, strict=False), start=1):
        if name in grid:
            look = {"lw": 1.1, "ls": family.dash, "marker": family.marker, "ms": 3.2}
            look["markevery"] = 1 if few else max(len(freq_hz) // 5, 1)
            lines.append((grid[name].to_numpy(), name, str(place), family.ink, look))
    rest = grid.drop(columns=[*_OUTSIDE, *leaders], errors="ignore").fillna(0.0)
    if rest.shape[1] and float((rest**2).to_numpy().sum()) > 0:
        others = np.sqrt((rest**2).sum(axis=1)).to_numpy()
        lines.append((others, f"{rest.shape[1]} others", "O", inks.SOFT, {"lw": 1.0, "ls": (0, (1, 1))}))
    for values, _, _, ink, look in lines:
        panel.plot(freq_hz, np.where(values > 0, values, np.nan), color=ink, **look)
    axes.frequency_axis(panel, *span, most=5 if wide else 3)
    axes.level_axis(panel, *levels)
    named = [
        (line[0], style.shortened(line[1], _ROOM_IN - 0.2) if wide else line[2], line[3]) for line in lines
    ]
    kept = [line for line in named if line[0][-1] >= levels[0]]
    axes.end_labels(
        panel, [line[0][-1] for line in kept], [line[1] for line in kept], [line[2] for line in kept]
    )
    for values, text, ink in named:
        if not values[-1] >= levels[0]:
            _label_where_it_leaves(panel, freq_hz, values, levels[0], text, ink)


def _label_where_it_leaves(panel, freq_hz, values, floor: float, text: str, ink: str) -> None:
    """Name a line that drops out of the panel, or whose data end in it, near the last point still seen."""
    seen = np.flatnonzero(values >= floor)
    if not seen.size:
        return
    ended = np.isnan(values[-1])  # a table of noise that reaches no farther: there is room behind its end
    at = seen[-1] if ended else seen[int(0.75 * (seen.size - 1))]
    place = panel.transAxes.inverted().transform(panel.transData.transform((freq_hz[at], values[at])))[0]
    room_in = (1 - place) * panel.get_position().width * style.WIDTH_IN
    # A long name would run out of the panel into those at its edge: it ends at its point.
    before = not ended and style.text_width_in(text, style.SMALL_PT) > room_in
    panel.annotate(
        text,
        (freq_hz[at], values[at]),
        xytext=(5, 0) if ended else (-12, 4) if before else (3, 3),
        ha="right" if before else "left",
        textcoords="offset points",
        va="center" if ended else "baseline",
        color=ink,
        fontsize=style.SMALL_PT,
        zorder=5,
        path_effects=[withStroke(linewidth=2.2, foreground=inks.PAPER)],
    )


def _key(figure, leaders: list[str], shaded: bool) -> None:
    """What the letters and numbers at the line ends mean, in two columns above the panels."""
    entries = [
        "E  external noise; shade: deciles" if shaded else "E  external noise",
        "I  all internal noise",
        *[f"{i}  {n}" for i, n in enumerate(leaders, start=1)],
    ]
    entries.append("O  all other internal")
    height = figure.get_figheight()
    figure.text(
        0.09 / style.WIDTH_IN, 1 - 0.06 / height, "Noise at the receiver, nV/√Hz", va="top", weight="bold"
    )
    half = (len(entries) + 1) // 2
    for place, text in enumerate(entries):
        column, line = divmod(place, half)
        figure.text(
            0.04 + 0.48 * column,
            1 - (0.28 + 0.155 * line) / height,
            style.shortened(text, 2.05),
            va="top",
            fontsize=style.SMALL_PT,
        )
