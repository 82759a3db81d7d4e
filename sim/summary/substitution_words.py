"""What is said and written of op-amps that were judged against another: sentences, answer.json, substitution.csv."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from sim.columns import MEASURES
from sim.quantity import format_quantity
from sim.summary.mixed import SEEN, Takes, null_db
from sim.summary.optimum import spoken
from sim.summary.substitution import Candidate, Miss, Mixed, Verdict
from sim.summary.wording import at_band, interval, limit_text, listed, measure_name, percent
from sim.summary.yields import NEEDED_YIELD

MOST_TOLD = 8
"""Candidates of which the opening tells the reason."""
MOST_MISSES = 3
_ORDER = ("drop-in", "re-match", "capacitor", "no", "unknown")


def step_text(gain_db: float, phase_deg: float) -> str:
    """A step: "-0.12 dB and -3.6 degrees"."""
    return f"{signed(gain_db, 2)} dB and {signed(phase_deg, 1)} degrees"


def signed(value: float, places: int) -> str:
    """A number with its sign; "0.0" without one."""
    text = f"{value:+.{places}f}"
    return text[1:] if float(text) == 0 else text


def reason(verdict: Verdict, takes: Takes) -> str:
    """Why a candidate got its verdict, in a sentence without its full stop.

    Parameters
    ----------
    verdict : Verdict
    takes : Takes
        What the array takes.
    """
    one, whose = verdict.candidate, verdict.candidate.instead_of
    if verdict.kind == "unknown":
        return f"{_kept(one)}, but the nominal unit with {whose} gave no numbers to compare it with"
    if verdict.kind == "no":
        tried = verdict.capacitors_tried
        mend = f"; none of {tried} other compensation capacitors mends it" if tried else ""
        return _faults(one) + mend
    found = verdict.mixed
    at = found.worst
    bench, system = ([values[at] for values in steps.nominal] for steps in (found.bench, found.system))
    step = (
        f"{at_band(found.bands_hz[at])}, by {step_text(*system)} with antenna and feedline"
        f" ({step_text(*bench)} on the bench)"
    )
    if verdict.kind == "capacitor":
        cap = verdict.compensation
        units = int((cap.units > 0).sum())
        first = (
            f"as it is, {_faults(one)}; with {cap.words} in place of {format_quantity(cap.was, 'F')} {cap.good} of"
            f" {units} units keep every limit"
        )
        if verdict.rematch:
            return f"{first}. Re-match the whole array too: beside {whose} it is then off most{step}"
        return f"{first}, and beside {whose} it is off most{step}, which the array takes"
    if verdict.kind == "drop-in":
        return f"{_kept(one)}, and beside {whose} it is off most{step}; the array takes {takes.told}"
    if found.within:
        return (
            f"{_kept(one)}; beside {whose} it is nominally off most{step}, which the array takes, but with the spread"
            f" of parts only {percent(found.alike)} of new units among old ones keep the match"
        )
    return f"{_kept(one)}, but beside {whose} it is off most{step}; the array takes {takes.told}"


def _kept(one: Candidate) -> str:
    passed, units, share, low, high = one.counts
    if passed is None:
        known = any(d.measure == "stable" and math.isfinite(d.nominal) for d in one.differences)
        return "the study sets no limits" + (", every unit is stable" if known else "")
    sure = "" if low >= NEEDED_YIELD else f" (95 % interval {interval(low, high)}: more units would tell)"
    if share == 1:
        return f"all {units} units keep every limit{sure}"
    return f"{percent(share)} of {units} units keep every limit{sure}"


def _faults(one: Candidate) -> str:
    if one.lost:
        return f"not every unit gives numbers: {one.lost}"
    told = [text.rstrip(".") for text in one.rests]
    if one.unstable:
        are = "unit is" if one.unstable == 1 else "units are"
        told.append(f"{one.unstable} {are} not stable")
    first: dict[str, Miss] = {}
    for miss in one.misses:
        # Of one measure the band of lowest yield, of equals that with the farthest nominal unit.
        known = first.get(miss.measure)
        if known is None or (miss.share, -miss.by) < (known.share, -known.by):
            first[miss.measure] = miss
    lines = [_missed(miss, one.instead_of) for miss in first.values() if miss.measure != "stable" or not one.unstable]
    told += lines[:MOST_MISSES]
    more = len(lines) - MOST_MISSES
    said = "; ".join(told) + (f"; and {more} more" if more > 0 else "")
    if one.misses and not (one.unstable or one.rests) and {MEASURES[m.measure].group for m in one.misses} == {"gain"}:
        said += "; nothing but the absolute gain is wrong with it"
    return said


def _missed(miss: Miss, instead_of: str) -> str:
    unit = MEASURES[miss.measure].unit
    low, high = (None if math.isinf(end) else end for end in (miss.low, miss.high))
    name = f"{measure_name(miss.measure)} {limit_text(low, high, unit, miss.measure)}{at_band(miss.frequency_hz)}"
    if miss.share == 0:
        who = "no unit keeps"
    else:
        who = f"{'only ' if miss.share < NEEDED_YIELD else ''}{percent(miss.share)} of units keep"
    if miss.measure.startswith("match_"):
        nominal = ""
    elif math.isnan(miss.by):
        nominal = "; the nominal unit has no value"
    else:
        out = f", outside by {_number(miss.by, unit)}" if miss.by > 0 else ""
        nominal = f" (nominal {_number(miss.nominal, unit)}{out}; {instead_of} {_number(miss.reference, unit)})"
    also = f", as with {instead_of}" if miss.reference_share < NEEDED_YIELD else ""
    return f"{who} {name}{nominal}{also}"


def _number(value: float, unit: str) -> str:
    if math.isnan(value):
        return "none"
    if unit == "degree":
        return f"{value:.1f}°"
    text = f"{value:.2f}" if unit in ("1", "V", "mA") else f"{value:.1f}" if unit.startswith("dB") else f"{value:.3g}"
    return text if unit in ("1", "0/1") else f"{text} {unit}"


def mixed_told(verdict: Verdict, takes: Takes, build: int, cable: str) -> str:
    """One new unit among old ones, in sentences; empty for a candidate that is of no use.

    Parameters
    ----------
    verdict : Verdict
    takes : Takes
    build : int
        Units of a build: one of them is new.
    cable : str
        Of which a trim takes a length.
    """
    found, one = verdict.mixed, verdict.candidate
    if found is None or verdict.kind in ("no", "unknown"):
        return ""
    at = found.worst
    with_it = f" with {verdict.compensation.words}" if verdict.compensation else ""
    where = f", with {chosen_text(one.others)}" if one.others else ""
    gain, phase = ([values[at] for values in steps] for steps in (found.system.gain_db, found.system.phase_deg))
    spread = ""
    if math.isfinite(gain[1]):
        spread = (
            f" (95 % of pairs {signed(gain[1], 2)} to {signed(gain[2], 2)} dB, {signed(phase[1], 1)} to"
            f" {signed(phase[2], 1)} degrees)"
        )
    text = (
        f"One {one.opamp}{with_it} among {build - 1} {one.instead_of}{where}: off most{at_band(found.bands_hz[at])}, by"
        f" {step_text(gain[0], phase[0])}{spread}; a null of elements of equal weight is then"
        f" {_null(gain[0], phase[0])}, all else being perfect."
    )
    return f"{text} {_trim_told(found, cable)}"


def _null(gain_db: float, phase_deg: float) -> str:
    depth = float(-null_db(gain_db, phase_deg))
    if depth > 60:
        return "not spoilt"
    return f"no deeper than {depth:.0f} dB below the signal of one element"


def _trim_told(found: Mixed, cable: str) -> str:
    trim = found.trim
    left = null_db(trim.left_gain_db, trim.left_phase_deg)
    at = int(np.argmax(left))
    size = abs(trim.cable_m)
    length = f"{100 * size:.0f} cm" if size < 0.995 else f"{size:.2f} m"
    does = [f"{length} {'more' if trim.cable_m > 0 else 'less'} of its {cable}"] if size >= 0.005 else []
    if trim.gain_db:
        does.append(f"{signed(trim.gain_db, 2)} dB at a trimmer")
    if not does:
        return "There is nothing to trim."
    leave = "leave" if len(does) > 1 else "leaves"
    rest = f"{abs(trim.left_gain_db[at]):.2f} dB and {abs(trim.left_phase_deg[at]):.1f} degrees"
    where = f" at worst,{at_band(found.bands_hz[at])}" if len(found.bands_hz) > 1 else ""
    word = "which the array takes" if found.trimmed_within else "more than the array takes"
    depth = f"a null of {-left[at]:.0f} dB" if left[at] > -60 else "no harm to a null"
    return f"{_capital(listed(does))} {leave} {rest}{where}: {depth}, {word}."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


# ---------------------------------------------------------------------- answer.json and the opening


def entry_of(verdict: Verdict, takes: Takes, build: int, cable: str) -> dict:
    """What answer.json holds of one candidate.

    Parameters
    ----------
    verdict : Verdict
    takes : Takes
    build : int
    cable : str
    """
    one, cap = verdict.candidate, verdict.compensation
    passed, units, share, low, high = one.counts
    return {
        "scenario": one.scenario,
        "opamp": one.opamp,
        "reference_scenario": one.reference,
        "reference": one.instead_of,
        "others": dict(one.others),
        "verdict": verdict.words,
        "kind": verdict.kind,
        "reason": _capital(reason(verdict, takes)) + ".",
        "rematch": verdict.rematch,
        "unverified": list(one.unverified),
        "reference_unverified": one.reference_unverified,
        "passed": passed,
        "units": units,
        "yield": share,
        "yield_low": low,
        "yield_high": high,
        "capacitor": cap
        and {
            "parts": list(cap.names),
            "value": cap.text,
            "value_f": cap.value,
            "was_f": cap.was,
            "units": int((cap.units > 0).sum()),
            "good": cap.good,
        },
        "capacitors_tried": verdict.capacitors_tried,
        "array_takes": takes.told,
        "allowed": {
            "gain_low_db": _finite(takes.system.gain.low),
            "gain_high_db": _finite(takes.system.gain.high),
            "phase_low_deg": _finite(takes.system.phase.low),
            "phase_high_deg": _finite(takes.system.phase.high),
        },
        "mixed": mixed_told(verdict, takes, build, cable),
        "alike": None if verdict.mixed is None else _finite(verdict.mixed.alike),
        "steps": _steps(verdict.mixed, takes),
        "trim": _trim(verdict.mixed),
        "differences": [
            {
                "measure": d.measure,
                "unit_of_measure": d.unit,
                "frequency_hz": _finite(d.frequency_hz),
                "reference": _finite(d.reference),
                "candidate": _finite(d.nominal),
                "difference": _finite(d.step),
                "mean_difference": _finite(d.mean),
                "low": _finite(d.low),
                "high": _finite(d.high),
                "pairs": d.pairs,
            }
            for d in one.differences
        ],
    }


def _steps(found: Mixed | None, takes: Takes) -> list[dict]:
    """Steps with antenna and feedline; those on the bench are named so."""
    if found is None:
        return []
    trim, gain, phase = found.trim, found.system.gain_db, found.system.phase_deg
    return [
        {
            "frequency_hz": band,
            "gain_db": float(gain[0][i]),
            "gain_low_db": _finite(gain[1][i]),
            "gain_high_db": _finite(gain[2][i]),
            "phase_deg": float(phase[0][i]),
            "phase_low_deg": _finite(phase[1][i]),
            "phase_high_deg": _finite(phase[2][i]),
            "bench_gain_db": float(found.bench.nominal[0][i]),
            "bench_phase_deg": float(found.bench.nominal[1][i]),
            "null_db": _finite(null_db(gain[0][i], phase[0][i])),
            "within": bool(takes.system.holds(gain[0][i], phase[0][i])),
            "left_gain_db": float(trim.left_gain_db[i]),
            "left_phase_deg": float(trim.left_phase_deg[i]),
        }
        for i, band in enumerate(found.bands_hz)
    ]


def _trim(found: Mixed | None) -> dict | None:
    if found is None:
        return None
    trim = found.trim
    return {
        "frequency_hz": found.bands_hz[trim.band],
        "gain_db": trim.gain_db,
        "cable_m": trim.cable_m,
        "within": found.trimmed_within,
    }


def _finite(value) -> float | None:
    return float(value) if value is not None and math.isfinite(value) else None


def substitution_told(entries: Sequence[Mapping]) -> list[str]:
    """The opening of an answer on op-amps: the decision, then each reason.

    Parameters
    ----------
    entries : sequence of mapping
        From :func:`entry_of`.
    """
    groups: dict[tuple, list[Mapping]] = {}
    for entry in entries:
        groups.setdefault((entry["reference"], tuple(entry["others"].items())), []).append(entry)
    decisions = []
    for (reference, others), group in groups.items():
        group = sorted(group, key=lambda entry: _ORDER.index(entry["kind"]))
        where = f", with {chosen_text(others)}" if others else ""
        said = [f"{entry['opamp']}: {entry['verdict']}" for entry in group]
        decisions.append(f"Instead of {reference}{where}: {'; '.join(said)}.")
    told, order = [], sorted(entries, key=lambda entry: _ORDER.index(entry["kind"]))
    several = len(groups) > 1
    for entry in order[:MOST_TOLD]:
        where = f", with {chosen_text(entry['others'].items())}" if several else ""
        told.append(f"{entry['opamp']}{where}: {entry['verdict']}. {entry['reason']}")
    if len(order) > MOST_TOLD:
        told.append(f"The reasons of {len(order) - MOST_TOLD} other verdicts stand in substitution.csv.")
    return [*decisions, *_unread(entries), *told]


def _unread(entries: Sequence[Mapping]) -> list[str]:
    """Of which parts a verdict rests on data that nobody read."""
    parts = [entry["reference"] for entry in entries if entry["reference_unverified"]]
    parts += [part for entry in entries for part in entry["unverified"]]
    named = list(dict.fromkeys(parts))
    return [f"Not all data of {listed(named)} were read in a data sheet."] if named else []


def mixed_lines(entries: Sequence[Mapping]) -> list[str]:
    """What is said of mixed arrays, the best candidates first.

    Parameters
    ----------
    entries : sequence of mapping
        From :func:`entry_of`.
    """
    order = sorted(entries, key=lambda entry: _ORDER.index(entry["kind"]))
    mixed = [entry["mixed"] for entry in order if entry["mixed"]]
    rest = len(mixed) - MOST_TOLD
    return [*mixed[:MOST_TOLD], *([f"{rest} more stand in answer.json."] if rest > 0 else [])]


def chosen_text(others: Iterable[tuple[str, str]]) -> str:
    """Other varied keys and their values: "60 m", "feedline length 0"."""
    return listed([text if any(map(str.isalpha, text)) else f"{spoken(key)} {text}" for key, text in others])


# ---------------------------------------------------------------------- substitution.csv


def substitution_rows(verdicts: Sequence[Verdict], takes: Takes, yields: Mapping) -> list[dict]:
    """Rows of substitution.csv: each candidate, each measure, each band.

    Parameters
    ----------
    verdicts : sequence of Verdict
    takes : Takes
    yields : mapping of (scenario, measure, frequency or None) to float
        Of limited measures.
    """
    bounds = dict(
        zip(SEEN, (takes.bench.gain, takes.bench.phase, takes.system.gain, takes.system.phase), strict=True)
    )
    rows = []
    for verdict in verdicts:
        one = verdict.candidate
        why = _capital(reason(verdict, takes)) + "."
        for d in one.differences:
            own, old = (yields.get((n, d.measure, _finite(d.frequency_hz))) for n in (one.scenario, one.reference))
            step = bounds.get(d.measure)
            rows.append(
                {
                    "scenario": one.scenario,
                    "opamp": one.opamp,
                    "reference_scenario": one.reference,
                    "reference": one.instead_of,
                    "measure": d.measure,
                    "unit_of_measure": d.unit,
                    "frequency_hz": d.frequency_hz,
                    "limit_low": d.limit.low if d.limit else None,
                    "limit_high": d.limit.high if d.limit else None,
                    "nominal_reference": d.reference,
                    "nominal": d.nominal,
                    "nominal_difference": d.step,
                    "mean_difference": d.mean,
                    "difference_low": d.low,
                    "difference_high": d.high,
                    "pairs": d.pairs,
                    "yield_reference": old,
                    "yield": own,
                    "keeps_limit": None if own is None else int(own >= NEEDED_YIELD),
                    "step_low": step.low if step else None,
                    "step_high": step.high if step else None,
                    "step_within": int(step.holds(d.step)) if step and math.isfinite(d.step) else None,
                    "verdict": verdict.words,
                    "reason": why,
                    "verified": int(not one.unverified),
                }
            )
    return rows
