"""The loop with another termination, against the deck that holds that termination."""

import numpy as np
import pytest

from sim.deck.assemble import assemble
from sim.deck.build import chain_of, unit_table, unit_values
from sim.deck.chain import REFERENCE_LOAD
from sim.engine.ngspice import Simulator
from sim.engine.sweep import plan_for
from sim.measures.loop import loop_gain
from sim.stability.plane import input_plane, output_plane
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from tests.conftest import ROOT

STUDY = scenarios(read_study(ROOT / "studies" / "marsh-square.toml"))[0].study
CHAIN = chain_of(STUDY)
PLAN = plan_for(STUDY.bands.frequencies, [record.gbw_hz for record in CHAIN.opamps])


@pytest.fixture(scope="module")
def simulator():
    """One simulator for all decks."""
    return Simulator()


def deck_of(unit):
    """A unit's deck."""
    table = unit_table(STUDY, CHAIN, np.array([unit]))
    return assemble(CHAIN, unit_values(CHAIN, table, 0, unit))


def swept(simulator, deck, lines=None):
    """All responses of a deck, with other lines if given."""
    simulator.load(lines or deck.lines, tuple(dict.fromkeys(deck.reads)))
    simulator.operating_point([])
    rows = []
    for drive in deck.drives:
        simulator.excite(deck.drives, drive)
        found = simulator.ac(PLAN.ac, dict.fromkeys(deck.reads))
        rows.append([found[name] for name in deck.reads])
    return found["frequency"], np.array(rows)


def distance(values):
    """1 + T of the first probe as its own injections give it."""
    return 1 + loop_gain(values[0, 3], values[0, 4], values[1, 3], values[1, 4])


def test_lines_in_the_deck(simulator):
    """1 + T on 50 random lines is what the deck with the line says, at every frequency, within 1e-6 (outside check)."""
    rng = np.random.default_rng(11)
    worst = 0.0
    for unit in range(5):
        deck = deck_of(unit)
        freq, values = swept(simulator, deck)
        plane = output_plane(values, freq, REFERENCE_LOAD, 0)
        place = next(i for i, line in enumerate(deck.lines) if line.lower().startswith("rz_load"))
        for _ in range(10):
            z0, delay, far = rng.uniform(40, 120), 10 ** rng.uniform(-9, -6), 10 ** rng.uniform(-1, 5)
            line = [f"tz_line out 0 z_far 0 z0={z0!r} td={delay!r}", f"rz_far z_far 0 {far!r}"]
            _, there = swept(simulator, deck, (*deck.lines[:place], *line, *deck.lines[place + 1 :]))
            turn = 1j * np.tan(2 * np.pi * freq * delay)
            admittance = (z0 + far * turn) / (far + z0 * turn) / z0
            worst = max(worst, np.abs(plane.distance(admittance)[0] / distance(there) - 1).max())
    assert worst < 1e-6


def test_sources_in_the_deck(simulator):
    """The same at the input: 1 + T with an inductor in the antenna's lead, as the deck says (outside check)."""
    deck = deck_of(0)
    freq, values = swept(simulator, deck)
    emf = next(i for i, line in enumerate(deck.lines) if line.lower().startswith("vz_emf"))
    words = deck.lines[emf].split()
    source = CHAIN.antenna.impedance(freq)
    plane = input_plane(values, freq, source, 0)
    for inductance in (0.1e-6, 1e-6, 5e-6):
        # The emf moves one node back, the inductor takes its place.
        moved = [" ".join([words[0], "z_lead", *words[2:]]), f"lz_lead z_lead {words[1]} {inductance!r}"]
        _, there = swept(simulator, deck, (*deck.lines[:emf], *moved, *deck.lines[emf + 1 :]))
        found = plane.distance(source + 2j * np.pi * freq * inductance)[0]
        assert np.abs(found / distance(there) - 1).max() < 1e-6
