"""bandfloor export: a deck for plain ngspice, or a Touchstone file, of a part of the chain."""

import argparse
from pathlib import Path

from sim.errors import Fault, StudyError
from sim.study.read import read_study
from sim.study.scenarios import scenarios

_WHAT = {
    "netlist": "deck of one unit that plain ngspice runs and measures",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of ``bandfloor export``."""
    parser.add_argument("study", metavar="STUDY", help="study file (.toml)")
    parser.add_argument(
        "what", metavar="WHAT", choices=sorted(_WHAT), help="; ".join(f"{k}: {v}" for k, v in _WHAT.items())
    )
    parser.add_argument("--unit", type=int, default=0, metavar="N", help="unit number; 0, the default, is nominal")
    parser.add_argument(
        "--scenario", type=int, default=0, metavar="N", help="scenario number (bandfloor check lists them)"
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
    from sim.steps.sample import netlist_text
    from sim.tables import replace_file

    text = netlist_text(every[given.scenario].study, given.unit, given.scenario)
    with replace_file(out) as file:
        file.write(text.encode("ascii"))
    print(f"{given.out} written; try: ngspice -b {given.out}")
    return 0
