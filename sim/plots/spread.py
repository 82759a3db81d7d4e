"""How a limited measure is spread over the units, with the limit it is held to."""

from __future__ import annotations

import numpy as np
import pandas as pd

from sim.plots import axes, names, ridge, style, words
from sim.plots.choice import EVERY, Shown
from sim.plots.ridge import Heading, Ridge
from sim.plots.style import Row

_MOST_ROWS = 24


def spread(measure: str, measures: pd.DataFrame, summary: pd.DataFrame, shown: Shown, title: str):
    """One row of histogram for each scenario and band of a measure.

    Parameters
    ----------
    measure : str
        Name of the measure.
    measures, summary : DataFrame
        measures.parquet and summary.csv.
    shown : Shown
        Scenarios to draw.
    title : str
        What the measure is, with its unit.

    Returns
    -------
    figure : matplotlib.figure.Figure or None
        None where there is nothing to draw.
    whole : bool
        False where only the band of lowest yield of each scenario is drawn, for want of room.
    """
    lines = summary[(summary["measure"] == measure) & summary["scenario"].isin(shown.numbers)]
    lines = lines.rename(columns={"yield": "passing"})  # "yield" is no name for a field of a row
    if lines.empty:
        return None, True
    own = measures[measures["measure"] == measure]
    shown = _distinct(lines, shown)
    lines = lines[lines["scenario"].isin(shown.numbers)]
    whole = len(lines) <= _MOST_ROWS
    if not whole:
        lines = lines.sort_values("passing", kind="stable").groupby("scenario").head(1)
    rows: list[Ridge | Heading] = []
    several = len(shown.numbers) > 1
    if shown.names == (EVERY,):
        title = f"{title}: the same in {EVERY}"
    banded = lines["frequency_hz"].notna().any()
    room = 1.0 if banded else 1.6
    for number, name, short in zip(shown.numbers, shown.names, names.apart(shown.names, room), strict=True):
        of_scenario = lines[lines["scenario"] == number].sort_values("frequency_hz")
        values = own[own["scenario"] == number]
        if several and banded and whole:
            rows.append(Heading(style.shortened(name, 4.3, bold=True)))
        for line in of_scenario.itertuples():
            band = axes.frequency_text(line.frequency_hz) if np.isfinite(line.frequency_hz) else ""
            label = band if banded else (short if several else "")
            if several and banded and not whole:
                label = f"{short} {band}"
            rows.append(_ridge(values, line, label))
    widest = max((style.text_width_in(r.label) for r in rows if isinstance(r, Ridge)), default=0.0)
    figure, [[panel]] = style.sheet(
        [Row(ridge.ROW_IN * len(rows), above=0.32, left=max(widest + 0.16, 0.22), right=0.72)]
    )
    first = lines.iloc[0]
    ridge.draw(panel, rows, float(first["limit_low"]), float(first["limit_high"]))
    figure.text(
        0.02,
        1 - 0.09 / figure.get_figheight(),
        style.shortened(title, 4.3, style.SIZE_PT, bold=True),
        va="top",
        weight="bold",
    )
    return figure, whole


def _distinct(lines: pd.DataFrame, shown: Shown) -> Shown:
    """Scenarios in which the measure comes out the same in every unit, drawn once under a common name."""
    names: dict[tuple, list] = {}
    for number, name in shown.items():
        own = lines[lines["scenario"] == number].sort_values("frequency_hz")
        finger = own[["frequency_hz", "nominal", "mean", "sd", "min", "max", "passing"]].to_numpy(dtype=float)
        names.setdefault(tuple(np.nan_to_num(finger.round(9), nan=-1e300).ravel()), []).append((number, name))
    if len(names) == 1 and len(shown.numbers) > 1:
        return Shown(shown.numbers[:1], (EVERY,), shown.note)
    groups = list(names.values())
    return Shown(
        tuple(g[0][0] for g in groups), tuple(" = ".join(n for _, n in g) for g in groups), shown.note
    )


def _ridge(values: pd.DataFrame, line, label: str) -> Ridge:
    at = values["frequency_hz"]
    if np.isfinite(line.frequency_hz):
        here = values[np.isclose(at, line.frequency_hz, rtol=1e-9, atol=0)]
    else:
        here = values[at.isna()]
    here = here[here["unit"] > 0]
    note = words.percent(line.passing) if np.isfinite(line.passing) else ""
    return Ridge(label, here["value"].to_numpy(dtype=float), float(line.nominal), note)
