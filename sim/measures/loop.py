"""Is the loop stable, and by how much? From two injections at a probe, without opening anything.

Theory of operation
-------------------
A probe is a zero-volt source in the loop wire and a current source into its receiving side. Two runs, each with one of
them at 1, give the bilateral loop gain T (Tian, Visvanathan, Hantgan and Kundert, IEEE Circuits and Devices Magazine
17(1), 2001, 31-41): 1 + T = (y11+y12+y21+y22)/(y11+y22) of the two-port that the cut wire would expose, whichever way
round the probe lies. The closed loop has Z unstable poles where the opened network has P:

    N = P − Z = (1/π) · total change of arg(1 + T) from low to high frequency, counter-clockwise positive.

So the verdict is a count, not a margin: a conditionally stable loop has more than unity gain at 180° and is stable.
The count is right only if no turn is missed between samples: every step of arg(1 + T) must be below 20 degrees and
every change of |1 + T| below one half, else points are added there; what still fails after eight rounds is
*unresolved*, which is a verdict of its own and counts as not stable.

The modulus margin min |1 + T| bounds both classic margins: phase margin ≥ 2 asin(m/2), gain margin ≥ −20 log10(1 − m).

The opened network need not be stable: an op-amp of 120 dB whose supply is coupled to its input through a filter
has two unstable poles at some kilohertz as long as its loop is open. So P is asked for, too; whoever judges a loop
without knowing it assumes P = 0 and says so.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

LARGEST_TURN = np.deg2rad(20.0)
LARGEST_CHANGE = 0.5
ROUNDS = 8
NO_CROSSING_DB = 60.0
"""Gain margin that stands for "no crossing of the negative real axis that gain could reach"; nothing beyond counts."""
NO_CROSSING_DEG = 180.0
"""Phase margin that stands for "the loop gain never reaches one"."""


@dataclass(frozen=True)
class LoopVerdict:
    """What one probe says.

    Attributes
    ----------
    encirclements : int
        N, counter-clockwise over −∞…∞.
    open_poles : int
        P, unstable poles of the opened network.
    resolved : bool
        Whether every step of the locus was fine enough.
    margin : float
        Smallest |1 + T|. [1]
    margin_freq_hz : float
    phase_margin_deg, gain_margin_db : float
        The smallest in magnitude over all crossings, with its sign.
    """

    encirclements: int
    open_poles: int
    resolved: bool
    margin: float
    margin_freq_hz: float
    phase_margin_deg: float
    gain_margin_db: float

    @property
    def unstable_poles(self) -> int:
        """Z = P − N, unstable poles of the closed loop."""
        return self.open_poles - self.encirclements

    @property
    def stable(self) -> bool:
        """No unstable pole, and every step of the locus fine enough to say so."""
        return self.resolved and self.unstable_poles == 0


def loop_gain(v_b, i_1, v_2, i_2):
    """Bilateral loop gain T from both injections at a probe.

    Parameters
    ----------
    v_b, i_1 : complex ndarray
        Voltage of the receiving side, current through the probe, with the voltage source at 1. [V, A]
    v_2, i_2 : complex ndarray, same shape
        The same with the current source at 1.

    Returns
    -------
    t : complex ndarray, same shape

    Notes
    -----
    Tian and others 2001 (module docstring), in ngspice's sign of the source current (from the driving side through the
    source to the receiving side).
    """
    return 1 / (-2 * i_1 * v_2 + i_2 * (2 * v_b + 1) + v_b + 1) - 1


def coarse_steps(t: np.ndarray) -> np.ndarray:
    """Indices i where the step from sample i to i + 1 of the locus is too large to be trusted."""
    distance = 1 + t
    ratio = distance[1:] / distance[:-1]
    size = np.abs(ratio)
    return np.nonzero((np.abs(np.angle(ratio)) > LARGEST_TURN) | (np.maximum(size, 1 / size) > 1 + LARGEST_CHANGE))[0]


def fine_locus(
    locus: Callable[[np.ndarray], np.ndarray], freq_hz: np.ndarray, t: np.ndarray, nearest: bool = True
) -> tuple[np.ndarray, np.ndarray, bool]:
    """Add points until every step is small, and around the smallest distance from −1.

    Parameters
    ----------
    locus : callable
        Loop gain at given frequencies [Hz], shape (n,) to shape (n,).
    freq_hz : ndarray, shape (n_freq,)
        Ascending. [Hz]
    t : complex ndarray, shape (n_freq,)
    nearest : bool
        Whether the smallest distance is wanted; a count of turns does not need it.

    Returns
    -------
    freq_hz, t : with the added points, ascending
    resolved : bool
    """
    for _ in range(ROUNDS):
        coarse = coarse_steps(t)
        if not len(coarse):
            break
        # Four more points inside each coarse step, evenly spaced in the logarithm.
        ratio = (freq_hz[coarse + 1] / freq_hz[coarse])[:, None] ** (np.arange(1, 5) / 5)
        freq_hz, t = _insert(locus, freq_hz, t, (freq_hz[coarse][:, None] * ratio).ravel())
    resolved = not len(coarse_steps(t))
    if not nearest:
        return freq_hz, t, resolved
    low = int(np.abs(1 + t).argmin())
    around = freq_hz[max(low - 1, 0) : low + 2]
    # The minimum between two samples: six more on each side leave less than a thousandth of it to chance.
    near = (around[:-1, None] * (around[1:] / around[:-1])[:, None] ** _SIXTHS).ravel()
    freq_hz, t = _insert(locus, freq_hz, t, near)
    return freq_hz, t, resolved


_SIXTHS = np.arange(1, 7) / 7


def _insert(locus, freq_hz, t, more):
    added = locus(more)
    joined = np.concatenate([freq_hz, more])
    order = np.argsort(joined, kind="stable")
    return joined[order], np.concatenate([t, added])[order]


def judge_loop(freq_hz: np.ndarray, t: np.ndarray, resolved: bool, open_poles: int = 0) -> LoopVerdict:
    """Count encirclements and read the margins off a locus that is fine enough.

    Parameters
    ----------
    freq_hz : ndarray, shape (n_freq,)
        Ascending. [Hz]
    t : complex ndarray, shape (n_freq,)
        Loop gain.
    resolved : bool
        From :func:`fine_locus`.
    open_poles : int
        Unstable poles of the opened network, known from elsewhere.

    Returns
    -------
    LoopVerdict
    """
    distance = 1 + t
    start = np.angle(distance[0])
    end = start + np.angle(distance[1:] / distance[:-1]).sum()
    # 1 + T is real at zero and at infinite frequency: ends are taken to the nearest real direction.
    turns = np.round(end / np.pi) - np.round(start / np.pi)
    low = int(np.abs(distance).argmin())
    gain_margin = _gain_margin(t)
    if gain_margin <= -NO_CROSSING_DB and resolved and turns == open_poles:
        # A stable loop that only a thousandth of its gain would bring to oscillate.
        gain_margin = NO_CROSSING_DB
    return LoopVerdict(
        encirclements=int(turns),
        open_poles=open_poles,
        resolved=resolved,
        margin=float(np.abs(distance[low])),
        margin_freq_hz=float(freq_hz[low]),
        phase_margin_deg=_phase_margin(t),
        gain_margin_db=gain_margin,
    )


def _phase_margin(t: np.ndarray) -> float:
    size = np.log(np.abs(t))
    cross = np.nonzero(np.signbit(size[:-1]) != np.signbit(size[1:]))[0]
    if not len(cross):
        return NO_CROSSING_DEG if size[0] < 0 else 0.0
    share = size[cross] / (size[cross] - size[cross + 1])
    # The angle of −T is the margin itself; the step between neighbours is small by construction.
    start = np.angle(-t[cross])
    margins = np.rad2deg(start + share * np.angle(t[cross + 1] / t[cross]))
    margins = (margins + 180) % 360 - 180
    return float(margins[np.abs(margins).argmin()])


def _gain_margin(t: np.ndarray) -> float:
    # Where the locus crosses the negative real axis the angle of −T passes zero; between neighbours both angle and
    # logarithm of the size run nearly straight.
    angle = np.angle(-t)
    cross = np.nonzero((np.signbit(angle[:-1]) != np.signbit(angle[1:])) & (np.abs(np.diff(angle)) < np.pi))[0]
    if not len(cross):
        return NO_CROSSING_DB
    share = angle[cross] / (angle[cross] - angle[cross + 1])
    size = np.log(np.abs(t))
    margins = -20 / np.log(10) * (size[cross] + share * (size[cross + 1] - size[cross]))
    margin = float(margins[np.abs(margins).argmin()])
    return float(np.clip(margin, -NO_CROSSING_DB, NO_CROSSING_DB))


def settled_at_low_end(t: np.ndarray) -> bool:
    """Whether the locus starts close enough to the real axis to count from there."""
    turns = np.angle(1 + t[0]) / np.pi
    return bool(abs(turns - np.round(turns)) < 0.1)
