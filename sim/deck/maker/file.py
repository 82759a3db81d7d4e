"""A maker's model file: read under the guard, one subcircuit of it chosen, its pins named.

The text is judged as :attr:`sim.deck.expressions.CardSet.MODEL` and then written out anew
(:mod:`sim.deck.maker.flatten`); nothing of it reaches the simulator as it stands in the file.
"""

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

from sim.deck.expressions import CardSet
from sim.deck.guard import LARGEST_TEXT, read_cards
from sim.deck.maker.definition import Definition, all_definitions, definitions_of
from sim.deck.maker.flatten import flatten
from sim.deck.maker.formula import Untranslatable
from sim.deck.maker.pins import ROLES, TIES, Pins, guessed_pins
from sim.deck.maker.scope import Flat
from sim.errors import Fault, GuardError, RecordError, nearest, shown

COMMENTS_ABOVE = 40
"""Comment lines above a subcircuit in which its pins are looked for."""

_ENCRYPTED = re.compile(r"(?im)^\s*\*?\s*(\$?cdnenc\w*|\*\$?encrypted\w*|begin:.*encrypt.*|\.prot\b.*|\.encrypt\b.*)")
_OPTIONAL = re.compile(r"(?im)^\s*(\.subckt\b|\+).*\boptional\s*:")


@dataclass(frozen=True)
class ModelFile:
    """A maker's file as a tree of subcircuits.

    Attributes
    ----------
    file : str
        Name for messages.
    digest : str
        Of its text.
    top : Definition
    functions : dict
    lines : tuple of str
        The text, for its comments.
    """

    file: str
    digest: str
    top: Definition = field(compare=False, repr=False)
    functions: dict = field(compare=False, repr=False)
    lines: tuple[str, ...] = field(compare=False, repr=False)


@dataclass(frozen=True)
class MakerModel:
    """One op-amp of a maker's file, ready for decks.

    Attributes
    ----------
    source : ModelFile
    subcircuit : str
        As written in the file.
    ports : tuple of str
        Likewise.
    pins : Pins
        What each port is.
    """

    source: ModelFile
    subcircuit: str
    ports: tuple[str, ...]
    pins: Pins

    def with_roles(self, roles: tuple[str, ...], reason: str) -> "MakerModel":
        """The same with other pins."""
        return MakerModel(self.source, self.subcircuit, self.ports, Pins(roles, reason))

    def flat(self, device: str, nodes: tuple[str, str, str, str, str], temperature_c: float) -> Flat:
        """One instance of it as lines of a deck.

        Parameters
        ----------
        device : str
            Name of the device in the circuit, with which all names begin.
        nodes : tuple of str
            inp, inn, vcc, vee, out.
        temperature_c : float
            [°C]

        Raises
        ------
        GuardError
            Something in it has no plain form.
        """
        first = _flat(self, device.lower(), nodes, 27.0)
        return _flat(self, device.lower(), nodes, temperature_c) if first.uses_temperature else first


@lru_cache(maxsize=64)
def _flat(model: MakerModel, device: str, nodes: tuple, temperature_c: float) -> Flat:
    by_role = dict(zip(ROLES, nodes, strict=True)) | {"gnd": "0"}
    connected = {
        port.lower(): by_role[role] for port, role in zip(model.ports, model.pins.roles, strict=True) if role != "nc"
    }
    source = model.source
    try:
        return flatten(source.top, source.functions, model.subcircuit.lower(), device, connected, temperature_c)
    except RecursionError:
        raise GuardError(_too_deep(source.file)) from None
    except Untranslatable as reason:
        raise GuardError(
            Fault(source.file, reason.line, reason.key, f"{reason}.", "Write it another way, or take another model.")
        ) from None


def _too_deep(name: str) -> Fault:
    return Fault(name, None, None, "one of its formulas is nested too deeply.", "Divide it.")


def read_model_file(path: Path, name: str) -> ModelFile:
    """A maker's file from the disk.

    Parameters
    ----------
    path : Path
    name : str
        For messages.

    Raises
    ------
    GuardError, RecordError
    """
    try:
        with open(path, "rb") as file:
            raw = file.read(LARGEST_TEXT + 1)
    except OSError as error:
        found = f"cannot be read: {(error.strerror or '').lower()}."
        raise RecordError(Fault(name, None, None, found, "Name a maker's SPICE model that may be read.")) from error
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        # Old files write degrees and micro in the letters of their time; they may do so in comments only.
        text = raw.decode("cp1252", "replace")
    return parse_model_file(text.rstrip("\x1a\n\r ") + "\n", name)


@lru_cache(maxsize=16)
def parse_model_file(text: str, name: str) -> ModelFile:
    """A maker's file from its text.

    Parameters
    ----------
    text : str
    name : str
        Of the file, for messages.

    Raises
    ------
    GuardError
        With all faults.
    """
    if match := _ENCRYPTED.search(text):
        raise GuardError(
            Fault(
                name,
                text.count("\n", 0, match.start()) + 1,
                None,
                "the model is encrypted: only its maker's own simulator can read it.",
                "Ask the maker for a plain SPICE model, or use the catalogue's record of the part.",
            )
        )
    if match := _OPTIONAL.search(text):
        raise GuardError(
            Fault(
                name,
                text.count("\n", 0, match.start()) + 1,
                None,
                "OPTIONAL: pins are not known here.",
                "In a copy of the file, delete OPTIONAL: and what follows it on that line, and write the default of"
                " each such pin (behind its =) wherever the subcircuit uses the pin.",
            )
        )
    cards = read_cards(text, name, CardSet.MODEL)
    try:
        top, functions = definitions_of(cards)
    except RecursionError:
        raise GuardError(_too_deep(name)) from None
    if not top.inner:
        raise GuardError(
            Fault(name, None, None, "holds no subcircuit.", "A maker's op-amp model has a line .SUBCKT NAME pins.")
        )
    digest = hashlib.sha256(text.encode()).hexdigest()
    return ModelFile(name, digest, top, functions, tuple(text.split("\n")))


def choose(source: ModelFile, subcircuit: str | None = None, pins: str | None = None) -> MakerModel:
    """One op-amp of a file.

    Parameters
    ----------
    source : ModelFile
    subcircuit : str, optional
        Its name; not needed where only one subcircuit is used by no other.
    pins : str, optional
        What its ports are, in the file's order: "inp inn vcc vee out"; a pin named again is tied to the first of
        that name, "gnd" is tied to ground, "nc" is left open. Without it names and comments are asked.

    Raises
    ------
    RecordError
        There is no such subcircuit, or its pins are not known.
    """
    definition = _chosen(source, subcircuit)
    name, ports = definition.shown_name, definition.ports
    line = " ".join(ports)
    if pins is not None:
        roles = tuple(pins.lower().split())
        _refuse_roles(source, definition, roles)
        return MakerModel(source, name, ports, Pins(roles, "the pins given"))
    found = guessed_pins(ports, _comments(source, definition))
    if found is None:
        remedy = (
            f"Say what its {len(ports)} pins are, in the order {line}, in the words {' '.join(ROLES)}: a pin named"
            " again is tied to the first of that name (an enable pin to vcc), gnd is tied to ground, nc is left open."
        )
        raise RecordError(
            Fault(source.file, definition.line, name, f"nothing says which pin is which of {line}.", remedy)
        )
    return MakerModel(source, name, ports, found)


def _chosen(source: ModelFile, subcircuit: str | None) -> Definition:
    every: Mapping[str, Definition] = source.top.inner
    if subcircuit is not None:
        if subcircuit.lower() in every:
            return every[subcircuit.lower()]
        near = nearest(subcircuit, [each.shown_name for each in every.values()], 0.3)
        listed = ", ".join(each.shown_name for each in list(every.values())[:20])
        hint = f"Nearest: {near}. " if near else ""
        found = f"there is no subcircuit {shown(subcircuit)}."
        raise RecordError(Fault(source.file, None, None, found, f"{hint}It has: {listed}."))
    used = {
        card.tokens[-1].lower()
        if "=" not in card.tokens[-1]
        else next(word for word in reversed(card.tokens) if "=" not in word and word.lower() != "params:").lower()
        for each in (source.top, *all_definitions(source.top))
        for card in each.elements
        if card.keyword == "x"
    }
    free = [each for each in every.values() if each.name not in used and len(each.ports) >= len(ROLES)]
    if len(free) == 1:
        return free[0]
    if not free:
        found = "has no subcircuit of five pins or more that is not part of another one."
        raise RecordError(Fault(source.file, None, None, found, "Name a model of an op-amp."))
    listed = ", ".join(each.shown_name for each in free[:20])
    remedy = f'Name one of them, subcircuit = "{free[0].shown_name}": {listed}.'
    raise RecordError(Fault(source.file, None, None, f"holds {len(free)} models.", remedy))


def _refuse_roles(source: ModelFile, definition: Definition, roles: tuple[str, ...]) -> None:
    ports, allowed = definition.ports, (*ROLES, *TIES)
    strange = [role for role in roles if role not in allowed]
    missing = [role for role in ROLES if role not in roles]
    if len(roles) != len(ports):
        found = f"{len(roles)} pins are named, and it has {len(ports)}: {' '.join(ports)}."
    elif strange:
        found = f"{shown(strange[0])} is no pin."
    elif missing:
        found = f"the pin {missing[0]} is not among {' '.join(roles)}."
    else:
        return
    remedy = f"Write a word for each of {' '.join(ports)}, out of: {' '.join(allowed)}."
    raise RecordError(Fault(source.file, definition.line, definition.shown_name, found, remedy))


def _comments(source: ModelFile, definition: Definition) -> tuple[str, ...]:
    """Comment lines straight above the ``.subckt`` line, and straight below it."""
    above, number = [], definition.line - 1
    while number > 0 and len(above) < COMMENTS_ABOVE:
        line = source.lines[number - 1].strip()
        if line and not line.startswith(("*", ";")):
            break
        above.append(line.lstrip("*;"))
        number -= 1
    below, number = [], definition.line
    while number < len(source.lines) and source.lines[number].strip().startswith("*") and len(below) < COMMENTS_ABOVE:
        below.append(source.lines[number].strip().lstrip("*"))
        number += 1
    return (*reversed(above), *below)
