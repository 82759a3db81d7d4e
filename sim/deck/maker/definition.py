"""The subcircuits of a maker's file as a tree: ports, parameters, models, functions, elements."""

from dataclasses import dataclass, field

from sim.deck.cards import Card, assignments_of, function_words, instance_words, model_words, split_words
from sim.deck.maker.formula import Untranslatable, parse


@dataclass(frozen=True)
class ModelCard:
    """A ``.model``: the model it begins from, its type, and what it sets, as written; lower case but the values."""

    name: str
    parent: str | None
    kind: str
    settings: dict[str, str]
    line: int


@dataclass
class Definition:
    """One subcircuit, or the file around all of them.

    Attributes
    ----------
    name : str
        Lower case; empty for the file itself.
    shown_name : str
        As written.
    ports : tuple of str
        As written.
    line : int
        Of its ``.subckt``.
    defaults : dict of str to str
        Parameters that an X line may set.
    parameters : dict of str to str
        Of ``.param`` cards.
    models, inner : dict
        By lower-case name.
    elements : list of Card
    outer : Definition or None
    """

    name: str
    shown_name: str
    ports: tuple[str, ...]
    line: int
    outer: "Definition | None" = None
    defaults: dict[str, str] = field(default_factory=dict)
    parameters: dict[str, str] = field(default_factory=dict)
    models: dict[str, ModelCard] = field(default_factory=dict)
    inner: "dict[str, Definition]" = field(default_factory=dict)
    elements: list[Card] = field(default_factory=list)

    def model(self, name: str) -> ModelCard:
        """The model of a name, seen from here outwards."""
        here: Definition | None = self
        while here is not None:
            if name in here.models:
                return here.models[name]
            here = here.outer
        raise Untranslatable(f"there is no model {name}")

    def subcircuit(self, name: str) -> "Definition":
        """The subcircuit of a name, seen from here outwards, else wherever the file has it."""
        here: Definition | None = self
        top = self
        while here is not None:
            if name in here.inner:
                return here.inner[name]
            here, top = here.outer, here
        found = next((each for each in all_definitions(top) if each.name == name), None)
        if found is None:
            raise Untranslatable(f"there is no subcircuit {name}")
        return found


def all_definitions(top: Definition) -> list[Definition]:
    """All subcircuits inside one, in the order of the file."""
    return [found for each in top.inner.values() for found in (each, *all_definitions(each))]


def definitions_of(cards: tuple[Card, ...]) -> tuple[Definition, dict[str, tuple]]:
    """The file as a tree, and its functions as (arguments, tree) by name.

    Parameters
    ----------
    cards : tuple of Card
        That the guard let pass as a model file.
    """
    here = top = Definition("", "", (), 0)
    functions = {}
    for card in cards:
        if card.keyword == ".subckt":
            (shown_name, *ports), assignments = instance_words(card)
            inner = Definition(shown_name.lower(), shown_name, tuple(ports), card.line, here)
            inner.defaults = dict(_pair(word) for word in assignments)
            here.inner[inner.name] = inner
            here = inner
        elif card.keyword == ".ends":
            here = here.outer or top
        elif card.keyword == ".param":
            here.parameters |= dict(assignments_of(card))
        elif card.keyword == ".model":
            found = _model(card)
            here.models[found.name] = found
        elif card.keyword == ".func":
            name, arguments, body = function_words(card)
            functions[name] = (arguments, parse(body))
        else:
            here.elements.append(card)
    return top, functions


def _pair(word: str) -> tuple[str, str]:
    name, _, value = word.partition("=")
    return name.lower(), value


def _model(card: Card) -> ModelCard:
    name, parent, kind, body = model_words(card)
    if body.startswith("("):
        body = body[1:-1]
    words = split_words(body if "{" in body else body.replace(",", " "))
    return ModelCard(name, parent, kind, dict(_pair(word) for word in words if "=" in word), card.line)
