"""Test models on the acceptance bench: readings against hand calculation, pins proved, and nothing harms the run."""

import math
import os
import time

import numpy as np
import pytest

from sim.constants import K_B
from sim.deck.assemble import assemble
from sim.deck.build import chain_of, unit_table, unit_values
from sim.deck.maker.file import choose, read_model_file
from sim.engine.ngspice import Simulator
from sim.engine.sweep import SweepPlan, run_unit
from sim.errors import GuardError
from sim.measures.maker import trial
from sim.measures.maker.fixtures import deck, follower, split
from sim.measures.maker.prove import prove_pins
from sim.measures.maker.trial import bench_conditions, prove, try_model
from sim.opamp.catalogue import load_opamp
from sim.study.read import read_study
from tests.conftest import ROOT
from tests.small_studies import write_study

MODELS = ROOT / "tests" / "opamp" / "models"
RESISTOR_NOISE = math.sqrt(4 * K_B * 300.15 * 1e3)
"""Of 1 kohm at 27 degrees C. [V/√Hz]"""


def model(name: str, pins: str | None = None):
    """A test model by the name of its file."""
    return choose(read_model_file(MODELS / name, name), None, pins)


@pytest.fixture(scope="module")
def full():
    """The full-featured model against a record whose figures it mostly has."""
    return try_model(model("full.lib"), load_opamp("OPA2822"), 12.0)


@pytest.fixture(scope="module")
def linear():
    """The linear model, with nothing to compare it with."""
    return try_model(model("linear.mod"), None, 12.0)


@pytest.fixture(scope="module")
def grounded():
    """The model whose currents return through ground."""
    return try_model(model("grounded.sub"), None, 12.0)


def row(tried, what: str):
    """A row of the table by its name."""
    return next(row for row in tried.findings.rows if row.what == what)


# What the cards of full.lib say, by hand.
_FULL = {
    # 5.9 mA, two of 50 uA, a mirror of twice 50 uA, half of it through a diode-connected transistor.
    "supply current": (6.1, 0.005),
    "current that returns through ground": (0.0, 1e-6),
    "share of the load current from the positive supply": (1.0, 0.001),
    # 1 mS into 30 Mohm; the output's 20 ohm and 1 kohm divide it.
    "open-loop gain": (20 * math.log10(1e-3 * 30e6 * 1000 / 1020), 0.05),
    "gain-bandwidth at 1 MHz": (200 * 1000 / 1020, 0.5),
    "output resistance at 1 MHz, open loop": (20.0, 0.05),
    # Second pole at 600 MHz: crossover near 187 MHz, 90 degrees less atan(187/600).
    "phase margin at the lowest stable gain": (90 - math.degrees(math.atan(187 / 600)), 0.5),
    "voltage noise at 1 MHz": (RESISTOR_NOISE * 1e9, 0.06),
    "current noise at 100 kHz": (RESISTOR_NOISE * 5e-4 * 1e12, 0.01),
    "input capacitance, common mode": (1.0, 1e-3),
    "input capacitance, the other input held": (2.0, 1e-3),
    "bias current into the + input": (2.0, 1e-3),
    "bias current into the - input": (2.0, 1e-3),
    "slew rate": (200.0, 2.0),
}


@pytest.mark.parametrize("what", _FULL)
def test_readings_against_the_cards(full, what):
    """What is read on the bench is what the model's own cards come to by hand."""
    value, margin = _FULL[what]
    assert row(full, what).measured == pytest.approx(value, abs=margin)


def test_verdicts_of_the_full_model(full):
    """It draws current, makes noise and clips; it is linear inside its range, and said so; twice the noise differs."""
    assert full.findings.lacks == ("distortion",)
    assert {row.verdict for row in full.findings.rows if row.what.startswith("voltage noise")} == {"differs"}
    for what in ("supply current", "open-loop gain", "gain-bandwidth at 1 MHz", "slew rate", "operating points found"):
        assert row(full, what).verdict == "agrees"
    # Clamp: the diode stands 1.9 V from the rail and takes over 0.3 V beyond.
    assert 1.3 < row(full, "output to the positive rail, light load").measured < 1.9
    assert any(note.startswith("Its noise at 100 kHz as a follower comes from rn1 9") for note in full.findings.notes)
    assert any("xyzzy of the model qn" in note for note in full.findings.notes)
    assert 0 < full.seconds < 10


def test_what_a_linear_model_lacks(linear):
    """No noise, no supply current, no rejection, no limits: each is found and said in words."""
    assert linear.findings.lacks == (
        "noise",
        "supply current",
        "load current",
        "supply rejection",
        "distortion",
        "output limits",
    )
    assert row(linear, "voltage noise at 100 kHz").verdict == "missing"
    assert row(linear, "supply current").verdict == "missing"
    assert any("the numbers are optimistic" in note for note in linear.findings.notes)


def test_ground_reference_is_found(grounded):
    """Half of its supply current is missing at its pins; its load current comes from nowhere."""
    assert {"ground", "load current"} <= set(grounded.findings.lacks)
    assert row(grounded, "current that returns through ground").measured == pytest.approx(1.0, rel=0.05)
    assert "noise" not in grounded.findings.lacks
    # A bipolar pair with 200 ohm between its emitters is not quite linear.
    assert "distortion" not in grounded.findings.lacks
    # Input pair: two resistors of 100 ohm, shot noise of two collectors, two loads of 2 kohm; without current noise.
    thermal = 4 * K_B * 300.15
    re, ic, rc = 100.0, 0.5e-3, 2e3
    r = K_B * 300.15 / 1.602176634e-19 / ic
    en = math.sqrt(2 * (thermal * re + 2 * 1.602176634e-19 * ic * r**2 + thermal * rc * ((re + r) / rc) ** 2))
    assert row(grounded, "voltage noise at 1 MHz").measured == pytest.approx(en * 1e9, rel=0.03)


@pytest.fixture(scope="module")
def boyle():
    """The classic macromodel on the bench."""
    return try_model(model("boyle.lib"), None, 20.0)


# By hand from the cards, after Boyle, Cohn, Pederson and Solomon (IEEE JSSC SC-9, 1974): re' = 1.98 k + VT/50 uA.
_VT = K_B * 300.15 / 1.602176634e-19
_RE = 1980 + _VT / 50e-6
_BOYLE = {
    # Tail current less its fall through 2 Mohm, and 20 V across 10 kohm.
    "supply current": (2.1, 0.01),
    # ga times 2.5 k/re' into c2; the follower's output divider is inside the loop.
    "gain-bandwidth at 1 MHz": (400e-6 * 2500 / _RE / (2 * math.pi * 8e-12) / 1e6, 0.6),
    # All of the tail current in one collector, through 2.5 kohm and ga into c2.
    "slew rate": (100e-6 * 2500 * 400e-6 / 8e-12 / 1e6, 0.3),
    # Emitter and collector resistors of both sides, shot noise of both collectors in VT/IC.
    "voltage noise at 1 kHz": (
        1e9 * math.sqrt(2 * 4 * K_B * 300.15 * (1980 + 2500 * (_RE / 2500) ** 2 + _VT / 50e-6 / 2)),
        0.15,
    ),
    # Base current's shot noise, 2q IC/200, at either input.
    "current noise at 100 kHz": (1e12 * math.sqrt(2 * 1.602176634e-19 * 50e-6 / 200), 0.02),
    "bias current into the + input": (50 / 201, 0.002),
}


@pytest.mark.parametrize("what", _BOYLE)
def test_classic_macromodel(boyle, what):
    """The form in which most libraries have their op-amps does on the bench what its authors' formulas say."""
    value, margin = _BOYLE[what]
    assert row(boyle, what).measured == pytest.approx(value, abs=margin)


def test_wrong_pins_are_caught():
    """A follower shows it, and the one order of 120 that works is found and named."""
    with pytest.raises(GuardError) as caught:
        prove(model("swapped.lib"), None, 12.0)
    said = str(caught.value)
    assert (
        "swapped.lib, line 2, TESTAMP-C: the pins are not as said (6 = inp, 2 = inn, 3 = vcc, 4 = vee, 7 = out" in said
    )
    assert 'It works with pins = "out inn inp vee vcc"' in said
    assert " or pins" not in said
    assert prove(model("swapped.lib", "out inn inp vee vcc"), None, 12.0).said.works


def test_exchanged_inputs_of_a_linear_model_are_caught():
    """A follower with its inputs exchanged rests where it should; held inputs tell."""
    proof = prove_pins(Simulator(), model("linear.mod", "inn inp vcc vee out"), 10.0)
    assert not proof.said.works
    assert "does not go up" in proof.said.reason
    assert ("inp", "inn", "vcc", "vee", "out") in proof.others


def test_a_model_without_a_resting_point_is_refused():
    """What does not converge is told as such, with the simulator's own word for it."""
    with pytest.raises(GuardError) as caught:
        try_model(model("stuck.lib"), None, 12.0)
    assert "it has no operating point" in str(caught.value)
    assert "and it works in no order" in str(caught.value)


def _end_process(*_):
    os._exit(1)


def _sleep(*_):
    time.sleep(60)


def _fill_memory(*_):
    return bytearray(8_000_000_000)


@pytest.mark.parametrize(
    ("harm", "said"),
    [(_end_process, "ended the simulator"), (_sleep, "kept the simulator busy"), (_fill_memory, "more memory")],
)
def test_harm_stays_in_the_throw_away_process(monkeypatch, harm, said):
    """A model that ends, blocks or fills the process on the bench is a message here, and this process goes on."""
    monkeypatch.setattr(trial, "prove_pins", harm)
    monkeypatch.setattr(trial, "PATIENCE_S", 0.5)
    with pytest.raises(GuardError, match=said):
        prove(model("full.lib"), None, 12.0)


def test_conditions_follow_the_record():
    """With a record its supply range is walked through, at its lowest stable gain; without one, the study's supply."""
    record = load_opamp("OPA2822")
    found = bench_conditions(record, 100.0)
    assert found.volts == record.supply_max
    assert (found.supplies[0], found.supplies[-1]) == (record.supply_min, record.supply_max)
    assert bench_conditions(None, 8.0).supplies == pytest.approx((6.4, 7.2, 8.0, 8.8, 9.6))


def test_a_model_leaves_other_decks_as_they_were(tmp_path):
    """A catalogue part simulated after a maker's model in the same process gives bitwise what it gave before."""
    study = read_study(write_study(tmp_path))
    chain = chain_of(study)
    unit = unit_values(chain, unit_table(study, chain, np.array([3])), 0, 3)
    plain, plan = assemble(chain, unit), SweepPlan()
    simulator = Simulator()
    before = run_unit(simulator, plain, plan)
    simulator.load(deck(model("full.lib"), split(12.0), follower(0.0)))
    simulator.operating_point(("z_o",))
    after = run_unit(simulator, plain, plan)
    assert before.operating == after.operating
    assert np.array_equal(before.values, after.values)
    assert np.array_equal(before.noise_psd, after.noise_psd)
