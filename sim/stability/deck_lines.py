"""A deck of any origin on every feedline: its output as a plane from which each cable, length and far end follows."""

from dataclasses import dataclass

import numpy as np

from sim.engine.isolate import Failed, isolated
from sim.engine.ngspice import Simulator
from sim.errors import CircuitError, EngineError, Fault
from sim.feedline.cable import load_cable
from sim.feedline.ends import WORDS
from sim.stability.deck import ReadDeck, resistor_to_ground
from sim.stability.family import Load, loads_of
from sim.stability.judged import judged_with
from sim.stability.line_map import LineMap, judge_lines
from sim.stability.lumped import lumped_network
from sim.stability.plane import Plane, carried, output_plane

CABLES = ("rg6-ccs", "rg11-cu", "rg213")
"""Cables of the map: two of 75 ohm, one of 50."""
LENGTHS_M = tuple(float(f"{length:.2g}") for length in np.geomspace(0.2, 300, 24))
"""Lengths of the map. [m]"""
PATIENCE_S = 120.0
"""Silence after which a map is given up. [s]"""


@dataclass(frozen=True)
class DeckOnLines:
    """A deck's verdicts on feedlines.

    Attributes
    ----------
    node : str
        Where the lines are connected, in place of the resistor there.
    load_ohm : float
        That resistor. [Ω]
    loads : tuple of Load
    found : LineMap
        In the order of the loads.
    """

    node: str
    load_ohm: float
    loads: tuple[Load, ...]
    found: LineMap

    @property
    def order(self) -> np.ndarray:
        """Indices of the loads, the worst first: unstable and unresolved ones, then the smallest margin."""
        return np.argsort(np.where(self.found.stable, self.found.margin, self.found.margin - 1e6), kind="stable")


def try_on_lines(deck: ReadDeck, node: str) -> DeckOnLines:
    """Judge a deck with every cable, length and far end of the map, in a process of its own.

    Parameters
    ----------
    deck : ReadDeck
        Without transmission lines of its own.
    node : str
        Output, with a resistor to ground that stands for the line.

    Raises
    ------
    CircuitError
        The deck has lines already, or no such resistor.
    EngineError
        The simulator gave no result, or none that a rational form fits.
    """
    if deck.ends:
        found = "holds transmission lines already."
        remedy = "End it at the amplifier's output with a resistor to ground; --lines puts the lines there."
        raise CircuitError(Fault(deck.file, None, None, found, remedy))
    resistor = resistor_to_ground(deck, node)
    ((_, answer),) = isolated(_mapping, [(deck, node.lower(), resistor)], PATIENCE_S)
    if isinstance(answer, Failed):
        raise EngineError(f"{deck.file}: no map over feedlines: {answer.reason}")
    return answer


def _mapping():
    simulator = Simulator()
    return lambda given: on_lines(simulator, *given)


def on_lines(simulator: Simulator, deck: ReadDeck, node: str, resistor: str) -> DeckOnLines:
    """Judge a deck with every cable, length and far end of the map.

    Parameters
    ----------
    simulator : Simulator
    deck : ReadDeck
    node : str
        Lower case.
    resistor : str
        Element from this node to ground.

    Raises
    ------
    UnitFailed
    LibraryLost
    """
    plane, ohm = deck_plane(simulator, deck, node, resistor)
    loads = loads_of(tuple(load_cable(name) for name in CABLES), LENGTHS_M, WORDS)
    judged = judged_with(plane, loads)
    return DeckOnLines(node, ohm, loads, judge_lines(plane.further(judged.freq_hz), judged.table))


def deck_plane(simulator: Simulator, deck: ReadDeck, node: str, resistor: str) -> tuple[Plane, float]:
    """A deck's output as a plane that is known at any frequency, and its resistor there. [Ω]

    Parameters
    ----------
    simulator : Simulator
    deck : ReadDeck
    node : str
        Lower case.
    resistor : str
        Element from this node to ground.

    Raises
    ------
    UnitFailed
    LibraryLost
    """
    network = lumped_network(simulator, deck, node)
    ohm = float(simulator.vector(f"@{resistor}[resistance]")[0])
    drives, reads, points = network.values.shape
    # The plane wants a unit's responses: two reads and an emf that a deck has not, and that it does not use.
    values = np.zeros((drives + 1, reads + 2, points), dtype=complex)
    values[:-1, 2] = network.values[:, -1]
    values[:-1, 3:] = network.values[:, :-1]
    unit = output_plane(values, network.freq_hz, ohm, len(network.poles))
    return carried(unit, network.support, network.weights, lambda freq_hz: 1 / ohm), ohm
