"""Verdicts on every feedline: kept unit by unit, brought together, and as the rows of stability.csv."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from sim.summary.maps import Kept

if TYPE_CHECKING:
    from pandas import DataFrame

LINE_SINGLE = ("line_margin",)
"""Measures that a unit has beside :data:`sim.measures.panel.SINGLE` in a study with ``[stability]``."""


@dataclass(frozen=True)
class Lines(Kept):
    """Verdicts of units on every load.

    Attributes
    ----------
    resistance : ndarray, shape (n_scenario, n_unit)
        Smallest output resistance from 10 kHz to 2 GHz. [Ω]
    unconditional : ndarray, shape (n_scenario, n_unit)
        1 where a unit is stable on every passive line, 0 where that is not shown.
    """

    resistance: np.ndarray
    unconditional: np.ndarray

    prefix: ClassVar[str] = "lines"

    def keep(self, where: tuple[int, int], found) -> None:
        """Put in one unit's :class:`sim.stability.line_map.LineMap`, `where` being scenario and unit."""
        self.keep_verdicts(where, found)
        self.resistance[where] = found.least_resistance
        self.unconditional[where] = found.unconditional


def load_cells(load) -> dict:
    """What tables say of a feedline with its far end, a :class:`sim.stability.family.Load`."""
    return {"cable": load.line.name, "length_m": float(load.line.length), "far_end": load.end_name}


def line_rows(lines: Lines, scenarios, units: np.ndarray, loads) -> DataFrame:
    """The rows of stability.csv: one for each scenario and load.

    Parameters
    ----------
    lines : Lines
    scenarios : sequence of int
        Their numbers.
    units : int ndarray, shape (n_unit,)
    loads : sequence of tuple of Load
        Of each scenario.

    Returns
    -------
    table : DataFrame
        Smallest margin over the units from 1 (unit 0 where there is no other), in which unit and at what frequency;
        for a load with unstable units near what frequency one of them oscillates. How many units are unstable and how
        many could not be judged, of all that were simulated.
    """
    import pandas as pd

    rows = [
        {"scenario": int(number), **load_cells(load), **lines.row(index, place, units)}
        for index, number in enumerate(scenarios)
        for place, load in enumerate(loads[index])
    ]
    return pd.DataFrame(rows)
