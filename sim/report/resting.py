"""Op-amp numbers that nobody read in a data sheet: their table on the page, and marks behind what rests on them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from sim.columns import MEASURES
from sim.opamp.doubts import listed
from sim.opamp.known import MARKS
from sim.plots import words
from sim.report.model import Page, Table
from sim.summary.resting import LEGEND, measure_marks


def with_resting(page: Page, answer: Mapping) -> Page:
    """The page with marks behind the names of such measures in its tables, and with the table of the numbers.

    Parameters
    ----------
    page : Page
    answer : mapping
        answer.json, as read.
    """
    entries = [entry for entry in answer.get("opamps", ()) if entry["unseen"]]
    marks = {}
    for measure, mark in measure_marks(answer).items():
        for text in (words.short_name(measure), words.heading(measure, MEASURES[measure].unit)):
            marks[text] = text + mark
        if measure == "noise_margin_db":
            marks["SNR loss, dB"] = "SNR loss, dB" + mark
    if not entries:
        return page

    def marked(text: str) -> str:
        return marks.get(text, text)

    grid = page.yield_grid
    return replace(
        page,
        opamps=_table(entries),
        opamps_read=tuple(f"{entry['part']}: {entry['source']}." for entry in entries),
        marks_note=LEGEND if marks else "",
        scenarios=replace(page.scenarios, columns=tuple(map(marked, page.scenarios.columns))),
        yields=tuple(replace(row, measure=marked(row.measure)) for row in page.yields),
        yield_grid=replace(grid, rows=tuple((marked(row[0]), *row[1:]) for row in grid.rows)),
        nominal_bands=_first_marked(page.nominal_bands, marked),
        nominal_single=_first_marked(page.nominal_single, marked),
    )


def _first_marked(table: Table, marked) -> Table:
    return replace(table, rows=tuple((marked(row[0]), *row[1:]) for row in table.rows))


def _table(entries) -> Table:
    """A row for each op-amp and for what rests on numbers of it; a mark behind every number."""
    rows = []
    for entry in entries:
        # Pairs of values bear one name: "1/f corners 1 kHz~ and 10 kHz~".
        groups: dict[str, dict[str, list[str]]] = {}
        for value in entry["unseen"]:
            names = groups.setdefault(value["rests"], {})
            names.setdefault(value["name"], []).append(f"{value['text']}{MARKS[value['status']]}")
        for rests, names in groups.items():
            rows.append((entry["part"], rests, ", ".join(f"{name} {listed(own)}" for name, own in names.items())))
    return Table(("Op-amp", "What rests on them", "Numbers"), tuple(rows))
