"""bandfloor export: a deck for plain ngspice, or a Touchstone file, of a part of the chain."""

import argparse
from pathlib import Path

from sim.errors import Fault, StudyError
from sim.study.read import read_study
from sim.study.scenarios import scenarios

_WHAT = {
    "netlist": "deck of one unit that plain ngspice runs and measures",
    "antenna": "its impedance with the stray capacitance across it, as Touchstone (.s1p)",
    "feedline": "amplifier (port 1) to receiver (port 2) with sections and bias tees, as Touchstone (.s2p)",
    "amplifier": "the amplifier of one unit alone, input (port 1) to output (port 2), as Touchstone (.s2p)",
    "sweep": "what an analyser would show of one unit on the bench, as Touchstone (.s2p) or columns (.csv)",
}
_ENDINGS = {"antenna": (".s1p",), "feedline": (".s2p",), "amplifier": (".s2p",), "sweep": (".s2p", ".csv")}
_OF_A_UNIT = ("netlist", "amplifier", "sweep")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of ``bandfloor export``."""
    parser.add_argument("study", metavar="STUDY", help="study file (.toml)")
    parser.add_argument(
        "what", metavar="WHAT", choices=sorted(_WHAT), help="; ".join(f"{k}: {v}" for k, v in _WHAT.items())
    )
    parser.add_argument(
        "--unit",
        type=int,
        default=0,
        metavar="N",
        help="unit number of a netlist, an amplifier or a sweep; 0, the default, is nominal",
    )
    parser.add_argument(
        "--scenario", type=int, default=0, metavar="N", help="scenario number (bandfloor check lists them)"
    )
    parser.add_argument(
        "--reference", choices=("50", "75"), metavar="OHM", help="reference of an amplifier's file, 50 or 75 (default)"
    )
    parser.add_argument("-o", dest="out", metavar="FILE", required=True, help="file to write")


def act(given) -> int:
    """Write the file that was asked for."""
    study = read_study(given.study)
    every = scenarios(study)
    if not 0 <= given.scenario < len(every):
        raise StudyError(
            Fault(given.study, None, "vary", f"there is no scenario {given.scenario}.", f"Name 0 to {len(every) - 1}.")
        )
    if given.unit < 0:
        raise StudyError(Fault(given.study, None, "run.units", f"there is no unit {given.unit}.", "Name 0 or more."))
    out = Path(given.out)
    if out.exists() and out.samefile(given.study):
        raise StudyError(Fault(given.out, None, None, "is the study itself.", "Name another file behind -o."))
    if out.is_dir():
        raise StudyError(Fault(given.out, None, None, "is a folder.", "Name a file behind -o."))
    endings = _ENDINGS.get(given.what)
    if endings:
        _refuse(given, out, endings)
    if given.reference and given.what != "amplifier":
        found = f"--reference {given.reference} says nothing about {given.what}."
        raise StudyError(Fault(given.study, None, None, found, "Take it out."))
    from sim.tables import replace_file

    words = every[given.scenario].study
    if given.what == "netlist":
        from sim.steps.sample import netlist_text

        text, hint = netlist_text(words, given.unit, given.scenario), f"; try: ngspice -b {given.out}"
    elif given.what in _OF_A_UNIT:
        from sim.steps.bench_files import amplifier_file, sweep_file

        if given.what == "amplifier":
            made = amplifier_file(words, given.unit, given.scenario, float(given.reference or 75))
        else:
            made = sweep_file(words, given.unit, given.scenario, out.suffix.lower() == ".csv")
        text, hint = made.text, ""
    else:
        from sim.steps.touchstone import antenna_file, feedline_file

        made = (antenna_file if given.what == "antenna" else feedline_file)(words, given.scenario)
        text, hint = made.text, "".join(f"\nCaution: {line}" for line in made.cautions)
    with replace_file(out) as file:
        file.write(text.encode("ascii"))
    print(f"{given.out} written{hint}")
    return 0


def _refuse(given, out: Path, endings: tuple[str, ...]) -> None:
    """Refuse what would make a file that its readers misread."""
    if out.suffix.lower() not in endings:
        remedy = f'Write, for example, "{given.what}{endings[0]}": readers go by the ending.'
        raise StudyError(Fault(given.out, None, None, f"does not end in {' or '.join(endings)}.", remedy))
    if given.unit != 0 and given.what not in _OF_A_UNIT:
        found = f"--unit {given.unit} says nothing: the {given.what} is the same for all units."
        raise StudyError(Fault(given.study, None, None, found, "Take --unit out."))
