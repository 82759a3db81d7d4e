"""bandfloor order: how many boards to build, what to buy for them, and which grade of parts is worth its price."""

import argparse
import contextlib
import json
import os
import textwrap
import time
from pathlib import Path

# Arrays of this size gain nothing from more threads, and results must not depend on how many there are.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

from sim.commands.check import SECONDS_PER_LOAD, SECONDS_PER_RUN  # noqa: E402
from sim.commands.held import Lock  # noqa: E402
from sim.commands.run import own_folder, positive, writable  # noqa: E402
from sim.errors import Fault, StudyError  # noqa: E402
from sim.quantity import QuantityError, parse_quantity  # noqa: E402
from sim.steps.layout import default_out  # noqa: E402
from sim.study.read import read_study  # noqa: E402
from sim.study.scenarios import scenarios  # noqa: E402

BUILDS = 300
"""Builds that are simulated unless told otherwise: a share of 95 % is then known within 2.5 %."""
_LEAST_BUILDS, _MOST_BUILDS = 20, 100_000
_WIDTH = 100
_DRAW_EVERY_S = 0.2
_ANSWER, _TABLE = "order.json", "order.csv"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of ``bandfloor order``."""
    parser.add_argument("study", metavar="STUDY", help="study file (.toml), with limits that say what is good")
    parser.add_argument("--build", type=positive, required=True, metavar="N", help="good boards to use")
    parser.add_argument("--confidence", default="95 %", metavar="P", help='chance of having them (default: "95 %%")')
    parser.add_argument("--selection", type=int, default=0, metavar="K", help="further good boards to choose sets from")
    parser.add_argument("--no-reference", action="store_true", help="keep no good board untouched as a reference")
    parser.add_argument("--scenario", type=int, default=0, metavar="I", help="which choice of the study (default: 0)")
    parser.add_argument(
        "--builds", type=positive, default=BUILDS, metavar="B", help=f"builds to simulate (default: {BUILDS})"
    )
    parser.add_argument("--no-grades", action="store_true", help="do not run other grades of the parts that drive")
    parser.add_argument("--years", metavar="Y", help="years for which op-amps are bought, with --losses")
    parser.add_argument("--losses", metavar="L", help="boards lost a year, such as 0.2")
    parser.add_argument("--prices", metavar="FILE", help="prices (.toml); none are known otherwise")
    parser.add_argument("--cores", type=positive, metavar="N", help="processor cores to use (default: all)")
    parser.add_argument("--out", metavar="DIR", help="results folder (default: results/<name of the study>)")
    parser.add_argument("--json", action="store_true", help="print the answer alone on standard output, for programs")
    parser.epilog = (
        "Boards of one build share their lots, so whole builds are simulated and the good boards counted: all limits\n"
        "kept, a match judged among the boards built. Writes order.csv and order.json, and the report's section where\n"
        "the study was run into the same folder. A file of prices, all lines optional:\n\n"
        '  currency = "EUR"\n'
        "  [piece]\n"
        '  Cf = {"1 %" = 0.12, "2 %" = 0.05}   # by grade\n'
        "  OPA2822 = 5.20                      # a package\n"
        "  board = 3.50                        # what each board needs beside\n"
        "  [metre]\n"
        "  rg6-ccs = 0.45\n"
    )


def act(given) -> int:
    """Work out, write, print."""
    study = read_study(given.study)
    every = scenarios(study)
    _check(given, study, len(every))
    wish = _wish(given)
    from sim.deck.build import chain_of
    from sim.order.prices import read_prices

    chain_of(every[given.scenario].study)  # what is wrong with it is told before anything is written
    prices = read_prices(given.prices) if given.prices else None
    out = Path(given.out) if given.out else default_out(given.study)
    own_folder(given, out)
    writable(out)
    with Lock(out):
        answer = _worked_out(given, study, every[given.scenario], wish, prices)
        _write(answer, out)
        shown = _report(out, answer["study_sha256"])
    if given.json:
        print(json.dumps(answer, indent=1, ensure_ascii=False, allow_nan=False))
    else:
        print("\n" + describe(answer))
        print(f"\nOrder: {out / _TABLE}, {out / _ANSWER}\n{shown}")
    return 0


def _refuse(key: str, found: str, remedy: str) -> StudyError:
    return StudyError(Fault("bandfloor order", None, key, found, remedy))


def _check(given, study, count: int) -> None:
    """Refuse what leaves nothing to count."""
    from sim.order.plan import MOST_GOOD

    if not study.limits:
        raise StudyError(
            Fault(
                given.study,
                None,
                "limits",
                "are not there, so nothing says which board is good.",
                'Add a table [limits], for example match_gain_db = "0 +- 0.2" and stable = "> 0.5".',
            )
        )
    if given.build > MOST_GOOD:
        raise _refuse("--build", f"is {given.build}.", f"Write 1 to {MOST_GOOD}.")
    if not 0 <= given.selection <= MOST_GOOD:
        raise _refuse("--selection", f"is {given.selection}.", f"Write 0 to {MOST_GOOD}.")
    if not 0 <= given.scenario < count:
        raise _refuse("--scenario", f"is {given.scenario}, and the study has 0 to {count - 1}.", "Write one of them.")
    if not _LEAST_BUILDS <= given.builds <= _MOST_BUILDS:
        raise _refuse("--builds", f"is {given.builds}.", f"Write {_LEAST_BUILDS} to {_MOST_BUILDS}.")


def _wish(given):
    from sim.order.plan import Wish

    confidence = _number("--confidence", given.confidence, 0.5, 0.999, '50 to 99.9 %, for example "95 %"')
    if (given.years is None) != (given.losses is None):
        missing = "--losses" if given.losses is None else "--years"
        raise _refuse(missing, "is missing.", "Write both --years and --losses, or neither.")
    years = losses = None
    if given.years is not None:
        years = _number("--years", given.years, 0, 100, "0 to 100 years")
        losses = _number("--losses", given.losses, 0, 1000, "0 to 1000 boards a year")
    return Wish(given.build, 0 if given.no_reference else 1, given.selection, confidence, given.builds, years, losses)


def _number(key: str, text: str, low: float, high: float, would_do: str) -> float:
    try:
        value = parse_quantity(text, "1")
    except QuantityError as error:
        raise _refuse(key, error.found, f"Write {would_do}.") from error
    if not low <= value <= high:
        raise _refuse(key, f"{text} is out of range.", f"Write {would_do}.")
    return value


def _worked_out(given, study, scenario, wish, prices) -> dict:
    from sim.order.mark import study_digest
    from sim.order.plan import work_out
    from sim.order.told import order_answer
    from sim.study.write import study_text

    cores = given.cores or os.cpu_count() or 1
    with _progress(given, wish, scenario, cores) as (progress, stage):
        plan = work_out(scenario, wish, cores, not given.no_grades, progress, stage)
    digest = study_digest(study_text(study))
    return order_answer(plan, scenario.study, scenario.number, dict(scenario.values), digest, prices)


@contextlib.contextmanager
def _progress(given, wish, scenario, cores: int):
    """Say how long it may take, then show how far it is; two callables, both silent where programs read the output."""
    if given.json:
        yield None, None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(stderr=True, highlight=False)
    console.print(_estimate(given, wish, scenario, cores), markup=False)
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("boards"),
        TimeRemainingColumn(),
    )
    # No thread of its own: children are forked meanwhile.
    with Progress(*columns, console=console, transient=not console.is_terminal, auto_refresh=False) as bar:
        tasks: list = []
        drawn = [0.0]

        def stage(what: str, boards: int) -> None:
            if tasks:
                bar.remove_task(tasks.pop())
            tasks.append(bar.add_task(what, total=boards))

        def progress(boards: int) -> None:
            task = bar.tasks[0]
            if task.completed + boards > (task.total or 0):
                # More boards of the same builds than were meant at first.
                bar.update(task.id, total=task.completed + boards)
            bar.advance(task.id, boards)
            if time.monotonic() - drawn[0] > _DRAW_EVERY_S:
                drawn[0] = time.monotonic()
                bar.refresh()

        yield progress, stage


def _estimate(given, wish, scenario, cores: int) -> str:
    from sim.order.plan import MOST_PARTS
    from sim.stability.judged import study_loads

    reruns = 0 if given.no_grades else 2 * MOST_PARTS + 1
    runs = wish.builds * wish.first
    each = SECONDS_PER_RUN + SECONDS_PER_LOAD * len(study_loads(scenario.study))

    def lasts(count: int) -> str:
        seconds = count * each / cores
        return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"

    more = f"; then at most {reruns} re-runs with other grades, {lasts(reruns * runs)} more" if reruns else ""
    return (
        f"{wish.builds} builds of {wish.first} boards at first: about {lasts(runs)} on {cores} core{'s' * (cores > 1)}"
        f"{more} (estimates; more boards where they are needed)"
    )


def _write(answer: dict, out: Path) -> None:
    from sim.columns import TABLES
    from sim.tables import replace_file, write_csv

    currency = (answer["prices"] or {}).get("currency", "")
    rows = [
        {
            **{name: item.get(name) for name in TABLES[_TABLE]},
            "parts": ", ".join(item["parts"]),
            "one_lot": int(item["one_lot"]),
            "currency": currency,
        }
        for item in answer["items"]
    ]
    # Both are whole before the first of them takes its place: an older order stays, or this one is there.
    with replace_file(out / _ANSWER) as file:
        file.write(json.dumps(answer, indent=1, ensure_ascii=False, allow_nan=False).encode())
        file.flush()
        write_csv(rows, out / _TABLE, _TABLE)


def _report(out: Path, digest: str) -> str:
    """Put the order into the report, and say where it stands; where there is no run of this study, say so."""
    from sim.order.mark import study_digest

    needed = ("study.toml", "answer.json", "summary.csv", "drivers.csv", "failures.csv", "scenarios.csv")
    if not all((out / name).is_file() for name in needed):
        return f"No report: the study was not run into {out} yet; bandfloor run puts the order into its report."
    if study_digest((out / "study.toml").read_text(encoding="utf-8")) != digest:
        return f"No report: the run in {out} is of another version of the study; bandfloor run makes both fit."
    from sim.report.page import write_report
    from sim.steps.seal import renewed

    report = write_report(out)
    renewed(out, "report", [report])
    return f"Report: {report}"


# ---------------------------------------------------------------------- words


def describe(answer: dict) -> str:
    """The answer in words and one table, the number of boards first.

    Parameters
    ----------
    answer : dict
        See :func:`sim.order.told.order_answer`.
    """
    lines = [line for text in answer["verdict"] for line in _wrapped(text)]
    if answer["items"]:
        lines += ["", *_table(answer), ""]
    lines += [line for text in (*answer["grade_notes"], *answer["notes"]) for line in _wrapped(text)]
    return "\n".join(lines)


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, subsequent_indent="  ")


def _table(answer: dict) -> list[str]:
    from sim.order.mark import lot_words

    priced = answer["prices"] is not None
    heads = ["part", "value", "grade", "kind", "pieces", "one lot"] + ["price"] * priced
    rows = []
    for item in answer["items"]:
        names = item["parts"][:-1] if item["sort"] == "op-amp" else item["parts"]
        kind = "" if item["sort"] == "op-amp" else item["kind"]
        value = item["value_words"] + ("" if item["is_preferred"] else " (!)")
        price = [] if not priced else ["–" if item["price_total"] is None else f"{item['price_total']:.2f}"]
        pieces = str(item["pieces"])
        rows.append([_named(names), value, item["grade"] or "–", kind or "–", pieces, lot_words(item), *price])
    widths = [max(map(len, column)) for column in zip(heads, *rows, strict=True)]
    return [
        "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in (heads, *rows)
    ]


def _named(names: list[str]) -> str:
    """Names of a line, those of a bias tee without what they share."""
    short = [name.removeprefix("feedline.tee.") for name in names]
    return ", ".join(short[:4]) + (f" +{len(short) - 4}" if len(short) > 4 else "")
