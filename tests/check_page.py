"""docs/how-this-was-checked.md, out of the rows of docs/checks.csv and the larger trials."""

import csv
from pathlib import Path

from tests.checks import EXACT, Row, Standing

TRIALS = Path(__file__).parent / "data" / "larger-trials.csv"
NAME = "how-this-was-checked.md"

TOP = """\
# How this was checked

Written by the tests out of what they measured; not by hand. All {rows} comparisons stand in [checks.csv](checks.csv), a
row each: quantity, source, its value, ours, error, tolerance, and the test to run (`./bandfloor test TEST`). Each test
asserts its rows, and fails when the table no longer says what it measures. A line below says of many rows how many they
are, and how much of its tolerance the worst of them uses. Tolerances are stated beside each value in the tests' data,
with their reason; a check near 100 % is one whose tolerance is the accuracy of the model, not of the arithmetic.

"""
MEANING = {
    Standing.STANDARD: "a standard or a recommendation",
    Standing.PROGRAM: "another program, most of them run on own input; ngspice is the engine here, too, so a comparison"
    " with plain `ngspice -b` checks how a chain is put together and read, not the simulator",
    Standing.SHEET: "examples and numbers printed in data sheets",
    Standing.PAPER: "a textbook or a paper",
    Standing.HAND: "a closed form or a calculation by hand, in the test or in its data",
    Standing.OTHER_CODE: "an earlier calculation of our own by other code: independent code, the same heads",
}


def page(rows: list[Row]) -> str:
    """The whole page.

    Parameters
    ----------
    rows : list of Row
    """
    outside = [row for row in rows if row.standing != Standing.SELF]
    inside = [row for row in rows if row.standing == Standing.SELF]
    parts = [TOP.format(rows=len(rows)), "## Against numbers from outside\n"]
    for standing, meaning in MEANING.items():
        own = [row for row in outside if row.standing == standing]
        if own:
            parts.append(f"### {str(standing).capitalize()}\n\nAgainst {meaning}. {_count(own)}.\n\n{_table(own)}")
    if inside:
        parts.append(
            "## The program against itself\n\nThese say that two ways through the program agree, and nothing about"
            f" whether both are right. {_count(inside)}.\n\n{_table(inside)}"
        )
    marked = [row for row in rows if row.mark]
    if marked:
        parts.append(
            "## With less behind them than it seems\n\nSources not read in the original, formulas from memory,"
            " and common practice that no source backs. The program marks its own assumptions in the same words: in"
            " the report, in the records of parts and cables, and in the texts of its modules.\n\n" + _marks(marked)
        )
    parts.append(
        "## Larger trials\n\nTrials with many random cases, by the test named; some take minutes and run with"
        " `-m slow` only. The figures are those of the last time somebody looked; what a test asserts is in it.\n\n"
        + _trials("")
        + "\nAgainst the program itself:\n\n"
        + _trials("yes")
    )
    return "\n".join(parts)


def _count(rows) -> str:
    return f"{len(rows)} comparisons of {sum(int(row.values) for row in rows)} values"


def _table(rows) -> str:
    lines = ["| what | against | rows | values | tolerance used | worst row |", "|---|---|---|---|---|---|"]
    groups: dict[tuple, list[Row]] = {}
    for row in rows:
        groups.setdefault((row.subject, row.source, row.mark), []).append(row)
    for (subject, source, mark), own in groups.items():
        worst = max(own, key=lambda row: row.used)
        values = sum(int(row.values) for row in own)
        if all(row.tolerance == EXACT for row in own):
            used, said = "–", "all equal"
        else:
            used, said = f"{100 * worst.used:.0f} %", _worst(worst)
        source += f" **({mark})**" if mark else ""
        lines.append(f"| {subject} | {source} | {len(own)} | {values} | {used} | {said} |")
    return "\n".join(line.replace("\n", " ") for line in lines) + "\n"


def _worst(row: Row) -> str:
    unit = f" {row.unit}" if row.unit not in ("", "1") else ""
    where = f" ({row.case})" if row.case else ""
    if int(row.values) > 1:
        return f"{row.quantity}{where}: {row.ours}{unit} apart, allowed {row.tolerance}".replace("|", "/")
    return f"{row.quantity}{where}: {row.theirs}, ours {row.ours}{unit}, allowed ±{row.tolerance}".replace("|", "/")


def _marks(rows) -> str:
    found: dict[str, set[str]] = {}
    for row in rows:
        found.setdefault(row.mark, set()).add(f"{row.source} ({row.subject})")
    return "".join(f"- **{mark}**: {'; '.join(sorted(sources))}.\n" for mark, sources in sorted(found.items()))


def trials() -> list[dict]:
    """The larger trials: what, against, found, self, tests."""
    lines = [line for line in TRIALS.read_text(encoding="utf-8").splitlines() if line and line[0] != "#"]
    return list(csv.DictReader(lines))


def _trials(of_itself: str) -> str:
    lines = ["| what | against | found | tests |", "|---|---|---|---|"]
    lines += [
        f"| {row['what']} | {row['against']} | {row['found']} | {row['tests']} |"
        for row in trials()
        if row["self"] == of_itself
    ]
    return "\n".join(lines) + "\n"
