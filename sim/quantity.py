"""Numbers as engineers write them, and back.

"4.7k", "0.25p", "120 m", "5 %" become SI numbers and tolerances; numbers become "8.2 pF". A unit may be left out; a
wrong one is an error. "M" is mega here (in netlists it is milli, see the circuit reader) and "m" behind a length's
number is the metre. This module knows no files: its errors carry only what was found and what would do.

Prefixes and percentages move the decimal point of the text before it becomes binary, so "8.2p" is the very number that
8.2e-12 is, and a written quantity reads back without a change in the last bit.
"""

import math
import re
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from quantiphy import Quantity

from sim.errors import nearest, shown

# Two signs each for micro and ohm: the keyboard's and the Greek letter's.
_PREFIXES = {"f": -15, "p": -12, "n": -9, "u": -6, "\N{MICRO SIGN}": -6, "\N{GREEK SMALL LETTER MU}": -6, "m": -3}
_PREFIXES |= {"": 0, "k": 3, "K": 3, "M": 6, "Meg": 6, "meg": 6, "MEG": 6, "G": 9}
_SPELLINGS = {
    "ohm": ("ohm", "ohms", "Ohm", "\N{OHM SIGN}", "\N{GREEK CAPITAL LETTER OMEGA}", "R"),
    "F": ("F", "farad"),
    "H": ("H", "henry"),
    "Hz": ("Hz", "hz"),
    "m": ("m",),
    "V": ("V",),
    "A": ("A",),
    "W": ("W",),
    "K": ("K",),
    "dB": ("dB", "db"),
    "degC": ("degC", "°C", "C"),
    "s": ("s",),
    "S/m": ("S/m",),
    "V/m": ("V/m",),
    "dBm": ("dBm", "dbm"),
    "1": (),
}
_SHOWN = {"ohm": "Ω", "1": "", "degC": "°C"}
_SAID = {"1": "a plain number", "degC": "degrees Celsius"}
_NO_PREFIX = ("dB", "dBm", "degC", "K", "1")
_DIGITS = r"(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,4})?"
_NUMBER = re.compile(rf"([+-]?{_DIGITS}) ?(.*)", re.ASCII)
_LONGEST = 200

KINDS = ("thick-film", "thin-film", "c0g", "x7r", "film", "mica", "electrolytic", "wound", "ferrite")
"""Words for what a part is made of; how each spreads: :mod:`sim.sampling.draw`."""
SHAPES = ("uniform", "normal")
"""Words for how values are spread within a tolerance."""
WORDS = (*KINDS, "lot", *SHAPES)
"""All words that may stand behind a part's value."""
_SAME_WORD = {"np0": "c0g", "cog": "c0g"}


class QuantityError(ValueError):
    """Text that is no quantity of the wanted kind.

    Attributes
    ----------
    found, remedy : str
        What was found, what would do.
    """

    def __init__(self, found: str, remedy: str):
        super().__init__(found, remedy)
        self.found = found
        self.remedy = remedy

    def __str__(self) -> str:
        return f"{self.found} {self.remedy}"


def parse_quantity(text, unit: str) -> float:
    """An engineer's number as an SI number.

    Parameters
    ----------
    text : str, int or float
        "10k", "8.2p", "120 m", "1.83M", "75 ohm"; a plain number is taken in the unit itself.
    unit : str
        One of ohm, F, H, Hz, m, V, A, W, K, dB, degC, s, S/m, V/m, dBm, 1.

    Returns
    -------
    float
        In the unit named, without prefix; "5 %" is 0.05 where the unit is "1".

    Raises
    ------
    QuantityError
        No number, another unit, or not finite.
    """
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        raise QuantityError(f"{shown(text)} is no quantity.", f"Write {_example(unit)}.")
    match = _NUMBER.fullmatch(_single_spaced(text)) if isinstance(text, str) else None
    if isinstance(text, str) and match is None:
        raise QuantityError(f"{shown(text)} is no quantity.", f"Write {_example(unit)}.")
    try:
        value = float(text) if match is None else _scaled(match[1], _power(match[2], unit, text))
    except OverflowError:  # a whole number of hundreds of digits
        value = math.inf
    if not math.isfinite(value):
        raise QuantityError(f"{shown(text)} is not a finite number.", f"Write {_example(unit)}.")
    return value


def _single_spaced(text: str) -> str:
    """The text with single blanks; what is much too long to be a quantity is cut, and so refused in little time."""
    return " ".join(text.split()) if len(text) <= _LONGEST else ""


def _scaled(number: str, power: int) -> float:
    """The decimal text times a power of ten, rounded once."""
    mantissa, _, exponent = number.lower().partition("e")
    return float(f"{mantissa}e{int(exponent or 0) + power}")


def _power(suffix: str, unit: str, text: str) -> int:
    """Power of ten that the letters behind a number stand for."""
    spellings = _SPELLINGS[unit]
    if suffix == "" or suffix in spellings:
        return 0
    if unit == "1":
        if suffix == "%" or suffix in _PREFIXES:
            return -2 if suffix == "%" else _PREFIXES[suffix]
    elif unit not in _NO_PREFIX:
        for spelling in (*spellings, ""):
            prefix = suffix.removesuffix(spelling).strip()
            # A bare "m" behind a length is the metre, handled above; "120 mm" is millimetres.
            if suffix.endswith(spelling) and prefix in _PREFIXES:
                return _PREFIXES[prefix]
        if unit == "m" and suffix == "cm":
            return -2
    raise QuantityError(f"{shown(text)} is not in {_SAID.get(unit, unit)}.", _meant(text) or f"Write {_example(unit)}.")


def _meant(text: str) -> str | None:
    """What to write in place of two spellings that are common elsewhere: 1,83M and 4k7."""
    text = text.strip()
    if match := re.fullmatch(r"([+-]?\d+),(\d+ ?\S*)", text):
        return f'Decimals take a point: "{match[1]}.{match[2]}".'
    if match := re.fullmatch(r"(\d+)([a-zA-Z])(\d+)", text):
        letter = "" if match[2] == "R" else match[2]
        if letter in _PREFIXES:
            return f'Write "{match[1]}.{match[3]}{letter}".'
    return None


def _example(unit: str) -> str:
    return {
        "ohm": 'ohms, for example "10k" or "75 ohm"',
        "F": 'farads, for example "8.2p" or "100 nF"',
        "H": 'henries, for example "220u" or "1 uH"',
        "Hz": 'a frequency, for example "1.83M" or "7050 kHz"',
        "m": 'a length, for example "120 m" or "8 mm"',
        "V": 'a voltage, for example "12 V"',
        "A": 'a current, for example "20 mA"',
        "W": 'a power, for example "600 mW"',
        "K": 'a temperature, for example "290 K"',
        "dB": 'decibels, for example "12 dB"',
        "degC": 'a temperature in degrees Celsius, for example "20"',
        "s": 'a time, for example "50 ns"',
        "S/m": 'a conductivity, for example "5 mS/m"',
        "V/m": 'a field strength, for example "300 mV/m"',
        "dBm": 'a level, for example "-10 dBm"',
        "1": "a number",
    }[unit]


def format_quantity(value: float, unit: str, digits: int = 4) -> str:
    """A number with its unit and an engineer's prefix, "8.2 pF"; what is not finite is a dash.

    Parameters
    ----------
    value : float or None
        [SI]
    unit : str
        As in :func:`parse_quantity`; decibels, temperatures and plain numbers get no prefix.
    digits : int
        Significant digits; zeros at the end are left out.
    """
    sign = _SHOWN.get(unit, unit)
    if value is None or not math.isfinite(value):
        return "–"
    if unit in _NO_PREFIX or unit == "S/m":
        return f"{value:.{digits}g}{' ' + sign if sign else ''}"
    return Quantity(value, sign).render(prec=digits - 1, strip_zeros=True)


# ---------------------------------------------------------------------- parts


@dataclass(frozen=True)
class Tolerance:
    """Relative deviations that a part may have; ``low`` ≤ 0 ≤ ``high``. [1]"""

    low: float
    high: float

    def __str__(self) -> str:
        if self.high == -self.low:
            return f"±{100 * self.high:.3g} %"
        return f"{100 * self.low:+.3g} %/{100 * self.high:+.3g} %"


@dataclass(frozen=True)
class PartValue:
    """A value with its tolerance and the words behind it.

    Attributes
    ----------
    value : float
        [SI]
    tolerance : Tolerance or None
    words : tuple of str
        Kind ("c0g"), "lot", shape ("normal"); lower case.
    """

    value: float
    tolerance: Tolerance | None
    words: tuple[str, ...] = ()


_PLUS_MINUS = r"(?:±|\+-|\+/-)"
_TWO_SIDED = re.compile(
    rf"(?<!\S)(?:- ?(?P<a>{_DIGITS}) ?%? ?/ ?\+ ?(?P<b>{_DIGITS})"
    rf"|\+ ?(?P<d>{_DIGITS}) ?%? ?/ ?- ?(?P<c>{_DIGITS})) ?%(?!\S)",
    re.ASCII,
)
_PERCENT = re.compile(rf"(?<!\S){_PLUS_MINUS}? ?({_DIGITS}) ?%(?!\S)", re.ASCII)
_ABSOLUTE = re.compile(rf"(?<!\S){_PLUS_MINUS}? ?(?P<spread>({_DIGITS}) ?[^\W\d]\S*)(?!\S)")
_LEFT_OVER = re.compile(r"(?<!\S)[-+±/]* ?[\d.]\S*(?: ?%)?")


def parse_part(text, unit: str, default: PartValue | None = None) -> PartValue:
    """Value, tolerance and words of a part, in this order: "8.2p 5% C0G lot".

    Parameters
    ----------
    text : str or number
    unit : str
        See :func:`parse_quantity`.
    default : PartValue, optional
        Where the tolerance comes from when the text has none, and the words when it has none.

    Returns
    -------
    PartValue
        With an absolute tolerance ("0.25 pF") as a share of the value.

    Raises
    ------
    QuantityError
        No value, a tolerance without unit, a word that nobody knows.
    """
    if not isinstance(text, str):
        value, tolerance, words = parse_quantity(text, unit), None, ()
    else:
        value, rest = _leading_value(text, unit)
        tolerance, words = parse_tolerance_and_words(rest, value, unit)
    if default is not None:
        tolerance = tolerance or default.tolerance
        words = words or default.words
    return PartValue(value, tolerance, words)


def parse_tolerance_and_words(text: str, value: float, unit: str) -> tuple[Tolerance | None, tuple[str, ...]]:
    """What stands behind a part's value: "5% C0G lot".

    Parameters
    ----------
    text : str
    value : float
        The nominal value, for tolerances in the part's own unit. [SI]
    unit : str
        See :func:`parse_quantity`.

    Raises
    ------
    QuantityError
        A tolerance without unit, or two of them; a word that nobody knows, or words that exclude each other.
    """
    tolerance, rest = _tolerance(_single_spaced(text), value, unit)
    if match := _LEFT_OVER.search(rest):
        unit_behind = re.match(r" [^\W\d]+(?!\S)", rest[match.end() :])
        wrong_unit = unit_behind and unit_behind[0].strip().lower() not in (*WORDS, *_SAME_WORD)
        _refuse_number(f"{match[0]}{unit_behind[0]}" if wrong_unit else match[0], tolerance)
    words = tuple(dict.fromkeys(_word(word) for word in rest.split()))
    for group, what in ((KINDS, "kinds"), (SHAPES, "shapes")):
        both = [word for word in words if word in group]
        # An inductor wound on a ferrite is one thing with two words.
        if len(both) > 1 and set(both) != {"wound", "ferrite"}:
            raise QuantityError(f'"{both[0]}" and "{both[1]}" are two {what} for one part.', "Keep one of them.")
    return tolerance, words


def _leading_value(text: str, unit: str) -> tuple[float, str]:
    words = _single_spaced(text).split()
    if not words:
        raise QuantityError(f"{shown(text)} is no quantity.", f"Write {_example(unit)}.")
    if _PERCENT.match(" ".join(words)) or _TWO_SIDED.match(" ".join(words)):
        raise QuantityError(f"{shown(text)} has no value.", 'Write the value first: "8.2p 5%".')
    # "120 m 5%": the unit may be a word of its own.
    if len(words) > 1 and re.fullmatch(rf"[+-]?{_DIGITS}", words[0], re.ASCII) and re.match(r"[^\W\d]|°", words[1]):
        try:
            return parse_quantity(" ".join(words[:2]), unit), " ".join(words[2:])
        except QuantityError:
            if _SAME_WORD.get(words[1].lower(), words[1].lower()) not in WORDS:
                raise
    return parse_quantity(words[0], unit), " ".join(words[1:])


def _tolerance(text: str, value: float, unit: str) -> tuple[Tolerance | None, str]:
    """The tolerance in a text, and the text without it."""
    if match := _TWO_SIDED.search(text):
        low, high = (_scaled(match[a] or match[b], -2) for a, b in ("ac", "bd"))
    elif match := _PERCENT.search(text):
        low = high = _scaled(match[1], -2)
    elif match := _ABSOLUTE.search(text):
        try:
            spread = parse_quantity(match["spread"], unit)
        except QuantityError:
            return None, text
        if not value > 0:
            raise QuantityError(f"a value of {value:g} has no tolerance.", f"Write {_example(unit)}.")
        low = high = spread / value
    else:
        return None, text
    if not low < 1:
        raise QuantityError(
            f'tolerance "{match[0].strip()}" reaches zero.', "Write less than 100 %, or less than the value itself."
        )
    return Tolerance(-low, high), f"{text[: match.start()]} {text[match.end() :]}".strip()


def _refuse_number(text: str, tolerance: Tolerance | None) -> None:
    """Say what is wrong with a number that is neither the value nor its tolerance."""
    if tolerance is not None:
        raise QuantityError(f'"{text}" is one number too many.', 'Write value, tolerance and words: "8.2p 5% C0G lot".')
    if re.fullmatch(rf"[+-] ?{_DIGITS} ?%", text, re.ASCII):
        raise QuantityError(
            f'tolerance "{text}" has one side.', 'Write "5 %", or both sides with their signs: "-20%/+80%".'
        )
    if re.fullmatch(rf"{_PLUS_MINUS}?{_DIGITS}", text, re.ASCII):
        raise QuantityError(
            f'tolerance "{text}" has no unit.', 'Write a percentage ("5 %") or an absolute spread ("0.25 pF").'
        )
    raise QuantityError(f'"{text}" is no tolerance.', 'Write a percentage ("5 %") or an absolute spread ("0.25 pF").')


def _word(text: str) -> str:
    word = _SAME_WORD.get(text.lower(), text.lower())
    if word not in WORDS:
        raise QuantityError(
            f"{shown(text)} is not a word for a part.", f"Nearest: {nearest(word, WORDS)}. Known: {', '.join(WORDS)}."
        )
    return word


# ---------------------------------------------------------------------- limits and spans


@dataclass(frozen=True)
class Limit:
    """A bound on a measure; an open side is infinite, the ends themselves are within.

    Attributes
    ----------
    low, high : float
        In the measure's own unit.
    """

    low: float
    high: float

    def holds(self, values) -> np.ndarray:
        """Whether each value is within; NaN is not.

        Parameters
        ----------
        values : array_like
            In the measure's own unit.

        Returns
        -------
        ndarray of bool, same shape
        """
        values = np.asarray(values, dtype=float)
        return (values >= self.low) & (values <= self.high)

    def __str__(self) -> str:
        if math.isinf(self.high):
            return f"> {self.low:g}"
        if math.isinf(self.low):
            return f"< {self.high:g}"
        return f"{self.low:g}..{self.high:g}"


_SIGNED = rf"([+-]?{_DIGITS})"
_BOUNDS = {
    ">": re.compile(rf">=? ?{_SIGNED}", re.ASCII),
    "<": re.compile(rf"<=? ?{_SIGNED}", re.ASCII),
    "+-": re.compile(rf"{_SIGNED} ?{_PLUS_MINUS} ?({_DIGITS})", re.ASCII),
    "..": re.compile(rf"{_SIGNED} ?\.\. ?{_SIGNED}", re.ASCII),
}


def parse_limit(text) -> Limit:
    """A limit as written: "> 10", "< 3", "10 +- 1", "8..12", all in the measure's own unit.

    Parameters
    ----------
    text : str

    Raises
    ------
    QuantityError
        Not one of these, or nothing between the ends.
    """
    remedy = 'Write "> 10", "< 3", "10 +- 1" or "8..12", without a unit.'
    for kind, pattern in _BOUNDS.items():
        match = pattern.fullmatch(_single_spaced(text)) if isinstance(text, str) else None
        if match is None:
            continue
        # "10.7 +- 0.6" means 11.3, not what binary fractions make of the sum.
        numbers = [Decimal(group) for group in match.groups()]
        low, high = {
            ">": lambda a: (a, math.inf),
            "<": lambda a: (-math.inf, a),
            "+-": lambda a, b: (a - b, a + b),
            "..": lambda a, b: (a, b),
        }[kind](*numbers)
        low, high = float(low), float(high)
        if low > high:
            raise QuantityError(f"{shown(text)} leaves nothing between its ends.", "Write the lower end first.")
        if any(math.isinf(float(number)) for number in numbers):
            break
        return Limit(low, high)
    raise QuantityError(f"{shown(text)} is no limit.", remedy)


def parse_span(text, unit: str) -> tuple[float, float]:
    """A range "-20..40", or one value for both ends.

    Parameters
    ----------
    text : str or number
    unit : str
        See :func:`parse_quantity`.

    Returns
    -------
    low, high : float
        [SI]

    Raises
    ------
    QuantityError
        An end is no quantity of this unit, or the range runs downwards.
    """
    if isinstance(text, str) and ".." in text:
        low, _, high = text.partition("..")
        ends = parse_quantity(low, unit), parse_quantity(high, unit)
        if ends[0] > ends[1]:
            raise QuantityError(f"{shown(text)} runs downwards.", "Write the lower end first.")
        return ends
    value = parse_quantity(text, unit)
    return value, value


# ---------------------------------------------------------------------- decibels


def db(ratio):
    """20 log10 |ratio|, of an amplitude ratio. [dB]"""
    return 20 * np.log10(np.abs(ratio))


def db_power(ratio):
    """10 log10 ratio, of a power ratio. [dB]"""
    return 10 * np.log10(ratio)


def from_db(level_db):
    """Amplitude ratio of a level in dB."""
    return 10 ** (np.asarray(level_db, dtype=float) / 20)


def from_db_power(level_db):
    """Power ratio of a level in dB."""
    return 10 ** (np.asarray(level_db, dtype=float) / 10)
