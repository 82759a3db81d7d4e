"""Which compensation capacitor another op-amp needs, found by running its units again with one changed.

A capacitor counts as one that compensates where one end is at an op-amp's inverting input and the other at its output,
behind its loop probe, at another of its inputs or at ground. With two inputs those of equal value are changed together,
as a balance hangs on them.

The nominal unit and those with the smallest margins are run with preferred values on both sides of the present one;
where none will do and the last of a direction was better than the present one, that direction is followed further. Of
what leaves all these units stable and the nominal one within every limit the smallest change is taken, and it must
prove itself on whole builds of units: enough of them keep every limit, the match among them too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from sim.deck.build import chain_of
from sim.deck.part import RANGES, Part
from sim.errors import BandfloorError
from sim.quantity import Limit, format_quantity
from sim.stability.rerun import Trial, run_trials
from sim.study.preferred import steps_from
from sim.study.scenarios import Scenario, changed
from sim.summary.matching import build_deviations, phase_deviations
from sim.summary.mixed import SEEN, Seen

NEAR, FAR = 6, 12
"""Steps of E12 that are tried in each direction, and as far as that at most: a factor of three, and of ten."""
MOST_VERIFIED = 6
"""Values that are run on whole builds at most."""
VERIFIED_UNITS, VERIFIED_WITH_LINES = 96, 48
"""Units on which a value must prove itself; the second where each is put on every feedline."""


@dataclass(frozen=True)
class Compensation:
    """A capacitor with which a candidate keeps the limits.

    Attributes
    ----------
    names : tuple of str
        Of the part, or of those that are changed together.
    value, was : float
        [F]
    text : str
        The value as a study writes it.
    units : int ndarray, shape (n_unit,)
        Numbers of the units that were run with it, the nominal one first.
    good : int
        How many of the drawn ones keep every limit.
    seen : Seen
        Their gain and phase.
    """

    names: tuple[str, ...]
    value: float
    was: float
    text: str
    units: np.ndarray
    good: int
    seen: Seen

    @property
    def words(self) -> str:
        """The part and its value: "Cf = 8.2 pF"."""
        return f"{' and '.join(self.names)} = {format_quantity(self.value, 'F')}"


@dataclass(frozen=True)
class Demands:
    """What a changed candidate must do.

    Attributes
    ----------
    limits : mapping of measure to Limit
        Of the study.
    share : float
        Of units that must keep all of them. [1]
    build : int
        Units made together.
    """

    limits: Mapping[str, Limit]
    share: float
    build: int


@dataclass(frozen=True)
class _Design:
    parts: tuple[Part, ...]
    text: str
    value: float
    scenario: Scenario

    @property
    def size(self) -> float:
        was = self.parts[0].value.value
        return max(self.value / was, was / self.value)


def compensation(scenario: Scenario, worst: Sequence[int], demands: Demands) -> tuple[Compensation | None, int]:
    """The nearest capacitor with which a candidate keeps every limit.

    Parameters
    ----------
    scenario : Scenario
        Of the candidate, nothing left to vary.
    worst : sequence of int
        Units with the smallest margins.
    demands : Demands

    Returns
    -------
    found : Compensation or None
    tried : int
        Values that were run; 0 where the circuit has no such capacitor.
    """
    groups = feedback_capacitors(chain_of(scenario.study).circuit)
    if not groups:
        return None, 0
    units = tuple(dict.fromkeys([0, *(int(unit) for unit in worst)]))
    [base] = run_trials([scenario], units)
    if base.failed:
        return None, 0
    roads = {(place, up): _steps(scenario, group, up) for place, group in enumerate(groups) for up in (False, True)}
    near = [design for road in roads.values() for design in road[:NEAR]]
    trials = dict(zip(map(id, near), run_trials([design.scenario for design in near], units), strict=True))
    passing = [design for design in near if _screened(trials[id(design)], base, demands.limits)]
    tried = len(near)
    if not passing:
        better = [road for road in roads.values() if road and _degree(trials[id(road[:NEAR][-1])]) > _degree(base)]
        far = [design for road in better for design in road[NEAR:FAR]]
        later = run_trials([design.scenario for design in far], units) if far else []
        passing = [d for d, trial in zip(far, later, strict=True) if _screened(trial, base, demands.limits)]
        tried += len(far)
    count = min(scenario.study.run.units, VERIFIED_WITH_LINES if scenario.study.stability else VERIFIED_UNITS)
    for design in sorted(passing, key=lambda design: design.size)[:MOST_VERIFIED]:
        found = _proved(design, np.arange(count + 1), demands)
        if found is not None:
            return found, tried
    return None, tried


def feedback_capacitors(circuit) -> tuple[tuple[Part, ...], ...]:
    """Capacitors at op-amps' inverting inputs that compensate, in groups that are changed together.

    Parameters
    ----------
    circuit : Circuit
    """
    found = []
    inverting = {device.nodes[1] for device in circuit.devices}
    others = {node for device in circuit.devices for node in (device.nodes[0], device.nodes[4])} | {"gnd", "0"}
    others |= {node for probe in circuit.probes for node in (probe.drive_node, probe.receive_node)}
    for part in circuit.parts:
        one, two = part.nodes
        ends = (one in inverting and two in inverting | others) or (two in inverting and one in others)
        if part.kind == "C" and not part.element and ends:
            found.append(part)
    if not circuit.balanced:
        return tuple((part,) for part in found)
    groups: dict[float, list[Part]] = {}
    for part in found:
        groups.setdefault(part.value.value, []).append(part)
    return tuple(tuple(group) for group in groups.values())


def _steps(scenario: Scenario, group: tuple[Part, ...], up: bool) -> list[_Design]:
    low, high = RANGES["C"]
    found = []
    for value, text in steps_from(group[0].value.value, up, FAR):
        if not low <= value <= high:
            break
        here = scenario
        try:
            for part in group:
                here = changed(here.study, f"amplifier.parts.{part.name}", text)
            chain_of(here.study)
        except (BandfloorError, ValueError):
            break
        found.append(_Design(group, text, value, here))
    return found


def _degree(trial: Trial) -> float:
    return -np.inf if trial.failed else float(trial.degree.min())


def _screened(trial: Trial, base: Trial, limits: Mapping[str, Limit]) -> bool:
    """Whether all these units are stable, and the nominal one keeps the limits and rests where the op-amp works."""
    if trial.failed or not trial.stable.all() or any(text not in base.cautions for text in trial.cautions):
        return False
    return all(bool(limit.holds(trial.values[name][0]).all()) for name, limit in limits.items() if name in trial.values)


def _proved(design: _Design, units: np.ndarray, demands: Demands) -> Compensation | None:
    [trial] = run_trials([design.scenario], units)
    if trial.failed or not trial.stable.all():
        return None
    seen = Seen(*(trial.values[name] for name in SEEN))
    values = trial.values | {
        "match_gain_db": build_deviations(seen.gain_db, units, demands.build),
        "match_phase_deg": phase_deviations(seen.phase_deg, units, demands.build),
        "match_system_gain_db": build_deviations(seen.system_gain_db, units, demands.build),
        "match_system_phase_deg": phase_deviations(seen.system_phase_deg, units, demands.build),
    }
    kept = np.ones(len(units), dtype=bool)
    for name, limit in demands.limits.items():
        kept &= limit.holds(values[name]).all(axis=1)
    good = int(kept[units > 0].sum())
    if good < demands.share * int((units > 0).sum()):
        return None
    names = tuple(part.name for part in design.parts)
    return Compensation(names, design.value, design.parts[0].value.value, design.text, units, good, seen)

