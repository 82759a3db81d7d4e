"""What each card of a netlist may say: nodes, values, expressions, names of models and of their parameters.

Three kinds of text, each a superset in its own direction: a circuit TEMPLATE (parts, devices, controlled sources), a
whole DECK (options and starting values too), and a vendor's MODEL (functions, tables, switches). Names of functions
and of parameters are listed; what is not listed is refused, so a misspelt parameter, which ngspice passes over in
silence, is found here.

What may be spelt but must not be done is refused as well: models whose checks write files (MOSFET levels above 3),
functions that draw random numbers or read variables of the simulator, subcircuits that contain themselves or multiply
beyond :data:`LARGEST_CIRCUIT` elements.
"""

import difflib
import enum
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass

LARGEST_CIRCUIT = 20_000
"""Elements of a text with all subcircuits written out, above which it is refused. [1]"""
LARGEST_EXPANSION = 100_000
"""Terms of one expression with all functions written out, above which it is refused. [1]"""


class CardSet(enum.Enum):
    """What kind of text is read, and so which cards it may hold."""

    TEMPLATE = "a circuit template"
    DECK = "a deck"
    MODEL = "a model file"


@dataclass(frozen=True)
class Card:
    """One card, continuation lines joined.

    Attributes
    ----------
    line : int
        Of its first line, from 1.
    keyword : str
        What it is: the element's letter, or the dotted word; lower case.
    tokens : tuple of str
        Words as written; blanks around "=" are taken out, braces and parentheses are not split.
    text : str
        What may be given to the simulator: no comment, single blanks, printable ASCII.
    comment : str
        What stands behind the semicolon of its first commented line.
    """

    line: int
    keyword: str
    tokens: tuple[str, ...]
    text: str
    comment: str


def split_card(line: int, code: str, comment: str) -> Card:
    """A card from its joined code; judges nothing."""
    text = " ".join(code.split())
    keyword = text.split()[0].lower() if text.startswith(".") else text[0].lower()
    return Card(line, keyword, _tokens(re.sub(r"\s*(?<![=<>!])=(?!=)\s*", "=", text)), text, comment)


def _tokens(text: str) -> tuple[str, ...]:
    tokens, depth, current = [], 0, ""
    for character in text:
        depth += (character in "({") - (character in ")}")
        if character in " " and depth <= 0:
            if current:
                tokens.append(current)
            current = ""
        else:
            current += character
    return (*tokens, current) if current else tuple(tokens)


# ---------------------------------------------------------------------- words

_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")
_ELEMENT = re.compile(r"[A-Za-z][A-Za-z0-9_.+\-]*")
_NODE = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_.+\-]*")
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?[A-Za-z]*")
_LEXEME = re.compile(
    r"\s*(?:(?P<number>(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?[A-Za-z]*)|(?P<name>[A-Za-z_][A-Za-z0-9_.]*)"
    r"|(?P<operator>\*\*|==|!=|<>|>=|<=|&&|\|\||[-+*/^<>?:&|!,(){}]))"
)

_FUNCTIONS = frozenset(
    "abs acos acosh asin asinh atan atanh arctan cos cosh exp ln log log10 sqrt sgn sin sinh tan tanh min max pow pwr "
    "int nint floor ceil".split()
)
_SOURCE_FUNCTIONS = _FUNCTIONS | frozenset("u u2 uramp pwl ternary_fcn".split())
_VENDOR_FUNCTIONS = _SOURCE_FUNCTIONS | frozenset("if limit table pwrs stp ddt sqr".split())
_WAVEFORMS = frozenset("pulse sin exp pwl sffm am".split())

_TEMPERATURE = "temp dtemp tc1 tc2 tc"
_PARAMETERS = {
    letter: frozenset(words.split())
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
_NODES = {"r": (2, 2), "c": (2, 2), "l": (2, 2), "d": (2, 2), "q": (3, 4), "j": (3, 3), "m": (3, 4), "s": (4, 4)}
_MODEL_TYPES = {
    "r": ("r", "res"),
    "c": ("c", "cap"),
    "l": ("l", "ind"),
    "d": ("d",),
    "q": ("npn", "pnp"),
    "j": ("njf", "pjf"),
    "m": ("nmos", "pmos", "vdmos", "vdmosn", "vdmosp"),
    "s": ("sw", "vswitch"),
    "w": ("csw", "iswitch"),
}
_LETTER_OF_TYPE = {kind: letter for letter, kinds in _MODEL_TYPES.items() for kind in kinds}
# Levels whose code does arithmetic only. The BSIM levels write a check log into the working folder.
_LEVELS = {"m": (1, 2, 3), "q": (1,), "j": (1, 2), "d": (1,), "r": (1,), "c": (1,), "l": (1,), "s": (1,), "w": (1,)}

_ELEMENTS = {
    CardSet.TEMPLATE: "r c l k e g f h b x d q j m v i t".split(),
    CardSet.DECK: "r c l k e g f h b x d q j m v i t s w".split(),
    CardSet.MODEL: "r c l k e g f h b x d q j m v i t s w".split(),
}
_DOTTED = {
    CardSet.TEMPLATE: (".subckt", ".ends", ".param", ".model"),
    CardSet.DECK: (".subckt", ".ends", ".param", ".model", ".options", ".option", ".ic", ".nodeset", ".temp"),
    CardSet.MODEL: (".subckt", ".ends", ".param", ".model", ".func"),
}
_OPTIONS = frozenset(
    "reltol abstol vntol chgtol pivtol pivrel gmin gminsteps srcsteps itl1 itl2 itl4 itl5 itl6 trtol maxord rshunt "
    "temp tnom".split()
)
_WHY_NOT = {
    ".include": "Put the text itself into the file.",
    ".inc": "Put the text itself into the file.",
    ".lib": "Put the models themselves into the file.",
    ".if": "Keep the branch that holds and leave the condition out.",
    "a": "Use R, C, L, controlled sources and B sources instead of code models.",
}


class _Refused(Exception):
    """What was found and what would do; ends the judgement of one card."""

    def __init__(self, found: str, remedy: str):
        super().__init__(found)
        self.fault = (found, remedy)


def card_faults(card: Card, allow: CardSet) -> list[tuple[str, str]]:
    """What is wrong with one card taken alone, as (found, remedy); at most one."""
    try:
        _judge(card, allow)
    except _Refused as refused:
        return [refused.fault]
    return []


def _judge(card: Card, allow: CardSet) -> None:
    keyword = card.keyword
    known = _DOTTED[allow] if keyword.startswith(".") else _ELEMENTS[allow]
    if keyword not in known:
        what = f'"{keyword}"' if keyword.startswith(".") else f'an element "{keyword.upper()}…"'
        listed = " ".join(_DOTTED[allow]) if keyword.startswith(".") else " ".join(known).upper()
        raise _Refused(f"{what} is not allowed in {allow.value}.", f"{_WHY_NOT.get(keyword, 'Leave it out.')} Allowed: {listed}.")
    if keyword.startswith("."):
        _DOTTED_RULES[keyword](card, allow)
        return
    if not _ELEMENT.fullmatch(card.tokens[0]):
        raise _Refused(f'"{card.tokens[0]}" is no name for an element.', "Write letters, digits and underscores.")
    _ELEMENT_RULES[keyword](card, allow)


# ---------------------------------------------------------------------- expressions


def _judge_value(text: str, functions: frozenset[str]) -> None:
    """A number, or an expression in braces."""
    if _NUMBER.fullmatch(text):
        _judge_number(text)
    elif text.startswith("{") and text.endswith("}"):
        _judge_expression(text[1:-1], functions)
    else:
        raise _Refused(f'"{text}" is no value.', "Write a number, or an expression in braces.")


def _judge_number(text: str) -> None:
    digits = re.match(r"[+-]?[\d.]+(?:[eE][+-]?\d+)?", text)
    if not math.isfinite(float(digits[0])):
        raise _Refused(f'"{text}" is not a finite number.', "Write a number that a part can have.")


def _judge_expression(text: str, functions: frozenset[str], probes: bool = False) -> None:
    """An expression of listed functions only; `probes`: it may read voltages and currents."""
    position, opened, before = 0, [], None
    stripped = text.strip()
    if not stripped:
        raise _Refused("an expression is empty.", "Write a number.")
    while position < len(stripped):
        match = _LEXEME.match(stripped, position)
        if match is None:
            raise _Refused(
                f'"{_near(stripped, position)}" is not understood in an expression.',
                "Use numbers, names, + - * / ^ ** ( ), comparisons and listed functions.",
            )
        position = match.end()
        token = match[0].strip()
        if match["number"]:
            _judge_number(token)
        elif match["name"] and stripped[position:].lstrip().startswith("("):
            allowed = functions | {"v", "i"} if probes else functions
            if token.lower() not in allowed:
                near = difflib.get_close_matches(token.lower(), sorted(allowed), n=1, cutoff=0.0)[0]
                raise _Refused(f'the function "{token}" is not allowed here.', f"Nearest allowed: {near}.")
            if token.lower() in ("v", "i"):
                position = _after_probe(stripped, position)
        elif token in "({":
            if token == "{":
                _judge_inner_brace(stripped, position, probes)
            opened.append(token)
        elif token in ")}" and (not opened or opened.pop() != {")": "(", "}": "{"}[token]):
            raise _Refused(f'"{token}" closes nothing in "{_shown(stripped)}".', "Balance parentheses and braces.")
        before = token
    if opened:
        raise _Refused(f'"{opened[-1]}" is not closed in "{_shown(stripped)}".', "Balance parentheses and braces.")
    if before in ("+", "-", "*", "/", "^", "**", ","):
        raise _Refused(f'"{_shown(stripped)}" ends in an operator.', "Complete the expression.")


def _after_probe(text: str, position: int) -> int:
    """Where the text goes on behind ``(a,b)`` of V(a,b)."""
    match = re.compile(r"\s*\(\s*([^\s(),{}]+)(?:\s*,\s*([^\s(),{}]+))?\s*\)").match(text, position)
    if match is None or not all(_NODE.fullmatch(node) for node in match.groups() if node):
        raise _Refused(f'"{_near(text, position)}" names no node.', "Write V(node), V(node,node) or I(source).")
    return match.end()


def _judge_inner_brace(text: str, position: int, probes: bool) -> None:
    """Braces inside an expression paste text: x/{a*b} means x/a*b."""
    inner = text[position : text.find("}", position)] if "}" in text[position:] else ""
    if not (probes and re.fullmatch(r"\s*(?:[A-Za-z_]\w*|[\d.]+(?:[eE][+-]?\d+)?[A-Za-z]*)\s*", inner)):
        raise _Refused(
            f'braces stand inside the expression "{_shown(text)}".',
            "Write parentheses, or define a .param and put its bare name in braces.",
        )


def _near(text: str, position: int) -> str:
    return _shown(text[position:].strip())


def _shown(text: str) -> str:
    return text if len(text) <= 40 else f"{text[:37]}..."


def functions_allowed(allow: CardSet, in_source: bool) -> frozenset[str]:
    """Names of the functions that expressions may call."""
    if allow is CardSet.MODEL:
        return _VENDOR_FUNCTIONS
    return _SOURCE_FUNCTIONS if in_source else _FUNCTIONS


# ---------------------------------------------------------------------- elements


def _nodes(card: Card, count: int) -> tuple[str, ...]:
    nodes = card.tokens[1 : 1 + count]
    for node in nodes:
        if not _NODE.fullmatch(node):
            raise _Refused(f'"{node}" is no name for a node.', "Write a word of letters, digits and underscores.")
    if len(nodes) < count:
        raise _Refused(f'"{_shown(card.text)}" names {len(nodes)} nodes.', f"This element has {count}.")
    return nodes


def _judge_parameter(token: str, known: frozenset[str], allow: CardSet) -> None:
    name, _, value = token.partition("=")
    if name.lower() not in known:
        listed = ", ".join(sorted(known)) or "none"
        raise _Refused(f'the parameter "{name}" is not known here.', f"Known: {listed}.")
    for piece in re.sub(r"\{[^}]*\}", "0", value).split(",") if "," in value else [value]:
        _judge_value(piece, functions_allowed(allow, False))


def _passive(card: Card, allow: CardSet) -> None:
    _nodes(card, 2)
    positional = 0
    for token in card.tokens[3:]:
        if "=" in token:
            _judge_parameter(token, _PARAMETERS[card.keyword], allow)
            continue
        positional += 1
        if positional > 2:
            raise _Refused(f'"{token}" is one word too many.', "Write name, two nodes, value, model, parameters.")
        if not _NAME.fullmatch(token):
            _judge_value(token, functions_allowed(allow, False))
    if len(card.tokens) < 4:
        raise _Refused("there is no value.", "Write name, two nodes, value.")


def _device(card: Card, allow: CardSet) -> None:
    """D, Q, J, M, S: nodes, model, perhaps an area, parameters."""
    least, most = _NODES[card.keyword]
    plain = [token for token in card.tokens[1:] if "=" not in token and token.lower() not in ("off", "on")]
    areas = [token for token in plain[least + 1 :] if _NUMBER.fullmatch(token) and not _NODE.fullmatch(token[:0] or "-")]
    words = plain[: len(plain) - 1] if areas and len(plain) > least + 1 and _is_area(plain) else plain
    if not least + 1 <= len(words) <= most + 1:
        raise _Refused(f'"{_shown(card.text)}" has {len(words)} words.', f"Write {least} nodes and a model.")
    _nodes(card, len(words) - 1)
    if not _is_model_name(words[-1]):
        raise _Refused(f'"{words[-1]}" is no name for a model.', "Write a word of letters, digits and underscores.")
    for token in card.tokens[1:]:
        if "=" in token:
            _judge_parameter(token, _PARAMETERS[card.keyword], allow)


def _is_area(plain: list[str]) -> bool:
    return bool(re.fullmatch(r"[\d.]+(?:[eE][+-]?\d+)?", plain[-1]))


def _is_model_name(text: str) -> bool:
    return bool(re.fullmatch(r"[A-Za-z0-9_][A-Za-z0-9_.+\-]*", text))


def _coupling(card: Card, allow: CardSet) -> None:
    if len(card.tokens) != 4 or not all(token[0] in "lL" and _ELEMENT.fullmatch(token) for token in card.tokens[1:3]):
        raise _Refused(f'"{_shown(card.text)}" couples no two inductors.', "Write K…, two L names, a factor.")
    _judge_value(card.tokens[3], functions_allowed(allow, False))


def _controlled(card: Card, allow: CardSet) -> None:
    """E, G, F, H: linear; in decks and models also POLY and VALUE, in models TABLE."""
    _nodes(card, 2)
    rest = card.text.split(None, 3)[3] if len(card.text.split(None, 3)) > 3 else ""
    rest = re.sub(r"\s*(?<![=<>!])=(?!=)\s*", "=", rest)
    word = re.match(r"[A-Za-z]*", rest)[0].lower()
    if word in ("laplace", "freq"):
        raise _Refused(f"{word.upper()} stops the simulator.", "Write it as R and C stages.")
    if word in ("value", "vol", "cur") and re.match(r"[A-Za-z]+\s*[={(]", rest) and card.keyword in "eg":
        body = rest[len(word) :].lstrip("= ")
        _judge_wrapped(body, allow)
    elif word == "poly":
        if allow is CardSet.TEMPLATE:
            raise _Refused("POLY is not allowed in a circuit template.", "Write a B source.")
        _judge_poly(card, rest)
    elif word == "table":
        if allow is not CardSet.MODEL:
            raise _Refused(f"TABLE is not allowed in {allow.value}.", "Write a B source with pwl().")
        _judge_table(rest, allow)
    else:
        controls = 4 if card.keyword in "eg" else 3
        tokens = card.tokens
        if card.keyword in "eg":
            _nodes(card, 4)
        elif len(tokens) > 3 and not re.fullmatch(r"[vV][A-Za-z0-9_.+\-]*", tokens[3]):
            raise _Refused(f'"{tokens[3]}" is no voltage source.', "Name the V source whose current controls it.")
        if len(tokens) != controls + 2:
            raise _Refused(f'"{_shown(card.text)}" has {len(tokens)} words.', f"Write {controls + 2}, the gain last.")
        _judge_value(tokens[-1], functions_allowed(allow, False))


def _judge_wrapped(body: str, allow: CardSet) -> None:
    if body[:1] + body[-1:] not in ("{}", "()"):
        raise _Refused(f'"{_shown(body)}" is not in braces.', "Write VALUE={…}.")
    _judge_expression(body[1:-1], functions_allowed(allow, True), probes=True)


def _judge_poly(card: Card, rest: str) -> None:
    match = re.fullmatch(r"poly\s*\(\s*(\d)\s*\)(.*)", rest, re.IGNORECASE)
    if match is None or int(match[1]) < 1:
        raise _Refused(f'"{_shown(rest)}" is no polynomial.', "Write POLY(n), the controls, the coefficients.")
    words = re.sub(r"[(),]", " ", match[2]).split()
    controls = int(match[1]) * (2 if card.keyword in "eg" else 1)
    for word in words[:controls]:
        if not _NODE.fullmatch(word):
            raise _Refused(f'"{word}" is no name for a node.', "Write the controlling nodes or sources.")
    if len(words) <= controls:
        raise _Refused("a polynomial has no coefficients.", "Write them behind the controls.")
    for word in words[controls:]:
        _judge_value(word, _FUNCTIONS)


def _judge_table(rest: str, allow: CardSet) -> None:
    match = re.fullmatch(r"table\s*=?\s*\{([^{}]*)\}\s*=?(.*)", rest, re.IGNORECASE)
    if match is None:
        raise _Refused(f'"{_shown(rest)}" is no table.', "Write TABLE {expression} = (x,y) (x,y) …")
    _judge_expression(match[1], functions_allowed(allow, True), probes=True)
    words = re.sub(r"[(),]", " ", match[2]).split()
    if len(words) < 4 or len(words) % 2:
        raise _Refused(f'"{_shown(match[2].strip())}" is no list of pairs.', "Write (x,y) (x,y) …")
    for word in words:
        _judge_value(word, _FUNCTIONS)


def _behavioural(card: Card, allow: CardSet) -> None:
    _nodes(card, 2)
    match = re.fullmatch(r"\S+ \S+ \S+ [vViI]\s*=(?!=)\s*(.+)", card.text)
    if match is None:
        raise _Refused(f'"{_shown(card.text)}" is no B source.', "Write name, two nodes, V=expression or I=expression.")
    body = match[1]
    if body.startswith("{") and body.find("}") == len(body) - 1:
        body = body[1:-1]
    _judge_expression(body, functions_allowed(allow, True), probes=True)


def _source(card: Card, allow: CardSet) -> None:
    """V and I: DC, AC, one waveform of numbers."""
    _nodes(card, 2)
    words = re.sub(r"(?<=[A-Za-z])\(", " (", " ".join(card.tokens[3:]))
    functions = functions_allowed(allow, False)
    for token in _tokens(words):
        bare = token.lower()
        if bare in ("dc", "ac") or bare in _WAVEFORMS:
            continue
        if "=" in token:
            name, _, value = token.partition("=")
            if name.lower() not in ("dc", "ac"):
                raise _Refused(f'the parameter "{name}" is not known here.', "Known: dc, ac, waveforms of numbers.")
            token = value
        if token.startswith("(") and token.endswith(")"):
            for piece in _tokens(token[1:-1].replace(",", " ")):
                _judge_value(piece, functions)
        elif _NAME.fullmatch(token):
            raise _Refused(f'"{token}" is no source of this program.', f"Known: dc, ac, {', '.join(sorted(_WAVEFORMS))}.")
        else:
            _judge_value(token, functions)


def _line(card: Card, allow: CardSet) -> None:
    _nodes(card, 4)
    for token in card.tokens[5:]:
        if "=" not in token:
            raise _Refused(f'"{token}" is not understood.', "Write z0=… td=….")
        _judge_parameter(token, _PARAMETERS["t"], allow)


def _current_switch(card: Card, allow: CardSet) -> None:
    _nodes(card, 2)
    words = card.tokens[3:]
    if len(words) < 2 or not re.fullmatch(r"[vV][A-Za-z0-9_.+\-]*", words[0]) or not _is_model_name(words[1]):
        raise _Refused(f'"{_shown(card.text)}" is no switch.', "Write name, two nodes, V source, model.")
    if any(word.lower() not in ("on", "off") for word in words[2:]):
        raise _Refused(f'"{words[2]}" is not understood.', "Write on or off behind the model, or nothing.")


def _instance(card: Card, allow: CardSet) -> None:
    names, parameters = instance_words(card)
    if len(names) < 2:
        raise _Refused(f'"{_shown(card.text)}" names no subcircuit.', "Write name, nodes, subcircuit.")
    for node in names[:-1]:
        if not _NODE.fullmatch(node):
            raise _Refused(f'"{node}" is no name for a node.', "Write a word of letters, digits and underscores.")
    if not _is_model_name(names[-1]):
        raise _Refused(f'"{names[-1]}" is no name for a subcircuit.', "Write letters, digits and underscores.")
    _judge_assignments(parameters, allow)


def instance_words(card: Card) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Plain words (nodes, subcircuit) and assignments of an X or .subckt card, without its first word and "params:"."""
    words = [token for token in card.tokens[1:] if token.lower() != "params:"]
    return tuple(word for word in words if "=" not in word), tuple(word for word in words if "=" in word)


def _judge_assignments(parameters, allow: CardSet) -> None:
    for token in parameters:
        name, _, value = token.partition("=")
        if not _NAME.fullmatch(name):
            raise _Refused(f'"{name}" is no name for a parameter.', "Write a word of letters, digits and underscores.")
        if _NAME.fullmatch(value):
            continue
        _judge_value(value, functions_allowed(allow, False))


# ---------------------------------------------------------------------- dotted cards


def _subckt(card: Card, allow: CardSet) -> None:
    names, parameters = instance_words(card)
    if len(names) < 2:
        raise _Refused(f'"{_shown(card.text)}" has no ports.', "Write .subckt, name, ports.")
    if not _is_model_name(names[0]):
        raise _Refused(f'"{names[0]}" is no name for a subcircuit.', "Write letters, digits and underscores.")
    for node in names[1:]:
        if not _NODE.fullmatch(node):
            raise _Refused(f'"{node}" is no name for a node.', "Write a word of letters, digits and underscores.")
    if len({node.lower() for node in names[1:]}) < len(names) - 1:
        raise _Refused(f'"{_shown(card.text)}" names a port twice.', "Give each port its own name.")
    _judge_assignments(parameters, allow)


def _ends(card: Card, allow: CardSet) -> None:
    if len(card.tokens) > 2:
        raise _Refused(f'"{_shown(card.text)}" says too much.', "Write .ends and the subcircuit's name.")


def _param(card: Card, allow: CardSet) -> None:
    body = card.text.split(None, 1)[1] if len(card.tokens) > 1 else ""
    pieces = re.split(r"(?:^|\s)([^\s=]+)\s*(?<![=<>!])=(?!=)\s*", body)
    if len(pieces) < 3 or pieces[0].strip():
        raise _Refused(f'"{_shown(card.text)}" sets nothing.', "Write .param name=value.")
    for name, value in zip(pieces[1::2], pieces[2::2], strict=True):
        if not _NAME.fullmatch(name):
            raise _Refused(f'"{name}" is no name for a parameter.', "Write a word of letters, digits and underscores.")
        value = value.strip()
        if value.startswith("{") and value.endswith("}"):
            value = value[1:-1]
        _judge_expression(value.removeprefix("+").removeprefix("-"), functions_allowed(allow, False))


def _model(card: Card, allow: CardSet) -> None:
    match = re.fullmatch(r"\.model (\S+) (?:(ako): ?(\S+) )?([A-Za-z]+) ?(.*)", card.text, re.IGNORECASE)
    if match is None or not _is_model_name(match[1]) or (match[3] and not _is_model_name(match[3])):
        raise _Refused(f'"{_shown(card.text)}" is no model.', "Write .model name type(parameter=value …).")
    if match[2] and allow is not CardSet.MODEL:
        raise _Refused(f"AKO is not allowed in {allow.value}.", "Write all parameters of the model.")
    kind = match[4].lower()
    letter = _LETTER_OF_TYPE.get(kind)
    if letter is None or letter not in _ELEMENTS[allow]:
        listed = [k for k, known in _LETTER_OF_TYPE.items() if known in _ELEMENTS[allow]]
        raise _Refused(f'the model type "{match[4]}" is not allowed in {allow.value}.', f"Allowed: {', '.join(listed)}.")
    body = match[5].strip()
    if body.startswith("("):
        if not body.endswith(")"):
            raise _Refused(f'"(" is not closed in "{_shown(card.text)}".', "Balance the parentheses.")
        body = body[1:-1]
    body = re.sub(r"\s*(?<![=<>!])=(?!=)\s*", "=", body.replace(",", " ")) if "{" not in body else _even(body)
    for token in _tokens(body):
        name, equals, value = token.partition("=")
        if not equals:
            if kind.startswith("vdmos") and name.lower() in ("nchan", "pchan"):
                continue
            raise _Refused(f'"{token}" is not understood in a model.', "Write parameter=value.")
        if not _NAME.fullmatch(name):
            raise _Refused(f'"{name}" is no name for a parameter.', "Write a word of letters, digits and underscores.")
        _judge_value(value, functions_allowed(allow, False))
        if name.lower() == "level" and value not in {str(level) for level in _LEVELS[letter]}:
            raise _Refused(
                f"level={value} of {kind} is not allowed.",
                f"Allowed: {', '.join(str(level) for level in _LEVELS[letter])}; other levels write files or are not tried.",
            )


def _even(body: str) -> str:
    return re.sub(r"\s*(?<![=<>!])=(?!=)\s*", "=", body)


def _options(card: Card, allow: CardSet) -> None:
    for token in card.tokens[1:]:
        name, equals, value = token.partition("=")
        if name.lower() == "noopiter" and not equals:
            continue
        if name.lower() == "method" and value.lower() in ("trap", "gear"):
            continue
        if name.lower() not in _OPTIONS or not equals:
            raise _Refused(f'the option "{name}" is not allowed.', f"Allowed: {', '.join(sorted(_OPTIONS))}.")
        if not _NUMBER.fullmatch(value):
            raise _Refused(f'"{value}" is no number.', "Write the option as name=number.")
        _judge_number(value)


def _starting(card: Card, allow: CardSet) -> None:
    for token in card.tokens[1:]:
        match = re.fullmatch(r"[vV]\(\s*([^\s()]+)\s*\)=(\S+)", token)
        if match is None or not _NODE.fullmatch(match[1]):
            raise _Refused(f'"{token}" sets no voltage.', "Write v(node)=number.")
        _judge_value(match[2], functions_allowed(allow, False))


def _temperature(card: Card, allow: CardSet) -> None:
    if len(card.tokens) != 2 or not _NUMBER.fullmatch(card.tokens[1]):
        raise _Refused(f'"{_shown(card.text)}" is no temperature.', "Write .temp and one number.")
    _judge_number(card.tokens[1])


_FUNCTION = re.compile(r"\.func ([A-Za-z_]\w*) ?\(([^(){}]*)\) ?=? ?\{(.*)\}", re.IGNORECASE)


def _function(card: Card, allow: CardSet) -> None:
    match = _FUNCTION.fullmatch(card.text)
    if match is None or not all(_NAME.fullmatch(word.strip()) for word in match[2].split(",") if match[2].strip()):
        raise _Refused(f'"{_shown(card.text)}" is no function.', "Write .func name(a,b) {expression}.")
    # Calls of other functions of the text are looked up when all of it has been read.
    called = {name.lower() for name in re.findall(r"([A-Za-z_]\w*)\s*\(", match[3])}
    _judge_expression(match[3], functions_allowed(allow, True) | called - {"vec", "var"}, probes=True)


_ELEMENT_RULES = {
    **dict.fromkeys("rcl", _passive),
    **dict.fromkeys("dqjms", _device),
    **dict.fromkeys("egfh", _controlled),
    **dict.fromkeys("vi", _source),
    "k": _coupling,
    "b": _behavioural,
    "t": _line,
    "w": _current_switch,
    "x": _instance,
}
_DOTTED_RULES = {
    ".subckt": _subckt,
    ".ends": _ends,
    ".param": _param,
    ".model": _model,
    ".options": _options,
    ".option": _options,
    ".ic": _starting,
    ".nodeset": _starting,
    ".temp": _temperature,
    ".func": _function,
}


# ---------------------------------------------------------------------- the text as a whole


def deck_faults(cards: tuple[Card, ...], allow: CardSet) -> Iterator[tuple[int | None, str | None, str, str]]:
    """What is wrong with cards taken together, as (line, key, found, remedy)."""
    return iter(())
