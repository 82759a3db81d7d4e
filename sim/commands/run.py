"""bandfloor run: hand the study to the pipeline, show how far it is, print the answer."""

import argparse
import contextlib
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

from sim.errors import BandfloorError, Fault, StudyError
from sim.paths import SNAKEFILE
from sim.steps.layout import default_out, refuse_braces
from sim.study.maker import is_model_file
from sim.study.read import read_study
from sim.study.scenarios import scenarios

STOPPED = 130
"""Exit code of a run that was interrupted, as shells have it for Ctrl-C."""
_POLL_S = 0.15
_ORIGIN = "study.path"
_STEPS = ("summarise", "figures", "report")


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
    """Run everything and print the answer."""
    study = read_study(given.study, units=given.units)
    every = scenarios(study)
    _check_chains(every)
    from sim.engine.ngspice import library_path

    library_path()  # a missing library is said at once, not by a step that failed
    _prove_models(every)
    out = Path(given.out) if given.out else default_out(given.study)
    refuse_braces(given.study, out)
    own_folder(given, out)
    writable(out)
    cores = given.cores or os.cpu_count() or 1
    begin = time.monotonic()
    try:
        _pipeline(given, out, cores, (study.run.units + 1) * len(every), quiet=given.json)
    except KeyboardInterrupt:
        print("\nstopped; the same command goes on where it was", file=sys.stderr)
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
    log = out / "logs" / "pipeline.log"
    with _Lock(out) as lock, open(log, "wb") as file, _stopped_kindly():
        (out / "logs" / _ORIGIN).write_text(str(Path(given.study).resolve()), encoding="utf-8")
        for old in (out / "logs").glob("*.progress"):
            old.unlink(missing_ok=True)
        process = subprocess.Popen(
            _snakemake(given, out, cores),
            stdout=file,
            stderr=subprocess.STDOUT,
            env=_environment(),
            # The pipeline holds the lock, too: should this process be killed, the folder stays taken until that ends.
            pass_fds=(lock.descriptor,),
        )
        try:
            _watch(process, out, runs, quiet)
        except BaseException:
            # The pipeline stops its own jobs when it is asked kindly.
            process.send_signal(signal.SIGINT)
            try:
                process.wait(10)
            except subprocess.TimeoutExpired:
                process.kill()
            raise
    if process.returncode:
        raise BandfloorError(_why(out, log))
    # Chunks of an earlier try with another number of cores are of no use any more.
    for old in (out / "chunks").glob("*-of-*"):
        old.unlink(missing_ok=True)


def _snakemake(given, out: Path, cores: int) -> list[str]:
    # In a file, since what stands behind --config is read as YAML: a folder "2024" or "a: b" would not stay a name.
    config = {"study": str(given.study), "out": str(out)} | ({"units": given.units} if given.units else {})
    settings = out / "logs" / "pipeline.json"
    settings.write_text(json.dumps(config), encoding="utf-8")
    base = [sys.executable, "-m", "snakemake", "-s", str(SNAKEFILE), "--configfile", str(settings)]
    return [*base, "-c", str(cores), "--rerun-incomplete", "--nolock"]


def _environment() -> dict[str, str]:
    path = [str(Path(__file__).resolve().parents[2]), *filter(None, [os.environ.get("PYTHONPATH")])]
    # The folder in which the command is given is no place to look for modules: it may hold a "sim" of its own.
    return {**os.environ, "PYTHONPATH": os.pathsep.join(path), "PYTHONSAFEPATH": "1"}


@contextlib.contextmanager
def _stopped_kindly():
    """A closed terminal or a plain kill ends a run as Ctrl-C does: the pipeline with it, results fit to go on from."""

    def stop(*_):
        raise KeyboardInterrupt

    # Under nohup a closed terminal is to be ignored, and stays so.
    before = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGHUP)}
    taken = [number for number, handler in before.items() if handler == signal.SIG_DFL]
    for number in taken:
        signal.signal(number, stop)
    try:
        yield
    finally:
        for number in taken:
            signal.signal(number, signal.SIG_DFL)


class _Lock:
    """Two runs into one folder would take each other's files; the second is refused."""

    def __init__(self, out: Path):
        self._path, self._file = out / "logs" / "run.lock", None

    def __enter__(self):
        import fcntl

        self._file = open(self._path, "w", encoding="ascii")
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            self._file.close()
            raise BandfloorError(
                f"{self._path.parent.parent}: another run is writing these results.\n"
                "  Wait for it, or name another folder with --out DIR."
            ) from None
        return self

    @property
    def descriptor(self) -> int:
        """Open file that carries the lock."""
        return self._file.fileno()

    def __exit__(self, *_):
        self._file.close()


def _watch(process, out: Path, runs: int, quiet: bool) -> None:
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
        while process.poll() is None:
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


def _why(out: Path, log: Path) -> str:
    """Last words of the step that failed, and where all of it stands."""
    for step in sorted((out / "logs").glob("*.log"), key=lambda path: path.stat().st_mtime, reverse=True):
        text = step.read_text(encoding="utf-8", errors="replace").strip()
        if step != log and "Error" in text:
            return f"the step '{step.stem}' failed: {text.splitlines()[-1]}\n  All it said: {step}"
    tail = log.read_text(encoding="utf-8", errors="replace").strip().splitlines()[-3:]
    return "the pipeline failed: " + " / ".join(tail) + f"\n  All it said: {log}"
