"""One unit from its drawn values to its measures: deck, simulator, readings."""

import time
from dataclasses import dataclass, replace

import numpy as np

from sim.deck.assemble import assemble
from sim.deck.build import chain_of, unit_table, unit_values
from sim.engine.ngspice import Simulator, UnitFailed
from sim.engine.sweep import SweepPlan, plan_for, run_unit
from sim.measures.panel import CURVES, LARGEST_MISFIT, UnitMeasures, receiver_noise_psd, unit_measures
from sim.measures.ratings import resting_volts
from sim.measures.strong import Near, UnitStrong, near, unit_strong
from sim.measures.supply import check_feed, check_rating, rest, resting_cautions
from sim.measures.surroundings import around_unit, reader, surroundings
from sim.stability.judged import study_loads, study_sources


@dataclass(frozen=True)
class Item:
    """A unit in a scenario: positions in the scenario list and in its table of drawn values, and the unit's number."""

    scenario: int
    row: int
    unit: int


@dataclass(frozen=True)
class Answer:
    """One unit's measures and how long it took.

    Attributes
    ----------
    measures : UnitMeasures
    inside_s, whole_s : float
        Time inside the simulator's library, and altogether. [s]
    contributions : dict of str to ndarray
        Nominal noise at the receiver by device, on the curves' frequencies; empty for other units. [V²/Hz]
    cautions : tuple of str
        About the resting voltages of the nominal unit; empty for other units.
    resting : ndarray, shape (n_device, len(RESTING))
        Of every op-amp, see :data:`sim.measures.ratings.RESTING`. [V, A]
    strong : UnitStrong or None
        What strong carriers do to it, in a study with ``[[strong]]``.
    near : Near or None
        What is near by in the scenario; only with the first unit of it that this worker measures.
    """

    measures: UnitMeasures
    inside_s: float
    whole_s: float
    contributions: dict
    cautions: tuple[str, ...]
    resting: np.ndarray
    strong: UnitStrong | None = None
    near: Near | None = None


@dataclass
class _Prepared:
    study: object
    chain: object
    plan: SweepPlan
    around: object
    reader: object
    loads: tuple
    sources: tuple
    near: Near | None


class UnitWorker:
    """Does items one after another with one loaded simulator.

    Parameters
    ----------
    scenarios : sequence of Scenario
    units : int ndarray
        Unit numbers of the chunk.
    contributors : bool
        Keep the noise of every device of the nominal unit apart.
    """

    def __init__(self, scenarios, units, contributors: bool = False):
        self._scenarios = {scenario.number: scenario for scenario in scenarios}
        self._units = np.asarray(units)
        self._contributors = contributors
        self._simulator = Simulator(timer=time.perf_counter)
        self._prepared: dict[int, _Prepared] = {}
        self._tables: dict[int, dict] = {}
        self._told: set[int] = set()

    def __call__(self, item: Item) -> Answer:
        """Simulate and measure one unit.

        Raises
        ------
        UnitFailed
            With the reason in words.
        LibraryLost
        """
        begin, inside = time.perf_counter(), self._simulator.seconds_inside
        study = self._scenarios[item.scenario].study
        ready = self._prepared.get(item.scenario) or self._prepare(item.scenario)
        if item.scenario not in self._tables:
            self._tables = {item.scenario: unit_table(study, ready.chain, self._units)}
        values = unit_values(ready.chain, self._tables[item.scenario], item.row, item.unit)
        wanted = self._contributors and item.unit == 0
        deck = assemble(ready.chain, values)
        measures, run = self._measure(ready, deck, values, wanted)
        strong = unit_strong(self._simulator, ready.chain, values, ready.near) if ready.near else None
        contributions = {}
        if wanted:
            matrix = ready.reader.noise_matrix[ready.around.bands :]
            for name, psd in run.contributions.items():
                smooth = np.exp(matrix @ np.log(np.maximum(psd, 1e-40)))
                contributions[name] = smooth * measures.receiver_share
            around = ready.around
            contributions["feedline"] = measures.line_psd
            if np.any(around.ambient_emf_density > 0):
                contributions["antenna_ambient"] = measures.ambient_psd
            contributions["receiver"] = np.full_like(
                measures.line_psd, receiver_noise_psd(around.receiver, around.receiver_noise)
            )
            contributions["external"] = (measures.curves[CURVES.index("external_noise_nv")] * 1e-9) ** 2
        return Answer(
            measures=measures,
            inside_s=self._simulator.seconds_inside - inside,
            whole_s=time.perf_counter() - begin,
            contributions=contributions,
            cautions=resting_cautions(run.operating, deck, ready.chain) if item.unit == 0 else (),
            resting=resting_volts(run.operating, deck),
            strong=strong,
            near=self._near_once(item.scenario),
        )

    def _near_once(self, scenario: int) -> Near | None:
        """What is near by, the first time that it is asked for."""
        if scenario in self._told:
            return None
        self._told.add(scenario)
        return self._prepared[scenario].near

    def _measure(self, ready: _Prepared, deck, values, contributors=False) -> tuple[UnitMeasures, object]:
        run = run_unit(self._simulator, deck, ready.plan, contributors)
        check_feed(run.operating, deck, values.outside.feed, values.supply_v)
        check_rating(run.operating, deck, ready.chain)
        at_rest = rest(run.operating, deck)
        around = around_unit(ready.around, values.outside)
        measures = unit_measures(run, at_rest, around, ready.reader)
        for points in (ready.plan.points, 2 * ready.plan.points):
            if measures.misfit <= LARGEST_MISFIT:
                break
            # This unit is unlike the nominal one: support points of its own, and if need be twice the samples.
            if points != ready.plan.points:
                dense = replace(ready.plan, points=points)
                run = run_unit(self._simulator, deck, dense, contributors)
                around = surroundings(ready.study, ready.chain, run.freq_hz, dense.high_hz)
                around = around_unit(around, values.outside)
            phases = {name: getattr(ready.reader, name) for name in ("phase_deg", "system_phase_deg")}
            own = replace(reader(run, at_rest, around, ready.loads, ready.sources), **phases)
            measures = unit_measures(run, at_rest, around, own)
        if not measures.misfit <= LARGEST_MISFIT:
            raise UnitFailed(
                f"responses could not be carried between simulated frequencies (misfit {measures.misfit:.1e})"
            )
        if not np.all(np.isfinite(measures.banded[0])):
            raise UnitFailed("gain is not finite")
        return measures, run

    def _prepare(self, number: int) -> _Prepared:
        study = self._scenarios[number].study
        chain = chain_of(study)
        plan = plan_for(study.bands.frequencies, [record.gbw_hz for record in chain.opamps], chain.antenna.sharpness)
        nominal = unit_values(chain, unit_table(study, chain, np.array([0])), 0, 0)
        deck = assemble(chain, nominal)
        try:
            run = run_unit(self._simulator, deck, plan)
        except UnitFailed as failed:
            raise UnitFailed(f"the nominal unit of this scenario did not simulate: {failed}") from failed
        strong = near(study, chain, self._simulator, nominal)
        around = surroundings(study, chain, run.freq_hz, plan.high_hz)
        loads, sources = study_loads(study), study_sources(study)
        own = reader(run, rest(run.operating, deck), around, loads, sources)
        ready = _Prepared(study, chain, plan, around, own, loads, sources, strong)
        self._prepared[number] = ready
        return ready
