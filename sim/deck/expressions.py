"""Expressions of a netlist: which functions they may call, which names they may use, how large they become.

ngspice pastes: a function of ``.func`` is replaced by its body, braces by the text of their value. So a function that
calls itself ends the simulator, a chain of functions that each use their argument twice fills the memory, and
``x/{a*b}`` in a B source is x/a·b. All three are refused here.
"""

import difflib
import enum
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field

LARGEST_EXPANSION = 20_000
"""Terms of an expression with all functions pasted in, above which it is refused. [1]"""
DEEPEST = 40
"""Deepest nesting of parentheses; the simulator's own reader fails at some hundreds."""

NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")
NODE = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_.+\-]*")
NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?[A-Za-z]*")
_LEXEME = re.compile(
    r"\s*(?:(?P<number>(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?[A-Za-z]*)|(?P<name>[A-Za-z_][A-Za-z0-9_]*)"
    r"|(?P<operator>\*\*|==|!=|<>|>=|<=|&&|\|\||[-+*/^<>?:&|!,(){}]))"
)
_PROBE = re.compile(r"\s*\(\s*([^\s(),{}]+)(?:\s*,\s*([^\s(),{}]+))?\s*\)")

_PARAMETER_FUNCTIONS = frozenset(
    "abs acos acosh asin asinh atan atanh arctan cos cosh exp ln log log10 sqrt sgn sin sinh tan tanh min max pow pwr "
    "int nint floor ceil".split()
)
_SOURCE_FUNCTIONS = _PARAMETER_FUNCTIONS | frozenset("u u2 uramp pwl ternary_fcn".split())
_VENDOR_FUNCTIONS = _SOURCE_FUNCTIONS | frozenset("if limit table pwrs stp ddt sqr".split())
_SOURCE_NAMES = frozenset("time temper hertz pi".split())
_VENDOR_NAMES = _SOURCE_NAMES | frozenset("temp gmin".split())


class Refused(Exception):
    """What was found and what would do; ends the judgement of one card.

    Attributes
    ----------
    fault : tuple of two str
        (found, remedy).
    """

    def __init__(self, found: str, remedy: str):
        super().__init__(found)
        self.fault = (found, remedy)


class CardSet(enum.Enum):
    """What kind of text is read, and so which cards it may hold."""

    TEMPLATE = "a circuit template"
    DECK = "a deck"
    MODEL = "a model file"


@dataclass(frozen=True)
class Function:
    """A function of ``.func``.

    Attributes
    ----------
    arguments : tuple of str
        Lower case.
    terms : int
        Terms of its body that are none of its arguments, all functions pasted in.
    uses : tuple of int
        How often each argument comes up in its body, all functions pasted in.
    """

    arguments: tuple[str, ...]
    terms: int
    uses: tuple[int, ...]


@dataclass(frozen=True)
class Names:
    """What a card may refer to.

    Attributes
    ----------
    allow : CardSet
    parameters : frozenset of str
        Of ``.param`` and of subcircuits around the card.
    functions : mapping of str to Function
        The text's own.
    models : mapping of str to str
        Letter of the elements that each model is for.
    subcircuits : mapping of str to (int, frozenset of str)
        Number of ports, and names of parameters.
    """

    allow: CardSet
    parameters: frozenset[str] = frozenset()
    functions: Mapping[str, Function] = field(default_factory=dict)
    models: Mapping[str, str] = field(default_factory=dict)
    subcircuits: Mapping[str, tuple[int, frozenset[str]]] = field(default_factory=dict)


def shown(text: str) -> str:
    """The text, shortened for a message."""
    return text if len(text) <= 40 else f"{text[:37]}..."


def judge_number(text: str) -> None:
    """Refuse what is not a finite number with an optional suffix."""
    if not NUMBER.fullmatch(text):
        raise Refused(f'"{shown(text)}" is no number.', "Write a number.")
    if not math.isfinite(float(re.match(r"[+-]?[\d.]+(?:[eE][+-]?\d+)?", text)[0])):
        raise Refused(f'"{shown(text)}" is not a finite number.', "Write a number that a part can have.")


def judge_value(text: str, names: Names) -> None:
    """Refuse what is neither a number nor an expression of parameters in braces."""
    if NUMBER.fullmatch(text):
        judge_number(text)
    elif text.startswith("{") and text.endswith("}"):
        judge_expression(text[1:-1], names)
    else:
        raise Refused(f'"{shown(text)}" is no value.', "Write a number, or an expression in braces.")


def judge_expression(text: str, names: Names, source: bool = False, arguments: tuple[str, ...] = ()) -> None:
    """Refuse an expression that holds anything but numbers, known names, operators and listed functions.

    Parameters
    ----------
    text : str
        Without the outer braces.
    names : Names
    source : bool
        It belongs to a controlled source: it may read voltages, currents, time, temperature and frequency.
    arguments : tuple of str
        Arguments of the function whose body it is.
    """
    position, opened, operand = 0, [], False
    text = text.strip()
    # One set for each origin: a union would be built anew for every card.
    known = (names.parameters, frozenset(arguments), _known_names(names.allow, source))
    while position < len(text):
        match = _LEXEME.match(text, position)
        if match is None:
            raise Refused(
                f'"{shown(text[position:].strip())}" is not understood in an expression.',
                "Use numbers, names, + - * / ^ ** ( ), comparisons and listed functions.",
            )
        token, position = match[0].strip(), match.end()
        called = match["name"] and text[position:].lstrip().startswith("(")
        if (match["number"] or match["name"] or token in "({") and operand:
            raise Refused(f'an operator is missing before "{shown(token)}".', "Complete the expression.")
        if match["number"]:
            judge_number(token)
            operand = True
        elif called:
            _judge_call(token, names, source)
            if token.lower() in ("v", "i"):
                position, operand = _after_probe(text, position), True
        elif match["name"]:
            if not any(token.lower() in some for some in known):
                near = difflib.get_close_matches(token.lower(), _few(frozenset().union(*known)), n=1, cutoff=0.6)
                hint = f" Nearest: {near[0]}." if near else ""
                raise Refused(f'the parameter "{token}" is defined nowhere.', f"Define it with .param.{hint}")
            operand = True
        elif token in "({":
            if token == "{":
                _judge_inner_brace(text, match.end() - 1, source)
            opened.append(token)
            if len(opened) > DEEPEST:
                raise Refused(f"more than {DEEPEST} parentheses are open.", "Divide the expression.")
        elif token in ")}":
            if not opened or opened.pop() != {")": "(", "}": "{"}[token] or not operand:
                raise Refused(f'"{token}" closes nothing in "{shown(text)}".', "Balance parentheses and braces.")
        elif operand or token in ("+", "-", "!"):
            operand = False
        else:
            raise Refused(f'nothing stands before "{token}" in "{shown(text)}".', "Complete the expression.")
    if opened:
        raise Refused(f'"{opened[-1]}" is not closed in "{shown(text)}".', "Balance parentheses and braces.")
    if not operand:
        raise Refused(f'the expression "{shown(text)}" is not complete.', "Complete it.")
    terms, uses = weigh(text.lower(), names.functions)
    if terms + sum(uses.values()) > LARGEST_EXPANSION:
        raise Refused(
            f'"{shown(text)}" has more than {LARGEST_EXPANSION} terms when its functions are written out.',
            "Use a subcircuit or a .param for what is used again.",
        )


def _few(names: frozenset[str]) -> list[str]:
    """Names in order; none where comparing them all would take long."""
    return sorted(names) if len(names) <= 1000 else []


def _known_names(allow: CardSet, source: bool) -> frozenset[str]:
    if allow is CardSet.MODEL:
        return _VENDOR_NAMES
    return _SOURCE_NAMES if source else frozenset()


def _judge_call(token: str, names: Names, source: bool) -> None:
    if names.allow is CardSet.MODEL:
        allowed = _VENDOR_FUNCTIONS | frozenset(names.functions)
    else:
        allowed = _SOURCE_FUNCTIONS if source else _PARAMETER_FUNCTIONS
    if source:
        allowed |= {"v", "i"}
    if token.lower() not in allowed:
        near = difflib.get_close_matches(token.lower(), sorted(allowed), n=1, cutoff=0.0)[0]
        raise Refused(f'the function "{token}" is not allowed here.', f"Nearest allowed: {near}.")


def _after_probe(text: str, position: int) -> int:
    """Where the text goes on behind the (a,b) of V(a,b)."""
    match = _PROBE.match(text, position)
    if match is None or not all(NODE.fullmatch(node) for node in match.groups() if node):
        raise Refused(f'"{shown(text[position:].strip())}" names no node.', "Write V(node), V(node,node) or I(source).")
    return match.end()


def _judge_inner_brace(text: str, position: int, source: bool) -> None:
    end = text.find("}", position)
    inner = text[position + 1 : end].strip() if end >= 0 else ""
    if not (source and (NAME.fullmatch(inner) or NUMBER.fullmatch(inner))):
        raise Refused(
            f'braces stand inside the expression "{shown(text)}".',
            "Write parentheses, or define a .param and put its bare name in braces.",
        )


# ---------------------------------------------------------------------- size


def called_names(text: str) -> set[str]:
    """Names in an expression that are followed by a parenthesis, lower case."""
    return set(re.findall(r"([a-z_][a-z0-9_]*)\s*\(", text.lower()))


def deepest(text: str) -> int:
    """How many parentheses and braces are open at once at most."""
    depth = most = 0
    for character in text:
        depth += (character in "({") - (character in ")}")
        most = max(most, depth)
    return most


def weigh(text: str, functions: Mapping[str, Function]) -> tuple[int, dict[str, int]]:
    """Terms of an expression with functions pasted in: those that are no names, and how often each name comes up.

    Parameters
    ----------
    text : str
        Lower case, not nested deeper than :data:`DEEPEST`.
    functions : mapping of str to Function
        At least all that it calls, so none of them can call itself.
    """
    terms, uses, position = 0, {}, 0
    while (match := _LEXEME.match(text, position)) is not None:
        position = match.end()
        name = match["name"]
        if name is None:
            terms += 1
        elif name in functions and text[position:].lstrip().startswith("("):
            function = functions[name]
            pieces, position = _arguments(text, position)
            terms += function.terms
            for piece, count in zip(pieces, function.uses, strict=False):
                inner_terms, inner_uses = weigh(piece, functions)
                terms += count * inner_terms
                for other, times in inner_uses.items():
                    uses[other] = uses.get(other, 0) + count * times
        else:
            uses[name] = uses.get(name, 0) + 1
    return terms, uses


def _arguments(text: str, position: int) -> tuple[list[str], int]:
    """Arguments of a call whose parenthesis opens at or behind the position, and where the text goes on."""
    depth, start = 0, position
    pieces: list[str] = []
    for index in range(position, len(text)):
        character = text[index]
        depth += (character == "(") - (character == ")")
        if character == "(" and depth == 1:
            start = index + 1
        elif (character == "," and depth == 1) or (character == ")" and depth == 0):
            pieces.append(text[start:index])
            start = index + 1
            if depth == 0:
                return pieces, index + 1
    return [*pieces, text[start:]], len(text)
