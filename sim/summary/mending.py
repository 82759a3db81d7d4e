"""What to change about a design that is not stable enough: which scenarios, which units, the table, the words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from sim.measures.panel import SINGLE
from sim.quantity import format_quantity
from sim.stability.mend import Mending, Needed, Tried
from sim.summary.collect import Gathered

LEAST_MARGIN, LEAST_LINE_MARGIN = 0.5, 0.4
"""Smallest distance of the loop from −1 below which a unit is thin, where the study sets no limit: on the matched line,
where 0.5 is a phase margin of 29 degrees or more, and on the worst feedline; common practice and our choice. [1]"""
MOST_MENDED = 4
"""Scenarios for which changes are tried; each takes about a hundred runs."""
VERIFIED_UNITS = 50
"""Units on which a change must prove itself, as far as there are so many."""
MOST_FAILING = 25
"""How many of them are units that failed, worst first."""


@dataclass(frozen=True)
class Ill:
    """A scenario whose units are not all stable enough.

    Attributes
    ----------
    scenario : int
    unstable, thin, units : int
        Drawn units: not stable, stable with too small a margin, simulated.
    nominal : bool
        The nominal unit is one of them.
    worst : tuple of int
        Units to be run again: the nominal one, the worst on the matched line, and those with the smallest margins.
    verifying : tuple of int
        Units on which a change must prove itself.
    failing_among : int
        How many of these are not stable enough as they are.
    """

    scenario: int
    unstable: int
    thin: int
    units: int
    nominal: bool
    worst: tuple[int, ...]
    verifying: tuple[int, ...]
    failing_among: int


def needed_of(study) -> Needed:
    """The margins that a study asks for, or what is common where it asks for none."""

    def low(name: str, default: float) -> float:
        limit = study.limits.get(name)
        return limit.low if limit is not None and math.isfinite(limit.low) else default

    return Needed(low("stability_margin", LEAST_MARGIN), low("line_margin", LEAST_LINE_MARGIN), dict(study.limits))


def ill_scenarios(gathered: Gathered, needed: Needed, seed: int) -> tuple[Ill, ...]:
    """Scenarios with units that are unstable or thin, in order.

    Parameters
    ----------
    gathered : Gathered
    needed : Needed
    seed : int
        Of the study: the same units are picked again.
    """
    found = []
    order = np.random.default_rng(seed).permutation(len(gathered.units))
    for place, number in enumerate(gathered.scenarios):
        margin = gathered.single[place, :, SINGLE.index("stability_margin")]
        stable = gathered.single[place, :, SINGLE.index("stable")]
        there = ~np.isnan(stable)
        lines = np.full(len(margin), np.inf) if gathered.lines is None else gathered.lines.smallest[place]
        unstable = there & (stable == 0)
        bad = unstable | (there & ((margin < needed.margin) | (lines < needed.line_margin)))
        if not bad.any():
            continue
        # A unit that is not stable counts as worse than any that is; the margins of both ends of them are tried.
        worst = np.argsort(np.where(unstable, -1.0, np.minimum(margin, lines)), kind="stable")
        worst = worst[bad[worst]]
        drawn = gathered.units > 0
        picks = [worst[0], worst[np.nanargmax(margin[worst])], worst[np.nanargmin(margin[worst])]]
        units = tuple(dict.fromkeys([0, *(int(gathered.units[i]) for i in picks)]))
        failing = [int(gathered.units[i]) for i in worst if drawn[i]][:MOST_FAILING]
        others = [int(gathered.units[i]) for i in order if drawn[i] and there[i]]
        verifying = tuple(dict.fromkeys([*failing, *others]))[:VERIFIED_UNITS] or (0,)
        among = int(bad[np.isin(gathered.units, verifying)].sum())
        found.append(
            Ill(
                scenario=int(number),
                unstable=int((unstable & drawn).sum()),
                thin=int((bad & ~unstable & drawn).sum()),
                units=int((there & drawn).sum()),
                nominal=bool(bad[gathered.units == 0].any()),
                worst=units,
                verifying=verifying,
                failing_among=among,
            )
        )
    return tuple(found)


def mending_rows(found: Sequence[Mending]) -> list[dict]:
    """Rows of mending.csv, the ranked ones of each scenario first."""
    rows = []
    for mending in found:
        for one in sorted(mending.tried, key=lambda one: (one.rank is None, one.rank or 0)):
            change = one.change
            rows.append(
                {
                    "scenario": mending.scenario,
                    "rank": one.rank,
                    "change": change.ladder,
                    "key": change.key,
                    "was": change.was,
                    "value": change.value,
                    "value_si": change.number,
                    "unit_of_value": change.unit,
                    "stable": None if one.failed else int(one.stable),
                    "margin": one.margin,
                    "gain_change_db": one.gain_change_db,
                    "noise_margin_change_db": one.noise_margin_change_db,
                    "output_match_change_db": one.output_match_change_db,
                    "keeps_limits": int(one.keeps_limits),
                    "mends": int(one.mends),
                    "verified_units": one.verified,
                    "verified_good": one.verified_good,
                    "recommended": int(one.recommended),
                    "note": f"failed: {one.note}" if one.failed else one.note,
                }
            )
    return rows


def mending_entry(ill: Ill, mending: Mending | None, needed: Needed) -> dict:
    """What answer.json says of one scenario.

    Parameters
    ----------
    ill : Ill
    mending : Mending or None
        None where nothing was tried.
    needed : Needed
    """
    entry = {
        "scenario": ill.scenario,
        "unstable_units": ill.unstable,
        "thin_units": ill.thin,
        "units": ill.units,
        "nominal": ill.nominal,
        "needed_margin": needed.margin,
        "tried": None,
        "failed_trials": 0,
        "mended": 0,
        "failing_among_verified": ill.failing_among,
        "advice": [],
    }
    if mending is None:
        return entry
    return entry | {
        "tried": len(mending.tried),
        "failed_trials": sum(one.failed for one in mending.tried),
        "mended": sum(one.mends for one in mending.tried),
        "advice": [_advice(one, mending) for one in mending.recommended],
    }


def _advice(one: Tried, mending: Mending) -> dict:
    return {
        "key": one.change.key,
        "value": one.change.value,
        "words": change_words(one),
        "margin_before": mending.margin,
        "margin": one.margin,
        "gain_change_db": one.gain_change_db,
        "noise_margin_change_db": one.noise_margin_change_db,
        "output_match_change_db": one.output_match_change_db,
        "keeps_limits": one.keeps_limits,
        "verified_units": one.verified,
        "verified_good": one.verified_good,
        "note": one.note,
    }


def change_words(one: Tried) -> str:
    """A change as a builder says it: "47 ohm in series with the output", "Cf 8.2 pF in place of 1 pF"."""
    change = one.change
    if change.key == "amplifier.opamp":
        return f"{change.value} in place of {change.was}, a {change.ladder}"
    value = format_quantity(change.number, change.unit)
    instead = f" in place of {format_quantity(float(change.was), change.unit)}" if change.was else ""
    if change.key.startswith("amplifier.series_"):
        return f"{value} in series with the {change.key.rsplit('_', 1)[-1]}{instead}"
    return f"{change.key.rsplit('.', 1)[-1]} {value}{instead}"


def mending_told(entries: Sequence[dict], names: Mapping[int, str]) -> list[str]:
    """Sentences: what to change, for each scenario that is not stable enough; nothing where all are.

    Parameters
    ----------
    entries : sequence of dict
        From :func:`mending_entry`.
    names : mapping of int to str
        Of the scenarios.
    """
    told = []
    for entry in entries:
        if entry["tried"] is None:
            continue
        whose = f" with {names[entry['scenario']]}" if len(names) > 1 else ""
        head = f"What to change{whose}"
        lost = f", {entry['failed_trials']} of them could not be run" if entry["failed_trials"] else ""
        if not entry["advice"]:
            told.append(
                f"{head}: none of {entry['tried']} single changes{lost} gives every unit that was run again a margin"
                f" of {entry['needed_margin']:g}; mending.csv says how near each comes."
            )
            continue
        first, *others = entry["advice"]
        told.append(f"{head}: {_advice_told(first, entry)}.")
        said = f"Or: {'; '.join(_short(one) for one in others)}. " if others else ""
        told.append(f"{said}{entry['tried']} changes were tried one at a time{lost} (mending.csv).")
    rest = sum(entry["tried"] is None for entry in entries)
    if rest:
        are = "is" if rest == 1 else "are"
        told.append(
            f"{rest} more choice{'s' * (rest > 1)} {are} not stable enough; no change was tried on"
            f" {'it' if rest == 1 else 'them'}. Run {'it' if rest == 1 else 'one'} alone for advice."
        )
    return told


def _advice_told(one: dict, entry: Mapping) -> str:
    units = one["verified_units"]
    proof = f"verified on {units} unit{'s' * (units > 1)}, {entry['failing_among_verified']} of which fail as they are:"
    limits = "" if one["keeps_limits"] else "; it breaks a limit of the study"
    return f"{_short(one)}{limits}; {proof} {one['verified_good']} stable with margin enough"


def _short(one: Mapping) -> str:
    before = "not stable" if one["margin_before"] is None else f"{one['margin_before']:.2f}"
    costs = [
        f"{name} {signed_db(one[key])}"
        for name, key in (
            ("gain", "gain_change_db"),
            ("noise margin", "noise_margin_change_db"),
            ("output match", "output_match_change_db"),
        )
        if one[key] is not None
    ]
    note = f" ({one['note']})" if one["note"] else ""
    return f"{one['words']}{note}: smallest margin {one['margin']:.2f} in place of {before}, {', '.join(costs)}"


def signed_db(value: float) -> str:
    """A change: "-1.9 dB", "+6.0 dB", "0.0 dB"."""
    rounded = round(value, 1) + 0.0
    return f"{rounded:+.1f} dB" if rounded else "0.0 dB"
