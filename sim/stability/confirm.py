"""Verdicts of a run held against time: a unit's deck on a line, its poles counted, and then kicked.

Count and kick are those of one network: the line without loss, see :mod:`sim.stability.lossless`.
"""

from dataclasses import dataclass, replace

import numpy as np

from sim.deck.assemble import assemble
from sim.deck.build import chain_of, unit_table, unit_values
from sim.engine.ngspice import Simulator, UnitFailed
from sim.engine.sweep import plan_for
from sim.stability.both_ends import deck_plane, deck_with
from sim.stability.family import Load, build_table
from sim.stability.judged import study_loads
from sim.stability.line_map import judge_lines
from sim.stability.lossless import LosslessLoad
from sim.stability.sources import Source
from sim.stability.transient import STEPS, Ending
from sim.stability.unit_kick import kick_unit

POINTS_A_DECADE = 100
"""Of the grid on which the one load is counted; more where the network turns quickly."""


MOST_STEPS, LEAST_CYCLES = 60_000, 30.0
"""A kick is watched for so many of the simulator's steps at most, but for so many cycles at least."""
ECHOES, MOST_FOR_ECHOES = 7, 120_000
"""So often must a wave have come back before the end, so that the first time is over before the early window begins;
where that takes more steps than these the kick says nothing. A long line's first echo would look like growth."""
TOO_LONG = "the echoes of this line take longer than can be watched at this frequency"


@dataclass(frozen=True)
class Trial:
    """What is to be kicked.

    Attributes
    ----------
    scenario, unit : int
        Position of the scenario, the unit's number.
    why : str
        In words.
    load : int
        Position in :func:`sim.stability.judged.study_loads`.
    matched : bool
        That line with its far end matched instead of the load's own.
    source : int or None
        Position of the antenna; None for the unit's own.
    """

    scenario: int
    unit: int
    why: str
    load: int
    matched: bool = False
    source: int | None = None


@dataclass(frozen=True)
class Confirmed:
    """What the count says of a trial and what time says.

    Attributes
    ----------
    margin, freq_hz : float
        Smallest |1 + T| [1], and where, or near what frequency it oscillates [Hz].
    poles : int
        Unstable ones.
    resolved : bool
    ending : str
        Value of :class:`sim.stability.transient.Ending`; empty where the kick could not be simulated.
    reason : str
        Why not.
    """

    margin: float
    freq_hz: float
    poles: int
    resolved: bool
    ending: str
    reason: str = ""

    @property
    def agrees(self) -> bool | None:
        """Whether both ways say the same; None where one of them says nothing."""
        if not self.resolved or self.ending in ("", "undecided"):
            return None
        return (self.poles > 0) == (self.ending != "settles")


def load_of(loads: tuple[Load, ...], trial: Trial) -> Load:
    """The load of a trial, its loss still in it."""
    load = loads[trial.load]
    return replace(load, end="matched") if trial.matched else load


class ConfirmWorker:
    """Does trials one after another with one loaded simulator.

    Parameters
    ----------
    scenarios : sequence of Scenario
    sources : tuple of Source
    """

    def __init__(self, scenarios, sources: tuple[Source, ...]):
        self._scenarios, self._sources = scenarios, sources
        self._simulator = Simulator()

    def __call__(self, trial: Trial) -> Confirmed:
        """Count and kick.

        Raises
        ------
        UnitFailed
            The count could not be had.
        LibraryLost
        """
        study = self._scenarios[trial.scenario].study
        chain = chain_of(study)
        values = unit_values(chain, unit_table(study, chain, np.array([trial.unit])), 0, trial.unit)
        deck = assemble(chain, values)
        if trial.source is not None:
            antenna, source = values.outside.antenna or chain.antenna, self._sources[trial.source]
            try:
                deck = deck_with(deck, antenna, source, chain.circuit.input)
            except ValueError as error:
                raise UnitFailed(str(error)) from error
        plan = plan_for(study.bands.frequencies, [record.gbw_hz for record in chain.opamps], chain.antenna.sharpness)
        plane = deck_plane(self._simulator, deck, plan, chain.antenna.sharpness)
        line = LosslessLoad(load_of(study_loads(study), trial))
        low, high = plane.freq_hz[[0, -1]]
        freq_hz = np.geomspace(low, high, int(np.ceil(np.log10(high / low) * POINTS_A_DECADE)) + 1)
        found = judge_lines(plane.at(freq_hz), build_table((line.counted(freq_hz),), freq_hz))
        poles, margin = int(found.unstable[0]), float(found.margin[0])
        turns = poles > 0 and np.isfinite(found.turn_hz[0])
        at_hz = float(found.turn_hz[0] if turns else found.freq_hz[0])
        count = Confirmed(margin, at_hz, poles, bool(found.resolved[0]), "")
        least_s, most_s = _watched(line, at_hz)
        if least_s > most_s:
            return replace(count, ending=Ending.UNDECIDED.value, reason=TOO_LONG)
        try:
            kick = kick_unit(self._simulator, deck, line, at_hz, margin, within_s=(least_s, most_s))
        except UnitFailed as failed:
            return replace(count, reason=str(failed))
        return replace(count, ending=kick.ending.value)


def _watched(line: LosslessLoad, freq_hz: float) -> tuple[float, float]:
    """Shortest and longest time that a kick is watched; the shortest is the longer one where it cannot be. [s]"""
    # The simulator steps no further than the shortest line is long.
    step_s = min((1 / freq_hz / STEPS, *line.delays_s))
    most_s = max(MOST_STEPS * step_s, LEAST_CYCLES / freq_hz)
    least_s = ECHOES * 2 * line.delay_s if line.echoes else 0.0
    return least_s, max(most_s, least_s if least_s <= MOST_FOR_ECHOES * step_s else 0.0)
