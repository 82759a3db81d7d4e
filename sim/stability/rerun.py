"""Running changed designs: a few units of each, and what they are like."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sim.engine.isolate import Failed, isolated
from sim.measures.panel import BANDED, SINGLE
from sim.measures.unit import Item, UnitWorker
from sim.quantity import Limit


@dataclass(frozen=True)
class Trial:
    """Some units of one design.

    Attributes
    ----------
    stable : bool ndarray, shape (n_unit,)
    degree : ndarray, shape (n_unit,)
        Smallest distance of the loop from −1 over everything that a unit is judged with; of a unit that is not stable
        the negative of the largest one among what it is unstable with, so that it rises where a design gets better. [1]
    values : dict of str to ndarray
        By measure, shape (n_unit, n_band) or (n_unit, 1).
    cautions : tuple of str
        About the nominal unit at rest.
    failed : str
        Why there is nothing of all this; empty where there is.
    """

    stable: np.ndarray
    degree: np.ndarray
    values: dict
    cautions: tuple[str, ...] = ()
    failed: str = ""

    def keeps(self, limits: dict[str, Limit]) -> bool:
        """Whether all these units keep all limits, those on a match left out: it takes a whole build."""
        known = [(limit, self.values[name]) for name, limit in limits.items() if name in self.values]
        return all(bool(np.all(limit.holds(values))) for limit, values in known)


class _Maker:
    """Makes the worker inside the child; a class, since a spawned child can only receive named things."""

    def __init__(self, every, units):
        self._every, self._units = every, units

    def __call__(self):
        return UnitWorker(self._every, self._units)


def run_trials(designs: Sequence, units: Sequence[int]) -> list[Trial]:
    """The same units of several designs.

    Parameters
    ----------
    designs : sequence of Scenario
        Nothing left to vary; their numbers do not matter.
    units : sequence of int
        0 is nominal.

    Returns
    -------
    trials : list of Trial
        In the order of the designs. One unit that cannot be simulated makes a design a failed one.
    """
    every = [replace(design, number=number) for number, design in enumerate(designs)]
    items = [Item(number, row, int(unit)) for number in range(len(every)) for row, unit in enumerate(units)]
    found: list[list] = [[] for _ in every]
    for index, answer in isolated(_Maker(every, np.array(units)), items):
        found[items[index].scenario].append(answer)
    return [_trial(answers) for answers in found]


def _trial(answers: list) -> Trial:
    failed = next((answer for answer in answers if isinstance(answer, Failed)), None)
    if failed is not None:
        return Trial(np.array([]), np.array([]), {}, failed=failed.reason)
    measures = [answer.measures for answer in answers]
    values = {name: np.array([m.banded[i] for m in measures]) for i, name in enumerate(BANDED)}
    values |= {name: np.array([[m.single[i]] for m in measures]) for i, name in enumerate(SINGLE)}
    if measures[0].lines is not None:
        values["line_margin"] = np.array([[m.lines.margin.min()] for m in measures])
    if measures[0].antennas is not None:
        values["antenna_margin"] = np.array([[m.antennas.margin.min()] for m in measures])
    return Trial(
        stable=values["stable"][:, 0] == 1,
        degree=np.array([_degree(m) for m in measures]),
        values=values,
        cautions=tuple(dict.fromkeys(text for answer in answers for text in answer.cautions)),
    )


def _degree(measures) -> float:
    """See :attr:`Trial.degree`."""
    verdicts = [v for v in (measures.verdict_matched, measures.verdict_open) if v is not None]
    margins = np.array([verdict.margin for verdict in verdicts])
    stable = np.array([bool(verdict.stable) for verdict in verdicts])
    # On the open line and with other antennas the verdict counts, and a small margin does not make a design thin.
    counts = np.array([True, False][: len(verdicts)])
    for more in (measures.lines, measures.antennas):
        if more is not None:
            margins = np.concatenate([margins, more.margin])
            counts = np.concatenate([counts, np.full(len(more.margin), more is measures.lines)])
            stable = np.concatenate([stable, more.stable])
    if not stable.all():
        return -float(margins[~stable].max())
    return float(margins[counts].min())
