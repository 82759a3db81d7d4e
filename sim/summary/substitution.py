"""May this op-amp stand in for that one? A verdict for each candidate, from the same units with either part.

Rules
-----
A candidate keeps the limits if as many of its units do as the answer asks for (:data:`NEEDED_YIELD`), every unit is
stable and its op-amps rest where they work. Then

- it "drops in" if the step of its nominal unit in gain and phase against the reference is within what the array takes
  (:mod:`sim.summary.mixed`) at every band, on the bench and with antenna and feedline; and, where the study limits a
  match, if enough drawn units keep that match as the only new one of an otherwise old build;
- else it "works, but re-match the whole array".

One that fails in stability, and in nothing that a capacitor could not bring back (gain, match), is run again with other
compensation capacitors (:mod:`sim.summary.compensation`). All else is "no". A limit stays a limit where the reference
breaks it too; the reason then says so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.columns import MEASURES
from sim.measures.panel import BANDED, SINGLE
from sim.summary.compensation import Compensation
from sim.summary.mixed import SEEN, Seen, Takes, Trim, alike_share, best_trim, null_db, step_of
from sim.summary.paired import Difference
from sim.summary.yields import NEEDED_YIELD

DROPS_IN, REMATCH, CAPACITOR, NO = (
    "drops in",
    "works, but re-match the whole array",
    "needs another compensation capacitor: {}",
    "no",
)
"""The verdicts; the third names the capacitor."""
_MENDABLE = ("stability", "gain", "match")
WORST_UNITS = 3
"""Units with the smallest margins with which capacitors are tried first."""


@dataclass(frozen=True)
class Miss:
    """A limit that too few units of a candidate keep.

    Attributes
    ----------
    measure : str
    frequency_hz : float
        NaN where the measure has none. [Hz]
    low, high : float
        The limit.
    nominal, reference : float
        Of the nominal unit of candidate and reference.
    share, reference_share : float
        Of units that keep it. [1]
    """

    measure: str
    frequency_hz: float
    low: float
    high: float
    nominal: float
    reference: float
    share: float
    reference_share: float

    @property
    def by(self) -> float:
        """How far the nominal unit is outside; 0 where it is within, NaN where it has no value."""
        return max(self.low - self.nominal, self.nominal - self.high, 0.0) if self.nominal == self.nominal else math.nan


@dataclass(frozen=True)
class Candidate:
    """What is known of one candidate before it is judged.

    Attributes
    ----------
    scenario, reference : int
        Numbers of its scenario and of the one it is compared with.
    opamp, instead_of : str
        Both parts as the study names them.
    others : tuple of (str, str)
        Other varied keys and what they are in both scenarios.
    differences : tuple of Difference
    counts : tuple of (passed, units, share, low, high)
        Of units that keep every limit: of the candidate, then of the reference; low and high are the interval's.
    misses : tuple of Miss
        Worst first.
    unstable : int
        Drawn units that are not stable.
    lost : str
        Why its nominal unit, or without limits any, gave no numbers; empty where all did.
    rests : tuple of str
        Sentences about op-amps that rest where they do not work, unlike those of the reference.
    unverified : tuple of str
        Parts of which the data were not verified against a data sheet.
    reference_unverified : bool
        Whether the reference is such a part.
    """

    scenario: int
    reference: int
    opamp: str
    instead_of: str
    others: tuple
    differences: tuple[Difference, ...]
    counts: tuple
    misses: tuple[Miss, ...]
    unstable: int
    lost: str
    rests: tuple[str, ...]
    unverified: tuple[str, ...]
    reference_unverified: bool = False

    @property
    def keeps(self) -> bool:
        """Whether it keeps the limits and works at all."""
        return not (self.misses or self.unstable or self.lost or self.rests)

    @property
    def capacitor_could_help(self) -> bool:
        """Whether it fails in stability, and in nothing else that a capacitor does not touch."""
        groups = {MEASURES[miss.measure].group for miss in self.misses}
        bad = self.unstable > 0 or "stability" in groups
        return bad and groups <= set(_MENDABLE) and not (self.lost or self.rests)


@dataclass(frozen=True)
class Steps:
    """Step of a new unit over old ones: nominal, and the ends of the middle 95 % of drawn pairs.

    Attributes
    ----------
    gain_db, phase_deg : tuple of three ndarray, shape (n_band,)
        [dB], [degree]
    """

    gain_db: tuple[np.ndarray, ...]
    phase_deg: tuple[np.ndarray, ...]

    @property
    def nominal(self) -> tuple[np.ndarray, np.ndarray]:
        """Gain and phase step of the nominal units. [dB], [degree]"""
        return self.gain_db[0], self.phase_deg[0]


@dataclass(frozen=True)
class Mixed:
    """One new unit among old ones, with its own part or with another capacitor.

    Attributes
    ----------
    bands_hz : tuple of float
    bench, system : Steps
        As an analyser sees them, and with antenna, feedline and receiver, as an array feels them.
    trim : Trim
        Of the second.
    within : bool
        Whether both nominal steps are within what the array takes at every band.
    trimmed_within : bool
        The same of the whole with the trim.
    alike : float
        Share of drawn units that keep the match as the only new one of a build; 1 without a limit on a match. [1]
    """

    bands_hz: tuple[float, ...]
    bench: Steps
    system: Steps
    trim: Trim
    within: bool
    trimmed_within: bool
    alike: float

    @property
    def worst(self) -> int:
        """Place of the band at which the step spoils a null most."""
        return int(np.argmax(null_db(*self.system.nominal)))

    @property
    def fits(self) -> bool:
        """Whether a new unit may stand among old ones as it is."""
        return self.within and self.alike >= NEEDED_YIELD


def mixed(bands_hz, old: Seen, new: Seen, units: np.ndarray, build: int, takes: Takes, velocity: float) -> Mixed:
    """One new unit among old ones.

    Parameters
    ----------
    bands_hz : sequence of float, length n_band
        [Hz]
    old, new : Seen
        The same units with either part.
    units : int ndarray, shape (n_unit,)
        The nominal unit, 0, among them.
    build : int
    takes : Takes
    velocity : float
        Of a wave on the feedline, over that of light. [1]
    """
    bench, system = (
        Steps(
            step_of(before[0], after[0], units, build),
            step_of(before[1], after[1], units, build, turns=True),
        )
        for before, after in zip(old.pairs, new.pairs, strict=True)
    )
    trim = best_trim(bands_hz, *system.nominal, velocity, takes.system)
    alike = [
        alike_share(before, after, units, build, allowed)
        for before, after, allowed in zip(old.pairs, new.pairs, (takes.bench, takes.system), strict=True)
        if allowed.own
    ]
    # With one limit for both a match is judged where the study judges it, on the bench.
    alike = alike[:1] if takes.bench == takes.system else alike
    within = takes.bench.holds(*bench.nominal).all() and takes.system.holds(*system.nominal).all()
    return Mixed(
        bands_hz=tuple(float(band) for band in bands_hz),
        bench=bench,
        system=system,
        trim=trim,
        within=bool(within),
        trimmed_within=bool(takes.system.holds(trim.left_gain_db, trim.left_phase_deg).all()),
        alike=min([share for share in alike if not math.isnan(share)], default=1.0),
    )


@dataclass(frozen=True)
class Verdict:
    """A candidate, judged.

    Attributes
    ----------
    candidate : Candidate
    kind : str
        "drop-in", "re-match", "capacitor" or "no"; "unknown" where the reference gave no numbers.
    mixed : Mixed or None
        As it would be used: of a candidate that needs a capacitor with it. None without numbers.
    compensation : Compensation or None
    capacitors_tried : int
        Values; 0 where none was.
    rematch : bool
        Whether a single one spoils an old array, as it would be used.
    """

    candidate: Candidate
    kind: str
    mixed: Mixed | None
    compensation: Compensation | None = None
    capacitors_tried: int = 0
    rematch: bool = False

    @property
    def words(self) -> str:
        """The verdict."""
        if self.kind == "unknown":
            return "not judged"
        text = {"drop-in": DROPS_IN, "re-match": REMATCH, "capacitor": CAPACITOR, "no": NO}[self.kind]
        return text.format(self.compensation.words) if self.compensation else text


def judged(candidate: Candidate, one: Mixed | None) -> Verdict:
    """The verdict before any capacitor is tried.

    Parameters
    ----------
    candidate : Candidate
    one : Mixed or None
        None where either nominal unit gave no numbers.
    """
    if not candidate.keeps:
        return Verdict(candidate, "no", one)
    if one is None:
        return Verdict(candidate, "unknown", None)
    return Verdict(candidate, "drop-in" if one.fits else "re-match", one, rematch=not one.fits)


def worst_units(gathered, place: int) -> list[int]:
    """Units with which capacitors are tried first: unstable ones, then those with the smallest margins.

    Parameters
    ----------
    gathered : Gathered
    place : int
        Position of the scenario.
    """
    margin = gathered.single[place, :, SINGLE.index("stability_margin")]
    margin = np.where(gathered.single[place, :, SINGLE.index("stable")] == 0, -1.0, margin)
    if gathered.lines is not None:
        margin = np.fmin(margin, gathered.lines.smallest[place])
    order = [i for i in np.argsort(margin, kind="stable") if gathered.units[i] > 0 and np.isfinite(margin[i])]
    return [int(gathered.units[i]) for i in order[:WORST_UNITS]]


def seen_of(gathered, place: int) -> Seen:
    """Gain and phase of a scenario's units.

    Parameters
    ----------
    gathered : Gathered
    place : int
        Position of the scenario.
    """
    return Seen(*(gathered.banded[place, :, BANDED.index(name)] for name in SEEN))


def misses_of(
    summary, scenario: int, reference: int, all_limits: str, needed: float = NEEDED_YIELD
) -> tuple[Miss, ...]:
    """Limits that too few units keep, worst first; where each is kept but not all together, the hardest of them.

    Parameters
    ----------
    summary : DataFrame
        summary.csv.
    scenario, reference : int
    all_limits : str
        What stands for a measure in the row that counts all limits.
    needed : float
        Share of units. [1]
    """
    limited = summary[summary["passed"].notna()]
    rows = {
        number: {
            (str(row["measure"]), float(row["frequency_hz"])): row
            for row in limited[limited["scenario"] == number].fillna({"frequency_hz": -1.0}).to_dict("records")
        }
        for number in (scenario, reference)
    }
    found, whole = [], 1.0
    for key, row in rows[scenario].items():
        share = _share(row["yield"])
        if key[0] == all_limits:
            whole = share
            continue
        old = rows[reference].get(key, {})
        frequency = math.nan if key[1] < 0 else key[1]
        found.append(
            Miss(
                key[0], frequency, float(row["limit_low"]), float(row["limit_high"]), float(row["nominal"]),
                float(old.get("nominal", math.nan)), share, _share(old.get("yield")),
            )
        )
    found.sort(key=lambda miss: miss.share)
    if whole >= needed:
        return ()
    return tuple(miss for miss in found if miss.share < needed) or tuple(found[:1])


def _share(value) -> float:
    return float(value) if value is not None and math.isfinite(value) else 0.0


def groups_of(every: Sequence, key: str, written: str) -> list[tuple[int, list[int]]]:
    """Positions of scenarios that differ in one key alone: the reference of each group, and its candidates.

    Parameters
    ----------
    every : sequence of Scenario
    key : str
        The varied key.
    written : str
        Its value in the study itself: the reference where it is among those that are varied, else the first is.
    """
    found: dict[tuple, list[int]] = {}
    for place, scenario in enumerate(every):
        values = dict(scenario.values)
        if key not in values:
            return []
        found.setdefault(tuple((name, str(v)) for name, v in values.items() if name != key), []).append(place)
    pairs = []
    for places in found.values():
        names = [dict(every[place].values)[key] for place in places]
        first = places[names.index(written)] if written in names else places[0]
        pairs.append((first, [place for place in places if place != first]))
    return [pair for pair in pairs if pair[1]]


def others_of(scenario, key: str) -> tuple:
    """Other varied keys of a scenario and their values, as text.

    Parameters
    ----------
    scenario : Scenario
    key : str
        Not this one.
    """
    return tuple((name, str(value)) for name, value in dict(scenario.values).items() if name != key)


def counts_of(summary, scenario: int, all_limits: str) -> tuple:
    """Units that keep every limit: passed, units, share, and its interval; None for all where nothing is limited.

    Parameters
    ----------
    summary : DataFrame
        summary.csv.
    scenario : int
    all_limits : str
        What stands for a measure in that row.
    """
    rows = summary[(summary["scenario"] == scenario) & (summary["measure"].astype(str) == all_limits)]
    if rows.empty:
        return (None,) * 5
    row = rows.iloc[0]
    whole = int(row["passed"]), int(row["units"])
    return (*whole, *(float(row[name]) for name in ("yield", "yield_low", "yield_high")))


def unstable_units(gathered, place: int) -> int:
    """Drawn units of a scenario that are not stable; a circuit without a probe has no verdict and none that are not.

    Parameters
    ----------
    gathered : Gathered
    place : int
        Position of the scenario.
    """
    return int(((gathered.single[place, :, SINGLE.index("stable")] == 0) & (gathered.units > 0)).sum())


def parts_named(texts: Sequence[str], part: str, other: str) -> tuple[str, ...]:
    """Sentences about resting voltages that name one part and not another.

    Parameters
    ----------
    texts : sequence of str
    part, other : str
        Of candidate and reference.
    """
    return tuple(text for text in texts if f"{part} (" in text and (part == other or f"{other} (" not in text))

