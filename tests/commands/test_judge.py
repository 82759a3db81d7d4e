"""bandfloor judge as its users meet it: words, JSON, pictures, refusals."""

import json
from pathlib import Path

import pytest

from tests.conftest import command

DECKS = Path(__file__).parent.parent / "circuits" / "stability"
KEYS = {
    "deck",
    "stable",
    "unresolved",
    "encirclements",
    "stability_margin",
    "margin_frequency_hz",
    "phase_margin_deg",
    "gain_margin_db",
    "poles",
}


def test_the_answer_for_programs_has_the_agreed_keys(tmp_path):
    """JSON stands alone on standard output, with every agreed key; a verdict of "not stable" is no error."""
    done = command("judge", DECKS / "u12_coax_open_crit.cir", "--json", folder=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    found = json.loads(done.stdout)
    assert set(found) >= KEYS
    assert found["deck"].endswith("u12_coax_open_crit.cir")
    assert (found["stable"], found["unresolved"], found["encirclements"]) == (False, False, [-2])
    ((growth, freq),) = found["poles"]
    assert growth == pytest.approx(1.369e6, rel=0.05)
    assert freq == pytest.approx(6.636e7, rel=0.01)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("deck", "opening", "also"),
    [
        ("s10_tia_cf", "Stable: no pole in the right half plane", "dies away"),
        ("s04_conditional_stable", "Stable, but thinly:", "stable only while the gain stays high enough"),
        ("u26_hidden_second_stage", "Not stable: 2 unstable poles in the right half plane. It oscillates.", "no locus"),
        (
            "u25_inner_loop_latch",
            "Not stable: 1 unstable pole in the right half plane. It runs away",
            "another voltage",
        ),
    ],
)
def test_the_verdict_comes_first_in_words(tmp_path, deck, opening, also):
    """Whoever reads one line has the verdict; cautions follow."""
    done = command("judge", DECKS / f"{deck}.cir", folder=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    name, _, verdict, *rest = done.stdout.strip().splitlines()
    assert name.endswith(f"{deck}.cir")
    assert verdict.startswith(opening)
    assert also in " ".join(line.strip() for line in rest)


def test_pictures_are_written_where_they_are_asked_for(tmp_path):
    """Locus and kick as SVG, named after the deck."""
    done = command("judge", DECKS / "s24_inner_loop_unstable_outer_closed.cir", "--out", "seen/here", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    stem = "s24_inner_loop_unstable_outer_closed"
    assert sorted(path.name for path in (tmp_path / "seen" / "here").iterdir()) == [
        f"{stem}-kick.svg",
        f"{stem}-locus.svg",
    ]
    assert all("<svg" in path.read_text(encoding="utf-8") for path in (tmp_path / "seen" / "here").iterdir())


def test_feedlines_are_told_worst_first(tmp_path):
    """Words name how many of how many, then the worst; JSON lists all; the map is drawn."""
    deck = DECKS.parents[2] / "circuits" / "decks" / "whip-buffer.cir"
    done = command("judge", deck, "--lines", "--out", ".", folder=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    lines = done.stdout.strip().splitlines()
    assert lines[3] == "On feedlines: not stable with 26 of 435 in place of the 75 Ω at out."
    assert "oscillates near" in lines[5]
    assert (tmp_path / "whip-buffer-lines.svg").exists()
    found = json.loads(command("judge", deck, "--lines", "--json", folder=tmp_path).stdout)
    assert (found["stable"], len(found["lines"])) == (True, 435)
    assert [load["stable"] for load in found["lines"][:26]] == [False] * 26
    assert sum(load["unstable_poles"] > 0 for load in found["lines"]) == 26


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("t\nR1 a 0 1\n.end\n", "d.cir: carries no probe, so there is no loop to judge."),
        ("t\nVprb a b 0\nIprb 0 b 0\nR1 a b 1\n.control\nshell touch bad\n.endc\n.end\n", "opens a control section"),
        ("t\nVprb a b 0\nIprb 0 b 0\nR1 a b 1\n.include x\n.end\n", "d.cir, line 5: "),
    ],
)
def test_bad_decks_are_refused_with_what_would_do(tmp_path, text, message):
    """Exit code 2, the message on standard error, nothing run and nothing written."""
    (tmp_path / "d.cir").write_text(text, encoding="ascii")
    done = command("judge", "d.cir", "--json", folder=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert message in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["d.cir"]


def test_a_deck_that_is_not_there(tmp_path):
    """A wrong name is bad input."""
    done = command("judge", "none.cir", folder=tmp_path)
    assert done.returncode == 2
    assert done.stderr == "none.cir: cannot be read: no such file or directory.\n  Name an existing deck.\n"


def test_a_deck_that_does_not_simulate_is_no_verdict(tmp_path):
    """Two sources across each other: exit code 1 and the simulator's reason, never "stable"."""
    (tmp_path / "d.cir").write_text("t\nVprb a b 0\nIprb 0 b 0\nR1 a b 1\nV1 b 0 1\nV2 b 0 2\n.end\n", encoding="ascii")
    done = command("judge", "d.cir", folder=tmp_path)
    assert (done.returncode, done.stdout) == (1, "")
    assert "the simulator gave no result" in done.stderr


def test_a_node_of_the_feedline_without_a_feedline(tmp_path):
    """An option that would have no effect is refused, not passed over."""
    done = command("judge", DECKS / "u12_coax_open_crit.cir", "--output", "out", folder=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith('bandfloor judge, --output: names the node of a feedline, "out", and no feedline')
    assert "Add --lines" in done.stderr
