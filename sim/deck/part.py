"""Parts of a circuit: R, C and L with value, tolerance, kind and purpose, as a circuit's file writes them."""

import math
import re
from dataclasses import dataclass
from decimal import Decimal

from sim.quantity import PartValue, QuantityError, parse_tolerance_and_words

UNITS = {"R": "ohm", "C": "F", "L": "H"}
"""Unit of each kind of part."""
UNIT_WORDS = {"R": "ohm", "C": "farad", "L": "henry"}
"""The same as people say it."""
RANGES = {"R": (1e-3, 1e12), "C": (1e-15, 0.1), "L": (1e-12, 1e3)}
"""Values that parts of an amplifier may have in a study: a capacitor of 10 farad is one of which the prefix was left
out. Common practice, no source. [Ω, F, H]"""

_SUFFIXES = {"": 0, "t": 12, "g": 9, "meg": 6, "k": 3, "m": -3, "u": -6, "n": -9, "p": -12, "f": -15}
_VALUE = re.compile(r"((?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)([A-Za-z]*)")
_ENDINGS = {"R": ("", "ohm", "ohms", "r"), "C": ("", "f", "farad"), "L": ("", "h", "henry")}


@dataclass(frozen=True)
class Part:
    """A resistor, capacitor or inductor of the circuit.

    Attributes
    ----------
    name : str
        As written, "Cf".
    kind : str
        R, C or L.
    nodes : tuple of two str
    value : PartValue
        Nominal value [Ω, F, H], tolerance and words.
    purpose : str
        What it is for, as the circuit says.
    line : int
        In the circuit's file; 0 for a part that the study puts before or behind it.
    element : str
        Name in a deck, where it is another.
    model : str
        Of a capacitor that is a junction: name of its diode model, of 1 pF.
    """

    name: str
    kind: str
    nodes: tuple[str, str]
    value: PartValue
    purpose: str
    line: int
    element: str = ""
    model: str = ""

    @property
    def card_name(self) -> str:
        """Name of its element in a deck: of a part of the circuit its own, lower case."""
        return self.element or self.name.lower()

    def card(self, a: str, b: str, value: float) -> str:
        """Its card between two nodes of a deck.

        Parameters
        ----------
        a, b : str
            Of a junction the cathode is at `a`.
        value : float
            [Ω, F, H]
        """
        if self.model:
            return f"{self.card_name} {b} {a} {self.model} area={value * 1e12!r}"
        return f"{self.card_name} {a} {b} {value!r}"


def written_value(text: str, comment: str, kind: str) -> tuple[PartValue, str]:
    """Value of a part, and what it is for.

    Parameters
    ----------
    text : str
        The value in SPICE's notation.
    comment : str
        What stands behind the semicolon: tolerance, words, two or more blanks, purpose.
    kind : str
        R, C or L.

    Raises
    ------
    QuantityError
        No value, no tolerance, or a word that is none for a part.
    """
    nominal = spice_value(text, kind)
    told, *purpose = re.split(r"\s{2,}", comment, maxsplit=1)
    tolerance, words = _tolerance(told, nominal, kind)
    return PartValue(nominal, tolerance, words), "".join(purpose).strip()


def _tolerance(told: str, nominal: float, kind: str):
    example = {"R": "5% thick-film", "C": "2% C0G", "L": "10% wound"}[kind]
    missing = QuantityError("there is no tolerance.", f'Write it behind a semicolon: "; {example}  its purpose".')
    if not told[:1].isdigit() and not told.startswith(("-", ".")):
        raise missing
    try:
        tolerance, words = parse_tolerance_and_words(told, nominal, UNITS[kind])
    except QuantityError as error:
        remedy = error.remedy
        if "is not a word" in error.found:
            remedy += " Put two blanks before the purpose."
        raise QuantityError(error.found, remedy) from error
    if tolerance is None:
        raise missing
    return tolerance, words


def spice_value(text: str, kind: str) -> float:
    """A part's value as SPICE reads it, refused where SPICE and people read it differently.

    Parameters
    ----------
    text : str
        "10k", "1meg", "8.2p", "4.7e-9", "100nF".
    kind : str
        R, C or L.

    Returns
    -------
    float
        [Ω, F or H]

    Raises
    ------
    QuantityError
        No number above zero, or a suffix that is easily misread: M (milli in SPICE), 4k7, a bare F, mil.
    """
    match = _VALUE.fullmatch(text)
    if match is None:
        infix = re.fullmatch(r"(\d+)(meg|[A-Za-z])(\d+)", text)
        if infix:
            meant = f"{infix[1]}.{infix[3]}{infix[2]}"
            raise QuantityError(f'SPICE reads "{text}" as {infix[1]}{infix[2]}.', f"Write {meant}.")
        raise QuantityError(f'"{text}" is no value in {UNIT_WORDS[kind]}.', f"Write for example {_like(kind)}.")
    number, letters = match.groups()
    if re.match(r"M(?![A-Za-z])|M(?=[oOFHhR])", letters):
        raise QuantityError(f'SPICE reads "{text}" as milli.', f"Write {number}meg for mega or {number}m for milli.")
    if kind == "C" and letters in ("F", "farad", "Farad"):
        raise QuantityError(f'SPICE reads "{text}" as femto.', f"Write {number}f for femtofarad or {number} for farad.")
    folded = letters.lower()
    for suffix in sorted(_SUFFIXES, key=len, reverse=True):
        if folded.startswith(suffix) and folded[len(suffix) :] in _ENDINGS[kind]:
            value = float(Decimal(number).scaleb(_SUFFIXES[suffix]))
            if not (math.isfinite(value) and value > 0):
                raise QuantityError(f'"{text}" is not above zero.', f"Write a number in {UNIT_WORDS[kind]}.")
            return value
    raise QuantityError(f'"{text}" is no value in {UNIT_WORDS[kind]}.', f"Write for example {_like(kind)}.")


def _like(kind: str) -> str:
    return {"R": "10k or 1meg", "C": "8.2p or 100n", "L": "220u or 1m"}[kind]
