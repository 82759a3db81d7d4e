"""Tables of the page mark what rests on op-amp numbers that nobody read, and list those numbers."""

import json
import shutil
from dataclasses import replace

import pytest

from sim.opamp.catalogue import load_opamp
from sim.opamp.known import USES
from sim.summary.describe import describe
from sim.summary.resting import LEGEND, measure_marks, opamp_entries
from tests.report.test_page import read


@pytest.fixture
def resting(one, tmp_path):
    """Gives the words of an invented run's page whose op-amps are those given."""

    def words(*records):
        folder = tmp_path / "run"
        shutil.copytree(one, folder, dirs_exist_ok=True)
        answer = json.loads((folder / "answer.json").read_text(encoding="utf-8"))
        answer["opamps"] = opamp_entries({0: records})
        (folder / "answer.json").write_text(json.dumps(answer), encoding="utf-8")
        return read(folder).words

    return words


def test_measures_bear_the_mark_of_what_they_rest_on():
    """Stability rests on the estimated second pole, noise on the recalled current noise, gain on what was read."""
    marks = measure_marks({"opamps": opamp_entries({0: (load_opamp("OPA810"),)})})
    assert marks["stability_margin"] == marks["stable"] == " ~"
    assert marks["noise_margin_db"] == " ?"
    assert "gain_db" not in marks and "current_ma" not in marks
    both = opamp_entries({0: (load_opamp("OPA810"),), 1: (load_opamp("ADA4899-1"),), 2: (load_opamp("OPA656"),)})
    assert [entry["scenarios"] for entry in both] == [[0], [1], [2]]
    assert measure_marks({"opamps": [*both, *opamp_entries({3: (load_opamp("ADA4817-1"),)})]})["gain_db"] == " ~?"


def test_the_page_marks_and_lists_them(resting):
    """Names of measures bear the marks in every table, the legend stands beside, the numbers have their table."""
    words = resting(load_opamp("OPA2822"))
    text = " ".join(words)
    assert words.count("Stability margin ~") == 2  # yields, nominal unit
    assert "Noise margin ?" in words and "Noise margin, dB ?" in words and "SNR loss, dB ?" in words
    assert "Bench gain" in words and "Bench gain ?" not in words
    assert text.count(LEGEND) == 2
    assert "second pole 350 MHz~, output resistance 15 Ω~" in words
    assert "current noise 1.6 pA/√Hz?, 1/f corners 1 kHz~ and 10 kHz~" in words
    assert "OPA2822: TI OPA2822 SBOS188E p1 and p4 (+5 V table), SBOS188C p1." in text


def test_a_page_of_numbers_that_were_read_has_no_marks(resting):
    """Where all of an op-amp was read, or there is none, nothing is marked."""
    whole = replace(load_opamp("OPA2822"), seen=tuple(use.key for use in USES))
    for records in ((whole,), ()):
        words = resting(*records)
        assert "Stability margin" in words and LEGEND not in " ".join(words)


def test_the_terminal_marks_its_yields():
    """Behind a limit's name stands the mark, below the list the legend; without such an op-amp neither."""
    entry = {
        "scenario": 0,
        "measure": "stability_margin",
        "unit_of_measure": "1",
        "frequency_hz": None,
        "limit_low": 0.5,
        "limit_high": None,
        "yield": 1.0,
        "yield_low": 0.98,
        "yield_high": 1.0,
    }
    plain = {"title": "T", "verdict": ["Yes."], "scenarios": [{}], "yields": [entry], "cautions": []}
    marked = describe(plain | {"opamps": opamp_entries({0: (load_opamp("OPA810"),)})})
    assert "  stability margin ~  > 0.5    100 %" in marked and f"  {LEGEND}" in marked
    assert "  stability margin  > 0.5    100 %" in describe(plain) and LEGEND not in describe(plain)
