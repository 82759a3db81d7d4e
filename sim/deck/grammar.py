"""What each card of a netlist may say: nodes, values, models and their parameters.

Three kinds of text: a circuit TEMPLATE (parts, devices, controlled sources), a whole DECK (options, starting values
and switches too), a vendor's MODEL (functions, tables, polynomials). Names of parameters are listed; what is not
listed is refused, so a misspelt parameter, which ngspice passes over in silence, is found here.

What could be spelt but must not be done is refused as well: the MOSFET levels of the BSIM family write a log of their
checks into the working folder, sources can read files, some functions draw random numbers or read the simulator's
own variables.
"""

import difflib
import re
from dataclasses import replace

from sim.deck.cards import (
    EQUALS,
    LETTER_OF_TYPE,
    Card,
    assignments_of,
    function_words,
    instance_words,
    model_words,
    plain_controls,
    split_words,
)
from sim.deck.expressions import (
    NAME,
    NODE,
    CardSet,
    Names,
    Refused,
    judge_expression,
    judge_number,
    judge_value,
    shown,
)

# ---------------------------------------------------------------------- what is allowed

_ELEMENT = re.compile(r"[A-Za-z][A-Za-z0-9_.+\-]*")
_MODEL_NAME = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_.+\-]*")
_VOLTAGE_SOURCE = re.compile(r"[vV][A-Za-z0-9_.+\-]*")
_WAVEFORMS = ("am", "exp", "pulse", "pwl", "sffm", "sin")
_TEMPERATURE = "temp dtemp tc1 tc2 tc"
_PARAMETERS = {
    letter: tuple(sorted(words.split()))
    for letter, words in {
        "r": f"r resistance noisy noise m ac {_TEMPERATURE}",
        "c": f"c capacitance ic m {_TEMPERATURE}",
        "l": f"l inductance ic m nt {_TEMPERATURE}",
        "d": f"area m pj ic {_TEMPERATURE}",
        "q": f"area areab areac m ic {_TEMPERATURE}",
        "j": f"area m ic {_TEMPERATURE}",
        "m": f"l w ad as pd ps nrd nrs m ic {_TEMPERATURE}",
        "t": "z0 td f nl ic",
        "s": "",
        "w": "",
    }.items()
}
_NODES = {"d": (2, 2), "q": (3, 4), "j": (3, 3), "m": (3, 4), "s": (4, 4), "w": (2, 2)}
_LEVELS = {"m": ("1", "2", "3"), "j": ("1", "2")}

_ELEMENTS = {
    CardSet.TEMPLATE: tuple("rclkegfhbxdqjmvit"),
    CardSet.DECK: tuple("rclkegfhbxdqjmvitsw"),
    CardSet.MODEL: tuple("rclkegfhbxdqjmvitsw"),
}
_DOTTED = {
    CardSet.TEMPLATE: (".subckt", ".ends", ".param", ".model"),
    CardSet.DECK: (".subckt", ".ends", ".param", ".model", ".options", ".option", ".ic", ".nodeset", ".temp"),
    CardSet.MODEL: (".subckt", ".ends", ".param", ".model", ".func"),
}
_OPTIONS = tuple(
    "abstol chgtol gmin gminsteps itl1 itl2 itl4 itl5 itl6 maxord pivrel pivtol reltol rshunt srcsteps temp tnom trtol "
    "vntol".split()
)
_INSTEAD = {
    ".include": "Put the text itself into the file.",
    ".inc": "Put the text itself into the file.",
    ".lib": "Put the models themselves into the file.",
    ".if": "Keep the branch that holds, without the condition.",
    "a": "Use R, C, L, controlled sources and B sources in place of code models.",
}


def keyword_fault(card: Card, allow: CardSet) -> tuple[str, str] | None:
    """Whether this kind of card is not allowed at all, as (found, remedy)."""
    dotted = card.keyword.startswith(".")
    known = (_DOTTED if dotted else _ELEMENTS)[allow]
    if card.keyword in known:
        return None
    what = f'"{shown(card.tokens[0])}"' if dotted else f"an element {card.keyword.upper()}…"
    instead = _INSTEAD.get(card.keyword, "Leave it out.")
    listed = " ".join(known) if dotted else " ".join(known).upper()
    return f"{what} is not allowed in {allow.value}.", f"{instead} Allowed: {listed}."


def card_fault(card: Card, names: Names) -> tuple[str, str] | None:
    """The first thing wrong with a card, as (found, remedy); None where nothing is."""
    fault = keyword_fault(card, names.allow)
    if fault:
        return fault
    try:
        _judge(card, names)
    except Refused as refused:
        return refused.fault
    return None


def _judge(card: Card, names: Names) -> None:
    if not card.keyword.startswith(".") and not _ELEMENT.fullmatch(card.tokens[0]):
        raise Refused(f'"{shown(card.tokens[0])}" is no name for an element.', "Write letters, digits, underscores.")
    _RULES[card.keyword](card, names)


# ---------------------------------------------------------------------- pieces of cards


def _node(word: str) -> None:
    if not NODE.fullmatch(word):
        raise Refused(f'"{shown(word)}" is no name for a node.', "Write letters, digits, underscores.")


def _first_nodes(card: Card, count: int) -> None:
    if len(card.tokens) < 1 + count or any("=" in word for word in card.tokens[1 : 1 + count]):
        raise Refused(f'"{shown(card.text)}" has too few nodes.', f"Write {count} nodes behind the name.")
    for word in card.tokens[1 : 1 + count]:
        _node(word)


def _split_assignment(word: str) -> tuple[str, str]:
    name, _, value = word.partition("=")
    if not NAME.fullmatch(name):
        raise Refused(f'"{shown(name)}" is no name for a parameter.', "Write letters, digits, underscores.")
    return name.lower(), value


def _parameters(card: Card, names: Names) -> None:
    """All words with "=" are parameters of this kind of element."""
    known = _PARAMETERS[card.keyword]
    for word in card.tokens[1:]:
        if "=" in word:
            name, value = _split_assignment(word)
            if name not in known:
                listed = f"Known: {', '.join(known)}." if known else "This element has none."
                raise Refused(f'the parameter "{name}" is not known here.', listed)
            # Two numbers may follow tc and ic.
            for piece in value.split(",") if name in ("tc", "ic") else [value]:
                judge_value(piece, names)


def _model_of(word: str, letter: str, names: Names) -> None:
    if names.models.get(word.lower()) != letter:
        near = difflib.get_close_matches(word.lower(), [m for m, kind in names.models.items() if kind == letter], n=1)
        hint = f" Nearest: {near[0]}." if near else ""
        raise Refused(
            f'there is no model "{shown(word)}" for an element {letter.upper()}….', f"Define it with .model.{hint}"
        )


# ---------------------------------------------------------------------- elements


def _passive(card: Card, names: Names) -> None:
    _first_nodes(card, 2)
    plain = [word for word in card.tokens[3:] if "=" not in word]
    if len(card.tokens) < 4 or len(plain) > 2:
        raise Refused(f'"{shown(card.text)}" is not understood.', "Write name, two nodes, value, model, parameters.")
    for word in plain:
        if NAME.fullmatch(word):
            _model_of(word, card.keyword, names)
        else:
            judge_value(word, names)
    _parameters(card, names)


def _device(card: Card, names: Names) -> None:
    """D, Q, J, M, S, W: nodes, model, then an area or a state, parameters."""
    least, most = _NODES[card.keyword]
    plain = [word for word in card.tokens[1:] if "=" not in word]
    if card.keyword == "w":
        if len(plain) < 4 or not _VOLTAGE_SOURCE.fullmatch(plain[2]):
            raise Refused(f'"{shown(card.text)}" is not understood.', "Write name, two nodes, V source, model.")
        del plain[2]
    places = [n for n in range(least, min(most + 1, len(plain))) if names.models.get(plain[n].lower()) == card.keyword]
    if not places:
        if len(plain) <= least:
            raise Refused(f'"{shown(card.text)}" has too few nodes.', f"Write {least} nodes and a model.")
        _model_of(plain[least], card.keyword, names)
    place = places[0] if places else least
    for word in plain[:place]:
        _node(word)
    for word in plain[place + 1 :]:
        if word.lower() not in ("off", "on") and not re.fullmatch(r"[\d.]+(?:[eE][+-]?\d+)?", word):
            raise Refused(f'"{shown(word)}" is not understood behind the model.', "Write an area, or off.")
    _parameters(card, names)


def _coupling(card: Card, names: Names) -> None:
    if len(card.tokens) != 4 or not all(word[0] in "lL" and _ELEMENT.fullmatch(word) for word in card.tokens[1:3]):
        raise Refused(f'"{shown(card.text)}" couples no two inductors.', "Write name, two L names, a factor.")
    judge_value(card.tokens[3], names)


def _controlled(card: Card, names: Names) -> None:
    """E, G, F, H: linear; VALUE, and outside templates POLY; in models TABLE."""
    _first_nodes(card, 2)
    by_voltage = card.keyword in "eg"
    rest = EQUALS.sub("=", card.text.split(None, 3)[3]) if len(card.text.split(None, 3)) > 3 else ""
    word = re.match(r"[A-Za-z]*(?=[\s=({]|$)", rest)
    word = word[0].lower() if word else ""
    if word in ("laplace", "freq"):
        raise Refused(f"{word.upper()} stops the simulator.", "Write it as stages of R, C and a controlled source.")
    if word in ("value", "vol", "cur") and by_voltage and re.match(r"\w+\s*[=({]", rest):
        body = rest[len(word) :].lstrip("= ")
        if body[:1] + body[-1:] not in ("{}", "()"):
            raise Refused(f'"{shown(body)}" is not in braces.', "Write VALUE={expression}.")
        judge_expression(body[1:-1], names, source=True)
    elif word in ("poly", "table") and names.allow is CardSet.TEMPLATE:
        raise Refused(f"{word.upper()} is not allowed in {names.allow.value}.", "Write a B source.")
    elif word == "poly":
        _polynomial(rest, by_voltage, names)
    elif word == "table" and by_voltage:
        _table(rest, names)
    else:
        count = 6 if by_voltage else 5
        if by_voltage and names.allow is CardSet.MODEL:
            card = replace(card, tokens=plain_controls(card.tokens))
        if len(card.tokens) != count:
            raise Refused(f'"{shown(card.text)}" is not understood.', f"Write {count} words, the gain last.")
        if by_voltage:
            _first_nodes(card, 4)
        elif not _VOLTAGE_SOURCE.fullmatch(card.tokens[3]):
            raise Refused(f'"{shown(card.tokens[3])}" is no voltage source.', "Name the V source that controls it.")
        judge_value(card.tokens[-1], names)


def _polynomial(rest: str, by_voltage: bool, names: Names) -> None:
    match = re.fullmatch(r"poly ?\( ?([1-9]) ?\)(.*)", rest, re.IGNORECASE)
    if match is None:
        raise Refused(f'"{shown(rest)}" is no polynomial.', "Write POLY(n), n from 1 to 9, controls, coefficients.")
    words = re.sub(r"[(),]", " ", match[2]).split()
    controls = int(match[1]) * (2 if by_voltage else 1)
    for word in words[:controls]:
        _node(word)
    if len(words) <= controls:
        raise Refused(f'"{shown(rest)}" has no coefficients.', f"Write them behind {controls} controls.")
    for word in words[controls:]:
        judge_value(word, names)


def _table(rest: str, names: Names) -> None:
    match = re.fullmatch(r"table ?=?\{([^{}]*)\} ?=?(.*)", rest, re.IGNORECASE)
    if match is None:
        raise Refused(f'"{shown(rest)}" is no table.', "Write TABLE {expression} = (x,y) (x,y).")
    judge_expression(match[1], names, source=True)
    words = re.sub(r"[(),]", " ", match[2]).split()
    if len(words) < 4 or len(words) % 2:
        raise Refused(f'"{shown(match[2].strip())}" is no list of pairs.', "Write (x,y) (x,y).")
    for word in words:
        judge_value(word, names)


def _behavioural(card: Card, names: Names) -> None:
    _first_nodes(card, 2)
    match = re.fullmatch(r"\S+ \S+ \S+ [vViI] ?=(?!=) ?(.+)", card.text)
    if match is None:
        raise Refused(f'"{shown(card.text)}" is no B source.', "Write name, two nodes, V=expression or I=expression.")
    body = match[1]
    if body.startswith("{") and body.find("}") == len(body) - 1:
        body = body[1:-1]
    judge_expression(body, names, source=True)


def _source(card: Card, names: Names) -> None:
    """V and I: DC, AC, one waveform of numbers."""
    _first_nodes(card, 2)
    # "sin(0 1)" and "sin (0 1)" are the same; so are "dc=5" and "dc 5".
    rest = re.sub(r"(?i)\b(dc|ac)=", r"\1 ", " ".join(card.tokens[3:]))
    for word in split_words(re.sub(r"(?<=[A-Za-z])\(", " (", rest)):
        if word.lower() in ("dc", "ac", *_WAVEFORMS):
            continue
        if "=" in word:
            raise Refused(f'"{shown(word)}" is not known to a source.', f"Known: dc, ac, {', '.join(_WAVEFORMS)}.")
        if NAME.fullmatch(word):
            raise Refused(f'"{shown(word)}" is no kind of source.', f"Known: dc, ac, {', '.join(_WAVEFORMS)}.")
        wrapped = word.startswith("(") and word.endswith(")")
        for piece in split_words(word[1:-1].replace(",", " ")) if wrapped else [word]:
            judge_value(piece, names)


def _line(card: Card, names: Names) -> None:
    _first_nodes(card, 4)
    for word in card.tokens[5:]:
        if "=" not in word:
            raise Refused(f'"{shown(word)}" is not understood.', "Write z0=… td=… behind four nodes.")
    _parameters(card, names)


def _instance(card: Card, names: Names) -> None:
    words, assignments = instance_words(card)
    if len(words) < 2:
        raise Refused(f'"{shown(card.text)}" names no subcircuit.', "Write name, nodes, subcircuit.")
    *nodes, name = words
    for node in nodes:
        _node(node)
    for word in assignments:
        _, value = _split_assignment(word)
        judge_value(value, names)
    known = names.subcircuits.get(name.lower())
    if known is None:
        # A template's op-amps and probes are the program's; its reader says what is wrong with others.
        if names.allow is CardSet.TEMPLATE and _MODEL_NAME.fullmatch(name):
            return
        near = difflib.get_close_matches(name.lower(), names.subcircuits, n=1, cutoff=0.5)
        hint = f" Nearest: {near[0]}." if near else ""
        raise Refused(f'there is no subcircuit "{shown(name)}".', f"Define it with .subckt.{hint}")
    ports, parameters = known
    if len(nodes) != ports:
        raise Refused(f"{name} has {ports} ports, {len(nodes)} are connected.", "Connect every port once.")
    for word in assignments:
        key, _ = _split_assignment(word)
        if key not in parameters:
            near = difflib.get_close_matches(key, sorted(parameters), n=1, cutoff=0.0)
            hint = f"Nearest: {near[0]}." if near else "It has none."
            raise Refused(f'{name} has no parameter "{key}".', hint)


# ---------------------------------------------------------------------- dotted cards


def _subckt(card: Card, names: Names) -> None:
    words, assignments = instance_words(card)
    if len(words) < 2:
        raise Refused(f'"{shown(card.text)}" has no ports.', "Write .subckt, name, ports.")
    if not _MODEL_NAME.fullmatch(words[0]):
        raise Refused(f'"{shown(words[0])}" is no name for a subcircuit.', "Write letters, digits, underscores.")
    for node in words[1:]:
        _node(node)
    if len({node.lower() for node in words[1:]}) < len(words) - 1:
        raise Refused(f'"{shown(card.text)}" names a port twice.', "Give each port its own name.")
    for word in assignments:
        judge_value(_split_assignment(word)[1], names)


def _ends(card: Card, names: Names) -> None:
    if len(card.tokens) > 2:
        raise Refused(f'"{shown(card.text)}" says too much.', "Write .ends and the subcircuit's name.")


def _param(card: Card, names: Names) -> None:
    assignments = assignments_of(card)
    if not assignments:
        raise Refused(f'"{shown(card.text)}" sets nothing.', "Write .param name=value.")
    for name, value in assignments:
        if not NAME.fullmatch(name):
            raise Refused(f'"{shown(name)}" is no name for a parameter.', "Write letters, digits, underscores.")
        if value.startswith("{") and value.endswith("}"):
            value = value[1:-1]
        judge_expression(value, names)


def _model(card: Card, names: Names) -> None:
    words = model_words(card)
    if words is None or not _MODEL_NAME.fullmatch(words[0]):
        raise Refused(f'"{shown(card.text)}" is no model.', "Write .model name type(parameter=value).")
    _, parent, kind, body = words
    letter = LETTER_OF_TYPE.get(kind)
    if letter is None or letter not in _ELEMENTS[names.allow]:
        known = ", ".join(k for k, of in LETTER_OF_TYPE.items() if of in _ELEMENTS[names.allow])
        raise Refused(f'the model type "{kind}" is not allowed in {names.allow.value}.', f"Allowed: {known}.")
    if parent is not None:
        if names.allow is not CardSet.MODEL:
            raise Refused(f"AKO is not allowed in {names.allow.value}.", "Write all parameters of the model.")
        _model_of(parent, letter, names)
    if body.startswith("("):
        if not body.endswith(")"):
            raise Refused(f'"(" is not closed in "{shown(card.text)}".', "Balance the parentheses.")
        body = body[1:-1]
    for word in split_words(body if "{" in body else body.replace(",", " ")):
        if "=" not in word:
            if kind.startswith("vdmos") and word.lower() in ("nchan", "pchan"):
                continue
            raise Refused(f'"{shown(word)}" is not understood in a model.', "Write parameter=value.")
        name, value = _split_assignment(word)
        judge_value(value, names)
        levels = _LEVELS.get(letter, ("1",))
        if name == "level" and value not in levels:
            raise Refused(
                f"level={shown(value)} of {kind} is not allowed.",
                f"Allowed: {', '.join(levels)}; other levels are not tried, or write files.",
            )


def _options(card: Card, names: Names) -> None:
    for word in card.tokens[1:]:
        name, _, value = word.partition("=")
        if word.lower() in ("noopiter", "method=trap", "method=gear"):
            continue
        if name.lower() not in _OPTIONS:
            raise Refused(f'the option "{shown(name)}" is not allowed.', f"Allowed: {', '.join(_OPTIONS)}.")
        judge_number(value)


def _starting_voltages(card: Card, names: Names) -> None:
    for word in card.tokens[1:]:
        match = re.fullmatch(r"[vV]\( ?([^\s()]+) ?\)=(\S+)", word)
        if match is None or not NODE.fullmatch(match[1]):
            raise Refused(f'"{shown(word)}" sets no voltage.', "Write v(node)=number.")
        judge_value(match[2], names)


def _temperature(card: Card, names: Names) -> None:
    if len(card.tokens) != 2:
        raise Refused(f'"{shown(card.text)}" is no temperature.', "Write .temp and one number.")
    judge_number(card.tokens[1])


def _function(card: Card, names: Names) -> None:
    words = function_words(card)
    if words is None or not all(NAME.fullmatch(argument) for argument in words[1]):
        raise Refused(f'"{shown(card.text)}" is no function.', "Write .func name(a,b) {expression}.")
    judge_expression(words[2], names, source=True, arguments=words[1])


_RULES = {
    **dict.fromkeys("rcl", _passive),
    **dict.fromkeys("dqjmsw", _device),
    **dict.fromkeys("egfh", _controlled),
    **dict.fromkeys("vi", _source),
    "k": _coupling,
    "b": _behavioural,
    "t": _line,
    "x": _instance,
    ".subckt": _subckt,
    ".ends": _ends,
    ".param": _param,
    ".model": _model,
    ".options": _options,
    ".option": _options,
    ".ic": _starting_voltages,
    ".nodeset": _starting_voltages,
    ".temp": _temperature,
    ".func": _function,
}
