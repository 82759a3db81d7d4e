"""A maker's op-amp model in a study: from the file beside it to the answer, the tables and the page."""

import json
import re
import shutil

import numpy as np
import pytest

from sim.cli import main
from sim.deck.build import DIE_COLUMNS, chain_of, unit_table
from sim.deck.maker.of_study import record_of
from sim.engine.ngspice import UnitFailed, batch
from sim.errors import StudyError
from sim.steps.cautions import cautions
from sim.steps.layout import study_inputs
from sim.steps.maker import noise_names, unused_words
from sim.study.read import read_study, study_text
from sim.study.scenarios import scenarios
from sim.tables import read_csv
from tests.conftest import ROOT, command
from tests.small_studies import answers, export, measured, write_study

MODELS = ROOT / "tests" / "opamp" / "models"
SHORT = {"cable": "rg6-ccs", "length": "60 m"}


def study_with(folder, name: str, words: dict | None = None, **tables):
    """A small study whose op-amp is a test model that lies beside it."""
    shutil.copy(MODELS / name, folder)
    amplifier = {"circuit": "transimpedance", "opamp": name, **({"model": words} if words else {})}
    return write_study(folder, amplifier=amplifier, feedline=SHORT, **tables)


def test_reads_and_writes_back(tmp_path):
    """The table of the model reads, and the study written out reads back as the same."""
    path = study_with(tmp_path, "full.lib", {"like": "OPA2822", "subcircuit": "TESTAMP-A"})
    study = read_study(path)
    again = tmp_path / "again.toml"
    again.write_text(study_text(study), encoding="utf-8")
    assert read_study(again) == study
    assert record_of(study).part == "OPA2822"
    assert any(str(tmp_path / "full.lib") == name for name in study_inputs(str(path)))


@pytest.mark.parametrize(
    ("opamp", "said"),
    [
        ("../full.lib", "lies outside the study's folder"),
        ("missing.mod", 'there is no file "missing.mod" in the study\'s folder'),
        ("model.exe/", "does not end in .toml"),
    ],
)
def test_names_of_files(tmp_path, opamp, said):
    """A model lies in the study's folder or below it, like every other file of a study."""
    folder = tmp_path / "inner"
    folder.mkdir()
    shutil.copy(MODELS / "full.lib", tmp_path)
    path = write_study(folder, amplifier={"circuit": "transimpedance", "opamp": opamp})
    with pytest.raises(StudyError, match=re.escape(said)):
        read_study(path)


def test_plain_ngspice_agrees(tmp_path):
    """The exported deck of the nominal unit, run by plain ngspice, shows the same gain, phase and noise."""
    path = study_with(tmp_path, "full.lib", {"like": "OPA2822"})
    ((values),) = measured(path)
    said = batch(export(path, "netlist"), tmp_path)
    for name, shown in (("gain_db", "gain_db"), ("phase_deg", "phase_deg"), ("output_noise_nv", "output_noise_nv")):
        for k, value in enumerate(np.atleast_1d(values[name]), start=1):
            found = float(re.search(rf"^{shown}_{k} *= *(\S+)", said, re.MULTILINE)[1])
            assert found == pytest.approx(value, rel=1e-4), (name, k)


def test_noise_inside_is_the_opamps(tmp_path):
    """All noise sources of the model together are one contributor; with the others they make up the total."""
    path = study_with(tmp_path, "full.lib")
    (answer,) = answers(path, contributors=True)
    names = noise_names(chain_of(read_study(path)))
    assert set(names.values()) == {"Xamp noise"}
    inside = [name for name in answer.contributions if name in names and np.any(answer.contributions[name] > 0)]
    assert {"rxamp_rn1", "rxamp_rn4", "rxamp_rn5", "dxamp_dn1"} <= set(inside)
    assert "rxamp_ro" not in inside
    # rn1 stands for the voltage noise, rn5 for the current noise of the input at the feedback.
    inside.sort(key=lambda name: answer.contributions[name].max())
    assert set(inside[-2:]) == {"rxamp_rn1", "rxamp_rn5"}


def test_one_die(tmp_path):
    """Parts are drawn as with a catalogue part, the die is not drawn at all."""
    path = study_with(tmp_path, "full.lib", vary={"amplifier.opamp": ["OPA2822", "full.lib"]})
    units = np.arange(6)
    record, maker = (unit_table(s.study, chain_of(s.study), units) for s in scenarios(read_study(path)))
    assert set(record) - set(maker) == {f"Xamp.{name}" for name in DIE_COLUMNS}
    assert all(np.array_equal(record[name], maker[name]) for name in maker)


def test_what_is_not_checked_is_said(tmp_path):
    """Without a record no rating is checked, and a caution says so; with one a supply out of range fails the unit."""
    supply = {"voltage": "30 V"}
    bare = study_with(tmp_path, "full.lib", supply=supply)
    said = " ".join(cautions(scenarios(read_study(bare))[0].study))
    assert "TESTAMP-A is a maker's model (full.lib): the same die in all units" in said
    assert "are not checked, since no model tells them" in said
    assert measured(bare)
    rated = study_with(tmp_path, "full.lib", {"like": "OPA2822"}, supply=supply)
    assert "not checked" not in " ".join(cautions(scenarios(read_study(rated))[0].study))
    with pytest.raises(UnitFailed, match="OPA2822 .Xamp. would stand on"):
        measured(rated)


def test_words_for_no_model_are_said(tmp_path):
    """A table for a maker's file beside a catalogue part does nothing, and that is said."""
    words = {"circuit": "transimpedance", "opamp": "OPA2822", "model": {"pins": "inp inn vcc vee out"}}
    every = scenarios(read_study(write_study(tmp_path, amplifier=words)))
    assert unused_words(every) == [
        "[amplifier.model] says how to read a maker's file, and OPA2822 is none: left aside."
    ]
    assert unused_words(scenarios(read_study(study_with(tmp_path, "full.lib")))) == []


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("swapped.lib", 'It works with pins = "out inn inp vee vcc"'),
        ("laplace.lib", "LAPLACE stops the simulator"),
        ("stuck.lib", "it has no operating point"),
        ("encrypted.lib", "the model is encrypted"),
    ],
)
def test_a_bad_model_is_told_before_all_else(tmp_path, capsys, name, said):
    """A run with a bad model ends with its reason and exit code 2, and writes nothing."""
    out = tmp_path / "out"
    assert main(["run", str(study_with(tmp_path, name)), "--out", str(out)]) == 2
    assert said in capsys.readouterr().err
    assert not out.exists()


def test_check_shows_the_pins_and_runs_nothing(tmp_path, capsys):
    """The explanation names file, pins and where they come from."""
    assert main(["check", str(study_with(tmp_path, "swapped.lib"))]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "one die" in said
    assert "swapped.lib" in said
    assert "TESTAMP-C" in said


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """Results folder of a run with the model that makes no noise, and what the terminal said."""
    folder = tmp_path_factory.mktemp("maker")
    path = study_with(folder, "linear.mod", run={"units": 3}, limits={"noise_margin_db": "> 10"})
    done = command("run", str(path), "--cores", "1", "--out", str(folder / "out"), folder=folder)
    assert done.returncode == 0, done.stderr
    return folder / "out", done.stdout


def test_the_bench_is_printed_and_kept(run):
    """The table of findings stands on the terminal, in model.csv and on the page."""
    out, said = run
    assert "TESTAMP-B (linear.mod) on the bench:" in said
    table = read_csv(out / "model.csv").set_index("finding")
    assert table.loc["voltage noise at 100 kHz", "verdict"] == "missing"
    assert table.loc["gain-bandwidth at 1 MHz", "measured"] == pytest.approx(96.5, abs=0.5)
    page = (out / "report.html").read_text(encoding="utf-8")
    assert 'id="bench"' in page
    assert re.search("op-amp as the maker.{1,7}s SPICE model in linear.mod", page)


def test_what_the_model_lacks_stands_beside_the_verdict(run):
    """That its noise margin is too good is the sentence behind the verdict, not a footnote; the rest are cautions."""
    out, _ = run
    answer = json.loads((out / "answer.json").read_text(encoding="utf-8"))
    assert answer["verdict"][1].startswith("Mind the model of TESTAMP-B: it makes no noise")
    assert "optimistic" in answer["verdict"][1]
    assert answer["verdict"][2].startswith("Mind the model of TESTAMP-B: it draws no supply current")
    assert any("nothing it says about strong signals counts" in text for text in answer["cautions"])
    assert any("the same die in all units" in text for text in answer["cautions"])
