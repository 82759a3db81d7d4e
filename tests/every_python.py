"""The wheel on every Python of this machine, with the newest and the oldest dependencies that pyproject.toml allows.

    .venv/bin/python tests/every_python.py                        every Python found, both sets
    .venv/bin/python tests/every_python.py --only 3.11:oldest     one of them

The wheel is built once, from a copy of this checkout, and installed into new virtual environments away from it. In each
the commands are run that a builder would run, then some of the tests; at the end the demo's measures are compared.
Downloads some hundred megabytes for each environment, and needs the ngspice library. A Python that is not there, or a
registry that does not answer, is skipped with its reason. Exit code: 0 all that ran passed, 1 something failed.
"""

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from dataclasses import dataclass
from pathlib import Path

from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parent.parent
PYTHONS = ("3.11", "3.12", "3.13")
SETS = ("newest", "oldest")
TESTS = ("test_quantity.py", "test_tables.py", "test_columns.py", "engine", "measured", "sampling")
LONGEST_S = 1800
"""Seconds after which a step counts as failed [s]: some ten times what the slowest takes."""

COMPARE = """
import json, sys
import numpy as np, pandas as pd
first, other = (pd.read_parquet(name + "/measures.parquet") for name in sys.argv[1:])
assert list(first.columns) == list(other.columns) and len(first) == len(other), "other columns or rows"
for name in first.columns.drop("value"):
    a, b = first[name].astype(object), other[name].astype(object)
    assert ((a == b) | (a.isna() & b.isna())).all(), "the rows are not the same by " + name
worst, of, equal, all_of_them = 0.0, "", 0, first["measure"].astype(str).unique()
for measure in all_of_them:
    a, b = (frame["value"][(first["measure"] == measure).to_numpy()].to_numpy() for frame in (first, other))
    equal += np.array_equal(a, b, equal_nan=True)
    assert np.array_equal(np.isfinite(a), np.isfinite(b)), "values are missing in one of them: " + measure
    held = np.isfinite(a)
    if held.any():
        # Against the measure's own largest value: one that passes through zero has no relative error.
        off = np.abs(a[held] - b[held]).max() / max(np.abs(a[held]).max(), 1e-300)
        if off > worst:
            worst, of = off, measure
print(json.dumps({"measures": len(all_of_them), "equal": int(equal), "worst": float(worst), "of": of}))
"""


class Broken(Exception):
    """A step that failed; the text says which, and the last of what it printed."""


class NotReached(Exception):
    """The registry did not answer: nothing was learnt."""


@dataclass(frozen=True)
class Place:
    """An environment that was made: its Python and its dependencies, and where it lies."""

    version: str
    chosen: str
    folder: Path

    @property
    def name(self) -> str:
        """Its name in what is printed."""
        return f"{self.version}:{self.chosen}"

    @property
    def programs(self) -> Path:
        """Folder of its programs."""
        return self.folder / "venv" / "bin"


def lower_bounds(dependencies: list[str]) -> list[str]:
    """Constraints that hold each dependency at the oldest version allowed.

    Parameters
    ----------
    dependencies : list of str
        Requirements as in pyproject.toml.

    Returns
    -------
    list of str
        `name==version`, with the requirement's marker where it has one.

    Raises
    ------
    ValueError
        A dependency without a lower bound, of which nothing oldest can be tried.
    """
    pinned = []
    for text in dependencies:
        requirement = Requirement(text)
        lowest = [bound.version for bound in requirement.specifier if bound.operator in (">=", "==", "~=")]
        if len(lowest) != 1:
            raise ValueError(f"{text}: has no lower bound, or more than one; write it as NAME>=VERSION")
        pinned.append(f"{requirement.name}=={lowest[0]}" + (f" ; {requirement.marker}" if requirement.marker else ""))
    return pinned


def find_python(version: str) -> str | None:
    """Path of a Python of this version that runs, None where there is none."""
    names = [sys.executable, shutil.which(f"python{version}"), shutil.which("python3")]
    for name in filter(None, names):
        asked = subprocess.run(
            [name, "-c", "import sys, venv, ensurepip; print('%d.%d' % sys.version_info[:2])"],
            capture_output=True,
            text=True,
        )
        if asked.returncode == 0 and asked.stdout.strip() == version:
            return name
    return None


def step(words: list, folder: Path, what: str, expect: int = 0) -> str:
    """Run one command in a folder and return what it printed; raises Broken where its exit code is another."""
    kept = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "PYTHONHOME")}
    # A run starts "python" and "snakemake" by name; those of this environment are meant.
    kept["PATH"] = f"{Path(words[0]).parent}{os.pathsep}{kept['PATH']}"
    began = time.monotonic()
    try:
        done = subprocess.run(
            [str(word) for word in words],
            cwd=folder,
            env=kept,
            capture_output=True,
            text=True,
            timeout=LONGEST_S,
            stdin=subprocess.DEVNULL,
        )
    except subprocess.TimeoutExpired:
        raise Broken(f"{what}: still running after {LONGEST_S} s") from None
    if done.returncode != expect:
        tail = "\n    ".join((done.stdout + done.stderr).splitlines()[-25:])
        raise Broken(f"{what}: exit code {done.returncode}, expected {expect}\n    {tail}")
    print(f"    {what}: {time.monotonic() - began:.0f} s", flush=True)
    return done.stdout


def build_wheel(scratch: Path) -> Path:
    """Wheel of this checkout, built in a copy so that nothing is left here."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    for name in filter(None, listed.stdout.split("\0")):
        source, target = ROOT / name, scratch / "copy" / name
        if source.is_file():
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(source, target)
    pip = [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", scratch / "wheel", scratch / "copy"]
    install(pip, scratch, "build the wheel")
    (wheel,) = (scratch / "wheel").glob("bandfloor-*.whl")
    return wheel


def install(words: list, folder: Path, what: str) -> None:
    """Run pip; raises NotReached where it is the network that failed, Broken where it is the packages."""
    try:
        step(words, folder, what)
    except Broken as error:
        if any(sign in str(error) for sign in ("NewConnectionError", "Max retries", "Temporary failure", "timed out")):
            raise NotReached(f"{what}: the package registry does not answer") from None
        raise


def make(place: Place, python: str, wheel: Path) -> None:
    """Install the wheel with its dependencies, and pytest to run some tests."""
    step([python, "-m", "venv", place.folder / "venv"], place.folder, "virtual environment")
    chosen = []
    if place.chosen == "oldest":
        project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
        bounds = place.folder / "oldest.txt"
        bounds.write_text("\n".join(lower_bounds(project["dependencies"])) + "\n", encoding="utf-8")
        chosen = ["-c", bounds]
    pytest = [line for line in (ROOT / "requirements-dev.lock").read_text().splitlines() if line.startswith("pytest==")]
    pip = [place.programs / "python", "-m", "pip", "install", "-q", "--disable-pip-version-check"]
    install([*pip, wheel, *chosen, *pytest], place.folder, f"install with the {place.chosen} dependencies")
    frozen = step([place.programs / "python", "-m", "pip", "freeze"], place.folder, "pip freeze")
    (place.folder / "installed.txt").write_text(frozen, encoding="utf-8")
    step([place.programs / "python", "-m", "pip", "check"], place.folder, "pip check")


def use(place: Place, units: int) -> None:
    """Run the commands of a builder and some tests, away from the checkout."""
    here, bandfloor = place.folder, place.programs / "bandfloor"
    shutil.copytree(ROOT / "studies", here / "studies")
    shutil.copytree(ROOT / "circuits" / "decks", here / "decks")
    demo = "studies/marsh-square.toml"
    step([bandfloor, "--version"], here, "--version")
    for what in ("circuits", "opamps", "antennas", "cables", "noise", "measures"):
        step([bandfloor, "list", what], here, f"list {what}")
    step([bandfloor, "new", "mine.toml"], here, "new")
    step([bandfloor, "check", "mine.toml"], here, "check")
    step([bandfloor, "check", "missing.toml"], here, "check of a file that is not there", expect=2)
    step([bandfloor, "run", demo, "--units", units, "--out", "demo"], here, f"run the demo with {units} units")
    if not (here / "demo" / "report.html").is_file():
        raise Broken("run: wrote no report.html")
    step([bandfloor, "judge", "decks/whip-buffer.cir"], here, "judge")
    for unit in (1, 2, 3):
        step([bandfloor, "export", demo, "sweep", "--unit", unit, "-o", f"u{unit}.s2p"], here, f"export unit {unit}")
    said = step(
        [bandfloor, "inspect", "u1.s2p", "--study", demo, "--units", "100", "--no-diagnosis", "--json"], here, "inspect"
    )
    json.loads(said)
    said = step([bandfloor, "match", "u1.s2p", "u2.s2p", "u3.s2p", "--pick", "2", "--json"], here, "match")
    json.loads(said)
    # The tests see the installed package: this folder has everything beside it, but no sim.
    trial = here / "trial"
    shutil.copytree(ROOT / "tests", trial / "tests", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy2(ROOT / "pyproject.toml", trial)
    for name in ("circuits", "studies"):
        shutil.copytree(ROOT / name, trial / name)
    tests = [f"tests/{name}" for name in TESTS]
    # Newest: a warning is an error, as in the checkout. The oldest warn of each other, which nobody can mend here.
    lenient = ["-W", "default"] if place.chosen == "oldest" else []
    pytest = [place.programs / "python", "-m", "pytest", "-q", "-p", "no:cacheprovider", *lenient, *tests]
    print("    " + step(pytest, trial, "some of the tests").strip().splitlines()[-1])


def compare(places: list[Place]) -> None:
    """Print how far the demo's measures of each place are from those of the first."""
    first = places[0]
    print(f"== the demo's measures against those of {first.name}")
    for other in places[1:]:
        words = [first.programs / "python", "-c", COMPARE, first.folder / "demo", other.folder / "demo"]
        told = json.loads(step(words, first.folder, f"compare {other.name}"))
        far = f"worst {told['worst']:.1e} of its largest value, {told['of']}" if told["of"] else "bit for bit"
        print(f"  {other.name}: {told['equal']} of {told['measures']} measures equal; {far}", flush=True)
        if told["worst"] > 1e-6:
            raise Broken(f"{other.name}: the measures differ from those of {first.name} by more than rounding")


def main() -> int:
    """Try all that was asked for; exit code."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    every = [f"{version}:{chosen}" for version in PYTHONS for chosen in SETS]
    asked.add_argument(
        "--only", nargs="+", choices=every, default=every, metavar="PYTHON:SET", help="such as 3.13:newest"
    )
    asked.add_argument("--units", type=int, default=16, help="units of the demo (default: 16)")
    asked.add_argument("--keep", action="store_true", help="keep the environments, and say where they are")
    given = asked.parse_args()
    scratch = Path(tempfile.mkdtemp(prefix="bandfloor-"))
    passed, failed, skipped = [], [], []
    try:
        wheel = build_wheel(scratch)
        for name in given.only:
            version, chosen = name.split(":")
            place = Place(version, chosen, scratch / name.replace(":", "-"))
            print(f"== Python {version} with the {chosen} dependencies", flush=True)
            python = find_python(version)
            if python is None:
                skipped.append(name)
                print(f"  skipped: no python{version} with venv is on the PATH")
                continue
            place.folder.mkdir()
            try:
                make(place, python, wheel)
                use(place, given.units)
                passed.append(place)
            except NotReached as error:
                skipped.append(name)
                print(f"  skipped: {error}")
            except Broken as error:
                failed.append(name)
                print(f"  failed: {error}", flush=True)
        if len(passed) > 1:
            compare(passed)
    except NotReached as error:
        skipped = given.only
        print(f"skipped: {error}")
    except Broken as error:
        failed.append("all")
        print(f"failed: {error}")
    finally:
        if given.keep:
            print(f"kept: {scratch}")
        else:
            shutil.rmtree(scratch)
    print(f"{len(passed)} passed, {len(failed)} failed, {len(skipped)} skipped")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
