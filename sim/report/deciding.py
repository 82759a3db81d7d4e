"""Which pictures of a run decide: what the study asks for first, then quiet, stable and alike."""

from __future__ import annotations

from collections.abc import Sequence

from sim.report.model import Picture

_ASKED = ("substitution", "trade-", "array_causes", "weather-", "temperature", "strong", "feedline_map", "antenna_map")
_ALWAYS = ("noise_margin", "loop_margin", "spread-match_gain_db", "spread-match_system_phase_deg")
MOST = 4
_MOST_ASKED = 2


def split(figures: Sequence[Picture], hardest: str = "") -> tuple[tuple[Picture, ...], tuple[Picture, ...]]:
    """The pictures that decide, and all others.

    Parameters
    ----------
    figures : sequence of Picture
        In reading order.
    hardest : str
        Measure with the lowest yield of a limit that units miss; its own picture is then among the first.

    Returns
    -------
    first, rest : tuple of Picture
        At most four first ones; `rest` keeps the order of reading.
    """
    asked = [f for start in _ASKED for f in figures if f.name.startswith(start)][:_MOST_ASKED]
    missed = [f for f in figures if hardest and f.name == f"spread-{hardest}"]
    always = [f for name in _ALWAYS for f in figures if f.name == name]
    first = tuple(dict.fromkeys((*asked, *missed, *always)))[:MOST]
    return first, tuple(f for f in figures if f not in first)
