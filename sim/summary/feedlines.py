"""Is it stable with every feedline? The map of stability.csv in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sim.quantity import format_quantity
from sim.stability.family import OWN
from sim.summary.lines import UNRESOLVED, Lines

if TYPE_CHECKING:
    from pandas import DataFrame

WORST = 5
"""Combinations that are named."""
MOST_TOLD = 8
"""Scenarios that are told one by one."""

_ENDS = {
    "open": "the far end open",
    "short": "the far end shorted",
    "matched": "the far end matched",
    "half": "half the impedance at the far end",
    "double": "twice the impedance at the far end",
    "unplugged": "the plug off at the receiver",
}


@dataclass(frozen=True)
class Combination:
    """One feedline with its far end, over all units.

    Attributes
    ----------
    cable, far_end, words : str
    length_m : float
        [m]
    margin : float
        Smallest distance of the loop from −1 over the units. [1]
    frequency_hz : float
        Where, in the unit that decides. [Hz]
    unstable, unresolved : int
        Units.
    """

    cable: str
    far_end: str
    words: str
    length_m: float
    margin: float
    frequency_hz: float
    unstable: int
    unresolved: int


@dataclass(frozen=True)
class Feedlines:
    """What the map says of one scenario.

    Attributes
    ----------
    scenario : int
    stable : bool or None
        Every unit that was simulated is stable with every feedline; None where none was simulated.
    units, combinations : int
        Simulated units from 1 on, and feedlines with far ends.
    unstable_units, unresolved_units : int
        Units with an unstable feedline, and further ones with one that could not be judged.
    margin : float or None
        Smallest of all. [1]
    unconditional_units : int
        Units that are stable on every passive line, known from their output resistance alone.
    least_resistance : float or None
        Smallest output resistance of all units from 10 kHz to 2 GHz. [Ω]
    worst : tuple of Combination
        The least stable first.
    """

    scenario: int
    stable: bool | None
    units: int
    combinations: int
    unstable_units: int
    unresolved_units: int
    margin: float | None
    unconditional_units: int
    least_resistance: float | None
    worst: tuple[Combination, ...]


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
    drawn = units > 0 if np.any(units > 0) else units == 0
    found = []
    for index, number in enumerate(scenarios):
        poles = lines.poles[index, drawn]
        there = ~np.isnan(lines.unconditional[index, drawn])
        unstable = (poles > 0).any(axis=1)
        unresolved = (poles == UNRESOLVED).any(axis=1) & ~unstable
        own = table[table["scenario"] == number]
        # Most unstable units first, then the smallest margin.
        bad = own["unstable"] + own["unresolved"]
        order = np.lexsort([own["margin_min"], -bad])
        resistance = lines.resistance[index, drawn][there]
        found.append(
            Feedlines(
                scenario=int(number),
                stable=bool(not unstable.any() and not unresolved.any()) if there.any() else None,
                units=int(there.sum()),
                combinations=len(own),
                unstable_units=int(unstable.sum()),
                unresolved_units=int(unresolved.sum()),
                margin=float(own["margin_min"].min()) if there.any() else None,
                unconditional_units=int((lines.unconditional[index, drawn][there] == 1).sum()),
                least_resistance=float(resistance.min()) if there.any() else None,
                worst=tuple(_combination(own.iloc[i]) for i in order[:WORST]) if there.any() else (),
            )
        )
    return tuple(found)


def _combination(row) -> Combination:
    return Combination(
        cable=str(row["cable"]),
        far_end=str(row["far_end"]),
        words=load_words(str(row["cable"]), float(row["length_m"]), str(row["far_end"])),
        length_m=float(row["length_m"]),
        margin=float(row["margin_min"]),
        frequency_hz=float(row["margin_frequency_hz"]),
        unstable=int(row["unstable"]),
        unresolved=int(row["unresolved"]),
    )


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
    told = [_told(entry, names) for entry in found[:MOST_TOLD]]
    shown = next((e for e in found if e.stable is False), None) or next((e for e in found if e.scenario == best), None)
    if shown is not None and shown.worst:
        whose = f" with {names[shown.scenario]}" if len(names) > 1 else ""
        said = "; ".join(_one(entry, shown.units) for entry in shown.worst)
        told.append(f"Hardest feedlines{whose}: {said}.")
    return told


def _told(entry: Feedlines, names: Mapping[int, str]) -> str:
    head = f"Stable with every feedline{f', {names[entry.scenario]}' if len(names) > 1 else ''}"
    if entry.stable is None:
        return f"{head}: no unit could be judged."
    count = f"{entry.combinations} combinations of cable, length and far end"
    many = f"all {entry.units} units" if entry.units > 1 else "the unit"
    if entry.stable:
        sure = ""
        if entry.unconditional_units == entry.units:
            sure = (
                f"; the output resistance of {'every unit' if entry.units > 1 else 'the unit'} is at least"
                f" {entry.least_resistance:.3g} ohm from 10 kHz to 2 GHz, so it is stable on every passive line"
            )
        return f"{head}: yes, {many} with {count}, smallest margin {entry.margin:.2f}{sure}."
    parts = []
    if entry.unstable_units:
        oscillate = "oscillates" if entry.unstable_units == 1 else "oscillate"
        parts.append(f"{entry.unstable_units} of {entry.units} units {oscillate} with one or more of {count}")
    if entry.unresolved_units:
        parts.append(f"{entry.unresolved_units} could not be judged and count as not stable")
    resistance = f"; output resistance down to {entry.least_resistance:.3g} ohm" if entry.least_resistance < 0 else ""
    return f"{head}: no, {', '.join(parts)}{resistance}."


def _one(entry: Combination, units: int) -> str:
    near = f"near {format_quantity(entry.frequency_hz, 'Hz', 2)}"
    if entry.unstable:
        oscillate = "oscillates" if entry.unstable == 1 else "oscillate"
        return f"{entry.words}: {entry.unstable} of {units} units {oscillate} {near}"
    if entry.unresolved:
        return f"{entry.words}: {entry.unresolved} of {units} units could not be judged"
    return f"{entry.words}: margin {entry.margin:.2f} {near}"
