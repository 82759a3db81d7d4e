"""How a run is laid out: which files it depends on, where results go, into how many chunks it is cut."""

import contextlib
import hashlib
import os
import sys
import time
from pathlib import Path

from sim.errors import Fault, InputError, StudyError
from sim.feedline.ends import WORDS as FAR_ENDS
from sim.paths import CIRCUITS, SNAKEFILE
from sim.steps.seal import MARK, outputs
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from sim.tables import replace_file

RUNS_PER_CHUNK = 800
"""Units × scenarios of one chunk of a run; starting a chunk then costs a tenth of running it."""
MOST_RUNS_PER_CHUNK = 6000
"""The same of a very large run: half a minute's work is lost where a chunk is interrupted."""
ROUNDS = 16
"""Chunks for each core from which chunks grow instead of their number."""
LEAST_RUNS_PER_CHUNK = 100
_PROGRAM = (".py", ".j2", ".css", ".toml")


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
        refuse_braces(study_file)
        study = read_study(study_file, units=int(units) if units else None)
        files = [Path(study_file)]
        for scenario in scenarios(study):
            words = scenario.study
            files.append(_file("amplifiers", words.amplifier.circuit, ".cir", words.folder))
            files.append(_file("opamps", words.amplifier.opamp, ".toml", words.folder))
            if words.amplifier.model is not None and words.amplifier.model.like is not None:
                files.append(_file("opamps", words.amplifier.model.like, ".toml", words.folder))
            for section in words.feedline.all_sections:
                files.append(_file("feedlines", section.cable, ".toml", words.folder))
            if words.antenna.model == "measured":
                files.append(Path(words.folder) / words.antenna.file)
            if words.stability is not None:
                files += [_file("feedlines", name, ".toml", words.folder) for name in words.stability.cables]
                files += [Path(words.folder) / name for name in words.stability.far_ends if name not in FAR_ENDS]
        refuse_braces(*files)
    except InputError as error:
        sys.exit(str(error))
    return [str(file) for file in dict.fromkeys(files)]


def refuse_braces(*paths) -> None:
    """Raise StudyError for a path with braces: in the pipeline's file names they mark what varies from job to job."""
    for path in paths:
        if any(sign in str(path) for sign in "{}"):
            raise StudyError(
                Fault(
                    str(path), None, None, "has a brace in its name.", "Rename it: Snakemake reads braces its own way."
                )
            )


def inputs_digest(files, units=None) -> str:
    """Digest of what results rest on: contents of these files, the number of units, the program.

    Parameters
    ----------
    files : sequence of str
        See :func:`study_inputs`.
    units : str or int, optional
        Number of units instead of the study's own.
    """
    digest = hashlib.sha256(f"units {int(units) if units else 'as the study says'}\n".encode())
    package = Path(__file__).resolve().parent.parent
    # Advice on an unstable design may name any op-amp of the catalogue.
    records = sorted((CIRCUITS / "opamps").glob("*.toml"))
    program = sorted(p for p in package.rglob("*") if p.suffix in _PROGRAM)
    for path in (*map(Path, files), *records, *program, SNAKEFILE):
        digest.update(hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()


def mark_inputs(out, files, units=None) -> str:
    """Write down what the results rest on; the file changes only where that does, and then everything is made again.

    Times of files alone do not do: a study may be replaced by an older one, the folder be used from elsewhere, the
    program be updated, the clock be wrong. So the pipeline asks for the time of this file and of none of the inputs.

    Parameters
    ----------
    out : Path or str
        Results folder.
    files : sequence of str
        See :func:`study_inputs`.
    units : str or int, optional
        Number of units instead of the study's own.

    Returns
    -------
    path : str
        Of a file with :func:`inputs_digest`.
    """
    mark = Path(out) / "logs" / MARK
    text = inputs_digest(files, units) + "\n"
    _out_of_the_future(Path(out), mark)
    if not mark.is_file() or mark.read_text(encoding="ascii", errors="replace") != text:
        with replace_file(mark) as file:
            file.write(text.encode("ascii"))
    return str(mark)


def _out_of_the_future(out: Path, mark: Path) -> None:
    """Give files that a clock since put right has dated ahead a time just past; else nothing would count as newer."""
    now = time.time()
    for path in (*outputs(out), mark):
        with contextlib.suppress(OSError):
            if path.stat().st_mtime > now:
                os.utime(path, (now - 2, now - 2))


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
    # Large runs have larger chunks: each start costs some tenths of a second, however long the chunk.
    chunk = min(max(RUNS_PER_CHUNK, runs // (ROUNDS * cores)), MOST_RUNS_PER_CHUNK)
    count = min(max(2 * cores, -(-runs // chunk)), runs // LEAST_RUNS_PER_CHUNK)
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
