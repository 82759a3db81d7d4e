"""What the tests of broken runs share: a run that can be hit at any moment, and what must hold afterwards."""

import contextlib
import os
import subprocess
import sys
import textwrap
import time
from pathlib import Path

from tests.conftest import ROOT, command
from tests.small_studies import write_study

UNITS = 12
RUNS = UNITS + 1

INJECTED = """
import importlib.abc, importlib.util, sys

class _Patched(importlib.abc.MetaPathFinder):
    def find_spec(self, name, path, target=None):
        if name != {module!r}:
            return None
        sys.meta_path.remove(self)
        spec = importlib.util.find_spec(name)
        run = spec.loader.exec_module
        def exec_module(module):
            run(module)
            patch(module)
        spec.loader.exec_module = exec_module
        return spec

sys.meta_path.insert(0, _Patched())

{code}
"""


def tiny_study(folder, units: int = UNITS, **tables) -> Path:
    """A study of one scenario, some units, one limit."""
    wanted = {"run": {"units": units, "build": 4}, "limits": {"gain_db": "10.7 +- 0.6"}} | tables
    return write_study(folder, name="tiny.toml", **wanted)


def injected(folder, module: str, code: str) -> dict[str, str]:
    """Environment in which every process of a run has ``patch(module)`` of this code called on a module as it loads."""
    place = Path(folder) / "injected"
    place.mkdir(exist_ok=True)
    (place / "sitecustomize.py").write_text(
        INJECTED.format(module=module, code=textwrap.dedent(code)), encoding="utf-8"
    )
    return {"PYTHONPATH": f"{place}{os.pathsep}{ROOT}"}


def begin(study, out, environment=None, cores: int = 2, **options) -> subprocess.Popen:
    """A run in a session of its own, as a terminal starts it."""
    return subprocess.Popen(
        [sys.executable, "-m", "sim.cli", "run", str(study), "--cores", str(cores), "--out", str(out)],
        cwd=study.parent,
        env={**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "120", **(environment or {})},
        start_new_session=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        **options,
    )


def run(study, out, cores: int = 2, **options) -> subprocess.CompletedProcess:
    """The same, to its end."""
    return command("run", study, "--cores", cores, "--out", out, folder=study.parent, **options)


def results(out: Path) -> dict[str, bytes]:
    """Every file of a results folder but what only tells how it went."""
    found = {path.relative_to(out): path for path in Path(out).rglob("*") if path.is_file()}
    return {str(name): path.read_bytes() for name, path in found.items() if name.parts[0] != "logs"}


def differences(out: Path, reference: Path) -> list[str]:
    """Names of files that are not in both with the same bytes."""
    one, other = results(out), results(reference)
    return sorted(name for name in one.keys() | other.keys() if one.get(name) != other.get(name))


def at_work(out) -> dict[int, str]:
    """Processes whose command line names a results folder: those of its run and whatever these started."""
    found = {}
    for place in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):
            words = (place / "cmdline").read_bytes().decode("utf-8", "replace").split("\0")
            if any(str(out) in word for word in words) and int(place.name) != os.getpid():
                found[int(place.name)] = " ".join(words)
    return found


def ends(out, within_s: float = 10.0) -> bool:
    """Whether nothing of a run is at work any more, at latest after a while."""
    return until(lambda: not at_work(out), within_s)


def until(holds, within_s: float = 60.0):
    """First true value of a condition that is asked again and again; its last value where there is none."""
    deadline = time.monotonic() + within_s
    while not (found := holds()) and time.monotonic() < deadline:
        time.sleep(0.01)
    return found


def process_of(out, words: str, within_s: float = 60.0) -> int:
    """Number of the first process of a run with these words in its command line, once there is one."""
    found = until(lambda: [number for number, line in at_work(out).items() if words in line], within_s)
    assert found, f"no {words} of {out} was ever seen"
    return min(found)


def litter(out: Path) -> list[str]:
    """What must not stay behind: half-written files, and the scratch folder."""
    return sorted(str(path) for path in Path(out).rglob("*") if path.name.endswith(".part") or path.name == "scratch")


def resumable_or_old(out: Path, said: str) -> bool:
    """Whether the words name one of the states that a folder may be in, and the folder is in it."""
    if "are complete:" in said or "The old results in" in said:
        return (out / "report.html").is_file() and (out / "answer.json").is_file()
    if "runs are kept in" in said or "Nothing is kept of" in said or "Nothing was changed" in said:
        return "same command" in said
    return False
