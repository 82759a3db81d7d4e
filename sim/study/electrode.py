"""Earth electrodes in the words of a study: "open", "300", "rod", "two rods", "300 + two rods"."""

import math
import re

from sim.errors import shown
from sim.quantity import QuantityError, format_quantity, parse_quantity

RODS = {"rod": 1, "two rods": 2}
"""Words for earth rods, and how many they are."""
_LARGEST = 1e6


def electrode(value, least: float, may_open: bool) -> str | float:
    """An electrode as it is kept: a number of ohms, or words in one spelling.

    Parameters
    ----------
    value : str or number
        As written in a study.
    least : float
        Smallest resistance without a rod. [Ω]
    may_open : bool
        Whether the end may stay open.

    Raises
    ------
    QuantityError
        It is neither.
    """
    first = 'Write "open", or the' if may_open else "Write the"
    remedy = f'{first} resistance to earth, electrode included: "300"; or earth rods: "rod", "two rods", "300 + rod".'
    if may_open and value == "open":
        return "open"
    try:
        if not isinstance(value, str):
            return _ohms(value, least)
        resistor, plus, rods = (re.sub(r"\s+", " ", word).strip() for word in value.partition("+"))
        if not plus and resistor in RODS:
            return resistor
        if not plus:
            return _ohms(value, least)
        if rods in RODS:
            ohms = _ohms(resistor, 0.0)
            return f"{format_quantity(ohms, 'ohm', 12)} + {rods}" if ohms else rods
    except QuantityError as error:
        raise QuantityError(error.found, remedy) from error
    raise QuantityError(f"{shown(value)} is no electrode.", remedy)


def electrode_parts(value: str | float) -> tuple[float, int]:
    """Resistor and number of rods of an electrode.

    Parameters
    ----------
    value : str or float
        From :func:`electrode`.

    Returns
    -------
    resistance : float
        inf where it is open. [Ω]
    rods : int
        0 to 2.
    """
    if value == "open":
        return math.inf, 0
    if not isinstance(value, str):
        return float(value), 0
    resistor, plus, rods = (word.strip() for word in value.partition("+"))
    return (parse_quantity(resistor, "ohm"), RODS[rods]) if plus else (0.0, RODS[resistor])


def _ohms(value, least: float) -> float:
    ohms = parse_quantity(value, "ohm")
    if not least <= ohms <= _LARGEST:
        raise QuantityError(f"{shown(value)} is out of range.", "")
    return ohms
