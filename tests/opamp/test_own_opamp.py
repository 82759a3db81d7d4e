"""The page on own op-amps: its records are read, and run through check, study and comparison beside the catalogue."""

import json
import re
from pathlib import Path

import numpy as np
import pytest

from sim.cli import main
from sim.opamp.catalogue import _KEYS, LARGEST_RECORD, load_opamp
from sim.opamp.estimates import ESTIMABLE, second_pole
from sim.steps.layout import study_inputs
from tests.small_studies import measured, write_study

DOC = Path(__file__).parents[2] / "docs" / "own-opamp.md"


@pytest.fixture
def documented(tmp_path):
    """The records of the documentation as files; gives their folder."""
    for record in re.findall(r"```toml\n(# (\S+)\n.*?)```", DOC.read_text(encoding="utf-8"), re.DOTALL):
        (tmp_path / record[1]).write_text(record[0], encoding="utf-8")
    return tmp_path


def compared(folder, *values) -> Path:
    """A study that compares these op-amps."""
    return write_study(folder, vary={"amplifier.opamp": list(values)}, run={"units": 2})


def test_the_whole_record_is_read(documented):
    """Every number of the documented record is taken over, and its statuses are those of its lists."""
    record = load_opamp("my-part.toml", documented)
    assert (record.part, record.gbw_hz, record.en, record.hd_output_vpp) == ("MYPART", 150e6, 5e-9, 2)
    assert record.verified and record.unity_gain_stable
    assert {use.key for use in record.unseen if record.status(use.key) == "estimate"} == {
        *("second_pole_hz", "rout_ol_ohm")
    }
    # 60 degrees at gain 1: 1.5 times 150 MHz, the page's own formula.
    assert second_pole(record.gbw_hz, 1, 60) == pytest.approx(record.second_pole_hz)


def test_the_short_record_is_filled_with_estimates(documented):
    """What the shortest record leaves out is all that may be left out, and is called an estimate."""
    record = load_opamp("short.toml", documented)
    assert {record.status(key) for key in ESTIMABLE} == {"estimate"}
    assert {use.key for use in record.unseen} == set(ESTIMABLE) - {"phase_margin_deg"}
    assert record.second_pole_hz == pytest.approx(300e6)  # 1.5 · 200 MHz
    assert record.inoise == pytest.approx(1.3865e-12, rel=1e-4)  # sqrt(2 · 1.602e-19 · 6e-6), hand calculation
    assert (record.hd2_dbc, record.hd_frequency_hz, record.hd3_load_ohm) == (None, None, None)


def test_the_page_names_every_key():
    """No key of a record is missing from the page."""
    page = DOC.read_text(encoding="utf-8")
    assert [key for key in _KEYS if key not in page] == []


def test_a_comparison_mixes_catalogue_and_own(documented):
    """The own part is run beside those of the catalogue, and each scenario with its own numbers."""
    found = measured(compared(documented, "OPA2822", "my-part.toml", "short.toml"))
    assert [values["stable"] for values in found] == [1, 1, 1]
    # Supply currents differ as the records say: 4.8, 9 and 6 mA.
    assert np.diff([values["current_ma"] for values in found]) == pytest.approx([4.2, -3.0], abs=0.1)


def test_check_explains_own_parts(documented, capsys):
    """Check names what nobody read of each part, the own ones among them."""
    assert main(["check", str(compared(documented, "OPA2822", "my-part.toml", "short.toml"))]) == 0
    said = " ".join(capsys.readouterr().out.split())
    for part in ("MYPART", "SHORT"):
        words = "not read in its data sheet (~ estimated, ? from memory): stability rests on second pole~ and output"
        assert f"Note: {part}, {words} resistance~" in said
    assert "my-part.toml" in said


def test_a_fault_in_an_own_part_ends_check_and_run(documented, capsys):
    """A fault in one of the compared records is said with file, line and key, exit code 2, before anything is run."""
    record = documented / "my-part.toml"
    text = record.read_text(encoding="utf-8")
    line = next(n for n, words in enumerate(text.splitlines(), start=1) if words.startswith("en_nv_rthz"))
    record.write_text(text.replace("en_nv_rthz = 5.0", "en_nv_rthz = 5e-9"), encoding="utf-8")
    study = str(compared(documented, "OPA2822", "my-part.toml"))
    for command in (["check", study], ["run", study, "--out", str(documented / "out"), "--cores", "1"]):
        assert main(command) == 2
        assert capsys.readouterr().err == (
            f"my-part.toml, line {line}, en_nv_rthz: 5e-09 is outside what op-amps have.\n"
            "  Write a number [nV/√Hz], 0.1 to 1000.\n"
        )
    assert not (documented / "out").exists()


@pytest.mark.parametrize("way", ["../outside.toml", "link.toml", "linked/outside.toml"])
def test_own_parts_stay_in_the_folder(documented, way, capsys):
    """A record outside the study's folder is not read, whether by dots or by links."""
    folder = documented / "studies"
    folder.mkdir()
    (documented / "my-part.toml").rename(documented / "outside.toml")
    (folder / "link.toml").symlink_to(documented / "outside.toml")
    (folder / "linked").symlink_to(documented)
    assert main(["check", str(compared(folder, "OPA2822", way))]) == 2
    assert f'"{way}" lies outside the study\'s folder.' in capsys.readouterr().err


def test_own_parts_are_small(documented, capsys):
    """A record of megabytes is refused without being read whole; a pipe is no record."""
    (documented / "my-part.toml").write_text("# " + "x" * LARGEST_RECORD, encoding="utf-8")
    assert main(["check", str(compared(documented, "OPA2822", "my-part.toml"))]) == 2
    assert f"my-part.toml: is longer than {LARGEST_RECORD} bytes." in capsys.readouterr().err


@pytest.mark.slow
def test_a_run_with_own_parts_beside_the_catalogue(documented):
    """From study to report: each scenario has its op-amp, results depend on own records, unread numbers are listed."""
    study = compared(documented, "LT6231", "my-part.toml")
    assert main(["run", str(study), "--units", "2", "--out", str(documented / "out"), "--cores", "1"]) == 0
    answer = json.loads((documented / "out" / "answer.json").read_text(encoding="utf-8"))
    assert [entry["values"]["amplifier.opamp"] for entry in answer["scenarios"]] == ["LT6231", "my-part.toml"]
    assert [(entry["part"], entry["scenarios"]) for entry in answer["opamps"]] == [("LT6231", [0]), ("MYPART", [1])]
    assert any(text.startswith("MYPART, not read in its data sheet") for text in answer["cautions"])
    assert str(documented / "my-part.toml") in study_inputs(str(study))
    assert "second pole 225 MHz~, output resistance 25 Ω~" in (documented / "out" / "report.html").read_text("utf-8")
