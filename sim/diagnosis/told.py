"""A diagnosis in sentences, and as plain numbers and texts for programs."""

from sim.quantity import format_quantity

_CAUSES = {
    "bench.dummy": "the dummy capacitor",
    "bench.stray": "the stray of the jig",
    "bench.source": "the analyser's sending port",
    "bench.load": "the analyser's receiving port",
    "gbw": "the op-amps' gain-bandwidth",
    "rout": "the op-amps' output resistance",
    "cin": "the op-amps' input capacitance",
    "second_pole": "the op-amps' second pole",
}
MOST_WORDS = 5
"""Members of a group that are named one by one."""


def sentences(found) -> tuple[str, ...]:
    """A diagnosis in sentences, verdict first.

    Parameters
    ----------
    found : Diagnosis
    """
    ranking, told = found.ranking, []
    if found.verdict == "good":
        told.append("Nothing is wrong that this sweep could show.")
    elif found.verdict == "none of these":
        ratio = ranking.best_misfit / (2 * ranking.points)
        told.append(
            "None of the single faults explains this sweep: two faults at once, another circuit or op-amp than the"
            f" study's, or a mistake in the set-up. The nearest leaves {ratio:.3g} times the deviation that noise"
            " alone would leave (mean square):"
        )
    elif found.verdict == "another value":
        told.append(
            "No fault of the list explains this sweep, but a part of another value does:"
            f" {_values(found)}."
        )
        told.append("Look at what is soldered there, or lift one end and measure it.")
    if found.verdict in ("fault", "none of these"):
        told += [_group(place, group, found.verdict) for place, group in enumerate(found.groups)]
        if found.verdict == "fault" and found.values:
            told.append(f"A part of another value would fit better: {_values(found)}.")
        told += _oscillating(found)
        if ranking.good_share > 0.01:
            told.append(f"That nothing is wrong at all is still {_percent(ranking.good_share)} likely.")
        if found.tests:
            told.append(f"Next: {found.tests[0].told()[0].lower()}{found.tests[0].told()[1:]}")
        elif sum(len(group.members) for group in found.groups) > 1:
            told.append("No measurement with simple gear would tell these apart: look at the parts.")
    if found.shift is not None:
        told += _shift(found.shift, found.verdict)
    return tuple(told)


def _values(found) -> str:
    return "; or ".join(one.words for one in found.values)


def _oscillating(found) -> list[str]:
    lead = {member.key: member.words.partition(":")[0] for group in found.groups for member in group.members}
    shown = [key for key in found.oscillating if key in lead]
    if not shown:
        return []
    at = format_quantity(found.oscillating[shown[0]], "Hz", 2)
    return [
        f"If {lead[shown[0]]}, the unit oscillates near {at}: listen for a carrier there, and take the sweep for less."
    ]


def _group(place: int, group, verdict: str) -> str:
    words = [member.words for member in group.members]
    more = len(words) - MOST_WORDS
    listed = "; or ".join(words[:MOST_WORDS]) + (f"; or one of {more} more" if more > 0 else "")
    alike = " (this sweep cannot tell them apart)" if len(words) > 1 else ""
    if verdict == "none of these":
        return f"{'Nearest' if place == 0 else 'Then'}: {listed}{alike}."
    lead = "Most likely" if place == 0 else "Or"
    return f"{lead}, {_percent(group.share)}: {listed}{alike}."


def _percent(share: float) -> str:
    if share > 0.995:
        return "over 99 %"
    return f"{100 * share:.0f} %" if share >= 0.01 else "under 1 %"


def _shift(shift, verdict: str) -> list[str]:
    told = []
    if shift.shifted:
        told.append(
            f"All {shift.sweeps} sweeps together lie {shift.gain_db:+.2f} ± {shift.gain_db_within:.2f} dB and"
            f" {shift.phase_deg:+.2f} ± {shift.phase_deg_within:.2f} degrees from the nominal unit at"
            f" {format_quantity(shift.freq_hz, 'Hz', 3)}"
            + (
                ", which the lots of parts and the bench's uncertainty allow."
                if shift.by_lots
                else ": more than lots of parts and the bench's uncertainty allow."
            )
        )
        if shift.causes:
            told.append(f"One thing would explain it: {'; or '.join(_cause(cause) for cause in shift.causes[:4])}.")
        else:
            told.append("No single part, dummy or port explains it.")
    else:
        told.append(f"The {shift.sweeps} sweeps together lie where the nominal unit is.")
    if verdict != "good":
        told.append(
            "This unit is like the others: what is named above is true of all of them, a wrong reel or a wrong bench,"
            " and not a fault of this unit."
            if shift.unit_ordinary
            else "This unit differs from the others: the fault is its own."
        )
    return told


def _cause(cause) -> str:
    name = _CAUSES.get(cause.name) or _CAUSES.get(cause.name.rpartition(".")[2]) or f"the lot of {cause.name}"
    if cause.name == "bench.stray":
        return f"{name} {1e12 * cause.change:+.2f} ± {2e12 * cause.sigma:.2f} pF"
    return f"{name} {100 * cause.change:+.2g} ± {200 * cause.sigma:.1g} %"


def as_dict(found) -> dict:
    """A diagnosis as plain numbers, texts, lists and tables.

    Parameters
    ----------
    found : Diagnosis
    """
    ranking, shift = found.ranking, found.shift
    return {
        "verdict": found.verdict,
        "told": list(found.told()),
        "good_share": ranking.good_share,
        "explained": ranking.explained,
        "misfit": ranking.best_misfit,
        "misfit_most": ranking.most_misfit,
        "points": ranking.points,
        "groups": [
            {
                "share": group.share,
                "faults": [
                    {"key": member.key, "words": member.words, "share": member.share, "misfit": member.misfit}
                    for member in group.members
                ],
            }
            for group in (found.groups if found.verdict in ("fault", "none of these") else ())
        ],
        "other_values": [
            {"part": one.part, "value": one.value, "own": one.own, "unit": one.unit, "misfit": one.misfit}
            for one in found.values
        ],
        "next_tests": [
            {
                "name": test.name,
                "what": test.what,
                "unit": test.unit,
                "telling": test.telling,
                "told": test.told(),
                "expected": [
                    {"key": one.key, "words": one.words, "value": one.value, "sigma": one.sigma}
                    for one in test.expected
                ],
            }
            for test in found.tests
        ],
        "batch": None
        if shift is None
        else {
            "sweeps": shift.sweeps,
            "frequency_hz": shift.freq_hz,
            "gain_db": shift.gain_db,
            "gain_db_within": shift.gain_db_within,
            "phase_deg": shift.phase_deg,
            "phase_deg_within": shift.phase_deg_within,
            "shifted": shift.shifted,
            "by_lots": shift.by_lots,
            "unit_ordinary": shift.unit_ordinary,
            "causes": [
                {"name": cause.name, "change": cause.change, "sigma": cause.sigma, "usual": cause.usual}
                for cause in shift.causes
            ],
        },
        "oscillating_hz": dict(found.oscillating),
        "undetectable": list(found.undetectable),
        "not_simulated": list(found.failed),
    }
