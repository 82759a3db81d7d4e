"""Numbers as engineers write them, and back.

"4.7k", "0.25p", "120 m", "5 %" become SI numbers and tolerances; numbers become "8.2 pF". A unit may be left out; a
wrong one is an error. "M" is mega here (in netlists it is milli, see the circuit reader) and "m" behind a length's
number is the metre. This module knows no files: its errors carry only what was found and what would do.
"""

import difflib
import math
import re
from dataclasses import dataclass

import numpy as np
from quantiphy import Quantity

_PREFIXES = {"": 1.0, "f": 1e-15, "p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "m": 1e-3, "k": 1e3}
_PREFIXES |= {"K": 1e3, "M": 1e6, "Meg": 1e6, "meg": 1e6, "G": 1e9}
_SPELLINGS = {
    "ohm": ("ohm", "ohms", "Ohm", "Ω", "Ω", "R"),
    "F": ("F", "farad"),
    "H": ("H",),
    "Hz": ("Hz", "hz"),
    "m": ("m",),
    "V": ("V",),
    "A": ("A",),
    "K": ("K",),
    "dB": ("dB", "db"),
    "degC": ("degC", "°C", "C"),
    "s": ("s",),
    "S/m": ("S/m",),
    "1": (),
}
_SHOWN = {"ohm": "Ω", "1": "", "degC": "°C"}
_NO_PREFIX = ("dB", "degC", "K", "1")
_NUMBER = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$", re.DOTALL)
_WORDS = (
    "thick-film",
    "thin-film",
    "c0g",
    "x7r",
    "film",
    "mica",
    "electrolytic",
    "wound",
    "ferrite",
    "lot",
    "uniform",
    "normal",
)
_SAME_WORD = {"np0": "c0g"}


class QuantityError(ValueError):
    """Text that is no quantity of the wanted kind.

    Attributes
    ----------
    found, remedy : str
        What was found, what would do.
    """

    def __init__(self, found: str, remedy: str):
        super().__init__(f"{found} {remedy}")
        self.found = found
        self.remedy = remedy


def parse_quantity(text, unit: str) -> float:
    """An engineer's number as an SI number.

    Parameters
    ----------
    text : str, int or float
        "10k", "8.2p", "120 m", "1.83M", "75 ohm"; a plain number is taken in the unit itself.
    unit : str
        One of ohm, F, H, Hz, m, V, A, K, dB, degC, s, S/m, 1.

    Raises
    ------
    QuantityError
        No number, another unit, or not finite.
    """
    example = _example(unit)
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        raise QuantityError(f"{text!r} is no quantity.", f"Write {example}.")
    if not isinstance(text, str):
        if not math.isfinite(text):
            raise QuantityError(f"{text!r} is not a finite number.", f"Write {example}.")
        return float(text)
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise QuantityError(f'"{text}" is no quantity.', f"Write {example}.")
    value = float(match[1]) * _factor(match[2], unit, text)
    if not math.isfinite(value):
        raise QuantityError(f'"{text}" is not a finite number.', f"Write {example}.")
    return value


def _factor(suffix: str, unit: str, text: str) -> float:
    spellings = _SPELLINGS[unit]
    if suffix == "" or suffix in spellings:
        return 1.0
    if unit == "1" and suffix == "%":
        return 0.01
    if unit not in _NO_PREFIX:
        for spelling in (*spellings, ""):
            if suffix.endswith(spelling):
                prefix = suffix[: len(suffix) - len(spelling)].strip()
                # A bare "m" behind a length is the metre, handled above; "120 mm" is millimetres.
                if prefix in _PREFIXES and not (unit == "m" and spelling == "" and prefix == "m"):
                    return _PREFIXES[prefix]
    elif unit == "1" and suffix in _PREFIXES:
        return _PREFIXES[suffix]
    shown = _SHOWN.get(unit, unit) or "a plain number"
    raise QuantityError(f'"{text}" is not in {shown}.', f"Write {_example(unit)}.")


def _example(unit: str) -> str:
    return {
        "ohm": 'ohms, for example "10k" or "75 ohm"',
        "F": 'farads, for example "8.2p" or "100 nF"',
        "H": 'henries, for example "220u" or "1 uH"',
        "Hz": 'a frequency, for example "1.83M" or "7050 kHz"',
        "m": 'a length, for example "120 m" or "8 mm"',
        "V": 'a voltage, for example "12 V"',
        "A": 'a current, for example "20 mA"',
        "K": 'a temperature, for example "290 K"',
        "dB": 'decibels, for example "12 dB"',
        "degC": 'a temperature, for example "20"',
        "s": 'a time, for example "50 ns"',
        "S/m": 'a conductivity, for example "5 mS/m"',
        "1": "a number",
    }[unit]


def format_quantity(value: float, unit: str, digits: int = 4) -> str:
    """A number with its unit and an engineer's prefix, "8.2 pF"; units as in :func:`parse_quantity`."""
    shown = _SHOWN.get(unit, unit)
    if value is None or not math.isfinite(value):
        return "–"
    if unit in _NO_PREFIX or unit == "S/m":
        return f"{value:.{digits}g}{' ' + shown if shown else ''}"
    return Quantity(value, shown).render(prec=digits - 1, strip_zeros=True).replace("µ", "µ")


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


_TWO_SIDED = re.compile(r"(?<!\S)-\s*([\d.]+)\s*%\s*/\s*\+\s*([\d.]+)\s*%(?!\S)")
_PERCENT = re.compile(r"(?<!\S)([\d.]+)\s*%(?!\S)")


def parse_part(text, unit: str, default: PartValue | None = None) -> PartValue:
    """Value, tolerance and words of a part, in this order: "8.2p 5% C0G lot".

    Parameters
    ----------
    text : str or number
    unit : str
        See :func:`parse_quantity`.
    default : PartValue, optional
        Where tolerance and words come from when the text has none.

    Raises
    ------
    QuantityError
        No value, a tolerance without unit, a word that nobody knows.
    """
    if not isinstance(text, str):
        value, tolerance, words = parse_quantity(text, unit), None, ()
    else:
        value, rest = _leading_value(text, unit)
        tolerance, rest = _tolerance(rest, value, unit)
        words = tuple(_word(word) for word in rest.split())
    if default is not None:
        tolerance = tolerance or default.tolerance
        words = words or default.words
    return PartValue(value, tolerance, words)


def parse_tolerance_and_words(text: str, value: float, unit: str) -> tuple[Tolerance | None, tuple[str, ...]]:
    """The part of a circuit's comment that describes a part: "5% C0G lot"."""
    tolerance, rest = _tolerance(text, value, unit)
    return tolerance, tuple(_word(word) for word in rest.split())


def _leading_value(text: str, unit: str) -> tuple[float, str]:
    words = text.split()
    if not words:
        raise QuantityError('"" is no quantity.', f"Write {_example(unit)}.")
    # "120 m 5%": the unit may be a word of its own.
    if len(words) > 1 and re.fullmatch(r"[+-]?[\d.]+(?:[eE][+-]?\d+)?", words[0]) and not words[1][0].isdigit():
        try:
            return parse_quantity(" ".join(words[:2]), unit), " ".join(words[2:])
        except QuantityError:
            if _is_word(words[1]) or words[1].startswith(("-", "+")):
                return parse_quantity(words[0], unit), " ".join(words[1:])
            raise
    return parse_quantity(words[0], unit), " ".join(words[1:])


def _is_word(text: str) -> bool:
    return _SAME_WORD.get(text.lower(), text.lower()) in _WORDS


def _tolerance(text: str, value: float, unit: str) -> tuple[Tolerance | None, str]:
    for pattern in (_TWO_SIDED, _PERCENT):
        match = pattern.search(text)
        if match:
            numbers = [float(group) / 100 for group in match.groups()]
            rest = (text[: match.start()] + text[match.end() :]).strip()
            low, high = (numbers[0], numbers[-1])
            if low >= 1:
                raise QuantityError(f'tolerance "{match[0].strip()}" reaches zero.', "Write less than 100 %.")
            return Tolerance(-low, high), rest
    words = text.split()
    if words and words[0][0].isdigit():
        # An absolute spread, possibly with its unit as the next word.
        for length in (2, 1):
            candidate = " ".join(words[:length])
            if length <= len(words) and re.fullmatch(r"[\d.]+\s*[^\W\d]\S*", candidate):
                try:
                    spread = parse_quantity(candidate, unit) / value
                except QuantityError:
                    continue
                if not spread < 1:
                    raise QuantityError(f'tolerance "{candidate}" reaches zero.', "Write less than the value itself.")
                return Tolerance(-spread, spread), " ".join(words[length:])
        raise QuantityError(
            f'tolerance "{words[0]}" has no unit.',
            'Write a percentage ("5 %") or an absolute spread ("0.25 pF").',
        )
    return None, text


def _word(text: str) -> str:
    word = _SAME_WORD.get(text.lower(), text.lower())
    if word not in _WORDS:
        near = difflib.get_close_matches(word, _WORDS, n=1, cutoff=0.0)
        raise QuantityError(f'"{text}" is not a word for a part.', f"Nearest: {near[0]}. Known: {', '.join(_WORDS)}.")
    return word


# ---------------------------------------------------------------------- limits and spans


@dataclass(frozen=True)
class Limit:
    """A bound on a measure; an open side is infinite.

    Attributes
    ----------
    low, high : float
        In the measure's own unit.
    """

    low: float
    high: float

    def holds(self, values) -> np.ndarray:
        """Whether each value is within; NaN is not."""
        values = np.asarray(values, dtype=float)
        return (values >= self.low) & (values <= self.high)

    def __str__(self) -> str:
        if math.isinf(self.high):
            return f"> {self.low:g}"
        if math.isinf(self.low):
            return f"< {self.high:g}"
        return f"{self.low:g}..{self.high:g}"


_LIMITS = (
    (re.compile(r"\s*>=?\s*(\S+)\s*"), lambda a: (a, math.inf)),
    (re.compile(r"\s*<=?\s*(\S+)\s*"), lambda a: (-math.inf, a)),
    (re.compile(r"\s*(\S+)\s*(?:\+-|\+/-|±)\s*(\S+)\s*"), lambda a, b: (a - b, a + b)),
    (re.compile(r"\s*(\S+?)\s*\.\.\s*(\S+)\s*"), lambda a, b: (a, b)),
)


def parse_limit(text) -> Limit:
    """A limit as written: "> 10", "< 3", "10 +- 1", "8..12".

    Raises
    ------
    QuantityError
    """
    remedy = 'Write "> 10", "< 3", "10 +- 1" or "8..12".'
    if isinstance(text, str):
        for pattern, bounds in _LIMITS:
            match = pattern.fullmatch(text)
            if match:
                try:
                    low, high = bounds(*(float(group) for group in match.groups()))
                except ValueError:
                    continue
                if not (low <= high) or math.isnan(low + high) and not (math.isinf(low) or math.isinf(high)):
                    raise QuantityError(f'"{text}" leaves nothing between its ends.', remedy)
                # "10.7 +- 0.6" means 11.3, not what binary fractions make of the sum.
                return Limit(round(low, 12), round(high, 12))
    raise QuantityError(f'"{text}" is no limit.', remedy)


def parse_span(text, unit: str) -> tuple[float, float]:
    """A range "-20..40", or one value for both ends.

    Raises
    ------
    QuantityError
    """
    if isinstance(text, str) and ".." in text:
        low, _, high = text.partition("..")
        ends = parse_quantity(low, unit), parse_quantity(high, unit)
        if ends[0] > ends[1]:
            raise QuantityError(f'"{text}" runs downwards.', "Write the lower end first.")
        return ends
    value = parse_quantity(text, unit)
    return value, value


# ---------------------------------------------------------------------- decibels


def db(ratio):
    """20 log10 |ratio|. [dB]"""
    return 20 * np.log10(np.abs(ratio))


def db_power(ratio):
    """10 log10 ratio. [dB]"""
    return 10 * np.log10(ratio)


def from_db(level_db):
    """Amplitude ratio of a level in dB."""
    return 10 ** (np.asarray(level_db, dtype=float) / 20)


def from_db_power(level_db):
    """Power ratio of a level in dB."""
    return 10 ** (np.asarray(level_db, dtype=float) / 10)
