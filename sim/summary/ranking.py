"""Which parts move gain, match and noise margin: entries of the answer, and words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from sim.summary.drivers import REST, TEMPERATURE
from sim.summary.wording import at_band, listed

if TYPE_CHECKING:
    from pandas import DataFrame

RANKED = ("gain_db", "match_gain_db", "match_phase_deg", "match_system_phase_deg", "noise_margin_db")
"""Measures whose drivers the answer names."""

_MOVED = {
    "gain_db": "bench gain",
    "match_gain_db": "gain match among the units of a build",
    "match_system_phase_deg": "phase match with feedline",
}
MOST_DRIVERS = 3
LEAST_SHARE = 0.05
"""Drivers below this share are not worth a word. [1]"""


def ranked(drivers: DataFrame, bands_hz: Sequence[float]) -> list[dict]:
    """Leading drivers at the middle band, largest share first.

    Parameters
    ----------
    drivers : DataFrame
        drivers.csv.
    bands_hz : sequence of float
        [Hz]
    """
    middle = bands_hz[len(bands_hz) // 2]
    found = []
    if not drivers["part"].astype(str).str.startswith("feedline.").any():
        # With the same line for all units its match is that of the bench.
        drivers = drivers[~drivers["measure"].astype(str).str.startswith("match_system_")]
    here = drivers[drivers["measure"].isin(RANKED) & ((drivers["frequency_hz"] / middle - 1).abs() < 1e-9)]
    for (scenario, measure), rows in here.groupby(["scenario", "measure"], sort=True):
        parts = rows[rows["part"] != REST].sort_values("share", ascending=False, kind="stable")
        found.append(
            {
                "scenario": int(scenario),
                "measure": str(measure),
                "frequency_hz": float(middle),
                "parts": [
                    {"part": str(r.part), "share": float(r.share), "slope_per_percent": _finite(r.slope_per_percent)}
                    for r in parts.head(MOST_DRIVERS).itertuples()
                ],
                "rest": _finite(rows.loc[rows["part"] == REST, "share"].iloc[0]),
            }
        )
    return sorted(found, key=lambda entry: (entry["scenario"], RANKED.index(entry["measure"])))


def _finite(value) -> float | None:
    return float(value) if value is not None and math.isfinite(value) else None


def drivers_told(ranked: Sequence[dict], scenario: int) -> list[str]:
    """Sentences about one scenario.

    Parameters
    ----------
    ranked : sequence of dict
        From :func:`ranked`.
    scenario : int
    """
    told = []
    for entry in ranked:
        leading = [part for part in entry["parts"] if part["share"] >= LEAST_SHARE]
        what = _MOVED.get(entry["measure"])
        if entry["scenario"] == scenario and leading and what:
            words = [f"{_part_name(p['part'])} ({100 * p['share']:.0f} %)" for p in leading]
            told.append(f"What moves {what} most{at_band(entry['frequency_hz'])}: {listed(words)}.")
    return told


def _part_name(part: str) -> str:
    return "temperature" if part == TEMPERATURE else part
