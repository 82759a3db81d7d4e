"""The worst antennas and the worst feedlines together: the antenna in the deck, every line at the output.

Either map changes one end and leaves the other matched or as it is. Here a unit's own deck gets the other antenna as
elements, is simulated again, and is judged on every feedline by its new responses. So the antenna rests on the
simulator and not on the map of antennas; with the line matched both must say the same.
"""

from dataclasses import dataclass, replace

import numpy as np

from sim.antenna.source import AntennaSource
from sim.deck.assemble import assemble
from sim.deck.build import chain_of, unit_table, unit_values
from sim.deck.chain import RESERVED, Deck
from sim.engine.ngspice import Simulator, UnitFailed
from sim.engine.sweep import SweepPlan, plan_for, run_unit
from sim.measures.panel import LARGEST_MISFIT, deciding, unit_plane
from sim.measures.rational import choose_support, fit_weights
from sim.stability.judged import judged_with, study_loads
from sim.stability.line_map import judge_lines
from sim.stability.plane import Plane
from sim.stability.sources import Source

_GONE_OHM = 1.0


def deck_with(deck: Deck, antenna: AntennaSource, source: Source, terminal: str = "in") -> Deck:
    """A unit's deck with another antenna in place of its own.

    Parameters
    ----------
    deck : Deck
        From :func:`sim.deck.assemble.assemble`.
    antenna : AntennaSource
        The unit's own, which the deck holds.
    source : Source
        What is to stand in its place. The stray across the terminals stays.
    terminal : str
        Node at which it ends: the circuit's input, or what stands before it.

    Returns
    -------
    Deck

    Raises
    ------
    ValueError
        The deck does not hold this antenna, or it has elements other than R, L and C.
    """
    own = tuple(antenna.netlist(terminal, "z_emf", RESERVED))
    begin = next(i for i, line in enumerate(deck.lines) if line.startswith("vz_emf ")) + 1
    if deck.lines[begin : begin + len(own)] != own:
        raise ValueError("the deck does not hold this antenna")
    cards = source_cards(own, source, terminal)
    return replace(deck, lines=(*deck.lines[:begin], *cards, *deck.lines[begin + len(own) :]))


def source_cards(own: tuple[str, ...], source: Source, terminal: str = "in") -> tuple[str, ...]:
    """Elements of a source between the nodes `terminal` and ``z_emf``, made of the antenna's own.

    Parameters
    ----------
    own : tuple of str
        Cards of the antenna between these nodes.
    source : Source
    terminal : str
    """
    if source.case == "removed":
        return (f"rz_gone z_emf 0 {_GONE_OHM!r} noisy=0",)
    lead = (f"vz_lead {terminal} z_lead dc 0",)
    if source.inductance:
        lead = (f"lz_lead {terminal} z_lead {source.inductance!r}",)
    if source.case == "shorted":
        return (*lead, "vz_joined z_lead z_emf dc 0")
    return (*lead, *(_scaled(card, source.share, terminal) for card in own))


def _scaled(card: str, share: float, terminal: str) -> str:
    """One element with its impedance divided by `share`, at the far side of the lead."""
    name, a, b, value, *rest = card.split()
    kind = name[0].lower()
    if kind not in "rlc":
        raise ValueError(f"an antenna's element {name} is neither R, L nor C")
    nodes = ["z_lead" if node == terminal else node for node in (a, b)]
    return " ".join([name, *nodes, repr(float(value) * (share if kind == "c" else 1 / share)), *rest])


@dataclass(frozen=True)
class Pair:
    """A unit of a scenario with an antenna: positions of scenario and source in their lists, and the unit's number."""

    scenario: int
    source: int
    unit: int


@dataclass(frozen=True)
class Together:
    """One unit with one antenna, on every feedline.

    Attributes
    ----------
    matched : float
        Smallest |1 + T| with the line matched. [1]
    matched_poles : int
        Unstable poles there.
    margin, freq_hz : ndarray, shape (n_load,)
        As in :class:`sim.stability.line_map.LineMap`.
    unstable : int ndarray, shape (n_load,)
    resolved : bool ndarray, shape (n_load,)
    """

    matched: float
    matched_poles: int
    margin: np.ndarray
    freq_hz: np.ndarray
    unstable: np.ndarray
    resolved: np.ndarray


class TogetherWorker:
    """Judges pairs one after another with one loaded simulator.

    Parameters
    ----------
    scenarios : sequence of Scenario
    sources : tuple of Source
    """

    def __init__(self, scenarios, sources: tuple[Source, ...]):
        self._scenarios, self._sources = scenarios, sources
        self._simulator = Simulator()
        self._chain = None

    def __call__(self, pair: Pair) -> Together:
        """Simulate and judge.

        Raises
        ------
        UnitFailed
        LibraryLost
        """
        study = self._scenarios[pair.scenario].study
        chain = chain_of(study)
        values = unit_values(chain, unit_table(study, chain, np.array([pair.unit])), 0, pair.unit)
        antenna, source = values.outside.antenna or chain.antenna, self._sources[pair.source]
        try:
            deck = deck_with(assemble(chain, values), antenna, source, chain.circuit.input)
        except ValueError as error:
            # One trial that cannot be set up must not take the whole run's answer with it.
            raise UnitFailed(str(error)) from error
        plan = plan_for(study.bands.frequencies, [record.gbw_hz for record in chain.opamps], chain.antenna.sharpness)
        plane = deck_plane(self._simulator, deck, plan, chain.antenna.sharpness)
        loads = study_loads(study)
        judged = judged_with(plane, loads)
        matched = plane.at(judged.freq_hz)
        found = judge_lines(matched, judged.table)
        return Together(
            matched=float(np.abs(1 / matched.inverse).min()),
            matched_poles=plane.unstable,
            margin=found.margin,
            freq_hz=found.freq_hz,
            unstable=found.unstable,
            resolved=found.resolved,
        )


def deck_plane(simulator: Simulator, deck: Deck, plan: SweepPlan, sharpness: int) -> Plane:
    """A deck's output as a plane that is known at any frequency, simulated more densely if need be.

    Parameters
    ----------
    simulator : Simulator
    deck : Deck
    plan : SweepPlan
    sharpness : int
        Of the antenna.

    Raises
    ------
    UnitFailed
    LibraryLost
    """
    for points in (plan.points, 2 * plan.points, 4 * plan.points):
        run = run_unit(simulator, deck, replace(plan, points=points))
        drives, reads, _ = run.values.shape
        s, flat = 2j * np.pi * run.freq_hz, run.values.reshape(drives * reads, -1)
        # Behind a removed antenna the emf drives nothing: its rows are noughts and decide nothing.
        every = np.nonzero(np.abs(flat).max(axis=1) > 0)[0]
        rows = [row for row in deciding(drives, reads) if row in every]
        support = choose_support(s, flat, rows, most=24 * sharpness)
        weights, misfit = fit_weights(s, flat, support, rows)
        if misfit <= LARGEST_MISFIT:
            return unit_plane(run, weights, support, _load(deck))
    raise UnitFailed(f"responses could not be carried between simulated frequencies (misfit {misfit:.1e})")


def _load(deck: Deck) -> float:
    return float(next(line for line in deck.lines if line.startswith("rz_load ")).split()[3])
