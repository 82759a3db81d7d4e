"""What the resting voltages say: op-amps on volts they are not made for, outputs that are stuck."""

from types import SimpleNamespace

import numpy as np
import pytest

from sim.deck.build import chain_of
from sim.engine.isolate import Failed, isolated
from sim.measures.supply import OutOfRating, check_rating, resting_cautions
from sim.measures.unit import Item, UnitWorker
from sim.study.read import read_study
from sim.study.scenarios import scenarios

STUDY = """\
title = "At rest"
[amplifier]
circuit = "{circuit}"
opamp = "{opamp}"
[antenna]
model = "fixture"
[feedline]
length = "{length}"
[run]
units = 2
"""
PINS = (("p", "n", "c", "0", "o"),)


def _chain(tmp_path, circuit="transimpedance", opamp="OPA2822", length="0"):
    file = tmp_path / "study.toml"
    file.write_text(STUDY.format(circuit=circuit, opamp=opamp, length=length), encoding="utf-8")
    every = scenarios(read_study(file))
    return every, chain_of(every[0].study)


def _at(vcc, out, inp):
    return {"p": inp, "n": inp, "c": vcc, "0": 0.0, "o": out}


@pytest.mark.parametrize(
    ("opamp", "volts", "told"),
    [
        ("LTC6268", 9.9, "LTC6268 (Xamp) would stand on 9.9 V; its limit is 5.25 V"),
        ("OPA2822", 13.5, "OPA2822 (Xamp) would stand on 13.5 V; its limit is 12 V"),
        ("OPA2822", 3.0, "OPA2822 (Xamp) would stand on 3.0 V; it needs 5 V"),
        ("OPA2822", -0.7, "OPA2822 (Xamp) draws more current than reaches it; it needs 5 V"),
    ],
)
def test_volts_outside_the_data_sheet(opamp, volts, told, tmp_path):
    """Far outside the supply range (maker's data sheet, in the record) there is no number, but a reason."""
    _, chain = _chain(tmp_path, opamp=opamp)
    with pytest.raises(OutOfRating) as raised:
        check_rating(_at(volts, volts / 2, volts / 2), SimpleNamespace(pins=PINS), chain)
    assert str(raised.value) == told


@pytest.mark.parametrize("volts", [4.6, 5.0, 12.0, 13.1])
def test_volts_within_leeway(volts, tmp_path):
    """Within a tenth of the range a unit is computed."""
    _, chain = _chain(tmp_path)
    check_rating(_at(volts, volts / 2, volts / 2), SimpleNamespace(pins=PINS), chain)


def test_stuck_outputs_and_inputs(tmp_path):
    """An output at its limit, an input outside its range, volts just outside: a sentence each; else none."""
    _, chain = _chain(tmp_path)
    deck = SimpleNamespace(pins=PINS)
    assert resting_cautions(_at(11.4, 5.7, 5.7), deck, chain) == ()
    for out in (1.13, 10.4):
        [only] = resting_cautions(_at(11.4, out, 5.7), deck, chain)
        assert only.startswith(f"The output of OPA2822 (Xamp) rests at {out:.2f} V on a supply of 11.40 V")
    assert "works from 1.20 to 10.20 V" in resting_cautions(_at(11.4, 5.7, 1.08), deck, chain)[0]
    assert "stands on 12.5 V and is made for 5 to 12 V" in resting_cautions(_at(12.5, 6.2, 6.2), deck, chain)[0]


def test_bias_current_is_noticed_in_a_run(tmp_path):
    """A bipolar op-amp behind a megohm sits at its rail: the nominal unit says so, a FET one says nothing."""
    every, _ = _chain(tmp_path, "voltage-follower", "OPA2822")
    assert any("output of OPA2822" in text for text in UnitWorker(every, [0])(Item(0, 0, 0)).cautions)
    every, _ = _chain(tmp_path, "voltage-follower", "OPA810")
    assert UnitWorker(every, [0])(Item(0, 0, 0)).cautions == ()


@pytest.mark.parametrize(("opamp", "length"), [("LTC6268", "0"), ("OPA818", "3000 m")])
def test_such_units_are_failures_of_their_own_kind(opamp, length, tmp_path):
    """Whole way: an op-amp of 5 V on 12 V, and one starved by 380 ohm of line, give no measures."""
    every, _ = _chain(tmp_path, opamp=opamp, length=length)
    units = np.array([0, 1])
    items = [Item(0, row, int(unit)) for row, unit in enumerate(units)]
    answers = [answer for _, answer in isolated(lambda: UnitWorker(every, units), items)]
    assert all(isinstance(answer, Failed) and answer.stage == "rating" for answer in answers)
