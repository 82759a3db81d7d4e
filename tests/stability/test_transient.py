"""The rule by which a kick is judged, on circuits and waveforms whose ending is known."""

import math

import numpy as np
import pytest

from sim.engine.ngspice import Simulator
from sim.stability.transient import MOST_CYCLES, Ending, Kick, kick_test, watching_time


@pytest.fixture(scope="module")
def simulator():
    """One for all."""
    return Simulator()


def _tank(conductance: str, more: str = "") -> tuple[str, ...]:
    """A resonator of 5.03 MHz, 31.6 ohm, with a damping or feeding conductance."""
    cards = ("L1 a 0 1u", "C1 a 0 1n", f"B1 a 0 I={conductance}", *filter(None, more.split("\n")))
    return ("tank", *cards, ".end")


FREQ_HZ = 1 / (2 * math.pi * math.sqrt(1e-6 * 1e-9))


@pytest.mark.parametrize(
    ("conductance", "ending"),
    [
        ("1m*V(a)", Ending.SETTLES),
        ("-0.3m*V(a)", Ending.GROWS),
        # It feeds a small swing and damps a large one: what grows comes to stand at 0.1 V.
        ("-3m*0.1*tanh(V(a)/0.1)+1m*V(a)", Ending.GROWS),
        # No gain, no loss: neither grows nor dies away.
        ("1e-12*V(a)", Ending.UNDECIDED),
    ],
)
def test_a_resonator_ends_as_its_conductance_says(simulator, conductance, ending):
    """Positive damps, negative feeds, none decides nothing."""
    found = kick_test(simulator, _tank(conductance), (Kick("a", 1e-4),), ("a",), FREQ_HZ, 100 / FREQ_HZ)
    assert found.ending is ending


def test_growth_is_what_theory_says(simulator):
    """A conductance of -0.1 mS grows by exp(G t/2C): the trapezoidal rule adds no damping of its own."""
    length = 200 / FREQ_HZ
    found = kick_test(simulator, _tank("-0.1m*V(a)"), (Kick("a", 1e-5),), ("a",), FREQ_HZ, length)
    growth = math.exp(1e-4 / (2 * 1e-9) * length * (0.925 - 0.225))
    assert found.late_v / found.early_v == pytest.approx(growth, rel=0.02)


def test_a_decks_own_method_does_not_damp_what_grows(simulator):
    """Gear's rule, asked for by a deck, would damp a marginal oscillation; the test keeps to the trapezoidal one."""
    geared = _tank("-0.02m*V(a)", ".options method=gear maxord=2")
    found = kick_test(simulator, geared, (Kick("a", 1e-5),), ("a",), FREQ_HZ, 300 / FREQ_HZ)
    assert found.late_v / found.early_v == pytest.approx(math.exp(1e-2 * 300 / FREQ_HZ * 1e6 * 0.7), rel=0.02)


def test_an_oscillation_that_stands_already_is_a_limit_cycle(simulator):
    """Grown up before the early window begins, it stays as it is: not growing, not settling."""
    strong = _tank("-20m*0.1*tanh(V(a)/0.1)+2m*V(a)")
    found = kick_test(simulator, strong, (Kick("a", 1e-4),), ("a",), FREQ_HZ, 300 / FREQ_HZ)
    assert found.ending is Ending.LIMIT_CYCLE


def test_two_stable_states_are_a_latch(simulator):
    """A positive feedback of two leaves zero for good, without ringing."""
    flip = ("flip", "R1 a b 1k", "C1 b 0 1n", "B1 a 0 V=2*tanh(V(b))", ".end")
    found = kick_test(simulator, flip, (Kick("b", 1e-6),), ("b",), 1e5, 1e-3)
    assert found.ending is Ending.LATCHED
    # Hand calculation: x = 2 tanh x at x = 1.915.
    assert abs(found.shift_v) == pytest.approx(1.915, rel=0.01)


def test_a_charge_that_runs_off_slowly_is_no_latch(simulator):
    """A capacitor behind an amplifier of ten keeps its charge for long; half the kick leaves half of it."""
    slow = ("slow", "C1 in 0 10p", "R1 in 0 1g", "E1 m 0 in 0 10", "R2 m o 1meg", "C2 o 0 1p", ".end")
    kicks = (Kick("in", 1e-9), Kick("o", 1e-10))
    found = kick_test(simulator, slow, kicks, ("in", "o"), 1e6, 6e-5)
    assert found.ending is Ending.SETTLES


def test_the_worst_node_speaks(simulator):
    """A second circuit that oscillates is not covered by a first that settles."""
    lines = ("two", *_tank("1m*V(a)")[1:-1], "L2 c 0 1u", "C2 c 0 1n", "B2 c 0 I=-0.3m*V(c)", ".end")
    kicks = (Kick("a", 1e-4), Kick("c", 1e-4))
    found = kick_test(simulator, lines, kicks, ("a", "c"), FREQ_HZ, 100 / FREQ_HZ)
    assert (found.ending, found.node) == (Ending.GROWS, "c")


def watching_times_follow_margin_growth_and_lines():
    """Sixty cycles at least, more for thin margins, enough time constants, and waves that have come back."""
    assert watching_time(1e6, 0.9) == pytest.approx(60e-6)
    assert watching_time(1e6, 0.1) == pytest.approx(200e-6)
    assert watching_time(1e6, 1e-6) == pytest.approx(MOST_CYCLES * 1e-6)
    assert watching_time(1e6, 0.9, growth_hz=1e4) == pytest.approx(9 / (2 * np.pi * 1e4))
    assert watching_time(1e6, 0.9, delay_s=1e-5) == pytest.approx(200e-6)
