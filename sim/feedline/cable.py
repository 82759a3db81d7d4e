"""Cable records: what is known of a coaxial cable, and how far.

A record is a TOML file in circuits/feedlines. Every value carries its unit, its source and how far it was
verified; a record that gives another unit, or leaves a value out, is refused with all faults at once. Values
hold near 20 degrees C, treated as 290 K: the 3 K between them are 0.6 % of a loss that is known to 10 %.

Three models of the loss exist, and the record says which is meant:

law
    Attenuation a = k0 + k1 sqrt(f) + k2 f fitted to the maker's table, for cables whose table reaches down to
    1 MHz.
layered
    Copper over steel, from the thickness of the copper, for cables whose table begins at 5 MHz. Below about
    10 MHz the current is confined to the copper, the resistance stops falling and the loss turns flat, which
    no table shows. The thickness differs between products that bear the same name: 37, 20 and 10 um give 1.1,
    1.7 and 3.1 dB/100 m at 1.8 MHz. A record is one choice among them; the DC resistance of the inner
    conductor tells which one is at hand. This is also the model of a cable whose construction is known.
table
    The loss of the record's own rows, log(loss) interpolated over log(frequency), for a cable that somebody
    measured: no law between the rows, and no coefficients to know.

What a builder cannot know is filled in: the capacitance by 1/(Z0 v), the resistance of a clad wire by its copper
and steel in parallel, the shield as copper, the dielectric as foam polyethylene.
"""

import difflib
import math
import tomllib
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from sim.constants import C0
from sim.errors import Fault, RecordError
from sim.paths import CIRCUITS

MODELS = ("law", "layered", "table")
# Annealed copper, IEC 60028 rounded to 58 MS/m; steel core of copper-clad wire, from memory.
COPPER_CONDUCTIVITY = 58e6
STEEL_CONDUCTIVITY = 1.0 / 1.9e-7
STEEL_PERMEABILITY = 100.0
# Of foam polyethylene, from memory.
LOSS_TANGENT = 0.0003

# Values of a record: field name -> unit that the file must state.
_UNITS = {
    "z0": "ohm",
    "velocity_factor": "1",
    "capacitance": "F/m",
    "r_inner": "ohm/m",
    "r_shield": "ohm/m",
    "k0": "dB/100m",
    "k1": "dB/100m at 1 MHz",
    "k2": "dB/100m at 1 MHz",
    "wire_radius": "m",
    "wire_diameter": "m",
    "cladding": "m",
    "shield_conductivity": "S/m",
    "loss_tangent": "1",
}
_ALWAYS = ("z0", "velocity_factor", "r_shield")
# What each model needs beside them; everything else may be left out.
_NEEDED = {
    "law": (*_ALWAYS, "r_inner", "k0", "k1", "k2"),
    "layered": (*_ALWAYS, "cladding"),
    "table": (*_ALWAYS, "r_inner"),
}
_POSITIVE = {"z0", "velocity_factor", "capacitance", "wire_radius", "wire_diameter", "cladding", "shield_conductivity"}
_WORDS = ("name", "description", "model", "caution")


@dataclass(frozen=True)
class AttenuationPoint:
    """One row of an attenuation table.

    Attributes
    ----------
    freq_hz : float
        [Hz]
    db_per_100m : float
        [dB/100 m]
    source, status : str
        Where the number comes from, and how far it was verified.
    """

    freq_hz: float
    db_per_100m: float
    source: str
    status: str


@dataclass(frozen=True)
class Cable:
    """A coaxial cable; SI units, losses of the law in dB per 100 m with f in MHz.

    Attributes
    ----------
    name, description, caution : str
        `caution` is what a reader of results with this cable should know; may be empty.
    model : str
        "law", "layered" or "table".
    z0 : float
        Nominal impedance, at high frequency. [Ω]
    velocity_factor : float
        [1]
    capacitance : float
        As catalogued; the line is computed with 1/(Z0 v). [F/m]
    r_inner, r_shield : float
        DC resistances. [Ω/m]
    k0, k1, k2 : float
        Attenuation law; 0 where the record has another model. [dB/100 m]
    wire_radius : float
        Of the inner conductor; 0 where not known. [m]
    cladding : float
        Thickness of the copper over the steel; the whole radius for solid copper. [m]
    shield_conductivity : float
        [S/m]
    loss_tangent : float
        Of the dielectric, layered model. [1]
    attenuation : tuple of AttenuationPoint
        The table the law was fitted to; may be empty.
    sources : tuple of (str, str, str)
        (value's name, source, status) of every value.
    """

    name: str
    description: str
    caution: str
    model: str
    z0: float
    velocity_factor: float
    capacitance: float
    r_inner: float
    r_shield: float
    k0: float = 0.0
    k1: float = 0.0
    k2: float = 0.0
    wire_radius: float = 0.0
    cladding: float = 0.0
    shield_conductivity: float = COPPER_CONDUCTIVITY
    loss_tangent: float = 0.0
    attenuation: tuple[AttenuationPoint, ...] = ()
    sources: tuple[tuple[str, str, str], ...] = ()

    @property
    def low_hz(self):
        """Lowest frequency of the model: that of its table, none for a layered conductor. [Hz]"""
        return self.attenuation[0].freq_hz if self.model != "layered" and self.attenuation else 0.0

    @property
    def high_hz(self):
        """Highest frequency of the table; 300 MHz without one. [Hz]"""
        return self.attenuation[-1].freq_hz if self.attenuation else 300e6

    def valid(self, freq_hz):
        """Whether each frequency lies inside the model's range; values outside are computed all the same."""
        freq_hz = np.asarray(freq_hz, dtype=float)
        return (freq_hz >= self.low_hz) & (freq_hz <= self.high_hz)


def clad_resistance(wire_radius, cladding):
    """DC resistance of copper over steel.

    Parameters
    ----------
    wire_radius, cladding : float
        Outer radius, and thickness of the copper. [m]

    Returns
    -------
    resistance : float
        Copper and steel in parallel. [Ω/m]
    """
    core = max(wire_radius - cladding, 0.0)
    copper = math.pi * (wire_radius**2 - core**2) * COPPER_CONDUCTIVITY
    return 1.0 / (copper + math.pi * core**2 * STEEL_CONDUCTIVITY)


def with_cladding(cable, cladding):
    """The same cable with another thickness of copper, and the DC resistance that goes with it.

    Parameters
    ----------
    cable : Cable
        Of a known wire radius.
    cladding : float
        [m]

    Returns
    -------
    cable : Cable
        Layered model.

    Raises
    ------
    ValueError
        The cable's wire radius is not known, or the thickness is not above zero.
    """
    if not (cable.wire_radius > 0 and cladding > 0):
        raise ValueError(f"cable {cable.name} needs a wire radius, and a cladding above 0, for the layered model")
    inner = clad_resistance(cable.wire_radius, cladding)
    return replace(cable, model="layered", cladding=float(cladding), r_inner=inner)


def list_cables():
    """Names of the records that come with the program, in order."""
    return tuple(sorted(path.stem for path in (CIRCUITS / "feedlines").glob("*.toml")))


def load_cable(name, folder=None):
    """A cable by name, or from a record of the builder's own.

    Parameters
    ----------
    name : str
        One of `list_cables`, or a path ending in ".toml".
    folder : path-like, optional
        What a relative path starts from.

    Returns
    -------
    cable : Cable

    Raises
    ------
    RecordError
        No such cable, an unreadable file, or a record with faults, all of them named.
    """
    if str(name).endswith(".toml"):
        path = Path(folder or ".") / name
        display = str(name)
    else:
        path = CIRCUITS / "feedlines" / f"{name}.toml"
        display = f"circuits/feedlines/{name}.toml"
        if name not in list_cables():
            near = difflib.get_close_matches(str(name), list_cables(), n=1, cutoff=0.3)
            hint = f"Nearest: {near[0]}. " if near else ""
            raise RecordError(
                Fault(
                    display,
                    None,
                    None,
                    f'there is no cable "{name}".',
                    f"{hint}Known: {', '.join(list_cables())}.",
                )
            )
    try:
        record = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise RecordError(
            Fault(
                display,
                None,
                None,
                f"cannot be read: {reason}.",
                "Give a TOML file like those of circuits/feedlines.",
            )
        ) from error
    return _cable(record, display)


def _number(value):
    """Whether a TOML value is a finite number."""
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _value_faults(record, display):
    """Faults of the single values."""
    model = record.get("model")
    needed = _NEEDED[model] if isinstance(model, str) and model in MODELS else _ALWAYS
    for key, unit in _UNITS.items():
        entry = record.get(key)
        if entry is None:
            if key in needed:
                yield Fault(
                    display,
                    None,
                    key,
                    "is missing.",
                    f"Add a table [{key}] with value, unit, source, status.",
                )
        elif not isinstance(entry, dict) or not all(isinstance(entry.get(k), str) for k in ("source", "status")):
            yield Fault(display, None, key, "states no source.", f"Write [{key}] with value, unit, source, status.")
        elif entry.get("unit") != unit:
            yield Fault(display, None, f"{key}.unit", f"is {entry.get('unit')!r}.", f'Convert to "{unit}".')
        elif not _number(entry.get("value")) or entry["value"] < 0:
            yield Fault(display, None, f"{key}.value", f"is {entry.get('value')!r}.", "Write a number, 0 or more.")
        elif key in _POSITIVE and entry["value"] == 0:
            yield Fault(display, None, f"{key}.value", "is 0.", "Write a number above 0.")
        elif key == "velocity_factor" and entry["value"] > 1:
            yield Fault(display, None, f"{key}.value", f"is {entry['value']!r}.", "Write a fraction, 0.84 for 84 %.")


def _word_faults(record, display):
    """Faults of the words and of keys nobody knows."""
    for key in ("name", "description"):
        if not isinstance(record.get(key), str):
            yield Fault(display, None, key, "is missing or no text.", f'Write {key} = "...".')
    if record.get("model") not in MODELS:
        yield Fault(display, None, "model", f"is {record.get('model')!r}.", 'Write "law", "layered" or "table".')
    known = (*_WORDS, *_UNITS, "attenuation")
    for key in record:
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1, cutoff=0.0)
            yield Fault(display, None, key, "is not a key of a cable record.", f"Nearest known key: {near[0]}.")


def _construction_faults(record, display):
    """Faults of a wire said twice, not at all, or thinner than its own cladding."""
    given = [key for key in ("wire_radius", "wire_diameter") if key in record]
    if len(given) == 2:
        yield Fault(display, None, "wire_diameter", "is given beside wire_radius.", "Give one of them.")
    elif not given and record.get("model") == "layered":
        remedy = "The layered model needs [wire_diameter] (or [wire_radius])."
        yield Fault(display, None, "wire_diameter", "is missing.", remedy)
    elif given and "cladding" in record:
        entry = record["cladding"]
        radius, cladding = _radius(record), entry.get("value") if isinstance(entry, dict) else None
        # A solid wire is clad to its centre; the radius of a diameter may differ in the last digit.
        if radius and _number(cladding) and cladding > radius * (1 + 1e-9):
            found = f"of {cladding:g} m is thicker than the wire's radius of {radius:g} m."
            yield Fault(display, None, "cladding", found, "Write the thickness of the copper alone, in metres.")


def _radius(record):
    """Radius of the inner conductor, however it was given; 0 where it was not, or not as a number. [m]"""
    for key, share in (("wire_radius", 1.0), ("wire_diameter", 0.5)):
        entry = record.get(key)
        if isinstance(entry, dict) and _number(entry.get("value")):
            return entry["value"] * share
    return 0.0


def _table_faults(record, display):
    """Faults of the attenuation table."""
    rows = record.get("attenuation", [])
    if not isinstance(rows, list):
        yield Fault(display, None, "attenuation", "is no list.", "Write [[attenuation]] rows.")
        return
    if record.get("model") == "table" and len(rows) < 2:
        found = f"has {len(rows)} row{'s' * (len(rows) != 1)}."
        yield Fault(display, None, "attenuation", found, "The table model needs two [[attenuation]] rows or more.")
    last = 0.0
    for number, row in enumerate(rows, start=1):
        key = f"attenuation row {number}"
        good = isinstance(row, dict) and _number(row.get("freq_hz")) and _number(row.get("db_per_100m"))
        if not good or not all(isinstance(row.get(k), str) for k in ("source", "status")):
            yield Fault(display, None, key, "is not complete.", "Give freq_hz, db_per_100m, source and status.")
            continue
        if row["freq_hz"] <= last:
            yield Fault(display, None, key, f"does not rise: {row['freq_hz']} Hz.", "Order the rows by frequency.")
        if row["db_per_100m"] <= 0:
            yield Fault(
                display, None, key, f"has a loss of {row['db_per_100m']} dB.", "Write a loss above 0, in dB per 100 m."
            )
        last = row["freq_hz"]


def _cable(record, display):
    """A checked record as a Cable."""
    faults = [
        *_word_faults(record, display),
        *_value_faults(record, display),
        *_construction_faults(record, display),
        *_table_faults(record, display),
    ]
    if faults:
        raise RecordError(faults)
    values = {key: float(record[key]["value"]) for key in _UNITS if key in record}
    if "wire_diameter" in values:
        values["wire_radius"] = values.pop("wire_diameter") / 2
    values.setdefault("capacitance", 1.0 / (values["z0"] * values["velocity_factor"] * C0))
    if record["model"] == "layered":
        values.setdefault("loss_tangent", LOSS_TANGENT)
        if "r_inner" not in values:
            values["r_inner"] = clad_resistance(values["wire_radius"], values["cladding"])
    return Cable(
        name=record["name"],
        description=record["description"],
        caution=record.get("caution", ""),
        model=record["model"],
        attenuation=tuple(
            AttenuationPoint(float(r["freq_hz"]), float(r["db_per_100m"]), r["source"], r["status"])
            for r in record.get("attenuation", [])
        ),
        sources=tuple((key, record[key]["source"], record[key]["status"]) for key in _UNITS if key in record),
        **values,
    )
