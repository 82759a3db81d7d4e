"""Circuits with two inputs: common-mode rejection, the bench, agreement with plain ngspice, what is refused."""

import numpy as np
import pytest

from sim.deck.build import chain_of
from sim.engine.ngspice import batch
from sim.errors import StudyError
from sim.measures.panel import BANDED, SINGLE
from sim.measures.unit import Item, UnitWorker
from sim.steps.sample import netlist_text
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from tests.conftest import ROOT

EVERY = scenarios(read_study(ROOT / "studies" / "short-dipole.toml"))
HALVES = """\
* two resistors and a difference
.subckt amplifier in_p in_n out vcc gnd
Rp in_p gnd 1k ; 1%  one half
Rn in_n gnd {rn} ; 1%  the other half
Cp in_p gnd 100p ; 1%  one half
Cn in_n gnd {cn} ; 1%  the other half
Ed drv gnd in_p in_n 2
Ro drv out 74 ; 1%  output
Rv vcc gnd 1k ; 1%  load of the supply
.ends amplifier
"""
STUDY = """\
title = "halves"
[amplifier]
circuit = "{circuit}"
opamp = "OPA2822"
[antenna]
{antenna}
[bands]
frequencies = ["1.8M", "7M"]
"""
FIXTURE = 'model = "fixture"\nsource = "100"\ndummy = "47p"'
PLAIN = 'model = "plain"\nresistance = "2k"\ncapacitance = "1u"\neffective_height = "1 m"\nstray = "0"'
DIPOLE = 'model = "short-dipole"\nlength = "10 m"\nradius = "2 mm"\nheight = "20 m"'
VERTICAL = 'model = "short-vertical"\nheight = "7 m"\nradius = "8 mm"'


def study(folder, antenna, circuit="halves.cir", rn="1k", cn="100p", limits=""):
    """A study of the two resistors."""
    (folder / "halves.cir").write_text(HALVES.format(rn=rn, cn=cn), encoding="ascii")
    text = STUDY.format(circuit=circuit, antenna=antenna) + limits
    (folder / "s.toml").write_text(text, encoding="utf-8")
    return read_study(folder / "s.toml")


def banded(found, name):
    """One measure at the bands, of the nominal unit."""
    measures = UnitWorker(scenarios(found), np.arange(1))(Item(0, 0, 0)).measures
    return measures.banded[BANDED.index(name)]


@pytest.mark.parametrize("antenna", [PLAIN, DIPOLE, FIXTURE])
def test_equal_halves_reject_all(tmp_path, antenna):
    """What both legs pick up alike does not reach the output of two equal halves: 100 dB, as good as perfect."""
    assert banded(study(tmp_path, antenna), "cmrr_db") == pytest.approx(100.0)


def test_unequal_resistors_reject_what_was_computed_by_hand(tmp_path):
    """1 kΩ and 1.01 kΩ behind 1 kΩ a leg: (a + b)/2 over b - a, a = 1/2, b = 1.01/2.01 (hand calculation)."""
    a, b = 0.5, 1.01 / 2.01
    found = banded(study(tmp_path, PLAIN, rn="1.01k", cn="100p"), "cmrr_db")
    # With 100 pF beside the resistors the divider is 1/(1 + 1k (1/R + jwC)), for each half.
    omega = 2 * np.pi * np.array([1.8e6, 7e6])
    p, n = (1 / (1 + 1e3 * (1 / r + 1j * omega * 100e-12)) for r in (1e3, 1.01e3))
    assert found == pytest.approx(20 * np.log10(np.abs((p + n) / 2 / (p - n))), abs=0.01)
    assert 20 * np.log10((a + b) / 2 / (b - a)) == pytest.approx(46.085, abs=1e-3)


def test_bench_has_a_dummy_in_each_leg(tmp_path):
    """S21 through 25 Ω and 47 pF a leg into unequal halves, output through 74 Ω into 50 Ω (hand calculation)."""
    found = banded(study(tmp_path, FIXTURE, rn="1.5k", cn="150p"), "gain_db")
    omega = 2 * np.pi * np.array([1.8e6, 7e6])
    leg = 25 + 1 / (1j * omega * 47e-12)  # the bench's own source is 50 Ω
    p, n = (1 / (1 + leg * (1 / r + 1j * omega * c)) for r, c in ((1e3, 100e-12), (1.5e3, 150e-12)))
    s21 = 2 * 2 * (p + n) / 2 * 50 / (50 + 74)
    assert found == pytest.approx(20 * np.log10(np.abs(s21)), abs=1e-3)


@pytest.mark.parametrize("unit", [0, 2])
def test_units_agree_with_plain_ngspice(unit, tmp_path):
    """Gain, phase, noise and rejection are what `ngspice -b` prints for the exported deck (outside check)."""
    measures = UnitWorker(EVERY, np.arange(3))(Item(1, unit, unit)).measures
    assert measures.single[SINGLE.index("stable")] == 1
    out = batch(netlist_text(EVERY[1].study, unit, 1), tmp_path).lower()
    rows = [words for words in (line.split() for line in out.splitlines()) if len(words) > 2 and words[1] == "="]
    printed = {words[0]: float(words[2]) for words in rows}
    for name in ("gain_db", "phase_deg", "output_noise_nv", "cmrr_db"):
        ours = measures.banded[BANDED.index(name)]
        theirs = [printed[f"{name}_{band}"] for band in (1, 2, 3)]
        assert theirs == pytest.approx(ours, abs=1e-3)


@pytest.mark.parametrize(
    ("antenna", "circuit", "limits", "message"),
    [
        (VERTICAL, "halves.cir", "", "the circuit halves has two inputs, and the antenna short-vertical has one leg"),
        (DIPOLE, "transimpedance", "", "has one input, and the antenna short-dipole has two"),
        (VERTICAL, "transimpedance", '[limits]\ncmrr_db = "> 30"\n', "there is no common mode to reject"),
    ],
)
def test_what_does_not_go_together_is_refused(tmp_path, antenna, circuit, limits, message):
    """One leg before two inputs, two before one, and a limit on what is not: file, line, key and remedy."""
    with pytest.raises(StudyError, match=message) as caught:
        chain_of(study(tmp_path, antenna, circuit, limits=limits))
    (fault,) = caught.value.faults
    assert fault.file and fault.line and fault.key and fault.remedy


def test_one_input_has_no_common_mode(tmp_path):
    """The measure is absent (NaN) for a circuit with one input."""
    assert np.isnan(banded(study(tmp_path, VERTICAL, "transimpedance"), "cmrr_db")).all()
