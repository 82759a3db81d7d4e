"""What a run holds: its folder, its processes, and its own end."""

import multiprocessing
import os
import signal
import subprocess
import sys
import time

import pytest

from sim.commands.held import Asked, Lock, asked_to_stop, end, start
from sim.engine.isolate import isolated
from sim.engine.leash import TIED, end_with_pipeline
from sim.errors import BandfloorError
from tests.conftest import ROOT
from tests.faults.undisturbed import until

linux = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux tells of a parent's end")


@pytest.fixture
def out(tmp_path):
    """A results folder."""
    (tmp_path / "logs").mkdir()
    return tmp_path


def _alive(number: int) -> bool:
    try:
        with open(f"/proc/{number}/stat", encoding="ascii") as file:
            return file.read().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


def test_the_second_is_refused_and_told_by_whom(out):
    """As long as the first is at work, the folder is taken; afterwards it is free, and nothing needs clearing away."""
    with Lock(out):
        with pytest.raises(BandfloorError, match=rf"another run is writing these .*process {os.getpid()}.*nothing was"):
            Lock(out).__enter__()
    with Lock(out):
        pass


def test_leftovers_of_a_killed_run_are_waited_for(out):
    """The holder named in the lock is gone, a process of it still holds the lock: a moment later it is ours."""
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    with Lock(out) as lock:
        left = subprocess.Popen(["sleep", "0.5"], pass_fds=(lock.descriptor,))
        (out / "logs" / "run.lock").write_text(str(gone.pid), encoding="ascii")
    with Lock(out):
        assert left.poll() is not None or not _alive(left.pid)
    left.wait()


def test_a_folder_taken_away_is_noticed(out):
    """Removed, or removed and made again: the lock is no longer that of the folder of this name."""
    path = out / "logs" / "run.lock"
    with Lock(out) as lock:
        assert not lock.lost()
        path.rename(out / "elsewhere")
        assert lock.lost()
        path.write_text("", encoding="ascii")
        assert lock.lost()


def test_a_folder_that_cannot_be_written(tmp_path):
    """No folder for the lock: an error in words."""
    with pytest.raises(BandfloorError, match=r"run\.lock: cannot be written"):
        Lock(tmp_path / "none").__enter__()


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_signals_are_counted_and_given_back(number):
    """Inside, signals raise nothing anywhere; outside they mean what they meant before."""
    before = signal.getsignal(number)
    with asked_to_stop() as asked:
        os.kill(os.getpid(), number)
        os.kill(os.getpid(), number)
        assert until(lambda: asked.times == 2, 5)
    assert signal.getsignal(number) is before


def test_a_signal_that_is_ignored_stays_so():
    """Under nohup a closed terminal does not end a run."""
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with asked_to_stop() as asked:
            os.kill(os.getpid(), signal.SIGHUP)
            time.sleep(0.05)
            assert asked.times == 0
    finally:
        signal.signal(signal.SIGHUP, before)


STUBBORN = """
import os, signal, sys, time
signal.signal(signal.SIGINT, signal.SIG_IGN)
if os.fork() == 0:
    print(os.getpid(), flush=True)
    time.sleep(60)
time.sleep({lasts})
"""


@pytest.mark.parametrize("lasts", [0, 60])
def test_nothing_is_left_of_a_pipeline(out, lasts, monkeypatch):
    """Ended already or deaf to Ctrl-C: neither it nor what it started is at work afterwards."""
    monkeypatch.setattr("sim.commands.held.KINDLY_S", 0.3)
    with Lock(out) as lock, open(out / "log", "wb") as log:
        process = start([sys.executable, "-c", STUBBORN.format(lasts=lasts)], log, dict(os.environ), lock)
        child = until(lambda: int((out / "log").read_text() or 0))
        assert _alive(child)
        end(process, Asked())
    assert process.returncode is not None
    assert not _alive(child)


def test_who_asks_twice_does_not_wait(out):
    """A second Ctrl-C ends by force what the first asked kindly."""
    with Lock(out) as lock, open(out / "log", "wb") as log, asked_to_stop() as asked:
        process = start([sys.executable, "-c", STUBBORN.format(lasts=60)], log, dict(os.environ), lock)
        until(lambda: int((out / "log").read_text() or 0))
        signal.signal(signal.SIGALRM, lambda *_: os.kill(os.getpid(), signal.SIGINT))
        signal.setitimer(signal.ITIMER_REAL, 0.2)
        begun = time.monotonic()
        end(process, asked)
        assert time.monotonic() - begun < 7
    assert process.returncode == -signal.SIGKILL


ORPHAN = """
import os, subprocess, sys, time
from pathlib import Path
from sim.commands.held import Lock, start
out = Path(sys.argv[1])
with Lock(out) as lock, open(out / "log", "wb") as log:
    process = start(["sleep", "60"], log, dict(os.environ), lock)
    print(process.pid, flush=True)
    time.sleep(60)
"""


@linux
def test_the_pipeline_ends_with_a_run_that_is_killed(out):
    """Kill -9 of the run alone takes the pipeline with it, and frees the folder."""
    parent = subprocess.Popen(
        [sys.executable, "-c", ORPHAN, str(out)], stdout=subprocess.PIPE, env={**os.environ, "PYTHONPATH": str(ROOT)}
    )
    child = int(parent.stdout.readline())
    assert _alive(child)
    parent.kill()
    parent.communicate()
    assert until(lambda: not _alive(child), 5)
    with Lock(out):
        pass


def _hang(shared):
    def work(_):
        shared.put(os.getpid())
        time.sleep(60)

    list(isolated(lambda: work, [1]))


@linux
def test_a_hanging_unit_ends_with_its_step():
    """A child that is deep in the simulator does not outlive the step that is killed."""
    context = multiprocessing.get_context("fork")
    shared = context.SimpleQueue()
    step = context.Process(target=_hang, args=(shared,))
    step.start()
    child = shared.get()
    assert _alive(child)
    step.kill()
    step.join()
    assert until(lambda: not _alive(child), 5)


@linux
def test_a_step_whose_pipeline_is_gone_ends_at_once():
    """The pipeline's number in the environment is not the parent's: it ended before the step could tie itself to it."""
    step = multiprocessing.get_context("fork").Process(target=_tied, args=("1",))
    step.start()
    step.join(10)
    assert step.exitcode == 1


def _tied(number: str):
    os.environ[TIED] = number
    end_with_pipeline()
    os._exit(0)


def test_a_step_typed_by_hand_is_tied_to_nothing(monkeypatch):
    """Without the pipeline's number a step goes on when the shell that started it is closed."""
    monkeypatch.delenv(TIED, raising=False)
    end_with_pipeline()
