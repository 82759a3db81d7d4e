"""bandfloor list: what there is to choose from."""

import argparse

from sim.errors import InputError
from sim.paths import CIRCUITS
from sim.quantity import format_quantity

_WHAT = ("circuits", "opamps", "antennas", "cables", "noise", "measures")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of ``bandfloor list``."""
    parser.add_argument("what", metavar="WHAT", choices=_WHAT, help="one of: " + ", ".join(_WHAT))


def act(given) -> int:
    """Print one table."""
    from rich.console import Console

    Console(highlight=False).print(globals()[f"_{given.what}"]())
    return 0


def _table(*columns, right=()):
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for column in columns:
        table.add_column(column, justify="right" if column in right else "left", overflow="fold")
    return table


def _circuits():
    from sim.deck.circuit import read_circuit

    table = _table("circuit", "parts", "what it is")
    for path in sorted((CIRCUITS / "amplifiers").glob("*.cir")):
        try:
            circuit = read_circuit(path.stem, ".")
            table.add_row(path.stem, str(len(circuit.parts)), circuit.description.splitlines()[0])
        except InputError as error:
            table.add_row(path.stem, "–", str(error))
    return table


def _opamps():
    from sim.opamp.catalogue import list_opamps, load_opamp

    right = ("GBW", "noise", "current noise", "supply", "current")
    table = _table("op-amp", "technology", "GBW", "noise", "current noise", "supply", "current", "data", right=right)
    for name in list_opamps():
        part = load_opamp(name, ".")
        table.add_row(
            name,
            part.technology,
            format_quantity(part.gbw_hz, "Hz", 3),
            f"{part.en * 1e9:.3g} nV/√Hz",
            f"{part.inoise * 1e12:.3g} pA/√Hz",
            f"{part.supply_min:g}–{part.supply_max:g} V",
            format_quantity(part.iq, "A", 3),
            "data sheet, some from memory" if part.verified else "NOT VERIFIED, from memory",
        )
    table.caption = "Second poles and output resistances of all parts are estimates; see circuits/opamps."
    return table


def _antennas():
    from sim.study.model import ANTENNA_MODELS

    table = _table("antenna", "key", "unit", "default", "meaning")
    for name, model in ANTENNA_MODELS.items():
        first = name
        for key, field in model.model_fields.items():
            if key == "model":
                continue
            unit = (field.json_schema_extra or {}).get("unit", "")
            default = "–" if field.is_required() else format_quantity(field.default, unit)
            table.add_row(first, key, unit, default, field.description)
            first = ""
        table.add_row("", "", "", "", (model.__doc__ or "").strip(), end_section=True)
    return table


def _cables():
    from sim.feedline.cable import list_cables, load_cable
    from sim.feedline.line import loop_resistance, matched_loss

    right = ("Z0", "loop", "1.8 MHz", "7 MHz")
    table = _table("cable", "Z0", "loop", "1.8 MHz", "7 MHz", "what it is", right=right)
    for name in list_cables():
        cable = load_cable(name)
        loss = [float(matched_loss(cable, 100.0, f)) for f in (1.8e6, 7e6)]
        table.add_row(
            name,
            format_quantity(cable.z0, "ohm"),
            f"{float(loop_resistance(cable, 100.0)):.1f} Ω",
            *(f"{value:.2f} dB" for value in loss),
            cable.description,
        )
    table.caption = "Loop resistance and loss of 100 m."
    return table


def _noise():
    from sim.noise.external import CLASSES, man_made

    bands = (1.8e6, 3.5e6, 7e6)
    table = _table("noise", *(format_quantity(f, "Hz") for f in bands), "what it is")
    for name, record in CLASSES.items() if isinstance(CLASSES, dict) else ((c.name, c) for c in CLASSES):
        table.add_row(name, *(f"{float(man_made(name, f)):.1f} dB" for f in bands), record.meaning)
    table.caption = "External noise figure above kT0, median (ITU-R P.372)."
    return table


def _measures():
    from sim.columns import MEASURES

    table = _table("measure", "unit", "a band", "meaning")
    for name, measure in MEASURES.items():
        meaning = measure.meaning if measure.available else f"{measure.meaning} (not computed by this version)"
        table.add_row(name, measure.unit, "yes" if measure.per_band else "no", meaning)
    return table
