"""The best value of what was varied: least signal to noise lost, every limit kept, and how flat that optimum is.

Signal to noise is judged on the nominal unit at its worst band, the limits on all units. One optimum is named for each
combination of whatever else the study varies.
"""

from collections.abc import Mapping, Sequence

from sim.summary.wording import at_band, listed, measure_name, percent

WITHIN_DB = 0.1
"""Loss of signal to noise that nobody hears: values this near to the best count as good as it. Common practice, no
source. [dB]"""
MOST_TOLD = 4


def optima(swept: Sequence, entries: Sequence[Mapping], losses: Sequence[Mapping]) -> list[dict]:
    """An optimum for each swept key and each combination of the other choices.

    Parameters
    ----------
    swept : sequence of Swept
        From :func:`sim.study.swept.swept_keys`.
    entries : sequence of mapping
        The answer's scenarios: scenario, values, passes, yield, worst.
    losses : sequence of mapping
        The answer's snr_loss: scenario, frequency_hz, snr_loss_db.

    Returns
    -------
    optima : list of dict
        key, name, others (other varied keys and their values), values, numbers [SI], scenarios, snr_loss_db (at the
        worst band), frequency_hz (that band), keeps (every limit): lists, values rising. limited (whether there are
        limits). best (scenario, value, snr_loss_db,
        frequency_hz; None where no value keeps every limit), end ("smallest" or "largest" of those tried, else None),
        nearest (where none keeps: scenario, value, yield), flat (within_db, from, to, scenarios, most_db: loss of the
        worst of them over the best), below and above (the neighbour that ends it: value, because "limit" or "loss",
        measure, frequency_hz; None at the end of what was tried). Nothing for a chain that hears no noise.
    """
    worst: dict[int, Mapping] = {}
    for loss in losses:
        known = worst.setdefault(loss["scenario"], loss)
        if loss["snr_loss_db"] > known["snr_loss_db"]:
            worst[loss["scenario"]] = loss
    found = []
    for sweep in swept:
        groups: dict[tuple, list[Mapping]] = {}
        for entry in entries:
            others = tuple((key, text) for key, text in entry["values"].items() if key != sweep.key)
            groups.setdefault(others, []).append(entry)
        for others, group in groups.items():
            judged = [entry for entry in group if entry["scenario"] in worst]
            if judged:
                judged.sort(key=lambda entry: sweep.numbers[entry["scenario"]])
                found.append(_optimum(sweep, dict(others), judged, worst))
    return found


def _optimum(sweep, others: dict, entries: Sequence[Mapping], worst: Mapping[int, Mapping]) -> dict:
    key = sweep.key
    lost = [worst[entry["scenario"]]["snr_loss_db"] for entry in entries]
    keeps = [entry["passes"] is not False for entry in entries]
    record = {
        "key": key,
        "name": spoken(key),
        "others": others,
        "values": [entry["values"][key] for entry in entries],
        "numbers": [sweep.numbers[entry["scenario"]] for entry in entries],
        "scenarios": [entry["scenario"] for entry in entries],
        "snr_loss_db": lost,
        "frequency_hz": [worst[entry["scenario"]]["frequency_hz"] for entry in entries],
        "keeps": keeps,
        "limited": entries[0]["passes"] is not None,
    }
    empty = dict.fromkeys(("best", "end", "nearest", "flat", "below", "above"))
    kept = [place for place, keep in enumerate(keeps) if keep]
    if not kept:
        near = max(range(len(entries)), key=lambda place: (entries[place]["yield"] or 0.0, -lost[place]))
        words = {"scenario": entries[near]["scenario"], "value": record["values"][near]}
        return record | empty | {"nearest": words | {"yield": entries[near]["yield"]}}
    top = min(kept, key=lambda place: lost[place])
    first, last = top, top
    while first > 0 and _as_good(keeps, lost, first - 1, top):
        first -= 1
    while last < len(lost) - 1 and _as_good(keeps, lost, last + 1, top):
        last += 1
    best = {name: record[name][top] for name in ("snr_loss_db", "frequency_hz")}
    return (
        record
        | empty
        | {
            "best": {"scenario": record["scenarios"][top], "value": record["values"][top], **best},
            "end": {0: "smallest", len(lost) - 1: "largest"}.get(top),
            "flat": {
                "within_db": WITHIN_DB,
                "from": record["values"][first],
                "to": record["values"][last],
                "scenarios": record["scenarios"][first : last + 1],
                "most_db": max(lost[first : last + 1]) - lost[top],
            },
            "below": _beyond(record, entries, first - 1),
            "above": _beyond(record, entries, last + 1),
        }
    )


def _as_good(keeps: Sequence[bool], lost: Sequence[float], place: int, top: int) -> bool:
    return keeps[place] and lost[place] <= lost[top] + WITHIN_DB


def _beyond(record: Mapping, entries: Sequence[Mapping], place: int) -> dict | None:
    """The value next to the flat stretch, and why it is not of it."""
    if not 0 <= place < len(entries):
        return None
    told = {"value": record["values"][place], "because": "loss", "measure": None, "frequency_hz": None}
    if record["keeps"][place]:
        return told
    missed = entries[place]["worst"] or {}
    return told | {"because": "limit", **{name: missed.get(name) for name in ("measure", "frequency_hz")}}


def spoken(key: str) -> str:
    """A varied key as people say it: "Cc", "feedline length"."""
    table, _, rest = key.partition(".")
    if rest.startswith("parts."):
        return rest.removeprefix("parts.")
    return f"{table} {rest}".replace("_", " ").replace(".", " ")


def told(found: Sequence[Mapping], strong: bool = False) -> list[str]:
    """The optima as sentences.

    Parameters
    ----------
    found : sequence of mapping
        From :func:`optima`.
    strong : bool
        Whether the study names strong carriers, whose headroom then is among the limits.
    """
    sentences = [sentence for one in found[:MOST_TOLD] for sentence in _told(one)]
    if len(found) > MOST_TOLD:
        sentences.append(f"The best values of {len(found) - MOST_TOLD} other combinations stand in answer.json.")
    parts = any(one["key"].startswith("amplifier.") and one["best"] for one in found)
    if parts and not strong:
        sentences.append(
            "Strong signals have no say in the best value, as the study names none: a table [[strong]] for each station"
            " near by brings them in."
        )
    return sentences


def _told(one: Mapping) -> list[str]:
    whose = f"Best {one['name']}"
    if one["others"]:
        whose += f" with {listed([_other(key, text) for key, text in one['others'].items()])}"
    best, flat = one["best"], one["flat"]
    if best is None:
        near = one["nearest"]
        return [f"{whose}: none, as no value keeps every limit; nearest is {near['value']} with {_share(near)}."]
    among = "of the values that keep every limit" if one["limited"] else "of the values tried"
    edge = f"; it is the {one['end']} value tried" if one["end"] else ""
    first = (
        f"{whose}: {best['value']}, which {among} costs the least signal to noise,"
        f" {best['snr_loss_db']:.2f} dB{at_band(best['frequency_hz'])}{edge}."
    )
    if len(flat["scenarios"]) == 1:
        keeps = " and keeps every limit" if one["limited"] else ""
        second = f"It is sharp: no value next to it comes within {WITHIN_DB:g} dB of that{keeps}"
    else:
        keep = " and keep every limit" if one["limited"] else ""
        # Rounded up: "at most 0.00 dB" would say that they are the same.
        most = max(flat["most_db"], 0.005)
        second = f"It is flat: {flat['from']} to {flat['to']} cost at most {most:.2f} dB more{keep}"
    ends = [_end(one[side]) for side in ("below", "above") if one[side]]
    return [first, "; ".join([second, *ends]) + "."]


def _other(key: str, text: str) -> str:
    return text if any(letter.isalpha() for letter in text) else f"{spoken(key)} {text}"


def _share(near: Mapping) -> str:
    return f"{percent(near['yield'] or 0.0)} of units"


def _end(beyond: Mapping) -> str:
    if beyond["because"] == "loss":
        return f"{beyond['value']} costs more"
    if beyond["measure"] is None:
        return f"{beyond['value']} misses a limit"
    return f"{beyond['value']} misses the limit of {measure_name(beyond['measure'])}{at_band(beyond['frequency_hz'])}"
