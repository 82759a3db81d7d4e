"""Temperature as two tables of the page: the nominal unit at each temperature, and what drifts together and apart."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from sim.plots import words
from sim.quantity import format_quantity
from sim.report.model import Table

_MOST_COLUMNS = 7


def temperature_tables(out_dir: Path, names) -> tuple[Table, Table, str]:
    """The nominal unit by temperature, drift by measure and band, and which sweep that is; empty without a sweep.

    Parameters
    ----------
    out_dir : Path
        May hold temperature.csv and drift.csv.
    names : mapping of int to str
        Of the scenarios.
    """
    if not (out_dir / "temperature.csv").is_file():
        return Table(), Table(), ""
    import pandas as pd

    levels, drift = (pd.read_csv(out_dir / name) for name in ("temperature.csv", "drift.csv"))
    first = int(drift["scenario"].iloc[0])
    note = f"First of {drift['scenario'].nunique()} sweeps: that of {names[first]}."
    note = note if drift["scenario"].nunique() > 1 else ""
    return (
        _levels(levels[levels["sweep"] == first]),
        _drift(drift[drift["scenario"] == first]),
        note,
    )


def _levels(own) -> Table:
    celsius = sorted(own["temperature_c"].unique())
    if len(celsius) > _MOST_COLUMNS:
        celsius = [celsius[i] for i in np.linspace(0, len(celsius) - 1, _MOST_COLUMNS).round().astype(int)]
    rows = []
    for (measure, band), part in own.groupby(["measure", "frequency_hz"], sort=False, dropna=False):
        unit = str(part["unit_of_measure"].iloc[0])
        by = part.set_index("temperature_c")["nominal"]
        rows.append((_name(measure, band, unit), *(words.number(float(by[t]), unit) for t in celsius)))
    return Table(("Nominal unit", *(_degrees(t) for t in celsius)), tuple(rows))


def _drift(own) -> Table:
    rows = []
    for row in own.to_dict("records"):
        unit, span = str(row["unit_of_measure"]), row["high_c"] - row["low_c"]
        sun = "–"
        if row["sun_step"] == row["sun_step"]:
            bounds = f"{_small(row['sun_p025'])} … {_small(row['sun_p975'])}"
            sun = f"{_small(row['sun_step'])} ({bounds}) from {_degrees(row['sun_from_c'])}"
        kept = "–" if row["passed"] != row["passed"] else f"{int(row['passed'])} of {int(row['units'])}"
        rows.append(
            (
                _name(row["measure"], row["frequency_hz"], unit),
                _small(row["common_range"]),
                _small(row["differential_sd_per_kelvin"] * span),
                sun,
                kept,
            )
        )
    sun_k, span = float(own["sun_k"].iloc[0]), float(own["high_c"].iloc[0] - own["low_c"].iloc[0])
    columns = (
        "Measure",
        f"Together, {span:g} K",
        f"Apart (sd), {span:g} K",
        f"One box {sun_k:g} K warmer (19 in 20)",
        "Keep the match",
    )
    return Table(columns, tuple(rows))


def _degrees(celsius: float) -> str:
    return f"{celsius:g} °C".replace("-", "−")


def _name(measure: str, band: float, unit: str) -> str:
    where = "" if band != band else f", {format_quantity(band, 'Hz')}"
    mark = words.unit_text(unit)
    return f"{words.short_name(measure)}{where}{f' [{mark}]' if mark else ''}"


def _small(value: float) -> str:
    """Two significant digits and no more than three decimals, with a true minus sign."""
    if value != value:
        return "–"
    if abs(value) < 5e-4:
        return "0"
    text = f"{value:.3f}" if abs(value) < 0.1 else f"{value:.2f}"
    return text.replace("-", "−")
