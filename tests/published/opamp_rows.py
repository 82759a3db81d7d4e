"""Rows of tests/data/opamp-examples/examples.csv, and which test checks which of them."""

import csv
import re
from dataclasses import dataclass
from pathlib import Path

import pytest

FILE = Path(__file__).parents[1] / "data" / "opamp-examples" / "examples.csv"
CHECKED: set[tuple[str, str]] = set()
"""Rows that a test has said it checks, by :func:`checks`."""


@dataclass(frozen=True)
class Row:
    """One value with its tolerance, relative where `share`, else in the row's unit."""

    value: float
    tolerance: float
    share: bool

    def near(self):
        """What a found value is compared with."""
        return pytest.approx(self.value, **{"rel" if self.share else "abs": self.tolerance})


def read() -> dict[tuple[str, str], dict]:
    """All rows as text, by case and quantity."""
    lines = FILE.read_text(encoding="utf-8").splitlines()
    return {(row["case"], row["quantity"]): row for row in csv.DictReader(line for line in lines if line[0] != "#")}


ROWS = read()


def row(case: str, quantity: str) -> Row:
    """One row; its tolerance must be a number."""
    entry = ROWS[case, quantity]
    number, percent = re.match(r"([0-9.]+) ?(%?)", entry["tolerance"]).groups()
    return Row(float(entry["value"]), float(number) / (100 if percent else 1), bool(percent))


def checks(case: str, *quantities: str):
    """Decorator of a test that checks these rows of a case."""
    for quantity in quantities:
        assert (case, quantity) in ROWS, (case, quantity)
        CHECKED.add((case, quantity))
    return lambda test: test
