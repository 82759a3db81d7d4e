"""bandfloor try: a model on the bench from the command line."""

import pytest

from sim.cli import main
from tests.conftest import ROOT

MODELS = ROOT / "tests" / "opamp" / "models"


def test_a_model_with_its_record(capsys):
    """Pins, table, verdicts against the record, what it lacks and what makes its noise."""
    assert main(["try", str(MODELS / "full.lib"), "--like", "OPA2822", "--supply", "12 V"]) == 0
    said = capsys.readouterr().out
    assert "pins 1 = inp, 2 = inn, 3 = vcc, 4 = vee, 5 = out (from comments above the subcircuit), proved" in said
    row = next(line for line in said.splitlines() if line.strip().startswith("supply current"))
    assert row.split()[-4:] == ["6.102", "mA", "4.8", "agrees"]
    assert "supply 12 V" in said
    assert "- It is linear, so nothing it says about strong signals counts." in said
    assert "An AC sweep of 200 points took" in said


def test_pins_by_hand(capsys):
    """Pins given on the command line are taken, and the missing record is mentioned."""
    assert main(["try", str(MODELS / "swapped.lib"), "--pins", "out inn inp vee vcc"]) == 0
    said = capsys.readouterr().out
    assert "(from the pins given), proved" in said
    assert "--like PART" in said


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["README.md"], "README.md: does not end in .lib"),
        (["nowhere.lib"], "nowhere.lib: cannot be read: no such file"),
        ([str(MODELS / "full.lib"), "--supply", "400 V"], "--supply: "),
        ([str(MODELS / "full.lib"), "--like", "OPA0"], 'there is no op-amp "OPA0"'),
        ([str(MODELS / "swapped.lib")], 'It works with pins = "out inn inp vee vcc"'),
    ],
)
def test_bad_input(words, said, capsys):
    """What cannot be used is told with its reason; exit code 2."""
    assert main(["try", *words]) == 2
    assert said in capsys.readouterr().err
