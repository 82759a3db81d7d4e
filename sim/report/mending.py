"""The advice of an unstable or thin design as a table of the page."""

from collections.abc import Mapping

from sim.plots import words
from sim.report.model import Table


def mending_table(answer: Mapping, names: Mapping[int, str]) -> Table:
    """A row for each change that is recommended; no rows where nothing is.

    Parameters
    ----------
    answer : mapping
        answer.json, as read.
    names : mapping of int to str
        Of the scenarios.
    """
    several = len(names) > 1
    rows = []
    for entry in answer.get("mending", ()):
        for one in entry["advice"]:
            before = "not stable" if one["margin_before"] is None else f"{one['margin_before']:.2f}"
            rows.append(
                (
                    one["words"] + (f" ({one['note']})" if one["note"] else ""),
                    f'{one["key"].removeprefix("amplifier.")} = "{one["value"]}"',
                    *([names[entry["scenario"]]] if several else []),
                    f"{before} → {one['margin']:.2f}",
                    *(_change(one[key]) for key in _COSTS),
                    "kept" if one["keeps_limits"] else "broken",
                    f"{one['verified_good']} of {one['verified_units']}",
                )
            )
    columns = (
        "Change",
        "Under [amplifier]",
        *(["Scenario"] if several else []),
        "Margin",
        "Gain, dB",
        "Noise margin, dB",
        "Output match, dB",
        "Limits",
        "Units",
    )
    return Table(columns, tuple(rows))


_COSTS = ("gain_change_db", "noise_margin_change_db", "output_match_change_db")


def _change(value: float | None) -> str:
    if value is None:
        return "–"
    text = words.number(abs(value), "dB") if abs(value) >= 0.05 else "0"
    return text if text == "0" else ("+" if value > 0 else "−") + text
