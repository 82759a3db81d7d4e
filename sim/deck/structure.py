"""A netlist as a whole: sections, what each card may refer to, and how large it becomes.

ngspice answers an undefined or circular parameter by ending the process, a missing model by passing over the circuit,
a subcircuit that multiplies by filling the memory. All of that is known before from the cards alone.
"""

import re
from collections import Counter
from collections.abc import Mapping
from graphlib import CycleError, TopologicalSorter

from sim.deck.cards import LETTER_OF_TYPE, Card, assignments_of, function_words, instance_words, model_words
from sim.deck.expressions import DEEPEST as DEEPEST_EXPRESSION
from sim.deck.expressions import LARGEST_EXPANSION, CardSet, Function, Names, called_names, deepest, weigh

LARGEST_CIRCUIT = 20_000
"""Elements of a text with all subcircuits written out, above which it is refused. [1]"""
DEEPEST = 8
"""Deepest nesting of subcircuit definitions."""

_PROGRAM_OWN = {"probe": (2, frozenset())}
"""Subcircuits that a deck may use without defining them."""

Around = tuple[tuple[str, ...], ...]
"""For each card the names of the subcircuits around it, outermost first."""

FaultAt = tuple[int | None, str | None, str, str]
"""Line, key, what was found, what would do."""


def sections(cards: tuple[Card, ...]) -> tuple[Around, list[FaultAt]]:
    """For each card the names of the subcircuits around it, and what is wrong with their ends."""
    around, opened, faults = [], [], []
    for card in cards:
        if card.keyword == ".subckt":
            name = card.tokens[1].lower() if len(card.tokens) > 1 else ""
            around.append(tuple(name for name, _ in opened))
            opened.append((name, card))
            if len(opened) > DEEPEST:
                faults.append((card.line, None, f"subcircuits nest deeper than {DEEPEST}.", "Define them in turn."))
                return (), faults
            continue
        if card.keyword == ".ends":
            if not opened:
                faults.append((card.line, None, ".ends closes nothing.", "Leave it out, or write the .subckt above."))
            else:
                name, _ = opened.pop()
                if len(card.tokens) > 1 and card.tokens[1].lower() != name:
                    found = f'.ends names "{card.tokens[1]}" where {name} is open.'
                    faults.append((card.line, None, found, f"Write .ends {name}."))
        around.append(tuple(name for name, _ in opened))
    for name, card in opened:
        remedy = f"Write .ends {name} behind its last card."
        faults.append((card.line, None, f"the subcircuit {name} has no .ends.", remedy))
    return tuple(around), faults


def functions_of(cards: tuple[Card, ...]) -> tuple[dict[str, Function], list[FaultAt]]:
    """The text's own functions; those that call themselves, are defined twice or are too large are faults."""
    words, lines, faults = {}, {}, []
    for card in cards:
        found = function_words(card) if card.keyword == ".func" else None
        if found is None:
            continue
        name, arguments, body = found
        if name in words:
            faults.append((card.line, None, f'the function "{name}" is defined twice.', "Keep one of them."))
        if deepest(body) > DEEPEST_EXPRESSION:
            text = f"more than {DEEPEST_EXPRESSION} parentheses are open."
            faults.append((card.line, None, text, "Divide the expression."))
        words[name], lines[name] = (arguments, body), card.line
    if faults:
        return {}, faults
    calls = {name: called_names(body) & words.keys() for name, (_, body) in words.items()}
    order, ring = _in_order(calls)
    if ring:
        found = f"the function {ring[0]} calls itself: {' → '.join(ring)}."
        return {}, [(lines[ring[0]], None, found, "Write it without.")]
    functions: dict[str, Function] = {}
    for name in order:
        arguments, body = words[name]
        terms, uses = weigh(body, functions)
        functions[name] = Function(
            arguments,
            terms + sum(count for other, count in uses.items() if other not in arguments),
            tuple(uses.get(argument, 0) for argument in arguments),
        )
        if functions[name].terms + sum(functions[name].uses) > LARGEST_EXPANSION:
            found = f"the function {name} has more than {LARGEST_EXPANSION} terms when written out."
            return {}, [(lines[name], None, found, "Use a subcircuit or a .param for what is used again.")]
    return functions, []


def names_around(
    cards: tuple[Card, ...], around: Around, functions: Mapping[str, Function], allow: CardSet
) -> tuple[Names, ...]:
    """What each card may refer to: parameters and models of the sections around it; subcircuits of the whole text."""
    subcircuits = dict(_PROGRAM_OWN) if allow is CardSet.DECK else {}
    models: dict[tuple[str, ...], dict[str, str]] = {}
    parameters: dict[tuple[str, ...], set[str]] = {}
    for card, outer in zip(cards, around, strict=True):
        if card.keyword == ".model" and (words := model_words(card)) is not None:
            models.setdefault(outer, {})[words[0]] = LETTER_OF_TYPE.get(words[2], "")
        elif card.keyword == ".param":
            parameters.setdefault(outer, set()).update(name for name, _ in assignments_of(card))
        elif card.keyword == ".subckt":
            words, assignments = instance_words(card)
            keys = {word.partition("=")[0].lower() for word in assignments}
            if words:
                subcircuits[words[0].lower()] = (len(words) - 1, frozenset(keys))
                parameters.setdefault((*outer, words[0].lower()), set()).update(keys)
    seen: dict[tuple[str, ...], Names] = {}
    for outer in around:
        if outer not in seen:
            scopes = [outer[:depth] for depth in range(len(outer) + 1)]
            seen[outer] = Names(
                allow,
                frozenset().union(*(parameters.get(scope, ()) for scope in scopes)),
                functions,
                {name: letter for scope in scopes for name, letter in models.get(scope, {}).items()},
                subcircuits,
            )
    return tuple(seen[outer] for outer in around)


def whole_faults(cards: tuple[Card, ...], around: Around) -> list[FaultAt]:
    """What is wrong together in cards that are right one by one."""
    return _double_definitions(cards, around) or [*_circular_parameters(cards, around), *_size(cards, around)]


def _double_definitions(cards: tuple[Card, ...], around: Around) -> list[FaultAt]:
    """Subcircuits of one name anywhere, models of one name in one section: ngspice would take either."""
    faults, first = [], {}
    for card, outer in zip(cards, around, strict=True):
        if card.keyword in (".subckt", ".model"):
            name = card.tokens[1].lower()
            line = first.setdefault((outer if card.keyword == ".model" else None, name), card.line)
            if line != card.line:
                found = f'{card.keyword} "{name}" is defined in line {line} already.'
                faults.append((card.line, None, found, "Keep one of them."))
    return faults


def _circular_parameters(cards: tuple[Card, ...], around: Around) -> list[FaultAt]:
    values: dict[tuple[tuple[str, ...], str], tuple[str, int]] = {}
    for card, outer in zip(cards, around, strict=True):
        if card.keyword == ".param":
            values |= {(outer, name): (value, card.line) for name, value in assignments_of(card)}
    needs = {
        (outer, name): {
            key
            for word in set(re.findall(r"[a-z_][a-z0-9_]*", value.lower()))
            if (key := _nearest(values, outer, word)) is not None
        }
        for (outer, name), (value, _) in values.items()
    }
    _, ring = _in_order(needs)
    if not ring:
        return []
    path = " → ".join(name for _, name in ring)
    found = f'the parameter "{ring[0][1]}" needs its own value: {path}.'
    return [(values[ring[0]][1], None, found, "Write one of them as a number.")]


def _nearest(values, outer: tuple[str, ...], word: str):
    """Where a parameter is defined, seen from a section outwards."""
    return next(((outer[:d], word) for d in range(len(outer), -1, -1) if (outer[:d], word) in values), None)


def _size(cards: tuple[Card, ...], around: Around) -> list[FaultAt]:
    """Subcircuits that contain themselves, and a text too large with all of them written out."""
    elements: Counter[str] = Counter()
    inside: dict[str, Counter[str]] = {"": Counter()}
    lines = {}
    for card, outer in zip(cards, around, strict=True):
        where = outer[-1] if outer else ""
        if card.keyword == ".subckt":
            lines[card.tokens[1].lower()] = card.line
        elif not card.keyword.startswith("."):
            elements[where] += 1
            if card.keyword == "x":
                inside.setdefault(where, Counter())[instance_words(card)[0][-1].lower()] += 1
    order, ring = _in_order({name: set(uses) for name, uses in inside.items()})
    if ring:
        found = f"the subcircuit {ring[0]} contains itself: {' → '.join(ring)}."
        return [(lines[ring[0]], None, found, "Leave the inner one out.")]
    size: dict[str, int] = {}
    for name in order:
        size[name] = elements[name] + sum(n * size[other] for other, n in inside.get(name, {}).items())
    if max(size.values()) > LARGEST_CIRCUIT:
        found = f"has more than {LARGEST_CIRCUIT} elements when its subcircuits are written out."
        return [(None, None, found, "Leave out what does not matter.")]
    return []


def _in_order(needs: Mapping) -> tuple[list, list]:
    """Keys with what they need before them; or a ring of keys that need each other, its first key again at its end."""
    try:
        return list(TopologicalSorter(needs).static_order()), []
    except CycleError as error:
        ring = error.args[1][::-1]
        # The same ring begins with the same key whatever the order of sets: with the one the text has first.
        first = min(range(len(ring) - 1), key=lambda index: list(needs).index(ring[index]))
        turned = [*ring[first:-1], *ring[:first]]
        return [], [*turned, turned[0]]
