"""Rows of tests/data/opamp-examples/examples.csv, and which test checks which of them."""

import csv
import re
from dataclasses import dataclass
from pathlib import Path

from tests.checks import Against, Standing

FILE = Path(__file__).parents[1] / "data" / "opamp-examples" / "examples.csv"
BY_HAND = Against("op-amp stages", "closed forms of one and two poles", Standing.HAND)
SHEETS = Against("op-amp stages", "examples and formulas of TI and Analog Devices data sheets", Standing.SHEET)
CHECKED: set[tuple[str, str]] = set()
"""Rows that a test has said it checks, by :func:`checks`."""


@dataclass(frozen=True)
class Row:
    """One value with its tolerance, relative where `share`, else in the row's unit."""

    value: float
    tolerance: float
    share: bool
    case: str
    quantity: str
    unit: str
    against: Against

    def held(self, check, ours, rel: float | None = None) -> None:
        """Compare a found value with it, within its own tolerance or a wider one whose reason stands at the number."""
        size = {"rel" if self.share else "abs": self.tolerance} if rel is None else {"rel": rel}
        ours = float(ours)
        check(self.quantity, ours, self.value, **size, unit=self.unit, case=self.case, against=self.against)


def read() -> dict[tuple[str, str], dict]:
    """All rows as text, by case and quantity."""
    lines = FILE.read_text(encoding="utf-8").splitlines()
    return {(row["case"], row["quantity"]): row for row in csv.DictReader(line for line in lines if line[0] != "#")}


ROWS = read()


def row(case: str, quantity: str) -> Row:
    """One row; its tolerance must be a number."""
    entry = ROWS[case, quantity]
    number, percent = re.match(r"([0-9.]+) ?(%?)", entry["tolerance"]).groups()
    told, unit = entry["source"], "" if entry["unit"] == "1" else entry["unit"]
    return Row(
        float(entry["value"]),
        float(number) / (100 if percent else 1),
        bool(percent),
        case,
        quantity,
        unit,
        BY_HAND if told.startswith("hand") else SHEETS,
    )


def checks(case: str, *quantities: str):
    """Decorator of a test that checks these rows of a case."""
    for quantity in quantities:
        assert (case, quantity) in ROWS, (case, quantity)
        CHECKED.add((case, quantity))
    return lambda test: test
