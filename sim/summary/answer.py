"""The answer of a run: what its report opens with and what programs read.

Keys of the answer
------------------
title, verdict (list of sentences, the first for the builder in a hurry), passes (whether every scenario is among
`passing`, null without limits),
needed_yield, units, failed (units that did not simulate in some scenario), yields (one entry a scenario, limit and
band), worst (the entry of yields with the smallest share), scenarios (one entry each: scenario, name, values, passes,
yield, yield_low, yield_high, passed, worst, verdict), passing (scenarios whose units pass, with an array those whose
arrays null, too), best (scenario numbers), drivers (one entry a
scenario and measure at the middle band), snr_loss (nominal unit, one entry a scenario and band: noise_margin_db and
the snr_loss_db it costs), optima (best value of each choice that is a number: see optimum.optima), noise_rise (one
entry a scenario and band: see plug_in.rises), feedlines (with a table [stability]: one entry a scenario, see
:class:`sim.summary.feedlines.Feedlines`), antennas (the same:
:class:`sim.summary.antennas.AllAntennas`), array (with a table [array]: one entry a scenario, see
:class:`sim.summary.arrays.ArrayAnswer`), confirmed (the same: see :class:`sim.summary.confirmed.Confirmation`),
substitution (where op-amps are compared: one entry a candidate, see
:func:`sim.summary.substitution_words.entry_of`),
strong (with strong carriers: one entry a scenario, see :func:`sim.summary.carriers.strong_entries`),
mending (where units are not stable enough: one entry a scenario, see :func:`sim.summary.mending.mending_entry`), tried
(sentences about every feedline and antenna that was tried), weathering (sentences about each scenario with weather,
put there by the step), opamps (one entry each, with the numbers that nobody read in its data sheet: see
:func:`sim.opamp.doubts.opamp_entry`), unseen (faults that a sweep would not show, first scenario, put there by the
step: see :func:`sim.diagnosis.unseen.unseen`), cautions. Numbers that are none are null.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from sim.columns import MEASURES
from sim.summary import optimum, plug_in, ranking, resting
from sim.summary.antennas import antennas_told, anything_told
from sim.summary.arrays import arrays_told
from sim.summary.asked import Asked
from sim.summary.carriers import strong_told
from sim.summary.entries import by_measure, counts, losses, lowest, yield_entries
from sim.summary.feedlines import feedlines_told
from sim.summary.mending import mending_told
from sim.summary.names import scenario_names
from sim.summary.substitution_words import substitution_told
from sim.summary.wording import at_band, interval, limit_text, listed, measure_name, percent
from sim.summary.yields import ALL_LIMITS, NEEDED_YIELD

if TYPE_CHECKING:
    from pandas import DataFrame

MOST_SCENARIOS_TOLD = 8

# What a builder asks, by group of measures.
_QUESTIONS = {
    "noise": "Quiet enough",
    "stability": "Stable",
    "match": "Alike enough",
    "gain": "Right gain",
    "supply": "Supply",
    "strong": "Strong signals",
}


def answer(
    study,
    summary: DataFrame,
    drivers: DataFrame,
    failures: DataFrame,
    scenarios: DataFrame,
    cautions: Sequence[str] = (),
    swept: Sequence = (),
    noises: Mapping[int, str] | None = None,
    findings: Sequence[str] = (),
    asked: Asked | None = None,
) -> dict:
    """What the run says.

    Parameters
    ----------
    study : Study
        Its title, number of units, bands.
    summary, drivers, failures, scenarios : DataFrame
        The tables of the run.
    cautions : sequence of str
        Sentences to be read with the answer.
    swept : sequence of Swept
        Choices that are numbers, for which a best value is named.
    noises : mapping of int to str, optional
        Which noise each scenario is judged on, in words.
    findings : sequence of str
        Sentences about units that are no good whatever the study asks; they follow the first of the verdict.
    asked : Asked, optional
        What else the study asked.

    Returns
    -------
    answer : dict
        Fit for JSON; keys in the head of this module.
    """
    asked = asked or Asked()
    names = scenario_names(scenarios)
    lost = set(failures.loc[failures["unit"] == 0, "scenario"])
    entries = [_scenario_entry(n, names[n], scenarios, summary, len(names) > 1, n in lost) for n in sorted(names)]
    ranked = ranking.ranked(drivers, study.bands.frequencies)
    limited = bool(study.limits) or bool((summary["measure"].astype(str) == ALL_LIMITS).any())
    yields = yield_entries(summary)
    lost_snr = losses(summary)
    optima = optimum.optima(swept, entries, lost_snr)
    best = _best(entries) if limited else []
    leading = {(one["best"] or one["nearest"])["scenario"]: min(one["snr_loss_db"]) for one in optima}
    best.sort(key=lambda number: leading.get(number, math.inf))
    failed = int(failures.loc[failures["unit"] > 0, "unit"].nunique())
    sentences = _opening(entries, best, limited, bool(optima), bool(asked.substitution))
    if not limited:
        sentences += _values_told(summary, study.bands.frequencies, min(names))
    first = best[0] if best else min(names)
    sentences += [*asked.drift, *strong_told(asked.strong, names, first), *_loss_told(lost_snr, names)]
    rises = plug_in.rises(summary)
    noise = (noises or {}).get(first, "the noise of the site that the study names")
    sentences += plug_in.told(rises, first, f" with {names[first]}" if len(names) > 1 else "", noise)
    told_drivers = ranking.drivers_told(ranked, first)
    nulls, more_of_nulls = arrays_told(asked.arrays, names, first, NEEDED_YIELD)
    sentences += more_of_nulls
    told_optima = optimum.told(optima, bool(asked.strong))
    sentences[1:1] = [*findings, *_failures_told(failures, names, limited), *nulls, *told_optima]
    sentences += anything_told(asked.feedlines, asked.antennas, names)
    tried = feedlines_told(asked.feedlines, names, first) + antennas_told(asked.antennas, names, first)
    tried += asked.together
    maps = {"feedlines": asked.feedlines, "antennas": asked.antennas}
    found = {key: [dataclasses.asdict(one) for one in every] for key, every in maps.items() if every}
    if asked.confirmed:
        kept = dataclasses.asdict(asked.confirmed)
        found["confirmed"] = {key: value for key, value in kept.items() if key != "told"}
        # Two methods that disagree are news for whoever reads only the opening.
        (sentences if asked.confirmed.disagree else tried).extend(asked.confirmed.told)
    # Units within their limits that make no array are no pass of a study that asks for one.
    shallow = {one.scenario for one in asked.arrays if one.share is None or one.share < NEEDED_YIELD}
    passing = [entry["scenario"] for entry in entries if entry["passes"] and entry["scenario"] not in shallow]
    found |= {"strong": list(asked.strong)} if asked.strong else {}
    sentences += mending_told(asked.mending, names)
    found |= {"mending": list(asked.mending)} if asked.mending else {}
    found |= {"array": [dataclasses.asdict(one) for one in asked.arrays]} if asked.arrays else {}
    sentences[:0] = substitution_told(asked.substitution)
    found |= {"substitution": list(asked.substitution)} if asked.substitution else {}
    found |= {"tried": tried} if tried else {}
    return {
        "title": study.title,
        "verdict": [*sentences, *told_drivers],
        "passes": len(passing) == len(entries) if limited else None,
        "needed_yield": NEEDED_YIELD,
        "units": int(study.run.units),
        "failed": failed,
        "yields": yields,
        "worst": lowest(yields),
        "scenarios": entries,
        "passing": passing,
        "best": best,
        "drivers": ranked,
        "snr_loss": lost_snr,
        "optima": optima,
        "noise_rise": rises,
        **found,
        "opamps": resting.opamp_entries(asked.opamps),
        "cautions": list(cautions),
    }


# ---------------------------------------------------------------------- entries


def _scenario_entry(
    number: int, name: str, scenarios: DataFrame, summary: DataFrame, several: bool, nominal_lost: bool
) -> dict:
    own = summary[summary["scenario"] == number]
    values = scenarios[scenarios["scenario"] == number].iloc[0].drop("scenario")
    entry = {"scenario": number, "name": name, "values": {str(key): str(text) for key, text in values.items()}}
    whole = own[own["measure"].astype(str) == ALL_LIMITS]
    if whole.empty:
        return entry | {"passes": None, "worst": None, "verdict": []}
    entry |= counts(whole.iloc[0])
    yields = yield_entries(own)
    entry["passes"] = entry["yield"] is not None and entry["yield"] >= NEEDED_YIELD
    entry["worst"] = lowest(yields)
    entry["verdict"] = [
        _scenario_told(entry, several),
        *_questions_told(yields, f" with {name}" if several else ""),
        *([] if nominal_lost else _nominal_told(yields)),
    ]
    return entry


def _best(entries: Sequence[dict]) -> list[int]:
    """Scenarios with the highest yield, all of them where several are equal."""
    most = max(entry["passed"] for entry in entries)
    return [entry["scenario"] for entry in entries if entry["passed"] == most]


# ---------------------------------------------------------------------- sentences


def _opening(entries: Sequence[dict], best: Sequence[int], limited: bool, swept: bool, judged: bool) -> list[str]:
    """The first sentences; where op-amps were judged one by one, each has its own sentence already."""
    if not limited:
        return ["The study sets no limits, so there is nothing to pass or to fail; this is what the units are."]
    if len(entries) == 1:
        return list(entries[0]["verdict"])
    by_number = {entry["scenario"]: entry for entry in entries}
    choices = "temperatures" if all(set(entry["values"]) == {"run.temperature"} for entry in entries) else "choices"
    passing = [entry["name"] for entry in entries if entry["passes"]]
    leaders = [by_number[number] for number in best]
    surely = all(entry["yield_low"] >= NEEDED_YIELD for entry in entries if entry["passes"])
    word = "Yes" if surely else "Probably"
    share = f"{percent(leaders[0]['yield'])} of units keep every limit"
    bounds = f"(95 % interval {interval(leaders[0]['yield_low'], leaders[0]['yield_high'])})"
    alike = len(leaders) == len(entries) and leaders[0]["yield"] == 1
    top = (
        f"with each of them {share} {bounds}"
        if alike
        else (f"best: {listed([entry['name'] for entry in leaders])}, {share} {bounds}")
    )
    if len(passing) == len(entries):
        first = f"{word}: all {len(entries)} {choices} keep the limits; {top}."
    elif passing:
        if len(passing) == len(leaders) > 1:
            top = f"with each of these {share} {bounds}"
        keep = "keeps" if len(passing) == 1 else "keep"
        first = f"{word}, with {listed(passing)}: {len(passing)} of {len(entries)} {choices} {keep} the limits; {top}."
    else:
        need = f"{100 * NEEDED_YIELD:.0f} % are needed"
        if leaders[0]["passed"] == 0:
            top = f"no unit of any of them keeps every limit {bounds}"
        first = f"No: none of the {len(entries)} {choices} keeps the limits; {top}; {need}."
    if alike:
        # One sentence has said it for all of them.
        return [first, *leaders[0]["verdict"][1:]]
    # The best of many values and what ends their range says more than the first eight of them.
    many = swept and len(entries) > MOST_SCENARIOS_TOLD
    told = [] if many or judged else [entry["verdict"][0] for entry in entries[:MOST_SCENARIOS_TOLD]]
    if many:
        told.append("The numbers of each value stand in summary.csv.")
    elif len(entries) > MOST_SCENARIOS_TOLD and not judged:
        told.append(f"The other {len(entries) - MOST_SCENARIOS_TOLD} {choices} stand in summary.csv.")
    return [first, *told, *leaders[0]["verdict"][1:]]


def _scenario_told(entry: dict, several: bool) -> str:
    """Verdict of one scenario; how sure it is decides the first word."""
    low, high, share = entry["yield_low"], entry["yield_high"], entry["yield"]
    if entry["passes"]:
        word = "yes" if low >= NEEDED_YIELD else "probably"
    else:
        word = "no" if high < NEEDED_YIELD else "probably not"
    start = f"{entry['name']}: {word}" if several else word.capitalize()
    if entry["units"] == 1:
        keeps = "keeps" if share == 1 else "does not keep"
        said = f"the only virtual unit {keeps} every limit (95 % interval {interval(low, high)})"
    elif share == 1:
        said = f"all {entry['units']} virtual units keep every limit (95 % interval {interval(low, high)})"
    elif share == 0:
        said = f"none of {entry['units']} virtual units keeps every limit (95 % interval {interval(low, high)})"
    else:
        only = "" if entry["passes"] else "only "
        said = (
            f"of 100 units built like this {only}about {_of_hundred(share)} keep every limit"
            f" ({percent(share)}, 95 % interval {interval(low, high)})"
        )
    needed = "" if entry["passes"] else f"; {100 * NEEDED_YIELD:.0f} % are needed"
    unsure = "; more units would tell" if word.startswith("probably") else ""
    worst = entry["worst"]
    blame = ""
    if several and worst["yield"] is not None and worst["yield"] < 1:
        blame = f". Hardest: {measure_name(worst['measure'])}{at_band(worst['frequency_hz'])}"
    return f"{start}: {said}{needed}{unsure}{blame}."


def _failures_told(failures: DataFrame, names: dict[int, str], limited: bool) -> list[str]:
    """A sentence for units that the simulator could not do, and one for those whose op-amps are on wrong volts."""
    told = []
    for rating in (True, False):
        rows = failures[((failures["stage"] == "rating") == rating) & (failures["unit"] > 0)]
        units = int(rows["unit"].nunique())
        if not units:
            # Only the nominal unit failed: nothing is outside, but its column is empty.
            alone = failures[(failures["stage"] == "rating") == rating]
            if len(alone):
                told.append(f"The nominal unit gave no numbers: {alone['reason'].iloc[0]}.")
            continue
        hit = sorted(rows["scenario"].unique())
        where = "" if len(hit) == len(names) else f" with {listed([names[number] for number in hit])}"
        one = units == 1
        counts = f" and count{'s' * one} as outside the limits" if limited else ""
        if rating:
            reason = rows["reason"].iloc[0]
            said = f"{'gives' if one else 'give'} no numbers, as an op-amp is on volts it is not made for ({reason})"
            told.append(f"{units} {'unit' if one else 'units'}{where} {said}{counts}; see failures.csv.")
        else:
            told.append(
                f"{units} {'unit' if one else 'units'}{where} could not be simulated{counts}; see failures.csv."
            )
    return told


def _of_hundred(share: float) -> int:
    """Units in a hundred, never all or none: that is said in other words where it is so."""
    return min(max(round(100 * share), 1), 99)


def _questions_told(yields: Sequence[dict], whose: str) -> list[str]:
    """A sentence for each thing a builder asks, by the limit of it that fewest units keep."""
    groups: dict[str, list[dict]] = {}
    for entry in yields:
        groups.setdefault(MEASURES[entry["measure"]].group, []).append(entry)
    told = []
    for group, question in _QUESTIONS.items():
        if group not in groups:
            continue
        own = by_measure(groups[group])
        worst = lowest(groups[group])
        share = worst["yield"] or 0.0
        word = "yes" if share >= NEEDED_YIELD else "no"
        if share == 1:
            said = f"all units {listed([_kept(entries[0]) for entries in own.values()])}"
        else:
            hardest = " (the hardest of these limits)" if len(groups[group]) > 1 else ""
            said = f"{percent(share)} of units {_kept(worst)}{at_band(worst['frequency_hz'])}{hardest}"
        told.append(f"{question}{whose}: {word}, {said}.")
    return told


def _kept(entry: dict) -> str:
    if entry["measure"] == "stable":
        return "are stable"
    limit = limit_text(entry["limit_low"], entry["limit_high"], entry["unit_of_measure"])
    return f"keep {measure_name(entry['measure'])} {limit}"


def _nominal_told(yields: Sequence[dict]) -> list[str]:
    missed = dict.fromkeys(e["measure"] for e in yields if not e["nominal_keeps"] and e["nominal"] is not None)
    absent = dict.fromkeys(e["measure"] for e in yields if not e["nominal_keeps"] and e["nominal"] is None)
    told = []
    if missed:
        names = listed([measure_name(measure) for measure in missed])
        told.append(f"Even the nominal unit misses the limit of {names}: this is the design, not the spread of parts.")
    if absent:
        names = listed([measure_name(measure) for measure in absent])
        told.append(f"The nominal unit has no value of {names}, so that limit cannot be kept.")
    return told


def _loss_told(losses: Sequence[dict], names: dict[int, str]) -> list[str]:
    """The loss at the worst band: of the one scenario, or of each of several beside the others."""
    worst = {}
    for entry in losses:
        known = worst.setdefault(entry["scenario"], entry)
        if entry["snr_loss_db"] > known["snr_loss_db"]:
            worst[entry["scenario"]] = entry
    if not worst or len(worst) > MOST_SCENARIOS_TOLD:
        return []
    if len(names) == 1:
        [entry] = worst.values()
        where = at_band(entry["frequency_hz"])
        return [f"The nominal unit costs at most {entry['snr_loss_db']:.2f} dB of signal to noise, namely{where}."]
    told = [f"{entry['snr_loss_db']:.2f} dB with {names[number]}" for number, entry in sorted(worst.items())]
    return [f"The nominal unit costs signal to noise, at its worst band: {listed(told)}."]


def _values_told(summary: DataFrame, bands_hz: Sequence[float], scenario: int) -> list[str]:
    """Gain and noise margin at the middle band, for a study that asks nothing."""
    middle = bands_hz[len(bands_hz) // 2]
    own = summary[(summary["scenario"] == scenario) & ((summary["frequency_hz"] / middle - 1).abs() < 1e-9)]
    told = []
    for measure in ("gain_db", "noise_margin_db"):
        rows = own[own["measure"].astype(str) == measure]
        if len(rows) and math.isfinite(rows["p50"].iloc[0]):
            row = rows.iloc[0]
            name = measure_name(measure)
            told.append(
                f"{name[0].upper()}{name[1:]}{at_band(middle)}: nominal {row['nominal']:.2f} dB, nine units in ten"
                f" between {row['p05']:.2f} and {row['p95']:.2f} dB."
            )
    return told
