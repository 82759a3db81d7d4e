"""Verdicts with every antenna: kept unit by unit, brought together, as the rows of antennas.csv, and in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from sim.quantity import format_quantity
from sim.summary.maps import Kept, OverMap, Spot, counting, map_told, over_map, spot_values
from sim.summary.wording import listed

if TYPE_CHECKING:
    from pandas import DataFrame

ANTENNA_SINGLE = ("antenna_margin",)
"""Measures that a unit has beside the others in a study with ``[stability]``."""


@dataclass(frozen=True)
class Antennas(Kept):
    """Verdicts of units with every source.

    Attributes
    ----------
    conductance : ndarray, shape (n_scenario, n_unit)
        Smallest input conductance from 10 kHz to 2 GHz. [S]
    """

    conductance: np.ndarray

    prefix: ClassVar[str] = "antennas"

    def keep(self, where: tuple[int, int], found) -> None:
        """Put in one unit's :class:`sim.stability.sources.SourceMap`, `where` being scenario and unit."""
        self.keep_verdicts(where, found)
        self.conductance[where] = found.least_conductance


def antenna_cells(source, own_capacitance: float) -> dict:
    """What tables say of an antenna.

    Parameters
    ----------
    source : Source
    own_capacitance : float
        Of the scenario's own antenna. [F]
    """
    share = source.share if source.case == "nominal" else np.nan
    return {
        "antenna": source.case,
        "capacitance_share": share,
        "capacitance_f": share * own_capacitance,
        "inductance_h": source.inductance,
    }


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

    rows = []
    for index, number in enumerate(scenarios):
        for place, source in enumerate(sources):
            cells = antenna_cells(source, own_capacitance[index])
            rows.append({"scenario": int(number), **cells, **antennas.row(index, place, units)})
    return pd.DataFrame(rows)


@dataclass(frozen=True)
class AllAntennas(OverMap):
    """What the map says of one scenario.

    Attributes
    ----------
    antennas : int
        How many.
    least_conductance : float or None
        Smallest input conductance of all units from 10 kHz to 2 GHz; below zero some antenna could make it oscillate.
        [S]
    """

    antennas: int
    least_conductance: float | None


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
    found = []
    for index, number in enumerate(scenarios):
        conductance = antennas.conductance[index, counting(units)]
        conductance = conductance[~np.isnan(conductance)]
        own = table[table["scenario"] == number]
        found.append(
            AllAntennas(
                scenario=int(number),
                antennas=len(own),
                least_conductance=float(conductance.min()) if len(conductance) else None,
                **over_map(antennas, index, units, len(conductance), own, _spot),
            )
        )
    return tuple(found)


def _spot(row) -> Spot:
    words = antenna_words(row["antenna"], row["capacitance_share"], row["capacitance_f"], row["inductance_h"])
    return Spot(words=words, **spot_values(row))


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
    return map_told(found, names, best, "antenna", _told)


def _told(entry: AllAntennas) -> tuple[str, str, str]:
    below = entry.least_conductance < 0
    sign = f"; input conductance down to {format_quantity(entry.least_conductance, 'S', 2)}" if below else ""
    return f"{entry.antennas} antenna{'s' * (entry.antennas > 1)}", sign, sign


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
