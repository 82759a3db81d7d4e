"""Ratings of every op-amp over all units and at the corners: the rows of ratings.csv, and words."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sim.columns import TABLES
from sim.engine.isolate import Failed
from sim.measures.corners import AtCorner, Corner
from sim.measures.ratings import NEAR_LIMIT_V, RATINGS, RESTING, Rating
from sim.quantity import format_quantity
from sim.summary.wording import listed

if TYPE_CHECKING:
    from pandas import DataFrame

KEPT, OUTSIDE, AT_CORNER, UNKNOWN = "kept", "outside", "outside at a corner", "not known"
NO_POINT = "no operating point"
"""Verdicts."""
WHOLE, RESERVE_LEFT = "unit", "supply reserve"
"""Part and rating of the row about all that a unit needs of its supply."""
OPERATING_POINT = "operating point"
"""Rating of the row that a corner without one gets."""
_SLACK = 1e-6  # what rounding may do at a limit [V, A]
_MOST_NAMED = 4


@dataclass(frozen=True)
class RatedScenario:
    """What the rows of one scenario are made of.

    Attributes
    ----------
    number : int
    devices : tuple of (str, OpampRecord)
        Name in the circuit and record of each op-amp.
    resting : ndarray, shape (n_unit, n_device, len(RESTING))
        NaN where a unit failed. [V, A]
    reserve : ndarray, shape (n_unit,)
        The measure ``supply_reserve_v``. [V]
    refused : tuple of str
        Reasons of drawn units that were not computed for a rating's sake.
    corners : tuple of (Corner, AtCorner or Failed)
    """

    number: int
    devices: tuple
    resting: np.ndarray
    reserve: np.ndarray
    refused: tuple[str, ...]
    corners: tuple


def ratings_table(rated: Sequence[RatedScenario], units: np.ndarray, conditions) -> DataFrame:
    """The rows of ratings.csv: a row for each scenario, op-amp and rating, then one for each corner without a point.

    Parameters
    ----------
    rated : sequence of RatedScenario
    units : int ndarray, shape (n_unit,)
        Unit 0 stands for the others only where there is no other.
    conditions : callable
        Gives temperature [°C] and supply [V] of a unit by scenario and unit number.

    Returns
    -------
    table : DataFrame
        `worst` is the value nearest to the limit or furthest beyond it, found in `unit`; `outside` counts the drawn
        units beyond the limit, with those `not_computed`, which were refused for it. The corner's columns hold the
        worst of all corners.
    """
    import pandas as pd

    rows = []
    for one in rated:
        for place, (device, record) in enumerate(one.devices):
            head = {"scenario": one.number, "device": device, "part": record.part}
            for rating in RATINGS:
                seen = {"verified": int(record.status(rating.key) == "seen")}
                rows.append(head | seen | _row(one, place, record, rating, units, conditions))
        rows.append({"scenario": one.number, "device": "", "part": WHOLE, **_reserve(one, units, conditions)})
        for corner, found in one.corners:
            if isinstance(found, Failed):
                rows.append(
                    {
                        "scenario": one.number,
                        "device": "",
                        "part": found.reason,
                        "rating": OPERATING_POINT,
                        **_corner_cells(corner, math.nan),
                        "verdict": NO_POINT,
                    }
                )
    table = pd.DataFrame(rows, columns=list(TABLES["ratings.csv"]))
    return table.astype(dict.fromkeys(("verified", "unit", "outside", "not_computed", "units"), "Int64"))


def _row(one: RatedScenario, place: int, record, rating: Rating, units: np.ndarray, conditions) -> dict:
    limit, quantity = rating.limit(record), RESTING.index(rating.resting)
    values = one.resting[:, place, quantity]
    refused = _refused(one.refused, f"{record.part} ({one.devices[place][0]})", rating)
    corners = [(corner, at, at.resting[place, quantity]) for corner, at in one.corners if isinstance(at, AtCorner)]
    return _judged(one.number, rating, limit, values, len(refused), corners, units, conditions)


def _reserve(one: RatedScenario, units: np.ndarray, conditions) -> dict:
    """The row about the supply that the whole unit needs: op-amps, circuit, regulator."""
    rating = Rating(RESERVE_LEFT, "reserve", False)
    # A unit that states no need has an infinite reserve.
    values = np.where(np.isfinite(one.reserve), one.reserve, np.nan)
    corners = [
        (corner, at, at.reserve_v)
        for corner, at in one.corners
        if isinstance(at, AtCorner) and math.isfinite(at.reserve_v)
    ]
    return _judged(one.number, rating, 0.0, values, 0, corners, units, conditions)


def _judged(number: int, rating: Rating, limit: float, values, refused: int, corners, units, conditions) -> dict:
    """Cells about one rating: the worst of units and of corners (each with its value), and the verdict."""
    drawn = units > 0
    excess = rating.excess(values, limit)
    beyond = int((excess[drawn] > _SLACK).sum()) + refused
    row = {
        "rating": rating.name,
        "unit_of_value": rating.unit,
        "limit": limit,
        "outside": beyond,
        "not_computed": refused,
        "units": int(drawn.sum()),
    }
    counted = np.where(drawn, excess, np.nan) if np.isfinite(excess[drawn]).any() else excess
    if np.isfinite(counted).any():
        worst = int(np.nanargmax(counted))
        temperature_c, supply_v = conditions(number, int(units[worst]))
        row |= {"worst": values[worst], "unit": int(units[worst])}
        row |= {"temperature_c": temperature_c, "supply_v": supply_v}
    at_corners = np.array([value for *_, value in corners])
    cornered = rating.excess(at_corners, limit)
    if np.isfinite(cornered).any():
        worst = int(np.nanargmax(cornered))
        row |= {"corner_worst": at_corners[worst], **_corner_cells(corners[worst][0], corners[worst][1].supply_v)}
    known = np.isfinite(counted).any() or np.isfinite(cornered).any() or refused
    at_corner = bool((cornered > _SLACK).any())
    return row | {"verdict": OUTSIDE if beyond else AT_CORNER if at_corner else KEPT if known else UNKNOWN}


def _refused(reasons: Sequence[str], who: str, rating: Rating) -> list[str]:
    """Reasons of units that were not computed because of this op-amp and this rating, see supply.check_rating."""
    if rating.resting != "volts":
        return []
    why = "its limit is" if rating.most else "it needs"
    return [reason for reason in reasons if re.match(re.escape(who), reason) and why in reason]


def _corner_cells(corner: Corner, supply_v: float) -> dict:
    return {
        "corner_temperature_c": corner.temperature_c,
        "corner_supply_v": supply_v,
        "corner_iq_share": corner.iq_share,
    }


# ---------------------------------------------------------------------- words


def ratings_told(table: DataFrame, names: Mapping[int, str]) -> list[str]:
    """A sentence for each rating of each op-amp that units or corners do not keep; of like scenarios one.

    Parameters
    ----------
    table : DataFrame
        ratings.csv.
    names : mapping of scenario number to its name

    Notes
    -----
    Too little supply in drawn units is left to :func:`sim.summary.yields.starved_told`, which knows what else needs it.
    """
    told, known = [], set()
    for verdict in (OUTSIDE, AT_CORNER, NO_POINT):
        own = table[table["verdict"] == verdict]
        if verdict == OUTSIDE:
            own = own[~own["rating"].isin(["supply, least", RESERVE_LEFT])]
        if (own["rating"] == "supply, least").any():
            own = own[own["rating"] != RESERVE_LEFT]
        for key, rows in own.groupby(["part", "device", "rating"], sort=False):
            if key in known:
                continue
            known.add(key)
            told.append(_told(rows, verdict, names))
            if verdict == OUTSIDE:
                told[-1] += _also_cornered(table, key, names)
    return told


def _told(rows: DataFrame, verdict: str, names: Mapping[int, str]) -> str:
    numbers = [int(number) for number in dict.fromkeys(rows["scenario"])]
    where = "" if len(numbers) == len(names) else f" with {_some([names[number] for number in numbers])}"
    if verdict == NO_POINT:
        row = rows.iloc[0]
        return f"At a corner{where} ({_corner_words(row)}) a unit has no operating point: {row['part']}."
    if rows["rating"].iloc[0] == RESERVE_LEFT:
        row = rows.loc[rows["corner_worst"].idxmin()]
        return (
            f"At a corner that no drawn unit met{where} ({_corner_words(row)}) a unit gets {-row['corner_worst']:.2f} V"
            " less supply than it needs."
        )
    column = "worst" if verdict == OUTSIDE else "corner_worst"
    rating = next(rating for rating in RATINGS if rating.name == rows["rating"].iloc[0])
    # Of units that were not computed the value is in failures.csv alone.
    known = rows[rows[column].notna()]
    row = rows.iloc[0] if known.empty else known.loc[rating.excess(known[column], known["limit"]).idxmax()]
    source = "" if row["verified"] else " (not verified against a data sheet)"
    limit = row["limit"] - _margin(rating)
    # Two decimals, or as many as tell the value from its limit.
    digits = next((n for n in (2, 3, 4) if round(float(row[column]), n) != round(float(limit), n)), 2)
    value = _value(row[column], rating.unit, digits)
    said = _PHRASES[rating.resting].format(
        who=f"{row['part']} ({row['device']})", value=value, by=f"{value} from its {_side(rating)} supply pin"
    )
    if verdict == OUTSIDE and rating.resting == "volts" and rows["not_computed"].max() > 0:
        said += " and more"
    said_limit = _LIMITS[rating.resting if rating.resting != "volts" else rating.name].format(
        limit=_value(limit, rating.unit), source=source
    )
    if verdict == AT_CORNER:
        return f"At a corner that no drawn unit met{where} ({_corner_words(row)}) {_low(said)}; {said_limit}."
    most = int(rows["outside"].max())
    up_to = "up to " if rows["outside"].nunique() > 1 else ""
    counts = "" if rating.resting in ("volts", "output_current") else ", which count as outside the limits"
    if rating.resting == "volts":
        said_limit += ". Up to a tenth above it units are computed and counted as any others"
    return f"{said} in {up_to}{most} of {int(row['units'])} units{where}{counts}; {said_limit}."


def _also_cornered(table: DataFrame, key: tuple, names: Mapping[int, str]) -> str:
    """A sentence for the choices in which only a corner shows what units show in others; nothing without such ones."""
    part, device, name = key
    same = (table["part"] == part) & (table["device"] == device) & (table["rating"] == name)
    rows = table[same & (table["verdict"] == AT_CORNER)]
    if rows.empty:
        return ""
    rating = next(rating for rating in RATINGS if rating.name == name)
    row = rows.loc[rating.excess(rows["corner_worst"], rows["limit"]).idxmax()]
    where = _some([names[int(number)] for number in rows["scenario"]])
    return f" With {where} only a corner shows it: {_value(row['corner_worst'], rating.unit)} ({_corner_words(row)})."


def _low(said: str) -> str:
    """A sentence's beginning inside another one."""
    return said[0].lower() + said[1:] if said.startswith(("An ", "The ")) else said


def _side(rating: Rating) -> str:
    """Of the supply from which a voltage is told."""
    return "negative" if rating.resting.endswith("above") else "positive"


_PHRASES = {
    "volts": "{who} would stand on {value}",
    "input_above": "An input of {who} rests {by}",
    "input_below": "An input of {who} rests {by}",
    "output_above": "The output of {who} rests {by}",
    "output_below": "The output of {who} rests {by}",
    "output_current": "The output of {who} gives or takes {value} at rest",
}
_LIMITS = {
    "supply, most": "its limit is {limit}{source}",
    "supply, least": "it needs {limit}{source}",
    "input_above": "it needs {limit}{source}",
    "input_below": "it needs {limit}{source}",
    "output_above": "its swing ends at {limit}{source}",
    "output_below": "its swing ends at {limit}{source}",
    "output_current": "its limit is {limit}{source}",
}


def _margin(rating: Rating) -> float:
    """What the limit of the table holds beyond the record's own number. [V]"""
    return NEAR_LIMIT_V if rating.resting.startswith("output_") and rating.unit == "V" else 0.0


def _value(value: float, unit: str, digits: int = 2) -> str:
    return f"{round(float(value), digits):.6g} V" if unit == "V" else format_quantity(float(value), unit, 3)


def _corner_words(row) -> str:
    share = float(row["corner_iq_share"]) - 1
    supply = "" if math.isnan(row["corner_supply_v"]) else f"supply {row['corner_supply_v']:.4g} V, "
    side = "above" if share > 0 else "below"
    return (
        f"{supply}{row['corner_temperature_c']:g} °C, quiescent current {abs(100 * share):.0f} % {side} typical,"
        " all else nominal"
    )


def _some(words: Sequence[str]) -> str:
    """Names of scenarios, a few of many."""
    if len(words) <= _MOST_NAMED:
        return listed(words)
    return f"{', '.join(words[:_MOST_NAMED])} and {len(words) - _MOST_NAMED} more"
