"""bandfloor match: choice, places and spares as a builder reads them, and what it refuses."""

import json

import numpy as np
import pytest

from sim.cli import main
from sim.measured.touchstone import touchstone_text
from tests.conftest import ROOT

STUDY = str(ROOT / "studies" / "square-array.toml")


@pytest.fixture
def sweeps(tmp_path):
    """Twelve units; the first four alike to a hundredth of a decibel, the others not."""
    rng = np.random.default_rng(6)
    freq_hz, names = np.geomspace(0.5e6, 10e6, 41), []
    for unit in range(12):
        error = 10 ** (rng.normal(0, 0.005 if unit < 4 else 0.3) / 20)
        s = np.zeros((41, 2, 2), dtype=complex)
        s[:, 1, 0] = 3 * error * np.exp(1j * (3 - freq_hz / 2e7))
        path = tmp_path / f"unit-{unit + 1:02d}.s2p"
        path.write_text(touchstone_text(freq_hz, s, reference=50.0), encoding="ascii")
        names.append(str(path))
    return names


def test_choice_in_words(sweeps, capsys):
    """The four alike units are taken, and it is said that nothing better exists."""
    assert main(["match", *sweeps, "--pick", "4"]) == 0
    told = capsys.readouterr().out
    assert "Take: unit-01, unit-02, unit-03, unit-04." in told
    assert "No other choice is better" in told and "repeatability was not given" in told
    assert len(told.splitlines()) <= 24


def test_places_with_a_study(sweeps, capsys):
    """With the study's array every place has a unit and a spare, every band and direction its front to back."""
    assert main(["match", *sweeps, "--study", STUDY, "--arrays", "2", "--repeatability", "0.01 dB", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert len(answer["sets"]) == 2 and len(answer["left_over"]) == 4
    first = answer["sets"][0]
    assert {unit["unit"] for unit in first["units"]} == {"unit-01", "unit-02", "unit-03", "unit-04"}
    assert [unit["place"] for unit in first["units"]] == [[0, 0], [0, 20], [20, 0], [20, 20]]
    assert all(unit["spare"] in answer["left_over"] for unit in first["units"])
    assert len(first["expected"]) == 6 and all(one["p05_db"] < one["p50_db"] for one in first["expected"])
    assert main(["match", *sweeps, "--study", STUDY]) == 0
    assert len(capsys.readouterr().out.splitlines()) <= 40


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ([], "--pick: is missing"),
        (["--pick", "1"], "--pick: is 1"),
        (["--pick", "13"], "needs 1 × 13 units, and there are sweeps of 12"),
        (["--pick", "5", "--study", STUDY], "the array of the study has 4 elements"),
        (["--pick", "4", "--arrays", "0"], "--arrays: is 0"),
        (["--pick", "4", "--repeatability", "1 m"], "--repeatability"),
    ],
)
def test_what_is_refused(sweeps, more, said, capsys):
    """Exit code 2 and a remedy."""
    assert main(["match", *sweeps, *more]) == 2
    assert said in capsys.readouterr().err


def test_sweeps_that_do_not_go_together(sweeps, tmp_path, capsys):
    """The same unit twice, another reference, all bad files at once."""
    assert main(["match", sweeps[0], sweeps[0], "--pick", "2"]) == 2
    assert "has the name of another sweep" in capsys.readouterr().err
    other = tmp_path / "other.s2p"
    other.write_text("# MHz S RI R 75\n1 0 0 1 0 0 0 0 0\n9 0 0 1 0 0 0 0 0\n", encoding="ascii")
    assert main(["match", sweeps[0], str(other), "--pick", "2"]) == 2
    assert "Measure all units on one set-up" in capsys.readouterr().err
    assert main(["match", sweeps[0], "a.s2p", "b.s2p", "--pick", "2"]) == 2
    told = capsys.readouterr().err
    assert "a.s2p" in told and "b.s2p" in told
