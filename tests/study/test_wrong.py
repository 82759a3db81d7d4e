"""Studies that are wrong, each with all that is said about it, word for word.

wrong/NAME.toml is the study, wrong/NAME.txt the whole message.
"""

from pathlib import Path

import pytest

from sim.errors import StudyError
from sim.study.read import read_study

FOLDER = Path(__file__).parent / "wrong"
NAMES = sorted(path.stem for path in FOLDER.glob("*.toml"))


def test_every_wrong_study_has_its_message():
    """No study is without message, no message without study, and there are not suddenly few."""
    assert NAMES == sorted(path.stem for path in FOLDER.glob("*.txt"))
    assert len(NAMES) >= 40


@pytest.mark.parametrize("name", NAMES)
def test_whole_message(name, monkeypatch):
    """All faults of the file are said at once, each with line, key, what was found and what would do."""
    monkeypatch.chdir(FOLDER)
    with pytest.raises(StudyError) as caught:
        read_study(f"{name}.toml")
    assert str(caught.value) + "\n" == (FOLDER / f"{name}.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", NAMES)
def test_every_line_named_holds_what_is_said_of_it(name, monkeypatch):
    """The last word of a fault's key, or the table it stands in, is on the line that is named (hand check)."""
    monkeypatch.chdir(FOLDER)
    with pytest.raises(StudyError) as caught:
        read_study(f"{name}.toml")
    lines = (FOLDER / f"{name}.toml").read_text(encoding="utf-8").split("\n")
    for fault in caught.value.faults:
        if fault.line is None or fault.key is None or ".values." in fault.key:
            continue
        last = fault.key.split(".")[-1].replace('"', '\\"')
        above = next((word for word in reversed(fault.key.split(".")[:-1]) if not word.isdigit()), last)
        line = lines[fault.line - 1]
        assert last in line or (fault.found == "is missing." and above in line), (fault, line)
