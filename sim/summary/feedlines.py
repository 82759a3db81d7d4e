"""Is it stable with every feedline? The map of stability.csv in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sim.stability.family import OWN
from sim.summary.lines import Lines
from sim.summary.maps import OverMap, Spot, counting, map_told, over_map, spot_values

if TYPE_CHECKING:
    from pandas import DataFrame

_ENDS = {
    "open": "the far end open",
    "short": "the far end shorted",
    "matched": "the far end matched",
    "half": "half the impedance at the far end",
    "double": "twice the impedance at the far end",
    "unplugged": "the plug off at the receiver",
}


@dataclass(frozen=True)
class Combination(Spot):
    """One feedline with its far end, over all units.

    Attributes
    ----------
    cable, far_end : str
    length_m : float
        [m]
    """

    cable: str
    far_end: str
    length_m: float


@dataclass(frozen=True)
class Feedlines(OverMap):
    """What the map says of one scenario.

    Attributes
    ----------
    combinations : int
        Feedlines with far ends.
    unconditional_units : int
        Units that are stable on every passive line, known from their output resistance alone.
    least_resistance : float or None
        Smallest output resistance of all units from 10 kHz to 2 GHz. [Ω]
    """

    combinations: int
    unconditional_units: int
    least_resistance: float | None


def feedlines_of(lines: Lines, scenarios: Sequence[int], units: np.ndarray, table: DataFrame) -> tuple[Feedlines, ...]:
    """What the map says, scenario by scenario.

    Parameters
    ----------
    lines : Lines
    scenarios : sequence of int
    units : int ndarray, shape (n_unit,)
    table : DataFrame
        stability.csv.
    """
    counted, found = counting(units), []
    for index, number in enumerate(scenarios):
        there = ~np.isnan(lines.unconditional[index, counted])
        resistance = lines.resistance[index, counted][there]
        own = table[table["scenario"] == number]
        found.append(
            Feedlines(
                scenario=int(number),
                combinations=len(own),
                unconditional_units=int((lines.unconditional[index, counted][there] == 1).sum()),
                least_resistance=float(resistance.min()) if there.any() else None,
                **over_map(lines, index, units, int(there.sum()), own, _combination),
            )
        )
    return tuple(found)


def _combination(row) -> Combination:
    cable, far_end, length = str(row["cable"]), str(row["far_end"]), float(row["length_m"])
    words = load_words(cable, length, far_end)
    return Combination(words=words, cable=cable, far_end=far_end, length_m=length, **spot_values(row))


def load_words(cable: str, length_m: float, far_end: str) -> str:
    """A feedline with its far end: "0.8 m of rg6-cu with the far end open".

    Parameters
    ----------
    cable : str
    length_m : float
        0 for a plug that is off at the amplifier. [m]
    far_end : str
        A word, or a file's name.
    """
    if length_m == 0:
        return f"the plug of {cable} off at the amplifier"
    length = f"{length_m:.3g} m"
    what = f"the study's own feedline ({length})" if cable == OWN else f"{length} of {cable}"
    return f"{what} with {_ENDS.get(far_end, f'{far_end} at the far end')}"


def feedlines_told(found: Sequence[Feedlines], names: Mapping[int, str], best: int) -> list[str]:
    """Sentences: stable with every feedline or not, for each scenario; then the worst of one.

    Parameters
    ----------
    found : sequence of Feedlines
    names : mapping of int to str
        Of the scenarios.
    best : int
        Scenario whose worst combinations are named where all are stable; else the first that is not stable is told.
    """
    return map_told(found, names, best, "feedline", _told)


def _told(entry: Feedlines) -> tuple[str, str, str]:
    sure = ""
    if entry.unconditional_units == entry.units:
        sure = (
            f"; the output resistance of {'every unit' if entry.units > 1 else 'the unit'} is at least"
            f" {entry.least_resistance:.3g} ohm from 10 kHz to 2 GHz, so it is stable on every passive line"
        )
    below = f"; output resistance down to {entry.least_resistance:.3g} ohm" if entry.least_resistance < 0 else ""
    return f"{entry.combinations} combinations of cable, length and far end", sure, below
