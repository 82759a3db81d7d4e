"""Which boards of a build are good, and how many must be built for enough of them.

Boards of one build share their lots, so they are good or bad together more often than by chance, and the number of
good ones is not binomial: it is counted, in builds that were simulated. The first n boards of each build are the build
of n; a match is judged against the mean of those n, as on the bench.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from sim.errors import BandfloorError
from sim.order.simulated import Builds
from sim.quantity import Limit
from sim.summary.matching import build_deviations, phase_deviations
from sim.summary.strong import HEADROOM
from sim.summary.yields import clopper_pearson

MATCHED = {
    "match_gain_db": ("gain_db", build_deviations),
    "match_phase_deg": ("phase_deg", phase_deviations),
    "match_system_gain_db": ("system_gain_db", build_deviations),
    "match_system_phase_deg": ("system_phase_deg", phase_deviations),
}
"""What each match compares, and how."""
_RESERVE = "_reserve_v"
"""Ending of measures that no board may have below zero, asked or not, such as :data:`sim.summary.yields.RESERVE`; nor
may it clip."""


def measured(builds: Builds, measure: str, boards: int) -> np.ndarray:
    """A measure of the first boards of every build, shape (n_build, boards, n_band or 1).

    Parameters
    ----------
    builds : Builds
    measure : str
        A match is the deviation from the mean of those boards.
    boards : int

    Raises
    ------
    BandfloorError
        Nothing gives the measure; to pass over its limit would make the yield look better than it is.
    """
    if measure not in MATCHED:
        if measure not in builds.values:
            raise BandfloorError(f"An order does not judge {measure}.\n  Take its limit out, and judge it by a run.")
        return builds.values[measure][:, :boards]
    base, deviations = MATCHED[measure]
    values = builds.values[base][:, :boards]
    numbers = builds.units[:, :boards].ravel()
    return deviations(values.reshape(len(numbers), -1), numbers, builds.stride).reshape(values.shape)


def kept_limits(builds: Builds, limits: Mapping[str, Limit], boards: int) -> dict[str, np.ndarray]:
    """Whether each board keeps each limit at every band, shape (n_build, boards) each.

    Parameters
    ----------
    builds : Builds
    limits : mapping of measure to Limit
        No board may get less supply than it needs, asked or not.
    boards : int
        Of each build.
    """
    kept = {name: limit.holds(measured(builds, name, boards)).all(axis=-1) for name, limit in limits.items()}
    for name in builds.values:
        if (name.endswith(_RESERVE) or name == HEADROOM) and name not in limits:
            kept[name] = ~(builds.values[name][:, :boards, 0] < 0)
    return kept


def good_boards(builds: Builds, limits: Mapping[str, Limit], boards: int) -> np.ndarray:
    """Whether each board keeps all limits, shape (n_build, boards); one that did not simulate does not.

    Parameters
    ----------
    builds : Builds
    limits : mapping of measure to Limit
    boards : int
        Of each build.
    """
    simulated = ~np.isnan(builds.values["gain_db"][:, :boards]).any(axis=-1)
    return np.logical_and.reduce([simulated, *kept_limits(builds, limits, boards).values()])


@dataclass(frozen=True)
class Need:
    """How many boards to build.

    Attributes
    ----------
    wanted : int
        Good boards.
    boards : int or None
        To build; None where no number up to `looked` does.
    looked : int
        Largest number of boards that was looked at.
    share, share_low, share_high : float
        Of builds of `boards` (or of `looked`) that have as many good ones, with its 95 % interval. [1]
    good_share, good_low, good_high : float
        Of boards that are good, of the same builds; the interval, of 95 %, takes builds for what differs. [1]
    hopeless : float
        Share of builds in which so few boards are good that no number up to the most does. [1]
    builds : int
        That were simulated.
    """

    wanted: int
    boards: int | None
    looked: int
    share: float
    share_low: float
    share_high: float
    good_share: float
    good_low: float
    good_high: float
    hopeless: float
    builds: int


def boards_needed(simulator, limits: Mapping[str, Limit], wanted: int, confidence: float, first: int) -> Need:
    """The smallest number of boards with which enough simulated builds have as many good ones as are wanted.

    Parameters
    ----------
    simulator : BuildSimulator
        Anything with ``upto(boards)``, ``stride`` and ``builds``.
    limits : mapping of measure to Limit
    wanted : int
        Good boards, 1 or more.
    confidence : float
        Least share of builds. [1]
    first : int
        Boards to simulate at first; more follow, up to the stride, while that may help.

    Notes
    -----
    Nothing more is simulated once so many builds have so few good boards (Clopper and Pearson's upper end of their own
    share, 97.5 % one-sided) that the rest cannot reach the confidence: boards of the same lots would not mend that.
    """
    looked, tried = max(first, wanted), wanted
    while True:
        looked = min(looked, simulator.stride)
        builds = simulator.upto(looked)
        for boards in range(tried, looked + 1):
            enough = good_boards(builds, limits, boards).sum(axis=1) >= wanted
            if enough.mean() >= confidence:
                return _need(builds, limits, wanted, boards, looked, 0.0, enough)
        counts = good_boards(builds, limits, looked).sum(axis=1)
        hopeless = float(np.mean([_most_share(int(count), looked) * simulator.stride < wanted for count in counts]))
        if looked >= simulator.stride or hopeless > 1 - confidence:
            return _need(builds, limits, wanted, None, looked, hopeless, counts >= wanted)
        tried, looked = looked + 1, math.ceil(1.5 * looked)


def _most_share(good: int, boards: int) -> float:
    return clopper_pearson(good, boards)[1]


def _need(builds: Builds, limits, wanted: int, boards: int | None, looked: int, hopeless: float, enough) -> Need:
    low, high = clopper_pearson(int(enough.sum()), len(enough))
    own = good_boards(builds, limits, boards or looked).mean(axis=1)
    half = 1.96 * float(own.std(ddof=1)) / math.sqrt(len(own)) if len(own) > 1 else math.nan
    share = float(own.mean())
    ends = (max(share - half, 0.0), min(share + half, 1.0))
    if share in (0.0, 1.0):
        # No build differs from another: then it is the builds that are counted.
        ends = clopper_pearson(round(share * len(own)), len(own))
    return Need(
        wanted=wanted,
        boards=boards,
        looked=looked,
        share=float(enough.mean()),
        share_low=low,
        share_high=high,
        good_share=share,
        good_low=ends[0],
        good_high=ends[1],
        hopeless=hopeless,
        builds=len(enough),
    )
