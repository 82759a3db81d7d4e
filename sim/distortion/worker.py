"""Units' distortion one after another with one loaded simulator, for :func:`sim.engine.isolate.isolated`."""

from dataclasses import dataclass

import numpy as np

from sim.deck.build import chain_of, unit_table, unit_values
from sim.distortion.estimate import Carrier, Estimate, estimate
from sim.distortion.load import OutputLoad, line_load
from sim.distortion.mixes import Mix
from sim.distortion.two_tone import Difference, TwoTone, difference, two_tone
from sim.engine.ngspice import Simulator

TWO_TONE_PATIENCE_S = 180.0
"""Silence after which a child that runs transients is taken for stuck. [s]"""


@dataclass(frozen=True)
class EstimateTrial:
    """An estimate to be made, on the unit's own feedline.

    Attributes
    ----------
    scenario, unit : int
        Position of the scenario, the unit's number.
    carriers : tuple of Carrier
    wanted : tuple of Mix or None
        See :func:`sim.distortion.estimate.estimate`.
    """

    scenario: int
    unit: int
    carriers: tuple[Carrier, ...]
    wanted: tuple[Mix, ...] | None = None


@dataclass(frozen=True)
class TwoToneTrial:
    """Two tones to be run in time and estimated, into a resistor as large as the line's impedance.

    Attributes
    ----------
    scenario, unit : int
        Position of the scenario, the unit's number.
    tones : tuple of Carrier
        Of a common divisor, see :func:`sim.distortion.two_tone.near_tones`.
    """

    scenario: int
    unit: int
    tones: tuple[Carrier, ...]


@dataclass(frozen=True)
class TwoToneTold:
    """The same tones both ways.

    Attributes
    ----------
    estimate : Estimate
    transient : TwoTone
    difference : Difference
        The estimate's own error.
    """

    estimate: Estimate
    transient: TwoTone
    difference: Difference


class DistortionWorker:
    """Does trials of both kinds.

    Parameters
    ----------
    scenarios : sequence of Scenario
    """

    def __init__(self, scenarios):
        self._scenarios = scenarios
        self._simulator = Simulator()
        self._chains: dict[int, object] = {}

    def __call__(self, trial: EstimateTrial | TwoToneTrial) -> Estimate | TwoToneTold:
        """One trial.

        Raises
        ------
        UnitFailed
        LibraryLost
        """
        study = self._scenarios[trial.scenario].study
        if trial.scenario not in self._chains:
            self._chains[trial.scenario] = chain_of(study)
        chain = self._chains[trial.scenario]
        values = unit_values(chain, unit_table(study, chain, np.array([trial.unit])), 0, trial.unit)
        load = line_load(chain, values, study.receiver.impedance)
        if isinstance(trial, EstimateTrial):
            return estimate(self._simulator, chain, values, trial.carriers, load, trial.wanted)
        ohm = load.line_ohm
        estimated = estimate(self._simulator, chain, values, trial.tones, OutputLoad(ohm))
        run = two_tone(self._simulator, chain, values, trial.tones, ohm)
        return TwoToneTold(estimated, run, difference(estimated, run))
