"""Is a deck stable? Every probe's locus sampled in the simulator, held against the poles of the circuit.

Two ways that share nothing but the deck: each probe's locus is simulated, refined until no step is coarse, and its
turns are counted; and the poles of the closed and of the opened network are found from driving-point impedances
(:mod:`sim.stability.lumped`), with the lines of the deck put back exactly (:mod:`sim.stability.wave`). Each probe must
keep N = P − Z. Where it does not, or where anything else could not be settled, the verdict is *unresolved*; the reason
is said and the circuit counts as not stable.

Without lines P is found by itself, as the poles of the opened network. With lines P follows from Z and the count; then
the count on the simulated locus is held against that on the locus computed from the lumped rest, and P may not be
negative.
"""

from dataclasses import dataclass, replace

import numpy as np

from sim.engine.ngspice import Simulator
from sim.measures.loop import LoopVerdict, coarse_steps, fine_locus, judge_loop, loop_gain, settled_at_low_end
from sim.stability.deck import Probe, ReadDeck
from sim.stability.lumped import LumpedNetwork, lumped_network
from sim.stability.transient import Kick
from sim.stability.wave import PERIOD_POINTS, count_lines, gains_with_lines

POINTS = 40
"""Points a decade of a locus before any are added."""
NEAR_ENOUGH = 0.3
"""Below this loop gain 1 + T stays far from zero and cannot turn round it: no need to follow the ripple of a line."""
MOST_POINTS = 60_000
"""Points of the even grid for lines, above which its step grows."""
KICK_V = 1e-3
"""What each node is kicked by, in time: small enough for every stage to stay linear. [V]"""
LARGEST_DISAGREEMENT = 1e-3
"""Difference between the simulated and the computed 1 + T, relative to its size, above which neither is believed."""


_EVEN_ROUNDS = 4
_LEAST_OHM = 1e-6


@dataclass(frozen=True)
class ProbeVerdict:
    """One probe of a deck.

    Attributes
    ----------
    probe : Probe
    loop : LoopVerdict
    freq_hz : ndarray, shape (n_freq,)
    t : complex ndarray, shape (n_freq,)
        Loop gain.
    """

    probe: Probe
    loop: LoopVerdict
    freq_hz: np.ndarray
    t: np.ndarray


@dataclass(frozen=True)
class DeckVerdict:
    """What there is to say about a deck.

    Attributes
    ----------
    probes : tuple of ProbeVerdict
    unstable_poles : int
        Z, poles of the closed network in the right half plane, by count.
    poles : tuple of (float, float)
        Those that were found: growth σ/2π and frequency; a pair counts once, with its positive frequency. [Hz, Hz]
    doubts : tuple of str
        Why the verdict is unresolved; empty where it is not.
    lines : int
        Transmission lines in the deck.
    delay_s : float
        Their one-way delays together. [s]
    any_line : bool
        With these lines or any passive ones in their place the circuit is as stable as on matched ends.
    test_hz : float
        Frequency to test in time: of the fastest growing pole, else of the smallest margin. [Hz]
    kicks : tuple of Kick
        A small current into every node, each for the same voltage at that frequency, so that no mode stays asleep.
    """

    probes: tuple[ProbeVerdict, ...]
    unstable_poles: int
    poles: tuple[tuple[float, float], ...]
    doubts: tuple[str, ...]
    lines: int
    delay_s: float
    any_line: bool
    test_hz: float
    kicks: tuple[Kick, ...]

    @property
    def resolved(self) -> bool:
        """Whether both ways agree and nothing was left open."""
        return not self.doubts

    @property
    def stable(self) -> bool:
        """No pole in the right half plane, and no doubt about it."""
        return self.resolved and self.unstable_poles == 0

    @property
    def worst(self) -> ProbeVerdict:
        """The probe whose locus comes nearest to −1."""
        return min(self.probes, key=lambda probe: probe.loop.margin)


def judge_deck(simulator: Simulator, deck: ReadDeck) -> DeckVerdict:
    """Verdict on a deck.

    Parameters
    ----------
    simulator : Simulator
    deck : ReadDeck

    Raises
    ------
    UnitFailed
        The simulator gave no result that may be believed.
    LibraryLost
    """
    network = lumped_network(simulator, deck)
    lines = count_lines(network)
    doubts = []
    if not network.fits:
        doubts.append(f"no rational form fits the circuit (misfit {network.misfit:.1g}), so its poles are not known")
    if not lines.resolved:
        doubts.append("the turns that the lines make could not be counted")
    unstable = len(network.poles) - lines.turns
    # With lines the poles of the whole are the zeros that the lines make; without, they are the lumped ones.
    roots = lines.poles if len(network.delay_s) else network.poles
    if unstable < 0 or (unstable == 0) != (len(roots) == 0):
        doubts.append(f"{unstable} unstable poles by count, {len(roots)} found one by one")
    verdicts = []
    for number, probe in enumerate(deck.probes):
        freq_hz, t, fine = _locus(simulator, deck, probe, network, number)
        verdicts.append(_judged(probe, number, (freq_hz, t, fine), network, unstable, doubts))
    single = (p for p in roots if p.imag > 0 or _frequency(p) == 0)
    poles = sorted(((p.real / (2 * np.pi), _frequency(p)) for p in single), reverse=True)
    worst = min(verdicts, key=lambda verdict: verdict.loop.margin)
    test_hz = float(max(poles[0]) if poles else _fastest_near(worst))
    return DeckVerdict(
        probes=tuple(verdicts),
        unstable_poles=max(unstable, 0),
        poles=tuple((float(growth), float(freq)) for growth, freq in poles),
        doubts=tuple(doubts),
        lines=len(network.delay_s) // 2,
        delay_s=float(network.delay_s.sum()) / 2,
        any_line=lines.passive and unstable == 0,
        test_hz=test_hz,
        kicks=_kicks(network, test_hz),
    )


def _frequency(pole: complex) -> float:
    """Frequency of a pole; a real one comes with rounding for its imaginary part. [Hz]"""
    return abs(pole.imag) / (2 * np.pi) if abs(pole.imag) > 1e-5 * abs(pole) else 0.0


def _fastest_near(probe: ProbeVerdict) -> float:
    """Highest frequency at which the locus is still about as near to −1 as anywhere: its margin may be that at 0 Hz."""
    distance, least = np.abs(1 + probe.t), probe.loop.margin
    at = int(distance.argmin())
    beyond = np.nonzero(distance[at:] > least + 0.1 * max(1 - least, 0.0))[0]
    return float(probe.freq_hz[at + beyond[0] - 1 if len(beyond) and beyond[0] else at])


def _kicks(network: LumpedNetwork, freq_hz: float) -> tuple[Kick, ...]:
    size = network.impedance_at(freq_hz)
    return tuple(
        Kick(node, float(KICK_V / ohm)) for node, ohm in zip(network.nodes, size, strict=True) if ohm > _LEAST_OHM
    )


def _judged(probe: Probe, number: int, locus, network: LumpedNetwork, unstable: int, doubts: list) -> ProbeVerdict:
    """Verdict of one probe; what speaks against it is added to the doubts."""
    freq_hz, t, fine = locus
    found: LoopVerdict = judge_loop(freq_hz, t, fine)
    computed = gains_with_lines(network, freq_hz)[number]
    apart = np.abs(computed - t) / np.abs(1 + t)
    if not fine:
        doubts.append(f"{probe.name}: some steps of the locus stay coarse")
    if not (settled_at_low_end(t) and settled_at_low_end(t[::-1])):
        doubts.append(f"{probe.name}: the loop is still turning at the end of the sweep")
    if apart.max() > LARGEST_DISAGREEMENT:
        at = freq_hz[apart.argmax()]
        doubts.append(f"{probe.name}: simulated and computed loop gain differ by {apart.max():.1g} at {at:.3g} Hz")
    if len(network.delay_s):
        opened = unstable + found.encirclements

        def locus_again(at_hz):
            return gains_with_lines(network, at_hz)[number]

        again = judge_loop(*fine_locus(locus_again, freq_hz, computed, nearest=False)).encirclements
        if again != found.encirclements:
            doubts.append(f"{probe.name}: {found.encirclements} turns as simulated, {again} as computed")
        if opened < 0:
            doubts.append(f"{probe.name}: {found.encirclements} turns but {unstable} unstable poles")
    else:
        opened = len(network.opened_poles(number))
        if opened - found.encirclements != unstable:
            doubts.append(
                f"{probe.name}: {found.encirclements} turns and {opened} unstable poles of the opened network do not go"
                f" with {unstable} of the closed one"
            )
    return ProbeVerdict(probe, replace(found, open_poles=opened), freq_hz, t)


def _locus(simulator: Simulator, deck: ReadDeck, probe: Probe, network: LumpedNetwork, number: int):
    """Loop gain simulated in the deck itself, lines and all, refined where it bends."""
    current = f"{probe.voltage}#branch"
    sources = tuple(name for p in deck.probes for name in (p.voltage, p.current))
    simulator.load((*deck.whole, ".end"), (f"v({probe.receive_node})", current))

    def swept(sweeps) -> tuple[np.ndarray, np.ndarray]:
        found = []
        for drive in (probe.voltage, probe.current):
            simulator.excite(sources, drive)
            parts = [simulator.ac(sweep, (f"v({probe.receive_node})", current)) for sweep in sweeps]
            found.append([np.concatenate([part[key] for part in parts]) for key in parts[0]])
            simulator.forget()
        (v_b, i_1, freq_hz), (v_2, i_2, _) = found
        return freq_hz, loop_gain(v_b, i_1, v_2, i_2)

    low, high = (float(f) for f in network.freq_hz[[0, -1]])
    freq_hz, t = swept([f"dec {POINTS} {low!r} {high!r}"])
    if len(network.delay_s):
        lively = freq_hz[np.abs(network.gains_at(2j * np.pi * freq_hz)[number]) > NEAR_ENOUGH]
        if len(lively):
            top = float(lively[-1])
            step = float(max(1 / (PERIOD_POINTS * network.delay_s.sum()), top / MOST_POINTS))
            even_hz, even = swept([f"lin {int(top / step) + 2} {min(step, top)!r} {top!r}"])
            freq_hz, t = _merged(freq_hz, t, even_hz, even)

    def locus(at_hz: np.ndarray) -> np.ndarray:
        return swept([f"lin 1 {float(f)!r} {float(f)!r}" for f in at_hz])[1]

    for _ in range(_EVEN_ROUNDS):
        coarse = coarse_steps(t)
        if not len(coarse):
            break
        # Four points inside each coarse step, evenly spaced: the simulator takes them as one sweep.
        gaps = [(float(freq_hz[i]), float(freq_hz[i + 1] - freq_hz[i]) / 5) for i in coarse]
        freq_hz, t = _merged(freq_hz, t, *swept([f"lin 4 {f + g!r} {f + 4 * g!r}" for f, g in gaps]))
    return fine_locus(locus, freq_hz, t)


def _merged(freq_hz, t, more_hz, more) -> tuple[np.ndarray, np.ndarray]:
    joined, first = np.unique(np.concatenate([freq_hz, more_hz]), return_index=True)
    return joined, np.concatenate([t, more])[first]
