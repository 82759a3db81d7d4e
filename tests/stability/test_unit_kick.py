"""A unit's own deck on a line, kicked: healthy ones come to rest, others do not."""

from dataclasses import dataclass

import numpy as np
import pytest

from sim.deck.assemble import assemble
from sim.deck.build import chain_of, unit_table, unit_values
from sim.engine.ngspice import Simulator
from sim.stability.deck import read_deck
from sim.stability.judge import judge_deck
from sim.stability.transient import Ending
from sim.stability.unit_kick import OPEN_OHM, kick_unit, on_line
from sim.study.read import read_study
from tests.conftest import SMALL

SHORT_OHM = 0.1


@dataclass(frozen=True)
class LosslessLine:
    """A line and its far end, as the simulator has them.

    Attributes
    ----------
    z0 : float
        [Ω]
    delay_s : float
        One way; 0 for no line, only the far end. [s]
    far_ohm : float
        [Ω]
    end_ohm : float
        In series at each end, for the line's loss. [Ω]
    """

    z0: float
    delay_s: float
    far_ohm: float
    end_ohm: float = 0.0

    @property
    def cards(self) -> tuple[str, ...]:
        """Elements from the node ``out`` on."""
        if not self.delay_s > 0:
            return (f"rz_load out 0 {self.far_ohm!r}",)
        loss = max(self.end_ohm, 1e-3)
        return (
            f"rz_near out z_near {loss!r}",
            f"tz_line z_near 0 z_end 0 z0={self.z0!r} td={self.delay_s!r}",
            f"rz_end z_end z_far {loss!r}",
            f"rz_load z_far 0 {self.far_ohm!r}",
        )


@pytest.fixture(scope="module")
def simulator():
    """One for all."""
    return Simulator()


def _deck(folder, circuit: str, opamp: str):
    text = SMALL.replace('"transimpedance"', f'"{circuit}"').replace('"OPA2822"', f'"{opamp}"')
    (folder / "study.toml").write_text(text, encoding="utf-8")
    study = read_study(folder / "study.toml")
    chain = chain_of(study)
    return assemble(chain, unit_values(chain, unit_table(study, chain, np.array([0])), 0, 0))


def test_behind_a_resistor_from_the_study(tmp_path, simulator):
    """With a resistor in series with the output the line begins behind it, and the unit is kicked there."""
    text = SMALL.replace("[amplifier]", '[amplifier]\nseries_output = "47"')
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    study = read_study(tmp_path / "study.toml")
    chain = chain_of(study)
    deck = assemble(chain, unit_values(chain, unit_table(study, chain, np.array([0])), 0, 0))
    line = LosslessLine(75.0, 4e-8, 75.0, 0.5)
    [near] = [card for card in on_line(deck, line) if card.startswith("rz_near ")]
    assert near.split()[1] == chain.circuit.output != "out"
    assert kick_unit(simulator, deck, line, 5e7, 0.5).ending is Ending.SETTLES


@pytest.mark.parametrize("far_ohm", [OPEN_OHM, SHORT_OHM, 75.0])
def test_the_demos_amplifier_settles_on_a_line(tmp_path, simulator, far_ohm):
    """The nominal unit comes to rest on 10 m of line whatever its far end."""
    deck = _deck(tmp_path, "transimpedance", "OPA2822")
    kick = kick_unit(simulator, deck, LosslessLine(75.0, 4e-8, far_ohm, 0.5), 5e7, 0.5)
    assert kick.ending is Ending.SETTLES
    assert kick.time_s[-1] >= 10 * 2 * 4e-8


def test_a_decompensated_follower_oscillates_on_it(tmp_path, simulator):
    """An op-amp for gains from 7 at a gain of 1 is caught in time."""
    deck = _deck(tmp_path, "voltage-follower", "OPA657")
    kick = kick_unit(simulator, deck, LosslessLine(75.0, 4e-8, 75.0, 0.5), 5e8, 0.1)
    assert kick.ending.unstable
    assert kick.late_v > 0.05


def test_the_line_stands_in_place_of_the_reference_load(tmp_path):
    """Nothing else of the unit's deck is touched, and no load is left at the output."""
    deck = _deck(tmp_path, "transimpedance", "OPA2822")
    lines = on_line(deck, LosslessLine(50.0, 1e-8, 0.1))
    gone, added = set(deck.lines) - set(lines), set(lines) - set(deck.lines)
    assert gone == {"rz_load out 0 75.0 noisy=0"}
    assert added == {
        "rz_near out z_near 0.001",
        "tz_line z_near 0 z_end 0 z0=50.0 td=1e-08",
        "rz_end z_end z_far 0.001",
        "rz_load z_far 0 0.1",
    }
    assert "rz_load out 0 1000000.0" in on_line(deck, LosslessLine(50.0, 0.0, OPEN_OHM))


@pytest.mark.parametrize(
    ("circuit", "opamp", "turns", "opened", "stable"),
    [("transimpedance", "OPA810", 2, 2, True), ("voltage-follower", "OPA657", -2, 0, False)],
)
def test_a_units_deck_judged_as_a_deck(tmp_path, simulator, circuit, opamp, turns, opened, stable):
    """The same amplifier gives the same verdict as a unit and as a deck from outside.

    The first one's opened network has two unstable poles at some kilohertz (tests/measures).
    """
    deck = _deck(tmp_path, circuit, opamp)
    text = "\n".join(deck.lines).replace("vz_p", "vprb").replace("iz_p", "iprb")
    verdict = judge_deck(simulator, read_deck(text, circuit))
    loop = verdict.worst.loop
    assert verdict.doubts == ()
    assert (loop.encirclements, loop.open_poles, verdict.stable) == (turns, opened, stable)
