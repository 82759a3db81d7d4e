"""The library is believed only when everything it said is harmless and everything asked for is there."""

import numpy as np
import pytest

from sim.engine.isolate import isolated
from sim.engine.ngspice import Simulator, UnitFailed, batch

DIVIDER = ("* divider", "v1 a 0 dc 1 ac 1", "r1 a b 1k", "c1 b 0 100p", "r2 b 0 2k", ".end")
BOLTZMANN_300 = 1.380649e-23 * 300.15


@pytest.fixture(scope="module")
def simulator():
    """One library a process."""
    return Simulator()


def _with(*cards):
    return (*DIVIDER[:-1], *cards, ".end")


def test_divider_has_its_closed_form(simulator):
    """Operating point, transfer and thermal noise of an RC divider: hand calculation."""
    simulator.load(DIVIDER, ("b", "onoise_spectrum", "inoise_spectrum", "onoise_total"))
    assert simulator.operating_point(("b",))["b"] == pytest.approx(2 / 3, rel=1e-9)
    swept = simulator.ac("dec 5 1e5 1e7", ("b",))
    r = 2e3 / 3
    h = 2 / 3 / (1 + 2j * np.pi * swept["frequency"] * r * 100e-12)
    np.testing.assert_allclose(swept["b"], h, rtol=1e-9)
    noise = simulator.noise("b", "v1", "dec 5 1e5 1e7")
    f = noise["frequency"]
    expected = np.sqrt(4 * BOLTZMANN_300 * r / (1 + (2 * np.pi * f * r * 100e-12) ** 2))
    np.testing.assert_allclose(noise["onoise_spectrum"], expected, rtol=1e-6)


def test_contributions_add_as_squares(simulator):
    """Densities of whole devices make up the total."""
    simulator.load(DIVIDER)
    noise = simulator.noise("b", "v1", "dec 2 1e5 1e6", contributors=True)
    parts = sum(noise[f"onoise_{name}"] ** 2 for name in ("r1", "r2"))
    np.testing.assert_allclose(np.sqrt(parts), noise["onoise_spectrum"], rtol=1e-12)


@pytest.mark.parametrize(
    ("cards", "words"),
    [
        (("d1 b 0 nomodel",), "nomodel"),
        (("vx q 0 1", "vy q 0 2"), "singular"),
        (("x1 b 0 nothere",), "unknown subckt"),
        (("cx f 0 1p", "cy f b 1p"), "singular"),
        (("ix f 0 1m", "cf f 0 1p"), "singular"),
        (("bx q 0 v=ln(-1-v(b))", "rq q 0 1"), "out of range"),
        (("foo bar",), "bad syntax"),
    ],
)
def test_trouble_is_never_a_result(simulator, cards, words):
    """Decks that return code 0, some of them with numbers, are refused with the library's own words."""
    with pytest.raises(UnitFailed, match=words):
        simulator.load(_with(*cards), ("b",))
        simulator.operating_point(("b",))
        simulator.ac("dec 2 1e6 1e7", ("b",))


def test_a_good_deck_runs_after_a_bad_one(simulator):
    """Nothing of a refused deck is left behind."""
    with pytest.raises(UnitFailed):
        simulator.load(_with("d1 b 0 nomodel"), ("b",))
    simulator.load(DIVIDER, ("b",))
    assert simulator.operating_point(("b",))["b"] == pytest.approx(2 / 3)


def test_an_analysis_without_a_plot_is_no_result(simulator):
    """A sweep that the library refuses does not return the last one's numbers."""
    simulator.load(DIVIDER, ("b",))
    simulator.ac("dec 2 1e6 1e7", ("b",))
    with pytest.raises(UnitFailed):
        simulator.ac("dec 0 1e6 1e7", ("b",), length=3)


def test_noise_at_an_unknown_node_is_no_result(simulator):
    """The library answers with zeros and no word of warning; real noise is never zero."""
    simulator.load(DIVIDER)
    with pytest.raises(UnitFailed, match="zero"):
        simulator.noise("nowhere", "v1", "dec 2 1e6 1e7")


def test_a_lost_library_is_told_from_a_failed_unit():
    """An undefined parameter makes the library give up; its process is replaced and the next item done."""

    def make():
        simulator = Simulator()

        def work(card):
            simulator.load(_with(card), ("b",))
            return simulator.operating_point(("b",))["b"]

        return work

    answers = dict(isolated(make, ["rx b 0 2k", "rx b 0 {nosuch}", "rx b 0 2k"]))
    assert answers[1].stage == "lost"
    assert answers[0] == answers[2] == pytest.approx(0.5)


def test_library_and_plain_command_agree(simulator, tmp_path):
    """The same deck in `ngspice -b` gives the same transfer (outside check: the simulator's own command)."""
    simulator.load(DIVIDER, ("b",))
    ours = simulator.ac("lin 3 1e6 3e6", ("b",))["b"][1]
    deck = "\n".join(
        (*DIVIDER[:-1], ".control", "set numdgt=15", "ac lin 3 1e6 3e6", "print vr(b)[1] vi(b)[1]", ".endc", ".end")
    )
    said = batch(deck, tmp_path)
    numbers = [float(line.split("=")[1]) for line in said.splitlines() if line.startswith(("vr(b)[1]", "vi(b)[1]"))]
    assert complex(*numbers) == pytest.approx(ours, rel=1e-12)
