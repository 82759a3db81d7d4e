"""How a run is laid out: which files it depends on, where results go, into how many chunks it is cut."""

import sys
from pathlib import Path

from sim.errors import InputError
from sim.paths import CIRCUITS
from sim.study.read import read_study
from sim.study.scenarios import scenarios

RUNS_PER_CHUNK = 800
"""Units × scenarios of one chunk of a large run; starting a chunk then costs a tenth of running it."""
LEAST_RUNS_PER_CHUNK = 100


def default_out(study_file: str) -> Path:
    """Results folder of a study: results/<name of the study file>, beside where the command is given."""
    return Path("results") / Path(study_file).stem


def study_inputs(study_file, units=None) -> list[str]:
    """Files that the results of a study depend on, the study itself first; ends with the faults of a bad study.

    Parameters
    ----------
    study_file : str or None
        As given on the command line.
    units : str or int, optional
        Number of units instead of the study's own.
    """
    if not study_file:
        sys.exit("No study is named. Add: --config study=studies/NAME.toml")
    try:
        study = read_study(study_file, units=int(units) if units else None)
        files = [Path(study_file)]
        for scenario in scenarios(study):
            words = scenario.study
            files.append(_file("amplifiers", words.amplifier.circuit, ".cir", words.folder))
            files.append(_file("opamps", words.amplifier.opamp, ".toml", words.folder))
            for section in words.feedline.all_sections:
                files.append(_file("feedlines", section.cable, ".toml", words.folder))
    except InputError as error:
        sys.exit(str(error))
    return [str(file) for file in dict.fromkeys(files)]


def _file(kind: str, name: str, ending: str, folder: str) -> Path:
    own = CIRCUITS / kind / f"{name}{ending}"
    return own if own.is_file() else Path(folder) / name


def chunk_count(study_file: str, units, cores: int) -> int:
    """Into how many chunks a run is cut: enough to keep all cores busy to the end, few enough to be worth starting.

    Parameters
    ----------
    study_file : str
    units : str, int or None
    cores : int
    """
    study = read_study(study_file, units=int(units) if units else None)
    runs = study.run.units * len(scenarios(study))
    count = min(max(2 * cores, -(-runs // RUNS_PER_CHUNK)), runs // LEAST_RUNS_PER_CHUNK)
    # A last round with idle cores would cost as much as a full one.
    count = -(-count // cores) * cores
    return max(1, min(count, study.run.units))


def chunk_units(chunk: str, units: int) -> range:
    """Unit numbers of one chunk.

    Parameters
    ----------
    chunk : str
        "2-of-8".
    units : int
        Units of the study, without the nominal one.

    Returns
    -------
    range
        Unit 0, the nominal one, belongs to the first chunk.
    """
    number, of = (int(word) for word in chunk.split("-of-"))
    first = 0 if number == 1 else 1 + units * (number - 1) // of
    return range(first, 1 + units * number // of)
