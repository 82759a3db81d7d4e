"""What to change about a design that is not stable enough, found by running it again with one thing changed.

Theory of operation
-------------------
The units that are worst, and the nominal one, are run again with every change of :mod:`sim.stability.changes`. Parts of
which the first step helps are followed: in smaller steps where it mended, in larger ones where that was not enough. A
change mends where all these units are stable with everything that the study names, their smallest margins are what is
needed, and no op-amp rests where it does not work. Of each thing to be changed, in each direction, the smallest change
that mends is kept. They are ranked: those first that keep every limit of the study, then those that cost little, then
by the smallest margin.

Nothing is recommended on the worst units alone: in this order changes are run on more units, those that failed among
them, and only one with which every one of these is stable and has margin enough is. Where it fails, the next larger one
of its kind is tried.

Not covered: two changes at once; changes of the circuit's topology; what a change does to a match.
"""

from dataclasses import dataclass, replace

import numpy as np
from pydantic import ValidationError

from sim.deck.build import chain_of
from sim.errors import BandfloorError
from sim.quantity import Limit
from sim.stability.changes import Change, first_round, second_round, with_change
from sim.stability.rerun import Trial, run_trials

HELPS = 0.02
"""Rise of the smallest margin from which a change of a part is followed further. [1]"""
MOST_FOLLOWED = 8
"""Parts and directions that are followed further."""
MOST_VERIFIED = 6
"""Changes that are run on more units at most."""
RECOMMENDED = 3
"""Changes that are recommended at most."""
LARGE_GAIN_DB, LARGE_NOISE_DB, LARGE_MATCH_DB, GOOD_MATCH_DB = 3.0, 1.0, 3.0, 14.0
"""A change costs little as long as gain moves by less than this, the noise margin falls by less than this, and the
output match falls by less than this or stays a good one; our choice. [dB]"""


@dataclass(frozen=True)
class Needed:
    """What a mended design must have.

    Attributes
    ----------
    margin, line_margin : float
        Smallest distance of the loop from −1, the line matched, and on every feedline of ``[stability]``. [1]
    limits : dict of str to Limit
        Those of the study.
    """

    margin: float
    line_margin: float
    limits: dict[str, Limit]

    def enough(self, trial: Trial) -> np.ndarray:
        """Which units are stable and have the margins, shape (n_unit,)."""
        found = trial.stable & (trial.values["stability_margin"][:, 0] >= self.margin)
        if "line_margin" in trial.values:
            found &= trial.values["line_margin"][:, 0] >= self.line_margin
        return found


@dataclass(frozen=True)
class Tried:
    """One change and what it did.

    Attributes
    ----------
    change : Change
    stable : bool
        All units that were run.
    margin : float or None
        Smallest over these units and over everything they are judged with; None where one is not stable. [1]
    degree : float
        Its rise is what changes are ranked by; see :class:`sim.stability.rerun.Trial`. [1]
    gain_change_db, noise_margin_change_db, output_match_change_db : float or None
        Of the nominal unit: the largest change of the bench gain over the bands, that of the smallest noise margin and
        that of the smallest return loss. [dB]
    keeps_limits : bool
        All these units keep every limit of the study but those on a match.
    mends : bool
    costs_little : bool
    rank : int or None
        Among the smallest changes that mend, from 1.
    verified, verified_good : int or None
        Units it was run on then, and how many of them were stable with margin enough.
    recommended : bool
    note : str
    """

    change: Change
    stable: bool = False
    margin: float | None = None
    degree: float = -np.inf
    gain_change_db: float | None = None
    noise_margin_change_db: float | None = None
    output_match_change_db: float | None = None
    keeps_limits: bool = False
    mends: bool = False
    costs_little: bool = False
    rank: int | None = None
    verified: int | None = None
    verified_good: int | None = None
    recommended: bool = False
    note: str = ""
    failed: bool = False


@dataclass(frozen=True)
class Mending:
    """What was tried for one scenario.

    Attributes
    ----------
    scenario : int
    stable : bool
        Whether the units that were run again are stable as they are.
    margin : float or None
        Their smallest; None where one is not stable. [1]
    tried : tuple of Tried
        In order of trial.
    """

    scenario: int
    stable: bool
    margin: float | None
    tried: tuple[Tried, ...]

    @property
    def recommended(self) -> tuple[Tried, ...]:
        """In order of rank."""
        return tuple(sorted((one for one in self.tried if one.recommended), key=lambda one: one.rank))


def mend(scenario, units, verifying, needed: Needed) -> Mending:
    """Try everything on one scenario.

    Parameters
    ----------
    scenario : Scenario
    units : sequence of int
        The nominal unit, 0, first; then the worst ones.
    verifying : sequence of int
        Units on which a change must prove itself before it is recommended.
    needed : Needed
    """
    study = scenario.study
    chain = chain_of(study)
    (base,) = run_trials([scenario], units)
    if base.failed:
        return Mending(scenario.number, False, None, ())
    tried = _tried(study, first_round(study, chain), units, base, needed)
    helped = {}
    for one in sorted(tried, key=lambda one: -one.degree):
        part = one.change.key.startswith("amplifier.parts.")
        if part and len(helped) < MOST_FOLLOWED and one.degree > float(base.degree.min()) + HELPS:
            helped[one.change.ladder] = one.mends
    tried += _tried(study, second_round(chain, helped), units, base, needed)
    tried = _verified(study, _ranked(tried), verifying, needed)
    stable = bool(base.stable.all())
    return Mending(scenario.number, stable, float(base.degree.min()) if stable else None, tuple(tried))


def _tried(study, changes, units, base: Trial, needed: Needed) -> list[Tried]:
    designs, refused = {}, {}
    for change in changes:
        try:
            designs[change] = with_change(study, change)
            chain_of(designs[change].study)
        except (BandfloorError, ValidationError) as error:
            designs.pop(change, None)
            refused[change] = str(error).splitlines()[0]
    trials = dict(zip(designs, run_trials(list(designs.values()), units), strict=True))
    return [
        _judged(change, trials[change], base, needed)
        if change in trials
        else Tried(change, note=refused[change], failed=True)
        for change in changes
    ]


def _judged(change: Change, trial: Trial, base: Trial, needed: Needed) -> Tried:
    if trial.failed:
        return Tried(change, note=trial.failed, failed=True)
    gain = trial.values["gain_db"][0] - base.values["gain_db"][0]
    noise, match = (_least(trial, name) - _least(base, name) for name in ("noise_margin_db", "output_match_db"))
    gain = float(gain[np.abs(gain).argmax()])
    news = [text for text in trial.cautions if text not in base.cautions]
    stable = bool(trial.stable.all())
    little = (
        abs(gain) < LARGE_GAIN_DB
        and not noise < -LARGE_NOISE_DB
        and (match > -LARGE_MATCH_DB or _least(trial, "output_match_db") >= GOOD_MATCH_DB)
    )
    return Tried(
        change,
        stable=stable,
        margin=float(trial.degree.min()) if stable else None,
        degree=float(trial.degree.min()),
        gain_change_db=gain,
        noise_margin_change_db=_number(noise),
        output_match_change_db=_number(match),
        keeps_limits=trial.keeps(needed.limits),
        # An op-amp that rests where it does not work is no cure.
        mends=bool(needed.enough(trial).all()) and not news,
        costs_little=bool(little),
        note="; ".join([*([change.note] if change.note else []), *news]),
    )


def _least(trial: Trial, name: str) -> float:
    return float(trial.values[name][0].min())


def _number(value: float) -> float | None:
    return value if np.isfinite(value) else None


def _ranked(tried: list[Tried]) -> list[Tried]:
    """The smallest change of each ladder that mends, ranked."""
    least: dict[str, Tried] = {}
    for one in tried:
        known = least.get(one.change.ladder)
        if one.mends and (known is None or _smaller(one, known)):
            least[one.change.ladder] = one
    order = sorted(least.values(), key=lambda one: (not one.keeps_limits, not one.costs_little, -one.degree))
    ranks = {one.change: place for place, one in enumerate(order, start=1)}
    return [replace(one, rank=ranks.get(one.change)) for one in tried]


def _smaller(one: Tried, other: Tried) -> bool:
    """Whether a change is to be preferred to another of its ladder: it keeps limits, is verified data, is smaller."""
    return (not one.keeps_limits, bool(one.change.note), one.change.size) < (
        not other.keeps_limits,
        bool(other.change.note),
        other.change.size,
    )


def _verified(study, tried: list[Tried], units, needed: Needed) -> list[Tried]:
    """Run ranked changes on more units, and recommend those that prove themselves."""
    runs = good = 0
    for first in sorted((one for one in tried if one.rank is not None), key=lambda one: one.rank):
        sound = any(one.recommended and one.keeps_limits and one.costs_little for one in tried)
        if sound and not (first.keeps_limits and first.costs_little):
            # Who has a change that costs little need not hear of one that ruins gain or noise.
            continue
        larger = (one for one in tried if one.mends and one.change.ladder == first.change.ladder)
        ladder = sorted(
            (one for one in larger if one.change.size >= first.change.size), key=lambda one: one.change.size
        )
        for one in ladder:
            if runs == MOST_VERIFIED or good == RECOMMENDED:
                return tried
            runs += 1
            (trial,) = run_trials([with_change(study, one.change)], units)
            count = 0 if trial.failed else int(needed.enough(trial).sum())
            proved = count == len(units)
            at = tried.index(one)
            tried[at] = replace(
                one, rank=first.rank, verified=len(units), verified_good=count, recommended=proved,
                keeps_limits=one.keeps_limits and not trial.failed and trial.keeps(needed.limits),
            )
            if one is not first:
                before = next(i for i, other in enumerate(tried) if other.change == first.change)
                tried[before] = replace(tried[before], rank=None) if proved else tried[before]
                tried[at] = tried[at] if proved else replace(tried[at], rank=None)
            if proved:
                good += 1
                break
    return tried
