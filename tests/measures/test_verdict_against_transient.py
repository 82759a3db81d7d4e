"""Verdicts of units against the same decks left to themselves after a kick (outside check: transient analysis)."""

import numpy as np
import pytest

from sim.deck.assemble import assemble
from sim.deck.build import chain_of, unit_table, unit_values
from sim.engine.ngspice import Simulator
from sim.engine.sweep import plan_for, run_unit
from sim.measures.panel import unit_measures
from sim.measures.supply import rest
from sim.measures.surroundings import reader, surroundings
from sim.study.read import read_study
from tests.conftest import SMALL


def _unit(tmp_path, circuit, opamp):
    """Deck, verdict and simulator of the nominal unit."""
    text = SMALL.replace('"transimpedance"', f'"{circuit}"').replace('"OPA2822"', f'"{opamp}"')
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    study = read_study(tmp_path / "study.toml")
    chain = chain_of(study)
    plan = plan_for(study.bands.frequencies, [record.gbw_hz for record in chain.opamps])
    deck = assemble(chain, unit_values(chain, unit_table(study, chain, np.array([0])), 0, 0))
    simulator = Simulator()
    run = run_unit(simulator, deck, plan)
    around = surroundings(study, chain, run.freq_hz, plan.high_hz)
    at_rest = rest(run.operating, deck)
    found = unit_measures(run, at_rest, around, reader(run, at_rest, around))
    return deck, found.verdict_matched, simulator


def _kicked(simulator, deck, step, stop):
    """Output after a current pulse of 1 mA into it: early and late swing. [V]"""
    kick = f"pulse(0 1m {stop / 100!r} {step!r} {step!r} {stop / 50!r})"
    lines = tuple(f"{line} {kick}" if line.startswith("iz_out ") else line for line in deck.lines)
    simulator.load(lines, (deck.output, "time"))
    simulator.command(f"tran {step!r} {stop!r} 0 {step!r}")
    t, v = simulator.vector("time").real, simulator.vector(deck.output).real
    early = np.ptp(v[(t > 0.05 * stop) & (t < 0.2 * stop)])
    return early, np.ptp(v[t > 0.85 * stop])


def test_an_open_network_with_unstable_poles_can_close_into_a_stable_loop(tmp_path):
    """120 dB and a supply filter: P = 2 at 2.3 kHz, N = 2, so nothing is unstable; the kick dies away.

    A verdict that asks for N = 0 would call this unit unstable.
    """
    deck, verdict, simulator = _unit(tmp_path, "transimpedance", "OPA810")
    assert (verdict.open_poles, verdict.encirclements, verdict.resolved) == (2, 2, True)
    assert verdict.stable
    early, late = _kicked(simulator, deck, 2e-6, 20e-3)
    assert late < 0.02 * early


@pytest.mark.parametrize("opamp", ["OPA657"])
def test_a_decompensated_part_as_follower_oscillates(tmp_path, opamp):
    """An op-amp for gains from 7 at a gain of 1: two unstable poles, and the kick grows to a standing oscillation."""
    deck, verdict, simulator = _unit(tmp_path, "voltage-follower", opamp)
    assert verdict.unstable_poles == 2
    assert not verdict.stable
    early, late = _kicked(simulator, deck, 1e-10, 4e-7)
    assert late > 0.05
    assert late > 0.5 * early
