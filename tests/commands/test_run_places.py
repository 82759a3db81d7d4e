"""Where a run's files may lie, what makes it run again, and how it ends when it is stopped."""

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from sim.steps.layout import mark_inputs
from tests.conftest import ROOT, SMALL, command

TINY = SMALL.replace("units = 24", "units = 3").replace('["0", "130 m"]', '["0"]')


def _write(path, text=TINY):
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def test_any_name_will_do(tmp_path):
    """Blanks, quotes, colons, letters with accents, a number for a name; the study named relative to where one is."""
    study, out = 'a b/it\'s "so": $HOME é.toml', "2024"
    _write(tmp_path / "studies" / study)
    (tmp_path / "here" / "sim").mkdir(parents=True)
    done = command("run", f"../studies/{study}", "--out", out, folder=tmp_path / "here")
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "here" / out / "report.html").is_file()


def test_braces_are_refused(tmp_path):
    """A brace in a name means something to the pipeline: said at once, for study and folder alike."""
    for study, out in (("{a}.toml", "out"), ("a.toml", "{out}")):
        _write(tmp_path / study)
        done = command("run", study, "--out", out, folder=tmp_path)
        assert done.returncode == 2
        assert "has a brace in its name" in done.stderr
        assert not (tmp_path / out).exists()


def test_another_study_into_the_same_folder(small_run, small_study, tmp_path):
    """Results are taken for a study's own only if they are: neither an older file nor another place hides a change."""
    out = tmp_path / "out"
    shutil.copytree(small_run, out)

    def planned(study):
        os.utime(study, (1e9, 1e9))
        done = subprocess.run(
            [sys.executable, "-m", "snakemake", "-n", "-s", ROOT / "Snakefile", "--cores", "2", "--config",
             f"study={study}", f"out={out}"],
            cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, check=True,
        )  # fmt: skip
        return done.stdout + done.stderr

    same = _write(tmp_path / "same.toml", small_study.read_text(encoding="utf-8"))
    assert "rule sample" not in planned(same)
    other = _write(tmp_path / "other.toml", SMALL.replace("7 m", "4 m"))
    assert "rule sample" in planned(other)


def test_what_the_results_rest_on(tmp_path):
    """The mark changes with any byte of a file and with the number of units, and with nothing else."""
    study, record = _write(tmp_path / "a.toml"), _write(tmp_path / "own.toml", "x = 1")
    files = [str(study), str(record)]

    def mark(units=None):
        path = Path(mark_inputs(tmp_path / "out", files, units))
        return path.read_text(encoding="ascii"), path.stat().st_mtime_ns

    first = mark()
    os.utime(study)
    assert mark() == first
    assert mark(7)[0] != first[0]
    assert mark()[0] == first[0]
    record.write_text("x = 2", encoding="utf-8")
    assert mark()[0] != first[0]


def test_results_of_a_namesake_are_not_replaced(tmp_path):
    """Two studies of one name share results/<name>: the second is refused until the folder is named."""
    one, two = _write(tmp_path / "one" / "same.toml"), _write(tmp_path / "two" / "same.toml")
    logs = tmp_path / "results" / "same" / "logs"
    logs.mkdir(parents=True)
    (logs / "study.path").write_text(str(one), encoding="utf-8")
    done = command("run", two, folder=tmp_path)
    assert done.returncode == 2
    assert f"its results folder, results/same, holds those of {one}" in done.stderr
    assert "--out results/same replaces them" in done.stderr


@pytest.mark.parametrize(("name", "told"), [("out", "Not a directory"), ("out/chunks", "chunks in it is not a folder")])
def test_a_file_where_a_folder_should_be(name, told, tmp_path):
    """A plain file in the way is named, in one message."""
    _write(tmp_path / name, "not a folder")
    _write(tmp_path / "small.toml")
    done = command("run", "small.toml", "--out", "out", folder=tmp_path)
    assert done.returncode == 1
    assert done.stderr.startswith(f"out: the results folder cannot be written: {told}")


@pytest.mark.parametrize(("number", "all_of_them"), [(signal.SIGINT, True), (signal.SIGTERM, False)])
def test_stopped(number, all_of_them, tmp_path):
    """Ctrl-C, or a signal to the command alone: exit code 130, a word how to go on, and nothing is left running."""
    _write(tmp_path / "small.toml", SMALL.replace("units = 24", "units = 400"))
    process = subprocess.Popen(
        [sys.executable, "-m", "sim.cli", "run", "small.toml", "--cores", "1", "--out", "out"],
        cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(ROOT)}, start_new_session=True,
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    logs = tmp_path / "out" / "logs"
    deadline = time.monotonic() + 60
    while not list(logs.glob("simulate-*.progress")) and time.monotonic() < deadline:
        time.sleep(0.05)
    (os.killpg if all_of_them else os.kill)(process.pid, number)
    _, said = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "stopped. Nothing is kept of 802 runs so far: start the same command again." in said
    deadline = time.monotonic() + 15
    while time.monotonic() < deadline:
        try:
            os.killpg(process.pid, 0)
        except ProcessLookupError:
            break
        time.sleep(0.1)
    else:
        pytest.fail("something of the run is still at work")
    assert not (tmp_path / "out" / "report.html").exists()
