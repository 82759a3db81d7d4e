"""A deck from outside, made ready to be judged: sources at rest, probes found, lines taken out of the lumped rest.

What the simulator gets is written here from cards that the guard has passed; the text itself never reaches it.

A deck is needed in three forms. *Whole*: as it is, with all sources at rest. *Metered*: the same with each end of each
transmission line metered, since a line carries direct current. *Lumped*: each end of each line replaced by the line's
impedance and a current source, which keeps the operating point and leaves a circuit whose responses are rational.
"""

import re
from dataclasses import dataclass

from sim.deck.cards import Card, instance_words, split_words
from sim.deck.expressions import CardSet
from sim.deck.guard import read_cards
from sim.errors import CircuitError, Fault

MARK = "zj_"
"""Prefix (after the device letter) of the elements and nodes that are added; a deck may not use it."""
OPTIONS = ".options reltol=1e-5 abstol=1e-14 vntol=1e-9 gmin=1e-15"
"""Tight tolerances, before the deck's own options."""
MOST_ENDS = 24
"""Ends of transmission lines above which a deck is refused; every end costs a sweep and a row of the matrix."""

_GROUND = ("0", "gnd")
_WAVEFORMS = ("am", "exp", "pulse", "pwl", "sffm", "sin")


@dataclass(frozen=True)
class Probe:
    """A probe in a deck: a zero-volt source in the loop wire and a current source into its receiving side.

    Attributes
    ----------
    name : str
        As the deck has it.
    voltage, current : str
        Names of the two sources, lower case.
    receive_node : str
    """

    name: str
    voltage: str
    current: str
    receive_node: str


@dataclass(frozen=True)
class LineEnd:
    """One end of a transmission line, and what the simulator calls what is added there.

    Attributes
    ----------
    line : str
        The line's element: ``t1``, in a subcircuit ``t.x1.t1``.
    source : str
        Current source into this end in the lumped form.
    volts : str
        Node that repeats the end's voltage.
    amperes : str
        Vector of the current into the line, in the metered form.
    """

    line: str
    source: str
    volts: str
    amperes: str


@dataclass(frozen=True)
class ReadDeck:
    """A deck in the forms in which it is needed; each form without ``.end``.

    Attributes
    ----------
    file : str
        Name for messages.
    whole, metered, lumped : tuple of str
    probes : tuple of Probe
    ends : tuple of LineEnd
        Both ends of the first line, then of the next.
    """

    file: str
    whole: tuple[str, ...]
    metered: tuple[str, ...]
    lumped: tuple[str, ...]
    probes: tuple[Probe, ...]
    ends: tuple[LineEnd, ...]


def read_deck(text: str, file: str) -> ReadDeck:
    """Read a deck that carries one or more probes.

    Parameters
    ----------
    text : str
        As decoded from UTF-8.
    file : str
        Name for messages.

    Raises
    ------
    GuardError
        A card that is not allowed.
    CircuitError
        No probe, half a probe, a probe in a subcircuit, or names that are the program's.
    """
    cards = read_cards(text, file, CardSet.DECK)
    faults = [
        Fault(file, card.line, card.tokens[0], f'names that begin with "{MARK}" are the program\'s.', "Rename it.")
        for card in cards
        if not card.keyword.startswith(".") and card.tokens[0][1:].lower().startswith(MARK)
    ]
    own = {card.tokens[1].lower() for card in cards if card.keyword == ".subckt"}
    cards = tuple(piece for card in cards for piece in _written_out_probe(card, own))
    probes, more = _probes(cards, file)
    ends = _ends(cards)
    if len(ends) > MOST_ENDS:
        found = f"has {len(ends) // 2} transmission lines."
        more.append(Fault(file, None, None, found, f"Leave at most {MOST_ENDS // 2}."))
    if faults or more:
        raise CircuitError((*faults, *more))
    head = (f"* {MARK}deck", OPTIONS)
    quiet = [(card, _at_rest(card)) for card in cards]
    return ReadDeck(
        file,
        (*head, *(text for _, text in quiet)),
        (*head, *(t for card, text in quiet for t in (_metered(card) if card.keyword == "t" else (text,)))),
        (*head, *(t for card, text in quiet for t in (_terminated(card) if card.keyword == "t" else (text,)))),
        probes,
        ends,
    )


def _written_out_probe(card: Card, own: set[str]) -> tuple[Card, ...]:
    """The program's own subcircuit ``probe`` as the two sources it stands for."""
    if card.keyword != "x" or "probe" in own:
        return (card,)
    words, _ = instance_words(card)
    if words[-1].lower() != "probe":
        return (card,)
    a, b = words[:2]
    return tuple(
        Card(card.line, text[0].lower(), split_words(text), text, card.comment)
        for text in (f"Vprb_{card.tokens[0]} {a} {b} dc 0", f"Iprb_{card.tokens[0]} 0 {b} dc 0")
    )


def _probes(cards, file: str) -> tuple[tuple[Probe, ...], list[Fault]]:
    faults, depth = [], 0
    volts, amperes = {}, {}
    for card in cards:
        depth += (card.keyword == ".subckt") - (card.keyword == ".ends")
        name = card.tokens[0].lower()
        if card.keyword not in ("v", "i") or not name[1:].startswith("prb"):
            continue
        if depth:
            remedy = "Put it into the deck itself, in a wire outside of subcircuits."
            faults.append(Fault(file, card.line, card.tokens[0], "a probe stands in a subcircuit.", remedy))
        (volts if name[0] == "v" else amperes)[name[1:]] = card
        if not re.fullmatch(r"[+-]?0*\.?0*", _resting_value(card)):
            found = "a probe's source is not zero."
            faults.append(Fault(file, card.line, card.tokens[0], found, "Write dc 0: a probe changes nothing."))
    probes = []
    for key, card in volts.items():
        partner, node = amperes.pop(key, None), card.tokens[2].lower()
        if partner is not None and partner.tokens[1].lower() in _GROUND and partner.tokens[2].lower() == node:
            probes.append(Probe(card.tokens[0], f"v{key}", f"i{key}", node))
            continue
        found = f"this probe has no current source I{card.tokens[0][1:]} from ground into its receiving side."
        remedy = f"Write: I{card.tokens[0][1:]} 0 {card.tokens[2]} dc 0 ac 0"
        faults.append(Fault(file, card.line, card.tokens[0], found, remedy))
    for card in amperes.values():
        found = "this half of a probe has no voltage source."
        remedy = f"Write: V{card.tokens[0][1:]} driving_node {card.tokens[2]} dc 0 ac 0"
        faults.append(Fault(file, card.line, card.tokens[0], found, remedy))
    if not probes and not faults:
        remedy = (
            "Cut the wire at each active device's output, before its feedback branches off, and put a probe there:"
            " Vprb driving_node receiving_node dc 0 ac 0, and Iprb 0 receiving_node dc 0 ac 0."
        )
        faults.append(Fault(file, None, None, "carries no probe, so there is no loop to judge.", remedy))
    return tuple(probes), faults


def resistor_to_ground(deck: ReadDeck, node: str) -> str:
    """The resistor that loads a node, as the simulator names it.

    Parameters
    ----------
    deck : ReadDeck
    node : str

    Raises
    ------
    CircuitError
        There is none, or there are several.
    """
    depth, found, nodes = 0, [], set()
    for text in deck.whole:
        words = text.lower().split()
        depth += (words[0] == ".subckt") - (words[0] == ".ends")
        if depth or words[0][0] in "*.":
            continue
        nodes.update(words[1:3])
        ends = ["0" if word in _GROUND else word for word in words[1:3]]
        if words[0][0] == "r" and sorted(ends) == sorted(["0", node.lower()]):
            found.append(words[0])
    if len(found) == 1:
        return found[0]
    what = f"{len(found)} resistors stand" if found else "no resistor stands"
    near = "" if node.lower() in nodes else f" (there is no node {node} in the deck)"
    remedy = f"Load the output with one resistor, as R75 {node} 0 75, or name its node with --output NODE."
    raise CircuitError(Fault(deck.file, None, None, f"{what} from {node} to ground{near}.", remedy))


# ---------------------------------------------------------------------- sources at rest


def _source_words(card: Card) -> list[str]:
    """Words behind the nodes of a V or I card; a waveform's numbers in one word in parentheses."""
    rest = re.sub(r"(?i)\b(dc|ac)=", r"\1 ", " ".join(card.tokens[3:]))
    return list(split_words(re.sub(r"(?<=[A-Za-z])\(", " (", rest)))


def _resting_value(card: Card) -> str:
    """What a source gives before anything happens: its DC value, or its waveform's first value."""
    words = _source_words(card)
    given, first = None, None
    at = 0
    while at < len(words):
        word = words[at].lower()
        at += 1
        if word in ("dc", "ac", *_WAVEFORMS):
            values = []
            while at < len(words) and words[at].lower() not in ("dc", "ac", *_WAVEFORMS):
                piece = words[at]
                inside = piece[1:-1].replace(",", " ") if piece.startswith("(") else piece
                values += split_words(inside)
                at += 1
            if word == "dc" and values:
                given = values[0]
            elif word == "pwl" and len(values) > 1:
                first = values[1]
            elif word in ("pulse", "sin", "exp", "sffm") and values:
                first = values[0]
        elif given is None:
            given = words[at - 1]
    return given or first or "0"


def _at_rest(card: Card) -> str:
    if card.keyword in ("v", "i"):
        return f"{' '.join(card.tokens[:3])} dc {_resting_value(card)} ac 0"
    # Starting values would hold the circuit away from rest when its time begins; they still say which state is meant.
    return f".nodeset{card.text[3:]}" if card.keyword == ".ic" else card.text


# ---------------------------------------------------------------------- transmission lines


def _ends(cards) -> tuple[LineEnd, ...]:
    """Ends of all lines, also of those in subcircuits, by the names that the simulator gives them."""
    inside: dict[str, list[tuple[str, str]]] = {"": []}
    opened = [""]
    for card in cards:
        if card.keyword == ".subckt":
            opened.append(card.tokens[1].lower())
            inside[opened[-1]] = []
        elif card.keyword == ".ends":
            opened.pop()
        elif card.keyword == "t":
            inside[opened[-1]].append(("", card.tokens[0].lower()))
        elif card.keyword == "x":
            inside[opened[-1]].append((instance_words(card)[0][-1].lower(), card.tokens[0].lower()))
    found = []
    pending = [("", "")]
    while pending:
        path, section = pending.pop(0)
        for name, element in inside.get(section, ()):
            if name:
                pending.append((f"{path}{element}.", name))
                continue
            for side in "ab":
                own = f"{MARK}{element}{side}"
                found.append(
                    LineEnd(
                        f"t.{path}{element}" if path else element,
                        f"i.{path}i{own}" if path else f"i{own}",
                        f"{path}{MARK}{element}v{side}",
                        f"{f'v.{path}v{own}' if path else f'v{own}'}#branch",
                    )
                )
    return tuple(found)


def _repeaters(card: Card) -> tuple[str, ...]:
    name, n1, n2, n3, n4 = card.tokens[:5]
    own = f"{MARK}{name.lower()}"
    return f"e{own}a {own}va 0 {n1} {n2} 1", f"e{own}b {own}vb 0 {n3} {n4} 1"


def _metered(card: Card) -> tuple[str, ...]:
    name, n1, n2, n3, n4 = card.tokens[:5]
    own = f"{MARK}{name.lower()}"
    line = " ".join([name, f"{own}a", n2, f"{own}b", n4, *card.tokens[5:]])
    return f"v{own}a {n1} {own}a 0", f"v{own}b {n3} {own}b 0", line, *_repeaters(card)


def _terminated(card: Card) -> tuple[str, ...]:
    _, n1, n2, n3, n4 = card.tokens[:5]
    own = f"{MARK}{card.tokens[0].lower()}"
    z0 = next((word.partition("=")[2] for word in card.tokens[5:] if word.lower().startswith("z0=")), "50")
    return (
        f"r{own}a {n1} {n2} {z0}",
        f"r{own}b {n3} {n4} {z0}",
        f"i{own}a {n2} {n1} dc 0 ac 0",
        f"i{own}b {n4} {n3} dc 0 ac 0",
        *_repeaters(card),
    )
