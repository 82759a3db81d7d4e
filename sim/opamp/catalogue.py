"""Op-amp records: data sheet numbers with their source and how far they were verified.

A record is a TOML file in circuits/opamps, or the builder's own. Keys carry the units of data sheets (`en_nv_rthz`),
values are plain numbers; the fields of :class:`OpampRecord` are SI. A record is refused as a whole, with all its
faults, when a key is missing or unknown, or a value lies where no op-amp is: most often a number in another unit.

Not covered: minimum and maximum columns, temperature, supply dependence. The numbers are typical values.
"""

import difflib
import math
import tomllib
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from sim.errors import Fault, RecordError
from sim.paths import CIRCUITS

LARGEST_RECORD = 100_000
"""A record longer than this is not read. [byte]"""


@dataclass(frozen=True)
class OpampRecord:
    """One op-amp, typical values.

    Attributes
    ----------
    part, technology, package : str
    channels : int
        Op-amps in one package.
    gbw_hz, second_pole_hz : float
        Gain-bandwidth product; second pole of the open-loop gain. [Hz]
    min_stable_gain : float
        Lowest noise gain at which the maker calls it stable. [1]
    phase_margin_deg : float or None
        At `min_stable_gain`. [degree]
    aol_db : float
        Open-loop gain at DC; NaN for a current-feedback part, which may leave it out. [dB]
    en, en_corner_hz : float
        White input voltage noise [V/√Hz] and its 1/f corner [Hz].
    inoise, in_corner_hz : float
        White input current noise, each input [A/√Hz], and its 1/f corner [Hz].
    rin : float
        Differential input resistance; of a current-feedback part, that of the inverting input. [Ω]
    cin_diff, cin_cm : float
        Input capacitance between the inputs, and from each input to the supply. [F]
    rout : float
        Open-loop output resistance. [Ω]
    vos_max : float
        Largest input offset voltage. [V]
    ib : float
        Input bias current, positive into the pin. [A]
    slew : float
        [V/s]
    supply_min, supply_max : float
        Total supply voltage. [V]
    iq : float
        Supply current of one channel. [A]
    headroom : float
        Between output and either rail, light load. [V]
    cm_low, cm_high : float
        Input range: distance from the negative and from the positive rail, negative beyond the rail. [V]
    iout : float
        Output current limit. [A]
    source, notes : str
        Where the numbers were read; what to be careful with.
    verified : bool
        Whether the main numbers were seen in the source, not recalled.
    core_seen : str
        How many of the main numbers were seen, "5/6"; empty when not stated.
    hd2_dbc, hd3_dbc : float or None
        Harmonic distortion under `hd_conditions`. [dB below the tone, negative]
    hd_frequency_hz, hd_gain, hd_output_vpp, hd_load_ohm, hd3_load_ohm : float or None
        The same conditions in numbers, all or none: tone [Hz], noise gain [1], output [V peak to peak], load of the
        second harmonic's row and of the third's, equal unless said otherwise [Ω]. None where the source does not give
        them all: a model can be fitted to `hd2_dbc` and `hd3_dbc` only with them.
    hd_conditions : str
    current_feedback : bool
        Whether `technology` says so.
    """

    part: str
    technology: str
    channels: int
    gbw_hz: float
    second_pole_hz: float
    min_stable_gain: float
    phase_margin_deg: float | None
    aol_db: float
    en: float
    en_corner_hz: float
    inoise: float
    in_corner_hz: float
    rin: float
    cin_diff: float
    cin_cm: float
    rout: float
    vos_max: float
    ib: float
    slew: float
    supply_min: float
    supply_max: float
    iq: float
    headroom: float
    cm_low: float
    cm_high: float
    iout: float
    package: str
    source: str
    verified: bool
    notes: str
    core_seen: str
    hd2_dbc: float | None
    hd3_dbc: float | None
    hd_frequency_hz: float | None
    hd_gain: float | None
    hd_output_vpp: float | None
    hd_load_ohm: float | None
    hd3_load_ohm: float | None
    hd_conditions: str
    current_feedback: bool

    @property
    def unity_gain_stable(self) -> bool:
        """Whether it may be used as a follower."""
        return self.min_stable_gain <= 1


@dataclass(frozen=True)
class _Number:
    """A numeric key: its field, power of ten to SI, unit as said to people, and where op-amps lie.

    The ranges are common practice, no source: an order of magnitude beyond any part known, so that they refuse
    numbers in another unit and nothing else.
    """

    field: str
    exponent: int
    unit: str
    low: float
    high: float
    required: bool = True


_NUMBERS = {
    "gbw_hz": _Number("gbw_hz", 0, "Hz", 1e4, 1e11),
    "min_stable_gain": _Number("min_stable_gain", 0, "plain, 1 or more", 1, 1000),
    "second_pole_hz": _Number("second_pole_hz", 0, "Hz", 1e4, 1e12),
    "phase_margin_deg": _Number("phase_margin_deg", 0, "degree", 0, 180, required=False),
    "aol_dc_db": _Number("aol_db", 0, "dB", 20, 200),
    "en_nv_rthz": _Number("en", -9, "nV/√Hz", 0.1, 1000),
    "in_pa_rthz": _Number("inoise", -12, "pA/√Hz", 0, 1000),
    "en_corner_hz": _Number("en_corner_hz", 0, "Hz", 0, 1e9),
    "in_corner_hz": _Number("in_corner_hz", 0, "Hz", 0, 1e9),
    "rin_diff_ohm": _Number("rin", 0, "Ω", 1, 1e16),
    "cin_diff_pf": _Number("cin_diff", -12, "pF", 0, 1000),
    "cin_cm_pf": _Number("cin_cm", -12, "pF", 0, 1000),
    "rout_ol_ohm": _Number("rout", 0, "Ω", 0.01, 1e5),
    "vos_max_mv": _Number("vos_max", -3, "mV", 0, 100),
    "ib_ua": _Number("ib", -6, "µA, positive into the pin", -1000, 1000),
    "slew_v_per_us": _Number("slew", 6, "V/µs", 1e-3, 1e5),
    "supply_min_v": _Number("supply_min", 0, "V", 0.5, 200),
    "supply_max_v": _Number("supply_max", 0, "V", 0.5, 200),
    "iq_ma_per_channel": _Number("iq", -3, "mA a channel", 1e-4, 1000),
    "output_swing_headroom_v": _Number("headroom", 0, "V", 0, 20),
    "vin_cm_low_headroom_v": _Number("cm_low", 0, "V, negative below the rail", -5, 20),
    "vin_cm_high_headroom_v": _Number("cm_high", 0, "V, negative above the rail", -5, 20),
    "iout_ma": _Number("iout", -3, "mA", 0.01, 1e5),
    "hd2_dbc": _Number("hd2_dbc", 0, "dB below the tone", -200, 0, required=False),
    "hd3_dbc": _Number("hd3_dbc", 0, "dB below the tone", -200, 0, required=False),
    "hd_frequency_hz": _Number("hd_frequency_hz", 0, "Hz", 1, 1e10, required=False),
    "hd_gain": _Number("hd_gain", 0, "noise gain, 1 or more", 1, 1000, required=False),
    "hd_output_vpp": _Number("hd_output_vpp", 0, "V peak to peak", 1e-3, 200, required=False),
    "hd_load_ohm": _Number("hd_load_ohm", 0, "Ω", 1, 1e7, required=False),
    "hd3_load_ohm": _Number("hd3_load_ohm", 0, "Ω", 1, 1e7, required=False),
}
_DISTORTION = ("hd_frequency_hz", "hd_gain", "hd_output_vpp", "hd_load_ohm")
_WORDS = {
    "part": True,
    "technology": True,
    "package": False,
    "source": True,
    "notes": False,
    "core_seen": False,
    "hd_conditions": False,
}
_SWITCHES = ("unity_gain_stable", "verified")
_KEYS = (*_WORDS, "channels", *_NUMBERS, *_SWITCHES)


def list_opamps() -> tuple[str, ...]:
    """Names of the records that come with the program, in order."""
    return tuple(sorted(path.stem for path in (CIRCUITS / "opamps").glob("*.toml")))


def load_opamp(name: str, folder: str | Path | None = None) -> OpampRecord:
    """An op-amp by name, or from a record of the builder's own.

    Parameters
    ----------
    name : str
        One of :func:`list_opamps`, or a path ending in ".toml".
    folder : path-like, optional
        What a relative path starts from: the study's folder.

    Returns
    -------
    OpampRecord

    Raises
    ------
    RecordError
        No such op-amp, an unreadable file, or a record with faults, all of them named.
    """
    if name.endswith(".toml"):
        path, display = Path(folder or ".") / name, name
    elif name in list_opamps():
        path, display = CIRCUITS / "opamps" / f"{name}.toml", f"circuits/opamps/{name}.toml"
    else:
        raise RecordError(_unknown(name))
    return parse_record(_text(path, display), display)


def _unknown(name: str) -> Fault:
    by_folded = {known.casefold(): known for known in list_opamps()}
    near = difflib.get_close_matches(name.casefold(), by_folded, n=1, cutoff=0.5)
    hint = f"Nearest: {by_folded[near[0]]}. " if near else ""
    return Fault(
        f"circuits/opamps/{name}.toml",
        None,
        None,
        f'there is no op-amp "{name}".',
        f"{hint}Known: {', '.join(list_opamps())}; or name a record of your own, a file ending in .toml.",
    )


def _text(path: Path, display: str) -> str:
    remedy = "Give a TOML file like those of circuits/opamps."
    if not path.is_file():
        raise RecordError(Fault(display, None, None, "there is no such file.", remedy))
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_RECORD + 1)
        if len(raw) > LARGEST_RECORD:
            raise RecordError(Fault(display, None, None, f"is longer than {LARGEST_RECORD} bytes.", remedy))
        return raw.decode("utf-8")
    except OSError as error:
        raise RecordError(Fault(display, None, None, f"cannot be read: {error.strerror}.", remedy)) from error
    except UnicodeDecodeError as error:
        raise RecordError(Fault(display, None, None, "is not UTF-8 text.", remedy)) from error


def parse_record(text: str, display: str) -> OpampRecord:
    """A record from its text.

    Parameters
    ----------
    text : str
        TOML.
    display : str
        Name of the file for messages.

    Raises
    ------
    RecordError
        With all faults.
    """
    try:
        record = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise RecordError(
            Fault(display, None, None, f"cannot be read: {error}.", "Give a TOML file like those of circuits/opamps.")
        ) from error
    lines = _key_lines(text)
    faults = [*_unknown_keys(record), *_word_faults(record), *_number_faults(record)]
    if not faults:
        faults = [*_contradictions(record)]
    if faults:
        faults.sort(key=lambda fault: lines.get(fault[0], math.inf))
        raise RecordError(Fault(display, lines.get(key), key, found, remedy) for key, found, remedy in faults)
    current_feedback = _is_current_feedback(record)
    numbers = {
        spec.field: _si(record[key], spec.exponent) if key in record else None for key, spec in _NUMBERS.items()
    }
    if numbers["aol_db"] is None:
        numbers["aol_db"] = math.nan
    if numbers["hd3_load_ohm"] is None:
        numbers["hd3_load_ohm"] = numbers["hd_load_ohm"]
    words = {key: record.get(key, "") for key in _WORDS}
    return OpampRecord(
        channels=record["channels"],
        verified=record["verified"],
        current_feedback=current_feedback,
        **numbers,
        **words,
    )


def _si(value: float, exponent: int) -> float:
    # Moving the decimal point gives the double nearest to what is written; 2.8 * 1e-12 is not 2.8e-12.
    return float(Decimal(repr(value)).scaleb(exponent))


def _is_current_feedback(record) -> bool:
    return "current-feedback" in str(record.get("technology", "")).lower()


def _key_lines(text: str) -> dict[str, int]:
    """Line of each key; a later mention inside a text does not matter, the first wins."""
    lines: dict[str, int] = {}
    for number, line in enumerate(text.split("\n"), start=1):
        key, equals, _ = line.partition("=")
        if equals:
            lines.setdefault(key.strip().strip("\"'"), number)
    return lines


def _unknown_keys(record):
    for key in record:
        if key not in _KEYS:
            near = difflib.get_close_matches(key, _KEYS, n=1, cutoff=0.0)[0]
            yield key, "is not a key of an op-amp record.", f"Nearest known key: {near}."


def _word_faults(record):
    for key, required in _WORDS.items():
        value = record.get(key)
        if value is None:
            if required:
                yield key, "is missing.", f'Write {key} = "…".'
        elif not isinstance(value, str) or (required and not value.strip()):
            yield key, f"is {value!r}.", "Write text in quotes."
    for key in _SWITCHES:
        if key not in record:
            yield key, "is missing.", f"Write {key} = true or {key} = false."
        elif not isinstance(record[key], bool):
            yield key, f"is {record[key]!r}.", "Write true or false, without quotes."


def _number_faults(record):
    channels = record.get("channels")
    if channels is None:
        yield "channels", "is missing.", "Write how many op-amps are in one package."
    elif not isinstance(channels, int) or isinstance(channels, bool) or not 1 <= channels <= 8:
        yield "channels", f"is {channels!r}.", "Write a whole number, 1 to 8."
    for key, spec in _NUMBERS.items():
        value = record.get(key)
        if value is None:
            if spec.required and not (key == "aol_dc_db" and _is_current_feedback(record)):
                yield key, "is missing.", f"Write a number [{spec.unit}], {spec.low:g} to {spec.high:g}."
        elif not isinstance(value, int | float) or isinstance(value, bool):
            yield key, f"is {value!r}.", f"Write a plain number [{spec.unit}]; the key states the unit."
        elif not spec.low <= value <= spec.high:
            yield (
                key,
                f"{value:g} is outside what op-amps have.",
                f"Write a number [{spec.unit}], {spec.low:g} to {spec.high:g}.",
            )


def _contradictions(record):
    """Numbers that are possible one by one, but not together."""
    if record["supply_max_v"] <= record["supply_min_v"]:
        yield (
            "supply_max_v",
            f"{record['supply_max_v']:g} V is not above supply_min_v, {record['supply_min_v']:g} V.",
            "Write the total supply voltage, both rails together.",
        )
    taken = record["vin_cm_low_headroom_v"] + record["vin_cm_high_headroom_v"]
    if taken >= record["supply_max_v"]:
        yield (
            "vin_cm_high_headroom_v",
            f"both input headrooms together, {taken:g} V, leave nothing of {record['supply_max_v']:g} V.",
            "Write the distance from each rail, not the input voltage itself.",
        )
    if 2 * record["output_swing_headroom_v"] >= record["supply_max_v"]:
        yield (
            "output_swing_headroom_v",
            f"{record['output_swing_headroom_v']:g} V at both rails leave nothing of {record['supply_max_v']:g} V.",
            "Write the distance from one rail, not the swing.",
        )
    if record["unity_gain_stable"] != (record["min_stable_gain"] == 1):
        stable = "true" if record["unity_gain_stable"] else "false"
        yield (
            "unity_gain_stable",
            f"{stable} contradicts min_stable_gain = {record['min_stable_gain']:g}.",
            "A part stable at unity gain has min_stable_gain = 1.",
        )
    yield from _distortion_faults(record)


def _distortion_faults(record):
    """Conditions of distortion are all there or none, and not without a distortion."""
    given = [key for key in (*_DISTORTION, "hd3_load_ohm") if key in record]
    if not given:
        return
    for key in _DISTORTION:
        if key not in record:
            found = f"is missing beside {given[0]}."
            yield key, found, f"Write all of {', '.join(_DISTORTION)}, or none: say in hd_conditions what is known."
    if not ("hd2_dbc" in record or "hd3_dbc" in record):
        yield given[0], "is a condition of no distortion.", "Add hd2_dbc or hd3_dbc, or take the conditions out."
    swing = record["supply_max_v"] - 2 * record["output_swing_headroom_v"]
    if record.get("hd_output_vpp", 0) > swing:
        found = f"{record['hd_output_vpp']:g} V is more than the output can swing, {swing:g} V."
        yield "hd_output_vpp", found, "Write the output voltage, peak to peak."
    if record.get("hd_gain", math.inf) < record["min_stable_gain"]:
        found = f"{record['hd_gain']:g} is below min_stable_gain = {record['min_stable_gain']:g}."
        yield "hd_gain", found, "Write the noise gain: of an inverting circuit one more than its gain."
