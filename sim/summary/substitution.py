"""May this op-amp stand in for that one? A verdict for each candidate, from the same units with either part.

Rules
-----
A candidate keeps the limits if as many of its units do as the answer asks for (:data:`NEEDED_YIELD`), every unit is
stable and its op-amps rest where they work. Then

- it "drops in" if the step of its nominal unit in bench gain and phase against the reference is within what the array
  takes (:mod:`sim.summary.mixed`) at every band; and, where the study limits a match, if enough drawn units keep that
  match as the only new one of an otherwise old build;
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
from sim.summary.mixed import Allowed, Trim, alike_share, best_trim, null_db, step_of
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
        Why its nominal unit gave no numbers; empty where it did.
    rests : tuple of str
        Sentences about op-amps that rest where they do not work, unlike those of the reference.
    unverified : tuple of str
        Parts of which the data were not verified against a data sheet.
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
class Mixed:
    """One new unit among old ones, with its own part or with another capacitor.

    Attributes
    ----------
    bands_hz : tuple of float
    gain_db, phase_deg : tuple of ndarray, shape (n_band,)
        Nominal step, and the ends of the middle 95 % of drawn pairs. [dB], [degree]
    trim : Trim
    within : bool
        Whether the nominal step is within what the array takes at every band.
    trimmed_within : bool
        The same with the trim.
    alike : float
        Share of drawn units that keep the match as the only new one of a build. [1]
    """

    bands_hz: tuple[float, ...]
    gain_db: tuple[np.ndarray, ...]
    phase_deg: tuple[np.ndarray, ...]
    trim: Trim
    within: bool
    trimmed_within: bool
    alike: float

    @property
    def worst(self) -> int:
        """Place of the band at which the step spoils a null most."""
        return int(np.argmax(null_db(self.gain_db[0], self.phase_deg[0])))


def mixed(bands_hz, old, new, units: np.ndarray, build: int, allowed: Allowed, velocity: float) -> Mixed:
    """One new unit among old ones.

    Parameters
    ----------
    bands_hz : sequence of float, length n_band
        [Hz]
    old, new : tuple of two ndarray, shape (n_unit, n_band)
        Bench gain and phase of the same units with either part. [dB], [degree]
    units : int ndarray, shape (n_unit,)
        The nominal unit, 0, among them.
    build : int
    allowed : Allowed
    velocity : float
        Of a wave on the feedline, over that of light. [1]
    """
    gain = step_of(old[0], new[0], units, build)
    phase = step_of(old[1], new[1], units, build, turns=True)
    trim = best_trim(bands_hz, gain[0], phase[0], velocity)
    return Mixed(
        bands_hz=tuple(float(band) for band in bands_hz),
        gain_db=gain,
        phase_deg=phase,
        trim=trim,
        within=bool(allowed.holds(gain[0], phase[0]).all()),
        trimmed_within=bool(allowed.holds(trim.left_gain_db, trim.left_phase_deg).all()),
        alike=alike_share(old, new, units, build, allowed),
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


def fits(one: Mixed, match_limited: bool) -> bool:
    """Whether a new unit may stand among old ones as it is.

    Parameters
    ----------
    one : Mixed
    match_limited : bool
        Whether the study limits a match, so that drawn units are judged too.
    """
    enough = math.isnan(one.alike) or one.alike >= NEEDED_YIELD
    return one.within and (enough or not match_limited)


def judged(candidate: Candidate, one: Mixed | None, match_limited: bool) -> Verdict:
    """The verdict before any capacitor is tried.

    Parameters
    ----------
    candidate : Candidate
    one : Mixed or None
        None where either nominal unit gave no numbers.
    match_limited : bool
        Whether the study limits a match.
    """
    if not candidate.keeps:
        return Verdict(candidate, "no", one)
    if one is None:
        return Verdict(candidate, "unknown", None)
    fit = fits(one, match_limited)
    return Verdict(candidate, "drop-in" if fit else "re-match", one, rematch=not fit)


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


def bench(gathered, place: int) -> tuple[np.ndarray, np.ndarray]:
    """Bench gain [dB] and phase [degree] of a scenario's units, each of shape (n_unit, n_band).

    Parameters
    ----------
    gathered : Gathered
    place : int
        Position of the scenario.
    """
    return tuple(gathered.banded[place, :, BANDED.index(name)] for name in ("gain_db", "phase_deg"))


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

