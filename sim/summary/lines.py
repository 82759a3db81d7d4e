"""Verdicts on every feedline: kept unit by unit, brought together, and as the rows of stability.csv."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pandas import DataFrame

LINE_SINGLE = ("line_margin",)
"""Measures that a unit has beside :data:`sim.measures.panel.SINGLE` in a study with ``[stability]``."""

UNRESOLVED = -1
"""Count of poles that could not be counted."""


@dataclass(frozen=True)
class Lines:
    """Verdicts of units in every scenario on every load; NaN where a unit failed or a scenario has fewer loads.

    Attributes
    ----------
    margin, freq_hz : float32 ndarray, shape (n_scenario, n_unit, n_load)
        Smallest |1 + T| [1], and where, or near what frequency an unstable unit oscillates [Hz].
    poles : float32 ndarray, same shape
        Unstable poles; :data:`UNRESOLVED` where they could not be counted.
    resistance : ndarray, shape (n_scenario, n_unit)
        Smallest output resistance from 10 kHz to 2 GHz. [Ω]
    unconditional : ndarray, shape (n_scenario, n_unit)
        1 where a unit is stable on every passive line, 0 where that is not shown.
    """

    margin: np.ndarray
    freq_hz: np.ndarray
    poles: np.ndarray
    resistance: np.ndarray
    unconditional: np.ndarray

    @classmethod
    def empty(cls, n_scenario: int, n_unit: int, n_load: int) -> Lines:
        """As many as there will be, all NaN."""
        wide = [np.full((n_scenario, n_unit, n_load), np.nan, dtype=np.float32) for _ in range(3)]
        return cls(*wide, *(np.full((n_scenario, n_unit), np.nan) for _ in range(2)))

    def keep(self, where: tuple[int, int], found) -> None:
        """Put in one unit's :class:`sim.stability.line_map.LineMap`, `where` being scenario and unit."""
        count = len(found.margin)
        self.margin[where][:count] = found.margin
        oscillates = (found.unstable > 0) & np.isfinite(found.turn_hz)
        self.freq_hz[where][:count] = np.where(oscillates, found.turn_hz, found.freq_hz)
        self.poles[where][:count] = np.where(found.resolved, found.unstable, UNRESOLVED)
        self.resistance[where] = found.least_resistance
        self.unconditional[where] = found.unconditional

    def arrays(self) -> dict[str, np.ndarray]:
        """For a chunk's file."""
        return {f"lines_{name}": values for name, values in vars(self).items()}

    @classmethod
    def read(cls, path: Path) -> Lines | None:
        """Those of a chunk's file; None where there are none."""
        with np.load(path, allow_pickle=False) as arrays:
            names = list(cls.__dataclass_fields__)
            if f"lines_{names[0]}" not in arrays:
                return None
            return cls(*(arrays[f"lines_{name}"] for name in names))

    def place(self, part: Lines, rows: np.ndarray) -> None:
        """Put in a chunk's units at their rows."""
        for name, values in vars(part).items():
            getattr(self, name)[:, rows] = values

    @property
    def smallest(self) -> np.ndarray:
        """Smallest margin of each unit over all its loads, shape (n_scenario, n_unit)."""
        least = np.fmin.reduce(self.margin, axis=2, initial=np.inf).astype(float)
        return np.where(np.isfinite(least), least, np.nan)


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

    drawn = units > 0 if np.any(units > 0) else units == 0
    rows = []
    for index, number in enumerate(scenarios):
        for place, load in enumerate(loads[index]):
            margin = lines.margin[index, drawn, place].astype(float)
            poles, freq_hz = lines.poles[index, drawn, place], lines.freq_hz[index, drawn, place]
            there = ~np.isnan(margin)
            # An unstable unit comes first, whatever its distance.
            order = np.where(there, np.where(poles == 0, margin, margin - 1e3), np.inf)
            worst = int(order.argmin())
            some = bool(there.any())
            rows.append(
                {
                    "scenario": int(number),
                    "cable": load.line.name,
                    "length_m": float(load.line.length),
                    "far_end": load.end_name,
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
