"""A deck on every feedline: the map must be what the same deck does with the line in it."""

from pathlib import Path

import numpy as np
import pytest

from sim.engine.ngspice import Simulator
from sim.errors import CircuitError
from sim.stability.deck import read_deck, resistor_to_ground
from sim.stability.deck_lines import deck_plane, on_lines, try_on_lines
from sim.stability.judge import judge_deck

DECKS = Path(__file__).parent.parent / "circuits" / "stability"
# It oscillates on 0.8 m of open and on 1.5 m of shorted line: u12 and u14 of tests/data/stability-decks.csv.
AMPLIFIER = (DECKS / "u12_coax_open_crit.cir").read_text(encoding="ascii").split("* 0.8 m of")[0]
LOADED = AMPLIFIER + "Rload c0 0 75\n.end\n"


@pytest.fixture(scope="module")
def simulator():
    """One for all."""
    return Simulator()


def test_the_plane_gives_the_loop_with_a_line_in_the_deck(simulator):
    """1 + T from the sweeps with a resistor agrees to 1e-6 with the simulated loop of the deck that holds the line."""
    plane, ohm = deck_plane(simulator, read_deck(LOADED, "loaded"), "c0", "rload")
    assert ohm == 75
    draw = np.random.default_rng(4)
    worst, points = 0.0, 0
    for far_ohm in (0.1, 20.0, 75.0, 1e6):
        z0, delay_s = draw.uniform(40, 100), draw.uniform(1e-9, 2e-8)
        cards = f"T1 c0 0 far 0 z0={z0!r} td={delay_s!r}\nRfar far 0 {far_ohm!r}\nRdc c0 0 1e9\n.end\n"
        probe = judge_deck(simulator, read_deck(AMPLIFIER + cards, "line")).worst
        few = np.sort(draw.choice(len(probe.freq_hz), 50, replace=False))
        freq_hz = probe.freq_hz[few]
        turn = np.tan(2 * np.pi * freq_hz * delay_s)
        impedance = z0 * (far_ohm + 1j * z0 * turn) / (z0 + 1j * far_ohm * turn)
        found = plane.further(freq_hz).distance(1 / impedance + 1e-9)[0]
        worst = max(worst, np.abs(found / (1 + probe.t[few]) - 1).max())
        points += len(few)
    assert points == 200
    assert worst < 1e-6


def test_the_map_finds_the_lines_on_which_the_amplifier_oscillates(simulator):
    """Open ends near 0.8 m and shorted ones near 1.5 m oscillate, matched ones never."""
    deck = read_deck(LOADED, "loaded")
    mapped = on_lines(simulator, deck, "c0", resistor_to_ground(deck, "c0"))
    found = {
        (load.line.name, load.end_name, float(load.line.length)): stable
        for load, stable in zip(mapped.loads, mapped.found.stable, strict=True)
    }
    open_ones = [
        stable for (name, end, m), stable in found.items() if (name, end) == ("rg11-cu", "open") and 0.6 < m < 1
    ]
    short_ones = [
        stable for (name, end, m), stable in found.items() if (name, end) == ("rg11-cu", "short") and 1 < m < 2
    ]
    assert not all(open_ones)
    assert not all(short_ones)
    assert all(stable for (name, end, _), stable in found.items() if (name, end) == ("rg11-cu", "matched"))
    assert not mapped.found.unconditional
    assert not mapped.found.stable[mapped.order[0]]


@pytest.mark.parametrize(
    ("text", "node", "message"),
    [
        (LOADED, "out", "no resistor stands from out to ground."),
        (LOADED, "nowhere", "no resistor stands from nowhere to ground (there is no node nowhere in the deck)."),
        (AMPLIFIER + "T1 c0 0 f 0 z0=75 td=1n\nRf f 0 75\n.end\n", "f", "holds transmission lines already."),
        (AMPLIFIER + "R1 c0 0 150\nR2 0 c0 150\n.end\n", "c0", "2 resistors stand from c0 to ground."),
    ],
)
def test_where_the_line_would_go_must_be_plain(text, node, message):
    """One resistor at the output stands for the line; everything else is refused with what would do."""
    with pytest.raises(CircuitError) as caught:
        try_on_lines(read_deck(text, "d.cir"), node)
    assert message in str(caught.value)


def test_the_example_is_what_its_page_says(simulator):
    """Stable on its resistor, not on 26 of 435 lines; with 68 ohm behind the op-amp on all of them."""
    path = DECKS.parents[2] / "circuits" / "decks" / "whip-buffer.cir"
    text = path.read_text(encoding="ascii")
    deck = read_deck(text, path.name)
    assert judge_deck(simulator, deck).stable
    mapped = on_lines(simulator, deck, "out", resistor_to_ground(deck, "out"))
    assert (len(mapped.loads), int((~mapped.found.stable).sum())) == (435, 26)
    mended = read_deck(text.replace("Rback back out 4.7", "Rback back out 68"), path.name)
    safe = on_lines(simulator, mended, "out", resistor_to_ground(mended, "out"))
    assert safe.found.stable.all()
    assert safe.found.unconditional
