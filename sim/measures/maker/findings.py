"""What the bench found, beside what a record of the part says, and what the model lacks, in words.

Verdicts: "agrees", "differs", "missing" (the model has nothing of the kind), "read" (nothing to compare it with).
"""

import math
from dataclasses import dataclass

from sim.deck.maker.file import MakerModel
from sim.measures.maker.readings import Readings
from sim.opamp.catalogue import OpampRecord

LINEAR_DBC = -165.0
"""Products below this are none: rounding of the simulator. [dBc]"""
SILENT = 2e-10
"""An op-amp of less voltage noise than this is not made, so the model has none. [V/√Hz]"""
SILENT_CURRENT = 1e-16
"""The same of current noise of either input. [A/√Hz]"""
ENDLESS_DB = 200.0
"""A supply rejection above this is none at all: nothing of the supply reaches the output. [dB]"""
GROUND_SHARE = 0.01
"""Share of the supply current that may be missing at the pins before the model is called ground-referenced."""

_LACKS = {
    "noise": "it makes no noise, so noise margin, noise rise and output noise are those of everything else: the numbers"
    " are optimistic",
    "current noise": "it has no current noise, so noise behind a high source impedance is optimistic",
    "supply current": "it draws no supply current, so current and the drop in the feedline are too small",
    "load current": "the current into its load does not come from its supply pins",
    "supply rejection": "nothing of its supply reaches its output, so ripple and loops through the supply are not seen",
    "distortion": "it is linear, so nothing it says about strong signals counts",
    "output limits": "its output knows no rails, so that it rests or swings beyond them goes unseen",
    "ground": "some of its current returns through ground in place of its supply pins: supply current and what depends"
    " on it are not to be believed, and a floating supply breaks it",
}


@dataclass(frozen=True)
class Finding:
    """A row of the table.

    Attributes
    ----------
    what : str
    measured, expected : float
        In `unit`; NaN where there is none.
    unit : str
    verdict : str
    """

    what: str
    measured: float
    unit: str
    expected: float
    verdict: str


@dataclass(frozen=True)
class Findings:
    """All that the bench says about a model.

    Attributes
    ----------
    rows : tuple of Finding
    lacks : tuple of str
        Keys of what the model has not: noise, current noise, supply current, load current, supply rejection,
        distortion, output limits, ground.
    notes : tuple of str
        Sentences.
    """

    rows: tuple[Finding, ...]
    lacks: tuple[str, ...]
    notes: tuple[str, ...]


def lack_words(lack: str) -> str:
    """What follows from something a model has not, as the rest of a sentence."""
    return _LACKS[lack]


def findings(model: MakerModel, read: Readings, record: OpampRecord | None) -> Findings:
    """Judge the readings of a model.

    Parameters
    ----------
    model : MakerModel
    read : Readings
    record : OpampRecord or None
        Of the part that the model is said to be; None: nothing is compared.
    """
    rows = [_row(read, record, *line) for line in _ROWS]
    rows = [row for row in rows if row is not None]
    lacks = _lacks(read)
    notes = [f"{lack_words(lack)[0].upper()}{lack_words(lack)[1:]}." for lack in lacks]
    if read.contributors:
        shares = ", ".join(f"{name} {100 * share:.0f} %" for name, share in read.contributors)
        notes.append(f"Its noise at 100 kHz as a follower comes from {shares}.")
    for group, reason in read.failed.items():
        notes.append(f"Not read, {group}: {reason}.")
    if read["operating_points"] < read["operating_points_tried"]:
        notes.append(
            f"Of {read['operating_points_tried']:.0f} operating points tried, {read['operating_points']:.0f} were"
            " found: units may fail for the model's sake."
        )
    flat = model.flat("x", ("p", "n", "cc", "ee", "o"), 27.0)
    if flat.left_out:
        notes.append(f"Not known to the simulator and left out: {', '.join(flat.left_out)}.")
    return Findings(tuple(rows), tuple(lacks), tuple(notes))


def _lacks(read: Readings) -> list[str]:
    iq, ground = read["iq"], read["ground_current"]
    found = []
    if read["en_100k"] < SILENT:
        found.append("noise")
    elif read["in_100k"] < SILENT_CURRENT:
        found.append("current noise")
    if iq < 1e-6:
        found.append("supply current")
    elif ground > GROUND_SHARE * iq:
        found.append("ground")
    if abs(read["load_share"] - 1) > 0.2:
        found.append("load current")
    if min(read["psrr_high_db"], read["psrr_low_db"]) > ENDLESS_DB:
        found.append("supply rejection")
    if read["im3_dbc"] < LINEAR_DBC and read["im2_dbc"] < LINEAR_DBC:
        found.append("distortion")
    if read["headroom_high_light"] < -0.1 or read["headroom_low_light"] < -0.1:
        found.append("output limits")
    return found


def _ratio(low: float, high: float):
    return lambda measured, expected: low <= measured / expected <= high if expected else abs(measured) < 1e-15


def _within(margin: float):
    return lambda measured, expected: abs(measured - expected) <= margin


_NOISE = _ratio(0.7, 1.4)
"""Beyond this noise is not modelled, or counted twice (the model's own and a source added by hand)."""

# What, reading, unit, scale to it, of the record, agreement, what is missing where the reading is that small.
_ROWS = (
    ("operating points found", "operating_points", "1", 1, None, None, None),
    ("supply current", "iq", "mA", 1e3, lambda r: r.iq, _ratio(0.7, 1.3), 1e-6),
    ("current that returns through ground", "ground_current", "mA", 1e3, None, None, None),
    ("share of the load current from the positive supply", "load_share", "1", 1, None, None, 0.1),
    ("open-loop gain", "aol_db", "dB", 1, lambda r: r.aol_db, _within(6), None),
    ("gain-bandwidth at 1 MHz", "gbw", "MHz", 1e-6, lambda r: r.gbw_hz, _ratio(0.7, 1.3), None),
    ("gain-bandwidth at 10 MHz", "gbw_10m", "MHz", 1e-6, None, None, None),
    (
        "phase margin at the lowest stable gain",
        "phase_margin_deg",
        "degree",
        1,
        lambda r: r.phase_margin_deg,
        _within(15),
        None,
    ),
    ("output resistance at 1 MHz, open loop", "rout", "ohm", 1, lambda r: r.rout, _ratio(0.5, 2), None),
    ("voltage noise at 1 kHz", "en_1k", "nV/√Hz", 1e9, lambda r: _flicker(r, 1e3), _NOISE, SILENT),
    ("voltage noise at 100 kHz", "en_100k", "nV/√Hz", 1e9, lambda r: _flicker(r, 1e5), _NOISE, SILENT),
    ("voltage noise at 1 MHz", "en_1m", "nV/√Hz", 1e9, lambda r: _flicker(r, 1e6), _NOISE, SILENT),
    ("current noise at 100 kHz", "in_100k", "pA/√Hz", 1e12, lambda r: r.inoise, _NOISE, SILENT_CURRENT),
    (
        "input capacitance, common mode",
        "cin_common",
        "pF",
        1e12,
        lambda r: r.cin_cm,
        _ratio(0.5, 2),
        1e-16,
    ),
    (
        "input capacitance, the other input held",
        "cin_total",
        "pF",
        1e12,
        lambda r: r.cin_cm + r.cin_diff,
        _ratio(0.5, 2),
        1e-16,
    ),
    ("bias current into the + input", "bias_inp", "µA", 1e6, lambda r: r.ib, None, None),
    ("bias current into the - input", "bias_inn", "µA", 1e6, None, None, None),
    ("offset as a follower", "offset", "mV", 1e3, None, None, None),
    ("offset on a single supply", "single_supply_offset", "mV", 1e3, None, None, None),
    (
        "output to the positive rail, light load",
        "headroom_high_light",
        "V",
        1,
        lambda r: r.headroom,
        _within(0.5),
        None,
    ),
    ("output to the negative rail, light load", "headroom_low_light", "V", 1, lambda r: r.headroom, _within(0.5), None),
    ("output to the positive rail, 1 kohm", "headroom_high_loaded", "V", 1, None, None, None),
    ("output to the negative rail, 1 kohm", "headroom_low_loaded", "V", 1, None, None, None),
    (
        "follows from the negative rail plus",
        "follows_low",
        "V",
        1,
        lambda r: max(r.cm_low, r.headroom),
        _within(0.6),
        None,
    ),
    (
        "follows to the positive rail less",
        "follows_high",
        "V",
        1,
        lambda r: max(r.cm_high, r.headroom),
        _within(0.6),
        None,
    ),
    ("slew rate", "slew", "V/µs", 1e-6, lambda r: r.slew, _ratio(0.6, 1.6), None),
    ("positive supply at the output, 1 MHz", "psrr_high_db", "dB", 1, None, None, None),
    ("negative supply at the output, 1 MHz", "psrr_low_db", "dB", 1, None, None, None),
    ("second-order product of two tones", "im2_dbc", "dBc", 1, None, None, None),
    ("third-order product of two tones", "im3_dbc", "dBc", 1, None, None, None),
)


def _flicker(record: OpampRecord, at: float) -> float:
    return record.en * math.sqrt(1 + record.en_corner_hz / at)


def _row(read: Readings, record, what, name, unit, scale, expected_of, agrees, least) -> Finding | None:
    value = 20 * math.log10(read["aol"]) if name == "aol_db" and read["aol"] > 0 else read[name]
    if not math.isfinite(value):
        return None
    expected = expected_of(record) if record is not None and expected_of is not None else None
    expected = math.nan if expected is None else float(expected)
    verdict = "read"
    if least is not None and abs(value) < least:
        verdict = "missing"
    elif name.startswith("psrr") and value > ENDLESS_DB or name.startswith("im") and value < LINEAR_DBC:
        verdict = "missing"
    elif name == "operating_points":
        verdict = "agrees" if value == read["operating_points_tried"] else "differs"
    elif name == "bias_inp" and math.isfinite(expected):
        verdict = "agrees" if value * expected >= 0 else "differs"
    elif agrees is not None and math.isfinite(expected):
        verdict = "agrees" if agrees(value, expected) else "differs"
    if name == "operating_points":
        expected = read["operating_points_tried"]
    # A zero has no sign worth showing.
    return Finding(what, value * scale + 0.0, unit, expected * scale, verdict)
