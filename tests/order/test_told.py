"""What is said of a plan: the number, why there is none, and what each grade does to it."""

import math
from dataclasses import replace
from types import SimpleNamespace

import pytest

from sim.order.boards import Need
from sim.order.grades import Regrade
from sim.order.mark import lot_words, study_digest
from sim.order.plan import Plan, Tried, Wish
from sim.order.prices import Prices
from sim.order.purchase import Item
from sim.order.told import order_answer
from sim.quantity import parse_part

STUDY = SimpleNamespace(title="Made up", run=SimpleNamespace(seed=1))
WISH = Wish(use=16, reference=1, selection=0, confidence=0.95, builds=300)
NEED = Need(17, 19, 23, 0.96, 0.93, 0.98, 0.97, 0.95, 0.99, 0.0, 300)
NONE = replace(NEED, boards=None, share=0.8, share_low=0.75, share_high=0.85, good_share=0.9, hopeless=0.12)


def part(names=("Cf",), pieces=21, **more):
    """A line of the purchase table."""
    basis = Item(names, "part", "sets the gain", 1e-11, "F", 1e-11, "2 %", "c0g", 1, pieces - 2, 2, 0, True, "", {})
    return replace(basis, **more)


def plan(need=NEED, **more):
    """A plan without anything special."""
    items = (part(),) if need.boards else ()
    basis = Plan(WISH, need, 18, {"gain_db": 0.03}, (), 0, 6900, "", (), items, (), None, (), 0)
    return replace(basis, **more)


def tried(tighter, boards, share=0.99, **more):
    """Cf in another grade."""
    grade = Regrade("Cf", "2 %", "1 %" if tighter else "5 %", tighter, parse_part("10p 1%", "F"))
    need = replace(NEED, boards=boards)
    return Tried((grade,), need, share, (part(pieces=boards + 2, **more),) if boards else ())


def told(made, **more):
    """All that is said."""
    answer = order_answer(made, STUDY, 0, more.pop("choice", {}), "digest", **more)
    return " ".join((*answer["verdict"], *answer["grade_notes"], *answer["notes"])), answer


def test_number_and_what_independence_says():
    """The number comes first with its interval; beside it what boards by themselves would need."""
    words, answer = told(plan(), choice={"feedline.cable": "rg58", "amplifier.opamp": "OPA810"})
    assert words.startswith(
        "Build 19 boards with feedline.cable = rg58 and amplifier.opamp = OPA810: 17 good ones (16 to use and 1 to keep"
        " untouched as a reference) were among them in 96.0 % of 300 simulated builds (95 % interval 93.0 to 98.0 %;"
        " 95 % asked)."
    )
    assert "18 would do; boards of one build share their lots" in words
    assert "What boards fail: bench gain (3.0 % of boards)." in words and "others with --scenario" in words
    assert (answer["boards"], answer["independent_boards"]) == (19, 18)
    assert "the number would be the same" in told(plan(independent=19))[0]


def test_no_number():
    """Lots that are off are told from a thin design, and a nominal board outside its limits is named."""
    words, answer = told(plan(NONE))
    assert words.startswith("No: no number of boards up to 63 gives 17 good ones") and answer["boards"] is None
    assert "18 would do. But boards of one build share their lots" in words and "(12.0 % of builds)" in words
    thin = told(plan(replace(NONE, good_share=0.1), independent=None, outside=("gain_db",)))[0]
    assert "Too few boards are good: 10.0 %." in thin and "share their lots" not in thin
    assert "The nominal board itself is outside bench gain" in thin


@pytest.mark.parametrize(
    ("need", "one", "said"),
    [
        (NEED, tried(False, 19), "Cf may be 5 %: boards needed stay 19 (99.0 % of boards good instead of 97.0 %)."),
        (NEED, tried(False, 24), "Cf at 5 % instead of 2 %: 24 boards instead of 19"),
        (NEED, tried(False, None), "Cf must not be 5 %: no number of boards up to 63 would do"),
        (NEED, tried(True, 17), "Cf at 1 % instead of 2 %: 17 boards instead of 19"),
        (NEED, tried(True, 19), "Cf at 1 % instead of 2 % saves no board: still 19"),
        (NONE, tried(True, 18), "Cf at 1 % instead of 2 % mends it: 18 boards"),
        (NONE, tried(True, None), "Cf at 1 % instead of 2 %: still no number of boards"),
    ],
)
def test_grades(need, one, said):
    """Each outcome of a re-run has its sentence."""
    assert said in told(plan(need, tried=(one,), reruns=1))[0]


@pytest.mark.parametrize(
    ("need", "tighter", "boards", "said"),
    [
        (NEED, False, 19, "All of them together, Cf at 5 % and Ro at 5 %: boards needed stay 19 (99.0 % of"),
        (NEED, False, 23, "All of them together, Cf at 5 % and Ro at 5 %: 23 boards instead of 19"),
        (NEED, False, None, "Not all of them together: with Cf at 5 % and Ro at 5 % no number up to 63 will do"),
        (NONE, True, 18, "Together, Cf at 1 % and Ro at 1 % mend it: 18 boards"),
        (NONE, True, None, "Even together, Cf at 1 % and Ro at 1 %: no number of boards"),
    ],
)
def test_grades_together(need, tighter, boards, said):
    """Grades that were run together are told as such, and the answer for programs names them."""
    one = tried(tighter, boards)
    (grade,) = one.grades
    words, answer = told(plan(need, together=replace(one, grades=(grade, replace(grade, part="Ro"))), reruns=1))
    assert said in words
    assert answer["together"]["grades"] == {"Cf": grade.grade, "Ro": grade.grade}
    assert answer["together"]["boards"] == boards
    assert told(plan(need, tried=(one,), reruns=1))[1]["together"] is None


def test_price_of_grades_together():
    """Two parts in other grades change the price of the whole order by both: hand calculation."""
    prices = Prices("EUR", {"Cf": {"2%": 0.3, "5%": 0.1}, "Ro": {"2%": 0.04, "5%": 0.01}}, {})
    one = tried(False, 19)
    (grade,) = one.grades
    items = (part(), part(("Ro",)))
    both = replace(one, grades=(grade, replace(grade, part="Ro")), items=items)
    words, answer = told(plan(items=items, together=both, reruns=1), prices=prices)
    assert answer["together"]["price_change"] == pytest.approx(21 * (0.1 - 0.3) + 21 * (0.01 - 0.04))
    assert "The order then costs 4.83 EUR less." in words


def test_a_difference_of_one_is_not_overrated():
    """One board more or less is said to be within chance, two are not."""
    assert "may be chance" in told(plan(tried=(tried(True, 18),), reruns=1))[0]
    assert "may be chance" not in told(plan(tried=(tried(True, 17),), reruns=1))[0]


def test_price_of_a_grade():
    """With prices of both grades the change of the whole order is told: hand calculation; without, nothing is."""
    prices = Prices("EUR", {"Cf": {"1%": 0.4, "2%": 0.1}, "board": {"": 3.0}}, {})
    words, answer = told(plan(tried=(tried(True, 17),), reruns=1), prices=prices)
    # 17 boards and 19 pieces of 0.40 against 19 boards and 21 pieces of 0.10
    assert answer["grades"][0]["price_change"] == pytest.approx(17 * 3 + 19 * 0.4 - 19 * 3 - 21 * 0.1)
    assert "The order then costs 0.50 EUR less." in words and "Price: 59.10 EUR." in words
    one_price = Prices("EUR", {"Cf": {"": 0.1}}, {})
    assert told(plan(tried=(tried(True, 17),), reruns=1), prices=one_price)[1]["grades"][0]["price_change"] is None


def test_stock_and_values():
    """Stock for later years is told with its rule; a value that is not stocked with its nearest."""
    wish = replace(WISH, years=15, losses=0.2)
    words, answer = told(plan(wish=wish, items=(part(value=1.05e-11, preferred=1.1e-11),)))
    assert "bought for 6 boards more: 0.2 lost a year, 15 years" in words and answer["life"]["boards"] == 6
    assert "Cf: 10.5 pF is not a stocked value (IEC 60063); the nearest is 11 pF." in words
    assert answer["items"][0]["is_preferred"] is False


def test_boards_that_did_not_simulate_are_told():
    """They count as bad, and the reason of the first stands there."""
    assert (
        "7 of 6900 simulated boards did not simulate and count as bad; the first: no."
        in told(plan(failed=7, reason="no"))[0]
    )


def test_answer_is_plain_json():
    """No infinite or missing number gets into the file."""
    import json

    made = plan(
        replace(NEED, good_low=math.nan), items=(part(sort="op-amp", names=("Xamp", "OPA810"), value=math.nan),)
    )
    json.dumps(told(made)[1], allow_nan=False)


def test_lots_in_few_words():
    """What makes the match is told with its share."""
    item = {"one_lot": True, "share_match_gain": 0.68, "share_match_phase": None}
    assert lot_words(item) == "yes: 68 % of gain match"
    assert lot_words(item | {"share_match_phase": 0.9}) == "yes: 90 % of phase match"
    assert lot_words(item | {"share_match_gain": 0.01}) == "yes, as in the study"
    assert lot_words(item | {"one_lot": False}) == "–"


def test_digest_of_a_study():
    """The layout and the number of units do not count, all else does."""
    text = 'title = "a"\n[run]\nunits = 3\nseed = 1\n'
    assert study_digest(text) == study_digest(text.replace("units = 3", "units  =  400"))
    assert study_digest(text) != study_digest(text.replace("seed = 1", "seed = 2"))
