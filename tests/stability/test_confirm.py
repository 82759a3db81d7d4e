"""Proof in time: count and kick of one network, which units are kicked, and what is said of it."""

import json

import numpy as np
import pandas as pd
import pytest

from sim.columns import TABLES
from sim.deck.build import chain_of
from sim.engine.isolate import Failed
from sim.engine.ngspice import Simulator
from sim.feedline.cable import load_cable
from sim.feedline.route import Section
from sim.feedline.tee import Tee
from sim.stability.confirm import Confirmed, ConfirmWorker, Trial
from sim.stability.family import Line, Load
from sim.stability.judged import study_loads, study_sources
from sim.stability.lossless import LosslessLoad
from sim.steps.simulate import simulate
from sim.steps.summarise import main as summarise
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from sim.summary.antennas import Antennas
from sim.summary.confirmed import MOST_FAILING, MOST_KICKS, confirmation_of, confirmed_rows, trials_of
from sim.summary.lines import Lines
from sim.tables import read_csv, write_csv

STUDY = """
title = "What lies in the drawer, with nothing before the line"
[amplifier]
circuit = "transimpedance"
opamp = "NE5532"
[amplifier.parts]
Ro = "75"
[antenna]
model = "short-vertical"
height = "7 m"
radius = "8 mm"
[run]
units = 2
[[vary]]
what = "amplifier.parts.Ro"
values = ["75", "4.7"]
[stability]
cables = ["rg213"]
lengths = ["12 m", "70 m"]
far_ends = ["open", "short", "unplugged"]
leads = ["1u"]
capacitances = [1]
"""
TEE = Tee(choke=1e-4, choke_capacitance=1e-11, choke_loss=2e4, choke_resistance=2.0, block=1e-7)


def test_the_study_end_to_end(tmp_path):
    """The stable choice settles, the unstable one does not, both as counted; the table is made only of these."""
    file = tmp_path / "study.toml"
    file.write_text(STUDY, encoding="utf-8")
    arrays, failures = simulate(read_study(file), "1-of-1")
    np.savez(tmp_path / "chunk.npz", **arrays)
    write_csv(failures, tmp_path / "failures.csv", "failures.csv")
    chunks = ["--chunks", str(tmp_path / "chunk.npz"), "--failures", str(tmp_path / "failures.csv")]
    summarise([str(file), "--out", str(tmp_path / "out"), *chunks])
    table = read_csv(tmp_path / "out" / "confirm.csv")
    assert tuple(table.columns) == TABLES["confirm.csv"]
    assert (table["agree"] == 1).all()
    good, bad = table[table["scenario"] == 0], table[table["scenario"] == 1]
    assert len(good) and (good["transient"] == "settles").all() and (good["unstable_by_count"] == 0).all()
    failing = bad[(bad["why"] == "fails") & (bad["far_end"] != "matched")]
    assert sorted(failing["unit"]) == [1, 2]
    assert (failing["unstable_by_count"] == 2).all()
    assert failing["transient"].isin(["grows", "limit cycle"]).all()
    answer = json.loads((tmp_path / "out" / "answer.json").read_text(encoding="utf-8"))
    found = answer["confirmed"]
    assert found["kicked"] == found["agree"] == len(table)
    assert found["disagree"] == found["failed"] == found["undecided"] == 0
    [told] = [text for text in answer["tried"] if text.startswith("Proof in time")]
    assert f"{len(table)} of {len(table)} agree with the count" in told


@pytest.mark.parametrize("end", ["open", "short", "half", "unplugged"])
@pytest.mark.parametrize("tees", [(None, None), (TEE, TEE)])
def test_elements_are_what_is_counted(end, tees):
    """Admittance of the elements in the simulator is that of the load of the map, tees and several sections too."""
    cables = load_cable("rg6-ccs"), load_cable("rg213")
    for sections in ((), (Section(cables[0], 7.0),), (Section(cables[0], 7.0), Section(cables[1], 3.0))):
        if not sections and end != "unplugged":
            continue
        line = Line("line", sections, *tees, 75.0)
        lossless = LosslessLoad(Load(line, cables[0], end))
        freq_hz = np.geomspace(1e5, 1e8, 31)
        deck = ("a load alone", "iz_in 0 out dc 0 ac 1", "rz_in out 0 1e12", *lossless.cards, ".end")
        simulator = Simulator()
        simulator.load(deck, ("v(out)",))
        simulated = simulator.ac("dec 10 1e5 1e8", ("v(out)",))
        assert simulated["frequency"] == pytest.approx(freq_hz)
        assert simulated["v(out)"] == pytest.approx(_impedance(lossless.counted(freq_hz), freq_hz), rel=2e-3, abs=5e-3)


def _impedance(load, freq_hz):
    from sim.stability.family import build_table

    table = build_table((load,), freq_hz)
    gamma = table.reflections(np.array([0]), freq_hz[None])[0]
    [group] = table.groups
    return (group.u0 + group.u1 * gamma) / (group.v0 + group.v1 * gamma)


def test_a_measured_far_end_is_refused(tmp_path):
    """What is known only as numbers over frequency cannot be kicked, and is not quietly replaced."""
    (tmp_path / "filter.s1p").write_text("# MHz S RI R 50\n1 0 0\n2 0.5 0\n", encoding="ascii")
    text = STUDY.replace('"unplugged"', '"filter.s1p"')
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    study = scenarios(read_study(tmp_path / "study.toml"))[0].study
    assert chain_of(study)
    load = next(load for load in study_loads(study) if load.end_name == "filter.s1p")
    with pytest.raises(ValueError, match="no elements"):
        LosslessLoad(load)


class _Gathered:
    def __init__(self, lines, antennas, units):
        self.lines, self.antennas, self.units, self.scenarios = lines, antennas, units, np.array([0])


def _loads():
    cable = load_cable("rg213")
    lines = [Line("rg213", (Section(cable, length),), None, None, 50.0) for length in (10.0, 20.0)]
    return tuple(Load(line, cable, "open") for line in lines)


def _gathered(count, poles=0.0, margin=0.9):
    units = np.arange(count + 1)
    lines, antennas = Lines.empty(1, len(units), 2), Antennas.empty(1, len(units), 3)
    lines.margin[:], lines.freq_hz[:], lines.poles[:] = margin, 1e7, poles
    antennas.margin[:], antennas.poles[:] = 0.9, 0
    return _Gathered(lines, antennas, units)


def test_which_are_kicked():
    """Failing units worst first and capped, thin ones nearest first, one in a hundred drawn, the rest counted."""
    loads = [_loads()]
    drawn, left_out = trials_of(_gathered(250), loads, 1)
    assert len({trial.unit for trial in drawn}) == 3 and {trial.why for trial in drawn} == {"drawn"}
    assert len(drawn) == 6 and left_out == 0
    assert 0 not in {trial.unit for trial in drawn}
    assert trials_of(_gathered(250), loads, 1) == (drawn, 0)
    assert trials_of(_gathered(250), loads, 2) != (drawn, 0)
    bad = _gathered(250)
    bad.lines.poles[0, 11:31, 1] = 2
    bad.lines.margin[0, 11:31, 1] = np.linspace(0.4, 0.2, 20)
    bad.lines.margin[0, 40:50, 0] = np.linspace(0.59, 0.5, 10)
    bad.antennas.poles[0, 60, 2] = -1
    trials, left_out = trials_of(bad, loads, 1)
    failing = [trial for trial in trials if trial.why == "fails"]
    assert list(dict.fromkeys(trial.unit for trial in failing)) == [30, 29, 28, 27, 26, 25]
    assert len(dict.fromkeys(trial.unit for trial in failing)) == MOST_FAILING
    assert {trial.load for trial in failing} == {1}
    near = [trial.unit for trial in trials if trial.why == "near the limit"]
    assert list(dict.fromkeys(near)) == [49, 48, 47]
    concerned = {*range(11, 31), *range(40, 50), 60, *(trial.unit for trial in drawn)}
    assert len(trials) + left_out == 2 * len(concerned) + 1
    alone = _gathered(3)
    alone.antennas.poles[0, 2, 2] = 2
    found = [trial for trial in trials_of(alone, loads, 1)[0] if trial.why == "fails"]
    assert [(trial.unit, trial.matched, trial.source) for trial in found] == [
        (2, False, None),
        (2, True, None),
        (2, True, 2),
    ]
    assert len(trials) <= MOST_KICKS


@pytest.mark.parametrize(
    ("poles", "resolved", "ending", "agrees"),
    [
        (0, True, "settles", True),
        (2, True, "limit cycle", True),
        (0, True, "grows", False),
        (2, True, "settles", False),
        (2, True, "undecided", None),
        (0, False, "settles", None),
        (0, True, "", None),
    ],
)
def test_agreement(poles, resolved, ending, agrees):
    """Only two clear words can agree or disagree."""
    assert Confirmed(0.3, 1e6, poles, resolved, ending).agrees is agrees


def test_a_disagreement_is_named():
    """Nothing is averaged: the unit, its line, what both ways say and the margin stand in the sentence."""
    trials = [
        Trial(0, 7, "fails", 0),
        Trial(0, 7, "fails", 0, matched=True),
        Trial(0, 8, "drawn", 1),
        Trial(0, 9, "x", 1),
    ]
    found = [
        Confirmed(0.011, 75e6, 2, True, "settles"),
        Confirmed(0.9, 75e6, 0, True, "settles"),
        Confirmed(0.01, 75e6, 0, True, "undecided"),
        Failed("simulate", "why"),
    ]
    table = pd.DataFrame(confirmed_rows([0], trials, found, (), [_loads()], [70e-12]))
    assert table["agree"].tolist() == [0, 1, -1, -1]
    said = confirmation_of(table, 4, {0: "as designed"})
    assert (said.kicked, said.agree, said.disagree, said.undecided, said.failed, said.left_out) == (3, 1, 1, 1, 1, 4)
    [told] = said.told
    assert "1 of 3 agree" in told and "1 disagree" in told and "4 more kicks were left out" in told
    assert "unit 7 with 10 m of rg213 with the far end open is unstable by the count and in time: settles" in told
    assert "margin 0.011 near 75 MHz" in told


def test_a_long_line_is_not_taken_for_growth(tmp_path):
    """Echoes of a line of 130 m come back before anything is compared, and of 2 km it is said that they cannot."""
    from sim.stability.confirm import _watched

    cable = load_cable("rg213")

    def watched(length, end="open"):
        line = Line("rg213", (Section(cable, length),), None, None, 50.0)
        return _watched(LosslessLoad(Load(line, cable, end)), 3.2e8)

    least, most = watched(130.0)
    assert most >= least == pytest.approx(14 * 130 / (cable.velocity_factor * 299792458))
    least, most = watched(2000.0)
    assert least > most
    assert watched(2000.0, "matched")[0] == 0


def test_an_antenna_in_the_deck(tmp_path):
    """A unit with another antenna is counted and kicked as such: alone at its input it is as stable in both ways."""
    (tmp_path / "study.toml").write_text(STUDY, encoding="utf-8")
    every = scenarios(read_study(tmp_path / "study.toml"))
    sources = study_sources(every[0].study)
    found = ConfirmWorker(every, sources)(Trial(0, 1, "x", 0, True, 0))
    own = ConfirmWorker(every, sources)(Trial(0, 1, "x", 0, True))
    assert found.agrees and own.agrees
    assert found.margin != own.margin
