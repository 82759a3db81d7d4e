"""bandfloor run: hand the study to the pipeline, show how far it is, print the answer."""

import argparse
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

from sim.errors import BandfloorError
from sim.paths import SNAKEFILE
from sim.steps.layout import default_out
from sim.study.read import read_study
from sim.study.scenarios import scenarios

_POLL_S = 0.15
_STEPS = ("summarise", "figures", "report")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of ``bandfloor run``."""
    parser.add_argument("study", metavar="STUDY", help="study file (.toml)")
    parser.add_argument("--units", type=_positive, metavar="N", help="virtual units instead of the study's own number")
    parser.add_argument("--cores", type=_positive, metavar="N", help="processor cores to use (default: all)")
    parser.add_argument("--out", metavar="DIR", help="results folder (default: results/<name of the study>)")
    parser.add_argument("--json", action="store_true", help="print answer.json alone on standard output, for programs")
    parser.epilog = (
        "A run that was stopped goes on where it was. The results do not depend on the number of cores.\n"
        "The same without this command: snakemake -c all --config study=STUDY"
    )


def _positive(text: str) -> int:
    if not text.isascii() or not text.isdigit() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text}: write a whole number of 1 or more")
    return int(text)


def act(given) -> int:
    """Run everything and print the answer."""
    study = read_study(given.study, units=given.units)
    every = scenarios(study)
    _check_chains(every)
    out = Path(given.out) if given.out else default_out(given.study)
    _writable(out)
    cores = given.cores or os.cpu_count() or 1
    begin = time.monotonic()
    _pipeline(given, out, cores, (study.run.units + 1) * len(every), quiet=given.json)
    answer = json.loads((out / "answer.json").read_text(encoding="utf-8"))
    if given.json:
        print(json.dumps(answer, indent=1, ensure_ascii=False))
        return 0
    from sim.summary.answer import describe

    print(describe(answer))
    print(f"\nReport: {out / 'report.html'}   ({time.monotonic() - begin:.0f} s)")
    return 0


def _check_chains(every) -> None:
    """Read every circuit and record before the first job, so that a bad one is told at once and nothing is written."""
    from sim.deck.build import chain_of

    for scenario in every:
        chain_of(scenario.study)


def _writable(out: Path) -> None:
    try:
        (out / "logs").mkdir(parents=True, exist_ok=True)
        probe = out / "logs" / ".writable"
        probe.write_bytes(b"")
        probe.unlink()
    except OSError as error:
        raise BandfloorError(
            f"{out}: the results folder cannot be written: {error.strerror}.\n  Name another one with --out DIR."
        ) from error


def _pipeline(given, out: Path, cores: int, runs: int, quiet: bool) -> None:
    for old in (out / "logs").glob("*.progress"):
        old.unlink(missing_ok=True)
    config = [f"study={given.study}", f"out={out}"] + ([f"units={given.units}"] if given.units else [])
    base = [sys.executable, "-m", "snakemake", "-s", str(SNAKEFILE), "--config", *config]
    command = [*base, "-c", str(cores), "--rerun-incomplete", "--nolock"]
    environment = {
        **os.environ,
        "PYTHONPATH": os.pathsep.join([str(SNAKEFILE.parent), os.environ.get("PYTHONPATH", "")]),
    }
    log = out / "logs" / "pipeline.log"
    with _Lock(out), open(log, "wb") as file:
        process = subprocess.Popen(command, stdout=file, stderr=subprocess.STDOUT, env=environment)
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
