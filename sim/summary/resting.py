"""Measures that rest on op-amp numbers which nobody read in a data sheet, and how tables mark them."""

from collections.abc import Mapping

from sim.columns import MEASURES
from sim.opamp.doubts import opamp_entry

LEGEND = "~ rests on an estimated number of an op-amp, ? on one from memory: not read in a data sheet."


def opamp_entries(opamps: Mapping[int, tuple]) -> list[dict]:
    """Every op-amp of a run once, for the answer.

    Parameters
    ----------
    opamps : mapping of int to tuple of OpampRecord
        Those of each scenario, by its number.
    """
    records = dict.fromkeys(record for own in opamps.values() for record in own)
    return [opamp_entry(record, [n for n, own in opamps.items() if record in own]) for record in records]


def measure_marks(answer: Mapping) -> dict[str, str]:
    """What stands behind the name of each measure that rests on such a number in any scenario: " ~", " ?" or " ~?".

    Parameters
    ----------
    answer : mapping
        answer.json, or what becomes it.
    """
    found = {}
    for name, measure in MEASURES.items():
        marks = {entry["marks"].get(measure.group, "") for entry in answer.get("opamps", ())}
        text = "".join(mark for mark in "~?" if mark in marks)
        if text:
            found[name] = f" {text}"
    return found
