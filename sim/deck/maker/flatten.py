"""A maker's subcircuit written out flat: one line an element, names of our own, numbers only.

Nothing of the file's text is handed on. Elements and nodes get names that begin with the device's, values are worked
out here, formulas written anew (:mod:`sim.deck.maker.formula`). So no compatibility mode of the simulator is needed,
which would hold for all decks of a process, and constructs that end the simulator cannot come through.

Sources inside a model are constant: what they are at AC is the program's to say. Resistors at absolute zero (T_ABS),
which the dialect uses for "no noise", are made noiseless.
"""

import math
import re
from collections.abc import Callable
from itertools import combinations_with_replacement

from sim.deck.cards import Card, instance_words, plain_controls, split_words
from sim.deck.expressions import NAME, NUMBER
from sim.deck.maker.definition import Definition
from sim.deck.maker.formula import ZERO_CELSIUS, Call, Number, Reading, Untranslatable, literal, table_text
from sim.deck.maker.scope import Flat, Instance, Scope
from sim.deck.maker.semiconductors import TNOM, switch_text

LEAST_OHMS = 1e-3
"""The simulator takes this for less, with a warning. [Ω]"""
_TEMPERATURE = ("temp", "dtemp", "ac")


def flatten(
    top: Definition, functions: dict, subcircuit: str, device: str, nodes: dict[str, str], temperature_c: float
) -> Flat:
    """One instance of a subcircuit.

    Parameters
    ----------
    top : Definition
        The file.
    functions : dict
        See :func:`sim.deck.maker.definition.definitions_of`.
    subcircuit : str
        Lower case.
    device : str
        With which all names begin.
    nodes : dict of str to str
        Node of the deck by port, lower case; ports that are not in it are left open.
    temperature_c : float
        [°C]

    Raises
    ------
    Untranslatable
        With where it is.
    """
    writer = Instance(functions, device, temperature_c)
    outer = Scope(top, None, "", {}, writer)
    definition = top.subcircuit(subcircuit)
    scope = Scope(definition, outer, "", nodes, writer)
    scope.write(_WRITERS)
    return writer.flat


# ---------------------------------------------------------------------- elements


def _passive(scope: Scope, card: Card) -> None:
    letter, (a, b) = card.keyword, scope.ends(card)
    words, pairs = scope.parts(card, 2)
    if any(key in pairs for key in _TEMPERATURE):
        raise Untranslatable("a temperature or an AC value of its own is not taken over")
    model = next((word for word in words if NAME.fullmatch(word)), None)
    text = next((word for word in words if word != model), None)
    long_name = {"r": "resistance", "c": "capacitance", "l": "inductance"}[letter]
    text = text or pairs.get(letter) or pairs.get(long_name)
    settings = scope.settings(model)[1] if model else {}
    if text is None:
        raise Untranslatable("it has no value")
    value = scope.number(text) * settings.get(letter, 1.0)
    value *= _warmth(scope, settings, pairs)
    for key in settings:
        if key in ("vc1", "vc2", "il1", "il2") and settings[key]:
            raise Untranslatable(f"{key.upper()}, by which its value follows its voltage or current, is not taken over")
    many = scope.number(pairs["m"]) if "m" in pairs else 1.0
    value = value * many if letter == "c" else value / many
    tail = ""
    if letter == "r":
        if abs(value) < LEAST_OHMS:
            value = math.copysign(LEAST_OHMS, value)
        cold = settings.get("t_abs", 0.0) <= -ZERO_CELSIUS + 0.01
        silent = any(pairs.get(key, "1") == "0" for key in ("noisy", "noise"))
        tail = " noisy=0" if cold or silent or value < 0 else ""
    scope.shared.add(f"{scope.element(letter, card.tokens[0])} {a} {b} {literal(value)}{tail}")


def _warmth(scope: Scope, settings: dict[str, float], pairs: dict[str, str]) -> float:
    """How much larger a part is at the unit's temperature than at its own of reference."""
    first, second = settings.get("tc1", 0.0), settings.get("tc2", 0.0)
    if "tc" in pairs:
        numbers = [scope.number(word) for word in pairs["tc"].split(",")]
        first, second = (*numbers, 0.0, 0.0)[:2]
    first = scope.number(pairs["tc1"]) if "tc1" in pairs else first
    second = scope.number(pairs["tc2"]) if "tc2" in pairs else second
    exponential = settings.get("tce", 0.0)
    if not (first or second or exponential):
        return 1.0
    scope.shared.flat.uses_temperature = True
    warmer = scope.shared.temperature_c - settings.get("t_measured", settings.get("tnom", TNOM))
    return (1 + first * warmer + second * warmer**2) * 1.01 ** (exponential * warmer)


def _behavioural(scope: Scope, card: Card, kind: str, formula: Callable[[], str]) -> None:
    a, b = scope.ends(card)
    text = formula()
    scope.shared.add(f"{scope.element('b', card.tokens[0])} {a} {b} {kind}={text}")


def _b_source(scope: Scope, card: Card) -> None:
    match = re.fullmatch(r"\S+ \S+ \S+ ([vViI]) ?= ?(.+)", card.text)
    _behavioural(scope, card, match[1].lower(), lambda: scope.formula(scope.tree(match[2])))


def _controlled(scope: Scope, card: Card) -> None:
    """E, G, F, H."""
    letter = card.keyword
    kind = "v" if letter in "eh" else "i"
    by_voltage = letter in "eg"
    rest = re.sub(r"\s*=\s*", "=", card.text.split(None, 3)[3])
    word = re.match(r"[A-Za-z]*(?=[\s=({]|$)", rest)
    word = word[0].lower() if word else ""
    if word in ("value", "vol", "cur") and by_voltage:
        body = rest[len(word) :].lstrip("= ")
        _behavioural(scope, card, kind, lambda: scope.formula(scope.tree(body[1:-1])))
    elif word == "poly":
        _behavioural(scope, card, kind, lambda: _polynomial(scope, rest, by_voltage))
    elif word == "table" and by_voltage:
        match = re.fullmatch(r"table ?=?\{([^{}]*)\} ?=?(.*)", rest, re.IGNORECASE)
        points = [Number(scope.number(text)) for text in _words(match[2])]
        _behavioural(scope, card, kind, lambda: table_text(scope.formula(scope.tree(match[1])), points))
    elif by_voltage:
        a, b = scope.ends(card)
        tokens = plain_controls(card.tokens)
        c, d = (scope.node(node, connects=False) for node in tokens[3:5])
        gain = literal(scope.number(tokens[5]))
        scope.shared.add(f"{scope.element(letter, card.tokens[0])} {a} {b} {c} {d} {gain}")
    else:
        a, b = scope.ends(card)
        sensor = scope.current_sensor(card.tokens[3])
        gain = literal(scope.number(card.tokens[4]))
        scope.shared.add(f"{scope.element(letter, card.tokens[0])} {a} {b} {sensor} {gain}")


def _words(text: str) -> list[str]:
    """Words of a list in which parentheses and commas say nothing; braces stay whole."""
    return list(split_words(re.sub(r"[(),](?![^{]*\})", " ", text)))


def _polynomial(scope: Scope, rest: str, by_voltage: bool) -> str:
    match = re.fullmatch(r"poly ?\( ?([1-9]) ?\)(.*)", rest, re.IGNORECASE)
    count, words = int(match[1]), _words(match[2])
    if by_voltage:
        controls = [Reading("v", (words[2 * n].lower(), words[2 * n + 1].lower())) for n in range(count)]
    else:
        controls = [Reading("i", (words[n].lower(),)) for n in range(count)]
    numbers = [scope.number(word) for word in words[count * (2 if by_voltage else 1) :]]
    return scope.formula(polynomial(controls, numbers))


def polynomial(controls: list, coefficients: list[float]):
    """A SPICE polynomial as a tree: constant, linear terms, then products of ever more controls in dictionary order.

    Parameters
    ----------
    controls : list of Reading
    coefficients : list of float
        One alone belongs to the first control.
    """
    if len(coefficients) == 1:
        coefficients = [0.0, coefficients[0]]
    terms, degree, left = [Number(coefficients[0])], 1, coefficients[1:]
    while left:
        for chosen in combinations_with_replacement(range(len(controls)), degree):
            if not left:
                break
            number, *left = left
            if number:
                term = Number(number)
                for control in sorted(set(chosen)):
                    power = chosen.count(control)
                    factor = controls[control] if power == 1 else Call("^", (controls[control], Number(float(power))))
                    term = Call("*", (term, factor))
                terms.append(term)
        degree += 1
    terms = [term for term in terms if not (isinstance(term, Number) and term.value == 0)] or [Number(0.0)]
    tree = terms[0]
    for term in terms[1:]:
        tree = Call("+", (tree, term))
    return tree


def _source(scope: Scope, card: Card) -> None:
    """V and I: their DC value."""
    words = split_words(re.sub(r"(?i)\b(dc|ac)=", r"\1 ", " ".join(card.tokens[3:])))
    value = 0.0
    position = 0
    while position < len(words):
        word = words[position].lower()
        if word == "ac":
            # How it is driven is for the analysis to say.
            position += 1
            while position < len(words) and (NUMBER.fullmatch(words[position]) or words[position].startswith("{")):
                position += 1
            continue
        if word != "dc":
            if not (NUMBER.fullmatch(word) or word.startswith("{")):
                raise Untranslatable("a source that changes with time is not taken over")
            value = scope.number(words[position])
        position += 1
    a, b = scope.ends(card)
    own = card.tokens[0].lower()
    scope.shared.add(f"{scope.element(card.keyword, own)} {a} {b} dc {literal(value)}")


def _device(scope: Scope, card: Card) -> None:
    """D, Q, J, M, S, W."""
    letter = card.keyword
    words, pairs = scope.parts(card, 0)
    sensor = words.pop(2) if letter == "w" else None
    least, most = {"d": (2, 2), "q": (3, 4), "j": (3, 3), "m": (3, 4), "s": (4, 4), "w": (2, 2)}[letter]
    place = next((n for n in range(least, min(most + 1, len(words))) if _is_model(scope, words[n])), None)
    if place is None:
        raise Untranslatable("it names no model")
    nodes, name, behind = words[:place], words[place], words[place + 1 :]
    if any(key in pairs for key in _TEMPERATURE):
        raise Untranslatable("a temperature of its own is not taken over")
    kind = scope.definition.model(name.lower()).kind
    if kind in ("vswitch", "iswitch"):
        _smooth_switch(scope, card, nodes, sensor, name)
        return
    if letter == "d":
        nodes = [*scope.ends(card)]
    else:
        nodes = [scope.node(node) for node in nodes]
    area = next((word for word in behind if NUMBER.fullmatch(word)), None)
    values = {"area": scope.number(area)} if area is not None else {}
    values |= {key: scope.number(text) for key, text in pairs.items() if key != "ic"}
    tail = "".join(f" {key}={literal(value)}" for key, value in values.items())
    through = f" {scope.current_sensor(sensor)}" if sensor else ""
    own = scope.element(letter, card.tokens[0])
    scope.shared.add(f"{own} {' '.join(nodes)}{through} {scope.model(name, letter)}{tail}")


def _is_model(scope: Scope, word: str) -> bool:
    try:
        scope.definition.model(word.lower())
    except Untranslatable:
        return False
    return True


def _smooth_switch(scope: Scope, card: Card, nodes: list[str], sensor: str | None, name: str) -> None:
    kind, values = scope.settings(name)
    if kind == "vswitch":
        control, (on, off) = Reading("v", (nodes[2].lower(), nodes[3].lower())), ("von", "voff")
        default = (1.0, 0.0)
    else:
        control, (on, off), default = Reading("i", (sensor.lower(),)), ("ion", "ioff"), (1e-3, 0.0)
    closed, opened = values.get(on, default[0]), values.get(off, default[1])
    r_on, r_off = values.get("ron", 1.0), values.get("roff", 1e6)
    if closed == opened or r_on <= 0 or r_off <= 0:
        raise Untranslatable(f"the switch {name} is closed and open at once, or has a resistance of 0 or below")
    a, b = scope.ends(card)
    across = f"v({a})" if b == "0" else f"(-v({b}))" if a == "0" else f"(v({a})-v({b}))"
    text = switch_text(scope.formula(control), closed, opened, r_on, r_off, across)
    scope.shared.add(f"{scope.element('b', card.tokens[0])} {a} {b} i={text}")


def _coupling(scope: Scope, card: Card) -> None:
    first, second = (scope.element("l", word) for word in card.tokens[1:3])
    scope.shared.add(f"{scope.element('k', card.tokens[0])} {first} {second} {literal(scope.number(card.tokens[3]))}")


def _line(scope: Scope, card: Card) -> None:
    nodes = " ".join(scope.node(word) for word in card.tokens[1:5])
    _, pairs = scope.parts(card, 4)
    text = " ".join(f"{key}={literal(scope.number(value))}" for key, value in pairs.items() if key != "ic")
    scope.shared.add(f"{scope.element('t', card.tokens[0])} {nodes} {text}")


def _instance(scope: Scope, card: Card) -> None:
    words, assignments = instance_words(card)
    *nodes, name = words
    definition = scope.definition.subcircuit(name.lower())
    if len(nodes) != len(definition.ports):
        raise Untranslatable(f"{name} has {len(definition.ports)} ports, {len(nodes)} are connected")
    given = {}
    for word in assignments:
        key, _, text = word.partition("=")
        given[key.lower()] = scope.number(text)
    outer = scope
    while outer is not None and outer.definition is not definition.outer:
        outer = outer.outer
    if outer is None:
        raise Untranslatable(f"the subcircuit {name} stands inside another one, and belongs to it alone")
    path = f"{scope.path}{card.tokens[0]}_"
    inside = {port.lower(): scope.node(node) for port, node in zip(definition.ports, nodes, strict=True)}
    Scope(definition, outer, path, inside, scope.shared, given).write(_WRITERS)


_WRITERS = {
    **dict.fromkeys("rcl", _passive),
    **dict.fromkeys("egfh", _controlled),
    **dict.fromkeys("vi", _source),
    **dict.fromkeys("dqjmsw", _device),
    "b": _b_source,
    "k": _coupling,
    "t": _line,
    "x": _instance,
}
