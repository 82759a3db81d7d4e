"""The noise rise as a check at the receiver: by how much the noise must grow when the antenna is plugged in."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from sim.summary.wording import at_band, listed

if TYPE_CHECKING:
    from pandas import DataFrame

MOST_BANDS = 6


def rises(summary: DataFrame) -> list[dict]:
    """Noise rise by scenario and band: the nominal unit's, and where nine units in ten lie.

    Parameters
    ----------
    summary : DataFrame
        summary.csv.

    Returns
    -------
    rises : list of dict
        scenario, frequency_hz [Hz], noise_rise_db, p05_db, p95_db [dB]; None where there is no number.
    """
    rows = summary[summary["measure"].astype(str) == "noise_rise_db"]
    return [
        {
            "scenario": int(row["scenario"]),
            "frequency_hz": float(row["frequency_hz"]),
            "noise_rise_db": float(row["nominal"]),
            "p05_db": _finite(row["p05"]),
            "p95_db": _finite(row["p95"]),
        }
        for row in rows.to_dict("records")
        if math.isfinite(row["nominal"])
    ]


def told(found: Sequence[Mapping], scenario: int, whose: str, noise: str) -> list[str]:
    """What a builder should see, as sentences; nothing for a chain that hears no noise.

    Parameters
    ----------
    found : sequence of mapping
        From :func:`rises`.
    scenario : int
        The one that is told.
    whose : str
        " with 220p", or nothing for the only scenario.
    noise : str
        Which noise of the site this holds for, "the site's median noise".
    """
    own = [entry for entry in found if entry["scenario"] == scenario][:MOST_BANDS]
    if not own:
        return []
    bands = []
    for place, entry in enumerate(own):
        spread = ""
        if entry["p05_db"] is not None and entry["p95_db"] is not None:
            ten = "nine units in ten " if place == 0 else ""
            spread = f" ({ten}{entry['p05_db']:.1f} to {entry['p95_db']:.1f})"
        bands.append(f"{entry['noise_rise_db']:.1f} dB{at_band(entry['frequency_hz'])}{spread}")
    return [
        f"Check at the receiver{whose}: plug the antenna in, and the noise must rise by {listed(bands)}.",
        f"That holds for {noise}, against a dummy of the antenna's impedance in its place (an open input makes other"
        " noise), read on an empty channel with AGC off and no attenuator.",
    ]


def noise_words(study) -> str:
    """Which noise of the site a scenario is judged on, as it stands in a sentence.

    Parameters
    ----------
    study : Study
        Of the scenario.
    """
    site = study.site
    if not isinstance(site.noise, str):
        return "the noise that you measured"
    place = {"any": " of time and place", "median": ""}.get(
        site.location, f" in a place at the {_spoken(site.location)} of its class"
    )
    return f"{site.noise} noise at its {_spoken(site.level)}{place}"


def _spoken(level: str) -> str:
    return f"{level} level" if "%" in level else level.replace("-", " ")


def _finite(value) -> float | None:
    return float(value) if math.isfinite(value) else None
