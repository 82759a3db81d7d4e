"""Verdicts with every antenna: kept unit by unit, brought together, as the rows of antennas.csv, and in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from sim.quantity import format_quantity
from sim.summary.wording import listed

if TYPE_CHECKING:
    from pandas import DataFrame

ANTENNA_SINGLE = ("antenna_margin",)
"""Measures that a unit has beside the others in a study with ``[stability]``."""
UNRESOLVED = -1
"""Count of poles that could not be counted."""
WORST = 5
"""Antennas that are named."""
MOST_TOLD = 8
"""Scenarios that are told one by one."""


@dataclass(frozen=True)
class Antennas:
    """Verdicts of units in every scenario with every source; NaN where a unit failed.

    Attributes
    ----------
    margin, freq_hz : float32 ndarray, shape (n_scenario, n_unit, n_source)
        Smallest |1 + T| [1], and where; for an unstable unit where it oscillates, about. [Hz]
    poles : float32 ndarray, same shape
        Unstable poles; :data:`UNRESOLVED` where they could not be counted.
    conductance : ndarray, shape (n_scenario, n_unit)
        Smallest input conductance from 10 kHz to 2 GHz. [S]
    """

    margin: np.ndarray
    freq_hz: np.ndarray
    poles: np.ndarray
    conductance: np.ndarray

    @classmethod
    def empty(cls, n_scenario: int, n_unit: int, n_source: int) -> Antennas:
        """As many as there will be, all NaN."""
        wide = [np.full((n_scenario, n_unit, n_source), np.nan, dtype=np.float32) for _ in range(3)]
        return cls(*wide, np.full((n_scenario, n_unit), np.nan))

    def keep(self, where: tuple[int, int], found) -> None:
        """Put in one unit's :class:`sim.stability.sources.SourceMap`, `where` being scenario and unit."""
        self.margin[where] = found.margin
        self.freq_hz[where] = np.where(found.unstable > 0, found.turn_hz, found.freq_hz)
        self.poles[where] = np.where(found.resolved, found.unstable, UNRESOLVED)
        self.conductance[where] = found.least_conductance

    def arrays(self) -> dict[str, np.ndarray]:
        """For a chunk's file."""
        return {f"antennas_{name}": values for name, values in vars(self).items()}

    @classmethod
    def read(cls, path: Path) -> Antennas | None:
        """Those of a chunk's file; None where there are none."""
        with np.load(path, allow_pickle=False) as arrays:
            names = list(cls.__dataclass_fields__)
            if f"antennas_{names[0]}" not in arrays:
                return None
            return cls(*(arrays[f"antennas_{name}"] for name in names))

    def place(self, part: Antennas, rows: np.ndarray) -> None:
        """Put in a chunk's units at their rows."""
        for name, values in vars(part).items():
            getattr(self, name)[:, rows] = values

    @property
    def smallest(self) -> np.ndarray:
        """Smallest margin of each unit over all its sources, shape (n_scenario, n_unit)."""
        least = np.fmin.reduce(self.margin, axis=2, initial=np.inf).astype(float)
        return np.where(np.isfinite(least), least, np.nan)


def antenna_rows(
    antennas: Antennas, scenarios, units: np.ndarray, sources, own_capacitance: Sequence[float]
) -> DataFrame:
    """The rows of antennas.csv: one for each scenario and source.

    Parameters
    ----------
    antennas : Antennas
    scenarios : sequence of int
        Their numbers.
    units : int ndarray, shape (n_unit,)
    sources : sequence of Source
    own_capacitance : sequence of float
        Of each scenario's nominal antenna; NaN for one that is no capacitance. [F]

    Returns
    -------
    table : DataFrame
        Smallest margin over the units from 1 (unit 0 where there is no other), in which unit and at what frequency;
        for a source with unstable units those of the least stable one. How many units are unstable and how many could
        not be judged, of all that were simulated. Capacitances of removed and shorted antennas are NaN.
    """
    import pandas as pd

    drawn = units > 0 if np.any(units > 0) else units == 0
    rows = []
    for index, number in enumerate(scenarios):
        for place, source in enumerate(sources):
            margin = antennas.margin[index, drawn, place].astype(float)
            poles, freq_hz = antennas.poles[index, drawn, place], antennas.freq_hz[index, drawn, place]
            there = ~np.isnan(margin)
            # An unstable unit comes first, whatever its distance.
            order = np.where(there, np.where(poles == 0, margin, margin - 1e3), np.inf)
            worst, some = int(order.argmin()), bool(there.any())
            share = source.share if source.case == "nominal" else np.nan
            rows.append(
                {
                    "scenario": int(number),
                    "antenna": source.case,
                    "capacitance_share": share,
                    "capacitance_f": share * own_capacitance[index],
                    "inductance_h": source.inductance,
                    "margin_min": float(margin[there].min()) if some else np.nan,
                    "margin_p05": float(np.quantile(margin[there], 0.05)) if some else np.nan,
                    "unit": int(units[drawn][worst]) if some else -1,
                    "margin_frequency_hz": float(freq_hz[worst]) if some else np.nan,
                    "unstable": int((poles > 0).sum()),
                    "unresolved": int((poles == UNRESOLVED).sum()),
                    "units": int(there.sum()),
                }
            )
    return pd.DataFrame(rows)


@dataclass(frozen=True)
class WithAntenna:
    """One antenna over all units.

    Attributes
    ----------
    words : str
    margin, frequency_hz : float
        Smallest distance of the loop from −1 [1]; where, in the unit that decides [Hz].
    unstable, unresolved : int
        Units.
    """

    words: str
    margin: float
    frequency_hz: float
    unstable: int
    unresolved: int


@dataclass(frozen=True)
class AllAntennas:
    """What the map says of one scenario.

    Attributes
    ----------
    scenario : int
    stable : bool or None
        Every unit that was simulated is stable with every antenna; None where none was simulated.
    units, antennas : int
        Simulated units from 1 on, and antennas.
    unstable_units, unresolved_units : int
        Units that are unstable with some antenna, and further ones that could not be judged with one.
    margin : float or None
        Smallest of all. [1]
    least_conductance : float or None
        Smallest input conductance of all units from 10 kHz to 2 GHz; below zero some antenna could make it oscillate.
        [S]
    worst : tuple of WithAntenna
        The least stable first.
    """

    scenario: int
    stable: bool | None
    units: int
    antennas: int
    unstable_units: int
    unresolved_units: int
    margin: float | None
    least_conductance: float | None
    worst: tuple[WithAntenna, ...]


def antennas_of(antennas: Antennas, scenarios, units: np.ndarray, table: DataFrame) -> tuple[AllAntennas, ...]:
    """What the map says, scenario by scenario.

    Parameters
    ----------
    antennas : Antennas
    scenarios : sequence of int
    units : int ndarray, shape (n_unit,)
    table : DataFrame
        antennas.csv.
    """
    drawn = units > 0 if np.any(units > 0) else units == 0
    found = []
    for index, number in enumerate(scenarios):
        poles, conductance = antennas.poles[index, drawn], antennas.conductance[index, drawn]
        there = ~np.isnan(conductance)
        unstable = (poles > 0).any(axis=1)
        unresolved = (poles == UNRESOLVED).any(axis=1) & ~unstable
        own = table[table["scenario"] == number]
        some = bool(there.any())
        order = worst_first(own)
        found.append(
            AllAntennas(
                scenario=int(number),
                stable=bool(not unstable.any() and not unresolved.any()) if some else None,
                units=int(there.sum()),
                antennas=len(own),
                unstable_units=int(unstable.sum()),
                unresolved_units=int(unresolved.sum()),
                margin=float(own["margin_min"].min()) if some else None,
                least_conductance=float(conductance[there].min()) if some else None,
                worst=tuple(_with(own.iloc[i]) for i in order[:WORST]) if some else (),
            )
        )
    return tuple(found)


def worst_first(rows: DataFrame) -> np.ndarray:
    """Order of a table's rows: most unstable units first, then the smallest margin."""
    return np.lexsort([rows["margin_min"], -(rows["unstable"] + rows["unresolved"])])


def _with(row) -> WithAntenna:
    return WithAntenna(
        words=antenna_words(row["antenna"], row["capacitance_share"], row["capacitance_f"], row["inductance_h"]),
        margin=float(row["margin_min"]),
        frequency_hz=float(row["margin_frequency_hz"]),
        unstable=int(row["unstable"]),
        unresolved=int(row["unresolved"]),
    )


def antenna_words(case: str, share: float, capacitance: float, inductance: float) -> str:
    """An antenna: "1 uH of lead and an antenna of 20 pF (0.7 of its own)".

    Parameters
    ----------
    case : str
        nominal, removed or shorted.
    share : float
        Of the antenna's own capacitance. [1]
    capacitance : float
        NaN where the antenna is none. [F]
    inductance : float
        Of the lead. [H]
    """
    lead = f"{format_quantity(inductance, 'H')} of lead" if inductance else ""
    if case == "removed":
        return "the antenna removed"
    if case == "shorted":
        return f"the input shorted through {lead}" if lead else "the input shorted"
    what = "the antenna as it is"
    if share != 1:
        farads = f" of {format_quantity(capacitance, 'F', 3)}" if np.isfinite(capacitance) else ""
        what = f"an antenna{farads} ({share:g} of its own capacitance)"
    return f"{lead} and {what}" if lead else what


def antennas_told(found: Sequence[AllAntennas], names: Mapping[int, str], best: int) -> list[str]:
    """Sentences: stable with every antenna or not, for each scenario; then the worst of one.

    Parameters
    ----------
    found : sequence of AllAntennas
    names : mapping of int to str
        Of the scenarios.
    best : int
        Scenario whose worst antennas are named where all are stable; else the first that is not stable is told.
    """
    told = [_told(entry, names) for entry in found[:MOST_TOLD]]
    shown = next((e for e in found if e.stable is False), None) or next((e for e in found if e.scenario == best), None)
    if shown is not None and shown.worst:
        whose = f" with {names[shown.scenario]}" if len(names) > 1 else ""
        told.append(f"Hardest antennas{whose}: {'; '.join(_one(entry, shown.units) for entry in shown.worst)}.")
    return told


def _told(entry: AllAntennas, names: Mapping[int, str]) -> str:
    head = f"Stable with every antenna{f', {names[entry.scenario]}' if len(names) > 1 else ''}"
    if entry.stable is None:
        return f"{head}: no unit could be judged."
    count = f"{entry.antennas} antenna{'s' * (entry.antennas > 1)}"
    many = f"all {entry.units} units" if entry.units > 1 else "the unit"
    below = entry.least_conductance < 0
    sign = f"; input conductance down to {format_quantity(entry.least_conductance, 'S', 2)}" if below else ""
    if entry.stable:
        return f"{head}: yes, {many} with {count}, smallest margin {entry.margin:.2f}{sign}."
    parts = []
    if entry.unstable_units:
        oscillate = "oscillates" if entry.unstable_units == 1 else "oscillate"
        parts.append(f"{entry.unstable_units} of {entry.units} units {oscillate} with one or more of {count}")
    if entry.unresolved_units:
        parts.append(f"{entry.unresolved_units} could not be judged and count as not stable")
    return f"{head}: no, {', '.join(parts)}{sign}."


def _one(entry: WithAntenna, units: int) -> str:
    near = f"near {format_quantity(entry.frequency_hz, 'Hz', 2)}"
    if entry.unstable:
        oscillate = "oscillates" if entry.unstable == 1 else "oscillate"
        return f"with {entry.words}, {entry.unstable} of {units} units {oscillate} {near}"
    if entry.unresolved:
        return f"with {entry.words}, {entry.unresolved} of {units} units could not be judged"
    return f"with {entry.words}, margin {entry.margin:.2f} {near}"


def anything_told(feedlines: Sequence, antennas: Sequence[AllAntennas], names: Mapping[int, str]) -> list[str]:
    """One sentence for the opening: which choices stand every feedline and every antenna that was tried.

    Parameters
    ----------
    feedlines : sequence of Feedlines
    antennas : sequence of AllAntennas
    names : mapping of int to str
        Of the scenarios.
    """
    stands: dict[int, bool] = {}
    for entry in (*feedlines, *antennas):
        if entry.stable is not None:
            stands[entry.scenario] = stands.get(entry.scenario, True) and entry.stable
    if not stands:
        return []
    what = " and ".join(word for word, there in (("feedline", feedlines), ("antenna", antennas)) if there)
    good = [names[number] for number, stable in stands.items() if stable]
    bad = [names[number] for number, stable in stands.items() if not stable]
    if len(names) == 1:
        return [f"With every {what} that was tried: {'all units are stable' if good else 'not all units are stable'}."]
    said = [f"{listed(good)} {'is' if len(good) == 1 else 'are'} stable"] if good else []
    said += [f"{listed(bad)} {'is' if len(bad) == 1 else 'are'} not"] if bad else []
    return [f"With every {what} that was tried: {'; '.join(said)}."]
