"""Decks from outside made ready: sources at rest, probes found, lines taken out, everything else refused."""

from itertools import pairwise

import numpy as np
import pytest

from sim.engine.ngspice import Simulator, UnitFailed
from sim.errors import CircuitError, GuardError
from sim.stability.deck import read_deck
from sim.stability.lumped import lumped_network

PROBE = "Vprb a b dc 0 ac 0\nIprb 0 b dc 0 ac 0\n"
LOOP = "Rin b 0 1k\nE1 n 0 0 b 10\nR1 n a 1k\nC1 a 0 1n\n"


def deck(*cards: str):
    """A deck of these cards."""
    return read_deck("title\n" + "\n".join(cards) + "\n.end\n", "d.cir")


@pytest.mark.parametrize(
    ("card", "rests"),
    [
        ("V1 x 0 5", "dc 5"),
        ("V1 x 0 dc 5 ac 1 90", "dc 5"),
        ("V1 x 0 ac 1 dc=5", "dc 5"),
        ("V1 x 0 pulse(1 2 0 1n 1n 1u)", "dc 1"),
        ("V1 x 0 PULSE (1 2 0 1n 1n 1u)", "dc 1"),
        ("V1 x 0 dc 3 pulse 1 2 0 1n", "dc 3"),
        ("V1 x 0 sin(0.5 1 1k)", "dc 0.5"),
        ("V1 x 0 pwl(0 2 1m 3)", "dc 2"),
        ("V1 x 0 ac 1", "dc 0"),
        ("V1 x 0 dc {2*3}", "dc {2*3}"),
    ],
)
def test_sources_rest_at_what_they_give_before_anything_happens(card, rests):
    """The DC value where one is given, else the waveform's first; never an AC value."""
    assert f"V1 x 0 {rests} ac 0" in deck(PROBE, LOOP, card, "Rx x 0 1k").whole


def test_starting_values_only_say_which_state_is_meant():
    """Nothing is held away from its rest when a kick is tested."""
    assert ".nodeset v(a)=1" in deck(PROBE, LOOP, ".ic v(a)=1").whole


def test_the_programs_own_probe_is_written_out():
    """An X card that names the probe is the same as its two sources."""
    read = deck("Xloop a b probe", LOOP)
    assert [(p.voltage, p.current, p.receive_node) for p in read.probes] == [("vprb_xloop", "iprb_xloop", "b")]
    assert {"Vprb_Xloop a b dc 0 ac 0", "Iprb_Xloop 0 b dc 0 ac 0"} <= set(read.whole)


@pytest.mark.parametrize(
    ("cards", "message"),
    [
        ((LOOP,), "d.cir: carries no probe, so there is no loop to judge."),
        (("Vprb a b dc 0", LOOP), "d.cir, line 2, Vprb: this probe has no current source Iprb from ground"),
        (("Vprb a b dc 0", "Iprb b 0 dc 0", LOOP), "this probe has no current source"),
        (("Vprb a b dc 0", "Iprb 0 a dc 0", LOOP), "this probe has no current source"),
        (("Iprb 0 b dc 0", LOOP), "d.cir, line 2, Iprb: this half of a probe has no voltage source."),
        (("Vprb a b dc 1", "Iprb 0 b dc 0", LOOP), "d.cir, line 2, Vprb: a probe's source is not zero."),
        ((PROBE, LOOP, "Rzj_1 a 0 1k"), 'names that begin with "zj_" are the program\'s.'),
        ((".subckt s a b", "Vprb a b 0", "Iprb 0 b 0", ".ends", PROBE, LOOP), "a probe stands in a subcircuit."),
        ((PROBE, LOOP, *(f"T{n} a 0 b 0 z0=50 td=1n" for n in range(13))), "has 13 transmission lines."),
    ],
)
def test_what_is_wrong_with_a_probe_is_said(cards, message):
    """Half a probe, none, one that feeds the circuit: each has its message, with what would do."""
    with pytest.raises(CircuitError) as caught:
        deck(*cards)
    assert message in str(caught.value)
    assert "\n  " in str(caught.value)


@pytest.mark.parametrize(
    "card",
    [
        ".include other.cir",
        ".control\nshell ls\n.endc",
        ".lib x y",
        "A1 a b code",
        "B1 a 0 V=pwlfile(x)",
        "*# shell ls",
    ],
)
def test_a_deck_runs_nothing_and_reads_nothing(card):
    """Text from outside is refused before the simulator sees it."""
    with pytest.raises(GuardError):
        deck(PROBE, LOOP, card)


INNER = """\
.subckt half p q z=50
R1 p m {z}
T1 m 0 n 0 z0={z+25} td=2n
R2 n q 10
.ends
.subckt both p q
X1 p h half
X2 h q half z=25
.ends
Xc b far both
Rf far 0 20
"""


def test_lines_in_subcircuits_are_found_by_the_simulators_names():
    """Ends of lines two levels down have the impedance and delay of their own instance."""
    read = deck(PROBE, LOOP, INNER)
    network = lumped_network(Simulator(), read)
    ends = {end.line: (z, t) for end, z, t in zip(read.ends, network.line_ohm, network.delay_s, strict=True)}
    assert ends == {"t.xc.x1.t1": (75.0, 2e-9), "t.xc.x2.t1": (50.0, 2e-9)}


def test_taking_the_lines_out_keeps_the_operating_point():
    """A line carries the amplifier's direct current; sources in its place keep every node where it was."""
    current = (
        "V0 vcc 0 12\nRc vcc far 100\nT1 far 0 out 0 z0=75 td=10n\nQ1 out base 0 npn1\n.model npn1 npn(bf=100)\n"
        "Rb out b 10k\nVprb base b dc 0 ac 0\nIprb 0 b dc 0 ac 0"
    )
    network = lumped_network(Simulator(), deck(current))
    assert network.fits
    # Hand calculation: 56 mA through the collector, so r_pi = 46 ohm, and 75 ohm beside (10k + r_pi)/101 are 42.8 ohm.
    # Without its current the transistor would leave 75 ohm.
    at = dict(zip(network.nodes, np.abs(network.impedances[:, 0]), strict=True))
    assert at["out"] == pytest.approx(42.8, rel=0.01)


def test_a_circuit_without_an_operating_point_is_an_error():
    """Two sources across each other give no verdict, and certainly not a good one."""
    with pytest.raises(UnitFailed):
        lumped_network(Simulator(), deck(PROBE, LOOP, "V1 x 0 1", "V2 x 0 2"))


def test_every_pole_of_a_ladder_is_where_its_closed_form_says():
    """Driving-point impedances see a right-half-plane pair in a part that no probe touches.

    Hand calculation: L and C in parallel with −R has the pair (1 ± sqrt(1 − 4 R² C/L))/(2 R C).
    """
    negative = "L1 y 0 1u\nC2 y 0 1n\nG1 0 y y 0 1m\n"
    network = lumped_network(Simulator(), deck(PROBE, LOOP, negative))
    ohm, henry, farad = 1e3, 1e-6, 1e-9
    root = (1 + 1j * np.sqrt(4 * ohm**2 * farad / henry - 1)) / (2 * ohm * farad)
    assert len(network.poles) == 2
    for found, other in pairwise(sorted(network.poles, key=lambda p: p.imag)):
        assert other == pytest.approx(root, rel=1e-6)
        assert found == pytest.approx(root.conjugate(), rel=1e-6)
