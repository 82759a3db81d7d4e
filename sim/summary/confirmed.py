"""Kicks in the time domain: which units are kicked, the rows of confirm.csv, and what came of it in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sim.engine.isolate import Failed
from sim.quantity import format_quantity
from sim.sampling.draw import standard_draws
from sim.stability.confirm import Trial, load_of
from sim.stability.lossless import LosslessLoad, can_be_kicked
from sim.stability.sources import Source
from sim.summary.antennas import antenna_cells, antenna_words
from sim.summary.feedlines import load_words
from sim.summary.lines import load_cells
from sim.summary.maps import counting, plainest
from sim.summary.wording import listed

if TYPE_CHECKING:
    from pandas import DataFrame

FAILS, THIN, DRAWN = "fails", "near the limit", "drawn"
MOST_FAILING, MOST_THIN = 6, 3
"""Units of a scenario, the worst first."""
THIN_MARGIN = 0.6
"""A stable unit whose smallest margin is below this is near the limit. [1]"""
DRAWN_SHARE, MOST_DRAWN = 100, 10
"""One unit in so many is drawn, the same in all scenarios; at most so many."""
MOST_KICKS = 48
"""Of a run."""
SHORT_LINE = 0.005
"""A line shorter than this share of a wave sets the simulator's step; a longer one is taken where there is one. [1]"""
MOST_NAMED = 5
"""Disagreements that are named in a sentence; all stand in confirm.csv."""


@dataclass(frozen=True)
class Confirmation:
    """What came of the kicks of a run.

    Attributes
    ----------
    kicked : int
        That were simulated.
    agree, disagree : int
        With the count, and not.
    undecided : int
        Where the count or the time watched does not say.
    failed : int
        That could not be simulated.
    left_out : int
        Kicks beyond the most of a scenario or a run, or on far ends that are known only from a file.
    disagreements : tuple of str
        Each in words.
    told : tuple of str
        Sentences.
    """

    kicked: int
    agree: int
    disagree: int
    undecided: int
    failed: int
    left_out: int
    disagreements: tuple[str, ...]
    told: tuple[str, ...]


def trials_of(gathered, loads: Sequence, seed: int) -> tuple[list[Trial], int]:
    """What is to be kicked: units that fail, come near, or are drawn, on their own worst line and on it matched.

    Parameters
    ----------
    gathered : Gathered
        With both maps.
    loads : sequence of tuple of Load
        Of each scenario.
    seed : int
        Of the study.

    Returns
    -------
    trials : list of Trial
        Scenarios take turns, the worst units first, so that what the cap leaves out are the lesser ones.
    left_out : int
        Kicks that are not among them.

    Notes
    -----
    Of several lines on which a unit oscillates the one furthest from the border is taken, as a kick in time says least
    there. A unit that fails with an antenna is also kicked with it, the line matched.
    """
    units = gathered.units
    drawn = counting(units)
    lucky = np.nonzero(drawn)[0]
    draws = standard_draws(seed, units[lucky], "kicked in the time domain")
    chosen = lucky[np.argsort(draws)[: -(-len(lucky) // DRAWN_SHARE)]]
    every, left_out = [], 0
    for index in range(len(gathered.scenarios)):
        scenario = _Scenario(gathered, index, loads[index])
        failing, thin = scenario.failing(drawn), scenario.thin(drawn)
        picked = [(FAILS, row) for row in failing[:MOST_FAILING]] + [(THIN, row) for row in thin[:MOST_THIN]]
        known = {row for _, row in picked}
        lot = [row for row in chosen if row not in known and scenario.there[row]]
        picked += [(DRAWN, row) for row in lot[:MOST_DRAWN]]
        asked = [row for row in {*failing, *thin, *lot} if row not in {row for _, row in picked}]
        left_out += sum(len(scenario.trials(FAILS, row)[0]) for row in asked)
        ranks = dict.fromkeys((FAILS, THIN, DRAWN), 0)
        for why, row in picked:
            trials, without = scenario.trials(why, row)
            left_out += without
            every += [(ranks[why], trial) for trial in trials]
            ranks[why] += 1
    # A stable sort: within a rank the order of scenarios stays.
    every.sort(key=lambda entry: entry[0])
    trials = [trial for _, trial in every]
    return trials[:MOST_KICKS], left_out + len(trials[MOST_KICKS:])


class _Scenario:
    """Both maps of one scenario."""

    def __init__(self, gathered, index: int, loads):
        self._index, self._loads, self._units = index, loads, gathered.units
        lines, antennas = gathered.lines, gathered.antennas
        self._lines = (lines.margin[index][:, : len(loads)], lines.freq_hz[index], lines.poles[index][:, : len(loads)])
        self._antennas = antennas.margin[index], antennas.poles[index]
        margins = np.concatenate([self._lines[0], self._antennas[0]], axis=1)
        self.there = ~np.isnan(self._lines[0]).all(axis=1)
        self._least = np.where(self.there, np.fmin.reduce(margins, axis=1), np.inf)
        poles = np.concatenate([self._lines[2], self._antennas[1]], axis=1)
        self._bad = (np.nan_to_num(poles) != 0).sum(axis=1)

    def failing(self, drawn) -> list[int]:
        """Rows of units with a line or an antenna that is unstable or not resolved, the worst first."""
        order = np.lexsort([self._least, -self._bad])
        return [int(row) for row in order if drawn[row] and self.there[row] and self._bad[row]]

    def thin(self, drawn) -> list[int]:
        """Rows of stable units near the limit, the nearest first."""
        order = np.argsort(self._least, kind="stable")
        near = drawn & (self._bad == 0) & (self._least < THIN_MARGIN)
        return [int(row) for row in order if near[row]]

    def trials(self, why: str, row: int) -> tuple[list[Trial], int]:
        """Kicks of one unit, and how many cannot be."""
        unit = int(self._units[row])
        load = self._worst_load(row)
        if load is None:
            return [], 2
        found = [Trial(self._index, unit, why, load)]
        if self._loads[load].end != "matched":
            found.append(Trial(self._index, unit, why, load, matched=True))
        margin, poles = (values[row] for values in self._antennas)
        if np.any(np.nan_to_num(poles) != 0):
            found.append(Trial(self._index, unit, why, load, True, int(plainest(margin, poles)[0])))
        return found, 0

    def _worst_load(self, row: int) -> int | None:
        margin, freq_hz, poles = (values[row] for values in self._lines)
        order = [int(place) for place in plainest(margin, poles) if can_be_kicked(self._loads[place])]
        if not order:
            return None
        for place in order:
            if poles[place] == 0:
                break
            if LosslessLoad(self._loads[place]).delay_s * freq_hz[place] > SHORT_LINE:
                return place
        return order[0]


def confirmed_rows(scenarios, trials: Sequence[Trial], found: Sequence, sources, loads, own_capacitance) -> DataFrame:
    """The rows of confirm.csv.

    Parameters
    ----------
    scenarios : sequence of int
        Their numbers.
    trials : sequence of Trial
    found : sequence of Confirmed or Failed
        Of each trial.
    sources : sequence of Source
    loads : sequence of tuple of Load
        Of each scenario.
    own_capacitance : sequence of float
        Of each scenario's antenna. [F]

    Returns
    -------
    table : DataFrame
        `unstable_by_count` is the number of unstable poles, -1 where it is not resolved; `transient` how the kick ended
        (settles, undecided, grows, limit cycle, latched); `agree` 1, 0, or -1 where one of both does not say.
    """
    import pandas as pd

    from sim.columns import TABLES

    rows = []
    for trial, result in zip(trials, found, strict=True):
        load = load_of(loads[trial.scenario], trial)
        source = sources[trial.source] if trial.source is not None else Source("nominal")
        row = {
            "scenario": int(scenarios[trial.scenario]),
            "unit": trial.unit,
            "why": trial.why,
            **antenna_cells(source, own_capacitance[trial.scenario]),
            **load_cells(load),
            "unstable_by_count": -1,
            "transient": "",
            "agree": -1,
        }
        if isinstance(result, Failed):
            rows.append(row | {"reason": result.reason})
            continue
        rows.append(
            row
            | {
                "margin": result.margin,
                "margin_frequency_hz": result.freq_hz,
                "unstable_by_count": result.poles if result.resolved else -1,
                "transient": result.ending,
                "agree": -1 if result.agrees is None else int(result.agrees),
                "reason": result.reason,
            }
        )
    return pd.DataFrame(rows, columns=list(TABLES["confirm.csv"]))


def confirmation_of(table: DataFrame, left_out: int, names: Mapping[int, str]) -> Confirmation:
    """Counts and words.

    Parameters
    ----------
    table : DataFrame
        confirm.csv.
    left_out : int
    names : mapping of int to str
        Of the scenarios.
    """
    kicked = table[table["transient"] != ""]
    unlike, open_ones = kicked[kicked["agree"] == 0], kicked[kicked["agree"] == -1]
    agree, failed = int((kicked["agree"] == 1).sum()), len(table) - len(kicked)
    shown = tuple(_disagreement(row, names) for _, row in unlike.iterrows())
    units = kicked.groupby(["scenario", "unit"]).ngroups
    said = (
        f"Proof in time: {units} {'unit' if units == 1 else 'units'} kicked {len(kicked)} times in the time domain, on"
        f" their worst feedlines and with the line matched, lines without loss: {agree} of {len(kicked)} agree with the"
        " count of poles on the same lines"
    )
    if not len(kicked):
        said = "Proof in time: no unit could be kicked in the time domain"
    if len(unlike):
        more = f" and {len(shown) - MOST_NAMED} more (confirm.csv)" if len(shown) > MOST_NAMED else ""
        said += f"; {len(unlike)} disagree, trust neither before you know why: {listed(shown[:MOST_NAMED])}{more}"
    if len(open_ones):
        said += f"; {len(open_ones)} cannot be told in the time watched or by the count"
    if failed:
        said += f"; {failed} could not be simulated"
    if left_out:
        said += (
            f"; {left_out} more kicks were left out (at most {MOST_FAILING} failing units and {MOST_THIN} near the"
            f" limit of each choice, {MOST_KICKS} kicks in all, no far end known only from a file)"
        )
    return Confirmation(
        kicked=len(kicked),
        agree=agree,
        disagree=len(unlike),
        undecided=len(open_ones),
        failed=failed,
        left_out=left_out,
        disagreements=shown,
        told=(f"{said}.",),
    )


def _disagreement(row, names: Mapping[int, str]) -> str:
    whose = f" of {names[int(row['scenario'])]}" if len(names) > 1 else ""
    antenna = ""
    if row["antenna"] != "nominal" or row["capacitance_share"] != 1 or row["inductance_h"] > 0:
        words = antenna_words(row["antenna"], row["capacitance_share"], row["capacitance_f"], row["inductance_h"])
        antenna = f"{words} and "
    line = load_words(str(row["cable"]), float(row["length_m"]), str(row["far_end"]))
    if row["far_end"] == "matched" and row["length_m"] == 0:
        line = f"the impedance of {row['cable']} at the output"
    count = "unstable" if row["unstable_by_count"] > 0 else "stable"
    near = f"margin {row['margin']:.3f} near {format_quantity(row['margin_frequency_hz'], 'Hz', 2)}"
    said = f"is {count} by the count and in time: {row['transient']} ({near})"
    return f"unit {int(row['unit'])}{whose} with {antenna}{line} {said}"
