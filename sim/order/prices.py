"""Prices, where the builder has some: none are invented.

A file of prices is TOML, all prices in one currency::

    currency = "EUR"

    [piece]
    Cf = {"1 %" = 0.12, "2 %" = 0.05}   # by grade, as the order names it
    Ro = 0.01                           # the same in every grade
    OPA2822 = 5.20                      # a package
    board = 3.50                        # bare board, box, connectors: whatever each board needs beside

    [metre]
    rg6-ccs = 0.45
"""

import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from sim.errors import Fault, StudyError, shown
from sim.order.purchase import Item
from sim.study.files import syntax_fault

LARGEST_FILE = 200_000
"""Bytes of the largest file of prices that is read."""
BOARD = "board"
_MOST_PRICE = 1e6
_EXAMPLE = 'Write, for example, [piece] with Cf = {"1 %" = 0.12, "2 %" = 0.05}, [metre] with rg6-ccs = 0.45.'


@dataclass(frozen=True)
class Prices:
    """Prices in one currency.

    Attributes
    ----------
    currency : str
    piece : dict of str to dict of str to float
        By name, then by grade; the grade "" stands for all.
    metre : dict of str to float
        Of cables, by name.
    """

    currency: str
    piece: Mapping[str, Mapping[str, float]]
    metre: Mapping[str, float]

    def each(self, item: Item, grade: str | None = None) -> float:
        """Price of a piece, of a cable that of a unit's whole length; NaN where it is not known.

        Parameters
        ----------
        item : Item
        grade : str, optional
            Instead of the item's own.
        """
        if item.sort == "cable":
            return self.metre.get(item.names[0], math.nan) * item.value
        wanted = _folded(item.grade if grade is None else grade)
        for name in item.names:
            grades = self.piece.get(name)
            if grades is not None:
                return grades.get(wanted, grades.get("", math.nan))
        return math.nan

    @property
    def board(self) -> float:
        """What each board costs beside its parts; 0 where nothing is given."""
        return self.piece.get(BOARD, {}).get("", 0.0)


@dataclass(frozen=True)
class Total:
    """Price of a whole order.

    Attributes
    ----------
    total : float
        Of what has a price.
    unpriced : tuple of str
        Names of what has none.
    """

    total: float
    unpriced: tuple[str, ...]


def total_price(prices: Prices, items: Sequence[Item], boards: int, grades: Mapping[str, str] | None = None) -> Total:
    """Price of a purchase table.

    Parameters
    ----------
    prices : Prices
    items : sequence of Item
    boards : int
    grades : mapping of str to str, optional
        Grades of parts that are bought in another than their items'. A line of several parts is taken as a whole.
    """
    total, unpriced = boards * prices.board, []
    for item in items:
        other = next((grade for name, grade in (grades or {}).items() if name in item.names), None)
        each = prices.each(item, other)
        if math.isnan(each):
            unpriced.append(", ".join(item.names))
        else:
            total += each * item.pieces
    return Total(total, tuple(unpriced))


def read_prices(path: str) -> Prices:
    """A file of prices.

    Parameters
    ----------
    path : str
        As the builder named it.

    Raises
    ------
    StudyError
        It cannot be read, or holds something else; all of it.
    """
    text = _text(path)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise StudyError(syntax_fault(error, text, path)) from error
    except (RecursionError, ValueError):
        raise StudyError(Fault(path, None, None, "is no file of prices.", _EXAMPLE)) from None
    faults: list[Fault] = []

    def price(key: str, value) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= _MOST_PRICE:
            found = f"{shown(value)} is no price."
            faults.append(Fault(path, _line(text, key), key, found, "Write a number, 0 or more, without a currency."))
            return math.nan
        return float(value)

    for key in data:
        if key not in ("currency", "piece", "metre"):
            faults.append(Fault(path, _line(text, key), shown(key)[1:-1], "is not a key of prices.", _EXAMPLE))
    currency = data.get("currency", "")
    if not isinstance(currency, str) or not re.fullmatch(r"[^\W\d_]{1,8}|[€$£¥]|", currency):
        faults.append(Fault(path, _line(text, "currency"), "currency", f"is {shown(currency)}.", 'Write "EUR".'))
        currency = ""
    tables = {}
    for table in ("piece", "metre"):
        tables[table] = data.get(table, {})
        if not isinstance(tables[table], dict):
            faults.append(Fault(path, _line(text, table), table, "is not a table.", _EXAMPLE))
            tables[table] = {}
    piece = {}
    for name, value in tables["piece"].items():
        grades = value if isinstance(value, dict) else {"": value}
        piece[name] = {_folded(grade): price(name, one) for grade, one in grades.items()}
    metre = {name: price(name, value) for name, value in tables["metre"].items()}
    if not piece and not metre and not faults:
        faults.append(Fault(path, None, None, "holds no prices.", _EXAMPLE))
    if faults:
        raise StudyError(faults)
    return Prices(currency, piece, metre)


def unknown_names(prices: Prices, items: Sequence[Item]) -> tuple[str, ...]:
    """Names in a file of prices that stand for nothing in the purchase table."""
    known = {name for item in items for name in item.names} | {BOARD}
    return tuple(name for name in (*prices.piece, *prices.metre) if name not in known)


def _folded(grade: str) -> str:
    """A grade as it is compared: "±2 %", "2%" and "2 %" are one."""
    return "".join(grade.split()).removeprefix("±").lower()


def _text(path: str) -> str:
    try:
        if not Path(path).is_file():
            raise StudyError(Fault(path, None, None, "is no file.", "Name a file of prices (.toml)."))
        with open(path, "rb") as file:
            raw = file.read(LARGEST_FILE + 1)
        if len(raw) > LARGEST_FILE:
            raise StudyError(Fault(path, None, None, "is larger than 200 kB.", "Is this the file of prices?"))
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise StudyError(Fault(path, None, None, "is not UTF-8 text.", "Save the file as UTF-8.")) from error
    except (OSError, ValueError) as error:
        raise StudyError(Fault(shown(path)[1:-1], None, None, "cannot be read.", "Name a file of prices.")) from error


def _line(text: str, key: str) -> int | None:
    """Line on which a key first stands; None where it is written in a way of its own."""
    for number, line in enumerate(text.splitlines(), start=1):
        if re.match(rf"""\s*\[*["']?{re.escape(key)}["']?\s*[=\].]""", line):
            return number
    return None
