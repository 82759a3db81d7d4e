"""What a unit shows on the bench: its complex gain, its output's reflection, its supply current, its output at rest.

One deck on the bench gives all of it: two small-signal runs are enough for any other dummy capacitor, source or load
(:mod:`sim.measures.terminate`).
"""

from dataclasses import dataclass
from functools import partial

import numpy as np

from sim.deck.chain import REFERENCE_LOAD, Deck, UnitValues
from sim.diagnosis.bench import BenchSetup
from sim.diagnosis.faults import Fault, starved
from sim.diagnosis.spread import Population
from sim.diagnosis.wrong import faulty_deck
from sim.engine.isolate import isolated
from sim.engine.ngspice import Simulator
from sim.measures.terminate import Responses
from sim.measures.two_port import bench_transmission

OTHER_DUMMIES = (10e-12, 470e-12)
"""Second dummy capacitors that a builder has in the drawer. [F]"""
SWEEP = "dec 30 500000.0 10000000.0"
"""On which sweeps are compared: half a megahertz to ten, as the simulator wants it."""


@dataclass(frozen=True)
class Seen:
    """One unit on the bench.

    Attributes
    ----------
    freq_hz : ndarray, shape (n_freq,)
    gain : complex ndarray, shape (n_freq,)
        S21.
    others : complex ndarray, shape (2, n_freq)
        S21 with :data:`OTHER_DUMMIES`.
    s22 : complex ndarray, shape (n_freq,)
        Against the analyser's port.
    current : float
        Out of the supply. [A]
    output_dc : float
        At the last op-amp's output pin. [V]
    idle : bool
        Whether an op-amp does nothing: dead, without supply, or with its output at a rail. What then still comes
        through is the macromodel's guess.
    """

    freq_hz: np.ndarray
    gain: np.ndarray
    others: np.ndarray
    s22: np.ndarray
    current: float
    output_dc: float
    idle: bool = False


class BenchWorker:
    """Simulates units on the bench, one after another, with one loaded simulator.

    Parameters
    ----------
    people : Population
    """

    def __init__(self, people: Population):
        self._people = people
        self._simulator = Simulator()

    def __call__(self, item) -> Seen:
        """One unit: a fault and a dict of standard deviations by variable, ``size`` for the fault's own.

        Raises
        ------
        UnitFailed
            With the reason in words.
        LibraryLost
        """
        fault, z = item
        values, bench = self._people.unit(z), self._people.bench_at(z)
        return self.seen(fault, values, bench, fault.size_at(z))

    def seen(self, fault: Fault, values: UnitValues, bench: BenchSetup, size: float = 1.0) -> Seen:
        """One unit of given values.

        Parameters
        ----------
        fault : Fault
        values : UnitValues
        bench : BenchSetup
        size : float
            See :func:`sim.diagnosis.wrong.faulty_deck`.
        """
        chain = self._people.chain
        deck = faulty_deck(chain, values, fault, size)
        operating, responses = self._run(deck)
        asleep = _starved(deck, operating, chain)
        for number in asleep:
            fault = starved(fault, number)
        if asleep:
            # The macromodel draws its current whatever the volts; an op-amp without them draws and does nothing.
            deck = faulty_deck(chain, values, fault, size)
            operating, responses = self._run(deck)
        balanced = self._people.chain.circuit.balanced
        dummy = bench.dummy * fault.dummy
        gains = [bench_gain(responses, bench, balanced, c) for c in (dummy, *OTHER_DUMMIES)]
        z_out = responses.output_impedance
        return Seen(
            freq_hz=responses.freq_hz,
            gain=gains[0],
            others=np.array(gains[1:]),
            s22=(z_out - bench.load) / (z_out + bench.load),
            current=-operating["vz_sup#branch"],
            output_dc=operating[deck.operating_output] if deck.operating_output else np.nan,
            idle=bool(asleep) or _stuck(deck, operating, chain, fault),
        )

    def _run(self, deck: Deck) -> tuple[dict, Responses]:
        simulator = self._simulator
        nodes = [name for name in deck.operating if name != "0"]
        simulator.load(deck.lines, tuple(dict.fromkeys((*nodes, *deck.reads))))
        operating = {"0": 0.0, **simulator.operating_point(nodes)}
        rows = []
        for drive in deck.drives[2 * deck.probes :]:
            simulator.excite(deck.drives, drive)
            swept = simulator.ac(SWEEP, dict.fromkeys(deck.reads))
            rows.append([swept[name] for name in deck.reads])
        return operating, Responses(swept["frequency"], np.array(rows), 0.0, REFERENCE_LOAD)


def _starved(deck: Deck, operating: dict, chain) -> list[int]:
    """Op-amps with less than four fifths of the least supply that their records name."""
    return [
        number
        for number, (record, pins) in enumerate(zip(chain.opamps, deck.pins, strict=True))
        if operating[pins[2]] - operating[pins[3]] < 0.8 * record.supply_min
    ]


def _stuck(deck: Deck, operating: dict, chain, fault: Fault) -> bool:
    """Whether an op-amp has no gain, or its output stands within its headroom of a rail."""
    if fault.idle:
        return True
    for record, (_, _, vcc, vee, out) in zip(chain.opamps, deck.pins, strict=True):
        low, high = operating[vee] + record.headroom, operating[vcc] - record.headroom
        if not low + 0.1 < operating[out] < high - 0.1:
            return True
    return False


def bench_gain(responses: Responses, bench: BenchSetup, balanced: bool, dummy: float) -> np.ndarray:
    """S21 on a bench with a given dummy capacitor.

    Parameters
    ----------
    responses : Responses
    bench : BenchSetup
    balanced : bool
        Whether there are two inputs, each with a dummy of its own behind half the source.
    dummy : float
        [F]

    Notes
    -----
    The stray across the jig is taken into a Thevenin source: Z/(1 + jωCZ), and the same share of its volts.
    """
    omega = 2 * np.pi * responses.freq_hz
    series = bench.source / (2 if balanced else 1) + 1 / (1j * omega * dummy)
    share = 1 / (1 + 1j * omega * bench.stray * series)
    if balanced:
        through = responses.two_inputs_output(series * share, bench.load)
        return 2 * np.sqrt(bench.source / bench.load) * through * share
    return bench_transmission(responses.two_port(), series * share, bench.load, bench.source) * share


class NoiseWorker:
    """Simulates the noise of units on the bench.

    Parameters
    ----------
    people : Population
    freq_hz : float
    """

    def __init__(self, people: Population, freq_hz: float):
        self._people, self._freq_hz = people, freq_hz
        self._simulator = Simulator()

    def __call__(self, item) -> float:
        """Noise at the output of one unit, a fault and its standard deviations; on the port, dummy connected. [V/√Hz]

        Raises
        ------
        UnitFailed
            With the reason in words.
        LibraryLost
        """
        fault, z = item
        people, bench = self._people, self._people.bench_at(z)
        deck = faulty_deck(people.chain, people.unit(z), fault, fault.size_at(z))
        simulator = self._simulator
        names = [name for name in deck.operating if name != "0"]
        simulator.load(deck.lines, tuple(dict.fromkeys((*names, *deck.reads, *_NOISE))))
        simulator.operating_point(names)
        simulator.excite(deck.drives, "iz_out")
        swept = simulator.ac(f"lin 1 {self._freq_hz!r} {self._freq_hz!r}", (deck.output,), 1)
        simulator.excite(deck.drives, deck.source)
        sweep = f"lin 3 {0.99 * self._freq_hz!r} {1.01 * self._freq_hz!r}"
        density = simulator.noise(deck.output, deck.source, sweep)["onoise_spectrum"][1]
        # From the load of the deck to the analyser's port: the same Thevenin source on another resistance.
        with_load = complex(swept[deck.output][0])
        z_out = with_load / (1 - with_load / REFERENCE_LOAD)
        return float(density * abs((z_out + REFERENCE_LOAD) / REFERENCE_LOAD * bench.load / (z_out + bench.load)))


_NOISE = ("onoise_spectrum", "inoise_spectrum", "onoise_total")


def noise_levels(people: Population, items: list, freq_hz: float) -> list:
    """Noise at the output of units on the bench [V/√Hz]; a :class:`sim.engine.isolate.Failed` where there is none.

    Parameters
    ----------
    people : Population
    items : list of (Fault, dict)
    freq_hz : float
    """
    return [answer for _, answer in isolated(partial(NoiseWorker, people, freq_hz), items)]


def simulate(people: Population, items: list) -> list:
    """What units show, each a fault and its standard deviations; :class:`sim.engine.isolate.Failed` where nothing.

    Parameters
    ----------
    people : Population
    items : list of (Fault, dict)
    """
    return [answer for _, answer in isolated(partial(BenchWorker, people), items)]
