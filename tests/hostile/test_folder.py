"""The folder in which a command is given may come from anybody: nothing in it is run or obeyed.

Each trap is first shown to work on the program that would fall for it.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.small_studies import write_study

ROOT = Path(__file__).resolve().parents[2]
DECK = ROOT / "circuits" / "decks" / "whip-buffer.cir"
TOUCH = "__import__('pathlib').Path('ran').touch()"
PROFILE = f'default-resources:\n  - "mem_mb={TOUCH} or 1"\n'
TRAPS = {
    ".spiceinit": "shell touch ran\n",
    "spinit": "shell touch ran\n",
    "profiles/default/config.yaml": PROFILE,
    "default/config.yaml": PROFILE,
    "sim/__init__.py": TOUCH,
    "numpy.py": TOUCH,
    "sitecustomize.py": TOUCH,
    "conftest.py": TOUCH,
    "Snakefile": TOUCH,
    "matplotlibrc": f"axes.prop_cycle: cycler('color', [{TOUCH}])\n",
    "pyvenv.cfg": "home = .\n",
}

needs_ngspice = pytest.mark.skipif(shutil.which("ngspice") is None, reason="there is no ngspice command here")


def trapped(folder: Path) -> Path:
    """The folder with all traps and a study in it."""
    for name, text in TRAPS.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    shutil.copy(DECK, folder / "own.cir")
    return write_study(folder)


def given(*words, folder: Path) -> subprocess.CompletedProcess:
    """A command as the installed program gives it: the folder is no place for modules."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONSAFEPATH": "1"}
    line = [sys.executable, "-m", "sim.cli", *map(str, words)]
    return subprocess.run(line, cwd=folder, env=environment, capture_output=True, text=True, check=False, timeout=240)


@needs_ngspice
def test_ngspice_runs_what_a_start_file_says(tmp_path):
    """Plain ngspice runs a command of the shell that stands in .spiceinit of the current folder."""
    (tmp_path / ".spiceinit").write_text(TRAPS[".spiceinit"], encoding="ascii")
    (tmp_path / "deck.cir").write_text("title\nR1 a 0 1\n.op\n.end\n", encoding="ascii")
    line = ["ngspice", "-b", "deck.cir"]
    subprocess.run(line, cwd=tmp_path, capture_output=True, timeout=30, stdin=subprocess.DEVNULL, check=False)
    assert (tmp_path / "ran").exists()


@pytest.mark.parametrize("name", ["profiles/default/config.yaml", "default/config.yaml"])
def test_the_pipeline_program_obeys_a_profile(name, tmp_path):
    """Snakemake runs Python out of a profile that lies in the current folder, unless it is told not to."""
    (tmp_path / name).parent.mkdir(parents=True)
    (tmp_path / name).write_text(PROFILE, encoding="ascii")
    (tmp_path / "rules.smk").write_text('rule all:\n    output: "x"\n    shell: "touch x"\n', encoding="ascii")
    line = [sys.executable, "-m", "snakemake", "-s", "rules.smk", "-c1", "--dry-run"]
    subprocess.run(line, cwd=tmp_path, capture_output=True, timeout=120, check=False)
    assert (tmp_path / "ran").exists()


def test_judge_falls_for_none(tmp_path):
    """A deck is judged among all traps, and nothing is run."""
    trapped(tmp_path)
    before = sorted(tmp_path.rglob("*"))
    done = given("judge", "own.cir", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert sorted(tmp_path.rglob("*")) == before


def run_among_traps(tmp_path, link: bool) -> None:
    """Run a study among all traps: nothing is run, and nothing written but results and the pipeline program's books."""
    folder, out, elsewhere = tmp_path / "study", tmp_path / "out", tmp_path / "elsewhere"
    folder.mkdir()
    elsewhere.mkdir()
    trapped(folder)
    if link:
        (folder / ".snakemake").symlink_to(elsewhere)
    before = sorted(folder.rglob("*"))
    done = given("run", "study.toml", "--units", 2, "--cores", 1, "--out", out, folder=folder)
    assert done.returncode == 0, done.stderr
    books = () if link else {folder / ".snakemake", *(folder / ".snakemake").rglob("*")}
    assert sorted(path for path in folder.rglob("*") if path not in books) == before
    assert list(elsewhere.iterdir()) == []
    assert (out / "report.html").exists()


def test_a_run_falls_for_none(tmp_path):
    """A study is run among all traps, one of them a link in the place of the books, which is not followed."""
    run_among_traps(tmp_path, link=True)


@pytest.mark.slow
def test_a_run_falls_for_none_with_books(tmp_path):
    """The same where the books are kept in the folder: beside them nothing is written there."""
    run_among_traps(tmp_path, link=False)
