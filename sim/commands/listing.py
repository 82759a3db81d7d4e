"""bandfloor list: what there is to choose from."""

import argparse

from sim.commands.list_opamps import add_options, opamps, refuse_elsewhere
from sim.commands.tables import plain_table
from sim.errors import InputError
from sim.paths import CIRCUITS
from sim.quantity import format_quantity

_WHAT = ("circuits", "opamps", "antennas", "cables", "noise", "measures")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of ``bandfloor list``."""
    parser.add_argument("what", metavar="WHAT", choices=_WHAT, help="one of: " + ", ".join(_WHAT))
    add_options(parser)


def act(given) -> int:
    """Print one table."""
    from rich.console import Console

    refuse_elsewhere(given)
    found = opamps(given) if given.what == "opamps" else globals()[f"_{given.what}"]()
    Console(highlight=False).print(found)
    return 0


def _circuits():
    from sim.deck.circuit import read_circuit

    table = plain_table("circuit", "parts", "what it is")
    for path in sorted((CIRCUITS / "amplifiers").glob("*.cir")):
        try:
            circuit = read_circuit(path.stem, ".")
            table.add_row(path.stem, str(len(circuit.parts)), circuit.description.splitlines()[0])
        except InputError as error:
            table.add_row(path.stem, "–", str(error))
    return table


def _antennas():
    from rich.console import Group
    from rich.text import Text

    from sim.antenna.about import ABOUT
    from sim.study.antennas import ANTENNA_MODELS

    parts = [Text("\nA run that leaves the range of a model says so in its answer and its report.")]
    for name, model in ANTENNA_MODELS.items():
        parts.append(Text.assemble("\n", (name, "bold"), f": {(model.__doc__ or '').strip()}"))
        if name in ABOUT:
            parts.append(Text(f"Good: {ABOUT[name].valid}.\nSource: {ABOUT[name].source}."))
        table = plain_table("key", "unit", "default", "meaning")
        for key, field in model.model_fields.items():
            if key == "model":
                continue
            unit = (field.json_schema_extra or {}).get("unit", "")
            default = field.default
            # What may have a tolerance has none by default.
            default = getattr(default, "value", default)
            if field.is_required():
                default = "needed"
            elif not isinstance(default, str):
                default = format_quantity(default, unit)
            table.add_row(key, unit, default, field.description)
        parts.append(table)
    return Group(*parts)


def _cables():
    from rich.console import Group

    from sim.feedline.cable import list_cables, load_cable
    from sim.feedline.line import loop_resistance, matched_loss

    right = ("Z0\nΩ", "loop\nΩ", "1.8\nMHz\ndB", "7\nMHz\ndB")
    caption = (
        "Loop resistance and loss of 100 m. Loss by a law fitted to a table, good where the table is, or of a layered"
        " conductor, good at any lower frequency. Sources of all values: circuits/feedlines. A cable of your own:"
        " docs/own-cable.md."
    )
    table = plain_table("cable", *right, "loss\nby", "good\nMHz", right=right)
    words = plain_table("cable", "what it is, and where its loss comes from", caption=caption)
    for name in list_cables():
        cable = load_cable(name)
        loss = [float(matched_loss(cable, 100.0, f)) for f in (1.8e6, 7e6)]
        table.add_row(
            name,
            f"{cable.z0:g}",
            f"{float(loop_resistance(cable, 100.0)):.1f}",
            *(f"{value:.2f}" for value in loss),
            cable.model,
            f"{cable.low_hz / 1e6:g}–{cable.high_hz / 1e6:g}",
        )
        words.add_row(name, f"{cable.description}. Loss: {_loss_source(cable)}.")
    return Group(table, words)


def _loss_source(cable) -> str:
    """Where the loss of a cable comes from, and how far that was verified."""
    if cable.model == "layered":
        said = [f"{source} ({status})" for name, source, status in cable.sources if name == "cladding"]
    else:
        said = [f"{point.source} ({point.status})" for point in cable.attenuation]
    return "; ".join(dict.fromkeys(said))


def _noise():
    from rich.console import Group

    from sim.noise.external import CLASSES, man_made

    bands = tuple(format_quantity(f, "Hz").replace(" ", "\n") for f in (1.8e6, 3.5e6, 7e6))
    caption = (
        "External noise figure above kT0 in dB (ITU-R P.372): median, deciles over time, decile over place. The keys"
        " level and location of \\[site] choose among them; fof2 adds galactic noise above that frequency. A table of"
        " your own: bandfloor new explains it."
    )
    right = (*bands, "time", "place")
    table = plain_table("noise", *right, right=right, caption="\n".join([caption, *_ranges(CLASSES)]))
    for record in CLASSES:
        levels = (f"{float(man_made(record.name, f)):.1f}" for f in (1.8e6, 3.5e6, 7e6))
        time = f"+{record.upper_db:.1f} −{record.lower_db:.1f}"
        table.add_row(record.name, *levels, time, f"±{record.location_db:.1f}")
    return Group(table, _atmospheric())


def _ranges(records) -> list[str]:
    """What classes of noise are, where they hold and where they come from: a sentence for those that share the last."""
    alike: dict[tuple, list[str]] = {}
    for record in records:
        key = (record.low_hz, record.high_hz, record.reference)
        alike.setdefault(key, []).append(f"{record.name} ({record.meaning})")
    return [
        f"Good from {low / 1e6:g} to {high / 1e6:g} MHz: {', '.join(names)}. Source: {reference}."
        for (low, high, reference), names in alike.items()
    ]


def _atmospheric():
    from sim.noise.atmospheric import atmospheric_records

    records = atmospheric_records()
    bands = tuple(format_quantity(f, "Hz") for f in records[0].freq_hz)
    caption = (
        "The key atmospheric of \\[site] adds it. Median and deciles over time in dB, local time; good to about 5 dB at"
        " midnight and 10 dB at noon, from 1.8 to 7 MHz and a twentieth beyond. Source: ITU-R P.372 data, computed with"
        " the ITU-R Study Group 3 reference software."
    )
    table = plain_table("atmospheric", *bands, "where", right=bands, caption=caption)
    for record in records:
        rows = zip(record.median_db, record.upper_db, record.lower_db, strict=True)
        levels = (f"{median:.0f} +{upper:.0f} −{lower:.0f}" for median, upper, lower in rows)
        table.add_row(record.name, *levels, record.place)
    return table


def _measures():
    from rich.console import Group
    from rich.markup import escape

    from sim.columns import ARRAY_MEASURES, MEASURES

    table = plain_table("measure", "unit", "per band", "meaning")
    for name, measure in MEASURES.items():
        meaning = measure.meaning if measure.available else f"{measure.meaning} (not computed by this version)"
        table.add_row(name, measure.unit, "yes" if measure.per_band else "no", escape(meaning))
    caption = "In array.csv, for each direction and band of a study with a table \\[array]; no limits on these."
    arrays = plain_table("of an array", "unit", "meaning", caption=caption)
    for name, (unit, meaning) in ARRAY_MEASURES.items():
        arrays.add_row(name, unit, escape(meaning))
    return Group(table, arrays)
