"""What somebody meets who has the Python packages, but not the ngspice library."""

from pathlib import Path

import pytest

from tests.conftest import command

ROOT = Path(__file__).parent.parent.parent
STUDY = ROOT / "studies" / "marsh-square.toml"
DECK = ROOT / "circuits" / "decks" / "whip-buffer.cir"
MISSING = 'the ngspice shared library was not found under NGSPICE_LIBRARY_PATH="/none/libngspice.so".'


@pytest.mark.parametrize(
    "words",
    [("run", STUDY, "--out", "r"), ("export", STUDY, "sweep", "-o", "u.s2p"), ("judge", DECK)],
    ids=["run", "export", "judge"],
)
def test_commands_that_simulate_say_what_to_install(tmp_path, monkeypatch, words):
    """The message alone, exit code 1, and nothing written."""
    monkeypatch.setenv("NGSPICE_LIBRARY_PATH", "/none/libngspice.so")
    done = command(*words, folder=tmp_path)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.startswith(MISSING) and "apt-get install libngspice0" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "u.s2p").exists() and not (tmp_path / "r" / "logs").exists()


def test_version_says_which_library(tmp_path, monkeypatch):
    """By its full path where it is found, and that it is not where it is not; that is no error."""
    monkeypatch.delenv("NGSPICE_LIBRARY_PATH", raising=False)
    found = command("--version", folder=tmp_path).stdout.splitlines()[-1]
    assert found.startswith("ngspice library ") and "libngspice" in found and "not found" not in found
    monkeypatch.setenv("NGSPICE_LIBRARY_PATH", "/none/libngspice.so")
    done = command("--version", folder=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert 'ngspice library not found under NGSPICE_LIBRARY_PATH="/none/libngspice.so"' in done.stdout
