"""Seals: what each step of a run has finished, so that one that broke off goes on from what is whole and no more.

A step ends by writing logs/<step>.seal: the digest of everything the results rest on (see :mod:`sim.steps.layout`), and
of each file it made. Files count only if their seal is of the same digest and they still have the bytes that it names.
So neither a clock that jumped, nor a file cut short by a failing disk, nor one that was left by an older study or by a
step that was killed is ever taken for a result.

The pipeline itself goes by times of files. :func:`settle` sets them so that they say what the seals say.
"""

import contextlib
import hashlib
import json
import os
import re
import time
from dataclasses import dataclass
from pathlib import Path

from sim.errors import BandfloorError
from sim.tables import PART, replace_file

REPORT = "report.html"
FIGURES = "figures/figures.json"
SAMPLED = ("study.toml", "units.parquet", "scenarios.csv", "netlist.cir")
SUMMARISED = (
    "measures.parquet",
    "curves.parquet",
    "summary.csv",
    "drivers.csv",
    "contributors.csv",
    "failures.csv",
    "answer.json",
)
MARK = "inputs.sha256"
_FINAL = ("sample", "summarise", "figures", "report")
_CHUNKS = "simulate-"
_ENDING = ".seal"
_CHUNK = re.compile(r"chunks/\d+-of-\d+(\.npz|-failures\.csv)|figures/[\w.-]+\.svg")
_APART_S = 1.0
_BEHIND_S = 60.0


@dataclass(frozen=True)
class Seal:
    """What one step left.

    Attributes
    ----------
    step : str
        "sample", "simulate-2-of-8", "summarise", "figures" or "report".
    mark : str
        Digest of what the results rest on.
    files : dict of str to tuple of (int, str)
        Size in bytes and digest of each file, by its name within the results folder.
    runs : int
        Units × scenarios that were run for it; 0 but for chunks.
    """

    step: str
    mark: str
    files: dict[str, tuple[int, str]]
    runs: int = 0


def seal(out: Path, step: str, mark: str, files, runs: int = 0) -> None:
    """Write down that a step is finished; nothing is written where no run has marked the folder.

    Parameters
    ----------
    out : Path
        Results folder.
    step : str
    mark : str
        As :func:`marked` read it when the step began.
    files : iterable of Path
        That the step made, within the folder.
    runs : int
        Units × scenarios that are in them.
    """
    if not mark:
        return
    found = {str(Path(file).relative_to(out)): _digest(Path(file)) for file in files}
    text = json.dumps({"mark": mark, "runs": runs, "files": found}, indent=1)
    with replace_file(_seal_path(out, step)) as file:
        file.write(text.encode("utf-8"))


def marked(out: Path) -> str:
    """Digest of what a folder's results rest on, as the last run wrote it; empty without one."""
    try:
        return (Path(out) / "logs" / MARK).read_text(encoding="ascii").strip()
    except (OSError, ValueError):
        return ""


def _seal_path(out: Path, step: str) -> Path:
    return Path(out) / "logs" / (step + _ENDING)


def _digest(path: Path) -> tuple[int, str]:
    with path.open("rb") as file:
        told = hashlib.file_digest(file, "sha256")
    return path.stat().st_size, told.hexdigest()


def _read(out: Path, step: str) -> Seal | None:
    try:
        content = json.loads(_seal_path(out, step).read_text(encoding="utf-8"))
        files = {str(name): (int(size), str(digest)) for name, (size, digest) in content["files"].items()}
        if not all(_of_a_run(name) for name in files):
            return None
        return Seal(step, str(content["mark"]), files, int(content["runs"]))
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None  # a damaged seal is one that is not there


def _of_a_run(name: str) -> bool:
    """Whether a step makes a file of this name: a folder of results may come from anybody, its seals name no others."""
    return name in (*SAMPLED, *SUMMARISED, FIGURES, REPORT) or _CHUNK.fullmatch(name) is not None


def _all(out: Path) -> list[Seal]:
    """In the order of the steps."""
    chunks = sorted(p.name.removesuffix(_ENDING) for p in (Path(out) / "logs").glob(f"{_CHUNKS}*{_ENDING}"))
    found = [_read(out, step) for step in (_FINAL[0], *chunks, *_FINAL[1:])]
    return [one for one in found if one is not None]


def _there(out: Path, one: Seal) -> bool:
    """All files are there with the sizes they had: a quick look."""
    try:
        return all((out / name).stat().st_size == size for name, (size, _) in one.files.items())
    except OSError:
        return False


@dataclass(frozen=True)
class Standing:
    """What a results folder holds.

    Attributes
    ----------
    complete : bool
        Results and report of one run, all there.
    mark : str
        What those rest on; empty if not complete.
    runs : int
        Units × scenarios that are kept for the run that goes on.
    """

    complete: bool
    mark: str
    runs: int


def standing(out: Path, mark: str) -> Standing:
    """Look what a results folder holds, by the names and sizes of its files.

    Parameters
    ----------
    out : Path
    mark : str
        Digest of the run that is asked for.
    """
    out = Path(out)
    seals = {one.step: one for one in _all(out) if _there(out, one)}
    marks = {seals[step].mark if step in seals else "" for step in _FINAL}
    complete = len(marks) == 1 and "" not in marks
    done = [one.runs for one in seals.values() if one.mark == mark]
    kept = seals.get("summarise")
    if kept is not None and kept.mark == mark:
        # What was counted needs its chunks no more, and they are gone.
        done = [kept.runs]
    return Standing(complete, marks.pop() if complete else "", sum(done))


def outputs(out: Path) -> list[Path]:
    """Files that the pipeline goes by, as far as they are there; nobody else's.

    Parameters
    ----------
    out : Path
        Results folder.
    """
    known = [Path(out) / name for name in (*SAMPLED, *SUMMARISED, FIGURES, REPORT)]
    found = (*known, *(Path(out) / "chunks").glob("*-of-*"))
    return [path for path in found if path.is_file() and not path.is_symlink()]


def settle(out: Path, mark: str) -> list[str]:
    """Make the times of a folder's files say what its seals say, throw away what is damaged or half-written.

    Parameters
    ----------
    out : Path
        Results folder, in which nothing else is at work.
    mark : str
        Digest of the run that is about to begin.

    Returns
    -------
    damaged : list of str
        Names of files that did not have the bytes that were written, and are removed.

    Notes
    -----
    Times are set some seconds into the past, a second apart in the order of the steps: the mark, what is sealed with
    it, and before both everything else, which is then made again. Complete results keep theirs.
    """
    out, now = Path(out), time.time()
    damaged, good = [], {}
    stages = {step: i for i, step in enumerate(("sample", "simulate", *_FINAL[1:]), start=1)}
    for one in _all(out):
        wrong = [name for name, told in one.files.items() if _is_wrong(out / name, told)]
        # The pipeline throws chunks away when they are counted; that is no damage.
        damaged += [name for name in wrong if (out / name).exists()]
        for name in wrong:
            _remove(out / name)
        if wrong:
            _remove(_seal_path(out, one.step))
        elif one.mark == mark:
            good |= dict.fromkeys(one.files, stages[one.step.split("-")[0]])
    for place in (out, out / "chunks", out / "figures", out / "logs"):
        for path in place.glob(f".*{PART}"):
            _remove(path)
    if is_complete(out, mark):
        return damaged
    for path in outputs(out):
        stage = good.get(str(path.relative_to(out)), -_BEHIND_S)
        _set_time(path, now - _BEHIND_S + stage * _APART_S)
    _set_time(out / "logs" / MARK, now - _BEHIND_S)
    return damaged


def is_complete(out: Path, mark: str) -> bool:
    """Whether all that a run makes is there, sealed with this mark; after :func:`settle`.

    Parameters
    ----------
    out : Path
    mark : str
    """
    found = standing(out, mark)
    return found.complete and found.mark == mark


def renewed(out: Path, step: str, files) -> None:
    """Seal a step anew after another command has written its files again, if it was sealed.

    Parameters
    ----------
    out : Path
    step : str
    files : iterable of Path
    """
    before = _read(out, step)
    if before is not None and before.mark == marked(out):
        seal(out, step, before.mark, files, before.runs)


def take_away_report(out: Path) -> None:
    """Remove the report before what it is made of changes: a report that is there is that of the tables beside it.

    Parameters
    ----------
    out : Path
    """
    for path in (_seal_path(out, "report"), Path(out) / REPORT):
        try:
            path.unlink(missing_ok=True)
        except OSError as error:
            raise BandfloorError(f"{path}: cannot be removed: {error.strerror}.") from error


def _is_wrong(path: Path, told: tuple[int, str]) -> bool:
    try:
        return path.stat().st_size != told[0] or _digest(path) != told
    except OSError:
        return True


def _remove(path: Path) -> None:
    with contextlib.suppress(OSError):
        path.unlink(missing_ok=True)


def _set_time(path: Path, seconds: float) -> None:
    # Somebody else's file in the folder may not let itself be touched, and is none of ours.
    with contextlib.suppress(OSError):
        os.utime(path, (seconds, seconds))
