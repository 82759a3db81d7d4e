"""One sweep against the mask of good units, and what else could have made it: the verdict."""

import math
from dataclasses import dataclass

import numpy as np

from sim.diagnosis.diagnose import on_grid
from sim.diagnosis.fit import NEPER_DB, noise_of
from sim.errors import SweepError
from sim.inspection.cloud import Cloud
from sim.inspection.mask import Mask, gain_mask, match_mask, plane
from sim.inspection.ready import Ready
from sim.inspection.setups import DUMMY_STEP, PADS_DB
from sim.quantity import format_quantity
from sim.sampling.coverage import normal_limit

GOOD, BAD, UNKNOWN = "good", "not good", "cannot tell"
NOISY = 3.0
"""Scatter of a sweep's points over what the uncertainty says, from which it is called noisy. [1]"""
FEWEST_EARLIER = 3
"""Earlier sweeps out of which a spread is taken."""
SILENCE_DB = -40.0
"""Gain below which nothing comes through; common practice, no source. [dB]"""
_PAD_DB = 0.06
_FEWEST_POINTS = 12
_LARGEST_DUMMY = 0.25


@dataclass(frozen=True)
class Worst:
    """Where a curve is farthest from the middle of the good units.

    Attributes
    ----------
    freq_hz : float
    gain_db, phase_deg : float
        From the middle; of a reflection: real and imaginary part, both dimensionless.
    distance, allowed, usual : float
        In standard deviations: found, of the mask, and what 95 in 100 good units keep over all frequencies.
    """

    freq_hz: float
    gain_db: float
    phase_deg: float
    distance: float
    allowed: float
    usual: float

    @property
    def inside(self) -> bool:
        """Whether it is within the mask."""
        return self.distance <= self.allowed


@dataclass(frozen=True)
class Score:
    """A unit against the batch at one frequency.

    Attributes
    ----------
    freq_hz : float
    gain_db, phase_deg : float
        From the batch's mean.
    gain_z, phase_z : float
        In standard deviations of the batch and the measurement together. [1]
    """

    freq_hz: float
    gain_db: float
    phase_deg: float
    gain_z: float
    phase_z: float


@dataclass(frozen=True)
class Batch:
    """A unit against earlier sweeps.

    Attributes
    ----------
    count : int
    scores : tuple of Score
        At the study's bands that the sweeps cover.
    middle : Worst
        Of the median of the earlier sweeps against the mask.
    to_middle : Worst
        Of the unit against that median.
    """

    count: int
    scores: tuple[Score, ...]
    middle: Worst
    to_middle: Worst

    @property
    def limit_z(self) -> float:
        """z-score within which 95 % of all boards lie, with 95 % confidence, as far as so few tell. [1]

        A z-score also holds what the mean of the batch is unsure of; the limit is from that mean.
        """
        return normal_limit(self.count) / math.sqrt(1 + 1 / self.count)

    @property
    def right(self) -> bool:
        """Whether the earlier sweeps lie where good units do, so that the bench was right with them."""
        return self.middle.inside


@dataclass(frozen=True)
class Inspection:
    """What a sweep says of its unit.

    Attributes
    ----------
    verdict : str
        "good", "not good" or "cannot tell".
    reasons : tuple of str
        In sentences, why it is not "good" where it is not.
    points : int
        Frequencies that were compared.
    worst : Worst or None
        Of gain and phase; None where nothing could be compared.
    match : Worst or None
        Of the output's reflection, where it was measured.
    noise_db : float
        Scatter of the sweep's points. [dB]
    setup : str or None
        Mistake in the set-up that would look the same, to continue "as if …".
    batch : Batch or None
    places : int ndarray
        Frequencies of the cloud that were compared.
    away : ndarray, shape (2, n_place)
        Level [Np] and phase [rad] from the nominal unit.
    mask : Mask or None
    diagnosable : bool
        Whether it is worth asking which fault would show this sweep.
    """

    verdict: str
    reasons: tuple[str, ...]
    points: int
    worst: Worst | None
    match: Worst | None
    noise_db: float
    setup: str | None
    batch: Batch | None
    places: np.ndarray
    away: np.ndarray
    mask: Mask | None
    diagnosable: bool = False


def inspect(cloud: Cloud, ready: Ready, bands_hz, earlier: tuple[Ready, ...] = (), same_setup: int = 0) -> Inspection:
    """Hold a sweep against good units.

    Parameters
    ----------
    cloud : Cloud
        Good units on the bench of the sweep.
    ready : Ready
        The sweep between that bench's ports.
    bands_hz : sequence of float
        Of the study. [Hz]
    earlier : tuple of Ready
        Sweeps of other units on the same bench.
    same_setup : int
        How many of them were made on one day with this one: were they right, so was the set-up.
    """
    if cloud.oscillates_hz > 0:
        near = format_quantity(cloud.oscillates_hz, "Hz", 2)
        return _unknown(
            f"The study's own nominal unit oscillates on this bench, near {near}: there is no mask of good units."
            " bandfloor run says what to change."
        )
    try:
        places, observed = on_grid(cloud, ready.sweep)
    except SweepError as error:
        fault = error.faults[0]
        return _unknown(f"The sweep {fault.found} {fault.remedy}")
    missed = [f for f in bands_hz if _inside(cloud.freq_hz, f) and not _inside(ready.sweep.freq_hz, f)]
    if missed:
        listed = ", ".join(f"{f / 1e6:.4g}" for f in missed)
        return _unknown(f"The sweep does not reach the study's bands at {listed} MHz. Sweep from 0.5 to 10 MHz.")
    mask = gain_mask(cloud, places)
    away = plane(observed, cloud.nominal[places], cloud.bench)
    freq_hz = cloud.freq_hz[places]
    worst = _worst(mask, away, freq_hz)
    match = _match(cloud, ready, places)
    noise, allowed_noise = _scatter(cloud, ready)
    noise_db = float(noise * NEPER_DB)
    batch = _batch(cloud, places, observed, earlier, mask, bands_hz)
    reasons, verdict, setup = [], GOOD, None
    noisy = noise > NOISY * allowed_noise
    if not worst.inside:
        verdict = BAD
        silent = float(np.median(20 * np.log10(np.maximum(np.abs(observed), 1e-15)))) < SILENCE_DB
        setup = None if silent else _setup(cloud, places, away, mask)
        if silent:
            reasons.append("Next to nothing comes through: look at the supply and at both plugs first.")
        elif noisy and float(mask.distances(away, noise).max()) <= mask.outer:
            verdict = UNKNOWN
        elif batch and not batch.right and batch.to_middle.inside:
            verdict = UNKNOWN
            reasons.append(
                f"It is like the {batch.count} earlier sweeps, and their middle is outside, too: the dummy, a port, a"
                " lot of parts or the study is off, and not this unit."
            )
        elif setup and not (batch and batch.right and same_setup >= FEWEST_EARLIER):
            verdict = UNKNOWN
            reasons.append(f"It looks exactly as if {setup}. Check that first, and sweep again.")
        elif setup:
            reasons.append(
                f"It looks as if {setup}, but other units of that day were measured right: was anything changed"
                " between them?"
            )
    drowned = verdict == UNKNOWN and not reasons
    if match and not match.inside:
        verdict = BAD if verdict == GOOD else verdict
        reasons.append("The output's match is outside the mask.")
    if noisy:
        verdict = UNKNOWN if verdict == GOOD else verdict
        reasons.append(
            f"The points scatter by {noise_db:.2g} dB, where {allowed_noise * NEPER_DB:.2g} dB were said. Average more"
            " sweeps, narrow the bandwidth, look at the plugs; or state --uncertainty."
        )
    return Inspection(
        verdict=verdict,
        reasons=tuple(reasons),
        points=len(places),
        worst=worst,
        match=match,
        noise_db=noise_db,
        setup=setup,
        batch=batch,
        places=places,
        away=away,
        mask=mask,
        diagnosable=not drowned and (verdict == BAD or not worst.inside),
    )


def _unknown(reason: str) -> Inspection:
    nothing = np.empty(0, dtype=int)
    return Inspection(UNKNOWN, (reason,), 0, None, None, 0.0, None, None, nothing, np.empty((2, 0)), None)


def _inside(freq_hz: np.ndarray, one: float) -> bool:
    return freq_hz[0] * (1 - 1e-9) <= one <= freq_hz[-1] * (1 + 1e-9)


def _worst(mask: Mask, away: np.ndarray, freq_hz: np.ndarray, scale=(NEPER_DB, 180 / np.pi), wider=1.0) -> Worst:
    distances = mask.distances(away)
    at = int(distances.argmax())
    x, y = away[:, at] - mask.middle[:, at]
    return Worst(
        freq_hz=float(freq_hz[at]),
        gain_db=float(x * scale[0]),
        phase_deg=float(y * scale[1]),
        distance=float(distances[at]),
        allowed=mask.outer * wider,
        usual=mask.inner * wider,
    )


def _match(cloud: Cloud, ready: Ready, places: np.ndarray) -> Worst | None:
    if ready.match is None:
        return None
    own = ready.match
    at = np.log(cloud.freq_hz[places])
    # Real and imaginary part on straight lines: a reflection near zero has no phase to go by.
    parts = [np.interp(at, np.log(own.freq_hz), part) for part in (own.gain.real, own.gain.imag)]
    mask = match_mask(cloud, places)
    nominal = cloud.nominal_match[places]
    return _worst(mask, np.array(parts) - np.array([nominal.real, nominal.imag]), cloud.freq_hz[places], (1.0, 1.0))


def _scatter(cloud: Cloud, ready: Ready) -> tuple[float, float]:
    """Scatter of the sweep's own points about a smooth curve, and what was stated; of the axis that is worse. [Np, rad]

    Third differences of independent points have 1 + 9 + 9 + 1 = 20 times their variance, and the median of their
    squares is 0.455 of its mean (chi-square of one degree), which a kink or two does not move.
    """
    from scipy.interpolate import CubicSpline

    own = ready.sweep
    inside = (own.freq_hz >= cloud.freq_hz[0]) & (own.freq_hz <= cloud.freq_hz[-1])
    if inside.sum() < _FEWEST_POINTS:
        return 0.0, np.inf
    smooth = np.array([np.log(np.abs(cloud.nominal)), np.unwrap(np.angle(cloud.nominal))])
    level, turn = CubicSpline(np.log(cloud.freq_hz), smooth, axis=1)(np.log(own.freq_hz[inside]))
    nominal = np.exp(level + 1j * turn)
    away = plane(own.gain[inside], nominal, cloud.bench)
    away[1] = np.unwrap(away[1])
    found = np.sqrt(np.median(np.diff(away, 3, axis=1) ** 2, axis=1) / 20 / 0.455)
    stated = np.median(noise_of(nominal, cloud.bench).reshape(2, -1), axis=1)
    axis = int((found / stated).argmax())
    return float(found[axis]), float(stated[axis])


def _setup(cloud: Cloud, places: np.ndarray, away: np.ndarray, mask: Mask) -> str | None:
    """The mistake in the set-up that brings the sweep best inside the inner mask; None where none does."""
    found = []
    for setup, gain in zip(cloud.setups, cloud.mistaken, strict=True):
        shift = plane(gain[places], cloud.nominal[places], cloud.bench)
        words = setup.words
        if setup.key == "step":
            a = (shift / np.log1p(DUMMY_STEP)).ravel()
            change = float(a @ (away - mask.middle).ravel() / (a @ a))
            if abs(change) > np.log1p(_LARGEST_DUMMY):
                continue
            shift = shift / np.log1p(DUMMY_STEP) * change
            words = (
                f"the dummy were {1e12 * cloud.bench.dummy * np.exp(change):.3g} pF and not"
                f" {1e12 * cloud.bench.dummy:.3g}"
            )
        found.append((float(mask.distances(away - shift).max()), words))
    level = float(np.median(away[0] - mask.middle[0]) * NEPER_DB)
    for pad in PADS_DB:
        if abs(-level - pad) < _PAD_DB + 2 * float(np.sqrt(mask.covariance[0, 0].mean())) * NEPER_DB:
            shift = np.array([np.full(len(places), -pad / NEPER_DB), np.zeros(len(places))])
            found.append((float(mask.distances(away - shift).max()), f"a pad of {pad:g} dB were in the way"))
    turned = np.array([away[0], np.angle(-np.exp(1j * away[1]))])
    found.append((float(mask.distances(turned).max()), "a transformer or the calibration turned the phase by 180°"))
    distance, words = min(found)
    return words if distance <= mask.inner else None


def _batch(cloud, places, observed, earlier, mask: Mask, bands_hz) -> Batch | None:
    """The unit against earlier sweeps, on the frequencies that all of them cover."""
    rows = []
    for one in earlier:
        try:
            own, gain = on_grid(cloud, one.sweep)
        except SweepError:
            continue
        if np.isin(places, own).all():
            rows.append(gain[np.searchsorted(own, places)])
    if len(rows) < FEWEST_EARLIER:
        return None
    bench, nominal, freq_hz = cloud.bench, cloud.nominal[places], cloud.freq_hz[places]
    batch = np.array([plane(gain, nominal, bench) for gain in rows])
    unit = plane(observed, nominal, bench)
    count = len(batch)
    noise = noise_of(nominal, bench).reshape(2, -1)
    own = np.sqrt(np.var(batch, axis=0, ddof=1) + noise**2) * np.sqrt(1 + 1 / count)
    scores = []
    for band in bands_hz:
        if _inside(freq_hz, band):
            at = int(np.abs(np.log(freq_hz / band)).argmin())
            x, y = unit[:, at] - batch.mean(axis=0)[:, at]
            scores.append(
                Score(
                    freq_hz=float(band),
                    gain_db=float(x * NEPER_DB),
                    phase_deg=float(np.rad2deg(y)),
                    gain_z=float(x / own[0, at]),
                    phase_z=float(y / own[1, at]),
                )
            )
    median = np.median(batch, axis=0)
    return Batch(
        count=count,
        scores=tuple(scores),
        middle=_worst(mask, median, freq_hz),
        # Two units differ by more than one from the middle; the median of few is hardly better than a unit.
        to_middle=_worst(mask, unit - median + mask.middle, freq_hz, wider=float(np.sqrt(1 + 1.57 / count))),
    )
