"""Resistors before and behind a circuit, and advice for a design that is not stable enough."""

import json

import numpy as np
import pandas as pd
import pytest

from sim.constants import K_B
from sim.deck.build import chain_of
from sim.errors import StudyError
from sim.stability.changes import first_round, with_change
from sim.stability.mend import Needed, mend
from sim.steps import sample
from sim.study.preferred import steps_from
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from tests.conftest import ROOT
from tests.small_studies import answers, export, measured, write_study

AMPLIFIER = {"circuit": "transimpedance", "opamp": "OPA2822"}
SHORT = {"cables": ["rg6-ccs"], "lengths": ["2 m", "8 m", "11 m"], "far_ends": ["open", "short"]}


def with_series(tmp_path, **series):
    """Measures of the demo's amplifier with these resistors."""
    return measured(write_study(tmp_path, amplifier={**AMPLIFIER, **series}))[0]


def test_output_resistor_divides_as_by_hand(tmp_path):
    """47 ohm behind 75 ohm into 50 ohm: 125/172 of the voltage, and a return loss of 12.5 dB (hand calculation)."""
    before, after = with_series(tmp_path), with_series(tmp_path, series_output="47")
    # The closed-loop output resistance of the op-amp, some tenths of an ohm at 7 MHz, adds to Ro.
    np.testing.assert_allclose(after["gain_db"] - before["gain_db"], 20 * np.log10(125 / 172), atol=0.02)
    # |122 − 75|/(122 + 75)
    np.testing.assert_allclose(after["output_match_db"], -20 * np.log10(47 / 197), atol=0.35)


def test_thermal_noise_of_the_output_resistor(tmp_path):
    """Its noise at the output is 4 k T R, divided by load and source resistance (hand calculation)."""
    path = write_study(tmp_path, amplifier={**AMPLIFIER, "series_output": "47"})
    (answer,) = answers(path, contributors=True)
    share = answer.contributions["rz_series_output"] / answer.measures.receiver_share
    # 75 ohm load, 75 ohm + 47 ohm source; the unit is at 20 °C.
    expected = 4 * K_B * 293.15 * 47 * (75 / 197) ** 2
    np.testing.assert_allclose(np.median(share), expected, rtol=0.01)


def test_thermal_noise_of_the_input_resistor(tmp_path):
    """Referred to the antenna's emf it adds 4 k T R to what is there (hand calculation)."""
    path = write_study(
        tmp_path,
        amplifier={**AMPLIFIER, "series_input": "220"},
        antenna={"model": "plain", "effective_height": "3 m", "capacitance": "60p"},
    )
    (answer,) = answers(path, contributors=True)
    curves = answer.measures.curves
    emf = answer.contributions["rz_series_input"] / 10 ** (curves[2] / 10)
    np.testing.assert_allclose(emf, 4 * K_B * 293.15 * 220, rtol=0.01)


def test_none_and_zero_change_no_bit(tmp_path):
    """A resistor of 0 ohm is not there: every measure is the same to the last bit."""
    before, after = with_series(tmp_path), with_series(tmp_path, series_output="0", series_input="0")
    for name, values in before.items():
        np.testing.assert_array_equal(values, after[name], err_msg=name)


def test_it_is_a_part_with_a_name(tmp_path):
    """It is drawn under its name without moving other draws, stands in units.parquet and in the exported deck."""
    drawn = {}
    for name, series in (("without", {}), ("with", {"series_output": "47 5%"})):
        path = write_study(tmp_path, amplifier={**AMPLIFIER, **series}, run={"units": 20}, name=f"{name}.toml")
        sample.main([str(path), "--out", str(tmp_path / name)])
        drawn[name] = pd.read_parquet(tmp_path / name / "units.parquet")
    own = drawn["with"].pop("series_output")
    pd.testing.assert_frame_equal(drawn["without"], drawn["with"])
    assert own[0] == 47.0 and 44.65 <= own.min() < 46 and 48 < own.max() <= 49.35
    assert "rz_series_output out z_output 47.0" in export(path, "netlist")


def test_resistors_can_be_varied(tmp_path):
    """Both may stand under [[vary]], and 0 is none."""
    path = write_study(tmp_path, vary={"amplifier.series_output": ["0", "100"]})
    first, second = measured(path)
    assert second["gain_db"][0] < first["gain_db"][0] - 4
    sample.main([str(path), "--units", "3", "--out", str(tmp_path / "out")])
    assert pd.read_parquet(tmp_path / "out" / "units.parquet")["series_output"][0] == 100.0


def test_resistor_out_of_range(tmp_path):
    """A megohm in the signal's way is refused with what would do."""
    path = write_study(tmp_path, amplifier={**AMPLIFIER, "series_output": "1M"})
    with pytest.raises(StudyError, match="amplifier.series_output"):
        read_study(path)


def test_limit_on_a_loop_needs_a_probe(tmp_path):
    """A circuit without a probe and a limit on its stability are refused with line, key, found and remedy."""
    text = (ROOT / "circuits" / "amplifiers" / "transimpedance.cir").read_text(encoding="utf-8")
    text = text.replace("Xloop drv  fbk  probe", "Rloop drv fbk 1m ; 1%  wire")
    (tmp_path / "bare.cir").write_text(text, encoding="utf-8")
    path = write_study(
        tmp_path, amplifier={**AMPLIFIER, "circuit": "bare.cir"}, limits={"gain_db": "> 1", "stable": "> 0.5"}
    )
    study = read_study(path)
    with pytest.raises(StudyError) as caught:
        chain_of(study)
    (fault,) = caught.value.faults
    assert (fault.key, fault.line) == ("limits.stable", study.line_of("limits.stable"))
    assert "has no loop probe" in fault.found and "take the limit out" in fault.remedy


def test_steps_of_a_series():
    """The next values of E12 (IEC 60063) above and below, whether or not the value is one of them."""
    assert [text for _, text in steps_from(1e-11, True, 3)] == ["12p", "15p", "18p"]
    assert [text for _, text in steps_from(2.3e3, False, 2)] == ["2.2k", "1.8k"]


def test_every_part_and_both_resistors_are_tried(tmp_path):
    """The first round holds each part up and down, both resistors, and op-amps that bear the supply."""
    study = scenarios(read_study(write_study(tmp_path)))[0].study
    chain = chain_of(study)
    changes = first_round(study, chain)
    ladders = {change.ladder for change in changes}
    assert {f"{part.name} {way}" for part in chain.circuit.parts for way in ("up", "down")} <= ladders
    assert {"series_output", "series_input", "slower op-amp", "faster op-amp"} <= ladders
    names = {change.value for change in changes if change.key == "amplifier.opamp"}
    assert "OPA2822" not in names
    for change in changes:
        assert with_change(study, change).study != study


def bad(tmp_path, **tables):
    """The bad example on three lengths of line."""
    return write_study(tmp_path, amplifier={"circuit": "bad-example", "opamp": "OPA2822"}, stability=SHORT, **tables)


@pytest.mark.slow
def test_the_first_advice_mends(tmp_path):
    """The bad example is not stable; what is advised first, written into its study, makes it stable with margin."""
    scenario = scenarios(read_study(bad(tmp_path)))[0]
    needed = Needed(0.5, 0.4, {})
    found = mend(scenario, (0, 1), (1, 2, 3), needed)
    assert not found.stable and found.margin is None
    first = found.recommended[0]
    assert first.verified == first.verified_good == 3
    assert first.change.key == "amplifier.series_output"
    key = first.change.key.partition(".")[2]
    (answer,) = answers(
        write_study(
            tmp_path,
            amplifier={"circuit": "bad-example", "opamp": "OPA2822", key: first.change.value},
            stability=SHORT,
        )
    )
    single, lines = answer.measures.single, answer.measures.lines
    assert single[0] >= 0.5 and single[5] == 1 and lines.margin.min() >= 0.4


@pytest.mark.slow
def test_advice_end_to_end(tmp_path):
    """A run of the bad example writes mending.csv, says what to change, and the report shows it in a table."""
    from sim.cli import main

    path, out = bad(tmp_path, run={"units": 4}, limits={"stable": "> 0.5"}), tmp_path / "out"
    assert main(["run", str(path), "--out", str(out), "--cores", "1"]) == 0
    answer = json.loads((out / "answer.json").read_text(encoding="utf-8"))
    (entry,) = answer["mending"]
    assert entry["unstable_units"] == 4 and entry["advice"][0]["verified_good"] == 4
    assert any(sentence.startswith("What to change: ") for sentence in answer["verdict"])
    assert "What to change" in (out / "report.html").read_text(encoding="utf-8")
    assert (out / "mending.csv").is_file()
