"""bandfloor list opamps: the catalogue, or those of its parts that do for a board."""

import argparse

from sim.commands.tables import plain_table
from sim.errors import Fault, StudyError
from sim.quantity import QuantityError, format_quantity, parse_quantity, parse_span

_ABOUT = """\
Without these, all parts are listed; several together must all be kept. Where nothing fits, the nearest parts are named
with what they lack. For a 12 V board with a whip of some kilohms at its input:
  bandfloor list opamps --supply 10.5..13.8 --technology FET --gain 1 --noise 8
For a current amplifier behind a coupling capacitor, noise gain 1 + 60 pF / 8.2 pF:
  bandfloor list opamps --supply 12 --gain 8 --noise 3 --current-noise 3 --bandwidth 150M
"""

_OPTIONS = {
    "supply": ("VOLTS", "volts between its supply pins that it must stand and run on: 12, or a range 10.5..13.8"),
    "technology": ("WORDS", 'words in its technology, any case: FET, bipolar, rail-to-rail; "bipolar no FET"'),
    "gain": ("GAIN", "noise gain of your circuit, in which it must be stable: 1 for a follower, 1 + Zf/Zs in general"),
    "noise": ("NV", "most voltage noise, in nV/√Hz: 8.1 is the noise of 4 kΩ, 0.9 that of 50 Ω"),
    "current-noise": ("PA", "most current noise of an input, in pA/√Hz; times the source impedance it is a voltage"),
    "bandwidth": ("HERTZ", "least gain-bandwidth product, 60M; ten times noise gain times top band costs 6 degrees"),
}
NEAREST = 3
"""So many parts are named where nothing fits."""
CAPTION = (
    "? from memory, ~ an estimate: not read in a data sheet. Second poles, output resistances and most 1/f corners of"
    " all parts are estimates too: the files in circuits/opamps say of every value what it is. A part of your own:"
    " docs/own-opamp.md."
)


def add_options(parser: argparse.ArgumentParser) -> None:
    """Options of ``bandfloor list`` that choose among op-amps."""
    group = parser.add_argument_group("which op-amps (list opamps only)", _ABOUT)
    for name, (value, words) in _OPTIONS.items():
        group.add_argument(f"--{name}", metavar=value, help=words)


def refuse_elsewhere(given) -> None:
    """Raise StudyError for an option that chooses op-amps behind another list."""
    for name in _OPTIONS:
        if given.what != "opamps" and _said(given, name) is not None:
            found = f"chooses among op-amps, not among {given.what}."
            remedy = f"Take it out, or: bandfloor list opamps --{name} …"
            raise StudyError(Fault(f"list {given.what}", None, f"--{name}", found, remedy))


def opamps(given):
    """What is printed: the table of the parts that fit, or why none does.

    Parameters
    ----------
    given : argparse.Namespace
        With the options of :func:`add_options`.

    Raises
    ------
    StudyError
        An option is no quantity of its kind.
    """
    from rich.text import Text

    from sim.opamp.catalogue import list_opamps, load_opamp
    from sim.opamp.choose import choose

    records = [load_opamp(name) for name in list_opamps()]
    found = choose(records, _wish(given))
    if not found.fitting:
        return Text("\n".join(_nothing(given, found, len(records))))
    asked = ", ".join(f"--{name} {_said(given, name)}" for name in _OPTIONS if _said(given, name) is not None)
    return _tables(found.fitting, f"{len(found.fitting)} of {len(records)} op-amps fit {asked}." if asked else "")


def _said(given, name: str) -> str | None:
    return getattr(given, name.replace("-", "_"))


def _wish(given):
    from sim.opamp.choose import Wish

    faults = []

    def read(name: str, parse):
        text = _said(given, name)
        try:
            value = None if text is None else parse(text)
        except QuantityError as error:
            faults.append(Fault("list opamps", None, f"--{name}", error.found, error.remedy))
            return None
        if value is not None and min(value if isinstance(value, tuple) else (value,)) <= 0:
            faults.append(Fault("list opamps", None, f"--{name}", f"{text} is not above 0.", "Write a number above 0."))
            return None
        return value

    wish = Wish(
        supply=read("supply", lambda text: parse_span(text, "V")),
        technology=tuple((_said(given, "technology") or "").replace(",", " ").split()),
        gain=read("gain", lambda text: parse_quantity(text, "1")),
        noise=read("noise", lambda text: parse_quantity(text.removesuffix("nV"), "1") * 1e-9),
        current_noise=read("current-noise", lambda text: parse_quantity(text.removesuffix("pA"), "1") * 1e-12),
        bandwidth=read("bandwidth", lambda text: parse_quantity(text, "Hz")),
    )
    if faults:
        raise StudyError(faults)
    return wish


def _nothing(given, found, count: int) -> list[str]:
    """Which wish leaves out most, and what the nearest parts lack."""
    lines = ["No op-amp of the catalogue fits all of this."]
    for option, parts in sorted(found.left_out.items(), key=lambda entry: -entry[1]):
        name = option.replace("_", "-")
        lines.append(f"  --{name} {_said(given, name)} leaves out {parts} of {count}.")
    lines.append("Nearest:")
    for record, misses in found.missing[:NEAREST]:
        lines.append(f"  {record.part}: {'; '.join(miss.told for miss in misses)}.")
    return lines


def _tables(records, head: str):
    """Numbers, then words: side by side they would not fit a terminal of 60 columns."""
    from rich.console import Group
    from rich.text import Text

    from sim.opamp.known import MARKS

    right = ("GBW", "stable\nfrom\ngain", "noise\nnV\n/√Hz", "current\npA\n/√Hz", "supply\nV", "draws\nmA")
    found, words = plain_table("op-amp", *right, right=right), plain_table("op-amp", "technology", caption=CAPTION)
    found.padding = (0, 1, 0, 0)  # a narrow terminal holds it
    for record in records:

        def marked(text: str, *keys: str, record=record) -> str:
            statuses = [record.status(key) for key in keys]
            worst = max(statuses, key=("seen", "memory", "estimate").index)
            return text + MARKS[worst]

        found.add_row(
            record.part,
            marked(format_quantity(record.gbw_hz, "Hz", 3), "gbw_hz"),
            marked(f"{record.min_stable_gain:g}", "min_stable_gain"),
            marked(f"{record.en * 1e9:.3g}", "en_nv_rthz"),
            marked(f"{record.inoise * 1e12:.2g}", "in_pa_rthz"),
            marked(f"{record.supply_min:g}–{record.supply_max:g}", "supply_min_v", "supply_max_v"),
            marked(f"{record.iq * 1e3:.3g}", "iq_ma_per_channel"),
        )
        words.add_row(record.part, record.technology)
    return Group(*([Text(f"\n{head}")] if head else []), found, words)
