"""What the keys of a study are made of: readers of quantities and texts, and the table that all tables are.

What is wrong with a value is said here, by the value alone; :mod:`sim.study.read` adds file, line and key.
"""

from functools import partial
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from sim.errors import shown
from sim.quantity import PartValue, QuantityError, Tolerance, parse_part, parse_quantity

LONGEST_TEXT = 200
MOST_VALUES = 1000


def number_in(text, unit: str, low: float, high: float, what: str) -> float:
    """A number with its unit, inside a range.

    Parameters
    ----------
    text : str or number
    unit : str
        As :func:`sim.quantity.parse_quantity` knows them.
    low, high : float
        Smallest and largest. [as the unit]
    what : str
        What to write instead.

    Raises
    ------
    QuantityError
        With what was found and what would do.
    """
    value = parse_quantity(text, unit)
    if not low <= value <= high:
        raise QuantityError(f"{shown(text)} is out of range.", what)
    return value


def quantity(unit: str, low: float, high: float, what: str):
    """Type of a key that is a number with a unit; arguments as for :func:`number_in`."""
    return Annotated[float, BeforeValidator(partial(number_in, unit=unit, low=low, high=high, what=what))]


def drawn_in(value, unit: str, low: float, high: float, what: str) -> PartValue:
    """A value with tolerance and words, its nominal value inside a range; arguments as for :func:`number_in`.

    Raises
    ------
    QuantityError
        With what was found and what would do.
    """
    part = value if isinstance(value, PartValue) else parse_part(value, unit)
    if not low <= part.value <= high:
        raise QuantityError(f"{shown(value)} is out of range.", what)
    return part


def part_value(unit: str, low: float, high: float, what: str):
    """A value that may have a tolerance and words, as the parts of a circuit have."""
    return Annotated[PartValue, BeforeValidator(partial(drawn_in, unit=unit, low=low, high=high, what=what))]


SERIES = PartValue(0.0, Tolerance(-0.01, 0.01), ("thick-film",))
"""What a resistor in series is where its text says no more than ohms."""


def series_value(value) -> PartValue:
    """A resistor in series with a circuit; 0 for none. [Ω]

    Raises
    ------
    QuantityError
        With what was found and what would do.
    """
    what = 'Write 0.1 to 100k, for example "47" or "47 1% thick-film lot", or 0 for none.'
    part = value if isinstance(value, PartValue) else parse_part(value, "ohm", default=SERIES)
    if part.value != 0 and not 0.1 <= part.value <= 1e5:
        raise QuantityError(f"{shown(value)} is out of range.", what)
    return part


def whole_in(value, low: int, high: int, what: str) -> int:
    """A whole number inside a range; arguments as for :func:`number_in`.

    Raises
    ------
    QuantityError
        With what was found and what would do.
    """
    if isinstance(value, bool) or not isinstance(value, int):
        raise QuantityError(f"{shown(value)} is not a whole number.", what)
    if not low <= value <= high:
        raise QuantityError(f"{shown(value)} is out of range.", what)
    return value


def whole_number(low: int, high: int, what: str):
    """Type of a key that is a whole number; arguments as for :func:`number_in`."""
    return Annotated[int, BeforeValidator(partial(whole_in, low=low, high=high, what=what))]


def is_plain_text(value) -> bool:
    """Whether a value is one line of text, neither empty nor very long."""
    return isinstance(value, str) and bool(value.strip()) and value.isprintable() and len(value) <= LONGEST_TEXT


def plain_text(value) -> str:
    """A line of text.

    Raises
    ------
    QuantityError
        With what was found and what would do.
    """
    if not isinstance(value, str) or not value.strip():
        raise QuantityError(f"{shown(value)} is no text.", 'Write words in quotes: "…".')
    # Text goes into decks, tables and pages as it is, so it must not begin a line of its own there.
    if not is_plain_text(value):
        raise QuantityError(f"{shown(value)} is no plain line of text.", f"Write one line, up to {LONGEST_TEXT} signs.")
    return value


def filled(values, what: str) -> None:
    """Refuse what is no list, or an empty one.

    Parameters
    ----------
    values : object
    what : str
        What to write instead.

    Raises
    ------
    QuantityError
        With what was found and what would do.
    """
    if not isinstance(values, list | tuple):
        raise QuantityError(f"{shown(values)} is not a list.", what)
    if not values:
        raise QuantityError("the list is empty.", what)


Text = Annotated[str, BeforeValidator(plain_text)]


class StudyTable(BaseModel):
    """A table of a study: frozen, and no key but its own."""

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)

    @property
    def unsaid(self) -> tuple[str, ...]:
        """Keys that are not written out, because others take their place."""
        return ()


def study_key(description: str, example: str, unit: str = "", default: Any = ...):
    """A key of a table with what help and documentation say of it.

    Parameters
    ----------
    description, example, unit : str
    default : object
        Left out: the key must be given.
    """
    return Field(default=default, description=description, json_schema_extra={"unit": unit, "example": example})
