"""Temperature in sentences: what drifts together, what drifts apart, and one box in the sun."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from sim.quantity import format_quantity
from sim.summary.wording import limit_text, listed, measure_name

if TYPE_CHECKING:
    from pandas import DataFrame

ESTIMATES = (
    "How parts and dies follow temperature is taken from data-sheet limits and common practice, not from your parts: an"
    " estimate."
)
_MOST_TOLD = 4
_PAIR = ("gain_db", "phase_deg")
_GOES = ("noise_margin_db", "stability_margin", "current_ma")


def drift_told(drift: DataFrame, temperature: DataFrame, names: Mapping[int, str]) -> list[str]:
    """Sentences about the temperature sweeps of a study, the estimate they rest on last; none without a sweep.

    Parameters
    ----------
    drift, temperature : DataFrame
        drift.csv and temperature.csv.
    names : mapping of int to str
        What a sweep is called beside its temperatures, by its scenario; empty texts where there is one.
    """
    told = []
    for number in list(dict.fromkeys(drift["scenario"]))[:_MOST_TOLD]:
        own = drift[drift["scenario"] == number]
        name = names.get(int(number), "")
        head = f"{name}: from" if name else "From"
        told += _together_and_apart(own, head)
        told += _sun(own, f"{name}: one" if name else "One")
        told += _goes(temperature[temperature["sweep"] == number], f"{name}: the" if name else "The")
    left = drift["scenario"].nunique() - _MOST_TOLD
    if left > 0:
        told.append(f"The other {left} sweeps of temperature stand in drift.csv.")
    return [*told, ESTIMATES] if told else []


def _worst(own: DataFrame, measure: str, column: str):
    """The row of a measure with the largest value of a column; None where there is none."""
    rows = own[(own["measure"] == measure) & own[column].notna()]
    return None if rows.empty else rows.loc[rows[column].abs().idxmax()]


def _together_and_apart(own: DataFrame, head: str) -> list[str]:
    moved = [row for measure in _PAIR if (row := _worst(own, measure, "common_range")) is not None]
    if not moved:
        return []
    span = float(moved[0]["high_c"] - moved[0]["low_c"])
    together = [f"{measure_name(row['measure'])} drifts by {_amount(row['common_range'], row)}" for row in moved]
    apart = [
        _amount(row["differential_sd_per_kelvin"] * span, row)
        for measure in _PAIR
        if (row := _worst(own, measure, "differential_sd_per_kelvin")) is not None
    ]
    said = f"{head} {moved[0]['low_c']:g} to {moved[0]['high_c']:g} °C {listed(together)} in all units together"
    said += ", which an array does not feel"
    return [f"{said}; units of a build drift apart by {listed(apart)} (standard deviation)." if apart else f"{said}."]


def _sun(own: DataFrame, head: str) -> list[str]:
    rows = [row for measure in _PAIR if (row := _worst(own, measure, "sun_step")) is not None]
    if not rows:
        sun, span = float(own["sun_k"].iloc[0]), float((own["high_c"] - own["low_c"]).iloc[0])
        return [f"{head} box {sun:g} K warmer in the sun lies outside this sweep of {span:g} K."] if sun > span else []
    steps = [f"{_amount(row['sun_step'], row)} at {format_quantity(row['frequency_hz'], 'Hz')}" for row in rows]
    ranges = [f"{_amount(row['sun_p025'], row)} to {_amount(row['sun_p975'], row)}" for row in rows]
    said = (
        f"{head} box {rows[0]['sun_k']:g} K warmer in the sun than its sisters is off by {listed(steps)}"
        f" (19 boxes in 20: {listed(ranges)})"
    )
    return [f"{said}{_kept(own)}."]


def _kept(own: DataFrame) -> str:
    """What that means for the limits on the match; nothing without such limits."""
    limited = own[own["passed"].notna()]
    if limited.empty:
        return "; the study has no limit on the match to hold that against"
    parts = []
    for match in dict.fromkeys(limited["match"]):
        rows = limited[limited["match"] == match]
        row = rows.loc[rows["passed"].astype(float).idxmin()]
        low, high = (value if math.isfinite(value) else None for value in (row["limit_low"], row["limit_high"]))
        limit = limit_text(low, high, row["unit_of_measure"])
        verb = " keep" if not parts else ""
        parts.append(f"{int(row['passed'])} of {int(row['units'])} units{verb} {measure_name(match)} {limit}")
    return f": {listed(parts)} even so"


def _goes(own: DataFrame, head: str) -> list[str]:
    """From where to where the nominal unit's noise margin, stability margin and current go, each at its worst band."""
    parts = []
    for measure in _GOES:
        rows = own[(own["measure"] == measure) & own["nominal"].notna()]
        if rows.empty:
            continue
        worst = rows.loc[rows["nominal"].idxmin() if measure != "current_ma" else rows["nominal"].idxmax()]
        rows = rows[(rows["frequency_hz"] == worst["frequency_hz"]) | rows["frequency_hz"].isna()]
        rows = rows.sort_values("temperature_c")
        ends = [f"{_plain(row)} at {row['temperature_c']:g} °C" for _, row in rows.iloc[[0, -1]].iterrows()]
        parts.append(f"{measure_name(measure)} goes from {' to '.join(ends)}")
    return [f"{head} nominal unit's {listed(parts)}."] if parts else []


def _plain(row) -> str:
    unit = {"1": "", "degree": "°"}.get(row["unit_of_measure"], f" {row['unit_of_measure']}")
    return f"{_digits(row['nominal'])}{unit}"


def _amount(value: float, row) -> str:
    mark = "°" if row["unit_of_measure"] == "degree" else f" {row['unit_of_measure']}"
    return f"{_digits(value)}{mark}"


def _digits(value: float) -> str:
    """Two decimals; what is smaller than half of the last is said to be, not 0.00."""
    if value != 0 and abs(value) < 0.005:
        return f"{'-' if value < 0 else ''}{float(f'{abs(value):.1g}'):.4f}" if abs(value) >= 5e-5 else "0"
    return f"{value:.2f}"


def sweep_names(chosen: DataFrame, sweeps: Sequence) -> dict[int, str]:
    """What each sweep is called beside its temperatures: the other values of its scenario.

    Parameters
    ----------
    chosen : DataFrame
        scenarios.csv.
    sweeps : sequence of sim.summary.drift.Sweep
    """
    from sim.summary.drift import KEY
    from sim.summary.names import scenario_names

    if not sweeps:
        return {}
    others = chosen.drop(columns=[KEY])
    names = scenario_names(others) if len(others.columns) > 1 else {}
    return {sweep.scenario: names.get(sweep.scenario, "") for sweep in sweeps}
