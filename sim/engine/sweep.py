"""The runs one unit gets: operating point, one small-signal sweep a source, one noise sweep."""

import math
from dataclasses import dataclass

import numpy as np

from sim.deck.chain import Deck
from sim.engine.ngspice import Simulator, UnitFailed

LOWEST_HZ = 10.0
"""Where every loop is looked at from. An op-amp of 120 dB and 70 MHz has its first pole at 70 Hz; only well below it is
1 + T real, and turns can be counted from there. [Hz]"""


@dataclass(frozen=True)
class SweepPlan:
    """Frequencies at which units are simulated.

    Attributes
    ----------
    high_hz : float
        Upper end of the small-signal sweeps. [Hz]
    points : int
        Small-signal points a decade.
    noise_low_hz, noise_high_hz : float
        Ends of the noise sweep. [Hz]
    noise_points : int
        Noise points a decade.
    """

    high_hz: float = 3e9
    points: int = 6
    noise_low_hz: float = 3e5
    noise_high_hz: float = 3e7
    noise_points: int = 24

    @property
    def ac(self) -> str:
        """Small-signal sweep as the simulator wants it."""
        return f"dec {self.points} {LOWEST_HZ!r} {self.high_hz!r}"

    @property
    def noise(self) -> str:
        """Noise sweep as the simulator wants it."""
        return f"dec {self.noise_points} {self.noise_low_hz!r} {self.noise_high_hz!r}"


@dataclass(frozen=True)
class UnitRun:
    """What the simulator said about one unit.

    Attributes
    ----------
    operating : dict of str to float
        Operating point by vector name. [V, A]
    freq_hz : ndarray, shape (n_freq,)
    values : complex ndarray, shape (n_drive, n_read, n_freq)
        See :class:`sim.measures.terminate.Responses`.
    noise_hz : ndarray, shape (n_noise,)
    noise_psd : ndarray, shape (n_noise,)
        At the output, reference load connected and noiseless. [V²/Hz]
    contributions : dict of str to ndarray
        The same by device, only where asked for. [V²/Hz]
    """

    operating: dict
    freq_hz: np.ndarray
    values: np.ndarray
    noise_hz: np.ndarray
    noise_psd: np.ndarray
    contributions: dict


def plan_for(bands_hz, gbw_hz, sharpness: int = 1) -> SweepPlan:
    """Sweeps that reach past twice the fastest op-amp's gain-bandwidth, and cover all bands with noise.

    Parameters
    ----------
    bands_hz : sequence of float
    gbw_hz : sequence of float
    sharpness : int
        How many times more points a decade the antenna asks for.
    """
    return SweepPlan(
        high_hz=max(3e9, 2 * max(gbw_hz, default=0.0)),
        points=6 * sharpness,
        noise_points=24 * sharpness,
        noise_low_hz=min(3e5, 10 ** math.floor(math.log10(min(bands_hz)))),
        noise_high_hz=max(3e7, 1.5 * max(bands_hz)),
    )


def at_rest(simulator: Simulator, ways: tuple[tuple[str, ...], ...], save, nodes) -> dict[str, float]:
    """Load a deck and find its operating point, the first of several ways that leads to one.

    Parameters
    ----------
    simulator : Simulator
    ways : tuple of tuple of str
        Lines of the same deck under other options.
    save : tuple of str
        Vectors to keep.
    nodes : sequence of str
        Vectors to read.

    Returns
    -------
    operating : dict of str to float
        By vector name; the deck that led there is loaded. [V, A]

    Raises
    ------
    UnitFailed
        None led there; what the first one said.
    """
    first: UnitFailed | None = None
    for lines in ways:
        simulator.load(lines, save)
        try:
            return simulator.operating_point(nodes)
        except UnitFailed as failed:
            first = first or failed
    raise first


def run_unit(simulator: Simulator, deck: Deck, plan: SweepPlan, contributors: bool = False) -> UnitRun:
    """Load one deck and run everything on it.

    Parameters
    ----------
    simulator : Simulator
    deck : Deck
    plan : SweepPlan
    contributors : bool
        Keep the noise of every device apart; costs about as much again as the noise run.

    Raises
    ------
    UnitFailed
        Something about this unit gave no result that may be believed.
    LibraryLost
        The process must end.
    """
    nodes = [name for name in deck.operating if name != "0"]
    # With all contributions wanted nothing may be left out of what is saved.
    save = (
        ()
        if contributors
        else tuple(dict.fromkeys((*nodes, *deck.reads, "onoise_spectrum", "inoise_spectrum", "onoise_total")))
    )
    operating = {"0": 0.0, **at_rest(simulator, deck.ways, save, nodes)}
    rows, freq_hz = [], None
    for drive in deck.drives:
        simulator.excite(deck.drives, drive)
        swept = simulator.ac(plan.ac, dict.fromkeys(deck.reads))
        freq_hz = swept["frequency"]
        rows.append([swept[name] for name in deck.reads])
    # The emf was the last drive, so it still has the AC value that a noise run wants to see.
    noise = simulator.noise(deck.output, deck.source, plan.noise, contributors)
    contributions = {
        name.removeprefix("onoise_"): density**2
        for name, density in noise.items()
        if name.startswith("onoise_") and name != "onoise_spectrum"
    }
    return UnitRun(
        operating=operating,
        freq_hz=freq_hz,
        values=np.array(rows),
        noise_hz=noise["frequency"],
        noise_psd=noise["onoise_spectrum"] ** 2,
        contributions=contributions,
    )
