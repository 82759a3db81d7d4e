"""The op-amps that a study compares, as the tables of a decision."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from sim.plots import words
from sim.quantity import format_quantity
from sim.report.model import Comparison, Decision, Substitution, Table
from sim.summary.substitution_words import chosen_text, mixed_lines

_ORDER = ("drop-in", "re-match", "capacitor", "no", "unknown")
_FIRST = (
    "system_gain_db",
    "system_phase_deg",
    "gain_db",
    "phase_deg",
    "noise_margin_db",
    "stability_margin",
    "current_ma",
)
_SKIPPED = ("stable",)


def substitution_section(answer: Mapping) -> Substitution:
    """The section of the page.

    Parameters
    ----------
    answer : mapping
        answer.json, as read.
    """
    entries = sorted(answer.get("substitution", ()), key=lambda entry: _ORDER.index(entry["kind"]))
    if not entries:
        return Substitution()
    groups: dict[tuple, list[Mapping]] = {}
    for entry in entries:
        groups.setdefault((entry["reference"], tuple(entry["others"].items())), []).append(entry)
    several = len(groups) > 1
    decisions = tuple(_decision(entry) for entry in entries)
    comparisons = tuple(
        Comparison(chosen_text(others) if several else "", _compared(reference, group))
        for (reference, others), group in groups.items()
    )
    return Substitution(decisions, entries[0]["array_takes"], comparisons, tuple(mixed_lines(entries)))


def _decision(entry: Mapping) -> Decision:
    marks = {"drop-in": "✓", "no": "✗"}
    unverified = entry["unverified"]
    return Decision(
        entry["opamp"],
        chosen_text(entry["others"].items()),
        marks.get(entry["kind"], "○"),
        entry["verdict"],
        entry["reason"],
        "not verified against a data sheet" if unverified else "verified",
    )


def _compared(reference: str, group: Sequence[Mapping]) -> Table:
    """A row for each measure and band: the reference's nominal unit, then each candidate's difference."""
    keys = [(one["measure"], one["frequency_hz"], one["unit_of_measure"]) for one in group[0]["differences"]]
    order = {name: place for place, name in enumerate(_FIRST)}
    keys = [key for key in keys if key[0] not in _SKIPPED]
    keys.sort(key=lambda key: order.get(key[0], len(order)))
    rows = []
    for measure, frequency, unit in keys:
        own = [_difference(entry, measure, frequency) for entry in group]
        band = f", {format_quantity(frequency, 'Hz')}" if frequency is not None else ""
        mark = words.unit_text(unit)
        head = f"{words.short_name(measure)}{band}" + (f", {'degrees' if mark == '°' else mark}" if mark else "")
        match = measure.startswith("match_")
        first = "–" if match else words.number(_value(own[0]["reference"]), unit)
        rows.append((f"{head}{' (size)' if match else ''}", first, *(_cell(one, unit) for one in own)))
    rows.append(("Units within every limit", "", *(_yield(entry) for entry in group)))
    mark = " (data not verified)" if group[0]["reference_unverified"] else ""
    return Table(("Difference", f"{reference} itself{mark}", *(_head(entry) for entry in group)), tuple(rows))


def _head(entry: Mapping) -> str:
    return entry["opamp"] + (" (data not verified)" if entry["unverified"] else "")


def _difference(entry: Mapping, measure: str, frequency) -> Mapping:
    return next(
        one for one in entry["differences"] if one["measure"] == measure and one["frequency_hz"] == frequency
    )


def _cell(one: Mapping, unit: str) -> str:
    """Mean over pairs with the half-width of its interval."""
    mean, low, high = (_value(one[name]) for name in ("mean_difference", "low", "high"))
    if math.isnan(mean):
        return "–"
    half = (high - low) / 2
    text = words.number(mean, unit)
    sign = "+" if mean > 0 and text != "0" else ""
    return f"{sign}{text}" + ("" if math.isnan(half) else f" ± {words.number(half, unit)}")


def _yield(entry: Mapping) -> str:
    return "–" if entry["yield"] is None else words.percent(entry["yield"])


def _value(value) -> float:
    return math.nan if value is None else float(value)
