"""What is said of numbers that nobody read in a data sheet: a line for each op-amp, and what rests on them."""

from sim.opamp.known import MARKS, RESTS, USES, Use
from sim.quantity import format_quantity

PRINCIPAL = {
    "stability": ("second_pole_hz", "rout_ol_ohm"),
    "noise": ("en_nv_rthz", "in_pa_rthz"),
    "gain": ("gbw_hz",),
    "match": ("gbw_hz",),
    "supply": ("iq_ma_per_channel",),
    "strong": ("slew_v_per_us", "iout_ma", "output_swing_headroom_v"),
}
"""By group of measures (see :mod:`sim.columns`), the values that decide it."""


def doubts_told(record) -> str:
    """One sentence on everything that was not read of an op-amp; empty where all of it was.

    Parameters
    ----------
    record : OpampRecord
    """
    unseen = record.unseen
    if not unseen:
        return ""
    if len(unseen) == len(record.given):
        part = record.part
        return f"All numbers of {part} are from memory or estimated; nothing said of it here is better than that."
    groups = []
    for rests, words in RESTS.items():
        own = {use.name: MARKS[record.status(use.key)] for use in unseen if use.rests == rests}
        if own:
            values = listed(name + mark for name, mark in own.items())
            groups.append(f"{words}{'' if groups else ' rests'} on {values}")
    return f"{record.part}, not read in its data sheet (~ estimated, ? from memory): {'; '.join(groups)}."


def group_marks(record) -> dict[str, str]:
    """Mark of every group of measures that rests on numbers not read: "~" for an estimate, else "?".

    Parameters
    ----------
    record : OpampRecord
    """
    marks = {}
    for group, keys in PRINCIPAL.items():
        statuses = {record.status(key) for key in keys}
        worst = "estimate" if "estimate" in statuses else "memory" if "memory" in statuses else "seen"
        if MARKS[worst]:
            marks[group] = MARKS[worst]
    return marks


def principal_told(record, group: str) -> str:
    """The deciding values of a group of measures that were not read: "second pole and output resistance estimated"."""
    names = {use.key: use.name for use in USES}
    kinds = []
    for status, said in (("estimate", "estimated"), ("memory", "from memory")):
        own = [names[key] for key in PRINCIPAL[group] if record.status(key) == status]
        if own:
            kinds.append(f"{listed(own)} {said}")
    return ", ".join(kinds)


def opamp_entry(record, scenarios: list[int]) -> dict:
    """An op-amp of a run for programs and for the report.

    Parameters
    ----------
    record : OpampRecord
    scenarios : list of int
        Numbers of those it stands in.

    Returns
    -------
    entry : dict
        part, scenarios, source, notes, marks (see :func:`group_marks`), unseen: one entry each with key, name, text
        (number with unit), status, rests.
    """
    return {
        "part": record.part,
        "scenarios": scenarios,
        "source": record.source,
        "notes": record.notes,
        "marks": group_marks(record),
        "unseen": [
            {
                "key": use.key,
                "name": use.name,
                "text": number(record, use),
                "status": record.status(use.key),
                "rests": RESTS[use.rests],
            }
            for use in record.unseen
        ],
    }


def number(record, use: Use) -> str:
    """A value of a record with its unit, "6.3 nV/√Hz".

    Parameters
    ----------
    record : OpampRecord
    use : Use
    """
    value = getattr(record, use.field)
    if use.unit == "V/s":
        return f"{value / 1e6:g} V/µs"
    if use.unit == "F":
        return f"{value * 1e12:.3g} pF"
    unit, slash, root = use.unit.partition("/")
    return format_quantity(value, unit, 3) + slash + root


def listed(words) -> str:
    """Words put together: "a and b", "a, b and c"."""
    words = list(words)
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)
