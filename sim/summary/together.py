"""Both ends together: which units and antennas are tried on every feedline, the rows of both_ends.csv, and words."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sim.engine.isolate import Failed
from sim.quantity import format_quantity
from sim.stability.both_ends import Pair, Together
from sim.summary.antennas import antenna_cells, antenna_words
from sim.summary.feedlines import load_words
from sim.summary.lines import load_cells
from sim.summary.maps import plainest, worst_first
from sim.summary.wording import listed

if TYPE_CHECKING:
    from pandas import DataFrame

MOST_SCENARIOS = 8
"""Scenarios that are tried, the worst off first."""
MOST_ANTENNAS = 3
"""Of each scenario, the hardest first."""
MOST_LOADS = 5
"""Feedlines that are kept of each unit with each antenna, the worst first."""
SAME_MARGIN = 0.02
"""Share by which the deck with the other antenna and the map may differ in a margin, and least difference. [1]"""


def pairs_of(scenarios: Sequence[int], feedlines: DataFrame, antennas: DataFrame) -> list[Pair]:
    """Units and antennas to be tried: the hardest antennas, each with its own worst unit and that of the worst line.

    Parameters
    ----------
    scenarios : sequence of int
        Their numbers, in order.
    feedlines, antennas : DataFrame
        stability.csv and antennas.csv.
    """
    off = {}
    for number in scenarios:
        rows = [table[(table["scenario"] == number) & (table["units"] > 0)] for table in (feedlines, antennas)]
        if all(len(own) for own in rows):
            bad = sum(int((own["unstable"] + own["unresolved"]).sum()) for own in rows)
            off[number] = (-bad, min(float(own["margin_min"].min()) for own in rows))
    found = []
    for number in sorted(off, key=off.get)[:MOST_SCENARIOS]:
        lines = feedlines[feedlines["scenario"] == number]
        own = antennas[antennas["scenario"] == number]
        line_unit = int(lines.iloc[worst_first(lines)[0]]["unit"])
        for place in worst_first(own)[:MOST_ANTENNAS]:
            units = dict.fromkeys((int(own.iloc[place]["unit"]), line_unit))
            found += [Pair(list(scenarios).index(number), int(place), unit) for unit in units]
    return found


@dataclass(frozen=True)
class _Maps:
    """Everything that both maps say: see :class:`sim.summary.lines.Lines`, :class:`sim.summary.antennas.Antennas`."""

    lines: object
    antennas: object
    units: np.ndarray

    def line(self, pair: Pair, load: int) -> tuple[float, int]:
        where = (pair.scenario, int(np.searchsorted(self.units, pair.unit)), load)
        return float(self.lines.margin[where]), int(self.lines.poles[where])

    def antenna(self, pair: Pair) -> tuple[float, int]:
        where = (pair.scenario, int(np.searchsorted(self.units, pair.unit)), pair.source)
        return float(self.antennas.margin[where]), int(self.antennas.poles[where])


def together_rows(gathered, pairs: Sequence[Pair], found: Sequence, sources, loads, own_capacitance) -> DataFrame:
    """The rows of both_ends.csv: for each pair its worst feedlines.

    Parameters
    ----------
    gathered : Gathered
    pairs : sequence of Pair
    found : sequence of Together or Failed
        Of each pair.
    sources : sequence of Source
    loads : sequence of tuple of Load
        Of each scenario.
    own_capacitance : sequence of float
        Of each scenario's antenna. [F]

    Returns
    -------
    table : DataFrame
        What each end alone says of the same unit stands beside what both say; `deck_agrees` is 0 where the deck with
        the antenna in it, its line matched, says something else than the map of antennas. Poles are -1 where they could
        not be counted. A pair that did not simulate has one row with the reason and nothing else.
    """
    import pandas as pd

    from sim.columns import TABLES

    maps, rows = _Maps(gathered.lines, gathered.antennas, gathered.units), []
    for pair, result in zip(pairs, found, strict=True):
        source = sources[pair.source]
        head = {
            "scenario": int(gathered.scenarios[pair.scenario]),
            "unit": pair.unit,
            **antenna_cells(source, own_capacitance[pair.scenario]),
        }
        if isinstance(result, Failed):
            rows.append(head | {"reason": result.reason})
            continue
        alone, alone_poles = maps.antenna(pair)
        agrees = _agrees(result, alone, alone_poles)
        poles = np.where(result.resolved, result.unstable, -1)
        for place in plainest(result.margin, poles)[:MOST_LOADS]:
            load = loads[pair.scenario][place]
            line_margin, line_poles = maps.line(pair, int(place))
            rows.append(
                head
                | {
                    **load_cells(load),
                    "margin": float(result.margin[place]),
                    "margin_frequency_hz": float(result.freq_hz[place]),
                    "poles": int(poles[place]),
                    "margin_line_alone": line_margin,
                    "poles_line_alone": line_poles,
                    "margin_antenna_alone": alone,
                    "poles_antenna_alone": alone_poles,
                    "deck_agrees": int(agrees),
                    "reason": "",
                }
            )
    return pd.DataFrame(rows, columns=list(TABLES["both_ends.csv"]))


def _agrees(result: Together, margin: float, poles: int) -> bool:
    near = abs(result.matched - margin) <= max(SAME_MARGIN * margin, 5e-3)
    return result.matched_poles == poles and near


def together_told(table: DataFrame, names: Mapping[int, str]) -> list[str]:
    """Sentences: what both ends together show that neither shows alone, scenario by scenario; then what disagrees.

    Parameters
    ----------
    table : DataFrame
        both_ends.csv.
    names : mapping of int to str
        Of the scenarios.
    """
    told = []
    for number in dict.fromkeys(table["scenario"]):
        told.append(_told(table[table["scenario"] == number], names[int(number)] if len(names) > 1 else ""))
    return told


def hidden_told(table: DataFrame, names: Mapping[int, str], standing: Collection[int]) -> list[str]:
    """A sentence for the opening where units oscillate with both ends bad at once and with neither alone.

    Parameters
    ----------
    table, names
        As for :func:`together_told`.
    standing : collection of int
        Scenarios that stand each end alone; of others it is no news.
    """
    hit = [names[int(number)] for number in dict.fromkeys(_hidden(table)["scenario"]) if int(number) in standing]
    if not hit:
        return []
    which = f"{listed(hit)}: " if len(names) > 1 else ""
    return [
        f"Not counted in any yield: {which}a unit oscillates with antenna and feedline wrong at once, though neither"
        " alone shows it (see both ends together)."
    ]


def _hidden(judged: DataFrame) -> DataFrame:
    alone = (judged["poles_line_alone"] == 0) & (judged["poles_antenna_alone"] == 0)
    return judged[(judged["poles"] > 0) & alone]


def _told(own: DataFrame, name: str) -> str:
    head = f"Both ends together{f', {name}' if name else ''}"
    judged, lost = own[own["margin"].notna()], own[own["margin"].isna()]
    if judged.empty:
        return f"{head}: nothing could be simulated: {lost['reason'].iloc[0]}."
    tried = judged.groupby(["unit", "antenna", "capacitance_share", "inductance_h"], dropna=False).ngroups
    what = f"the hardest antennas in the deck with the worst units ({tried} trials) on every feedline"
    first = judged.iloc[plainest(judged["margin"], judged["poles"])[0]]
    hidden = _hidden(judged)
    if len(hidden):
        first = hidden.iloc[plainest(hidden["margin"], hidden["poles"])[0]]
        said = f"no: neither end alone shows that {_combination(first)}"
    elif first["poles"] != 0:
        which = "line" if first["poles_line_alone"] != 0 else "antenna"
        said = f"no, as with the {which} alone: {_combination(first)}"
    else:
        alone = f"{first['margin_line_alone']:.2f} with that line alone, {first['margin_antenna_alone']:.2f} with that"
        said = f"yes, {what}; smallest margin {first['margin']:.2f} ({alone} antenna alone): {_combination(first)}"
    said = said if first["poles"] == 0 else f"{said} ({what})"
    doubts = judged[judged["deck_agrees"] == 0]
    if len(doubts):
        count = doubts.groupby(["unit", "antenna", "capacitance_share", "inductance_h"], dropna=False).ngroups
        said += (
            f". In {count} of {tried} trials the deck with the antenna in it and the map of antennas disagree with the"
            " line matched: trust neither before you know why (both_ends.csv)"
        )
    if len(lost):
        said += f". {len(lost)} more could not be simulated: {lost['reason'].iloc[0]}"
    return f"{head}: {said}."


def _combination(row) -> str:
    antenna = antenna_words(row["antenna"], row["capacitance_share"], row["capacitance_f"], row["inductance_h"])
    line = load_words(str(row["cable"]), float(row["length_m"]), str(row["far_end"]))
    near = f"near {format_quantity(row['margin_frequency_hz'], 'Hz', 2)}"
    verb = {True: "oscillates", False: "comes nearest"}[row["poles"] > 0]
    verb = "could not be judged" if row["poles"] < 0 else verb
    return f"unit {int(row['unit'])} with {antenna} and {line} {verb} {near}"
