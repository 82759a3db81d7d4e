"""Confidence intervals of a yield against Clopper and Pearson, and against what defines them.

Sources: C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404; E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209. The
values of tests/data/binomial-clopper-pearson-1934 are an earlier computation of our own from these definitions, four
decimals; the prints were not at hand. The binomial sums below are exact rational arithmetic, without the beta function.
"""

import csv
from fractions import Fraction
from math import comb
from pathlib import Path

import pytest

from sim.summary.yields import clopper_pearson
from tests.checks import NOT_AT_HAND, Against, Standing

AGAINST = Against("intervals of a share", "Wilson 1927; Clopper and Pearson 1934", Standing.PAPER, NOT_AT_HAND)
TABLE = Path(__file__).parents[1] / "data" / "binomial-clopper-pearson-1934" / "yields.csv"
LINES = TABLE.read_text(encoding="utf-8").splitlines()
ROWS = list(csv.DictReader(line for line in LINES if line[0] != "#"))


def at_least(k, n, share):
    """P(at least k of n) by the binomial sum, exactly."""
    p = Fraction(share)
    return sum(comb(n, i) * p**i * (1 - p) ** (n - i) for i in range(k, n + 1))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['passed']}-of-{row['n']}")
def test_clopper_pearson(check, row):
    """Both ends agree with the table to its last decimal."""
    low, high = clopper_pearson(int(row["passed"]), int(row["n"]))
    check("lower end", low, float(row["low"]), abs=5.1e-5)
    check("upper end", high, float(row["high"]), abs=5.1e-5)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['passed']}-of-{row['n']}")
def test_never_tighter_below_than_wilson(row):
    """The exact interval begins below and ends above Wilson's, which is allowed to be optimistic."""
    low, high = clopper_pearson(int(row["passed"]), int(row["n"]))
    assert low < float(row["wilson_low"]) + 5e-5
    assert high > float(row["wilson_high"]) - 5e-5


@pytest.mark.parametrize(("passed", "n"), [(9, 10), (95, 100), (24, 24), (1, 7), (0, 12)])
def test_ends_leave_one_fortieth_on_each_side(passed, n):
    """At the low end as many passes have probability 0.025, at the high end as few: the definition."""
    low, high = clopper_pearson(passed, n)
    if passed > 0:
        assert float(at_least(passed, n, low)) == pytest.approx(0.025, rel=1e-9)
    if passed < n:
        assert float(1 - at_least(passed + 1, n, high)) == pytest.approx(0.025, rel=1e-9)


def test_all_pass():
    """With all of n passed the low end is 0.025^(1/n), in closed form; with none the high end is 1 minus that."""
    assert clopper_pearson(300, 300) == (pytest.approx(0.025 ** (1 / 300), rel=1e-12), 1.0)
    assert clopper_pearson(0, 300) == (0.0, pytest.approx(1 - 0.025 ** (1 / 300), rel=1e-12))


@pytest.mark.parametrize(("n", "low"), [(24, 0.883), (59, 0.9505), (300, 0.990)])
def test_one_sided(n, low):
    """Twice the tail gives the one-sided 95 % bound 0.05^(1/n): own computation, three or four digits."""
    assert clopper_pearson(n, n, level=0.90)[0] == pytest.approx(low, abs=6e-4)
    assert clopper_pearson(n, n, level=0.90)[0] == pytest.approx(0.05 ** (1 / n), rel=1e-12)
