"""How well one hypothesis explains a sweep: a fault, a good unit's tolerances around it, the bench, and noise.

With ln h the logarithm of the complex gain (level and phase), a hypothesis says

    ln h(observed) = ln h(fault, nominal) + J z + noise,      z ~ N(0, 1)

with one column of J for each thing that differs from unit to unit, each uncertainty of the bench, and what the fault
itself leaves open. The best z and the likelihood with all z integrated out follow in closed form:

    z = (1 + MᵀM)⁻¹ Mᵀ b,   ln L = −½ (|b − M z|² + |z|² + ln det(1 + MᵀM) + ln det N),   M = N^-½ J, b = N^-½ d

(a linear Gaussian model; Laplace's method where the unit at z is simulated again and the difference put into d).
Level and phase are taken softly near the floor of the bench, where neither says anything.
"""

from dataclasses import dataclass

import numpy as np

from sim.diagnosis.bench import BenchSetup

NEPER_DB = 20 / np.log(10)
_SOFT = 6.7
"""Makes the variance of the level of pure noise, 0.27² Np², out of the one of a strong signal with a little noise."""
IDLE_SIGMAS = (0.7, 0.35, 0.5, 0.35)
"""How well what comes through an idle op-amp is known: level [Np], its slope [Np a decade], phase [rad], its slope
[rad a decade]; estimates, no source."""


@dataclass(frozen=True)
class Hypothesis:
    """One explanation, made for the frequencies of a sweep.

    Attributes
    ----------
    gain : complex ndarray, shape (n_freq,)
        At nominal values.
    columns : complex ndarray, shape (n_column, n_freq)
        Change of ln gain for one standard deviation of each variable.
    """

    gain: np.ndarray
    columns: np.ndarray


@dataclass(frozen=True)
class Fit:
    """How one hypothesis explains one sweep.

    Attributes
    ----------
    z : ndarray, shape (n_column,)
        Most likely values of the variables, in standard deviations.
    misfit : float
        Chi-square of all that is left, tolerances included.
    likelihood : float
        ln L, up to a constant that all hypotheses share.
    residual : ndarray, shape (2 n_freq,)
        b: level and phase, each in standard deviations of the noise, nothing explained yet.
    columns : ndarray, shape (2 n_freq, n_column)
        M.
    """

    z: np.ndarray
    misfit: float
    likelihood: float
    residual: np.ndarray
    columns: np.ndarray


def measurement_columns(freq_hz: np.ndarray, bench: BenchSetup, idle: bool) -> np.ndarray:
    """What all points of a sweep may be off by together: level, delay; with an idle op-amp level and phase at large.

    Parameters
    ----------
    freq_hz : ndarray, shape (n_freq,)
    bench : BenchSetup
    idle : bool

    Returns
    -------
    columns : complex ndarray, shape (n_column, n_freq)
        Of ln gain.
    """
    found = [np.full(freq_hz.shape, bench.level_sigma_db / NEPER_DB + 0j)]
    found.append(-2j * np.pi * freq_hz * bench.delay_sigma_s)
    decades = np.log10(freq_hz / 2e6)
    for sigma, column in zip(IDLE_SIGMAS, (1.0, decades, 1j, 1j * decades), strict=True):
        found.append(np.full(freq_hz.shape, (sigma if idle else 0.0) * column, dtype=complex))
    return np.array(found)


def look_noise(freq_hz: np.ndarray, gain: np.ndarray, share: float) -> np.ndarray:
    """What a first look must allow: everything off by a share, and the whole curve moved over frequency by as much.

    Parameters
    ----------
    freq_hz : ndarray, shape (n_freq,)
    gain : complex ndarray, shape (n_freq,)
        Of a hypothesis; where it has a sharp resonance a small move is a large change.
    share : float
        [1]

    Returns
    -------
    sigma : ndarray, shape (2 n_freq,)
        [Np, rad]
    """
    logarithm = np.log(np.maximum(np.abs(gain), 1e-12)) + 1j * np.unwrap(np.angle(gain))
    slope = np.abs(np.gradient(logarithm, np.log(freq_hz)))
    return np.tile(share * (1 + slope), 2)


def noise_of(gain: np.ndarray, bench: BenchSetup, more: np.ndarray | float = 0.0) -> np.ndarray:
    """Standard deviations of level [Np] and phase [rad] of each point, one behind the other.

    Parameters
    ----------
    gain : complex ndarray, shape (n_freq,)
        As the hypothesis has it.
    bench : BenchSetup
    more : float or ndarray, shape (2 n_freq,)
        Added to both. [Np, rad]
    """
    floor = 10 ** (bench.floor_db / 10)
    power = np.abs(gain) ** 2
    level = (bench.gain_sigma_db / NEPER_DB) ** 2 + 0.5 * floor / (power + _SOFT * floor)
    # An unknown angle is as likely everywhere; the normal distribution of 2.5 rad has that density in its middle.
    phase = np.deg2rad(bench.phase_sigma_deg) ** 2 + 0.5 * np.minimum(floor / np.maximum(power, 1e-30), 2 * 2.5**2)
    return np.sqrt(np.concatenate([level, phase]) + more**2)


def difference(observed: np.ndarray, gain: np.ndarray, bench: BenchSetup) -> np.ndarray:
    """Level [Np] and phase [rad, principal value] of a sweep against a hypothesis.

    Parameters
    ----------
    observed, gain : complex ndarray, shape (n_freq,)
    bench : BenchSetup

    Returns
    -------
    d : ndarray, shape (2 n_freq,)

    Notes
    -----
    The sweep holds the floor's power beside its own; once more added to both, the logarithm of pure noise has a
    standard deviation of 0.27 Np around zero and no long tail.
    """
    floor = 10 ** (bench.floor_db / 10)
    level = 0.5 * np.log((np.abs(observed) ** 2 + floor) / (np.abs(gain) ** 2 + 2 * floor))
    return np.concatenate([level, np.angle(observed * np.conj(gain))])


def bend(simulated: np.ndarray, linear: np.ndarray, bench: BenchSetup) -> np.ndarray:
    """What a linear model is off by: level [Np] and phase [rad] of a simulated gain against its own.

    Parameters
    ----------
    simulated, linear : complex ndarray, shape (n_freq,)
    bench : BenchSetup

    Returns
    -------
    shift : ndarray, shape (2 n_freq,)
    """
    floor = 2 * 10 ** (bench.floor_db / 10)
    level = 0.5 * np.log((np.abs(simulated) ** 2 + floor) / (np.abs(linear) ** 2 + floor))
    return np.concatenate([level, np.angle(simulated * np.conj(linear))])


def fit(
    observed: np.ndarray,
    hypothesis: Hypothesis,
    bench: BenchSetup,
    more: np.ndarray | float = 0.0,
    shift: np.ndarray | None = None,
) -> Fit:
    """Explain a sweep by one hypothesis.

    Parameters
    ----------
    observed : complex ndarray, shape (n_freq,)
    hypothesis : Hypothesis
    bench : BenchSetup
    more : float or ndarray, shape (2 n_freq,)
        Added to the noise, for a first look with columns that belong to another fault. [Np, rad]
    shift : ndarray, shape (2 n_freq,), optional
        What the linear model is off by where the unit at z was simulated: added to the hypothesis.
    """
    sigma = noise_of(hypothesis.gain, bench, more)
    floor = 10 ** (bench.floor_db / 10)
    power = np.abs(hypothesis.gain) ** 2
    soft = power / (power + 2 * floor)
    stacked = np.concatenate([hypothesis.columns.real * soft, hypothesis.columns.imag], axis=1).T
    m = stacked / sigma[:, None]
    d = difference(observed, hypothesis.gain, bench)
    b = (d if shift is None else d - shift) / sigma
    normal = m.T @ m + np.eye(m.shape[1])
    z = np.linalg.solve(normal, m.T @ b)
    misfit = float(np.sum((b - m @ z) ** 2) + z @ z)
    _, logdet = np.linalg.slogdet(normal)
    return Fit(z, misfit, float(-0.5 * (misfit + logdet) - np.sum(np.log(sigma))), b, m)


@dataclass(frozen=True)
class GoodTest:
    """Whether a sweep may be that of a good unit.

    Attributes
    ----------
    tolerance, tolerance_most : float
        Chi-square along the directions in which tolerances move a sweep, and its bound.
    rest, rest_most : float
        The same of all that no tolerance explains.
    tolerance_freedom : int
        Number of these directions.
    """

    tolerance: float
    tolerance_most: float
    rest: float
    rest_most: float
    tolerance_freedom: int

    @property
    def passed(self) -> bool:
        """Whether both hold."""
        return self.tolerance <= self.tolerance_most and self.rest <= self.rest_most


def good_test(explained: Fit, false_alarms: float = 0.03) -> GoodTest:
    """Test the hypothesis that nothing is wrong.

    Parameters
    ----------
    explained : Fit
        By the hypothesis of a good unit.
    false_alarms : float
        Share of good units that it may refuse; half of it each for the two tests. [1]

    Notes
    -----
    In the singular directions of M the residual has the variance 1 + s². Those with s > 1 are moved more by tolerances
    than by noise; one chi-square over all frequencies would bury a part far off its value in the noise of all others.
    """
    from scipy.special import chdtri

    u, s, _ = np.linalg.svd(explained.columns, full_matrices=False)
    along = u.T @ explained.residual
    moved = s > 1
    tolerance = float(np.sum(along[moved] ** 2 / (1 + s[moved] ** 2)))
    rest = explained.misfit - tolerance
    freedom = int(moved.sum()), len(explained.residual) - int(moved.sum())
    return GoodTest(
        tolerance,
        float(chdtri(freedom[0], false_alarms / 2)) if freedom[0] else 0.0,
        rest,
        float(chdtri(freedom[1], false_alarms / 2)),
        freedom[0],
    )


def distance(a: Hypothesis, b: Hypothesis, bench: BenchSetup) -> float:
    """How far two hypotheses lie apart under the mean of their covariances: below 3.3 they are confused one time in 20.

    Parameters
    ----------
    a, b : Hypothesis
        On the same frequencies.
    bench : BenchSetup

    Returns
    -------
    d : float
        Symmetric. [1]
    """
    sigma = np.sqrt((noise_of(a.gain, bench) ** 2 + noise_of(b.gain, bench) ** 2) / 2)
    # Of what lies below the floor the phase is chance.
    floor = 10 ** (bench.floor_db / 10)
    known = np.sqrt(np.prod([np.abs(one.gain) ** 2 / (np.abs(one.gain) ** 2 + floor) for one in (a, b)], axis=0))
    delta = bend(a.gain, b.gain, bench) * np.concatenate([np.ones_like(known), known]) / sigma
    columns = np.concatenate([a.columns, b.columns]) / np.sqrt(2)
    m = np.concatenate([columns.real, columns.imag], axis=1).T / sigma[:, None]
    z = np.linalg.solve(m.T @ m + np.eye(m.shape[1]), m.T @ delta)
    return float(np.sqrt(max(delta @ (delta - m @ z), 0.0)))
