"""How far the values of an op-amp record were verified, one by one.

Every value has one of three statuses: "seen" (read in the source, under the record's conditions), "memory" (recalled,
not read) or "estimate" (worked out, guessed, or filled in where the record left it out). A record says which by two
lists of its keys, `seen` and `estimated`; a value in neither is from memory. A record without `seen` speaks for all its
values at once: verified = true means all were read.
"""

from dataclasses import dataclass

from sim.errors import nearest

STATUSES = ("seen", "memory", "estimate")
MARKS = {"seen": "", "memory": "?", "estimate": "~"}
"""What stands behind a number in a table; plain characters, so that they survive print, copy and paste."""
LEGEND = "? from memory, ~ an estimate: not read in a data sheet"

CORE = ("gbw_hz", "en_nv_rthz", "in_pa_rthz", "slew_v_per_us", "supply_max_v", "iq_ma_per_channel")
"""The main values, of which `core_seen` tells how many were read."""
ENOUGH = 5
"""So many main values make a record verified."""


@dataclass(frozen=True)
class Use:
    """One value of a record in a builder's words.

    Attributes
    ----------
    key, name : str
        Of the record; as it is said in a sentence, pairs under one name.
    rests : str
        What rests on it first of all: stability, noise, gain, strong, supply or bias.
    unit : str
        SI.
    field : str
        Of the record object.
    """

    key: str
    name: str
    rests: str
    unit: str
    field: str


RESTS = {
    "stability": "stability",
    "noise": "noise",
    "gain": "gain and phase",
    "strong": "strong signals",
    "supply": "supply",
    "bias": "bias",
}

USES = (
    Use("second_pole_hz", "second pole", "stability", "Hz", "second_pole_hz"),
    Use("rout_ol_ohm", "output resistance", "stability", "ohm", "rout"),
    Use("min_stable_gain", "lowest stable gain", "stability", "1", "min_stable_gain"),
    Use("cin_diff_pf", "input capacitance", "stability", "F", "cin_diff"),
    Use("cin_cm_pf", "input capacitance", "stability", "F", "cin_cm"),
    Use("en_nv_rthz", "voltage noise", "noise", "V/√Hz", "en"),
    Use("in_pa_rthz", "current noise", "noise", "A/√Hz", "inoise"),
    Use("en_corner_hz", "1/f corners", "noise", "Hz", "en_corner_hz"),
    Use("in_corner_hz", "1/f corners", "noise", "Hz", "in_corner_hz"),
    Use("gbw_hz", "gain-bandwidth", "gain", "Hz", "gbw_hz"),
    Use("aol_dc_db", "open-loop gain", "gain", "dB", "aol_db"),
    Use("slew_v_per_us", "slew rate", "strong", "V/s", "slew"),
    Use("output_swing_headroom_v", "output swing", "strong", "V", "headroom"),
    Use("iout_ma", "output current", "strong", "A", "iout"),
    Use("hd2_dbc", "second harmonic", "strong", "dB", "hd2_dbc"),
    Use("hd3_dbc", "third harmonic", "strong", "dB", "hd3_dbc"),
    Use("supply_min_v", "supply limits", "supply", "V", "supply_min"),
    Use("supply_max_v", "supply limits", "supply", "V", "supply_max"),
    Use("iq_ma_per_channel", "supply current", "supply", "A", "iq"),
    Use("vin_cm_low_headroom_v", "input range", "bias", "V", "cm_low"),
    Use("vin_cm_high_headroom_v", "input range", "bias", "V", "cm_high"),
    Use("vos_max_mv", "offset", "bias", "V", "vos_max"),
    Use("ib_ua", "bias current", "bias", "A", "ib"),
    Use("rin_diff_ohm", "input resistance", "bias", "ohm", "rin"),
)
"""What every value is for; those of a loop stand first, as a verdict on stability leans on them hardest."""

LISTS = ("seen", "estimated")


def statuses(record: dict, left_out: dict, keys) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Keys of values that were read, and of those that are estimates.

    Parameters
    ----------
    record : dict
        As read, without faults.
    left_out : dict
        Estimates of what it leaves out, by key.
    keys : iterable of str
        Every key of a number.

    Returns
    -------
    seen, estimated : tuple of str
    """
    estimated = {*record.get("estimated", ()), *left_out}
    seen = record.get("seen")
    if seen is None:
        seen = [key for key in record if key not in estimated] if record["verified"] else []
    return tuple(key for key in keys if key in seen), tuple(key for key in keys if key in estimated)


def list_faults(record: dict, keys):
    """What is wrong with the lists by themselves: key, what was found, what would do."""
    for name in LISTS:
        given = record.get(name)
        if given is None:
            continue
        if not isinstance(given, list) or not all(isinstance(key, str) for key in given):
            yield name, "is no list of keys.", f'Write {name} = ["gbw_hz", "en_nv_rthz"], or leave it out.'
            continue
        for key in given:
            if key not in keys:
                yield name, f'names "{key[:60]}", which is no number of a record.', f"Nearest: {nearest(key, keys)}."
        twice = sorted({key for key in given if given.count(key) > 1})
        if twice:
            yield name, f"names {', '.join(twice)} twice.", "Name every value once."


def contradictions(record: dict):
    """Lists that contradict each other, or what the record says of itself as a whole."""
    seen, estimated = record.get("seen"), record.get("estimated", ())
    for name in LISTS:
        for key in record.get(name) or ():
            if key not in record:
                yield name, f"names {key}, which the record does not give.", f"Add {key}, or take it out of {name}."
    both = [key for key in seen or () if key in estimated]
    if both:
        yield "estimated", f"names {', '.join(both)}, as seen does.", "A value is either read or an estimate."
    if seen is None:
        return
    count = sum(key in seen for key in CORE)
    told = f"{count}/{len(CORE)}"
    main = ", ".join(CORE)
    if record.get("core_seen") not in (None, "", told):
        found = f"{record['core_seen']} contradicts seen, which names {count} of the main values."
        yield "core_seen", found, f'Write core_seen = "{told}", or leave it out. Main values: {main}.'
    if record["verified"] != (count >= ENOUGH):
        said = "true" if record["verified"] else "false"
        yield (
            "verified",
            f"{said} contradicts seen, which names {count} of the main values; {ENOUGH} make a record verified.",
            f"Main values: {main}.",
        )
