"""bandfloor run: hand the study to the pipeline, show how far it is, print the answer."""

import argparse
import contextlib
import json
import os
import shutil
import signal
import sys
import time
from pathlib import Path

from sim.commands.broken import at_rest, now, why
from sim.commands.held import Lock, asked_to_stop, end, start
from sim.errors import BandfloorError, Fault, StudyError
from sim.paths import SNAKEFILE
from sim.steps.layout import default_out, inputs_digest, mark_inputs, refuse_braces, study_inputs
from sim.steps.seal import is_complete, marked, settle, take_away_report
from sim.study.maker import is_model_file
from sim.study.read import read_study
from sim.study.scenarios import scenarios

STOPPED = 130
"""Exit code of a run that was interrupted, as shells have it for Ctrl-C."""
_POLL_S = 0.1
_PROBE = 65536
"""Bytes that a folder must be able to take before the pipeline keeps its books there."""
_ORIGIN = "study.path"
SCRATCH = "scratch"
FOLDERS = ("logs", "chunks", "figures")
"""What a run keeps in its results folder."""
_STEPS = ("summarise", "figures", "report")


class Stopped(Exception):
    """A run was interrupted; says what there is now."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of ``bandfloor run``."""
    parser.add_argument("study", metavar="STUDY", help="study file (.toml)")
    parser.add_argument("--units", type=positive, metavar="N", help="virtual units instead of the study's own number")
    parser.add_argument("--cores", type=positive, metavar="N", help="processor cores to use (default: all)")
    parser.add_argument("--out", metavar="DIR", help="results folder (default: results/<name of the study>)")
    parser.add_argument("--json", action="store_true", help="print answer.json alone on standard output, for programs")
    parser.epilog = (
        "A run that was stopped goes on where it was. The results do not depend on the number of cores.\n"
        "The same without this command: snakemake -c all --config study=STUDY"
    )


def positive(text: str) -> int:
    """An argument that must be a whole number of 1 or more."""
    if not text.isascii() or not text.isdigit() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text}: write a whole number of 1 or more")
    return int(text)


def act(given) -> int:
    """Run everything and print the answer; when it is interrupted, say what there is now."""
    out = Path(given.out) if given.out else default_out(given.study)
    try:
        return _act(given, out)
    except KeyboardInterrupt:
        # A second Ctrl-C shall not take the answer to the first.
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        print(f"\nstopped. {at_rest(out)}", file=sys.stderr)
        return STOPPED


def _act(given, out: Path) -> int:
    study = read_study(given.study, units=given.units)
    every = scenarios(study)
    _check_chains(every)
    from sim.engine.ngspice import library_path

    library_path()  # a missing library is said at once, not by a step that failed
    _prove_models(every)
    refuse_braces(given.study, out)
    own_folder(given, out)
    writable(out)
    cores = given.cores or os.cpu_count() or 1
    begin = time.monotonic()
    runs = (study.run.units + 1) * len(every)
    try:
        _pipeline(given, out, cores, runs, quiet=given.json)
    except Stopped as stopped:
        print(f"\nstopped. {stopped}", file=sys.stderr)
        return STOPPED
    answer = json.loads((out / "answer.json").read_text(encoding="utf-8"))
    if given.json:
        print(json.dumps(answer, indent=1, ensure_ascii=False))
        return 0
    from sim.commands.bench import print_bench
    from sim.summary.describe import describe

    print_bench(out / "model.csv")
    print(describe(answer))
    print(f"\nReport: {out / 'report.html'}   ({time.monotonic() - begin:.0f} s)")
    return 0


def _check_chains(every) -> None:
    """Read every circuit and record before the first job, so that a bad one is told at once and nothing is written."""
    from sim.deck.build import chain_of
    from sim.stability.judged import study_loads

    inputs = set()
    for scenario in every:
        inputs.add(chain_of(scenario.study).circuit.balanced)
        study_loads(scenario.study)
    study = every[0].study
    if len(inputs) > 1 and study.stability is not None:
        raise StudyError(
            Fault(
                study.file,
                None,
                "stability",
                "is judged with circuits of one and of two inputs, which other antennas cannot be compared between.",
                "Write a study for each kind of circuit.",
            )
        )


def _prove_models(every) -> None:
    """Load every maker's model in a process of its own and prove its pins: a bad one is told before all else."""
    models = [scenario.study for scenario in every if is_model_file(scenario.study.amplifier.opamp)]
    if not models:
        return
    from sim.deck.maker.of_study import like_of, model_of
    from sim.measures.maker.trial import prove
    from sim.steps.maker import study_volts

    for model, like, volts in dict.fromkeys((model_of(s), like_of(s), study_volts(s)) for s in models):
        prove(model, like, volts)


def own_folder(given, out: Path) -> None:
    """Refuse to write over another study's results only because both files have the same name.

    Parameters
    ----------
    given : argparse.Namespace
        With ``study`` and ``out`` as they were written.
    out : Path
        The folder that follows.

    Raises
    ------
    StudyError
        The folder follows from the name alone, and belongs to a study elsewhere that is still there.
    """
    try:
        other = Path((out / "logs" / _ORIGIN).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return
    if not given.out and other.is_file() and not other.samefile(given.study):
        raise StudyError(
            Fault(
                given.study,
                None,
                None,
                f"its results folder, {out}, holds those of {other}.",
                f"Name another folder with --out DIR; --out {out} replaces them.",
            )
        )


def writable(out: Path) -> None:
    """Make the results folder; raise BandfloorError where nothing can be written there."""
    # What stands in them is replaced and taken away: not somewhere else because a folder of results came with a link.
    for name in FOLDERS:
        if (out / name).is_symlink():
            raise BandfloorError(f"{out / name}: is a link to another place.\n  Remove it, or name another --out DIR.")
    try:
        (out / "logs").mkdir(parents=True, exist_ok=True)
        probe = out / "logs" / ".writable"
        probe.write_bytes(b"")
        probe.unlink()
        if (out / "chunks").exists() and not (out / "chunks").is_dir():
            raise NotADirectoryError(20, "chunks in it is not a folder")
    except OSError as error:
        raise BandfloorError(
            f"{out}: the results folder cannot be written: {error.strerror}.\n  Name another one with --out DIR."
        ) from error


def _pipeline(given, out: Path, cores: int, runs: int, quiet: bool) -> None:
    mark = ""
    with Lock(out) as lock, asked_to_stop() as asked:
        try:
            (out / "logs" / _ORIGIN).write_text(str(Path(given.study).resolve()), encoding="utf-8")
            files = study_inputs(given.study, given.units)
            mark = marked(Path(mark_inputs(out, files, given.units)).parent.parent)
            for name in settle(out, mark):
                print(f"{out / name}: was damaged, and is made again", file=sys.stderr)
            if not is_complete(out, mark) and not asked.times:
                _made(given, out, cores, lock, asked, lambda process: _watch(process, out, runs, quiet, lock, asked))
                if not asked.times and inputs_digest(files, given.units) != mark:
                    mark = ""
                    take_away_report(out)
                    raise BandfloorError(
                        f"{given.study}, or a file it names, or the program was changed while the run was on;"
                        " so the results may be of both."
                    )
        except OSError as error:
            place = error.filename or out
            raise BandfloorError(f"{place}: {error.strerror}.\n{now(out, mark, runs)}") from error
        except BandfloorError as error:
            raise BandfloorError(f"{error}\n{now(out, mark, runs)}") from error
        if asked.times and not is_complete(out, mark):
            raise Stopped(now(out, mark, runs))
    # Chunks of an earlier try with another number of cores are of no use any more.
    for old in (*(out / "chunks").glob("*-of-*"), *(out / "logs").glob("simulate-*.seal")):
        old.unlink(missing_ok=True)


def _made(given, out: Path, cores: int, lock: Lock, asked, watch) -> None:
    """Have the pipeline make everything, watched; raise BandfloorError where it did not."""
    log = out / "logs" / "pipeline.log"
    for old in (out / "logs").glob("*.progress"):
        old.unlink(missing_ok=True)
    with open(log, "wb") as file, _scratch(out) as own:
        process = start(_snakemake(given, out, cores, own), file, _environment(own), lock)
        try:
            watch(process)
        finally:
            end(process, asked)
    if lock.lost():
        raise BandfloorError(f"{out}: the results folder was taken away while the run was on.")
    if process.returncode and not asked.times:
        raise BandfloorError(why(out, log, process.returncode))


@contextlib.contextmanager
def _scratch(out: Path):
    """A folder for what the pipeline needs while it runs: none of it rests on a folder for temporary files."""
    own = out.resolve() / "logs" / SCRATCH
    if own.is_symlink():
        own.unlink()
    shutil.rmtree(own, ignore_errors=True)
    own.mkdir()
    try:
        yield own
    finally:
        shutil.rmtree(own, ignore_errors=True)


def _snakemake(given, out: Path, cores: int, own: Path) -> list[str]:
    study, folder = Path(given.study), []
    if Path(".snakemake").is_symlink() or not _usable(Path(".snakemake")):
        # It keeps its books where the command is given, or else in the results; a link may lead anywhere.
        study, out, folder = study.resolve(), out.resolve(), ["--directory", str(own)]
    # In a file, since what stands behind --config is read as YAML: a folder "2024" or "a: b" would not stay a name.
    config = {"study": str(study), "out": str(out)} | ({"units": given.units} if given.units else {})
    settings = out / "logs" / "pipeline.json"
    settings.write_text(json.dumps(config), encoding="utf-8")
    base = [sys.executable, "-m", "snakemake", "-s", str(SNAKEFILE), "--configfile", str(settings), *folder]
    # A profile that lies in the folder in which the command is given would be obeyed, and may hold Python to be run.
    return [*base, "-c", str(cores), "--rerun-incomplete", "--nolock", "--workflow-profile", "none"]


def _environment(own: Path) -> dict[str, str]:
    path = [str(Path(__file__).resolve().parents[2]), *filter(None, [os.environ.get("PYTHONPATH")])]
    # The folder in which the command is given is no place to look for modules: it may hold a "sim" of its own.
    found = {**os.environ, "PYTHONPATH": os.pathsep.join(path), "PYTHONSAFEPATH": "1", "TMPDIR": str(own)}
    cache = Path(os.environ.get("XDG_CACHE_HOME") or Path(os.environ.get("HOME") or "/") / ".cache")
    # Pictures' fonts are listed there once for all runs; so it is left where it is, if it can be.
    return found if _usable(cache / "snakemake") else {**found, "XDG_CACHE_HOME": str(own)}


def _usable(folder: Path) -> bool:
    """Whether files can be written into a folder, which is made."""
    probe = folder / f".writable-{os.getpid()}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe.write_bytes(bytes(_PROBE))
    except OSError:
        return False
    finally:
        with contextlib.suppress(OSError):
            probe.unlink()
    return True


def _watch(process, out: Path, runs: int, quiet: bool, lock: Lock, asked) -> None:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(stderr=True)
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("units"),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=console, disable=quiet, transient=not console.is_terminal) as bar:
        task = bar.add_task("starting", total=runs)
        while process.poll() is None and not asked.times and not lock.lost():
            done = sum(_count(path) for path in (out / "logs").glob("simulate-*.progress"))
            bar.update(task, completed=min(done, runs), description=_doing(out, done, runs))
            time.sleep(_POLL_S)
        if process.returncode == 0:
            bar.update(task, completed=runs, description="done")


def _count(path: Path) -> int:
    try:
        return int(path.read_text(encoding="ascii") or 0)
    except (OSError, ValueError):
        return 0


def _doing(out: Path, done: int, runs: int) -> str:
    if 0 < done < runs:
        return "simulating"
    newest = [step for step in _STEPS if (out / "logs" / f"{step}.log").exists()]
    return (
        {"summarise": "counting", "figures": "drawing", "report": "writing"}.get(
            newest[-1] if newest else "", "starting"
        )
        if done
        else "starting"
    )
