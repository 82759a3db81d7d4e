"""The lumped rest of a deck as rational functions: every mode it has, and its poles in the right half plane.

Theory of operation
-------------------
A current goes into every node in turn, and the node's own voltage is its driving-point impedance. A loop that no
probe sees, such as a second stage behind the first, still shows at its own nodes: whatever oscillates has a node whose
voltage both drives it and is driven by it. All these impedances share their poles, so one set of barycentric weights
(:mod:`sim.measures.rational`) fits them all, and the zeros of the common denominator are the poles of the circuit.

A support point too many gives a pole and a zero that nearly cancel. A true pole is seen somewhere: beside it on the
frequency axis some impedance has a share of it that can be told from nothing. What has not is left out.

The same weights carry the responses to the probes and to the ends of the lines, so those are known at every frequency,
and in the right half plane too.

Not covered: a mode without voltage at any node, such as a current round a loop of ideal inductors.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from sim.engine.ngspice import Simulator, UnitFailed
from sim.measures.loop import loop_gain, settled_at_low_end
from sim.measures.rational import Barycentric, choose_support, fit_weights, unstable_roots
from sim.stability.deck import MARK, ReadDeck

LOW_HZ, HIGH_HZ = 1.0, 3e9
"""Ends of the first sweep. [Hz]"""
LOWEST_HZ, HIGHEST_HZ = 1e-5, 3e12
"""Ends beyond which a loop is not followed any further. [Hz]"""
POINTS = (20, 60)
"""Points a decade: the first try, and the second where the first did not fit."""
LARGEST_MISFIT = 1e-6
"""Misfit of the rational form above which poles are not believed."""
MOST_NODES = 400
"""Nodes above which a deck is refused: each costs a sweep."""

GIVES_POWER = 1 + 1e-7
"""Largest singular value of a scattering matrix above which the circuit gives power to its lines."""

_SUPPORT = 40
_LEAST_OHM = 1e-9
_LEAST_SHARE = 1e-4


@dataclass(frozen=True)
class LumpedNetwork:
    """A deck without its lines: samples, and the rational form that carries them everywhere.

    Attributes
    ----------
    freq_hz : ndarray, shape (n_freq,)
    nodes : tuple of str
    impedances : complex ndarray, shape (n_node, n_freq)
        Driving-point impedances of all nodes. [Ω]
    values : complex ndarray, shape (n_drive, n_read, n_freq)
        Drives: voltage and current source of each probe, then 1 A into each end of a line. Reads: voltage of the
        receiving side and current of each probe, then the voltage across each end of a line.
    probes : int
    line_ohm : ndarray, shape (n_end,)
        Impedance at each end of a line, which is its termination here. [Ω]
    delay_s : ndarray, shape (n_end,)
        One way, for each end of a line. [s]
    support : int ndarray
    weights : complex ndarray
    misfit : float
    """

    freq_hz: np.ndarray
    nodes: tuple[str, ...]
    impedances: np.ndarray
    values: np.ndarray
    probes: int
    line_ohm: np.ndarray
    delay_s: np.ndarray
    support: np.ndarray
    weights: np.ndarray
    misfit: float

    @property
    def fits(self) -> bool:
        """Whether the rational form may be believed."""
        return self.misfit < LARGEST_MISFIT

    def at(self, s: np.ndarray) -> np.ndarray:
        """Responses anywhere in the complex plane, shape (n_drive, n_read, n_s); s in rad/s."""
        drives, reads, _ = self.values.shape
        where = Barycentric(2j * np.pi * self.freq_hz, self.support, np.asarray(s, dtype=complex))
        return where(self.values.reshape(drives * reads, -1), self.weights).reshape(drives, reads, -1)

    def gains_at(self, s: np.ndarray) -> np.ndarray:
        """Loop gain of each probe, all lines replaced by their impedance, shape (n_probe, n_s)."""
        return gains(self.at(s), self.probes)

    @cached_property
    def poles(self) -> np.ndarray:
        """Poles in the right half plane, complex ones in pairs. [rad/s]"""
        points = 2j * np.pi * self.freq_hz[self.support]
        found = unstable_roots(points, self.weights, 2 * np.pi * self.freq_hz[-1])
        return found[self._shares(points, found) > _LEAST_SHARE] if len(found) else found

    def opened_poles(self, probe: int) -> np.ndarray:
        """Poles in the right half plane of the network that is opened at a probe. [rad/s]"""
        points = 2j * np.pi * self.freq_hz[self.support]
        high = 2 * np.pi * self.freq_hz[-1]
        opened = self.weights / (1 + self._sampled_gain(probe)[self.support])
        roots = unstable_roots(points, opened, high)
        # What was no pole of the closed network, only a pole and a zero that cancel, is none here.
        every = unstable_roots(points, self.weights, high)
        cancelled = [p for p in every if not np.any(np.isclose(self.poles, p, rtol=1e-9))]
        return np.array([p for p in roots if not any(abs(p - q) < 1e-3 * abs(p) for q in cancelled)], dtype=complex)

    def impedance_at(self, freq_hz: float) -> np.ndarray:
        """Size of every node's driving-point impedance at one frequency, shape (n_node,). [Ω]"""
        s = np.array([2j * np.pi * freq_hz])
        where = Barycentric(2j * np.pi * self.freq_hz, self.support, s)
        return np.abs(where(self.impedances, self.weights))[:, 0]

    def _sampled_gain(self, probe: int) -> np.ndarray:
        return gains(self.values, self.probes)[probe]

    def _shares(self, points: np.ndarray, roots: np.ndarray) -> np.ndarray:
        """Largest share of each root in any impedance, at the point of the frequency axis that is nearest to it."""
        kernel = 1 / (roots[:, None] - points)
        slope = -(kernel**2) @ self.weights
        residues = (kernel * self.weights) @ self.impedances[:, self.support].T / slope[:, None]
        near = np.maximum(np.abs(roots.imag), 2 * np.pi * self.freq_hz[0])
        beside = Barycentric(2j * np.pi * self.freq_hz, self.support, 1j * near)(self.impedances, self.weights)
        return (np.abs(residues) / np.abs(1j * near - roots)[:, None] / np.abs(beside.T)).max(axis=1)


def gains(values: np.ndarray, probes: int) -> np.ndarray:
    """Loop gain of each probe from responses.

    Parameters
    ----------
    values : complex ndarray, shape (n_drive, n_read, …)
        As :attr:`LumpedNetwork.values`.
    probes : int

    Returns
    -------
    t : complex ndarray, shape (n_probe, …)
    """
    return np.array([loop_gain(*values[k, k : k + 2], *values[k + 1, k : k + 2]) for k in range(0, 2 * probes, 2)])


def scattering(line_ohm: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Scattering matrix at the ends of the lines, each in its line's own impedance.

    Parameters
    ----------
    line_ohm : ndarray, shape (n_end,)
        [Ω]
    values : complex ndarray, shape (n_drive, n_read, n_s)
        As :attr:`LumpedNetwork.values`, at any frequencies.

    Returns
    -------
    s : complex ndarray, shape (n_s, n_end, n_end)
    """
    ends = len(line_ohm)
    z = values[len(values) - ends :, values.shape[1] - ends :].transpose(2, 1, 0)
    root = np.sqrt(line_ohm)
    return 2 * z / (root[:, None] * root) - np.eye(ends)


def lumped_network(simulator: Simulator, deck: ReadDeck, output: str | None = None) -> LumpedNetwork:
    """Simulate the lumped form of a deck and fit it.

    Parameters
    ----------
    simulator : Simulator
    deck : ReadDeck
    output : str, optional
        A node that is driven and read as well, behind all other drives and reads; only in a deck without lines.

    Raises
    ------
    UnitFailed
        No operating point, or none that the lumped form keeps; too many nodes.
    LibraryLost
    """
    simulator.load((*deck.metered, ".end"))
    simulator.operating_point(())
    vectors = [n for n in simulator.vector_names() if "#" not in n and not n.split(".")[-1].startswith(MARK)]
    if len(vectors) > MOST_NODES:
        raise UnitFailed(f"the deck has {len(vectors)} nodes; at most {MOST_NODES} are judged")
    nodes = tuple(n.lower().removeprefix("v(").removesuffix(")") for n in vectors)
    resting = np.array([simulator.vector(n)[0].real for n in vectors])
    ohm = np.array([simulator.vector(f"@{end.line}[z0]")[0] for end in deck.ends])
    delay = np.array([simulator.vector(f"@{end.line}[td]")[0] for end in deck.ends])
    if np.any(ohm <= 0) or np.any(delay <= 0):
        raise UnitFailed("a transmission line needs an impedance and a delay above zero")
    through = np.array([simulator.vector(end.volts)[0] / z - simulator.vector(end.amperes)[0]
                        for end, z in zip(deck.ends, ohm, strict=True)])  # fmt: skip
    names = tuple(f"v({node})" for node in nodes)
    into = tuple(f"i{MARK}n{k}" for k in range(len(nodes)))
    reads = tuple(n for p in deck.probes for n in (p.receive_node, f"{p.voltage}#branch"))
    reads += tuple(end.volts for end in deck.ends)
    simulator.load(
        (*deck.lumped, *(f"{source} 0 {node} dc 0 ac 0" for source, node in zip(into, nodes, strict=True)), ".end"),
        tuple(dict.fromkeys((*names, *reads))),
    )
    for end, current in zip(deck.ends, through, strict=True):
        simulator.command(f"alter @{end.source}[dc] = {float(current)!r}")
    now = np.array(list(simulator.operating_point(names).values()))
    if np.abs(now - resting).max(initial=0.0) > 1e-4 * max(1.0, np.abs(resting).max(initial=0.0)):
        raise UnitFailed("the circuit rests elsewhere when its lines are replaced by sources: it has several states")
    drives = tuple(n for p in deck.probes for n in (p.voltage, p.current)) + tuple(end.source for end in deck.ends)
    if output is not None:
        if output not in nodes:
            raise UnitFailed(f"there is no node {output}")
        drives, reads = (*drives, into[nodes.index(output)]), (*reads, names[nodes.index(output)])
    return _sampled(simulator, _Wires(names, into, drives, reads), len(deck.probes), nodes, ohm, delay)


@dataclass(frozen=True)
class _Wires:
    """Names of what is read and driven."""

    nodes: tuple[str, ...]
    into: tuple[str, ...]
    drives: tuple[str, ...]
    reads: tuple[str, ...]

    def swept(self, simulator: Simulator, sweep: str):
        """Frequencies, impedances of all nodes, responses."""
        sources = tuple(dict.fromkeys((*self.into, *self.drives)))
        impedances = []
        for name, source in zip(self.nodes, self.into, strict=True):
            simulator.excite(sources, source)
            impedances.append(simulator.ac(sweep, (name,))[name])
        values = []
        for drive in self.drives:
            simulator.excite(sources, drive)
            found = simulator.ac(sweep, tuple(dict.fromkeys(self.reads)))
            values.append([found[name] for name in self.reads])
        simulator.forget()
        return found["frequency"], np.array(impedances), np.array(values)


def _sampled(simulator, wires: _Wires, probes: int, nodes, ohm, delay) -> LumpedNetwork:
    low, high = LOW_HZ, HIGH_HZ
    while True:
        for points in POINTS:
            freq_hz, impedances, values = wires.swept(simulator, f"dec {points} {low!r} {high!r}")
            # A node at an ideal source has no impedance, only rounding.
            seen = np.abs(impedances).max(axis=1) > _LEAST_OHM
            s = 2j * np.pi * freq_hz
            support = choose_support(s, impedances[seen], most=_SUPPORT)
            weights, misfit = fit_weights(s, impedances[seen], support)
            if misfit < LARGEST_MISFIT:
                break
        names = tuple(node for node, kept in zip(nodes, seen, strict=True) if kept)
        found = LumpedNetwork(
            freq_hz, names, impedances[seen], values, probes, ohm, delay, support, weights, float(misfit)
        )
        t = gains(values, probes)
        # 1 + T is real at zero and at infinite frequency; a loop is followed until it is nearly so.
        lower = low / 100 if not all(settled_at_low_end(row) for row in t) and low > LOWEST_HZ else low
        settled = all(settled_at_low_end(row[::-1]) for row in t)
        if len(ohm):
            settled &= bool(np.linalg.norm(scattering(ohm, values[:, :, -1:])[0], 2) <= GIVES_POWER)
        higher = high if settled or high >= HIGHEST_HZ else high * 10
        if (lower, higher) == (low, high):
            return found
        low, high = lower, higher
