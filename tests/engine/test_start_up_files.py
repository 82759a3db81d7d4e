"""What lies in the folder of a command is not run when the simulator starts."""

import shutil
import subprocess

import pytest

from tests.conftest import ROOT, command

DECK = (ROOT / "tests" / "circuits" / "stability" / "s01_two_pole.cir").read_text(encoding="ascii")
SCRIPT = "shell touch ran\n"


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="there is no ngspice command here")
def test_plain_ngspice_runs_it(tmp_path):
    """Plain ngspice runs the commands of a .spiceinit in the current folder: this is what must not happen here."""
    (tmp_path / ".spiceinit").write_text(SCRIPT, encoding="ascii")
    (tmp_path / "deck.cir").write_text("* deck\nr1 a 0 1k\nv1 a 0 1\n.op\n.end\n", encoding="ascii")
    subprocess.run(["ngspice", "-b", "deck.cir"], cwd=tmp_path, capture_output=True, check=False, timeout=60)
    assert (tmp_path / "ran").exists()


@pytest.mark.parametrize("name", [".spiceinit", "spice.rc"])
def test_a_command_does_not(tmp_path, name):
    """A command given in such a folder answers as anywhere, and nothing of the file is run."""
    (tmp_path / name).write_text(SCRIPT, encoding="ascii")
    (tmp_path / "deck.cir").write_text(DECK, encoding="ascii")
    done = command("judge", "deck.cir", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert not (tmp_path / "ran").exists()
