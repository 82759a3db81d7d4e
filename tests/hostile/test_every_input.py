"""Whatever stands in a file: a result or exit code 2 with a message, and nothing touched that is nobody's to touch.

Every kind of file is spoilt by the words of its own language and given to the commands that read it, in a process
whose every file, process and connection is noted (:mod:`tests.hostile.room`). The short test draws the same inputs
each time; the long one others each time.
"""

import os
import re
import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.hostile.inputs import KINDS, lay_out, set_traps, spoilt, steps
from tests.hostile.room import MOST_GROWTH_MB, MOST_SECONDS, Room

pytestmark = pytest.mark.slow  # its limits of time want a quiet machine

FEW, MANY = 25, 3_000
"""Inputs of each kind in the short test, and in the long one."""
_UNPRINTABLE = re.compile(r"[\0-\x08\x0b-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\ufeff]")
_EACH = settings(
    deadline=None,
    database=None,
    max_examples=FEW,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
)


@pytest.fixture(scope="module")
def room():
    """One process for all inputs."""
    with Room() as one:
        yield one


@pytest.fixture(scope="module")
def folders():
    """Folder of the study with all traps, and the folder that may be written."""
    base = Path(tempfile.mkdtemp(prefix="hostile-"))
    study, out = base / "study", base / "out"
    study.mkdir()
    out.mkdir()
    set_traps(study)
    yield study, out
    shutil.rmtree(base)


def faults_of(done) -> list[str]:
    """What is wrong with what a command did; empty where nothing is."""
    wrong = [f"touched: {escape}" for escape in done.escapes]
    if done.trace:
        wrong.append(done.trace)
    if done.code not in (0, 2):
        wrong.append(f"exit code {done.code}: {done.err}")
    if done.code == 2 and not done.err.strip():
        wrong.append("no message")
    if "Traceback" in done.err + done.out:
        wrong.append("a traceback is printed")
    strange = _UNPRINTABLE.search(done.err + done.out)
    if strange:
        wrong.append(f"prints U+{ord(strange[0]):04X}: {done.err!r}"[:2_000])
    if done.seconds > MOST_SECONDS:
        wrong.append(f"{done.seconds:.0f} s of processor time")
    if done.grown_mb > MOST_GROWTH_MB:
        wrong.append(f"{done.grown_mb:.0f} MB more memory")
    return wrong


def tried(room, folders, name: str, first: int, command: int, spoils) -> list[str]:
    """Faults of one input, after which nothing may be left behind in the study's folder."""
    study, out = folders
    kind = KINDS[name]
    lay_out(kind, spoilt(kind, first, spoils), study)
    before = sorted(study.rglob("*"))
    words = [word.replace("OUT", str(out)) for word in kind.commands[command % len(kind.commands)]]
    wrong = faults_of(room.give(words, study, out))
    if sorted(study.rglob("*")) != before:
        wrong.append("the study's folder holds other files than before")
    for path in (study / kind.name, *(study / other for other, _ in kind.others)):
        path.unlink()
    return [f"{' '.join(words)}: {one}" for one in wrong]


_NUMBER = st.integers(0, 99)


@pytest.mark.parametrize("name", KINDS)
def test_spoilt_files_are_read_or_refused(name, room, folders):
    """Each spoilt file gives a result or exit code 2 with a message, and nothing else is touched."""

    @_EACH
    @given(_NUMBER, _NUMBER, steps())
    def check(first, command, spoils):
        assert tried(room, folders, name, first, command, spoils) == []

    check()


@pytest.mark.parametrize("name", KINDS)
def test_the_honest_files_are_read(name, room, folders):
    """What is spoilt in the other test is read, or handed on to the simulator, while it is honest."""
    study, out = folders
    kind = KINDS[name]
    lay_out(kind, kind.texts[0].encode(), study)
    for command in kind.commands:
        done = room.give([word.replace("OUT", str(out)) for word in command], study, out)
        assert faults_of(done) == []
        assert done.simulated or (done.code == 0 and done.out), done.err


@pytest.mark.slow
@pytest.mark.parametrize("name", KINDS)
def test_many_spoilt_files(name, room, folders):
    """The same for thousands of inputs of each kind, others each time."""

    @settings(_EACH, max_examples=int(os.environ.get("HOSTILE_MANY", MANY)), derandomize=False)
    @given(_NUMBER, _NUMBER, steps(6))
    def check(first, command, spoils):
        assert tried(room, folders, name, first, command, spoils) == []

    check()
