"""One unit of a study by its ports: its amplifier alone, and what an analyser would show of it on the bench."""

from dataclasses import dataclass
from functools import partial

import numpy as np

from sim.deck.assemble import assemble
from sim.deck.build import chain_of, unit_table, unit_values
from sim.deck.chain import REFERENCE_LOAD, Jig
from sim.diagnosis.bench import BenchSetup
from sim.diagnosis.responses import bench_gain
from sim.engine.isolate import Failed, isolated
from sim.engine.ngspice import Simulator
from sim.errors import EngineError
from sim.measures.supply import check_feed, check_rating
from sim.measures.terminate import Responses
from sim.measures.two_port import scattering

POINTS_PER_DECADE = 30


@dataclass(frozen=True)
class Ports:
    """One unit at its ports.

    Attributes
    ----------
    freq_hz : ndarray, shape (n_freq,)
        Rising, with every band of the study exactly. [Hz]
    z : complex ndarray, shape (n_freq, 2, 2), or None
        Impedance matrix of the amplifier between its input and its output; None where it has two inputs. [Ω]
    jig : Jig
        Of the bench, as this unit met it.
    source, load : float
        Of the bench. [Ω]
    gain : complex ndarray, shape (n_freq,)
        S21 on the bench.
    """

    freq_hz: np.ndarray
    z: np.ndarray | None
    jig: Jig
    source: float
    load: float
    gain: np.ndarray

    def amplifier(self, reference: float) -> np.ndarray:
        """Scattering matrix of the amplifier alone, port 1 its input, port 2 its output, shape (n_freq, 2, 2).

        Parameters
        ----------
        reference : float
            Of both ports. [Ω]
        """
        return scattering(self.z, reference, reference)

    def bench(self) -> np.ndarray:
        """Scattering matrix with the dummy in series with port 1, shape (n_freq, 2, 2), in the source's resistance.

        Notes
        -----
        The stray lies from the amplifier's input to ground, the dummy between it and the port.
        """
        omega = 2 * np.pi * self.freq_hz
        z = self.z.copy()
        # A shunt admittance y at port 1 of Z: every element over 1 + y z11, and z22 less its way through port 1.
        y = 1j * omega * self.jig.stray
        share = 1 / (1 + y * self.z[:, 0, 0])
        z[:, 1, 1] -= y * share * self.z[:, 0, 1] * self.z[:, 1, 0]
        for row, column in ((0, 0), (0, 1), (1, 0)):
            z[:, row, column] *= share
        z[:, 0, 0] += 1 / (1j * omega * self.jig.dummy)
        return scattering(z, self.source, self.source)


def unit_ports(study, unit: int) -> Ports:
    """One unit of a scenario, simulated in a process of its own.

    Parameters
    ----------
    study : Study
        Of the scenario.
    unit : int
        0 is nominal.

    Raises
    ------
    EngineError
        It did not simulate; the message says why.
    """
    ((_, found),) = isolated(partial(_Worker, study), [unit])
    if isinstance(found, Failed):
        raise EngineError(f"unit {unit} did not simulate: {found.reason}")
    return found


class _Worker:
    def __init__(self, study):
        self._study = study
        self._simulator = Simulator()

    def __call__(self, unit: int) -> Ports:
        study, simulator = self._study, self._simulator
        chain = chain_of(study)
        values = unit_values(chain, unit_table(study, chain, np.array([unit])), 0, unit)
        deck = assemble(chain, values)
        nodes = [name for name in deck.operating if name != "0"]
        simulator.load(deck.lines, tuple(dict.fromkeys((*nodes, *deck.reads))))
        operating = {"0": 0.0, **simulator.operating_point(nodes)}
        check_feed(operating, deck, values.outside.feed, values.supply_v)
        check_rating(operating, deck, chain)
        bands = study.bands.frequencies
        low, high = min(3e5, min(bands) / 1.5), max(3e7, max(bands) * 1.5)
        sweeps = [f"dec {POINTS_PER_DECADE} {low!r} {high!r}", *(f"lin 1 {f!r} {f!r}" for f in bands)]
        rows = []
        for drive in deck.drives[2 * deck.probes :]:
            simulator.excite(deck.drives, drive)
            found = [simulator.ac(sweep, dict.fromkeys(deck.reads)) for sweep in sweeps]
            rows.append([np.concatenate([swept[name] for swept in found]) for name in deck.reads])
        freq_hz, order = np.unique(np.concatenate([swept["frequency"] for swept in found]), return_index=True)
        stray = (values.outside.antenna or chain.antenna).shunt_capacitance
        responses = Responses(freq_hz, np.array(rows)[:, :, order], stray, REFERENCE_LOAD)
        jig, bench = values.outside.jig or chain.jig, study.fixture
        balanced = chain.circuit.balanced
        setup = BenchSetup(source=bench.source, dummy=jig.dummy, stray=jig.stray, load=bench.load)
        gain = bench_gain(responses, setup, balanced, jig.dummy)
        z = None if balanced else responses.two_port()
        return Ports(freq_hz, z, jig, bench.source, bench.load, gain)
