"""bandfloor check: what a study says, and what running it will cost; nothing is run."""

import argparse
import os

from sim.quantity import format_quantity
from sim.sampling.coverage import share_half_width, units_for_half_width
from sim.study.read import read_study
from sim.study.scenarios import scenarios

SECONDS_PER_RUN = 0.005
"""One unit in one scenario on one core of a small server, as measured by benchmarks/; an estimate anywhere else. [s]"""
SECONDS_PER_LOAD = 7e-6
"""The same for each feedline with its far end that a unit is judged with. [s]"""
SECONDS_WITH_CARRIERS = 0.03
"""The same for a run with strong carriers, on top. [s]"""
SECONDS_AROUND = 7.0
"""Starting, counting, drawing and writing of a run of a few thousand. [s]"""
EXPECTED_YIELD = 0.95
"""For which it is said how sharp an answer the units give; near one it is sharper. [1]"""
_UNITS = {"R": "ohm", "C": "F", "L": "H"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of ``bandfloor check``."""
    parser.add_argument("study", metavar="STUDY", help="study file (.toml)")


def act(given) -> int:
    """Print the explanation."""
    from rich.console import Console

    study = read_study(given.study)
    every = scenarios(study)
    from sim.deck.build import chain_of

    chains = [chain_of(scenario.study) for scenario in every]
    console = Console(highlight=False, soft_wrap=False)
    first = every[0].study
    console.print(f"\n{study.title}\n", style="bold", markup=False)
    console.print(chain_drawing(first, chains[0], console.width), markup=False, no_wrap=True, crop=False)
    for line in _around(first, chains[0]):
        console.print(line, markup=False)
    if len(every) > 1:
        console.print("\nDrawing and parts are those of scenario 0.", markup=False)
    _parts(console, chains[0])
    _scenarios(console, every)
    _limits(console, study)
    _warnings(console, every, chains)
    console.print(_cost(study, every))
    return 0


def chain_drawing(study, chain, width: int = 120) -> str:
    """The chain in characters, antenna to receiver: side by side where there is room, else one below the other.

    Parameters
    ----------
    study : Study
        Of one scenario.
    chain : Chain
        Of the same scenario.
    width : int
        Columns of the terminal.
    """
    boxes = _boxes(study, chain)
    widths = [max(len(row) for row in box) + 2 for box in boxes]
    rules = ["+" + "-" * inner + "+" for inner in widths]
    rows = [["|" + row.center(inner) + "|" for row in box] for box, inner in zip(boxes, widths, strict=True)]
    if sum(widths) + 2 * len(boxes) + 4 * (len(boxes) - 1) <= width:
        lines = ["    ".join(rules)]
        for number in range(3):
            joint = "----" if number == 1 else "    "
            lines.append(joint.join(row[number] for row in rows))
        return "\n".join([*lines, "    ".join(rules), ""])
    widest = max(widths) + 2
    lines = []
    for rule, row in zip(rules, rows, strict=True):
        lines += ["|".center(widest).rstrip()] if lines else []
        lines += [line.center(widest).rstrip() for line in (rule, *row, rule)]
    return "\n".join([*lines, ""])


def _boxes(study, chain) -> list[tuple[str, str, str]]:
    """Three lines for each link of the chain."""
    antenna, line, receiver = study.antenna, study.feedline, study.receiver
    source = _source(antenna)
    noise = study.site.noise if isinstance(study.site.noise, str) else "measured noise"
    return [
        (antenna.model, source, "no field" if antenna.model == "fixture" else f"site: {noise}"),
        (chain.circuit.name, study.amplifier.opamp, "at the feedpoint"),
        *_line_boxes(line),
        (
            "receiver",
            format_quantity(receiver.impedance, "ohm"),
            f"noise figure {format_quantity(receiver.noise_figure, 'dB')}",
        ),
    ]


def _line_boxes(line) -> list[tuple[str, str, str]]:
    """A box for each section of the feedline and for each bias tee."""
    sections = line.all_sections
    boxes = [
        (
            part.cable,
            format_quantity(part.length, "m"),
            f"section {number} of {len(sections)}" if len(sections) > 1 else f"supply: {line.power}",
        )
        for number, part in enumerate(sections, start=1)
    ]
    if line.tee is None:
        return boxes
    tee = (
        "bias tee",
        f"choke {_value(line.tee.choke, 'H')}, {_value(line.tee.choke_resistance, 'ohm')}",
        f"block {_value(line.tee.block, 'F')}",
    )
    before, after = line.tee.at in ("both", "amplifier"), line.tee.at in ("both", "receiver")
    return [*[tee] * before, *boxes, *[tee] * after]


def _source(antenna) -> str:
    """The antenna's dimensions in a few words."""
    match antenna.model:
        case "short-vertical":
            return f"{format_quantity(antenna.height, 'm')} high, radius {format_quantity(antenna.radius, 'm')}"
        case "ground-wire":
            soil = "own soil" if antenna.soil_conductivity or antenna.soil_permittivity else f"soil {antenna.soil}"
            end = antenna.far_end
            end = end if isinstance(end, str) else format_quantity(end, "ohm")
            wires = "two wires of " if antenna.wires == 2 else ""
            return f"{wires}{format_quantity(antenna.length, 'm')}, far end {end}, {soil}"
        case "measured":
            return antenna.file if antenna.state is None else f"{antenna.file}, {antenna.state}"
        case "short-dipole":
            return (
                f"{format_quantity(antenna.length, 'm')} tip to tip, {format_quantity(antenna.height, 'm')} above"
                f" {'own' if antenna.soil_conductivity or antenna.soil_permittivity else antenna.soil} soil"
            )
        case "plain":
            elements = (
                (antenna.resistance + antenna.radiation, "ohm"),
                (antenna.capacitance, "F"),
                (antenna.inductance, "H"),
            )
            return " + ".join(format_quantity(value, unit) for value, unit in elements if value)
    return f"{format_quantity(antenna.source, 'ohm')} and {_value(antenna.dummy, 'F')}"


def _value(part, unit: str) -> str:
    """A drawn value with its tolerance: "220 µH ±20 %"."""
    return f"{format_quantity(part.value, unit)}{f' {part.tolerance}' if part.tolerance else ''}"


def _around(study, chain) -> list[str]:
    """Supply, bench, bands and temperature, a line each."""
    bench = study.fixture
    stray = f" with {_value(bench.stray, 'F')} to ground behind it" if bench.stray.value else ""
    low, high = study.run.temperature
    degrees = f"{low:g} °C" if low == high else f"{low:g} to {high:g} °C, drawn for every unit"
    way = "line and chokes" if study.feedline.tee else "line"
    dummy = f"{_value(bench.dummy, 'F')} dummy antenna"
    if chain.circuit.balanced:
        dummy = f"ideal balun, in each leg a {dummy}"
    return [
        *_noise(study),
        f"supply  {_value(study.supply.voltage, 'V')} at the receiver,"
        f" {format_quantity(chain.feed_resistance, 'ohm', 3)} of {way} before the amplifier",
        *_at_the_unit(study, chain),
        f"bench   {format_quantity(bench.source, 'ohm')} port, {dummy}{stray},"
        f" amplifier, {format_quantity(bench.load, 'ohm')} port",
        f"bands   {', '.join(format_quantity(f, 'Hz') for f in study.bands.frequencies)}",
        f"air     {degrees}",
        *_feedlines(study),
        *_array(study),
        *_stations(study, chain),
    ]


def _at_the_unit(study, chain) -> list[str]:
    """What draws on the line beside the amplifier, and what the unit needs of it at least."""
    from sim.measures.supply import needs

    supply, found = study.supply, []
    if supply.regulator is not None:
        share = supply.efficiency
        kind = "linear regulator" if share is None else f"switching regulator of {100 * share:g} % efficiency"
        found.append(f"{kind} to {_value(supply.regulator, 'V')}, dropout {_value(supply.known_dropout, 'V')}")
    if supply.extra_current is not None:
        found.append(f"{_value(supply.extra_current, 'A')} beside the amplifier's current")
    if supply.converter_power is not None:
        found.append(f"{_value(supply.converter_power, 'W')} beside the amplifier's power")
    least = needs(chain)
    return [
        *([f"unit    {'; '.join(found)}"] if found else []),
        *([f"needs   {'; '.join(least)}: a unit with less is counted as failed"] if least else []),
    ]


def _feedlines(study) -> list[str]:
    """What stability is judged with beside the study's own line, a line; none without ``[stability]``."""
    words = study.stability
    if words is None:
        return []
    short, long = (f"{length:g} m" for length in (words.lengths[0], words.lengths[-1]))
    lengths = short if len(words.lengths) == 1 else f"{len(words.lengths)} lengths from {short} to {long}"
    antennas = f"antenna {', '.join(words.antennas)}"
    return [f"stable  with {', '.join(words.cables)}, {lengths}, far end {', '.join(words.far_ends)}; {antennas}"]


def _array(study) -> list[str]:
    """How elements are combined, a line; none without ``[array]``."""
    table = study.array
    if table is None:
        return []
    bearings = ", ".join(f"{one.bearing:g}" for one in table.direction)
    made = study.run.build // len(table.positions) * (study.run.units // study.run.build)
    return [
        f"array   {len(table.positions)} elements, bearing {bearings} degrees, {table.front_to_back:g} dB front to back"
        f" asked at {table.elevation:g} degrees; {made} arrays of whole builds"
    ]


def _stations(study, chain) -> list[str]:
    """Strong carriers near by, a line each."""
    from sim.measures.stations import stations_of

    lines = []
    for words, station in zip(study.strong, stations_of(study, chain.antenna), strict=True):
        level = "emf from its level at the receiver"
        if station.level_dbm is None:
            level = f"{format_quantity(station.emf, 'V', 3)} at the antenna"
        if words.known_field is not None:
            level = f"{format_quantity(words.known_field, 'V/m', 3)}, {level}"
        crest = f"peaks x{station.crest:g}" if station.crest != 1 else "no modulation of its peaks"
        frequency = format_quantity(station.freq_hz, "Hz")
        name = f"{words.name}, " if words.name else ""
        lines.append(f"strong  {name}{frequency}: {level}, {crest}")
    return lines


def _noise(study) -> list[str]:
    """What the antenna hears, a line; none for a bench source."""
    if study.antenna.model == "fixture":
        return []
    from sim.measures.surroundings import site_noise

    site, noise = study.site, site_noise(study)
    levels = ", ".join(f"{level:.1f}" for level in noise.fa_db(study.bands.frequencies))
    if not isinstance(site.noise, str):
        return [f"noise   measured: Fa {levels} dB at the bands"]
    place = {"any": " of time and place", "median": ""}.get(site.location, f", place {site.location}")
    galactic = f", galactic above {format_quantity(site.fof2, 'Hz')}" if site.fof2 is not None else ""
    lightning = f", atmospheric {site.atmospheric}" if site.atmospheric is not None else ""
    return [f"noise   {site.noise}, {site.level}{place}{galactic}{lightning}: Fa {levels} dB at the bands"]


def _table(*columns):
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for column in columns:
        wraps = column in ("what it does", "meaning", "kind")
        justify = "right" if column == "value" else "left"
        table.add_column(column, no_wrap=not wraps, justify=justify, overflow="fold")
    return table


def _parts(console, chain) -> None:
    from rich.text import Text

    table = _table("part", "value", "tolerance", "kind", "what it does")
    for part in chain.circuit.parts:
        value = part.value
        table.add_row(
            part.name,
            format_quantity(value.value, _UNITS[part.kind]),
            str(value.tolerance or ""),
            " ".join(value.words),
            Text(part.purpose),
        )
    for device, record in zip(chain.circuit.devices, chain.opamps, strict=True):
        if chain.maker is not None:
            table.add_row(device.name, chain.maker.subcircuit, "one die", "op-amp", Text(_of_maker(chain.maker)))
            continue
        mark = "; not all of its numbers were read in a data sheet, see the note" if record.unseen else ""
        table.add_row(device.name, record.part, "die spread", "op-amp", Text(f"{record.technology}{mark}"))
    for part in chain.outside:
        words = " ".join(part.value.words)
        said = "outside the amplifier, " + ("one for all units of a build" if part.of_build else "each unit its own")
        table.add_row(
            part.name, format_quantity(part.value.value, part.unit), str(part.value.tolerance or ""), words, Text(said)
        )
    console.print(table)


def _of_maker(model) -> str:
    """Where a maker's model comes from and what its pins are taken for."""
    pins = ", ".join(f"{port} = {role}" for port, role in zip(model.ports, model.pins.roles, strict=True))
    return f"maker's model in {model.source.file}; pins {pins} (from {model.pins.reason}; proved when it is run)"


def _scenarios(console, every) -> None:
    from rich.text import Text

    if len(every) < 2:
        return
    table = _table("scenario", *(key for key, _ in every[0].values))
    for scenario in every[:24]:
        table.add_row(str(scenario.number), *(Text(str(value)) for _, value in scenario.values))
    console.print(table)
    if len(every) > 24:
        console.print(f"… and {len(every) - 24} more\n")


def _limits(console, study) -> None:
    from sim.columns import MEASURES

    if not study.limits:
        console.print("No limits: every unit that simulates passes, if it gets the volts it needs.\n")
        return
    table = _table("limit", "bound", "unit", "meaning")
    for name, limit in study.limits.items():
        table.add_row(name, str(limit), MEASURES[name].unit, MEASURES[name].meaning)
    console.print(table)


def _warnings(console, every, chains) -> None:
    from sim.measures.supply_ends import supply_ends_told
    from sim.steps.cautions import cautions
    from sim.steps.maker import unused_words

    for text in unused_words(every):
        console.print(f"Note: {text}", markup=False)
    for text in dict.fromkeys(text for scenario in every for text in cautions(scenario.study)):
        console.print(f"Note: {text}", markup=False)
    for text in dict.fromkeys(
        text for scenario, chain in zip(every, chains, strict=True) for text in supply_ends_told(scenario.study, chain)
    ):
        console.print(f"Note: {text}", markup=False)


def _cost(study, every) -> str:
    runs = (study.run.units + 1) * len(every)
    cores = os.cpu_count() or 1
    from sim.measures.strong import wants_strong
    from sim.stability.judged import study_loads

    loads = sum(len(study_loads(scenario.study)) for scenario in every) * (study.run.units + 1)
    a_run = SECONDS_PER_RUN + wants_strong(study) * SECONDS_WITH_CARRIERS
    seconds = (runs * a_run + loads * SECONDS_PER_LOAD) / cores + SECONDS_AROUND
    shown = f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"
    return (
        f"\n{study.run.units} units and the nominal one, {len(every)} scenario{'s' * (len(every) > 1)}:"
        f" {runs} runs, about {shown} on {cores} core{'s' * (cores > 1)} (an estimate)"
        f"\nA yield near {100 * EXPECTED_YIELD:.0f} % comes out within about"
        f" {100 * share_half_width(EXPECTED_YIELD, study.run.units):.1f} % either way (95 % interval);"
        f" {units_for_half_width(EXPECTED_YIELD, 0.01)} units bring that to 1 %."
    )
