"""Amplifiers drawn at random on random lines: the verdict against what the decks do after a kick (outside check)."""

import pytest

from sim.engine.ngspice import Simulator
from sim.stability.deck import read_deck
from sim.stability.judge import judge_deck
from sim.stability.transient import Ending
from sim.stability.trial import Trial, kicked
from tests.stability.random_amplifiers import KINDS, random_amplifier

UNDECIDABLE = 0.02
"""Margin below which a kick tells stable from unstable only by luck; the only excuse there is. [1]"""


def _trials(numbers) -> dict[int, Trial]:
    simulator, found = Simulator(), {}
    for number in numbers:
        deck = read_deck(random_amplifier(number), f"amplifier {number}")
        verdict = judge_deck(simulator, deck)
        found[number] = Trial(verdict, kicked(simulator, deck, verdict), "")
    return found


def _must_hold(trials: dict[int, Trial]) -> None:
    unresolved = {number: trial.verdict.doubts for number, trial in trials.items() if trial.verdict.doubts}
    assert unresolved == {}
    passed_but_oscillates = [n for n, trial in trials.items() if trial.verdict.stable and trial.kick.ending.unstable]
    assert passed_but_oscillates == []
    apart = {
        number: (trial.verdict.stable, trial.verdict.worst.loop.margin, trial.kick.ending)
        for number, trial in trials.items()
        if trial.doubts or trial.kick.ending is Ending.UNDECIDED
    }
    assert {number: found for number, found in apart.items() if found[1] >= UNDECIDABLE} == {}


@pytest.fixture(scope="module")
def few():
    """Forty of the draws."""
    return _trials(range(40))


def test_no_unstable_amplifier_is_called_stable(few):
    """Verdict and kick agree in every draw, unless its margin is too small for a kick to tell."""
    _must_hold(few)


def test_the_draws_are_worth_testing(few):
    """Every kind comes up, some oscillate and some do not, and one locus alone would have misled somewhere."""
    assert {number % KINDS for number in few} == set(range(KINDS))
    stable = sum(trial.verdict.stable for trial in few.values())
    assert 5 < stable < 35
    assert any(not trial.verdict.stable and trial.verdict.worst.loop.margin > 0.5 for trial in few.values()), (
        "an unstable one with a wide margin"
    )


def test_a_draw_depends_on_its_number_alone():
    """The same number is the same deck, whatever was drawn before."""
    assert random_amplifier(7) == random_amplifier(7) != random_amplifier(12)


@pytest.mark.slow
def test_three_hundred_amplifiers():
    """The same for all three hundred."""
    _must_hold(_trials(range(300)))
