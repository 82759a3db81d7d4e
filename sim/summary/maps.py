"""What maps over loads and over sources have in common: units kept, rows of their tables, sentences."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from sim.quantity import format_quantity

if TYPE_CHECKING:
    from typing import Self

    from pandas import DataFrame

UNRESOLVED = -1
"""Count of poles that could not be counted."""
WORST = 5
"""Places of a map that are named."""
MOST_TOLD = 8
"""Scenarios that are told one by one."""


@dataclass(frozen=True)
class Kept:
    """Verdicts of units in every scenario at every place of a map; NaN where a unit failed or there is no such place.

    Attributes
    ----------
    margin, freq_hz : float32 ndarray, shape (n_scenario, n_unit, n_place)
        Smallest |1 + T| [1], and where, or near what frequency an unstable unit oscillates [Hz].
    poles : float32 ndarray, same shape
        Unstable poles; :data:`UNRESOLVED` where they could not be counted.
    """

    margin: np.ndarray
    freq_hz: np.ndarray
    poles: np.ndarray

    prefix: ClassVar[str] = ""
    """Begins the arrays' names in a chunk's file."""

    @classmethod
    def empty(cls, n_scenario: int, n_unit: int, n_place: int) -> Self:
        """As many as there will be, all NaN."""
        wide = [np.full((n_scenario, n_unit, n_place), np.nan, dtype=np.float32) for _ in range(3)]
        more = len(fields(cls)) - len(wide)
        return cls(*wide, *(np.full((n_scenario, n_unit), np.nan) for _ in range(more)))

    def keep_verdicts(self, where: tuple[int, int], found) -> None:
        """Put in what one unit's map says, `where` being scenario and unit.

        Parameters
        ----------
        where : (int, int)
        found : LineMap or SourceMap
        """
        count = len(found.margin)
        self.margin[where][:count] = found.margin
        oscillates = (found.unstable > 0) & np.isfinite(found.turn_hz)
        self.freq_hz[where][:count] = np.where(oscillates, found.turn_hz, found.freq_hz)
        self.poles[where][:count] = np.where(found.resolved, found.unstable, UNRESOLVED)

    def arrays(self) -> dict[str, np.ndarray]:
        """For a chunk's file."""
        return {f"{self.prefix}_{name}": values for name, values in vars(self).items()}

    @classmethod
    def read(cls, path: Path) -> Self | None:
        """Those of a chunk's file; None where there are none."""
        with np.load(path, allow_pickle=False) as arrays:
            names = [f"{cls.prefix}_{field.name}" for field in fields(cls)]
            return cls(*(arrays[name] for name in names)) if names[0] in arrays else None

    def place(self, part: Self, rows: np.ndarray) -> None:
        """Put in a chunk's units at their rows."""
        for name, values in vars(part).items():
            getattr(self, name)[:, rows] = values

    @property
    def smallest(self) -> np.ndarray:
        """Smallest margin of each unit over all places, shape (n_scenario, n_unit)."""
        least = np.fmin.reduce(self.margin, axis=2, initial=np.inf).astype(float)
        return np.where(np.isfinite(least), least, np.nan)

    def row(self, index: int, place: int, units: np.ndarray) -> dict[str, float]:
        """What a table says of one place in one scenario.

        Parameters
        ----------
        index : int
            Position of the scenario.
        place : int
        units : int ndarray, shape (n_unit,)

        Returns
        -------
        row : dict
            Smallest margin over the units that count and its five per cent; the unit that decides, an unstable one
            first, and its frequency; how many are unstable, not judged, simulated.
        """
        counted = counting(units)
        margin = self.margin[index, counted, place].astype(float)
        poles, freq_hz = self.poles[index, counted, place], self.freq_hz[index, counted, place]
        there = ~np.isnan(margin)
        # An unstable unit comes first, whatever its distance.
        order = np.where(there, np.where(poles == 0, margin, margin - 1e3), np.inf)
        worst, some = int(order.argmin()), bool(there.any())
        return {
            "margin_min": float(margin[there].min()) if some else np.nan,
            "margin_p05": float(np.quantile(margin[there], 0.05)) if some else np.nan,
            "unit": int(units[counted][worst]) if some else -1,
            "margin_frequency_hz": float(freq_hz[worst]) if some else np.nan,
            "unstable": int((poles > 0).sum()),
            "unresolved": int((poles == UNRESOLVED).sum()),
            "units": int(there.sum()),
        }

    def bad_units(self, index: int, units: np.ndarray) -> tuple[int, int]:
        """Units that are unstable somewhere on the map of a scenario, and further ones that could not be judged."""
        poles = self.poles[index, counting(units)]
        unstable = (poles > 0).any(axis=1)
        return int(unstable.sum()), int(((poles == UNRESOLVED).any(axis=1) & ~unstable).sum())


@dataclass(frozen=True)
class Spot:
    """One place of a map over all units.

    Attributes
    ----------
    words : str
    margin : float
        Smallest distance of the loop from −1 over the units. [1]
    frequency_hz : float
        Where, in the unit that decides. [Hz]
    unstable, unresolved : int
        Units.
    """

    words: str
    margin: float
    frequency_hz: float
    unstable: int
    unresolved: int


@dataclass(frozen=True)
class OverMap:
    """What a map says of one scenario.

    Attributes
    ----------
    scenario : int
    stable : bool or None
        Every unit that was simulated is stable everywhere on the map; None where none was simulated.
    units : int
        Simulated units from 1 on.
    unstable_units, unresolved_units : int
        Units that are unstable somewhere, and further ones that could not be judged somewhere.
    margin : float or None
        Smallest of all. [1]
    worst : tuple of Spot
        The least stable first.
    """

    scenario: int
    stable: bool | None
    units: int
    unstable_units: int
    unresolved_units: int
    margin: float | None
    worst: tuple[Spot, ...]


def counting(units: np.ndarray) -> np.ndarray:
    """Which units count: those from 1 on, or unit 0 where there is no other; bool, shape of `units`."""
    return units > 0 if np.any(units > 0) else units == 0


def over_map(kept: Kept, index: int, units: np.ndarray, simulated: int, rows: DataFrame, spot) -> dict:
    """The attributes of :class:`OverMap` but the scenario's number.

    Parameters
    ----------
    kept : Kept
    index : int
        Position of the scenario.
    units : int ndarray, shape (n_unit,)
    simulated : int
        How many of them were.
    rows : DataFrame
        The scenario's, of the map's table.
    spot : callable
        From a row to a Spot.
    """
    unstable, unresolved = kept.bad_units(index, units)
    return {
        "stable": not unstable and not unresolved if simulated else None,
        "units": simulated,
        "unstable_units": unstable,
        "unresolved_units": unresolved,
        "margin": float(rows["margin_min"].min()) if simulated else None,
        "worst": tuple(spot(rows.iloc[i]) for i in worst_first(rows)[:WORST]) if simulated else (),
    }


def spot_values(row) -> dict:
    """The attributes of :class:`Spot` but the words, out of a row of a table."""
    return {
        "margin": float(row["margin_min"]),
        "frequency_hz": float(row["margin_frequency_hz"]),
        "unstable": int(row["unstable"]),
        "unresolved": int(row["unresolved"]),
    }


def worst_first(rows: DataFrame) -> np.ndarray:
    """Order of a table's rows: most unstable units first, then the smallest margin."""
    return np.lexsort([rows["margin_min"], -(rows["unstable"] + rows["unresolved"])])


def plainest(margin: np.ndarray, poles: np.ndarray) -> np.ndarray:
    """Order of one unit's places: unstable ones, those that could not be judged, the others.

    Of the unstable ones the furthest from the border comes first, of the others the nearest.
    """
    group = np.select([poles > 0, poles < 0], [0, 1], 2)
    return np.lexsort([np.where(group == 0, -margin, margin), group])


def map_told(found: Sequence[OverMap], names: Mapping[int, str], best: int, what: str, told) -> list[str]:
    """Sentences: stable everywhere on the map or not, for each scenario; then the worst of one.

    Parameters
    ----------
    found : sequence of OverMap
    names : mapping of int to str
        Of the scenarios.
    best : int
        Scenario whose worst places are named where all are stable; else the first that is not stable is told.
    what : str
        Of what the map is, one of it: "feedline".
    told : callable
        From an entry to how many places it has in words, what is added to a yes, and what to a no.
    """
    said = []
    for entry in found[:MOST_TOLD]:
        head = f"Stable with every {what}{f', {names[entry.scenario]}' if len(names) > 1 else ''}"
        judged = entry.stable is not None
        said.append(_verdict(head, entry, *told(entry)) if judged else f"{head}: no unit could be judged.")
    shown = next((e for e in found if e.stable is False), None) or next((e for e in found if e.scenario == best), None)
    if shown is not None and shown.worst:
        whose = f" with {names[shown.scenario]}" if len(names) > 1 else ""
        said.append(f"Hardest {what}s{whose}: {'; '.join(_spot(spot, shown.units) for spot in shown.worst)}.")
    return said


def _verdict(head: str, entry: OverMap, count: str, good: str, bad: str) -> str:
    if entry.stable:
        many = f"all {entry.units} units" if entry.units > 1 else "the unit"
        return f"{head}: yes, {many} with {count}, smallest margin {entry.margin:.2f}{good}."
    parts = []
    if entry.unstable_units:
        oscillate = "oscillates" if entry.unstable_units == 1 else "oscillate"
        parts.append(f"{entry.unstable_units} of {entry.units} units {oscillate} with one or more of {count}")
    if entry.unresolved_units:
        parts.append(f"{entry.unresolved_units} could not be judged and count as not stable")
    return f"{head}: no, {', '.join(parts)}{bad}."


def _spot(spot: Spot, units: int) -> str:
    near = f"near {format_quantity(spot.frequency_hz, 'Hz', 2)}"
    if spot.unstable:
        oscillate = "oscillates" if spot.unstable == 1 else "oscillate"
        return f"{spot.words}: {spot.unstable} of {units} units {oscillate} {near}"
    if spot.unresolved:
        return f"{spot.words}: {spot.unresolved} of {units} units could not be judged"
    return f"{spot.words}: margin {spot.margin:.2f} {near}"
