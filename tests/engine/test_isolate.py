"""A crash, a hang or a lost library costs one item, and all others are done."""

import os
import signal
import time

import pytest

from sim.engine.isolate import Failed, isolated
from sim.engine.ngspice import LibraryLost, Simulator, UnitFailed
from sim.errors import EngineError, SetupError


def _worker(guilty=(), deed=None):
    def make():
        def work(item):
            if item in guilty:
                deed(item)
            return item * 10

        return work

    return make


def _die(_):
    os.kill(os.getpid(), signal.SIGKILL)


def _fail(_):
    raise UnitFailed("no convergence")


def _lose(_):
    raise LibraryLost("exit callback")


def _break(_):
    raise ZeroDivisionError("bug")


def _hang(_):
    time.sleep(60)


@pytest.mark.parametrize(
    ("deed", "stage", "words"),
    [(_die, "crash", "signal 9"), (_fail, "simulate", "no convergence"), (_lose, "lost", "exit callback")],
)
def test_only_the_guilty_item_fails(deed, stage, words):
    """Two guilty items, one of them last: both are written down, everything else has its result, in order."""
    answers = dict(isolated(_worker((2, 5), deed), range(6)))
    assert list(answers) == list(range(6))
    for item in (2, 5):
        assert isinstance(answers[item], Failed)
        assert answers[item].stage == stage
        assert words in answers[item].reason
    assert [answers[item] for item in (0, 1, 3, 4)] == [0, 10, 30, 40]


def test_a_hanging_item_is_stuck_and_the_rest_goes_on():
    """Silence is a failure of the item that was at work."""
    answers = dict(isolated(_worker((1,), _hang), range(3), patience_s=0.3))
    assert answers[1].stage == "stuck"
    assert (answers[0], answers[2]) == (0, 20)


def test_a_crash_that_does_not_come_again_costs_nothing(tmp_path):
    """An item is tried twice: a process killed from outside loses no result."""
    mark = tmp_path / "seen"

    def once(_):
        if not mark.exists():
            mark.write_text("x")
            os.kill(os.getpid(), signal.SIGKILL)

    assert dict(isolated(_worker((1,), once), range(3))) == {0: 0, 1: 10, 2: 20}


def test_a_bug_is_not_a_failed_unit():
    """An error that is not about the item stops the run and shows where it came from."""
    with pytest.raises(EngineError, match="ZeroDivisionError: bug"):
        dict(isolated(_worker((1,), _break), range(3)))


def test_a_missing_library_is_said_without_a_trace(monkeypatch):
    """What the user has to install comes as the message itself, not inside a worker's traceback."""
    monkeypatch.setenv("NGSPICE_LIBRARY_PATH", "/none/libngspice.so")
    with pytest.raises(SetupError) as caught:
        dict(isolated(Simulator, range(3)))
    said = str(caught.value)
    assert said.startswith('the ngspice shared library was not found under NGSPICE_LIBRARY_PATH="/none/libngspice.so"')
    assert "Traceback" not in said and "libngspice0" in said
