"""An amplifier circuit: ports, parts with tolerance and kind, op-amps, loop probes.

A circuit is a SPICE file with one subcircuit ``amplifier``. R, C and L are its parts; behind the semicolon stand
tolerance and kind, then two or more blanks, then the purpose::

    Cf sum drv 1p ; 0.1p C0G  keeps the loop stable
    Xamp mid sum vcc gnd drv opamp
    Xloop drv fbk probe

The first node of a probe is the side that drives. All else that is allowed is kept as it is.

Some mistakes leave ngspice content and its numbers wrong: ``1M`` is a milliohm, a node without a path for direct
current gets an arbitrary voltage, a misspelt node is a new node. They are found here, all at once.

Not covered: whether the circuit is a good one.
"""

import difflib
import math
import re
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from sim.deck.cards import Card
from sim.deck.expressions import CardSet
from sim.deck.guard import read_cards
from sim.deck.part import RANGES, UNIT_WORDS, UNITS, Part, written_value
from sim.errors import CircuitError, Fault, StudyError, shown
from sim.paths import CIRCUITS
from sim.quantity import PartValue, QuantityError, format_quantity, parse_part

LARGEST_FILE = 200_000
"""A circuit file longer than this is not read. [byte]"""

PORTS = (("in", "out", "vcc", "gnd"), ("in_p", "in_n", "out", "vcc", "gnd"))
"""Ports that an amplifier may have, in this order."""

_PINS = {"opamp": ("inp", "inn", "vcc", "vee", "out"), "probe": ("drive", "receive")}
_RESERVED = "z_"
_VECTORS = ("all", "allv", "alli", "ally", "frequency", "time", "temp", "temper", "hertz", "null")
_RESULTS = ("onoise", "inoise")


@dataclass(frozen=True)
class Device:
    """An op-amp of the circuit; `nodes` are inp, inn, vcc, vee, out."""

    name: str
    nodes: tuple[str, str, str, str, str]
    model: str = "opamp"


@dataclass(frozen=True)
class Probe:
    """A place in a feedback loop: `drive_node` is the side that drives, `receive_node` the side that is driven."""

    name: str
    drive_node: str
    receive_node: str


@dataclass(frozen=True)
class Circuit:
    """An amplifier circuit.

    Attributes
    ----------
    name : str
        Name of its file without ending, fit for the title of a deck.
    file : str
        As shown to people.
    description : str
        First line of its header.
    drawing : str
        The header, all comment lines above the subcircuit.
    ports : tuple of str
        One of :data:`PORTS`.
    parts : tuple of Part
        In the order of the file, as are the others.
    devices : tuple of Device
    probes : tuple of Probe
    others : tuple of Card
        Further cards inside the subcircuit, and models and parameters outside it.
    input, output : str
        Nodes at which antenna and feedline are connected: the ports, or the far ends of what stands before them.
    """

    name: str
    file: str
    description: str
    drawing: str
    ports: tuple[str, ...]
    parts: tuple[Part, ...]
    devices: tuple[Device, ...]
    probes: tuple[Probe, ...]
    others: tuple[Card, ...]
    input: str = "in"
    output: str = "out"

    def with_series(self, at_input: PartValue | None, at_output: PartValue | None) -> "Circuit":
        """The circuit with a resistor before its input and one behind its output.

        They are parts like the others, under the names ``series_input`` and ``series_output``; None or 0 Ω: not there.

        Parameters
        ----------
        at_input, at_output : PartValue or None
            [Ω]
        """
        changes, parts = {}, list(self.parts)
        for end, value, inner, purpose in (
            ("input", at_input, self.input, "stopper between antenna and circuit, from the study"),
            ("output", at_output, self.output, "between circuit and feedline, from the study"),
        ):
            if value is None or value.value == 0:
                continue
            changes[end] = f"{_RESERVED}{end}"
            name = f"series_{end}"
            nodes = (changes[end], inner) if end == "input" else (inner, changes[end])
            parts.append(Part(name, "R", nodes, value, purpose, 0, f"r{_RESERVED}{name}"))
        return replace(self, parts=tuple(parts), **changes) if changes else self

    @property
    def balanced(self) -> bool:
        """Whether it has two inputs."""
        return self.ports[0] == "in_p"

    def with_parts(
        self, overrides: Mapping[str, str], file: str, line_of: Callable[[str], int | None] | None = None
    ) -> "Circuit":
        """The circuit with values of a study in place of its own.

        Parameters
        ----------
        overrides : mapping of str to str
            Name of a part and its "value tolerance words"; what is missing behind the value stays the circuit's own.
            Upper and lower case of names are the same.
        file : str
            The study's name, for messages.
        line_of : callable, optional
            Line of the key ``amplifier.parts.<name>`` in that file, for messages.

        Raises
        ------
        StudyError
            No such part, or no value that a part can have; all of them.
        """
        parts = {part.name.lower(): part for part in self.parts}
        faults, seen = [], set()
        for name, text in overrides.items():
            key = f"amplifier.parts.{name}"
            line = line_of(key) if line_of is not None else None
            part = parts.get(name.lower())
            if part is None:
                found = f'the circuit {self.name} has no part "{name}".'
                faults.append(Fault(file, line, key, found, self._near(name)))
                continue
            if name.lower() in seen:
                faults.append(Fault(file, line, key, f"{part.name} is given twice.", "Keep one of them."))
                continue
            seen.add(name.lower())
            try:
                value = _override(part, text)
            except QuantityError as error:
                faults.append(Fault(file, line, key, error.found, error.remedy))
                continue
            parts[name.lower()] = replace(part, value=value)
        if faults:
            raise StudyError(faults)
        return replace(self, parts=tuple(parts.values()))

    def _near(self, name: str) -> str:
        folded = {part.name.lower(): part.name for part in self.parts}
        near = difflib.get_close_matches(name.lower(), folded, n=1, cutoff=0.0)
        return (f"Nearest: {folded[near[0]]}. " if near else "") + f"Parts: {', '.join(folded.values())}."


def _override(part: Part, text: str) -> PartValue:
    """A study's value for a part."""
    value = parse_part(text, UNITS[part.kind], default=part.value)
    if value.value <= 0:
        raise QuantityError(f"{shown(text)} is not above zero.", f"Write a value in {UNIT_WORDS[part.kind]}.")
    low, high = RANGES[part.kind]
    if not low <= value.value <= high:
        ends = " to ".join(format_quantity(end, UNITS[part.kind]) for end in (low, high))
        remedy = f"Write {ends}; without a prefix it is in {UNIT_WORDS[part.kind]}."
        raise QuantityError(f"{shown(text)} is out of range.", remedy)
    return value


def list_circuits() -> tuple[str, ...]:
    """Names of the circuits that come with the program, in order."""
    return tuple(sorted(path.stem for path in (CIRCUITS / "amplifiers").glob("*.cir")))


def read_circuit(name: str, folder: str | Path = ".", display: str | None = None) -> Circuit:
    """An amplifier circuit by name, or from a file of the builder's own.

    Parameters
    ----------
    name : str
        One of :func:`list_circuits`, or a path.
    folder : path-like
        What a relative path starts from: the study's folder.
    display : str, optional
        Name of the file for messages, default as given.

    Returns
    -------
    Circuit

    Raises
    ------
    GuardError
        The file holds something else than allowed cards.
    CircuitError
        There is no such circuit, or it has faults, all of them named.
    """
    if name in list_circuits():
        path, shown = CIRCUITS / "amplifiers" / f"{name}.cir", f"circuits/amplifiers/{name}.cir"
    else:
        path, shown = Path(folder) / name, name
    shown = display or shown
    return parse_circuit(_text(path, shown, name), shown)


def _text(path: Path, shown: str, name: str) -> str:
    if not path.is_file():
        near = difflib.get_close_matches(name, list_circuits(), n=1, cutoff=0.5)
        hint = f"Nearest: {near[0]}. " if near else ""
        raise CircuitError(
            Fault(
                shown,
                None,
                None,
                f'there is no circuit "{name}".',
                f"{hint}Known: {', '.join(list_circuits())}; or name a file of your own, from the study's folder.",
            )
        )
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_FILE + 1)
        if len(raw) > LARGEST_FILE:
            found = f"is longer than {LARGEST_FILE} bytes."
            raise CircuitError(Fault(shown, None, None, found, "Give a circuit file."))
        return raw.decode("utf-8-sig")
    except OSError as error:
        raise CircuitError(
            Fault(shown, None, None, f"cannot be read: {error.strerror}.", "Give a circuit file that may be read.")
        ) from error
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise CircuitError(Fault(shown, line, None, "is not UTF-8 text.", "Save the file as UTF-8.")) from error


def parse_circuit(text: str, file: str) -> Circuit:
    """A circuit from its text.

    Parameters
    ----------
    text : str
    file : str
        Name for messages; the circuit is named after it.

    Raises
    ------
    GuardError, CircuitError
        As :func:`read_circuit`.
    """
    cards = read_cards(text, file, CardSet.TEMPLATE)
    reader = _Reader(cards)
    faults = reader.faults
    if faults:
        faults.sort(key=lambda fault: math.inf if fault[0] is None else fault[0])
        raise CircuitError(Fault(file, *fault) for fault in faults)
    header = _header(text)
    return Circuit(
        # The name becomes the title of decks; a file may be called anything.
        name=re.sub(r"[^A-Za-z0-9_.+\- ]", "_", Path(file).stem) or "circuit",
        file=file,
        description=next((line for line in header if line), ""),
        drawing="\n".join(header),
        ports=reader.ports,
        parts=tuple(reader.parts),
        devices=tuple(reader.devices),
        probes=tuple(reader.probes),
        others=tuple(reader.others),
    )


def _header(text: str) -> list[str]:
    lines = []
    for line in text.replace("\r\n", "\n").split("\n"):
        if line.strip() and not line.startswith("*"):
            break
        lines.append(re.sub(r"^\* ?", "", line).rstrip())
    while lines and not lines[-1]:
        lines.pop()
    return lines


class _Reader:
    """Sorts the cards of a circuit and notes every fault as (line, key, found, remedy)."""

    def __init__(self, cards: tuple[Card, ...]):
        self.faults: list[tuple[int | None, str | None, str, str]] = []
        self.ports: tuple[str, ...] = ()
        self.parts: list[Part] = []
        self.devices: list[Device] = []
        self.probes: list[Probe] = []
        self.others: list[Card] = []
        self._where: dict[str, int] = {}
        self._uses: Counter[str] = Counter()
        self._spelt: dict[str, str] = {}
        self._paths: list[tuple[str, ...]] = []
        self._models = {card.tokens[1].lower() for card in cards if card.keyword == ".model"}
        inside, header = False, None
        for card in cards:
            if card.keyword == ".subckt":
                if header is not None:
                    self._fault(card, None, "there is a second subcircuit.", "Write all into the amplifier itself.")
                header, inside = header or card, True
            elif card.keyword == ".ends":
                inside = False
            elif card.keyword.startswith("."):
                self.others.append(card)
            elif not inside:
                self._fault(card, card.tokens[0], "stands outside the subcircuit.", "Move it above .ends.")
            else:
                self._element(card)
        if header is None:
            remedy = f"Write .subckt amplifier {' '.join(PORTS[0])}."
            self.faults.append((None, None, "there is no subcircuit.", remedy))
            return
        self._ports(header)
        self._model_names()
        if self.ports:
            self._nodes(header)

    def _model_names(self) -> None:
        """An op-amp brings models of its own noise; of two models with one name ngspice silently takes one."""
        own = tuple(f"{device.name.lower()}_" for device in self.devices)
        for card in self.others:
            if card.keyword == ".model" and card.tokens[1].lower().startswith(own):
                found = "models that begin with the name of an op-amp belong to it."
                self._fault(card, card.tokens[1], found, "Rename the model.")

    def _fault(self, card: Card, key: str | None, found: str, remedy: str) -> None:
        self.faults.append((card.line, key, found, remedy))

    def _ports(self, header: Card) -> None:
        name, *ports = header.tokens[1:]
        if name.lower() != "amplifier":
            self._fault(header, None, f'the subcircuit is called "{name}".', "Call it amplifier.")
        if tuple(ports) in PORTS:
            self.ports = tuple(ports)
            return
        allowed = " or ".join(f'"{" ".join(known)}"' for known in PORTS)
        self._fault(header, None, f'the ports are "{" ".join(ports)}".', f"Write {allowed}, in this order.")

    # ------------------------------------------------------------------ elements

    def _element(self, card: Card) -> None:
        name = card.tokens[0]
        first = self._where.setdefault(name.lower(), card.line)
        if first != card.line:
            self._fault(card, name, f"the name is used in line {first} already.", "Give each element its own name.")
        if name[1:].lower().startswith(_RESERVED):
            self._fault(card, name, f'names with "{_RESERVED}" behind the letter belong to the program.', "Rename it.")
        if card.keyword in "rcl":
            self._part(card)
        elif card.keyword == "x":
            self._instance(card)
        else:
            self._other(card)

    def _part(self, card: Card) -> None:
        name, *rest = card.tokens
        self._use(card, rest[:2])
        if card.keyword in "rl":
            self._paths.append(tuple(rest[:2]))
        if len(rest) != 3 or "=" in rest[2]:
            unit = UNIT_WORDS[card.keyword.upper()]
            remedy = f"Write name, two nodes, a value in {unit}, and the rest behind a semicolon."
            self._fault(card, name, f'"{" ".join(rest[2:])}" is not one value.', remedy)
            return
        if rest[0].lower() == rest[1].lower():
            self._fault(card, name, f'both ends are at "{rest[0]}".', "Connect it between two nodes.")
        try:
            value, purpose = written_value(rest[2], card.comment, card.keyword.upper())
        except QuantityError as error:
            self._fault(card, name, error.found, error.remedy)
            return
        self.parts.append(Part(name, card.keyword.upper(), (rest[0], rest[1]), value, purpose, card.line))

    def _instance(self, card: Card) -> None:
        name = card.tokens[0]
        words = [token for token in card.tokens[1:] if "=" not in token and token.lower() != "params:"]
        *nodes, kind = words
        pins = _PINS.get(kind.lower())
        if pins is None:
            near = difflib.get_close_matches(kind.lower(), _PINS, n=1, cutoff=0.0)[0]
            remedy = f"Nearest: {near}. Known: {', '.join(_PINS)}."
            self._fault(card, name, f'there is no subcircuit "{kind}".', remedy)
            return
        self._use(card, nodes)
        if len(words) < len(card.tokens) - 1:
            self._fault(card, name, f"{kind} takes no parameters.", "The study names the op-amp; leave them out.")
        if len(nodes) != len(pins):
            self._fault(
                card, name, f"{kind} has {len(pins)} pins, {len(nodes)} are connected.", f"Connect {' '.join(pins)}."
            )
        elif kind.lower() == "opamp":
            self.devices.append(Device(name, tuple(nodes)))
            # The model's output stage and supply current lie between these; its inputs pass no direct current.
            self._paths.append((nodes[4], nodes[3]))
        else:
            self.probes.append(Probe(name, *nodes))
            self._paths.append(tuple(nodes))

    def _other(self, card: Card) -> None:
        """A card that is kept as it is: its nodes, and which of them are joined for direct current."""
        words = [word for word in card.tokens[1:] if "=" not in word]
        letter, pair = card.keyword, tuple(words[:2])
        read = re.findall(r"[A-Za-z0-9_.+\-]+", " ".join(re.findall(r"(?i)\bv\s*\(([^()]*)\)", card.text)))
        if letter in "vi" and re.search(r"(?i)\bac\b", card.text):
            remedy = "Leave AC out; the program drives the circuit."
            self._fault(card, card.tokens[0], "the source has an AC value.", remedy)
        if letter == "k":
            nodes, joined = (), ()
        elif letter == "b":
            by_voltage = re.match(r"\S+ \S+ \S+ [vV]", card.text)
            nodes, joined = (*pair, *read), (pair,) if by_voltage else ()
        elif letter in "eg":
            nodes, joined = (*words[:4], *read) if len(words) > 4 else (*pair, *read), (pair,) if letter == "e" else ()
        elif letter == "t":
            nodes, joined = words[:4], ((words[0], words[2]), (words[1], words[3]))
        elif letter in "dqjm":
            model = next((n for n, word in enumerate(words) if n >= 2 and word.lower() in self._models), len(words) - 1)
            nodes = words[:model]
            # The gate of a MOSFET passes nothing; junctions do.
            joined = ((nodes[0], *nodes[2:]),) if letter == "m" else (tuple(nodes),)
        else:
            nodes, joined = pair, (pair,) if letter in "vh" else ()
        self.others.append(card)
        self._use(card, nodes)
        self._paths += joined

    # ------------------------------------------------------------------ nodes

    def _use(self, card: Card, nodes) -> None:
        for node in nodes:
            if not re.fullmatch(r"[A-Za-z_]\w*|0", node):
                self._fault(card, card.tokens[0], f'the node "{node}" is no word.', "Name nodes for what they are.")
            elif node.lower().startswith(_RESERVED):
                found = f'nodes that begin with "{_RESERVED}" belong to the program.'
                self._fault(card, card.tokens[0], found, f"Rename {node}.")
            elif node.lower() in _VECTORS or node.lower().startswith(_RESULTS):
                found = f'the simulator has a result called "{node.lower()}" itself.'
                self._fault(card, card.tokens[0], found, f"Rename the node {node}.")
            folded = _folded(node)
            self._uses[folded] += 1
            self._where.setdefault(f"node {folded}", card.line)
            self._spelt.setdefault(folded, node)

    def _nodes(self, header: Card) -> None:
        for port in self.ports:
            if not self._uses[_folded(port)]:
                self._fault(header, port, "nothing is connected to this port.", "Connect it.")
        inner = [node for node in self._uses if self._spelt[node] not in self.ports and node != "gnd"]
        for node in inner:
            taken = [d.name for d in self.devices if node.startswith(f"{d.name.lower()}_")]
            if taken:
                self.faults.append(
                    (
                        self._where[f"node {node}"],
                        self._spelt[node],
                        f"nodes that begin with the name of an op-amp, {taken[0]}, belong to its model.",
                        "Rename the node.",
                    )
                )
        once = [node for node in inner if self._uses[node] == 1]
        for node in once:
            known = [self._spelt[other] for other in self._uses if other != node]
            near = difflib.get_close_matches(self._spelt[node], known, n=1, cutoff=0.6)
            hint = f" Nearest: {near[0]}." if near else ""
            self.faults.append(
                (
                    self._where[f"node {node}"],
                    self._spelt[node],
                    "only one element is connected to this node.",
                    f"Connect another one, or correct the name.{hint}",
                )
            )
        reached = self._reached()
        for node in (*inner, *(port for port in self.ports if port.startswith("in"))):
            if node not in reached and node not in once and self._uses[node]:
                self.faults.append(
                    (
                        self._where[f"node {node}"],
                        self._spelt[node],
                        "there is no path for direct current from this node to gnd.",
                        "Add a large resistor; capacitors and op-amp inputs pass none.",
                    )
                )

    def _reached(self) -> set[str]:
        """Nodes with a path to ground; the supply and what follows the output bring their own."""
        reached = {"gnd", "vcc", "out"}
        while True:
            groups = [{_folded(node) for node in group} for group in self._paths]
            new = set().union(*(group for group in groups if group & reached)) - reached
            if not new:
                return reached
            reached |= new


def _folded(node: str) -> str:
    return "gnd" if node.lower() in ("0", "gnd") else node.lower()
