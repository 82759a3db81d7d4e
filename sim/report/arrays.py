"""The study's array as tables of the page: what its weights do alone, and what the units' errors leave of it."""

from collections.abc import Mapping

from sim.plots import words
from sim.report.model import Table
from sim.report.tables import band_text

_PHASING = (
    ("Directivity, dB", "directivity_db"),
    ("Most at that sensitivity, dB", "best_directivity_db"),
    ("Front to back, dB", "front_to_back_db"),
    ("Rear sector, dB", "rear_sector_db"),
    ("Noise penalty, dB", "noise_penalty_db"),
    ("Noise margin left, dB", "array_noise_margin_db"),
)
_ERRORS = (
    ("Median, dB", "front_to_back_p50_db"),
    ("95 % beat, dB", "front_to_back_p05_db"),
    ("Rear sector, 95 % beat, dB", "rear_sector_p05_db"),
    ("Directivity, 95 % beat, dB", "directivity_p05_db"),
)
_MOST_ROWS = 24


def phasing_table(answer: Mapping, first: int) -> Table:
    """A row a band: the array without errors, in the hardest direction of one scenario.

    Parameters
    ----------
    answer : mapping
        answer.json, as read.
    first : int
        The scenario.
    """
    entry = next((one for one in answer.get("array", ()) if one["scenario"] == first), None)
    if entry is None:
        return Table()
    rows = [
        (
            f"{band_text(band['frequency_hz'])}, {entry['bearing_deg']:g}°",
            *(_number(band, key, "dB") for _, key in _PHASING),
        )
        for band in entry["bands"]
    ]
    return Table(("Band, bearing", *(head for head, _ in _PHASING)), tuple(rows))


def spread_table(answer: Mapping, names: Mapping[int, str]) -> Table:
    """A row a scenario and band: front to back over the arrays that the units make, and the errors behind it.

    Parameters
    ----------
    answer : mapping
        answer.json, as read.
    names : mapping of int to str
        Of the scenarios.
    """
    several = len(names) > 1
    rows = []
    for entry in answer.get("array", ()):
        for band in entry["bands"]:
            share = band.get("front_to_back_yield")
            rows.append(
                (
                    (f"{names[entry['scenario']]}, " if several else "") + band_text(band["frequency_hz"]),
                    "–" if share is None else words.percent(share),
                    *(_number(band, key, "dB") for _, key in _ERRORS),
                    f"{_number(band, 'spread_gain_db', 'dB')} / {_number(band, 'allowed_gain_db', 'dB')}",
                    f"{_number(band, 'spread_phase_deg', 'degree')} / {_number(band, 'allowed_phase_deg', 'degree')}",
                )
            )
    wanted = next((f"≥ {entry['wanted_db']:g} dB" for entry in answer.get("array", ())), "")
    head = ("Scenario, band" if several else "Band", f"Arrays {wanted}", *(head for head, _ in _ERRORS))
    return Table((*head, "Rms / allowed, dB", "Rms / allowed, °"), tuple(rows[:_MOST_ROWS]))


def _number(band: Mapping, key: str, unit: str) -> str:
    return words.number(band[key], unit) if key in band else "–"
