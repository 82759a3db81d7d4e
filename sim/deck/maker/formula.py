"""Formulas of a maker's model: read into a tree, numbers worked out, what remains written for a B source.

What is written is made of the tree, not of the text: names of nodes and sources are the program's, numbers are
written out, functions are those that ngspice 39 has without any compatibility mode. Measured there: ``^`` and ``pow``
take the magnitude of their base, ``pwr`` keeps its sign, ``pwl`` goes on beyond its ends; so powers are written by
whether their exponent is even or odd, and tables are clamped.
"""

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from sim.errors import shown

ZERO_CELSIUS = 273.15
LARGEST_FORMULA = 20_000
"""Longest formula that is written. [characters]"""
MOST_STEPS = 300_000
"""Pieces of formulas that are worked out for one model; an op-amp has some hundreds."""

_SUFFIX = {"t": 1e12, "g": 1e9, "meg": 1e6, "k": 1e3, "mil": 25.4e-6, "m": 1e-3}
_SUFFIX |= {"u": 1e-6, "n": 1e-9, "p": 1e-12, "f": 1e-15}
_LEXEME = re.compile(
    r"\s*(?:(?P<number>(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?[A-Za-z]*)|(?P<name>[A-Za-z_][A-Za-z0-9_]*)"
    r"|(?P<sign>\*\*|==|!=|<>|>=|<=|&&|\|\||[-+*/^<>?:&|!,(){}]))"
)
_LEVELS = (("||", "|"), ("&&", "&"), ("==", "!=", "<>"), ("<", ">", "<=", ">="), ("+", "-"), ("*", "/"))
_SAME = {"|": "||", "&": "&&", "!=": "<>", "**": "^"}


class Untranslatable(Exception):
    """Something of the model has no plain form; the text says what.

    Attributes
    ----------
    line : int or None
        Of the card, once it is known.
    key : str or None
        Name of the element, likewise.
    """

    line: int | None = None
    key: str | None = None


@dataclass(frozen=True)
class Number:
    """A number."""

    value: float


@dataclass(frozen=True)
class Name:
    """A parameter, an argument or a quantity of the simulator; lower case."""

    name: str


@dataclass(frozen=True)
class Reading:
    """V(a), V(a,b) or I(source); lower case."""

    kind: str
    words: tuple[str, ...]


@dataclass(frozen=True)
class Call:
    """A function or an operator with its arguments."""

    name: str
    arguments: tuple


def number_of(text: str) -> float:
    """A number as SPICE writes it: "4.7k", "1MEG", "10uF".

    Raises
    ------
    Untranslatable
    """
    match = re.fullmatch(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)([A-Za-z]*)", text)
    if match is None:
        raise Untranslatable(f"{shown(text)} is no number")
    word = match[2].lower()
    scale = next((_SUFFIX[s] for s in ("meg", "mil", *_SUFFIX) if word.startswith(s)), 1.0)
    return float(match[1]) * scale


class _Parser:
    """Reads one formula that the guard let pass."""

    def __init__(self, text: str):
        self._tokens: list[tuple[str, str]] = []
        position = 0
        text = text.strip()
        while position < len(text):
            match = _LEXEME.match(text, position)
            if match is None:
                raise Untranslatable(f"{shown(text[position:])} is not understood")
            kind = match.lastgroup or ""
            self._tokens.append((kind, match[kind]))
            position = match.end()
            if kind == "name" and match[kind].lower() in ("v", "i") and text[position:].lstrip().startswith("("):
                # Names of nodes may look like numbers or hold signs: they are taken whole.
                probe = re.match(r"\s*\(([^()]*)\)", text[position:])
                if probe is None:
                    raise Untranslatable(f"{shown(text[position:])} names no node")
                self._tokens.append(("probe", probe[1]))
                position += probe.end()
        self._next = 0

    def whole(self):
        """The tree of all of it."""
        tree = self._choice()
        if self._next < len(self._tokens):
            raise Untranslatable(f"{shown(self._tokens[self._next][1])} stands where a formula ends")
        return tree

    def _sign(self) -> str:
        kind, text = self._tokens[self._next] if self._next < len(self._tokens) else ("", "")
        return text if kind == "sign" else ""

    def _take(self, sign: str) -> None:
        if self._sign() != sign:
            raise Untranslatable(f'"{sign}" is missing in a formula')
        self._next += 1

    def _choice(self):
        condition = self._level(0)
        if self._sign() != "?":
            return condition
        self._next += 1
        yes = self._choice()
        self._take(":")
        return Call("if", (condition, yes, self._choice()))

    def _level(self, level: int):
        if level == len(_LEVELS):
            return self._unary()
        tree = self._level(level + 1)
        while self._sign() in _LEVELS[level]:
            sign = self._sign()
            self._next += 1
            tree = Call(_SAME.get(sign, sign), (tree, self._level(level + 1)))
        return tree

    def _unary(self):
        sign = self._sign()
        if sign in ("-", "+", "!"):
            self._next += 1
            inner = self._unary()
            return inner if sign == "+" else Call("neg" if sign == "-" else "!", (inner,))
        return self._power()

    def _power(self):
        tree = self._atom()
        while self._sign() in ("^", "**"):
            self._next += 1
            exponent = self._unary() if self._sign() in ("-", "+") else self._atom()
            tree = Call("^", (tree, exponent))
        return tree

    def _atom(self):
        if self._next >= len(self._tokens):
            raise Untranslatable("a formula ends too early")
        kind, text = self._tokens[self._next]
        self._next += 1
        if kind == "number":
            return Number(number_of(text))
        if kind == "name":
            following = self._tokens[self._next] if self._next < len(self._tokens) else ("", "")
            if following[0] == "probe":
                self._next += 1
                words = tuple(word.strip().lower() for word in following[1].split(",") if word.strip())
                return Reading(text.lower(), words)
            if following == ("sign", "("):
                return Call(text.lower(), self._arguments())
            return Name(text.lower())
        if text in ("(", "{"):
            tree = self._choice()
            self._take(")" if text == "(" else "}")
            return tree
        raise Untranslatable(f"{shown(text)} stands where a value should")

    def _arguments(self) -> tuple:
        self._take("(")
        found = []
        while self._sign() != ")":
            found.append(self._choice())
            if self._sign() != ",":
                break
            self._next += 1
        self._take(")")
        return tuple(found)


def parse(text: str):
    """The tree of a formula.

    Raises
    ------
    Untranslatable
    """
    return _Parser(text).whole()


# ---------------------------------------------------------------------- numbers

_OF_NUMBERS: dict[str, Callable] = {
    "+": lambda a, b: a + b,
    "-": lambda a, b: a - b,
    "*": lambda a, b: a * b,
    "/": lambda a, b: a / b,
    "neg": lambda a: -a,
    "!": lambda a: float(not a),
    "||": lambda a, b: float(bool(a) or bool(b)),
    "&&": lambda a, b: float(bool(a) and bool(b)),
    "==": lambda a, b: float(a == b),
    "<>": lambda a, b: float(a != b),
    "<": lambda a, b: float(a < b),
    ">": lambda a, b: float(a > b),
    "<=": lambda a, b: float(a <= b),
    ">=": lambda a, b: float(a >= b),
    "^": lambda a, b: a**b if float(b).is_integer() or a >= 0 else abs(a) ** b,
    "pow": lambda a, b: a**b if float(b).is_integer() or a >= 0 else abs(a) ** b,
    "pwr": lambda a, b: abs(a) ** b,
    "pwrs": lambda a, b: math.copysign(abs(a) ** b, a),
    "if": lambda c, a, b: a if c else b,
    "ternary_fcn": lambda c, a, b: a if c else b,
    "limit": lambda x, a, b: min(max(x, min(a, b)), max(a, b)),
    "min": min,
    "max": max,
    "stp": lambda a: float(a > 0),
    "u": lambda a: float(a > 0),
    "uramp": lambda a: max(a, 0.0),
    "sgn": lambda a: float((a > 0) - (a < 0)),
    "sqr": lambda a: a * a,
    "abs": abs,
    "ln": math.log,
    "log": math.log,
    "log10": math.log10,
    "arctan": math.atan,
    "int": lambda a: float(math.trunc(a)),
    "nint": lambda a: float(math.floor(a + 0.5)),
    "floor": lambda a: float(math.floor(a)),
    "ceil": lambda a: float(math.ceil(a)),
    **{
        name: getattr(math, name)
        for name in "acos acosh asin asinh atan atanh cos cosh exp sin sinh sqrt tan tanh".split()
    },
}


def _table_value(x: float, *points: float) -> float:
    xs, ys = points[::2], points[1::2]
    place = min(max(x, xs[0]), xs[-1])
    for (a, b), (c, d) in zip(zip(xs, ys, strict=True), zip(xs[1:], ys[1:], strict=True), strict=False):
        if place <= c:
            return b + (d - b) * (place - a) / (c - a)
    return ys[-1]


_OF_NUMBERS |= {"table": _table_value, "pwl": _table_value}


class Steps:
    """Counts pieces of formulas, so that no model keeps this program busy for long."""

    def __init__(self):
        self._left = MOST_STEPS

    def one(self) -> None:
        """One more piece.

        Raises
        ------
        Untranslatable
            There were :data:`MOST_STEPS`.
        """
        self._left -= 1
        if self._left < 0:
            raise Untranslatable(f"its formulas have more than {MOST_STEPS} pieces when written out")


def folded(tree, values: Callable, functions: Mapping[str, tuple], steps: Steps):
    """The tree with functions pasted in, names replaced by their values, and numbers worked out.

    Parameters
    ----------
    tree : Number, Name, Reading or Call
    values : callable
        Value of a name, or None where it stays (time, temper).
    functions : mapping of str to (arguments, tree)
        The model's own.
    steps : Steps

    Raises
    ------
    Untranslatable
        A function that is not known, a wrong number of arguments, a value that does not exist.
    """
    steps.one()
    if isinstance(tree, Name):
        value = values(tree.name)
        if isinstance(value, float | int):
            return Number(float(value))
        return tree if value is None else value
    if not isinstance(tree, Call):
        return tree
    arguments = tuple(folded(argument, values, functions, steps) for argument in tree.arguments)
    if tree.name in functions:
        names, body = functions[tree.name]
        if len(names) != len(arguments):
            raise Untranslatable(f"the function {tree.name} takes {len(names)} arguments")
        given = dict(zip(names, arguments, strict=True))
        return folded(body, lambda name: given[name] if name in given else values(name), functions, steps)
    if all(isinstance(argument, Number) for argument in arguments) and tree.name in _OF_NUMBERS:
        return Number(_computed(tree.name, [argument.value for argument in arguments]))
    if tree.name in ("if", "ternary_fcn") and arguments and isinstance(arguments[0], Number) and len(arguments) == 3:
        return arguments[1] if arguments[0].value else arguments[2]
    return Call(tree.name, arguments)


def _computed(name: str, numbers: list[float]) -> float:
    try:
        value = float(_OF_NUMBERS[name](*numbers))
    except (TypeError, IndexError):
        raise Untranslatable(f"{name} has a wrong number of arguments") from None
    except (ValueError, ZeroDivisionError, OverflowError):
        shown_numbers = ", ".join(f"{number:g}" for number in numbers)
        raise Untranslatable(f"{name}({shown_numbers}) has no value") from None
    if not math.isfinite(value):
        raise Untranslatable(f"a value of {name} is not finite")
    return value


# ---------------------------------------------------------------------- text for a B source


def literal(value: float) -> str:
    """A number as it is written into a deck."""
    return repr(float(value))


def source_text(tree, reading: Callable[[Reading], str], derivative: Callable[[str], str]) -> str:
    """A folded tree as text for a B source.

    Parameters
    ----------
    tree : Number, Name, Reading or Call
        With only ``time`` and ``temper`` left of names.
    reading : callable
        Text of a voltage or a current of the deck.
    derivative : callable
        Text whose value is the derivative with time of another text's.

    Raises
    ------
    Untranslatable
        A function without a plain form, or a formula longer than :data:`LARGEST_FORMULA`.
    """
    return _Writer(reading, derivative).text(tree)


_PLAIN = frozenset(
    "abs acos acosh asin asinh atan atanh cos cosh exp ln log10 sqrt sgn sin sinh tan tanh min max uramp u floor ceil"
    " nint".split()
)
_TWO = frozenset(("min", "max"))
_INFIX = frozenset(("+", "-", "*", "/", "||", "&&", "==", "<>", "<", ">", "<=", ">="))


class _Writer:
    def __init__(self, reading, derivative):
        self._reading, self._derivative = reading, derivative
        self._forms: dict[str, tuple[int, Callable]] = {
            "neg": (1, lambda a: f"(-{self.text(a)})"),
            "!": (1, lambda a: f"ternary_fcn({self.text(a)},0.0,1.0)"),
            "if": (3, self._choice),
            "ternary_fcn": (3, self._choice),
            "limit": (3, self._limit),
            "^": (2, self._power),
            "pow": (2, self._power),
            "pwr": (2, lambda a, b: f"pow(abs({self.text(a)}),{self.text(b)})"),
            "pwrs": (2, lambda a, b: f"pwr({self.text(a)},{self.text(b)})"),
            "sqr": (1, lambda a: f"pow({self.text(a)},2.0)"),
            "stp": (1, lambda a: f"u({self.text(a)})"),
            "log": (1, lambda a: f"ln({self.text(a)})"),
            "arctan": (1, lambda a: f"atan({self.text(a)})"),
            "ddt": (1, lambda a: self._derivative(self.text(a))),
        }

    def text(self, tree) -> str:
        text = self._written(tree)
        # Looked at on the way up: what a form repeats may double at every level.
        if len(text) > LARGEST_FORMULA:
            raise Untranslatable(f"a formula is longer than {LARGEST_FORMULA} characters when written out")
        return text

    def _written(self, tree) -> str:
        if isinstance(tree, Number):
            return literal(tree.value) if tree.value >= 0 else f"({literal(tree.value)})"
        if isinstance(tree, Reading):
            return self._reading(tree)
        if isinstance(tree, Name):
            return tree.name
        if tree.name in _INFIX:
            a, b = map(self.text, tree.arguments)
            return f"({a}{tree.name}{b})"
        if tree.name in ("table", "pwl"):
            return self._table(*tree.arguments)
        count, form = self._forms.get(tree.name, (2 if tree.name in _TWO else 1, None))
        if form is None and tree.name not in _PLAIN:
            raise Untranslatable(f"the function {tree.name} has no plain form")
        if len(tree.arguments) != count:
            raise Untranslatable(f"{tree.name} has a wrong number of arguments")
        return form(*tree.arguments) if form else f"{tree.name}({','.join(map(self.text, tree.arguments))})"

    def _choice(self, condition, yes, no) -> str:
        return f"ternary_fcn({self.text(condition)},{self.text(yes)},{self.text(no)})"

    def _limit(self, x, a, b) -> str:
        inner, low, high = self.text(x), self.text(a), self.text(b)
        if isinstance(a, Number) and isinstance(b, Number):
            low, high = (low, high) if a.value <= b.value else (high, low)
            return f"min(max({inner},{low}),{high})"
        return f"min(max({inner},min({low},{high})),max({low},{high}))"

    def _power(self, base, exponent) -> str:
        a = self.text(base)
        if not isinstance(exponent, Number) or not exponent.value.is_integer():
            return f"pow({a},{self.text(exponent)})"
        power = f"{'pwr' if exponent.value % 2 else 'pow'}({a},{literal(abs(exponent.value))})"
        return f"(1.0/{power})" if exponent.value < 0 else power

    def _table(self, x, *points) -> str:
        return table_text(self.text(x), points)


def table_text(x: str, points) -> str:
    """A table as text for a B source, held at its ends.

    Parameters
    ----------
    x : str
        Text of where it is read.
    points : sequence of Number
        x, y, x, y …

    Raises
    ------
    Untranslatable
    """
    if not all(isinstance(point, Number) for point in points) or len(points) < 4 or len(points) % 2:
        raise Untranslatable("a table is no list of two or more pairs of numbers")
    xs = [point.value for point in points[::2]]
    if any(b <= a for a, b in zip(xs, xs[1:], strict=False)):
        raise Untranslatable("the first numbers of a table do not rise")
    inside = f"min(max({x},{literal(xs[0])}),{literal(xs[-1])})"
    return f"pwl({inside},{','.join(literal(point.value) for point in points)})"
