"""bandfloor order: what it answers, writes and refuses."""

import json

import pandas as pd
import pytest

from sim.cli import main
from sim.columns import TABLES
from tests.small_studies import write_study

LIMITS = {"gain_db": "10.7 +- 0.6", "match_gain_db": "0 +- 0.2", "stable": "> 0.5"}
TABLES_OF = {
    "feedline": {"cable": "rg6-cu", "length": "30 m"},
    "bands": {"frequencies": ["3.53M"]},
    "run": {"units": 12, "build": 4},
    "limits": LIMITS,
}
FAST = ("--build", "2", "--builds", "20", "--no-reference", "--cores", "2")


@pytest.fixture(scope="module")
def ordered(tmp_path_factory):
    """An order of two boards with grades tried, and its folder."""
    folder = tmp_path_factory.mktemp("order")
    study = write_study(folder, **TABLES_OF, amplifier={"circuit": "transimpedance", "opamp": "OPA2822"})
    out = folder / "out"
    assert main(["order", str(study), *FAST, "--out", str(out)]) == 0
    return study, out, json.loads((out / "order.json").read_text(encoding="utf-8"))


def test_answer(ordered):
    """All boards of this design are good, so two are built, and every grade tried is told."""
    _, _, answer = ordered
    assert answer["wanted"] == {"use": 2, "reference": 0, "selection": 0, "good": 2}
    assert answer["boards"] == answer["independent_boards"] == 2 and answer["share"] == 1
    assert 0.8 < answer["share_low"] < 0.9  # 20 of 20: 0.025^(1/20) = 0.832 (Clopper and Pearson)
    assert answer["verdict"][0].startswith("Build 2 boards: 2 good ones were among them in 100 % of 20")
    assert {(one["part"], one["grade"]) for one in answer["grades"]} >= {("Cf", "1 %"), ("Cf", "5 %"), ("Ro", "5 %")}
    assert answer["reruns"] == len(answer["grades"]) + 1 <= 9
    looser = {one["part"]: one["grade"] for one in answer["grades"] if not one["tighter"]}
    assert answer["together"]["grades"] == looser and len(looser) > 1, "what costs no board alone was run together"
    assert any(note.startswith("All of them together, ") for note in answer["grade_notes"])
    assert any(note.startswith("Ro may be 5 %: boards needed stay 2") for note in answer["grade_notes"])
    assert any("left out: add --years and --losses" in note for note in answer["notes"])


def test_files(ordered):
    """order.csv has the columns of the register and a row a line of the purchase table."""
    _, out, answer = ordered
    table = pd.read_csv(out / "order.csv")
    assert tuple(table.columns) == TABLES["order.csv"] and len(table) == len(answer["items"])
    rows = table.set_index("parts")
    assert rows.loc["Cf", "pieces"] == 4 and rows.loc["Cf", "value"] == pytest.approx(10e-12, rel=1e-9, abs=0)
    assert rows.loc["R1, R2", "pieces"] == 6 and rows.loc["rg6-cu", "metres"] == 60
    assert rows["price_each"].isna().all(), "no price is invented"


def test_json_alone(ordered, capsys):
    """For programs the answer stands alone on standard output; it is the same on one core."""
    study, out, _ = ordered
    words = ["order", str(study), "--build", "2", "--builds", "20", "--no-grades", "--json"]
    assert main([*words, "--cores", "1", "--out", str(out.parent / "one")]) == 0
    printed = capsys.readouterr()
    answer = json.loads(printed.out)
    assert answer["grades"] == [] and answer["wanted"]["good"] == 3 and printed.err == ""
    assert main([*words, "--cores", "2", "--out", str(out.parent / "two")]) == 0
    assert json.loads(capsys.readouterr().out) == answer
    assert (out.parent / "one" / "order.json").read_bytes() == (out.parent / "two" / "order.json").read_bytes()


def test_no_number_of_boards(tmp_path, capsys):
    """A limit that next to no board keeps gives no number, no purchase table, and says what boards fail."""
    limits = {"match_gain_db": "0 +- 0.2", "gain_db": "> 14"}
    study = write_study(tmp_path, **TABLES_OF | {"limits": limits})
    assert main(["order", str(study), *FAST, "--no-grades", "--out", str(tmp_path / "out")]) == 0
    told = capsys.readouterr().out
    assert told.lstrip().startswith("No: no number of boards up to 18 gives 2 good ones in 95 % of builds")
    assert "Too few boards are good: 0 %." in told and "What boards fail: bench gain (100 % of boards)" in told
    assert pd.read_csv(tmp_path / "out" / "order.csv").empty


def test_the_report_shows_it(small_study, small_run, capsys):
    """With a run of the study in the folder the report gets the section; a new version of the study loses it."""
    from sim.report.page import write_report

    words = ["order", str(small_study), *FAST, "--no-grades", "--scenario", "1", "--out", str(small_run)]
    assert "What to order" not in (small_run / "report.html").read_text(encoding="utf-8")
    try:
        assert main(words) == 0
        told = capsys.readouterr().out
        assert f"Report: {small_run / 'report.html'}" in told and "with feedline.length = 130 m" in " ".join(
            told.split()
        )
        page = (small_run / "report.html").read_text(encoding="utf-8")
        assert "What to order" in page and "feedline, 2 pieces of 130 m" in page
        answer = json.loads((small_run / "order.json").read_text(encoding="utf-8"))
        (small_run / "order.json").write_text(json.dumps(answer | {"study_sha256": "0"}), encoding="utf-8")
        write_report(small_run)
        page = (small_run / "report.html").read_text(encoding="utf-8")
        assert "another version of this study" in page and "feedline, 2 pieces" not in page
    finally:
        (small_run / "order.json").unlink(missing_ok=True)
        (small_run / "order.csv").unlink(missing_ok=True)
        write_report(small_run)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--build", "501"], "--build: is 501."),
        (["--build", "2", "--confidence", "95"], "--confidence: 95 is out of range."),
        (["--build", "2", "--confidence", "much"], '--confidence: "much" is no quantity.'),
        (["--build", "2", "--builds", "5"], "--builds: is 5."),
        (["--build", "2", "--scenario", "1"], "--scenario: is 1, and the study has 0 to 0."),
        (["--build", "2", "--selection", "-1"], "--selection: is -1."),
        (["--build", "2", "--years", "10"], "--losses: is missing."),
        (["--build", "2", "--years", "-1", "--losses", "1"], "--years: -1 is out of range."),
        (["--build", "2", "--prices", "none.toml"], "none.toml: is no file."),
    ],
)
def test_refused(tmp_path, capsys, words, said):
    """What cannot be counted is refused with exit code 2, and nothing is written."""
    study = write_study(tmp_path, **TABLES_OF)
    assert main(["order", str(study), *words, "--out", str(tmp_path / "out")]) == 2
    assert said in capsys.readouterr().err and not (tmp_path / "out").exists()


def test_a_study_without_limits_is_refused(tmp_path, capsys):
    """Without limits nothing says which board is good, and what to add is told."""
    study = write_study(tmp_path, **TABLES_OF | {"limits": None})
    assert main(["order", str(study), *FAST, "--out", str(tmp_path / "out")]) == 2
    told = capsys.readouterr().err
    assert "limits: are not there, so nothing says which board is good." in told and "Add a table [limits]" in told
    assert not (tmp_path / "out").exists()
