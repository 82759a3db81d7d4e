"""Corners of a scenario: the nominal unit on most and least volts, cold and warm, at both ends of its current.

A handful of operating points that no sampling has to find: the supply and all else that has a tolerance between it and
the op-amps' pins at the ends that bring most or least volts, the temperature at either end of its range, the quiescent
current at either end of its spread; every other part nominal.
"""

import itertools
from dataclasses import dataclass, replace

import numpy as np

from sim.deck.assemble import assemble
from sim.deck.build import SUPPLY_COLUMN, chain_of, unit_table, unit_values
from sim.deck.outside import unit_outside
from sim.engine.ngspice import Simulator
from sim.engine.sweep import at_rest
from sim.measures.ratings import resting_volts
from sim.measures.supply import check_feed, rest
from sim.quantity import PartValue
from sim.sampling.draw import IQ_LEAST, IQ_MOST

_LOWER_IS_MORE = ("supply.dropout", "supply.extra_current", "supply.converter_power")
"""What brings more volts to the op-amps the smaller it is."""


@dataclass(frozen=True)
class Corner:
    """One of them.

    Attributes
    ----------
    scenario : int
        Position in the list of scenarios.
    most : bool
        Whether the most volts, else the least.
    temperature_c : float
        [°C]
    iq_share : float
        Quiescent current of all op-amps against a typical die of this temperature. [1]
    """

    scenario: int
    most: bool
    temperature_c: float
    iq_share: float


@dataclass(frozen=True)
class AtCorner:
    """What stands there.

    Attributes
    ----------
    supply_v : float
        At the far end of the feedline. [V]
    resting : ndarray, shape (n_device, len(RESTING))
        See :data:`sim.measures.ratings.RESTING`. [V, A]
    reserve_v : float
        As :attr:`sim.measures.supply.Rest.supply_reserve_v`. [V]
    """

    supply_v: float
    resting: np.ndarray
    reserve_v: float


def corners_of(studies) -> list[Corner]:
    """All corners of all scenarios, each once.

    Parameters
    ----------
    studies : sequence of Study
        Of the scenarios, in order.
    """
    return [
        Corner(place, most, temperature_c, share)
        for place, study in enumerate(studies)
        for most, temperature_c, share in itertools.product(
            (True, False), dict.fromkeys(study.run.temperature), (IQ_LEAST, IQ_MOST)
        )
    ]


class CornerWorker:
    """Finds operating points one after another with one loaded simulator.

    Parameters
    ----------
    studies : sequence of Study
        Of the scenarios, in order.
    """

    def __init__(self, studies):
        self._studies = studies
        self._simulator = Simulator()
        self._chains: dict[int, object] = {}

    def __call__(self, corner: Corner) -> AtCorner:
        """One operating point.

        Raises
        ------
        UnitFailed
            There is none, or a converter asks for more than its feed carries.
        LibraryLost
        """
        if corner.scenario not in self._chains:
            self._chains = {corner.scenario: chain_of(self._studies[corner.scenario])}
        chain = self._chains[corner.scenario]
        values = corner_values(self._studies[corner.scenario], chain, corner)
        deck = assemble(chain, values)
        nodes = [name for name in deck.operating if name != "0"]
        operating = {"0": 0.0, **at_rest(self._simulator, deck.ways, nodes, nodes)}
        check_feed(operating, deck, values.outside.feed, values.supply_v)
        return AtCorner(values.supply_v, resting_volts(operating, deck), rest(operating, deck).supply_reserve_v)


def corner_values(study, chain, corner: Corner):
    """The values of the unit that stands in a corner, :class:`sim.deck.chain.UnitValues`.

    Parameters
    ----------
    study : Study
        Of the scenario.
    chain : Chain
        Of the same scenario.
    corner : Corner
    """
    here = study.model_copy(update={"run": study.run.model_copy(update={"temperature": (corner.temperature_c,) * 2})})
    columns = unit_table(here, chain, np.array([0]))
    columns[SUPPLY_COLUMN] = np.array([_end(study.supply.voltage, corner.most)])
    # A maker's model has one die, whose current nobody can turn.
    for device in chain.circuit.devices if chain.maker is None else ():
        columns[f"{device.name}.iq"] = columns[f"{device.name}.iq"] * corner.iq_share
    values = unit_values(chain, columns, 0, 0)
    drawn = {
        part.name: _end(part.value, corner.most != (part.name in _LOWER_IS_MORE))
        for part in chain.outside
        if part.name.startswith("supply.")
    }
    feed = unit_outside(chain, drawn, corner.temperature_c).feed
    return replace(values, outside=replace(values.outside, feed=feed))


def _end(part: PartValue, highest: bool) -> float:
    """A part's value at one end of its tolerance."""
    if part.tolerance is None:
        return part.value
    return part.value * (1 + (part.tolerance.high if highest else part.tolerance.low))
