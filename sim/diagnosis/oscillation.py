"""Whether a faulty unit would oscillate on the bench: then its sweep is no sweep of it, and a receiver hears it.

All responses of a deck share their poles (:mod:`sim.measures.rational`); those in the right half plane are counted on
the bench's own load. As everywhere, a verdict holds for the op-amp's macromodel with its two poles.
"""

from functools import partial

import numpy as np

from sim.deck.chain import REFERENCE_LOAD
from sim.diagnosis.spread import Population
from sim.diagnosis.wrong import faulty_deck
from sim.engine.isolate import Failed, isolated
from sim.engine.ngspice import Simulator
from sim.measures.panel import deciding
from sim.measures.rational import choose_support, fit_weights, unstable_roots

_SWEEP = "dec 12 10.0 3e9"
_LARGEST_MISFIT = 1e-4
"""Above it the poles are not believed."""


class PoleWorker:
    """Looks for growing oscillations of faulty units on the bench.

    Parameters
    ----------
    people : Population
    """

    def __init__(self, people: Population):
        self._people = people
        self._simulator = Simulator()

    def __call__(self, item) -> float | None:
        """Frequency at which a unit oscillates, a fault and its standard deviations. [Hz]

        0 where it does not, None where the poles are not to be believed.

        Raises
        ------
        UnitFailed
            With the reason in words.
        LibraryLost
        """
        fault, z = item
        people, bench = self._people, self._people.bench_at(z)
        deck = faulty_deck(people.chain, people.unit(z), fault, fault.size_at(z))
        simulator, rows, freq_hz = self._simulator, [], None
        nodes = [name for name in deck.operating if name != "0"]
        simulator.load(deck.lines, tuple(dict.fromkeys((*nodes, *deck.reads))))
        simulator.operating_point(nodes)
        for drive in deck.drives:
            simulator.excite(deck.drives, drive)
            swept = simulator.ac(_SWEEP, dict.fromkeys(deck.reads))
            freq_hz = swept["frequency"]
            rows.append([swept[name] for name in deck.reads])
        values = np.array(rows)
        drives, reads, samples = values.shape
        s, flat = 2j * np.pi * freq_hz, values.reshape(drives * reads, samples)
        support = choose_support(s, flat, deciding(drives, reads))
        weights, misfit = fit_weights(s, flat, support, deciding(drives, reads))
        if not misfit < _LARGEST_MISFIT:
            return None
        # The deck's load made into the bench's.
        closed = weights * (1 + values[-2, 2, support] * (1 / bench.load - 1 / REFERENCE_LOAD))
        roots = unstable_roots(s[support], closed, 2 * np.pi * freq_hz[-1], people.chain.circuit.balanced)
        ringing = roots[np.abs(roots.imag) > 1e-3 * np.abs(roots)]
        return float(np.max(np.abs(ringing.imag)) / (2 * np.pi)) if len(ringing) else 0.0


def oscillations(people: Population, items: list) -> list[float | None]:
    """Frequencies at which faulty units oscillate on the bench: 0 where one does not, None where it is not known.

    Parameters
    ----------
    people : Population
    items : list of (Fault, dict)
    """
    found = [answer for _, answer in isolated(partial(PoleWorker, people), items)]
    return [None if isinstance(answer, Failed) else answer for answer in found]
