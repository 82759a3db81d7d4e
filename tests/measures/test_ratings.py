"""Ratings at rest: over all units, at corners that no unit met, and in words; against arithmetic."""

import json
import math
import re

import numpy as np
import pytest

from sim.cli import main
from sim.deck.build import chain_of
from sim.engine.isolate import Failed, isolated
from sim.measures.corners import Corner, CornerWorker, corner_values, corners_of
from sim.measures.panel import SINGLE
from sim.measures.ratings import RATINGS, RESTING
from sim.opamp.catalogue import load_opamp
from sim.sampling.draw import IQ_LEAST, IQ_MOST
from sim.steps.simulate import main as simulate_step
from sim.steps.summarise import main as summarise_step
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from sim.summary.describe import describe
from sim.summary.ratings import RatedScenario, ratings_table, ratings_told
from sim.tables import read_csv
from tests.small_studies import answers, measured, write_study

LINE = {"cable": "rg6-cu", "length": "100 m"}
FAR = {"run": {"units": 3, "temperature": "-30..60"}, "feedline": LINE}


def _run(tmp_path, **tables):
    """A run of the two steps in this process: its answer, ratings.csv and the summary's words."""
    file = write_study(tmp_path, **tables)
    names = [str(tmp_path / name) for name in ("1.npz", "1.csv")]
    simulate_step([str(file), "--chunk", "1-of-1", "--measures", names[0], "--failures", names[1]])
    summarise_step([str(file), "--out", str(tmp_path), "--chunks", names[0], "--failures", names[1]])
    answer = json.loads((tmp_path / "answer.json").read_text(encoding="utf-8"))
    return answer, read_csv(tmp_path / "ratings.csv"), " ".join(describe(answer).split())


def test_a_violation_at_a_corner_is_found_with_few_units(tmp_path):
    """12 V 6 % brings 12.72 V, less the drop of 5 mA through line and filter 12.2 V: over OPA2822's 12 V."""
    answer, table, said = _run(tmp_path, **FAR, supply={"voltage": "12 V 6%"})
    row = table[table["rating"] == "supply, most"].iloc[0]
    assert row["outside"] == 0 and row["verdict"] == "outside at a corner" and row["limit"] == 12
    assert row["corner_temperature_c"] == -30 and row["corner_supply_v"] == pytest.approx(12.72)
    assert row["corner_iq_share"] == pytest.approx(math.exp(-0.12))
    assert answer["passes"] is None  # a finding, not a limit of the study
    assert re.search(r"At a corner that no drawn unit met \(supply 12.72 V, -30 °C, quiescent current 11 % below", said)
    assert "OPA2822 (Xamp) would stand on 12." in said and "its limit is 12 V." in said


def test_the_corner_is_what_arithmetic_gives(tmp_path):
    """Volts at OPA2822 at all eight corners: source less current times line and filter, by hand, within 1 mV."""
    study = read_study(write_study(tmp_path, **FAR, supply={"voltage": "10 V 5%"}))
    chain = chain_of(study)
    corners = corners_of([study])
    assert len(corners) == 8
    record, worker = load_opamp("OPA2822"), CornerWorker([study])
    for corner in corners:
        at = worker(corner)
        assert at.supply_v == pytest.approx(10.5 if corner.most else 9.5)
        iq = record.iq * (1 + 1.5e-3 * (corner.temperature_c - 25)) * corner.iq_share
        line = chain.route.supply_resistance(corner.temperature_c)
        parts = {part.name: part.value.value for part in chain.circuit.parts}
        # The divider hangs behind the filter's resistor, and so does the bias current of the mid input.
        other = at.supply_v / (parts["R1"] + parts["R2"])
        volts = at.resting[0, RESTING.index("volts")]
        expected = at.supply_v - (line + parts["Rs"]) * (iq + volts / (parts["R1"] + parts["R2"]) + 8e-6)
        assert volts == pytest.approx(expected, abs=2e-3), other


def test_corners_hold_what_stands_before_the_amplifier(tmp_path):
    """With a regulator its tolerance counts, with the dropout and other currents the other way round."""
    supply = {"voltage": "12 V 5%", "regulator": "8 V 2%", "dropout": "1 V 20%", "extra_current": "10 mA 30%"}
    study = read_study(write_study(tmp_path, **FAR, supply=supply))
    chain = chain_of(study)
    most, least = (corner_values(study, chain, Corner(0, end, 60.0, 1.0)).outside.feed for end in (True, False))
    assert (most.regulator, least.regulator) == pytest.approx((8.16, 7.84))
    assert (most.dropout, least.dropout) == pytest.approx((0.8, 1.2))
    assert (most.extra_current, least.extra_current) == pytest.approx((7e-3, 13e-3))
    assert most.resistance == pytest.approx(chain.route.supply_resistance(60.0))


def test_a_corner_without_an_operating_point_is_told(tmp_path):
    """V²/4R: 2.5 W pass 9.1 ohm at 12 V, not the 10.5 ohm of 60 °C at 9.6 V (2.2 W): named, not dropped."""
    supply = {"voltage": "12 V 20%", "converter_power": "2.5 W"}
    line = {"cable": "rg6-cu", "length": "300 m"}
    study = read_study(write_study(tmp_path, run={"temperature": "-30..60"}, feedline=line, supply=supply))
    found = [answer for _, answer in isolated(lambda: CornerWorker([study]), corners_of([study]))]
    lost = [corner for corner, answer in zip(corners_of([study]), found, strict=True) if isinstance(answer, Failed)]
    assert len(lost) == 2 and not any(corner.most or corner.temperature_c < 60 for corner in lost)
    corners = tuple(zip(corners_of([study]), found, strict=True))
    rated = RatedScenario(0, (), np.zeros((1, 0, len(RESTING))), np.array([np.inf]), (), corners)
    table = ratings_table([rated], np.array([0]), lambda *_: (20.0, 12.0))
    told = ratings_told(table, {0: "as designed"})
    assert told and told[0].startswith("At a corner (") and "converter asks for 2.5 W" in told[0]


def test_a_regulator_that_starves_at_a_corner(tmp_path):
    """8 V and 0.5 V of dropout are there in the drawn units, and not with the supply 3 % low: 8.46 V."""
    supply = {"voltage": "8.72 V 3% normal", "regulator": "8 V"}
    _, table, said = _run(tmp_path, run={"units": 2}, feedline={"length": "30 m", "cable": "rg6-cu"}, supply=supply)
    row = table[table["rating"] == "supply reserve"].iloc[0]
    assert (row["part"], row["verdict"], row["outside"]) == ("unit", "outside at a corner", 0)
    # The least supply less the drop of some 5 mA in 0.9 ohm of line, against 8.5 V.
    assert row["corner_worst"] == pytest.approx(8.72 * 0.97 - 5.5e-3 * 0.9 - 8.5, abs=2e-3)
    assert f"a unit gets {-row['corner_worst']:.2f} V less supply than it needs" in said


def test_units_on_too_much_are_counted_and_told(tmp_path):
    """12.6 V at an op-amp of 12 V: computed, since within a tenth, and said with its number of units."""
    answer, table, said = _run(tmp_path, run={"units": 3}, feedline={"length": "0"}, supply={"voltage": "13 V 1%"})
    row = table[table["rating"] == "supply, most"].iloc[0]
    assert (row["outside"], row["units"], row["verdict"], row["not_computed"]) == (3, 3, "outside", 0)
    assert row["worst"] == pytest.approx(row["supply_v"] - 0.1e3 * 5.6e-3, abs=0.1)
    assert f"OPA2822 (Xamp) would stand on {row['worst']:.4g} V in 3 of 3 units; its limit is 12 V." in said
    assert answer["failed"] == 0


def test_what_only_a_corner_shows_is_told_beside_what_units_show(tmp_path):
    """Choices in which units stand on too much, and another in which only the corner does: one finding for both."""
    line, vary = {"length": "0"}, {"supply.voltage": ["13 V 1%", "12.2 V 5% normal"]}
    _, table, said = _run(tmp_path, run={"units": 2}, feedline=line, vary=vary)
    assert list(table.loc[table["rating"] == "supply, most", "verdict"]) == ["outside", "outside at a corner"]
    assert "in 2 of 2 units with 13 V 1%; its limit is 12 V." in said
    assert "With 12.2 V 5% normal only a corner shows it: 12." in said and said.count("its limit is 12 V") == 1


def test_units_not_computed_are_counted_too(tmp_path):
    """An op-amp of 5 V on 12 V gives no number, and its rating says how many units that were."""
    amplifier = {"circuit": "transimpedance", "opamp": "LTC6268"}
    _, table, said = _run(tmp_path, amplifier=amplifier, run={"units": 2})
    row = table[table["rating"] == "supply, most"].iloc[0]
    assert (row["outside"], row["not_computed"], row["units"], row["limit"]) == (2, 2, 2, 5.25)
    assert math.isnan(row["worst"]) and row["corner_worst"] > 11
    assert "LTC6268 (Xamp) would stand on" in said


def test_an_output_that_is_stuck_is_never_good(tmp_path):
    """10 uA through a megohm: every unit of a bipolar follower fails without a limit of the study; a FET's stands."""
    follower = {"circuit": "voltage-follower", "opamp": "OPA2822"}
    answer, table, said = _run(tmp_path, amplifier=follower, run={"units": 3})
    assert answer["passes"] is False and answer["yields"][0]["measure"] in ("input_reserve_v", "output_reserve_v")
    outside = set(table.loc[table["verdict"] == "outside", "rating"])
    assert outside & {"output above negative supply", "input above negative supply"}
    assert "count as outside the limits" in said and "The study sets no limits" not in said
    fet = {"circuit": "voltage-follower", "opamp": "OPA810"}
    answer, table, _ = _run(tmp_path, amplifier=fet, run={"units": 3})
    assert answer["passes"] is None and set(table["verdict"]) == {"kept"}


def test_reserves_are_distances(tmp_path):
    """Of the nominal unit: half the supply at the input and at the output, less the record's numbers and 0.1 V."""
    path = write_study(tmp_path, feedline={"length": "0"})
    (found,), (answer,), record = measured(path), answers(path), load_opamp("OPA2822")
    resting = dict(zip(RESTING, answer.resting[0], strict=True))
    out, above = found["output_dc_v"], resting["input_above"]
    # 8 uA out of the middle of 10k and 10k is 40 mV, and through 22k of feedback 0.18 V the other way.
    assert above == pytest.approx(resting["volts"] / 2 - 8e-6 * 5e3, abs=2e-3)
    assert out - above == pytest.approx(8e-6 * 22e3, abs=5e-3)
    assert found["output_reserve_v"] == pytest.approx(min(out, resting["volts"] - out) - record.headroom - 0.1)
    assert found["input_reserve_v"] == pytest.approx(above - record.cm_low, abs=1e-6)
    assert {"input_reserve_v", "output_reserve_v"} <= set(SINGLE)


def test_a_warm_fet_behind_a_large_resistor(tmp_path):
    """2 pA of 25 °C are 22.6 pA at 60 °C (2^3.5): behind a gigaohm 22.6 mV, in the deck, within 1 %."""
    own = {"circuit": "voltage-follower", "opamp": "OPA656", "parts": {"Rg": "1G 5%"}}
    rests = []
    for celsius in ("25", "60"):
        study = read_study(write_study(tmp_path, amplifier=own, run={"temperature": celsius, "units": 1}))
        chain = chain_of(study)
        found = CornerWorker([study])(Corner(0, True, float(celsius), 1.0))
        volts, above, *_ = found.resting[0]
        rests.append(volts / 2 - above)
        assert chain.opamps[0].ib == pytest.approx(2e-12)
    assert rests[1] - rests[0] == pytest.approx(1e9 * 2e-12 * (2**3.5 - 1), rel=0.02)


def test_limits_come_from_the_record():
    """Each rating's limit is the record's own number, an output's 0.1 V inside it."""
    record = load_opamp("OPA656")
    limits = {rating.name: rating.limit(record) for rating in RATINGS}
    assert limits == pytest.approx(
        {
            "supply, most": 12,
            "supply, least": 8,
            "input above negative supply": 0.7,
            "input below positive supply": 2.5,
            "output above negative supply": 1.2,
            "output below positive supply": 1.2,
            "output current at rest": 0.07,
        }
    )
    assert IQ_LEAST * IQ_MOST == pytest.approx(1)


def test_a_rating_from_memory_is_marked(tmp_path):
    """A finding that rests on a number nobody read says so in its sentence and in the table; others do not."""
    amplifier = {"circuit": "transimpedance", "opamp": "OPA656"}
    _, table, said = _run(tmp_path, amplifier=amplifier, run={"units": 2}, supply={"voltage": "14.5 V 1%"})
    record = load_opamp("OPA656")
    marks = dict(zip(table["rating"], table["verified"], strict=True))
    for rating in RATINGS:
        assert marks[rating.name] == int(record.status(rating.key) == "seen"), rating.name
    assert "its limit is 12 V (not verified against a data sheet)" in said


def test_check_says_it_without_running(tmp_path, capsys, monkeypatch):
    """12 V 5 % may bring 12.6 V to an op-amp of 12 V; what a long line leaves is said too."""
    monkeypatch.setenv("COLUMNS", "200")
    assert main(["check", str(write_study(tmp_path))]) == 0
    assert "12 V ±5 % may bring 12.6 V; OPA2822's range ends at 12 V." in " ".join(capsys.readouterr().out.split())
    assert main(["check", str(write_study(tmp_path, supply={"voltage": "5.2 V 5%"}, feedline=LINE))]) == 0
    words = " ".join(capsys.readouterr().out.split())
    assert "may leave 4.9" in words and "OPA2822's range begins at 5 V." in words and "may bring" not in words
    assert len(scenarios(read_study(write_study(tmp_path)))) == 1
