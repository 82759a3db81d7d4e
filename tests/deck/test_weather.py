"""Leaks, a bad contact, a clamp in the deck: their nodes, their size by hand calculation, the same in plain ngspice."""

import shutil

import numpy as np
import pandas as pd
import pytest

from sim.constants import ELEMENTARY_CHARGE, K_B
from sim.deck.assemble import assemble
from sim.deck.build import chain_of, unit_table, unit_values
from sim.deck.clamp import leakage_at
from sim.engine.ngspice import batch
from sim.errors import StudyError
from sim.measures.panel import BANDED
from sim.measures.surroundings import curve_frequencies
from sim.measures.unit import Item, UnitWorker
from sim.quantity import db
from sim.steps import sample
from sim.steps.simulate import simulate
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from sim.summary.collect import Response
from sim.summary.drivers import drivers_table
from tests.small_studies import BASE, answers, export, measured, write_study

needs_ngspice = pytest.mark.skipif(shutil.which("ngspice") is None, reason="there is no ngspice command here")
CLAMP = {"clamp_capacitance": "4p 20%", "clamp_leakage": "10n 50%", "clamp_grading": 0.4}
ALL = "input leak 3k, bias leak 1M, feedback leak 300k, feedback bridge 1M, connector leak 1k, contact resistance 5 20%"
DIPOLE = {"model": "short-dipole", "length": "10 m", "radius": "2 mm", "height": "20 m"}
BALANCED = {"circuit": "balanced-transimpedance", "opamp": "OPA2822"}


def deck(path, unit=0):
    """Lines of the deck of one unit."""
    study = read_study(path)
    chain = chain_of(study)
    return assemble(chain, unit_values(chain, unit_table(study, chain, np.array([unit])), 0, unit)).lines


def test_nodes_of_every_leak(tmp_path):
    """Antenna's side, both inputs of the op-amp, behind the probe, behind the series resistor, behind the contact."""
    amplifier = {**BASE["amplifier"], "series_input": "100", "series_output": "10", **CLAMP}
    lines = deck(write_study(tmp_path, weather={"state": ALL}, amplifier=amplifier))
    for line in (
        "rz_input_leak z_input 0 3000.0",
        "rz_bias_leak mid 0 1000000.0",
        "rz_feedback_leak sum 0 300000.0",
        "rz_feedback_bridge sum fbk 1000000.0",
        "rz_contact_resistance z_output z_contact 5.0",
        "rz_connector_leak z_contact 0 1000.0",
        "dz_clamp 0 z_input z_clamp area=4.0",
        "rz_load z_contact 0 75.0 noisy=0",
    ):
        assert line in lines, line


def test_supply_with_power_on_the_coax(tmp_path):
    """Water draws V/R behind the line's resistance, the contact carries the unit's current (hand calculation)."""
    line = {"cable": "rg6-ccs", "length": "130 m"}
    vary = {"weather.state": ["dry", "connector leak 1k", "contact resistance 50"]}
    supply = {"regulator": "8 V"}  # so that the unit draws the same in all three
    dry, wet, bad = measured(write_study(tmp_path, feedline=line, vary=vary, supply=supply))
    ohms = (12 - dry["supply_v"]) / dry["current_ma"] * 1e3
    volts = (12 / ohms - dry["current_ma"] / 1e3) / (1 / ohms + 1 / 1e3)
    assert wet["supply_v"] == pytest.approx(volts, abs=1e-3)
    assert wet["current_ma"] == pytest.approx(dry["current_ma"] + volts, abs=2e-3)
    assert bad["supply_v"] == pytest.approx(dry["supply_v"] - 0.05 * dry["current_ma"], abs=1e-3)


def test_supply_with_a_line_of_its_own(tmp_path):
    """Water in the connector then draws nothing, and the contact's drop stays without a trace in the signal."""
    line = {"cable": "rg6-ccs", "length": "130 m", "power": "separate"}
    vary = {"weather.state": ["dry", "connector leak 1k", "contact resistance 50"]}
    dry, wet, bad = measured(write_study(tmp_path, feedline=line, vary=vary))
    assert wet["current_ma"] == dry["current_ma"] and wet["gain_db"][0] < dry["gain_db"][0] - 0.2
    assert bad["supply_v"] == pytest.approx(12 - 0.05 * bad["current_ma"], abs=1e-3)
    np.testing.assert_allclose(bad["gain_db"], dry["gain_db"], atol=1e-3)


def test_a_contact_is_drawn_alike_in_either_way(tmp_path):
    """One name, one draw, whether it is in the signal's way or outside the amplifier; the drop is each unit's."""
    drawn = []
    for power in ("coax", "separate"):
        weather = {"contact_resistance": "20 50%"}
        study = read_study(write_study(tmp_path, feedline={"power": power, "length": "0"}, weather=weather))
        chain = chain_of(study)
        table = unit_table(study, chain, np.arange(5))
        drawn.append(table["weather.contact_resistance"])
        for row in range(5):
            feed = unit_values(chain, table, row, row).outside.feed
            assert feed.contact == drawn[-1][row]
    np.testing.assert_array_equal(*drawn)
    assert drawn[0][0] == 20.0 and len(set(drawn[0])) == 5


def test_feedback_leak_shifts_the_output(tmp_path):
    """At rest the output rises by V+ Rf/R, as the input current does (hand calculation, 22 kohm, 2 %)."""
    dry, wet = measured(write_study(tmp_path, vary={"weather.feedback_leak": ["none", "100k"]}))
    middle = 12 - 100 * dry["current_ma"] / 1e3  # behind the filter's 100 ohm
    assert wet["output_dc_v"] - dry["output_dc_v"] == pytest.approx(middle / 2 * 22e3 / 100e3, rel=0.06)


def noise_emf(path, name):
    """Noise of one element as antenna emf, and the antenna's impedance, below 8 MHz. [V/√Hz, Ω]"""
    [answer] = answers(path, contributors=True)
    freq_hz = curve_frequencies((1.83e6, 3.53e6, 7.05e6))
    low = freq_hz < 8e6  # above, the antenna's own resonance asks more of the noise sweep than 0.1 %
    emf = np.sqrt(answer.contributions[name] / 10 ** (answer.measures.curves[2] / 10))
    return emf[low], np.abs(chain_of(read_study(path)).antenna.impedance(freq_hz[low]))


def test_thermal_noise_of_a_leak(tmp_path):
    """4 k T/R at the unit's temperature, through the antenna's impedance; 0.1 % (hand calculation)."""
    path = write_study(tmp_path, weather={"input_leak": "10k"}, run={"temperature": "40"})
    emf, source = noise_emf(path, "rz_input_leak")
    np.testing.assert_allclose(emf, np.sqrt(4 * K_B * 313.15 / 10e3) * source, rtol=1e-3)


def test_shot_noise_of_the_clamp(tmp_path):
    """2 e I at 45 degrees, where the leakage is four times its value at 25; 0.1 % (hand calculation)."""
    assert leakage_at(1e-6, 45.0) == pytest.approx(4e-6, rel=1e-12)
    amplifier = {**BASE["amplifier"], "clamp_leakage": "1u"}
    path = write_study(tmp_path, amplifier=amplifier, run={"temperature": "45"})
    emf, source = noise_emf(path, "rz_clamp_leak1")
    np.testing.assert_allclose(emf, np.sqrt(2 * ELEMENTARY_CHARGE * 4e-6) * source, rtol=1e-3)


def test_junction_bends_with_its_volts(tmp_path):
    """Without volts a junction is the capacitor of its value, with them one of C0/(1 + V/0.7)^m (hand calculation)."""

    def gain(**clamp):
        amplifier = {"circuit": "voltage-follower", "opamp": "OPA810", **clamp}
        return measured(write_study(tmp_path, amplifier=amplifier))[0]["gain_db"]

    junction = {"clamp_capacitance": "20p", "clamp_grading": 0.5}
    np.testing.assert_allclose(gain(**junction), gain(clamp_capacitance="20p"), atol=1e-4)
    # 2.1 uA at 25 degrees are 1.485 uA at 20; through the 1 megohm of Rb 1.485 V: 20 pF/(1 + 1.485/0.7)^0.5.
    np.testing.assert_allclose(gain(**junction, clamp_leakage="2.1u"), gain(clamp_capacitance="11.32p"), atol=2e-4)


def test_a_clamp_costs_gain_in_a_high_impedance_input(tmp_path):
    """C_a over C_a + C_in: 5 pF more beside 47 pF and what the follower has; the virtual ground hardly feels it."""
    change = {}
    for circuit in ("voltage-follower", "transimpedance"):
        amplifier = {"circuit": circuit, "opamp": "OPA810"}
        dry, with_it = measured(
            write_study(tmp_path, amplifier=amplifier, vary={"amplifier.clamp_capacitance": ["none", "5p"]})
        )
        change[circuit] = with_it["gain_db"][0] - dry["gain_db"][0]
    before = 47e-12 + 2e-12  # dummy and the op-amp's common-mode capacitance (its record)
    assert change["voltage-follower"] == pytest.approx(db(before / (before + 5e-12)), abs=0.02)
    assert abs(change["transimpedance"]) < 0.06


def test_no_draw_moves(tmp_path):
    """Weather and clamp with tolerances add columns and move no other draw; what is only varied is kept as well."""
    drawn = {}
    for name, tables in (
        ("without", {}),
        ("with", {"weather": {"state": ALL, "input_leak": "none"}, "amplifier": {**BASE["amplifier"], **CLAMP}}),
        ("varied", {"vary": {"weather.input_leak": ["none", "10k 50%"]}}),
    ):
        path = write_study(tmp_path, run={"units": 12}, name=f"{name}.toml", **tables)
        sample.main([str(path), "--out", str(tmp_path / name)])
        drawn[name] = pd.read_parquet(tmp_path / name / "units.parquet")
    new = [name for name in drawn["with"] if name not in drawn["without"]]
    assert {"weather.input_leak", "weather.contact_resistance", "clamp_capacitance", "clamp_leakage"} <= set(new)
    pd.testing.assert_frame_equal(drawn["with"].drop(columns=new), drawn["without"])
    assert drawn["with"]["clamp_capacitance"].between(3.2e-12, 4.8e-12).all()
    assert list(drawn["varied"].drop(columns=list(drawn["without"])).columns) == ["weather.input_leak"]


@needs_ngspice
@pytest.mark.parametrize("power", ["coax", "separate"])
def test_exported_deck(tmp_path, power):
    """Gain, phase, noise of a nominal unit with all of it are what plain `ngspice -b` prints (outside check)."""
    path = write_study(
        tmp_path,
        weather={"state": ALL},
        amplifier={**BASE["amplifier"], **CLAMP, "clamp_leakage": "1u"},
        feedline={"cable": "rg6-ccs", "length": "130 m", "power": power},
        run={"temperature": "35"},
    )
    agree(tmp_path, path)


@needs_ngspice
def test_exported_deck_of_a_drawn_unit(tmp_path):
    """Unit 2, where leak, contact, clamp and its leakage are its own draws (outside check)."""
    path = write_study(
        tmp_path,
        weather={"state": "input leak 3k 50%, connector leak 1k 50%, contact resistance 5 50%"},
        amplifier={**BASE["amplifier"], **CLAMP},
        feedline={"cable": "rg6-ccs", "length": "130 m"},
        run={"temperature": "-10..60"},
    )
    study = read_study(path)
    measures = UnitWorker(scenarios(study), np.arange(3))(Item(0, 2, 2)).measures
    compare(tmp_path, sample.netlist_text(study, 2), dict(zip(BANDED, measures.banded, strict=True)))


@needs_ngspice
def test_exported_deck_with_two_inputs(tmp_path):
    """The same with two inputs, of which one leaks: then rejection falls from the perfect one of equal halves."""
    amplifier = {**BALANCED, **CLAMP}
    weather = {"input_leak": "3k", "input_side": "in_n"}
    path = write_study(tmp_path, weather=weather, amplifier=amplifier, antenna=DIPOLE)
    values = agree(tmp_path, path)
    assert values["cmrr_db"][0] < 70


def agree(folder, path):
    """Check a nominal unit against the deck that is exported for it; its measures."""
    [values] = measured(path)
    compare(folder, export(path, "netlist"), values)
    return values


def compare(folder, netlist, values):
    """Check measures against what plain ngspice prints for a deck."""
    rows = (line.split() for line in batch(netlist, folder).lower().splitlines())
    printed = {words[0]: float(words[2]) for words in rows if len(words) > 2 and words[1] == "="}
    for k in range(3):
        assert printed[f"gain_db_{k + 1}"] == pytest.approx(values["gain_db"][k], abs=1e-3)
        off = (printed[f"phase_deg_{k + 1}"] - values["phase_deg"][k] + 180) % 360 - 180
        assert off == pytest.approx(0, abs=0.01)
        assert db(printed[f"output_noise_nv_{k + 1}"] / values["output_noise_nv"][k]) == pytest.approx(0, abs=1e-3)
        if "cmrr_db_1" in printed:
            assert printed[f"cmrr_db_{k + 1}"] == pytest.approx(values["cmrr_db"][k], abs=1e-3)


def test_two_inputs_have_two_of_each(tmp_path):
    """Each input has a leak and a clamp of its own draw; one side alone is possible."""
    study = read_study(
        write_study(tmp_path, amplifier={**BALANCED, **CLAMP}, antenna=DIPOLE, weather={"input_leak": "10k 20%"})
    )
    chain = chain_of(study)
    table = unit_table(study, chain, np.arange(4))
    for name in ("weather.input_leak", "clamp_capacitance", "clamp_leakage"):
        assert not np.array_equal(table[f"{name}.in_p"][1:], table[f"{name}.in_n"][1:])
    assert [node for node, _ in unit_values(chain, table, 1, 1).outside.clamp_leakage] == ["in_p", "in_n"]


BARE = """\
* resistors alone
.subckt amplifier in out vcc gnd
Ra in  out 300  ; 5%  series
Rb out gnd 1k   ; 5%  shunt
Rv vcc gnd 1k   ; 5%  load of the supply
.ends amplifier
"""


def test_leaks_that_have_no_place(tmp_path):
    """No op-amp, both ends at one node, a side of the only input: refused with line, key, what was found."""
    (tmp_path / "bare.cir").write_text(BARE, encoding="ascii")
    bare = {"circuit": "bare.cir", "opamp": "OPA2822"}
    for amplifier, weather, said in (
        (bare, {"feedback_leak": "1M"}, "weather.feedback_leak: the circuit bare has no op-amp"),
        (bare, {"state": "bias leak 1M"}, "weather.state: the circuit bare has no op-amp"),
        (BASE["amplifier"], {"input_side": "in_p", "input_leak": "1k"}, "has one input"),
    ):
        path = write_study(tmp_path, amplifier=amplifier, weather=weather)
        with pytest.raises(StudyError, match=said):
            chain_of(read_study(path))


def test_antennas_are_tried_with_clamp_and_leak_in_place(tmp_path):
    """A removed antenna leaves leak and clamp: the input's admittance that stability is judged with is theirs, too."""
    path = write_study(
        tmp_path,
        stability={"cables": ["rg6-ccs"], "lengths": ["10 m"], "far_ends": ["open"], "antennas": ["removed"]},
        vary={"weather.input_leak": ["none", "100"]},
    )
    every = scenarios(read_study(path))
    worker = UnitWorker(every, [0])
    margins = [worker(Item(one.number, 0, 0)).measures.antennas.margin for one in every]
    assert not np.allclose(margins[0], margins[1], atol=1e-3)


def test_every_measure_is_there(tmp_path):
    """With all of it at once no measure is lost."""
    [values] = measured(write_study(tmp_path, weather={"state": ALL}, amplifier={**BASE["amplifier"], **CLAMP}))
    for name in BANDED:
        assert name == "cmrr_db" or np.isfinite(values[name]).all(), name


@needs_ngspice
def test_a_transient_analysis_sees_the_bend(tmp_path):
    """0.05 V at 1 MHz across the junction: second harmonic C0 m V² w/(2 x 0.7 V) of its current (series, 2 %)."""
    amplifier = {**BASE["amplifier"], "clamp_capacitance": "100p", "clamp_grading": 0.4}
    chain = chain_of(read_study(write_study(tmp_path, amplifier=amplifier)))
    [part] = [part for part in chain.circuit.parts if part.name == "clamp_capacitance"]
    model = chain.circuit.others[-1].text
    text = "\n".join(
        [
            "* a clamp and a source",
            model,
            "vdrive a 0 dc 0 sin(0 0.05 1e6)",
            part.card("a", "0", 100e-12),
            ".options reltol=1e-6 abstol=1e-15 chgtol=1e-18",
            ".control",
            "tran 1n 8u 0 1n",
            "fourier 1e6 vdrive#branch",
            "quit 0",
            ".endc",
            ".end",
        ]
    )
    rows = [line.split() for line in batch(text + "\n", tmp_path).splitlines()]
    magnitude = {words[0]: float(words[2]) for words in rows if len(words) == 6 and words[0].isdigit()}
    omega = 2 * np.pi * 1e6
    assert magnitude["1"] == pytest.approx(100e-12 * 0.05 * omega, rel=0.01)
    assert magnitude["2"] == pytest.approx(100e-12 * 0.4 * 0.05**2 * omega / (2 * 0.7), rel=0.02)


def test_a_clamp_adds_mismatch(tmp_path):
    """5 pF 20 % is what moves a follower's gain most: 8.69 x 5/54 % dB for each per cent (hand calculation)."""
    path = write_study(
        tmp_path,
        amplifier={"circuit": "voltage-follower", "opamp": "OPA810", "clamp_capacitance": "5p"},
        bands={"frequencies": ["1.85M"]},
        run={"units": 64},
    )
    study = read_study(path)
    arrays, failures = simulate(study, "1-of-1")
    assert not failures
    units = arrays["units"]
    gain = Response("gain_db", 1.85e6, arrays["banded"][0, :, BANDED.index("gain_db"), 0])
    table = drivers_table(0, [gain], unit_table(study, chain_of(study), units), units, study.run.build)
    leading = table.loc[table["share"].idxmax()]
    assert leading["part"] == "clamp_capacitance" and leading["share"] > 0.5
    assert leading["slope_per_percent"] == pytest.approx(-8.686 * 5 / 54 / 100, rel=0.1)
