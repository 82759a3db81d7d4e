"""Judge the op-amps that a study compares, and write substitution.csv."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from sim.columns import TABLES
from sim.deck.build import chain_of
from sim.quantity import Limit
from sim.summary.collect import Gathered
from sim.summary.compensation import Demands, compensation
from sim.summary.matching import Matches
from sim.summary.mixed import Takes, takes_of
from sim.summary.paired import differences
from sim.summary.substitution import (
    Candidate,
    Mixed,
    Verdict,
    counts_of,
    groups_of,
    judged,
    misses_of,
    mixed,
    others_of,
    parts_named,
    seen_of,
    unstable_units,
    worst_units,
)
from sim.summary.substitution_words import entry_of, substitution_rows
from sim.summary.yields import ALL_LIMITS, NEEDED_YIELD
from sim.tables import write_csv

KEY = "amplifier.opamp"
MOST_COMPENSATED = 8
"""Candidates for which capacitors are tried; each takes a few hundred runs."""


@dataclass(frozen=True)
class _Run:
    """What all candidates are judged from."""

    study: object
    every: tuple
    gathered: Gathered
    matches: Matches
    limits: dict[str, Limit]
    summary: pd.DataFrame
    failed: pd.DataFrame
    takes: Takes

    @property
    def bands(self) -> np.ndarray:
        return np.asarray(self.study.bands.frequencies)


def substitutions(
    study, every, gathered: Gathered, matches: Matches, limits: dict[str, Limit], summary, failed, out: Path
) -> list[dict]:
    """Verdicts on the op-amps of ``[[vary]] what = "amplifier.opamp"``; without it nothing, and no older table stays.

    Parameters
    ----------
    study : Study
    every : sequence of Scenario
    gathered : Gathered
    matches : Matches
    limits : dict of str to Limit
        Those that are judged.
    summary, failed : DataFrame
        summary.csv and failures.csv.
    out : Path
        Results folder; substitution.csv is written into it.

    Returns
    -------
    entries : list of dict
        For answer.json.
    """
    path = out / "substitution.csv"
    path.unlink(missing_ok=True)
    groups = groups_of(every, KEY, study.amplifier.opamp)
    if not groups:
        return []
    run = _Run(study, tuple(every), gathered, matches, limits, summary, failed, takes_of(limits))
    verdicts, entries, left = [], [], MOST_COMPENSATED
    for first, places in groups:
        cable = chain_of(every[first].study).route.sections[0].cable
        for place in places:
            one = _candidate(run, first, place)
            verdict = judged(one, _as_it_is(run, first, place, cable.velocity_factor))
            if one.capacitor_could_help and left:
                left -= 1
                verdict = _compensated(run, verdict, first, place, cable.velocity_factor)
            verdicts.append(verdict)
            entries.append(entry_of(verdict, run.takes, study.run.build, cable.name))
    rows = substitution_rows(verdicts, run.takes, _yields(summary))
    table = pd.DataFrame(rows, columns=list(TABLES["substitution.csv"]))
    # Counts stay whole numbers beside rows that have none.
    write_csv(table.astype(dict.fromkeys(("keeps_limit", "step_within"), "Int64")), path, "substitution.csv")
    return entries


def _yields(summary) -> dict:
    """Yields of limited measures by scenario, measure and frequency, None where there is none."""
    limited = summary[summary["passed"].notna()]
    found = {}
    for row in limited.to_dict("records"):
        frequency = None if math.isnan(row["frequency_hz"]) else float(row["frequency_hz"])
        found[int(row["scenario"]), str(row["measure"]), frequency] = float(row["yield"])
    return found


def _candidate(run: _Run, first: int, place: int) -> Candidate:
    old, new = run.every[first], run.every[place]
    opamp, instead_of = (str(dict(scenario.values)[KEY]) for scenario in (new, old))
    records, old_records = (chain_of(scenario.study).opamps for scenario in (new, old))
    parts = [records[0].part if records else opamp, old_records[0].part if old_records else instead_of]
    # Drawn units that failed count in the yields, where there are limits.
    least = 0 if run.limits else math.inf
    mine = run.failed[(run.failed["scenario"] == new.number) & (run.failed["unit"] <= least)]
    return Candidate(
        scenario=new.number,
        reference=old.number,
        opamp=opamp,
        instead_of=instead_of,
        others=others_of(new, KEY),
        differences=differences(run.gathered, run.bands, run.matches, first, place, run.limits),
        counts=counts_of(run.summary, new.number, ALL_LIMITS),
        misses=misses_of(run.summary, new.number, old.number, ALL_LIMITS),
        unstable=unstable_units(run.gathered, place),
        lost=str(mine["reason"].iloc[0]) if len(mine) else "",
        rests=parts_named(run.gathered.cautions, *parts),
        unverified=tuple(dict.fromkeys(record.part for record in records if not record.verified)),
        reference_unverified=any(not record.verified for record in old_records),
    )


def _as_it_is(run: _Run, first: int, place: int, velocity: float) -> Mixed | None:
    """One new unit among old ones; None where either nominal unit gave no numbers."""
    gathered = run.gathered
    if gathered.failed[[first, place]][:, gathered.units == 0].any():
        return None
    old, new = seen_of(gathered, first), seen_of(gathered, place)
    return mixed(run.bands, old, new, gathered.units, run.study.run.build, run.takes, velocity)


def _compensated(run: _Run, verdict: Verdict, first: int, place: int, velocity: float) -> Verdict:
    """The verdict once other capacitors were tried."""
    gathered, build = run.gathered, run.study.run.build
    demands = Demands(run.limits, NEEDED_YIELD, build)
    found, tried = compensation(run.every[place], worst_units(gathered, place), demands)
    if found is None or verdict.mixed is None:
        return replace(verdict, capacitors_tried=tried)
    # The same units with the old part; they rise with their numbers.
    rows = np.searchsorted(gathered.units, found.units)
    old = seen_of(gathered, first).of(rows)
    step = mixed(run.bands, old, found.seen, found.units, build, run.takes, velocity)
    return replace(
        verdict,
        kind="capacitor",
        mixed=step,
        compensation=found,
        capacitors_tried=tried,
        rematch=not step.fits,
    )
