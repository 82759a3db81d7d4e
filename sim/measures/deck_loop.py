"""The loop of a deck that somebody else wrote, probe and all: sampled in the simulator itself, refined where needed.

A deck may hold anything, also lines, so nothing is interpolated here: every point of the locus is a run.
"""

from dataclasses import dataclass

import numpy as np

from sim.engine.ngspice import Simulator
from sim.engine.sweep import LOWEST_HZ
from sim.measures.loop import LoopVerdict, fine_locus, judge_loop, loop_gain, settled_at_low_end

HIGHEST_HZ = 3e9
POINTS = 40


@dataclass(frozen=True)
class DeckProbe:
    """A probe in a deck.

    Attributes
    ----------
    voltage, current : str
        Names of its two sources: `v…` from the driving to the receiving side, `i…` from ground to the receiving side.
    receive_node : str
    """

    voltage: str
    current: str
    receive_node: str


def find_probes(lines) -> tuple[DeckProbe, ...]:
    """Probes of a deck: a source ``vprb<x> a b`` together with ``iprb<x> 0 b``, same x.

    Parameters
    ----------
    lines : sequence of str
        Deck lines.
    """
    sources = {}
    for line in lines:
        words = line.lower().split()
        if len(words) > 2 and words[0].startswith(("vprb", "iprb")):
            sources[words[0]] = words[2]
    return tuple(
        DeckProbe(name, "i" + name[1:], node)
        for name, node in sources.items()
        if name[0] == "v" and sources.get("i" + name[1:]) == node
    )


def judge_deck_loop(simulator: Simulator, lines, probe: DeckProbe, others: tuple[DeckProbe, ...] = ()) -> LoopVerdict:
    """Verdict of one probe of a deck.

    Parameters
    ----------
    simulator : Simulator
    lines : sequence of str
        Complete deck, title first, ``.end`` last; all AC sources but the probes' at 0.
    probe : DeckProbe
    others : tuple of DeckProbe
        Further probes, kept quiet.

    Raises
    ------
    UnitFailed
    """
    current = f"{probe.voltage}#branch"
    simulator.load(tuple(lines), (probe.receive_node, current))
    drives = [name for p in (probe, *others) for name in (p.voltage, p.current)]

    def swept(sweep: str) -> tuple[np.ndarray, np.ndarray]:
        found = []
        for drive in (probe.voltage, probe.current):
            simulator.excite(tuple(drives), drive)
            found.append(simulator.ac(sweep, (probe.receive_node, current)))
        simulator.forget()
        first, second = found
        t = loop_gain(first[probe.receive_node], first[current], second[probe.receive_node], second[current])
        return first["frequency"], t

    def locus(freq_hz: np.ndarray) -> np.ndarray:
        # The simulator knows only even sweeps, so added points are runs of their own.
        return np.array([swept(f"lin 1 {float(f)!r} {float(f)!r}")[1][0] for f in freq_hz])

    freq_hz, t = swept(f"dec {POINTS} {LOWEST_HZ!r} {HIGHEST_HZ!r}")
    low = LOWEST_HZ
    while not settled_at_low_end(t) and low > 1.1:
        # 1 + T is real at zero frequency; a loop with low poles has to be followed further down.
        more_hz, more = swept(f"dec {POINTS} {low / 10!r} {low * 10 ** (-0.5 / POINTS)!r}")
        freq_hz, t, low = np.concatenate([more_hz, freq_hz]), np.concatenate([more, t]), low / 10
    return judge_loop(*fine_locus(locus, freq_hz, t))
