"""What a whole batch has in common: one lot, one dummy, one port, told from the fault of one unit.

All units of a batch share their lots and the bench; what each has of its own averages out. The median over the units
(which one faulty unit does not move) is compared with the good unit: its covariance is that of single units over their
number, so a small common shift shows. Then each thing that units can share is tried as the only cause.
"""

from dataclasses import dataclass

import numpy as np

from sim.diagnosis.book import FaultBook
from sim.diagnosis.faults import GOOD
from sim.diagnosis.fit import NEPER_DB, GoodTest, Hypothesis, difference, fit, good_test, noise_of

FEWEST = 3
"""Sweeps out of which a batch is judged."""
_MEDIAN = np.pi / 2
"""Variance of a median against that of a mean, of many normal numbers. [1]"""
_ALIKE = 6.0
"""Difference of chi-square by which two causes explain a shift equally well."""
_FAR = 25.0
"""Variance up to which a cause may be beyond what the study allows, in that unit: five tolerances."""


@dataclass(frozen=True)
class Cause:
    """One thing that would explain a common shift.

    Attributes
    ----------
    name : str
        A part, ``bench.dummy``, ``Xamp.gbw``.
    change : float
        From its nominal value; of ``bench.stray`` in farad, of all others relative.
    sigma : float
        Standard deviation of the change.
    misfit : float
        Chi-square that is left.
    usual : bool
        Whether the change is within twice the standard deviation that the study or the bench allows.
    """

    name: str
    change: float
    sigma: float
    misfit: float
    usual: bool


@dataclass(frozen=True)
class BatchShift:
    """What the sweeps of a batch have in common.

    Attributes
    ----------
    sweeps : int
    freq_hz : float
        At which the following are given: the compared frequency nearest to the lowest band.
    gain_db, gain_db_within : float
        Common deviation of gain from the nominal unit and half its 95 % interval. [dB]
    phase_deg, phase_deg_within : float
        [degree]
    shifted : bool
        Whether there is a common shift at all, at 1 % false alarms.
    by_lots : bool
        Whether the lots that the study allows, and the bench's uncertainty, are enough for it.
    causes : tuple of Cause
        Single causes that explain it equally well, those within their tolerance first; empty where none does.
    unit : GoodTest
        The first sweep against the others.
    """

    sweeps: int
    freq_hz: float
    gain_db: float
    gain_db_within: float
    phase_deg: float
    phase_deg_within: float
    shifted: bool
    by_lots: bool
    causes: tuple[Cause, ...]
    unit: GoodTest

    @property
    def unit_ordinary(self) -> bool:
        """Whether the unit is like the others of its batch."""
        return self.unit.passed


def batch_shift(
    book: FaultBook, gains: np.ndarray, places: np.ndarray, band_hz: float, lead: str = GOOD.key
) -> BatchShift | None:
    """Compare a batch with the nominal unit, and the first of its sweeps with the others.

    Parameters
    ----------
    book : FaultBook
    gains : complex ndarray, shape (n_sweep, n_place)
    places : int ndarray, shape (n_place,)
    band_hz : float
        At which the shift is told.
    lead : str
        The likeliest fault of the first sweep: where all units have it, they scatter as it makes them.

    Returns
    -------
    shift : BatchShift or None
        None with fewer than three sweeps.
    """
    count = len(gains)
    if count < FEWEST:
        return None
    bench, variables = book.people.bench, book.people.variables
    good = book.hypothesis(GOOD.key, places)
    deviations = np.array([difference(gain, good.gain, bench) for gain in gains])
    median = np.median(deviations, axis=0)
    of_unit = np.array([variable.of_unit / variable.sigma for variable in variables])
    lot = np.sqrt(np.maximum(1 - of_unit**2, 0.0))
    columns = good.columns[: len(variables)]
    shared = good.columns[len(variables) + 1 :]
    scatter = columns * of_unit[:, None]
    shrink = np.sqrt(_MEDIAN / count)
    # The median's own uncertainty: unit scatter and noise over the number of units, calibration not at all.
    alone = _stacked(np.concatenate([scatter * shrink, shared]))
    noise = noise_of(good.gain, bench) * shrink
    middle = int(np.abs(np.log(book.freq_hz[places] / band_hz)).argmin())
    n = len(places)
    within = 1.96 * np.sqrt(np.sum(_stacked(scatter * shrink) ** 2, axis=1) + noise**2)
    return BatchShift(
        sweeps=count,
        freq_hz=float(book.freq_hz[places][middle]),
        gain_db=float(median[middle] * NEPER_DB),
        gain_db_within=float(within[middle] * NEPER_DB),
        phase_deg=float(np.rad2deg(median[n + middle])),
        phase_deg_within=float(np.rad2deg(within[n + middle])),
        shifted=_chi(median, alone, noise) > _most(2 * n, 0.01),
        by_lots=_lots_enough(median, _stacked(np.concatenate([columns * lot[:, None]])), alone, noise),
        causes=_causes(book, columns, lot, median, alone, noise),
        unit=_unit_test(book, (GOOD.key, lead), places, deviations, of_unit),
    )


def _stacked(columns: np.ndarray) -> np.ndarray:
    return np.concatenate([columns.real, columns.imag], axis=1).T


def _chi(d: np.ndarray, columns: np.ndarray, noise: np.ndarray) -> float:
    m, b = columns / noise[:, None], d / noise
    z = np.linalg.solve(m.T @ m + np.eye(m.shape[1]), m.T @ b)
    return float(b @ (b - m @ z))


def _most(freedom: int, share: float) -> float:
    from scipy.special import chdtri

    return float(chdtri(freedom, share))


def _lots_enough(median, lots, alone, noise) -> bool:
    """The test of a good unit, with the lots' part of the tolerances and the average of the units' own."""
    columns = np.concatenate([lots, alone], axis=1)
    m, b = columns / noise[:, None], median / noise
    u, s, _ = np.linalg.svd(m, full_matrices=False)
    along, moved = u.T @ b, s > 1
    chi = float(np.sum(along[moved] ** 2 / (1 + s[moved] ** 2)))
    return chi <= _most(max(int(moved.sum()), 1), 0.02)


def _causes(book, columns, lot, median, alone, noise) -> tuple[Cause, ...]:
    """Single causes, each fitted with everything else at rest; tied ones together."""
    m, b = alone / noise[:, None], median / noise
    inner = np.linalg.inv(m.T @ m + np.eye(m.shape[1]))

    def weighed(x: np.ndarray) -> np.ndarray:
        return x - m @ (inner @ (m.T @ x))

    found = []
    for place, variable in enumerate(book.people.variables):
        j = _stacked(columns[place : place + 1])[:, 0] / noise
        strength = float(j @ weighed(j))
        if strength < 1e-3 or lot[place] == 0:
            continue
        z = float(j @ weighed(b)) / strength
        left = b - z * j
        misfit = float(left @ weighed(left))
        scale = _scale(book, variable)
        change, sigma = z * scale, scale / np.sqrt(strength)
        if not variable.added:
            change = float(np.expm1(change))
        found.append((misfit + z * z / _FAR, Cause(variable.name, float(change), float(sigma), misfit, abs(z) <= 2)))
    bound = _most(len(b), 0.001)
    fitting = [(score, cause) for score, cause in found if cause.misfit <= bound]
    if not fitting:
        return ()
    best = min(score for score, _ in fitting)
    tied = [(score, cause) for score, cause in fitting if score <= best + _ALIKE]
    return tuple(cause for _, cause in sorted(tied, key=lambda pair: (not pair[1].usual, pair[0])))


def _scale(book: FaultBook, variable) -> float:
    """One standard deviation of a variable: relative, of the bench's stray in farad."""
    bench = book.people.bench
    own = {
        "bench.dummy": bench.dummy_sigma,
        "bench.stray": bench.stray_sigma,
        "bench.source": bench.port_sigma,
        "bench.load": bench.port_sigma,
    }
    return own.get(variable.name, variable.sigma)


def _unit_test(book: FaultBook, keys, places, deviations, of_unit) -> GoodTest:
    """The first sweep against the median of the others, with what units and single sweeps do not share.

    It is like them where it is under one of the hypotheses that all of them may share.
    """
    bench, nominal = book.people.bench, book.hypothesis(GOOD.key, places)
    others = np.median(deviations[1:], axis=0)
    more = _MEDIAN / (len(deviations) - 1)
    n = len(nominal.gain)
    apart = deviations[0] - others
    observed = nominal.gain * np.exp(apart[:n] + 1j * apart[n:])
    tests = []
    for key in keys:
        columns = book.hypothesis(key, places).columns
        scatter = np.concatenate([columns[: len(of_unit)] * of_unit[:, None], nominal.columns[len(of_unit) + 1 :]])
        own = Hypothesis(nominal.gain, scatter * np.sqrt(1 + more))
        tests.append(good_test(fit(observed, own, bench, noise_of(nominal.gain, bench) * np.sqrt(more))))
    return next((test for test in tests if test.passed), tests[0])
