"""Products of strong carriers as a table of the page."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path

from sim.quantity import format_quantity
from sim.report.model import Table
from sim.summary.products import FALLS, NOT_MODELLED, TOO_STRONG

_MOST_ROWS = 14


def products_table(out_dir: Path, answer: Mapping, names: Mapping[int, str]) -> tuple[Table, str]:
    """The products of one scenario, the worst first, and a note on what is shown.

    Parameters
    ----------
    out_dir : Path
        With products.csv where there are strong carriers.
    answer : mapping
        answer.json, as read.
    names : mapping of int to str
        Of the scenarios.

    Returns
    -------
    table : Table
        No rows without strong carriers.
    note : str
    """
    import pandas as pd

    path, entries = out_dir / "products.csv", answer.get("strong", ())
    if not entries or not path.is_file():
        return Table(), ""
    best = next(iter(answer.get("best", ())), None)
    entry = next((one for one in entries if one["scenario"] == best), entries[0])
    rows = pd.read_csv(path)
    rows = rows[rows["scenario"] == entry["scenario"]]
    # What has no number stands first: it may be anywhere.
    order = rows["margin_nominal_db"].fillna(-math.inf).sort_values(kind="stable").index
    shown = [_cells(row) for row in rows.loc[order[:_MOST_ROWS]].to_dict("records")]
    bandwidth = format_quantity(entry["bandwidth_hz"], "Hz")
    whose = f" Scenario: {names[entry['scenario']]}." if len(names) > 1 else ""
    more = f" The worst {_MOST_ROWS} of {len(rows)}." if len(rows) > _MOST_ROWS else ""
    levels = ("At the receiver, dBm", "Noise, dBm", "Below noise, dB", "Worst unit, dB")
    columns = ("Product", "At", "Order", *levels, "Number is")
    return Table(columns, tuple(shown)), f"Noise in {bandwidth}.{whose}{more} All rows stand in products.csv."


def _cells(row: Mapping) -> tuple[str, ...]:
    falls = row["where"] == FALLS
    known = row["model"] not in (NOT_MODELLED, TOO_STRONG)
    name = row["product"] if falls else row["product"].partition(", ")[2]
    place = format_quantity(row["frequency_hz"], "Hz", 5)
    return (
        name,
        place if falls else f"{place}, had it fallen there",
        str(int(row["order"])),
        _number(row["level_nominal_dbm"], known),
        _number(row["noise_nominal_dbm"]),
        _number(row["margin_nominal_db"], known),
        _number(row["margin_min_db"], known),
        row["model"],
    )


def _number(value: float, known: bool = True) -> str:
    if not known or not math.isfinite(value):
        return "–"
    return f"{value:.0f}".replace("-", "\N{MINUS SIGN}")
