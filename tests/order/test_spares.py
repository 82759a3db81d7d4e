"""Numbers of spares against exact sums."""

from fractions import Fraction
from math import comb, exp, factorial

import pytest

from sim.order.spares import at_least_probability, attrition, independent_boards, life_stock


def _at_least(wanted, boards, share):
    """P(at least so many), exact rational arithmetic."""
    p = Fraction(share)
    return sum(comb(boards, k) * p**k * (1 - p) ** (boards - k) for k in range(wanted, boards + 1))


@pytest.mark.parametrize(
    ("wanted", "share", "boards"),
    [  # smallest n with P(at least m good) >= 95 %: binomial, exact, own calculation
        (4, "0.90", 6),
        (8, "0.90", 11),
        (9, "0.90", 12),
        (24, "0.90", 30),
        (4, "0.95", 5),
        (8, "0.95", 10),
        (9, "0.95", 11),
        (24, "0.95", 27),
        (4, "0.98", 5),
        (8, "0.98", 9),
        (9, "0.98", 10),
        (24, "0.98", 26),
    ],
)
def test_boards_if_each_were_good_by_itself(wanted, share, boards):
    """The number is the smallest whose exact binomial tail reaches 95 %."""
    assert independent_boards(wanted, float(share), 0.95, 100) == boards
    assert _at_least(wanted, boards, share) >= Fraction("0.95") > _at_least(wanted, boards - 1, share)


def test_tail_is_the_binomial_sum():
    """The tail equals the exact sum, and is certain or impossible where it must be."""
    assert at_least_probability(9, 12, 0.9) == pytest.approx(float(_at_least(9, 12, "0.9")), rel=1e-12)
    assert at_least_probability(0, 3, 0.1) == 1 and at_least_probability(4, 3, 1.0) == 0
    assert at_least_probability(3, 3, 1.0) == 1


def test_no_number_is_enough():
    """A yield of zero, or one too low for the bound, has no number."""
    assert independent_boards(8, 0.0, 0.95, 50) is None
    assert independent_boards(8, 0.1, 0.95, 50) is None


@pytest.mark.parametrize(("lost", "years", "stock"), [(0, 15, 0), (0.2, 10, 5), (0.5, 20, 15), (1.0, 1, 3)])
def test_stock_for_life(lost, years, stock):
    """The stock is the smallest whose Poisson sum, term by term, reaches 95 % (hand calculation)."""
    mean = lost * years
    enough = [sum(exp(-mean) * mean**k / factorial(k) for k in range(n + 1)) >= 0.95 for n in range(stock + 1)]
    assert life_stock(lost, years) == stock and enough == [False] * stock + [True]


@pytest.mark.parametrize(("soldered", "more"), [(0, 0), (1, 2), (40, 2), (41, 3), (100, 5), (101, 6)])
def test_attrition(soldered, more):
    """Five in a hundred, at least two, none of what is not there."""
    assert attrition(soldered) == more
