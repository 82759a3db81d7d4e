"""The antennas of ``[stability]``: from the words of a study to rows, words and the trial of both ends together."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sim.columns import TABLES
from sim.deck.assemble import assemble
from sim.deck.build import chain_of, unit_table, unit_values
from sim.engine.isolate import Failed
from sim.errors import StudyError
from sim.quantity import parse_part
from sim.stability.both_ends import Pair, Together, TogetherWorker, deck_with, source_cards
from sim.stability.judged import study_loads, study_sources
from sim.stability.sources import Source, input_network, judge_sources
from sim.steps.cautions import cautions
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from sim.summary.antennas import AllAntennas, Antennas, antenna_rows, antenna_words, antennas_of, antennas_told
from sim.summary.together import hidden_told, pairs_of, together_rows, together_told

STUDIES = Path(__file__).parents[2] / "studies"
STUDY = """
title = "Any antenna"
[amplifier]
circuit = "transimpedance"
opamp = "OPA810"
[antenna]
model = "short-vertical"
height = "7 m"
radius = "8 mm"
[run]
units = 4
[stability]
cables = ["rg58"]
lengths = ["0.5 m", "5 m"]
far_ends = ["open", "short"]
leads = ["1u"]
capacitances = [0.5]
"""


@pytest.fixture(scope="module")
def every(tmp_path_factory):
    """The study's scenarios."""
    file = tmp_path_factory.mktemp("study") / "any.toml"
    file.write_text(STUDY, encoding="utf-8")
    return scenarios(read_study(str(file)))


def test_the_family(every):
    """Removed, shorted and nominal, no lead and the own capacitance always among them."""
    sources = study_sources(every[0].study)
    assert sources[0] == Source("removed")
    assert sources[1:3] == (Source("shorted"), Source("shorted", 1.0, 1e-6))
    assert {(s.share, s.inductance) for s in sources[3:]} == {(k, h) for k in (0.5, 1.0) for h in (0.0, 1e-6)}


def test_the_deck_says_what_the_map_says(every):
    """A unit with another antenna in its deck, the line matched, has the margin and the poles of the map."""
    sources = study_sources(every[0].study)
    worker = TogetherWorker(every, sources)
    own = worker(Pair(0, sources.index(Source()), 1))
    assert own.matched_poles == 0
    for place, source in enumerate(sources):
        found = worker(Pair(0, place, 1))
        network = _network(every[0].study)
        expected = judge_sources(network, (source,))
        assert found.matched == pytest.approx(expected.margin[0], rel=0.02, abs=5e-3), source
        assert found.matched_poles == expected.unstable[0]
        assert found.margin.shape == (len(study_loads(every[0].study)),)


def _network(study):
    from sim.deck.assemble import assemble
    from sim.deck.build import chain_of, unit_table, unit_values
    from sim.engine.ngspice import Simulator
    from sim.engine.sweep import plan_for, run_unit
    from sim.measures.panel import deciding
    from sim.measures.rational import choose_support, fit_weights

    chain = chain_of(study)
    deck = assemble(chain, unit_values(chain, unit_table(study, chain, np.array([1])), 0, 1))
    run = run_unit(Simulator(), deck, plan_for(study.bands.frequencies, [o.gbw_hz for o in chain.opamps]))
    s, flat = 2j * np.pi * run.freq_hz, run.values.reshape(-1, len(run.freq_hz))
    rows = deciding(*run.values.shape[:2])
    support = choose_support(s, flat, rows)
    return input_network(run.values, run.freq_hz, fit_weights(s, flat, support, rows)[0], support)


def test_cards_of_a_source():
    """Elements are divided as impedances, what hung at the input hangs behind the lead, hidden nodes stay."""
    own = ("rz_a in z_1 10.0 noisy=0", "cz_a z_1 z_emf 2e-11")
    lead, resistor, capacitor = source_cards(own, Source("nominal", 2.0, 1e-6))
    assert lead == "lz_lead in z_lead 1e-06"
    assert resistor.split() == ["rz_a", "z_lead", "z_1", "5.0", "noisy=0"]
    assert capacitor.split() == ["cz_a", "z_1", "z_emf", "4e-11"]
    with pytest.raises(ValueError, match="neither R, L nor C"):
        source_cards(("kz_a lz_1 lz_2 0.5",), Source("nominal", 2.0))


def _kept(poles):
    """Verdicts of three units, two of them drawn, on two sources."""
    antennas = Antennas.empty(1, 3, 2)
    antennas.margin[0] = [[0.9, 0.9], [0.7, 0.8], [0.6, 0.1]]
    antennas.freq_hz[0] = [[1e6, 1e6], [2e6, 2e6], [3e6, 85e6]]
    antennas.poles[0] = poles
    antennas.conductance[0] = [1e-6, 1e-6, -2e-6]
    return antennas


def test_rows_and_words():
    """The unit that decides, how many oscillate and where, and the verdict in words; an unresolved one is no pass."""
    sources, units = (Source("removed"), Source("nominal", 0.5, 1e-6)), np.arange(3)
    told = []
    for poles in ([[0, 0], [0, 0], [0, 2]], [[0, 0], [0, 0], [0, -1]], [[0, 0], [0, 0], [0, 0]]):
        antennas = _kept(poles)
        table = antenna_rows(antennas, [0], units, sources, [20e-12])
        assert tuple(table.columns) == TABLES["antennas.csv"]
        [entry] = antennas_of(antennas, [0], units, table)
        assert isinstance(entry, AllAntennas)
        told.append(" ".join(antennas_told([entry], {0: "as designed"}, 0)))
    assert table["capacitance_f"].iloc[1] == pytest.approx(10e-12)
    assert table["unit"].tolist() == [2, 2]
    assert "no, 1 of 2 units oscillates with one or more of 2 antennas; input conductance down to -2 uS" in told[0]
    assert "1 uH of lead and an antenna of 10 pF (0.5 of its own capacitance): 1 of 2 units oscillates" in told[0]
    assert "near 85 MHz" in told[0]
    assert "no, 1 could not be judged and count" in told[1]
    assert "yes, all 2 units with 2 antennas, smallest margin 0.10" in told[2]
    assert antenna_words("shorted", 1, np.nan, 0) == "the input shorted"


class _Gathered:
    def __init__(self, antennas, lines, units):
        self.antennas, self.lines, self.units, self.scenarios = antennas, lines, units, np.array([0])


def test_both_ends_in_words(every):
    """What neither end shows is said first; a deck that disagrees with the map is said, and what failed."""
    loads = study_loads(every[0].study)
    lines = Antennas.empty(1, 3, len(loads))
    lines.margin[:], lines.poles[:] = 0.8, 0
    gathered = _Gathered(_kept([[0, 0], [0, 0], [0, 0]]), lines, np.arange(3))
    stable = np.zeros(len(loads), dtype=int)
    sure, near = np.ones(len(loads), dtype=bool), np.full(len(loads), 0.05)
    both = stable.copy()
    both[0] = 2
    sources = (Source("removed"), Source("shorted", 1.0, 1e-6))

    def rows(*found):
        pairs = [Pair(0, 1, 2)] * len(found)
        return pd.DataFrame(together_rows(gathered, pairs, found, sources, [loads], [20e-12]))

    def told(*found):
        return together_told(rows(*found), {0: "as designed"})[0]

    good = Together(0.1, 0, near, near * 1e8, stable, sure)
    assert "yes" in told(good) and "disagree" not in told(good)
    hidden = told(Together(0.1, 0, near, near * 1e8, both, sure))
    assert "neither end alone shows that unit 2 with the input shorted through 1 uH of lead" in hidden
    [opening] = hidden_told(rows(Together(0.1, 0, near, near * 1e8, both, sure)), {0: "with 47", 1: "with 0"}, {0})
    assert opening.startswith("Not counted in any yield: with 47: a unit oscillates")
    assert hidden_told(rows(good), {0: "as designed"}, {0}) == []
    assert hidden_told(rows(Together(0.1, 0, near, near * 1e8, both, sure)), {0: "as designed"}, set()) == []
    assert "disagree" in told(Together(0.3, 0, near, near * 1e8, stable, sure))
    assert "disagree" in told(Together(0.1, 2, near, near * 1e8, stable, sure))
    assert "could not be simulated: why" in told(good, Failed("simulate", "why"))
    assert "could not be judged" in told(Together(0.1, 0, near, near * 1e8, stable, ~sure))


def test_which_are_tried():
    """The hardest antennas, each with its own worst unit and that of the worst line; failed scenarios are passed."""
    antennas = pd.DataFrame(
        {
            "scenario": 0,
            "margin_min": [0.9, 0.2, 0.5, 0.4],
            "unstable": 0,
            "unresolved": 0,
            "unit": [1, 2, 3, 4],
            "units": 9,
        }
    )
    lines = pd.DataFrame(
        {
            "scenario": [0, 0, 1],
            "margin_min": [0.9, 0.3, 0.1],
            "unstable": 0,
            "unresolved": 0,
            "unit": 7,
            "units": [9, 9, 0],
        }
    )
    pairs = pairs_of([0, 1], lines, antennas)
    assert [(pair.source, pair.unit) for pair in pairs] == [(1, 2), (1, 7), (3, 4), (3, 7), (2, 3), (2, 7)]


@pytest.mark.parametrize("source", [Source("removed"), Source("shorted", 1.0, 1e-6), Source("nominal", 0.5, 1e-6)])
def test_a_stopper_stays_before_the_circuit(every, source):
    """With a resistor from the study at the input the other antenna stands before that, where the own one stood."""
    study = every[0].study
    amplifier = study.amplifier.model_copy(update={"series_input": parse_part("22", "ohm")})
    study = study.model_copy(update={"amplifier": amplifier})
    chain = chain_of(study)
    deck = assemble(chain, unit_values(chain, unit_table(study, chain, np.array([0])), 0, 0))
    assert chain.circuit.input != "in"
    other = deck_with(deck, chain.antenna, source, chain.circuit.input)
    stopper = [line for line in other.lines if f" {chain.circuit.input} " in f"{line} " and line.startswith("r")]
    assert any(line.split()[2] == "in" for line in stopper)
    # What was in the antenna's place is gone, and the circuit's own input has only the circuit on it.
    assert not set(chain.antenna.netlist(chain.circuit.input, "z_emf", "z_")) & set(other.lines)


def test_two_inputs_try_no_other_antenna(tmp_path):
    """A circuit with two inputs is judged on every feedline alone, which is said; a limit on antennas is refused."""
    text = (STUDIES / "short-dipole.toml").read_text(encoding="utf-8") + '\n[stability]\ncables = ["rg6-ccs"]\n'
    path = tmp_path / "dipole.toml"
    path.write_text(text, encoding="utf-8")
    study = scenarios(read_study(path))[0].study
    assert study_sources(study) == () and study_loads(study)
    assert any("two inputs" in said for said in cautions(study))
    path.write_text(text.replace("[limits]", '[limits]\nantenna_margin = "> 0.3"'), encoding="utf-8")
    with pytest.raises(StudyError, match="two inputs"):
        chain_of(scenarios(read_study(path))[0].study)
