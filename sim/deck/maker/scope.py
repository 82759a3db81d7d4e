"""One instance of a maker's subcircuit on its way into a deck: its names, its values, the lines written so far."""

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from sim.deck.cards import Card
from sim.deck.expressions import NUMBER
from sim.deck.maker.definition import Definition
from sim.deck.maker.formula import (
    Number,
    Reading,
    Steps,
    Untranslatable,
    folded,
    literal,
    number_of,
    parse,
    source_text,
)
from sim.deck.maker.semiconductors import known_settings

MOST_ELEMENTS = 3_000
"""Elements of a model written out; op-amps have some tens to hundreds. [1]"""
_STAYS = ("time", "temper")
_CONSTANTS = {"pi": math.pi, "gmin": 1e-12}


@dataclass
class Flat:
    """What came out.

    Attributes
    ----------
    lines : list of str
    left_out : dict of str to None
        What was passed over, in order.
    uses_temperature : bool
        Whether numbers depend on the temperature.
    """

    lines: list[str] = field(default_factory=list)
    left_out: dict[str, None] = field(default_factory=dict)
    uses_temperature: bool = False


class Instance:
    """What all scopes of one instance share: the lines, the names used, the functions."""

    def __init__(self, functions, device: str, temperature_c: float):
        self.functions, self.device, self.temperature_c = functions, device, temperature_c
        self.flat, self.steps = Flat(), Steps()
        self._names: dict[tuple[str, str, str], str] = {}
        self._used: set[str] = set()

    def name(self, kind: str, letter: str, path: str, own: str) -> str:
        """A name of the deck for something of the model; the same for the same, no other's for another."""
        key = (kind + letter, path, own)
        if key not in self._names:
            base = letter + re.sub(r"[^a-z0-9]", "_", f"{self.device}_{path}{own}".lower())
            name, number = base, 1
            while (kind + name) in self._used:
                number += 1
                name = f"{base}_{number}"
            self._used.add(kind + name)
            self._names[key] = name
        return self._names[key]

    def add(self, line: str) -> None:
        """One more line of the deck."""
        self.flat.lines.append(line)
        if len(self.flat.lines) > MOST_ELEMENTS:
            raise Untranslatable(f"it has more than {MOST_ELEMENTS} elements when written out")


class Scope:
    """One instance of one subcircuit."""

    def __init__(self, definition: Definition, outer, path: str, nodes: dict[str, str], writer: Instance, given=None):
        self.definition, self.outer, self.path, self._nodes, self.shared = definition, outer, path, nodes, writer
        self._given = given or {}
        self._values: dict[str, float] = {}
        self._busy: set[str] = set()
        self._models: dict[str, str] = {}
        self._senses: set[str] = set()
        self._touched: set[str] = set()
        self._sensed: set[str] = set()

    # ------------------------------------------------------------------ names

    def node(self, word: str, connects: bool = True) -> str:
        """Node of the deck for one of the model."""
        word = word.lower()
        (self._touched if connects else self._sensed).add(word)
        if word in self._nodes:
            return self._nodes[word]
        if word in ("0", "gnd"):
            return "0"
        return self.shared.name("node", "", self.path, word)

    def element(self, letter: str, own: str) -> str:
        """Name in the deck of an element of this instance."""
        return self.shared.name("element", letter, self.path, own)

    def value_of(self, name: str) -> float | None:
        """Value of a parameter, seen from here outwards."""
        if name in self._values:
            return self._values[name]
        if name in self._given:
            return self._given[name]
        text = self.definition.parameters.get(name, self.definition.defaults.get(name))
        if text is None:
            if self.outer is not None:
                return self.outer.value_of(name)
            if name in _CONSTANTS:
                return _CONSTANTS[name]
            if name == "temp":
                self.shared.flat.uses_temperature = True
                return self.shared.temperature_c
            if name in _STAYS:
                return None
            raise Untranslatable(f"the parameter {name} is defined nowhere")
        if name in self._busy:
            raise Untranslatable(f"the parameter {name} needs its own value")
        self._busy.add(name)
        self._values[name] = self.number(text)
        return self._values[name]

    def tree(self, text: str):
        """A formula with all that is known put in."""
        text = text.strip()
        if text.startswith("{") and text.endswith("}"):
            text = text[1:-1]
        return folded(parse(text), self.value_of, self.shared.functions, self.shared.steps)

    def number(self, text: str) -> float:
        """A value of a card: a number or an expression of parameters."""
        if NUMBER.fullmatch(text):
            return number_of(text)
        tree = self.tree(text)
        if not isinstance(tree, Number):
            raise Untranslatable(f"{text} is no number, but changes with a voltage, a current or time")
        return tree.value

    def formula(self, tree) -> str:
        """A tree as text for a B source of the deck."""
        return source_text(tree, self._reading, self._derivative)

    def _reading(self, reading: Reading) -> str:
        if reading.kind == "v":
            nodes = [self.node(word, connects=False) for word in reading.words]
            if len(nodes) == 2 and nodes[1] == "0":
                del nodes[1]
            if nodes[0] == "0":
                return f"(-v({nodes[1]}))" if len(nodes) == 2 else "0.0"
            return f"v({nodes[0]})" if len(nodes) == 1 else f"(v({nodes[0]})-v({nodes[1]}))"
        (name,) = reading.words
        return f"i({self.current_sensor(name)})"

    def current_sensor(self, name: str) -> str:
        """Source that reads the current of an element of this instance."""
        name = name.lower()
        if not any(card.tokens[0].lower() == name for card in self.definition.elements):
            raise Untranslatable(f"I({name}) is the current of nothing in this subcircuit")
        return self.element("v", name if name.startswith("v") else f"{name}_i")

    def _derivative(self, text: str) -> str:
        """Current through 1 F, read by a source: the derivative with time of a voltage."""
        number = len(self.shared.flat.lines)
        inner, middle = (self.shared.name("node", "", self.path, f"ddt{number}{end}") for end in "ab")
        sensor = self.element("v", f"ddt{number}")
        self.shared.add(f"{self.element('b', f'ddt{number}')} {inner} 0 v={text}")
        self.shared.add(f"{self.element('c', f'ddt{number}')} {inner} {middle} 1.0")
        self.shared.add(f"{sensor} {middle} 0 dc 0.0")
        return f"i({sensor})"

    # ------------------------------------------------------------------ everything

    def write(self, writers: Mapping[str, Callable]) -> None:
        """Write all elements of this instance.

        Parameters
        ----------
        writers : mapping of str to callable
            By the element's letter: takes the scope and the card.

        Raises
        ------
        Untranslatable
            With line and element.
        """
        cards = self.definition.elements
        found = [word.lower() for card in cards for word in re.findall(r"(?i)\bi\s*\(\s*([^\s(),]+)\s*\)", card.text)]
        self._senses = {name for name in found if not name.startswith("v")}
        for card in cards:
            try:
                writers[card.keyword](self, card)
            except Untranslatable as reason:
                if reason.line is None:
                    reason.line, reason.key = card.line, card.tokens[0]
                raise
        for word in sorted(self._sensed):
            if word not in self._touched and word not in self._nodes and word not in ("0", "gnd"):
                error = Untranslatable(f"V({word}) is read, and nothing is connected to {word}")
                error.line, error.key = self.definition.line, self.definition.shown_name
                raise error

    def ends(self, card: Card) -> tuple[str, str]:
        """Both nodes of an element; where its current is read, a source of 0 V stands before the second."""
        a, b = (self.node(word) for word in card.tokens[1:3])
        own = card.tokens[0].lower()
        if own in self._senses:
            middle = self.shared.name("node", "", self.path, f"{own}_i")
            self.shared.add(f"{self.element('v', f'{own}_i')} {middle} {b} dc 0.0")
            return a, middle
        return a, b

    def parts(self, card: Card, skip: int) -> tuple[list[str], dict[str, str]]:
        """Plain words and assignments behind the nodes."""
        words = card.tokens[1 + skip :]
        pairs = dict(word.partition("=")[::2] for word in words if "=" in word)
        return [word for word in words if "=" not in word], {key.lower(): text for key, text in pairs.items()}

    def settings(self, name: str) -> tuple[str, dict[str, float]]:
        """Type and values of a model, those of the models it begins from before its own."""
        chain = [self.definition.model(name.lower())]
        while chain[-1].parent is not None:
            parent = self.definition.model(chain[-1].parent)
            if parent in chain:
                raise Untranslatable(f"the model {name} begins from itself")
            chain.append(parent)
        values = {key: self.number(text) for card in reversed(chain) for key, text in card.settings.items()}
        return chain[0].kind, values

    def model(self, name: str, letter: str) -> str:
        """Write a model once an instance; its name in the deck."""
        name = name.lower()
        if name not in self._models:
            kind, values = self.settings(name)
            if kind.startswith("vdmos"):
                raise Untranslatable("power transistors (VDMOS) are not taken over")
            kept, left = known_settings(letter, values)
            self.shared.flat.left_out |= dict.fromkeys(f"{key} of the model {name}" for key in left)
            text = " ".join(f"{key}={literal(value)}" for key, value in kept.items())
            self._models[name] = self.shared.name("model", "", self.path, f"m_{name}")
            self.shared.add(f".model {self._models[name]} {kind}({text})")
        return self._models[name]
