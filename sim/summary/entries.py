"""Entries of the answer: rows of the tables as JSON has them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from sim.noise.density import snr_loss
from sim.quantity import Limit
from sim.summary.yields import ALL_LIMITS

if TYPE_CHECKING:
    from pandas import DataFrame


def yield_entries(summary: DataFrame) -> list[dict]:
    """One entry a scenario, limit and band of summary.csv; those of all limits together are left out."""
    limited = summary[summary["passed"].notna() & (summary["measure"].astype(str) != ALL_LIMITS)]
    return [
        {
            "scenario": int(row["scenario"]),
            "measure": str(row["measure"]),
            "unit_of_measure": str(row["unit_of_measure"]),
            "frequency_hz": finite(row["frequency_hz"]),
            "limit_low": finite(row["limit_low"]),
            "limit_high": finite(row["limit_high"]),
            "nominal": finite(row["nominal"]),
            "nominal_keeps": bool(Limit(row["limit_low"], row["limit_high"]).holds(row["nominal"])),
            **counts(row),
        }
        for row in limited.to_dict("records")
    ]


def counts(row) -> dict:
    """Units that passed, their share and its interval, out of a row of summary.csv."""
    return {
        "passed": int(row["passed"]),
        "units": int(row["units"]),
        "yield": finite(row["yield"]),
        "yield_low": float(row["yield_low"]),
        "yield_high": float(row["yield_high"]),
    }


def lowest(yields: Sequence[dict]) -> dict | None:
    """The limit that fewest units keep; of equals the first."""
    return min(yields, key=lambda entry: -1.0 if entry["yield"] is None else entry["yield"], default=None)


def by_measure(yields: Sequence[dict]) -> dict[str, list[dict]]:
    """Entries of yields by their measure."""
    found: dict[str, list[dict]] = {}
    for entry in yields:
        found.setdefault(entry["measure"], []).append(entry)
    return found


def losses(summary: DataFrame) -> list[dict]:
    """What the nominal unit's noise margin costs in signal to noise, by scenario and band."""
    rows = summary[summary["measure"].astype(str) == "noise_margin_db"]
    return [
        {
            "scenario": int(row["scenario"]),
            "frequency_hz": finite(row["frequency_hz"]),
            "noise_margin_db": float(row["nominal"]),
            "snr_loss_db": float(snr_loss(row["nominal"])),
        }
        for row in rows.to_dict("records")
        if finite(row["nominal"]) is not None
    ]


def finite(value) -> float | None:
    """A number that JSON can hold; None for one that is none, or not finite."""
    return float(value) if value is not None and math.isfinite(value) else None
