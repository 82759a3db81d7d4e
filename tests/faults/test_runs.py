"""Runs that are really broken: killed, starved of disk, damaged, crashed; what they leave, and what comes of it.

The quick ones run by default; the rest, and the sweeps over many moments, are marked slow.
"""

import os
import re
import resource
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from sim.commands.held import Lock
from sim.tables import read_csv, read_parquet
from tests.conftest import ROOT
from tests.faults.undisturbed import (
    UNITS,
    at_work,
    begin,
    differences,
    ends,
    injected,
    litter,
    process_of,
    resumable_or_old,
    run,
    tiny_study,
    until,
)

linux = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="looks for processes in /proc")


@pytest.fixture(scope="module")
def study(tmp_path_factory) -> Path:
    """File of the tiny study."""
    return tiny_study(tmp_path_factory.mktemp("tiny"))


@pytest.fixture(scope="module")
def undisturbed(study) -> Path:
    """Results of a run that nothing happened to."""
    done = run(study, study.parent / "undisturbed")
    assert done.returncode == 0, done.stderr
    return study.parent / "undisturbed"


def _goes_on(study, out, undisturbed):
    """The same command completes, and nothing tells the results from those of an undisturbed run."""
    done = run(study, out)
    assert done.returncode == 0, done.stderr
    assert differences(out, undisturbed) == []
    assert litter(out) == []
    assert not list((out / "chunks").glob("*"))
    return done


def _broke_off(process, out, code=1):
    """The run ends with this code, in words that fit the folder, without a traceback, with nothing left at work."""
    _, said = process.communicate(timeout=60)
    assert process.returncode == code, said
    assert "Traceback" not in said
    assert resumable_or_old(out, said), said
    assert ends(out)
    return said


# ---------------------------------------------------------------------- killed


@linux
def test_a_killed_run_takes_everything_with_it(study, tmp_path):
    """Kill -9 of the command alone, while units are simulated: no process stays, and the folder is free at once."""
    out = tmp_path / "out"
    process = begin(study, out)
    process_of(out, "sim.steps.simulate")
    process.kill()
    process.communicate()
    assert ends(out)
    assert not (out / "report.html").exists()
    with Lock(out):
        pass


@linux
@pytest.mark.slow
@pytest.mark.parametrize("step", ["sample", "simulate", "summarise", "figures", "report"])
def test_a_killed_run_goes_on(study, undisturbed, tmp_path, step):
    """Kill -9 of the command alone, in any step, and the same command right after it: as if nothing had happened."""
    out = tmp_path / "out"
    process = begin(study, out)
    process_of(out, f"sim.steps.{step}")
    process.kill()
    process.communicate()
    _goes_on(study, out, undisturbed)


@linux
@pytest.mark.slow
@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
@pytest.mark.parametrize("step", ["sample", "simulate", "summarise", "figures", "report"])
def test_snakemake_killed(study, undisturbed, tmp_path, number, step):
    """The pipeline is killed under the command, in any step: said, nothing at work, and the same command completes."""
    out = tmp_path / "out"
    process = begin(study, out)
    process_of(out, f"sim.steps.{step}")
    os.kill(process_of(out, "-m snakemake"), number)
    _broke_off(process, out)
    _goes_on(study, out, undisturbed)


@linux
@pytest.mark.slow
@pytest.mark.parametrize("step", ["sample", "simulate", "summarise", "figures", "report"])
def test_a_worker_killed(study, undisturbed, tmp_path, step):
    """A step is killed as a system without memory does it: said so, and the same command completes."""
    out = tmp_path / "out"
    process = begin(study, out)
    os.kill(process_of(out, f"sim.steps.{step}"), signal.SIGKILL)
    said = _broke_off(process, out)
    assert f"the step '{step}" in said
    assert "was killed" in said
    _goes_on(study, out, undisturbed)


@linux
@pytest.mark.slow
def test_a_simulator_killed_once_costs_nothing(tmp_path):
    """The process that holds the simulator is killed from outside: its unit is tried again, the bits are the same."""
    study = tiny_study(tmp_path, units=300)
    done = run(study, tmp_path / "whole")
    assert done.returncode == 0, done.stderr
    out = tmp_path / "out"
    process = begin(study, out)
    # The youngest of the two that bear the step's name is the one that simulates.
    assert until(lambda: list((out / "logs").glob("*.progress")))
    simulators = [number for number, line in at_work(out).items() if "sim.steps.simulate" in line]
    os.kill(max(simulators), signal.SIGKILL)
    _, said = process.communicate(timeout=120)
    assert process.returncode == 0, said
    assert differences(out, tmp_path / "whole") == []


# ---------------------------------------------------------------------- the simulator fails

HARM = """
import ctypes, os, signal

def patch(module):
    plain = module.UnitWorker.__call__

    def call(self, item):
        if item.unit == 3:
            # No operating point exists: two sources hold one node at different volts.
            self._simulator.load(("two sources", "V1 a 0 1", "V2 a 0 2", "R1 a 0 1", ".end"))
            self._simulator.operating_point(("v(a)",))
        if item.unit == 5:
            ctypes.string_at(0)
        if item.unit == 7:
            self._simulator.command("quit")
        if item.unit == 9:
            os.kill(os.getpid(), signal.SIGKILL)
        return plain(self, item)

    module.UnitWorker.__call__ = call
"""


def test_units_that_fail_are_counted(study, undisturbed, tmp_path):
    """No operating point, a segment fault, a library that gives up, a kill at every try: four rows, else as ever."""
    out = tmp_path / "out"
    process = begin(study, out, injected(tmp_path, "sim.measures.unit", HARM))
    _, said = process.communicate(timeout=120)
    assert process.returncode == 0, said
    rows = read_csv(out / "failures.csv")
    assert list(rows["unit"]) == [3, 5, 7, 9]
    assert list(rows["stage"]) == ["simulate", "crash", "lost", "crash"]
    for reason, words in zip(rows["reason"], ["singular", "signal 11", "gave up at 'quit'", "signal 9"], strict=True):
        assert words in reason
    summary = read_csv(out / "summary.csv")
    limited = summary[summary["measure"] == "gain_db"]
    assert set(limited["units"]) == {UNITS}
    assert set(limited["passed"]) == {UNITS - 4}
    # A match is judged among the units that are left, and may differ.
    found, whole = (read_parquet(place / "measures.parquet") for place in (out, undisturbed))
    found, whole = (table[~table["measure"].astype(str).str.startswith("match_")] for table in (found, whole))
    whole = whole[~whole["unit"].isin([3, 5, 7, 9])]
    found = found[~found["unit"].isin([3, 5, 7, 9])]
    assert found.reset_index(drop=True).equals(whole.reset_index(drop=True))


# ---------------------------------------------------------------------- damaged, dated, taken away


def test_a_damaged_picture_is_made_again(study, undisturbed, tmp_path):
    """A picture cut short between two runs is named, removed and drawn again, with the report that shows it."""
    out = tmp_path / "out"
    shutil.copytree(undisturbed, out)
    os.truncate(out / "figures" / "envelope.svg", 1000)
    (out / "logs" / "summarise.log").write_text("not counted again", encoding="utf-8")
    assert "figures/envelope.svg: was damaged, and is made again" in _goes_on(study, out, undisturbed).stderr
    assert (out / "logs" / "summarise.log").read_text(encoding="utf-8") == "not counted again"


@pytest.mark.slow
@pytest.mark.parametrize(
    "name",
    ["units.parquet", "measures.parquet", "answer.json", "figures/envelope.svg", "figures/figures.json", "report.html"],
)
@pytest.mark.parametrize("size", [0, 7, None])
def test_any_damaged_file_is_made_again(study, undisturbed, tmp_path, name, size):
    """Emptied, cut short or gone: after the same command everything is as it was."""
    out = tmp_path / "out"
    shutil.copytree(undisturbed, out)
    (out / name).unlink() if size is None else os.truncate(out / name, size)
    _goes_on(study, out, undisturbed)


@linux
@pytest.mark.slow
@pytest.mark.parametrize("ending", [".npz", "-failures.csv", ".progress", ".seal"])
def test_a_damaged_chunk_is_simulated_again(tmp_path, ending):
    """Of two chunks one is damaged after the run was stopped: the other is kept, and the bits are the same."""
    study = tiny_study(tmp_path, units=400)
    done = run(study, tmp_path / "whole", cores=1)
    assert done.returncode == 0, done.stderr
    out = tmp_path / "out"
    process = begin(study, out, cores=1)
    # Which of the two comes first is the pipeline's choice.
    assert until(lambda: list((out / "logs").glob("simulate-*.seal")))
    process_of(out, "sim.steps.simulate")
    os.kill(process.pid, signal.SIGINT)
    said = _broke_off(process, out, 130)
    runs = re.search(r"(201|200|401) of 401 runs are kept", said)
    assert runs, said
    (first, *_) = [path.stem for path in (out / "logs").glob("simulate-*.seal")]
    chunk = first.removeprefix("simulate-")
    places = {".npz": "chunks", "-failures.csv": "chunks"}
    victim = out / places.get(ending, "logs") / (f"{chunk}{ending}" if ending in places else f"{first}{ending}")
    victim.write_bytes(b"")
    done = run(study, out, cores=1)
    assert done.returncode == 0, done.stderr
    assert differences(out, tmp_path / "whole") == []


@linux
@pytest.mark.slow
def test_a_stopped_run_does_not_do_again_what_it_kept(tmp_path):
    """Whole chunks are kept: they are not simulated a second time, whatever the clock says meanwhile."""
    study = tiny_study(tmp_path, units=400)
    out = tmp_path / "out"
    process = begin(study, out, cores=1)
    (kept,) = until(lambda: list((out / "logs").glob("simulate-*.seal")))
    process_of(out, "sim.steps.simulate")
    os.kill(process.pid, signal.SIGTERM)
    said = _broke_off(process, out, 130)
    before = kept.read_bytes()
    for path in (*out.rglob("*"), study):
        os.utime(path, (4e9, 4e9))
    log = out / "logs" / f"{kept.stem}.log"
    log.write_text("not simulated again", encoding="utf-8")
    assert "of 401 runs are kept" in said
    done = run(study, out, cores=1)
    assert done.returncode == 0, done.stderr
    assert log.read_text(encoding="utf-8") == "not simulated again"
    assert b'"runs": 20' in before


def test_results_of_the_future_do_not_hide_a_change(study, undisturbed, tmp_path):
    """A clock was ahead, is put right, and the study changes: plain Snakemake plans everything anew, as it should."""
    out = tmp_path / "out"
    shutil.copytree(undisturbed, out)
    for path in out.rglob("*"):
        os.utime(path, (4e9, 4e9))
    other = tmp_path / "other.toml"
    other.write_text(study.read_text(encoding="utf-8").replace("7 m", "4 m"), encoding="utf-8")
    os.utime(other, (1e9, 1e9))
    done = subprocess.run(
        [sys.executable, "-m", "snakemake", "-n", "-s", ROOT / "Snakefile", "--cores", "2", "--config",
         f"study={other}", f"out={out}"],
        cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert "rule sample" in done.stdout + done.stderr


@pytest.mark.slow
@pytest.mark.parametrize("when", [1e9, 4e9])
@pytest.mark.parametrize("what", ["study", "results", "both"])
def test_clocks_that_jump(study, undisturbed, tmp_path, when, what):
    """Study, results or both dated into the past or future: the same results, then those of the changed study."""
    out, own = tmp_path / "out", tmp_path / "tiny.toml"
    shutil.copytree(undisturbed, out)
    shutil.copy(study, own)
    (out / "report.html").unlink()

    def dated():
        for path in (*(out.rglob("*") if what != "study" else ()), *([own] if what != "results" else ())):
            os.utime(path, (when, when))

    dated()
    done = run(own, out)
    assert done.returncode == 0, done.stderr
    assert differences(out, undisturbed) == []
    own.write_text(study.read_text(encoding="utf-8").replace("7 m", "4 m"), encoding="utf-8")
    dated()
    assert run(own, out).returncode == 0
    assert run(own, tmp_path / "new").returncode == 0
    assert differences(out, tmp_path / "new") == []
    assert differences(out, undisturbed) != []


@linux
def test_the_folder_taken_away(study, tmp_path):
    """The results folder is deleted while the run is on: said in words, and nothing goes on writing."""
    out = tmp_path / "out"
    process = begin(study, out)
    process_of(out, "sim.steps.sample")
    shutil.rmtree(out, ignore_errors=True)
    said = _broke_off(process, out)
    assert f"{out}: the results folder was taken away while the run was on" in said


@linux
@pytest.mark.slow
def test_a_study_changed_under_its_run(tmp_path):
    """A study edited while it runs: the results may be of both, so there is no report, and the next run makes them."""
    study = tiny_study(tmp_path)
    out = tmp_path / "out"
    process = begin(study, out)
    process_of(out, "sim.steps.simulate")
    study.write_text(study.read_text(encoding="utf-8").replace("7 m", "4 m"), encoding="utf-8")
    _, said = process.communicate(timeout=60)
    assert process.returncode == 1
    assert "was changed while the run was on" in said
    assert not (out / "report.html").exists()
    assert run(study, out).returncode == 0
    assert run(study, tmp_path / "new").returncode == 0
    assert differences(out, tmp_path / "new") == []


@linux
def test_a_second_run_meanwhile(study, tmp_path):
    """It is refused and says by whom; the first goes on, until it is asked to stop."""
    out = tmp_path / "out"
    first = begin(study, out)
    assert until(lambda: (out / "logs" / "pipeline.log").exists())
    second = run(study, out)
    assert second.returncode == 1
    assert f"another run is writing these results (process {first.pid}); nothing was changed" in second.stderr
    os.kill(first.pid, signal.SIGTERM)
    _broke_off(first, out, 130)


# ---------------------------------------------------------------------- no room, no rights


@pytest.fixture
def small_disk(tmp_path):
    """A disk of 160 KiB, which root may mount."""
    place = tmp_path / "disk"
    place.mkdir()
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=160k", "tmpfs", str(place)], capture_output=True, text=True, check=False
    )
    if done.returncode:
        pytest.skip(f"no small disk can be mounted here: {done.stderr.strip()}")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=False, capture_output=True)


def _resized(place: Path, size: str):
    subprocess.run(["mount", "-o", f"remount,size={size}", str(place)], check=True, capture_output=True)


def test_a_full_disk(study, small_disk):
    """The results do not fit: said in one message, and nothing is half-written."""
    out = small_disk / "out"
    done = run(study, out)
    assert done.returncode == 1
    assert f"{out}: the disk is full" in done.stderr
    assert "Traceback" not in done.stderr
    assert litter(out) == []


@pytest.mark.slow
@pytest.mark.parametrize("room", ["8k", "16k", "32k", "48k", "64k", "96k", "128k", "256k", "384k", "512k", "640k"])
def test_any_full_disk(study, undisturbed, small_disk, room):
    """The disk is full at one file or another, or just not; in no case is there a file that is not whole."""
    out = small_disk / "out"
    _resized(small_disk, room)
    done = run(study, out)
    assert "Traceback" not in done.stderr
    if done.returncode:
        assert done.returncode == 1
        assert "disk is full" in done.stderr or "No space left on device" in done.stderr
        assert litter(out) == []
    _resized(small_disk, "20m")
    _goes_on(study, out, undisturbed)


@pytest.mark.slow
@pytest.mark.parametrize("kib", [4, 16, 64, 200])
def test_a_limit_on_the_size_of_files(study, undisturbed, tmp_path, kib):
    """As a full disk, for those who may not mount one: each file ends in an error at some size."""
    out = tmp_path / "out"
    limit = (kib * 1024, kib * 1024)
    done = run(study, out, preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, limit))
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    assert "limit on the size of files is reached" in done.stderr
    assert litter(out) == []
    _goes_on(study, out, undisturbed)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["HOME", "TMPDIR", "XDG_CACHE_HOME"])
@pytest.mark.parametrize("place", ["/proc/none", "/dev/null"])
def test_no_home_and_no_folder_for_temporary_files(study, undisturbed, tmp_path, name, place):
    """Neither is needed: what the pipeline needs meanwhile lies in the results, and is gone afterwards."""
    out = tmp_path / "out"
    process = begin(study, out, {name: place})
    _, said = process.communicate(timeout=120)
    assert process.returncode == 0, said
    assert differences(out, undisturbed) == []
    assert litter(out) == []


READ_ONLY = """
set -e
mount --bind {place} {place}
mount -o remount,ro,bind {place}
cd {place}
{command}
"""


def _in_read_only(place: Path, words: list[str]) -> subprocess.CompletedProcess:
    """A command given in a folder that only it cannot write."""
    script = READ_ONLY.format(place=place, command=" ".join(words))
    done = subprocess.run(
        ["unshare", "-m", "sh", "-c", script], capture_output=True, text=True, check=False, timeout=120,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    if "unshare" in done.stderr or "mount:" in done.stderr:
        pytest.skip(f"no folder can be made read-only here: {done.stderr.strip()}")
    return done


def test_results_that_cannot_be_written(study, undisturbed, tmp_path):
    """A results folder without rights to write: said at once, and the old results are untouched."""
    out = tmp_path / "out"
    shutil.copytree(undisturbed, out)
    done = _in_read_only(out, [sys.executable, "-m", "sim.cli", "run", str(study), "--out", str(out)])
    assert done.returncode == 1
    assert done.stderr.startswith(f"{out}: the results folder cannot be written: Read-only file system.")
    assert differences(out, undisturbed) == []


@pytest.mark.slow
def test_a_command_given_where_nothing_can_be_written(study, undisturbed, tmp_path):
    """The results lie elsewhere, so the folder in which the command is given need not be writable."""
    here, out = tmp_path / "here", tmp_path / "out"
    here.mkdir()
    done = _in_read_only(here, [sys.executable, "-m", "sim.cli", "run", str(study), "--out", str(out)])
    assert done.returncode == 0, done.stderr
    assert differences(out, undisturbed) == []


# ---------------------------------------------------------------------- Ctrl-C


@linux
@pytest.mark.slow
@pytest.mark.parametrize("moment", range(40))
def test_ctrl_c_at_any_moment(study, undisturbed, tmp_path, moment):
    """Ctrl-C at 40 moments from start to report: 130, or 0 where all was done; words that fit; the same bits after."""
    out = tmp_path / "out"
    process = begin(study, out)
    words = ("sim.steps.sample", "sim.steps.simulate", "sim.steps.summarise", "sim.steps.figures", "sim.steps.report")
    step, later = divmod(moment, 8)
    process_of(out, words[step])
    # Each step is met at eight moments from its first to about its last.
    until(lambda: False, 0.17 * later)
    os.killpg(process.pid, signal.SIGINT)
    _, said = process.communicate(timeout=60)
    assert "Traceback" not in said
    assert ends(out)
    if process.returncode:
        assert process.returncode == 130
        assert resumable_or_old(out, said), said
    else:
        assert differences(out, undisturbed) == []
    _goes_on(study, out, undisturbed)


@linux
@pytest.mark.slow
@pytest.mark.parametrize("later_s", [0.02, 0.1, 0.2, 0.3, 0.5, 0.7, 0.9, 1.2])
def test_ctrl_c_before_the_first_step(study, tmp_path, later_s):
    """While the program is still loading, or reads the study: no traceback, nothing at work, nothing half-written."""
    out = tmp_path / "out"
    process = begin(study, out)
    until(lambda: False, later_s)
    os.killpg(process.pid, signal.SIGINT)
    _, said = process.communicate(timeout=60)
    # Before it can answer it ends by the signal itself, which shells call 130, too.
    assert process.returncode in (130, -signal.SIGINT)
    assert "sim/" not in said
    assert ends(out)
    assert litter(out) == []


@linux
@pytest.mark.slow
def test_ctrl_c_leaves_old_results(study, undisturbed, tmp_path):
    """A changed study is stopped before its first step: the old results are there, all of them, and are said to be."""
    out, other = tmp_path / "out", tmp_path / "tiny.toml"
    shutil.copytree(undisturbed, out)
    other.write_text(study.read_text(encoding="utf-8").replace("7 m", "4 m"), encoding="utf-8")
    process = begin(other, out)
    process_of(out, "-m snakemake")
    os.killpg(process.pid, signal.SIGINT)
    said = _broke_off(process, out, 130)
    assert f"The old results in {out} are untouched" in said
    assert differences(out, undisturbed) == []


@linux
@pytest.mark.slow
def test_ctrl_c_pressed_again_and_again(study, undisturbed, tmp_path):
    """An impatient hand changes nothing: one answer, no traceback."""
    out = tmp_path / "out"
    process = begin(study, out)
    process_of(out, "sim.steps.simulate")

    def press():
        os.killpg(process.pid, signal.SIGINT)
        return process.poll() is not None

    until(press, 20)
    said = _broke_off(process, out, 130)
    assert said.count("stopped.") == 1
    _goes_on(study, out, undisturbed)


def test_stopped_while_listing(tmp_path):
    """Standard output that takes nothing (a full disk behind it) ends in words."""
    with open("/dev/full", "w", encoding="ascii") as full:
        done = subprocess.run(
            [sys.executable, "-m", "sim.cli", "list", "opamps"], stdout=full, stderr=subprocess.PIPE, text=True,
            env={**os.environ, "PYTHONPATH": str(ROOT)}, check=False,
        )  # fmt: skip
    assert done.returncode == 1
    assert done.stderr == "No space left on device\n"
