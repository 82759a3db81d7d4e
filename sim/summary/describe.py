"""The answer as a few lines for a terminal."""

import textwrap

from sim.summary import resting
from sim.summary.entries import by_measure, lowest
from sim.summary.substitution_words import mixed_lines
from sim.summary.wording import at_band, interval, limit_text, measure_name, percent

_WIDTH = 100


def describe(answer: dict) -> str:
    """The answer as a few lines for a terminal.

    Parameters
    ----------
    answer : dict
        From :func:`answer`, or read back from answer.json.
    """
    lines = [answer["title"], ""]
    for sentence in answer["verdict"]:
        lines += textwrap.wrap(sentence, _WIDTH)
    blocks = (
        ("One new amplifier among old ones:", mixed_lines(answer.get("substitution", ()))),
        ("Any feedline, any antenna:", answer.get("tried") or ()),
        ("Wet against dry:", answer.get("weathering") or ()),
    )
    for head, told in blocks:
        lines += ["", head] if told else []
        for sentence in told:
            lines += textwrap.wrap(sentence, _WIDTH, initial_indent="  ", subsequent_indent="  ")
    if any(told for _, told in blocks):
        lines.append("")
    if len(answer["scenarios"]) == 1 and answer["yields"]:
        lines += ["", "Yield by limit, in its hardest band, with 95 % interval:"]
        hardest = [lowest(own) for own in by_measure(answer["yields"]).values()]
        marks = resting.measure_marks(answer)
        heads = [
            f"{measure_name(entry['measure'])}{at_band(entry['frequency_hz'])}{marks.get(entry['measure'], '')}"
            for entry in hardest
        ]
        asked = [limit_text(e["limit_low"], e["limit_high"], e["unit_of_measure"], e["measure"]) for e in hardest]
        for head, limit, entry in zip(heads, asked, hardest, strict=True):
            share = percent(entry["yield"])
            bounds = interval(entry["yield_low"], entry["yield_high"])
            lines.append(f"  {head:<{max(map(len, heads))}}  {limit:<{max(map(len, asked))}}  {share:>7}  ({bounds})")
        lines += [f"  {resting.LEGEND}"] if any(entry["measure"] in marks for entry in hardest) else []
    for caution in answer["cautions"]:
        lines += textwrap.wrap(f"Caution: {caution}", _WIDTH)
    return "\n".join(lines)
