"""The proof in time: kick a circuit and see whether it comes to rest.

Nothing here is small-signal theory: the deck runs in the simulator's transient analysis, whose trapezoidal rule neither
damps nor feeds an oscillation (Gear's rule damps, and has made marginal oscillations look stable). It confirms verdicts
that were found otherwise; it does not replace them, since a slow growth, or one that begins elsewhere, may be missed.

The rule. Length: 20 cycles of the tested frequency over the margin, between 60 and 1500; with a known growth rate nine
of its time constants, so that a kick grows thousands of times or up to where the circuit limits it. Largest step: a
fortieth of a cycle. The rms of each watched node, its straight trend taken out, in the windows of 15 to 30 % and 85 to
100 % of the time:

* *grows*: the late rms is more than 5 % above the early one;
* *limit cycle*: it is within 20 % of the early one or above, and more than twice what the kick gave;
* *latched*: the node ends more than five times the kick's response away from where it rested, and half the kick takes
  it as far;
* *settles*: the late rms is below 80 % of the early one, or below one per cent of what the kick gave;
* *undecided*: anything between; a margin of a thousandth cannot be told in a test of some length.

The numbers are those of a set of trials with the author's own circuits (no source); one per cent of the kick stands in
place of a fixed floor in microvolts, which called slow tails of healthy circuits oscillations.
"""

import enum
import math
from dataclasses import dataclass

import numpy as np

from sim.engine.ngspice import Simulator, UnitFailed

EARLY, LATE = (0.15, 0.30), (0.85, 1.0)
"""Windows, as shares of the time."""
GROWTH = 1.05
SUSTAINED = 0.8
LIMIT_CYCLE = 2.0
LATCH = 5.0
FLOOR = 0.01
SAME_SHIFT = 0.75
"""Share of the shift that half the kick must give for it to be a latch."""
LEAST_CYCLES, MOST_CYCLES = 60.0, 1500.0
ROUND_TRIPS = 10
"""Times that a wave must have gone along all lines and back before a circuit counts as at rest."""
STEPS = 40
"""Steps a cycle, at least."""
FINER = (1, 5, 25)
"""A loop round a line that is shorter than the step may stop the simulator; a step finer by these lets it go on."""

_SOURCE = "izj_kick"


class Ending(enum.Enum):
    """How a node ends after the kick, in the order of what is worse."""

    SETTLES = "settles"
    UNDECIDED = "undecided"
    GROWS = "grows"
    LIMIT_CYCLE = "limit cycle"
    LATCHED = "latched"

    @property
    def unstable(self) -> bool:
        """Whether this ending proves that the circuit does not stay at rest."""
        return self in (Ending.GROWS, Ending.LIMIT_CYCLE, Ending.LATCHED)


@dataclass(frozen=True)
class Kick:
    """A pulse of current into a node.

    Attributes
    ----------
    node : str
    ampere : float
        [A]
    """

    node: str
    ampere: float


@dataclass(frozen=True)
class KickTest:
    """What a circuit did.

    Attributes
    ----------
    ending : Ending
        The worst of all watched nodes.
    node : str
        The node that says so: the one with the largest late rms over its kick's response.
    early_v, late_v : float
        Rms of that node in the early and in the late window, trend taken out. [V]
    kick_v : float
        Largest deviation of that node while the kick lasted and as long again. [V]
    shift_v : float
        Mean of the late window less the voltage at rest. [V]
    time_s, volts : ndarray, shape (n_time,)
        That node's voltage. [s, V]
    rest_v : float
        Its voltage before the kick. [V]
    """

    ending: Ending
    node: str
    early_v: float
    late_v: float
    kick_v: float
    shift_v: float
    time_s: np.ndarray
    volts: np.ndarray
    rest_v: float


def watching_time(freq_hz: float, margin: float, growth_hz: float | None = None, delay_s: float = 0.0) -> float:
    """How long a circuit must be watched. [s]

    Parameters
    ----------
    freq_hz : float
        Tested frequency. [Hz]
    margin : float
        Smallest distance of the locus from −1.
    growth_hz : float, optional
        Growth rate σ/2π of the fastest growing pole, where there is one. [Hz]
    delay_s : float
        One-way delays of all lines together. [s]
    """
    cycles = min(max(LEAST_CYCLES, 20 / max(margin, 1e-9)), MOST_CYCLES)
    if growth_hz is not None and growth_hz > 0:
        # Nine time constants before the early window ends would hide the growth; over the whole test they show it.
        return min(max(9 / (2 * math.pi * growth_hz) * freq_hz, 20.0), MOST_CYCLES) / freq_hz
    # What a line sends back must have come back a few times.
    return min(max(cycles / freq_hz, ROUND_TRIPS * 2 * delay_s), MOST_CYCLES / freq_hz)


def kick_test(
    simulator: Simulator, lines, kicks: tuple[Kick, ...], watch: tuple[str, ...], freq_hz: float, length_s: float
) -> KickTest:
    """Kick a deck and watch it.

    Parameters
    ----------
    simulator : Simulator
    lines : sequence of str
        Complete deck, title first; all its sources at rest.
    kicks : tuple of Kick
        All at once, a quarter of a cycle long.
    watch : tuple of str
        Nodes.
    freq_hz : float
        Frequency at which the circuit is expected to oscillate, if it does. [Hz]
    length_s : float
        See :func:`watching_time`. [s]

    Returns
    -------
    KickTest

    Raises
    ------
    UnitFailed
    LibraryLost
    """
    test = _Test(simulator, tuple(lines), kicks, watch, 1 / freq_hz, length_s)
    tests = test.run(1.0)
    if any(found.ending is Ending.LATCHED for found in tests):
        # A charge that has only not run off yet is as large as the kick; a latch does not ask how hard it was kicked.
        half = {found.node: found.shift_v for found in test.run(0.5)}
        tests = [
            found
            if abs(half[found.node]) > SAME_SHIFT * abs(found.shift_v)
            else _judged(found.node, found.time_s, found.volts, test.kicked_s, latch=False)
            for found in tests
        ]
    order = list(Ending)
    worst = max(order.index(test.ending) for test in tests)
    among = [test for test in tests if order.index(test.ending) == worst]
    if order[worst] is Ending.SETTLES:
        # A node that the kick has charged shows less of the ringing than one that came back.
        among = [test for test in among if abs(test.shift_v) < 0.1 * test.kick_v] or among
    return max(among, key=lambda test: test.late_v / max(test.kick_v, 1e-30))


@dataclass(frozen=True)
class _Test:
    """One deck and its kick, to be run as hard as asked."""

    simulator: Simulator
    lines: tuple[str, ...]
    kicks: tuple[Kick, ...]
    watch: tuple[str, ...]
    cycle_s: float
    length_s: float

    @property
    def kicked_s(self) -> float:
        """When a kick's own response has been seen. [s]"""
        return self.length_s / 200 + self.cycle_s / 2

    def run(self, strength: float) -> list[KickTest]:
        """What each watched node does after the kicks times a factor."""
        begin, edge, width = self.length_s / 200, self.cycle_s / 40, self.cycle_s / 4
        own = [line for line in self.lines if line.strip().lower() != ".end"]
        for number, kick in enumerate(self.kicks):
            pulse = f"pulse(0 {kick.ampere * strength!r} {begin!r} {edge!r} {edge!r} {width!r})"
            own.append(f"{_SOURCE}{number} 0 {kick.node} {pulse}")
        names = tuple(f"v({node})" for node in self.watch)
        for finer in FINER:
            self.simulator.load((*own, ".end"), (*names, "time"))
            try:
                found = self.simulator.transient(self.cycle_s / STEPS / finer, self.length_s, names)
                break
            except UnitFailed as failed:
                if finer == FINER[-1] or "too small" not in str(failed):
                    raise
        self.simulator.forget()
        time_s = found.pop("time")
        return [_judged(node, time_s, found[f"v({node})"], self.kicked_s) for node in self.watch]


def _judged(node: str, time_s: np.ndarray, volts: np.ndarray, kicked_s: float, latch: bool = True) -> KickTest:
    rest = float(volts[0])
    kick = float(np.abs(volts[time_s <= kicked_s] - rest).max())
    early, _ = _window(time_s, volts, EARLY)
    late, mean = _window(time_s, volts, LATE)
    # What the kick moves less than the simulator's own tolerance says nothing.
    least = max(FLOOR * kick, 1e-8 * max(1.0, abs(rest)))
    shift = mean - rest
    if latch and abs(shift) > LATCH * max(kick, 100 * least) and late < LIMIT_CYCLE * kick:
        ending = Ending.LATCHED
    elif late < least:
        ending = Ending.SETTLES
    elif late > SUSTAINED * early and late > LIMIT_CYCLE * max(kick, least):
        ending = Ending.GROWS if late > GROWTH * early else Ending.LIMIT_CYCLE
    elif late > GROWTH * early:
        ending = Ending.GROWS
    else:
        ending = Ending.SETTLES if late < SUSTAINED * early else Ending.UNDECIDED
    return KickTest(ending, node, early, late, kick, shift, time_s, volts, rest)


def _window(time_s: np.ndarray, volts: np.ndarray, shares: tuple[float, float]) -> tuple[float, float]:
    """Rms about the straight trend, and mean, of a window, on even steps: those of the simulator are not."""
    low, high = (share * time_s[-1] for share in shares)
    grid = np.linspace(low, high, 4000)
    level = np.interp(grid, time_s, volts)
    centred = grid - grid.mean()
    mean = level.mean()
    slope = (centred * level).sum() / (centred**2).sum()
    return float(np.sqrt(np.mean((level - mean - slope * centred) ** 2))), float(mean)
