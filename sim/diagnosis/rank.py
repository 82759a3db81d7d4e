"""All faults ranked by how likely they make a sweep; what it cannot tell apart comes as one."""

from dataclasses import dataclass

import numpy as np

from sim.diagnosis.bench import BenchSetup
from sim.diagnosis.book import FaultBook
from sim.diagnosis.faults import GOOD
from sim.diagnosis.fit import (
    Fit,
    GoodTest,
    Hypothesis,
    bend,
    difference,
    distance,
    fit,
    good_test,
    look_noise,
    noise_of,
)
from sim.diagnosis.responses import Seen, simulate
from sim.engine.isolate import Failed

FIRST_LOOK = 0.05
"""Noise added while tolerances of the good unit stand for those of a fault. [Np, rad]"""
NEARER, FEWEST = 24, 5
"""Faults that are looked at with their own tolerances, at each look at most and at least; of a unit that may be
good the least."""
STILL = 40.0
"""Difference of ln L at the first look up to which a fault is one of them."""
AGAIN = 14
"""Faults that are simulated again with the most likely values of their parts."""
ROUNDS = 2
BENT, STEPS = 3, 5
"""Faults, and steps of each, whose sensitivities are simulated anew where nothing fits."""
CONFUSED = 3.3
"""Distance below which two faults are confused more often than one time in 20. [1]"""
HARDLY_LESS = 2.3
"""Difference of ln L that tells nothing by itself: a factor of ten."""
MUCH_LESS = 7.0
"""Difference of ln L by which a fault is out, however near its nominal sweep lies: a factor of a thousand."""
PARTS_OF_THE_WAY = (1.0, 0.7, 0.4, 0.15, 0.0)
"""How far towards the most likely values a fault is simulated to see whether it makes the sweep at all."""
BROKEN = 1e3
"""Off ln L of a fault that cannot make the sweep after all. [1]"""
FURTHER = 100.0
"""Chi-square of such a simulation against the bound of the linear model. Its values are not its own best, so true
faults were seen at 35; those that make no such sweep at 500 and more. [1]"""
NO_FAULT = 1e-4
"""Share of units with the fault itself that would fit it no better; below it no fault explains a sweep."""


@dataclass(frozen=True)
class Candidate:
    """One fault as an explanation of a sweep.

    Attributes
    ----------
    key : str
    words : str
    share : float
        Its part of the probability among all faults, each as likely as any other before. [1]
    misfit : float
        Chi-square.
    likelihood : float
        ln L.
    z : ndarray
        Most likely values, see :class:`sim.diagnosis.fit.Fit`.
    seen : Seen or None
        The unit with the fault at these values; None where it was not simulated again.
    """

    key: str
    words: str
    share: float
    misfit: float
    likelihood: float
    z: np.ndarray
    seen: Seen | None


@dataclass(frozen=True)
class Group:
    """Faults that a sweep does not tell apart, likeliest first."""

    members: tuple[Candidate, ...]

    @property
    def share(self) -> float:
        """Probability of all of them together among all faults. [1]"""
        return sum(member.share for member in self.members)

    @property
    def lead(self) -> Candidate:
        """The likeliest."""
        return self.members[0]


@dataclass(frozen=True)
class Ranking:
    """What a sweep says about a unit.

    Attributes
    ----------
    good : GoodTest
    good_fit : Fit
    groups : tuple of Group
        Likeliest first; the good unit is among them where it competes.
    good_share : float
        Probability that nothing is wrong, if half of all units that are looked at are good. [1]
    explained : bool
        Whether the best of them fits at all.
    best_misfit, most_misfit : float
        Chi-square of the best, and its bound.
    points : int
        Frequencies compared.
    """

    good: GoodTest
    good_fit: Fit
    groups: tuple[Group, ...]
    good_share: float
    explained: bool
    best_misfit: float
    most_misfit: float
    points: int


def rank(book: FaultBook, observed: np.ndarray, places: np.ndarray, false_alarms: float = 0.03) -> Ranking:
    """Rank all faults by a sweep.

    Parameters
    ----------
    book : FaultBook
    observed : complex ndarray, shape (n_place,)
        S21 at these frequencies of the book.
    places : int ndarray, shape (n_place,)
    false_alarms : float
        Share of good units that may be refused. [1]
    """
    from scipy.special import chdtri, logsumexp

    bench = book.people.bench
    keys = _near(book, observed, places, bench)
    book.prepare(keys)
    hypotheses = {key: book.hypothesis(key, places) for key in keys}
    fits = {key: fit(observed, hypotheses[key], bench) for key in keys}
    most = float(chdtri(2 * len(places), NO_FAULT))
    seen = _again(book, observed, places, hypotheses, fits, bench)
    _bend(book, observed, places, hypotheses, fits, seen, most)
    level = {key: fits[key].likelihood for key in keys}
    promising = [key for key in _leading(fits)[:AGAIN] if fits[key].misfit <= most]
    made = _makes(book, observed, places, hypotheses, {key: fits[key] for key in promising}, most)
    for key in set(promising) - made:
        level[key] -= BROKEN
    faults = [key for key in keys if key != GOOD.key]
    together = logsumexp([level[key] for key in faults])
    candidates = {
        key: Candidate(
            key,
            book.fault(key).words,
            float(np.exp(level[key] - together)) if key != GOOD.key else 0.0,
            fits[key].misfit,
            level[key],
            fits[key].z,
            seen.get(key),
        )
        for key in keys
    }
    order = sorted(faults, key=lambda key: -level[key])
    mean = together - np.log(max(len(book.keys) - 1, 1))
    best = order[0] if order else GOOD.key
    return Ranking(
        good=good_test(fits[GOOD.key], false_alarms),
        good_fit=fits[GOOD.key],
        groups=_groups(book, order, candidates, hypotheses, bench),
        good_share=float(1 / (1 + np.exp(np.clip(mean - level[GOOD.key], -700, 700)))),
        explained=bool(made),
        best_misfit=fits[best].misfit,
        most_misfit=most,
        points=len(places),
    )


def _near(book: FaultBook, observed, places, bench: BenchSetup) -> list[str]:
    """The good unit, and the faults that are worth their own tolerances.

    Two looks with the good unit's tolerances: a generous one for faults that change much, which have others, and a
    sharp one for those that change little, which have nearly the same.
    """
    book.prepare((GOOD.key,))
    freq_hz, generous, sharp = book.freq_hz[places], {}, {}
    for key in book.keys:
        own = book.hypothesis(key, places, GOOD.key)
        generous[key] = fit(observed, own, bench, look_noise(freq_hz, own.gain, FIRST_LOOK)).likelihood
        sharp[key] = fit(observed, own, bench).likelihood
    good = good_test(fit(observed, book.hypothesis(GOOD.key, places), bench))
    most, near = (FEWEST if good.passed else NEARER), []
    for look in (sharp, generous):
        order = sorted((key for key in look if key != GOOD.key), key=lambda key: -look[key])
        still = [key for key in order[:most] if look[order[0]] - look[key] < STILL]
        near += still if len(still) >= FEWEST else order[:FEWEST]
    return [GOOD.key, *dict.fromkeys(near)]


def _again(book, observed, places, hypotheses: dict[str, Hypothesis], fits: dict[str, Fit], bench) -> dict[str, Seen]:
    """Simulate the leading faults with their most likely values, and explain the sweep by what comes out."""
    seen = {}
    for _ in range(ROUNDS):
        leading = [GOOD.key, *_leading(fits)][:AGAIN]
        items = [(book.fault(key), book.variables_at(fits[key].z)) for key in leading]
        for key, (_, at), answer in zip(leading, items, simulate(book.people, items), strict=True):
            if isinstance(answer, Failed):
                continue
            own = hypotheses[key]
            simulated = np.zeros(len(own.columns))
            simulated[: len(at)] = list(at.values())
            linear = own.gain * np.exp(simulated @ own.columns)
            shift = bend(answer.gain[places], linear, bench)
            fits[key] = fit(observed, own, bench, shift=shift)
            seen[key] = answer
    return seen


def _leading(fits: dict[str, Fit]) -> list[str]:
    """Keys of faults, likeliest first."""
    return sorted((key for key in fits if key != GOOD.key), key=lambda key: -fits[key].likelihood)


def _bend(book, observed, places, hypotheses, fits, seen, most: float) -> None:
    """Where nothing fits, take the sensitivities of the nearest faults anew at their most likely values.

    A fault that leaves a sharp resonance moves far off with a few per cent of a part: its logarithm is no straight line
    there. Gauss and Newton's steps from the nominal unit, with a noise that shrinks from that of a first look.
    """
    if min(fits[key].misfit for key in _leading(fits)[:AGAIN] or [GOOD.key]) <= most:
        return
    nearest = [key for key in fits if key != GOOD.key][:BENT]
    for key in dict.fromkeys([*_leading(fits)[:BENT], *nearest]):
        z, best = np.zeros_like(fits[key].z), fits[key]
        for step in range(STEPS):
            there = book.bent(key, z, places)
            if there is None:
                break
            hypothesis, own = there
            # Only what the simulator was given is in its answer already.
            within = np.zeros(len(hypothesis.columns))
            within[: len(own.at)] = own.at
            back = -within @ hypothesis.columns
            shift = np.concatenate([back.real, back.imag])
            trial = fit(observed, hypothesis, book.people.bench, shift=shift)
            if key not in seen or trial.likelihood > best.likelihood:
                best, seen[key], hypotheses[key] = trial, own.seen, hypothesis
            more = look_noise(book.freq_hz[places], hypothesis.gain, FIRST_LOOK * 0.3**step)
            z = z + np.clip(fit(observed, hypothesis, book.people.bench, more, shift).z - z, -2.0, 2.0)
            if trial.misfit <= most / 2:
                break
        fits[key] = best


def _makes(book, observed, places, hypotheses, fits: dict[str, Fit], most: float) -> set[str]:
    """Which faults make the sweep when they are simulated, at their most likely values or short of them.

    What the linear model promises far from where it was simulated, such as more gain from a joint of less than no
    resistance, no unit delivers.
    """
    bench = book.people.bench
    tries, found = [(key, part * fits[key].z) for key in fits for part in PARTS_OF_THE_WAY], set()
    items = [(book.fault(key), book.variables_at(z)) for key, z in tries]
    for (key, z), (_, at), answer in zip(tries, items, simulate(book.people, items), strict=True):
        if isinstance(answer, Failed):
            continue
        own = hypotheses[key]
        # What the measurement adds is no part of what was simulated.
        measured = answer.gain[places] * np.exp(z[len(at) :] @ own.columns[len(at) :])
        off = difference(observed, measured, bench) / noise_of(measured, bench)
        if float(off @ off) <= FURTHER * most:
            found.add(key)
    return found


def _groups(book, order, candidates, hypotheses, bench) -> tuple[Group, ...]:
    groups, left = [], list(order)
    while left:
        lead = left[0]
        members = [lead]
        for key in left[1:]:
            behind = candidates[lead].likelihood - candidates[key].likelihood
            # What comes through an op-amp that does nothing is a guess, so that much must differ before it tells.
            idle = book.nominal(lead).idle and book.nominal(key).idle
            near = (
                behind < (2 * MUCH_LESS if idle else MUCH_LESS)
                and distance(hypotheses[lead], hypotheses[key], bench) < CONFUSED
            )
            if near or behind < HARDLY_LESS:
                members.append(key)
        groups.append(Group(tuple(candidates[key] for key in members)))
        left = [key for key in left if key not in members]
    return tuple(groups)


def hidden(book: FaultBook, places: np.ndarray, false_alarms: float = 0.03) -> tuple[str, ...]:
    """Keys of the faults that pass the test of a good unit at nominal values: half of those units or more go unseen.

    Parameters
    ----------
    book : FaultBook
    places : int ndarray, shape (n_place,)
    false_alarms : float
        Of the test. [1]

    Notes
    -----
    The noise is not in a fault's nominal sweep, so its expected chi-square is that of the good unit more.
    """
    bench = book.people.bench
    good = book.hypothesis(GOOD.key, places)
    found = []
    for key in book.keys:
        if key == GOOD.key:
            continue
        test = good_test(fit(book.nominal(key).gain[places], good, bench), false_alarms)
        noise_alone = 2 * len(places) - test.tolerance_freedom, test.tolerance_freedom
        if test.rest + noise_alone[0] <= test.rest_most and test.tolerance + noise_alone[1] <= test.tolerance_most:
            found.append(key)
    return tuple(found)
