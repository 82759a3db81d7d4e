"""Preferred values of parts, IEC 60063: the series E3 to E192, and spans of them as a study writes them.

A decade of E3, E6, E12 and E24 is a table of the standard (it is no rounding: 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7 and
8.2 are not what a geometric series gives). Those of E48, E96 and E192 are the powers of ten to the n-th 48th, 96th or
192nd, rounded to three digits (IEC 60063:2015), with one exception: 9.20 of E192, where rounding gives 9.19.
"""

import math
import re
from decimal import Decimal

from sim.errors import shown
from sim.quantity import QuantityError, format_quantity, parse_quantity

_E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)

_E192 = tuple({919: 920}.get(value, value) for value in (round(100 * 10 ** (n / 192)) for n in range(192)))

SERIES: dict[str, tuple[int, ...]] = {
    **{f"E{count}": tuple(10 * value for value in _E24[:: 24 // count]) for count in (3, 6, 12, 24)},
    **{f"E{count}": _E192[:: 192 // count] for count in (48, 96, 192)},
}
"""One decade of each series, in hundredths of its first value."""

MOST_DECADES = 12
"""Decades that a span may cover; from a picofarad to a farad."""

_SPAN = re.compile(r"(E\d+) (\S+(?: [^\W\d]+)?) ?\.\. ?(\S+(?: [^\W\d]+)?)")
_EXAMPLE = 'Write a list, or a series and its span: "E12 10p..1n".'
_UNITS = {"F": "F", "H": "H", "ohm": "ohm", "ohms": "ohm"}
_UNITS |= {"\N{OHM SIGN}": "ohm", "\N{GREEK CAPITAL LETTER OMEGA}": "ohm"}


def preferred_values(text: str) -> tuple[str, ...]:
    """The values of a series within a span, both ends included where they belong to it.

    Parameters
    ----------
    text : str
        "E12 10p..1n", "E24 1k..10k", "E6 1uH..1mH": the series, then the lowest and the highest value. What the
        number means is for the key to say; here a letter is a prefix, and "m" alone may be milli or metre as well, so
        it must stand at both ends or at none.

    Returns
    -------
    values : tuple of str
        Rising, each as an engineer writes it: "10p", "12p" … "1n".

    Raises
    ------
    QuantityError
        No such series, no span of numbers above zero, no value within it.
    """
    match = _SPAN.fullmatch(" ".join(text.split())) if isinstance(text, str) and len(text) < 100 else None
    if match is None:
        raise QuantityError(f"{shown(text)} is no list and no span of preferred values.", _EXAMPLE)
    series = SERIES.get(match[1])
    if series is None:
        raise QuantityError(f"there is no series {shown(match[1])}.", f"Known (IEC 60063): {', '.join(SERIES)}.")
    (low, unit), (high, other) = _end(match[2]), _end(match[3])
    if unit != other:
        remedy = 'Write both ends in the same unit, for example "E12 10p..1n" or "E6 1 uH..1 mH".'
        raise QuantityError(f"{shown(text)} has ends in different units.", remedy)
    if not low <= high:
        raise QuantityError(f"{shown(text)} runs downwards.", "Write the lower end first.")
    if high > low.scaleb(MOST_DECADES):
        raise QuantityError(f"{shown(text)} covers more than {MOST_DECADES} decades.", "Write a narrower span.")
    first = low.adjusted()
    found = [
        value
        for decade in range(first, high.adjusted() + 1)
        for value in (Decimal(step).scaleb(decade - 2) for step in series)
        if low <= value <= high
    ]
    if not found:
        raise QuantityError(f"{shown(text)} holds no value of {match[1]}.", "Write a wider span.")
    return tuple(_written(value, unit) for value in found)


def _end(text: str) -> tuple[Decimal, str]:
    """An end as a number, and its unit; a lone "m" is left standing as if it were a unit."""
    letters = re.sub(r"^[\d.]+ ?", "", text)
    spelling = next((unit for unit in _UNITS if letters.endswith(unit)), "")
    unit = "m" if letters == "m" else _UNITS.get(spelling, "")
    try:
        # Any unit that takes prefixes would do for a number without one.
        value = parse_quantity(text, unit or "F")
    except QuantityError:
        value = 0.0
    if not value > 0:
        raise QuantityError(f"{shown(text)} is no end of a span of preferred values.", _EXAMPLE)
    return Decimal(repr(value)), unit


def _written(value: Decimal, unit: str) -> str:
    """Three digits at most, with the prefix that leaves 1 to 999 before it: "8.2p", "150", "1.5 mH"."""
    # Where the unit is not said, "510m" could be half a farad or half a kilometre.
    if unit == "m" or (not unit and Decimal("0.001") <= value < 1):
        return f"{value.normalize():f}{unit}"
    number, _, prefix = format_quantity(float(value), "F", 3).removesuffix("F").partition(" ")
    prefix = prefix.replace("\N{MICRO SIGN}", "u").replace("\N{GREEK SMALL LETTER MU}", "u")
    return f"{number} {prefix}{unit}" if unit else f"{number}{prefix}"


def steps_from(value: float, up: bool, count: int, series: str = "E12") -> tuple[tuple[float, str], ...]:
    """The next preferred values above or below a value, nearest first.

    Parameters
    ----------
    value : float
        Above zero; need not be a preferred value.
    up : bool
        Above it, else below.
    count : int
        How many.
    series : str
        One of :data:`SERIES`.

    Returns
    -------
    steps : tuple of (float, str)
        Each as a number and as an engineer writes it, without a unit.
    """
    start = Decimal(repr(float(value)))
    decades = -(-count // len(SERIES[series])) + 1
    every = sorted(
        Decimal(step).scaleb(start.adjusted() + decade - 2)
        for decade in range(-decades, decades + 1)
        for step in SERIES[series]
    )
    # A value that is the preferred one but for its last digits is not a step away from it.
    low, high = start * Decimal("0.999"), start * Decimal("1.001")
    found = [step for step in every if step > high] if up else [step for step in reversed(every) if step < low]
    return tuple((float(step), _written(step, "")) for step in found[:count])


def nearest_value(value: float, series: str) -> float:
    """The preferred value nearest to a value, by ratio.

    Parameters
    ----------
    value : float
        Above zero.
    series : str
        One of :data:`SERIES`.
    """
    start = Decimal(repr(float(value)))
    # Both neighbour decades count: the nearest to 9.9 is 10.
    every = [
        float(Decimal(step).scaleb(start.adjusted() + decade - 2)) for decade in (-1, 0, 1) for step in SERIES[series]
    ]
    return min(every, key=lambda step: abs(math.log(step / value)))
