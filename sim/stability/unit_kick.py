"""A unit's own deck on a lossless line, kicked: the proof in time for units that fail, come near, or are drawn.

The line of the simulator has no loss, which is the harder case: what oscillates only on it may stand on a real cable.
"""

import math
from typing import Protocol

import numpy as np

from sim.deck.chain import REFERENCE_LOAD, Deck
from sim.engine.ngspice import Simulator
from sim.stability.transient import Kick, KickTest, kick_test, watching_time

KICK_V = 1e-3
"""What the output and each probe's receiving side are kicked by. [V]"""
OPEN_OHM = 1e6
"""Resistor that stands for an open far end. [Ω]"""


class OnOutput(Protocol):
    """What can stand at a unit's output."""

    @property
    def cards(self) -> tuple[str, ...]:
        """Elements from the node ``out`` on."""

    @property
    def delay_s(self) -> float:
        """One way, all lines together. [s]"""


def on_line(deck: Deck, line: OnOutput) -> tuple[str, ...]:
    """A unit's deck with a line and its far end in place of the reference load.

    Parameters
    ----------
    deck : Deck
        From :func:`sim.deck.assemble.assemble`.
    line : OnOutput
    """
    node = _output(deck)
    load = f"rz_load {node} 0 {REFERENCE_LOAD!r}"
    cards = [" ".join(node if word == "out" else word for word in card.split()) for card in line.cards]
    return tuple(piece for text in deck.lines for piece in (cards if text.startswith(load) else (text,)))


def _output(deck: Deck) -> str:
    """Node at which the feedline begins: the circuit's output, or what stands behind it."""
    for text in deck.lines:
        words = text.split()
        if words[0] == "rz_load" and words[2:4] == ["0", repr(REFERENCE_LOAD)]:
            return words[1]
    raise ValueError("the deck has no reference load at its output")


def kick_unit(
    simulator: Simulator,
    deck: Deck,
    line: OnOutput,
    freq_hz: float,
    margin: float,
    growth_hz: float | None = None,
    within_s: tuple[float, float] = (0.0, math.inf),
) -> KickTest:
    """Kick a unit on a line at its output and in every loop, and watch these nodes and all op-amp pins.

    Parameters
    ----------
    simulator : Simulator
    deck : Deck
    line : OnOutput
    freq_hz : float
        Where it is expected to oscillate, if it does: of the smallest margin, or of the pole. [Hz]
    margin : float
        Smallest distance of the locus from −1.
    growth_hz : float, optional
        Growth rate σ/2π, where a pole is known. [Hz]
    within_s : (float, float)
        Shortest and longest time that is watched, whatever the rule asks for. [s]

    Raises
    ------
    UnitFailed
    LibraryLost
    """
    lines = on_line(deck, line)
    nodes = (_output(deck), *(deck.reads[3 + 2 * k] for k in range(deck.probes)))
    drives = ("iz_out", *(deck.drives[2 * k + 1] for k in range(deck.probes)))
    names = tuple(f"v({node})" for node in dict.fromkeys(nodes))
    simulator.load(lines, names)
    kicks = []
    for node, drive in zip(nodes, drives, strict=True):
        simulator.excite(drives, drive)
        found = simulator.ac(f"lin 1 {float(freq_hz)!r} {float(freq_hz)!r}", names)
        ohm = float(np.abs(found[f"v({node})"][0]))
        kicks.append(Kick(node, KICK_V / max(ohm, 1e-3)))
    watch = tuple(dict.fromkeys((*nodes, *(pin for pins in deck.pins for pin in pins if pin != "0"))))
    length = min(max(watching_time(freq_hz, margin, growth_hz, line.delay_s), within_s[0]), within_s[1])
    return kick_test(simulator, lines, tuple(kicks), watch, freq_hz, length)
