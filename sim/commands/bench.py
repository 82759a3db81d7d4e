"""bandfloor try: a maker's SPICE model of an op-amp on the bench: pins, what it does, what it lacks."""

import argparse
import math
import textwrap
from pathlib import Path

from sim.errors import Fault, RecordError, shown
from sim.quantity import QuantityError, format_quantity, parse_quantity
from sim.study.maker import MODEL_ENDINGS, is_model_file

_WIDTH = 100


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of ``bandfloor try``."""
    parser.add_argument("model", metavar="MODEL", help=f"the maker's file ({' '.join(MODEL_ENDINGS)})")
    parser.add_argument("--subcircuit", metavar="NAME", help="which subcircuit of the file, where it holds several")
    parser.add_argument(
        "--pins",
        metavar="ROLES",
        help='what its pins are, in the file\'s order: "inp inn vcc vee out"; a pin named again is tied to the first of'
        " that name, gnd to ground, nc left open",
    )
    parser.add_argument("--like", metavar="PART", help="record of the part to compare it with, by name or file (.toml)")
    parser.add_argument(
        "--supply", metavar="VOLTS", help="supply (default: the middle of the record's range, else 10 V)"
    )
    parser.epilog = (
        "The file is judged against a list of what a model may hold before the simulator sees any of it, and runs\n"
        'in a process of its own. In a study: opamp = "MODEL" under [amplifier], the rest under [amplifier.model];\n'
        "docs/vendor-model.md."
    )


def act(given) -> int:
    """Try the model and print what was found."""
    from sim.deck.maker.file import choose, read_model_file
    from sim.measures.maker.trial import try_model
    from sim.opamp.catalogue import load_opamp
    from sim.steps.maker import model_rows

    path = Path(given.model)
    if not is_model_file(given.model):
        found = f"does not end in {' '.join(MODEL_ENDINGS)}."
        raise RecordError(Fault(shown(given.model)[1:-1], None, None, found, "Name a maker's SPICE model."))
    model = choose(read_model_file(path, given.model), given.subcircuit, given.pins)
    like = load_opamp(given.like, path.parent) if given.like else None
    trial = try_model(model, like, _volts(given.supply))
    pins = ", ".join(f"{port} = {role}" for port, role in zip(model.ports, model.pins.roles, strict=True))
    print(f"\n{model.subcircuit} in {given.model}: pins {pins} (from {model.pins.reason}), proved on the bench.")
    if like is None:
        print("Nothing to compare it with: name the record of the part with --like PART (bandfloor list opamps).")
    _print_rows(model_rows((trial,)))
    for note in trial.findings.notes:
        print(textwrap.fill(f"- {note}", _WIDTH, subsequent_indent="  "))
    if math.isfinite(trial.seconds):
        print(f"- An AC sweep of 200 points took {1e3 * trial.seconds:.1f} ms.")
    return 0


def _volts(text: str | None) -> float | None:
    if text is None:
        return None
    try:
        volts = parse_quantity(text, "V")
        if not 0.5 <= volts <= 200:
            raise QuantityError(f"{shown(text)} is out of range.", "Write 0.5 to 200 V.")
    except QuantityError as error:
        raise RecordError(Fault("--supply", None, None, error.found, error.remedy)) from error
    return volts


def print_bench(path: Path) -> None:
    """Print the table of a run's models (model.csv); nothing where it has none.

    Parameters
    ----------
    path : Path
    """
    if not path.is_file():
        return
    from sim.tables import read_csv

    rows = read_csv(path).to_dict("records")
    for name in dict.fromkeys((row["file"], row["subcircuit"]) for row in rows):
        print(f"{name[1]} ({name[0]}) on the bench:")
        _print_rows([row for row in rows if (row["file"], row["subcircuit"]) == name])


def _print_rows(rows: list[dict]) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for column in ("finding", "measured", "unit", "record", "verdict"):
        table.add_column(column, no_wrap=True, justify="right" if column in ("measured", "record") else "left")
    for row in rows:
        expected = f"{row['expected']:.3g}" if math.isfinite(row["expected"]) else ""
        table.add_row(row["finding"], f"{row['measured']:.4g}", row["unit"], expected, row["verdict"])
    volts = format_quantity(rows[0]["supply_v"], "V")
    console = Console(highlight=False, width=_WIDTH)
    console.print(table)
    console.print(f"27 °C, supply {volts}; output loads against the middle of the supply.", markup=False)
