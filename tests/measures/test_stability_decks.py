"""Decks whose loops are known: the loop code must give the right verdict, count and margins."""

import csv
from pathlib import Path

import pytest

from sim.engine.ngspice import Simulator
from sim.measures.deck_loop import find_probes, judge_deck_loop

DECKS = Path(__file__).parent.parent / "circuits" / "stability"
TABLE = Path(__file__).parent.parent / "data" / "stability-decks.csv"


def _rows():
    with open(TABLE, encoding="utf-8") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


@pytest.fixture(scope="module")
def verdicts():
    """Verdict of every deck, by name."""
    simulator = Simulator()
    found = {}
    for path in sorted(DECKS.glob("*.cir")):
        lines = [line for line in path.read_text(encoding="ascii").splitlines() if line]
        (probe,) = find_probes(lines)
        found[path.stem] = judge_deck_loop(simulator, lines, probe)
    return found


def _allowed(row) -> float:
    """The table's tolerance as a number in the quantity's unit; a percentage is of the value."""
    value = abs(float(row["value"]))
    widest = 0.0
    for part in row["tolerance"].split(" or "):
        part = part.strip()
        if part == "exact":
            return 0.0
        number = float(part.rstrip("% "))
        widest = max(widest, number / 100 * value if part.endswith("%") else number)
    return widest


@pytest.mark.parametrize("row", _rows(), ids=lambda row: f"{row['deck']}-{row['quantity']}")
def test_deck_has_the_known_loop(verdicts, row):
    """Each quantity is within the tolerance that its source states."""
    verdict = verdicts[row["deck"]]
    assert verdict.resolved
    assert float(getattr(verdict, row["quantity"])) == pytest.approx(float(row["value"]), abs=_allowed(row), rel=0)


def test_every_deck_is_in_the_table(verdicts):
    """No deck goes unjudged and no row is about a deck that is gone."""
    assert {row["deck"] for row in _rows()} == set(verdicts)
    assert len(verdicts) == 11
