"""Decks whose loops are known: right verdict, turns, margins and poles, and a kick in time must agree."""

import csv
from pathlib import Path

import numpy as np
import pytest

from sim.engine.ngspice import Simulator
from sim.stability.deck import read_deck
from sim.stability.judge import judge_deck
from sim.stability.trial import Trial, kicked
from tests.checks import Against, Standing

CLOSED = Against("loops of known decks", "closed forms of the netlists", Standing.HAND)
AGREED = Against("loops of known decks", "three ways to a verdict, transient analysis among them", Standing.PROGRAM)
OTHER = Against("loops of known decks", "margins by other code", Standing.OTHER_CODE)
DECKS = Path(__file__).parent.parent / "circuits" / "stability"
TABLE = Path(__file__).parent.parent / "data" / "stability-decks.csv"


def _rows():
    with open(TABLE, encoding="utf-8") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


@pytest.fixture(scope="module")
def trials():
    """Every deck judged and kicked, by name."""
    simulator = Simulator()
    found = {}
    for path in sorted(DECKS.glob("*.cir")):
        deck = read_deck(path.read_text(encoding="ascii"), path.name)
        verdict = judge_deck(simulator, deck)
        found[path.stem] = Trial(verdict, kicked(simulator, deck, verdict), "")
    return found


def _quantity(trial: Trial, name: str) -> float:
    verdict = trial.verdict
    match name:
        case "stable":
            return trial.stable
        case "within_half":
            return trial.stable and verdict.worst.loop.margin >= 0.5
        case "growth_hz" | "pole_freq_hz":
            (pole,) = verdict.poles
            return pole[name == "pole_freq_hz"]
    return getattr(verdict.worst.loop, name)


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
def test_deck_has_the_known_loop(check, trials, row):
    """Each quantity is within the tolerance that its source states."""
    found = float(_quantity(trials[row["deck"]], row["quantity"]))
    closed = row["source"].startswith("closed form")
    against = CLOSED if closed else (AGREED if row["source"].startswith("encirclement") else OTHER)
    check(row["quantity"], found, float(row["value"]), abs=_allowed(row), case=row["deck"], against=against)


def test_every_deck_is_in_the_table(trials):
    """No deck goes unjudged and no row is about a deck that is gone."""
    assert {row["deck"] for row in _rows()} == set(trials)
    assert len(trials) == 27


def test_all_ways_of_judging_agree(trials):
    """No verdict is left open, and a kick dies away in the stable decks and in no other."""
    assert {name: trial.doubts for name, trial in trials.items() if trial.doubts} == {}
    endings = {name: trial.kick.ending.unstable for name, trial in trials.items()}
    assert endings == {name: name.startswith("u") for name in trials}


def test_opened_networks_with_unstable_poles_are_found(trials):
    """An inner loop that is unstable by itself counts as one pole of the opened network, and only there."""
    opened = {name: trial.verdict.worst.loop.open_poles for name, trial in trials.items()}
    assert {name: count for name, count in opened.items() if count} == {
        "s24_inner_loop_unstable_outer_closed": 1,
        "u25_inner_loop_latch": 1,
        "u26_hidden_second_stage": 2,
    }


def test_a_latch_ends_elsewhere_without_ringing(trials):
    """The real pole of the weak outer loop shows as another resting voltage."""
    kick = trials["u25_inner_loop_latch"].kick
    assert kick.ending.value == "latched"
    assert abs(kick.shift_v) > 0.5
    assert kick.late_v < 1e-6


def test_a_back_termination_that_outweighs_the_negative_resistance_is_safe_on_any_line(trials):
    """With 68 ohm in series the amplifier gives power to no line; without it does."""
    assert trials["s17_coax_backterm"].verdict.any_line
    assert not trials["u12_coax_open_crit"].verdict.any_line


def test_phase_margin_alone_would_pass_what_oscillates(trials):
    """The traps are real: wide margins beside an unstable pole, a conditionally stable loop beside none."""
    inductive = trials["u22_follower_inductive"].verdict
    assert inductive.worst.loop.margin > 0.9
    assert inductive.unstable_poles == 2
    conditional = trials["s04_conditional_stable"].verdict
    assert conditional.worst.loop.gain_margin_db < -8
    assert conditional.stable


def test_the_locus_is_sampled_without_coarse_steps(trials):
    """No step of any simulated locus turns by more than 20 degrees round −1."""
    for trial in trials.values():
        for probe in trial.verdict.probes:
            distance = 1 + probe.t
            assert np.abs(np.angle(distance[1:] / distance[:-1])).max() <= np.deg2rad(20.01)
