"""A lumped circuit's responses between the frequencies at which it was simulated.

Theory of operation
-------------------
All responses of one lumped linear circuit are rational functions of s with the same denominator. In barycentric form

    r(s) = Σ_k w_k r_k/(s − s_k) / Σ_k w_k/(s − s_k)

they share the weights w, and with n support points s_k they reproduce any denominator up to degree n − 1. Support
points are chosen once, greedily, on the nominal unit (the AAA algorithm: Nakatsukasa, Sète and Trefethen, SIAM J. Sci.
Comput. 40(3), 2018, A1494-A1522, here for several functions at once); the weights of every unit come from a small
singular value decomposition of its own samples. About 45 samples over five decades then stand for the whole curve.

The samples that are not support points measure how well that worked: the largest misfit is returned and the caller
must not use a fit whose misfit is too large. The tolerance is not as small as it could be, on purpose: with more
support points than poles the weights are no longer determined, and pairs of a pole and a zero that nearly cancel turn
up between samples (seen: misfit 1e-5 at a tolerance of 1e-9, 1e-7 at 1e-7).

Not covered: distributed circuits (a transmission line in the deck).
"""

from dataclasses import dataclass

import numpy as np


def _rows(s: np.ndarray) -> np.ndarray:
    # One over frequency would leave the upper decades without a say; weighting by |s| gives each decade the same.
    return np.abs(s)


def choose_support(
    s: np.ndarray, values: np.ndarray, deciding=slice(None), tolerance: float = 1e-7, most: int = 24
) -> np.ndarray:
    """Indices of the samples that serve as support points.

    Parameters
    ----------
    s : complex ndarray, shape (n_freq,)
        Sample points jω. [rad/s]
    values : complex ndarray, shape (n_function, n_freq)
        Functions with one common denominator.
    deciding : index into the functions
        Functions from which weights are computed, as in :func:`fit_weights`.
    tolerance : float
        Stop when the largest misfit of any function, relative to its largest value, falls below this.
    most : int
        Never more than this many.

    Returns
    -------
    support : int ndarray, sorted
        Where the tolerance is not reached, the set with the smallest misfit on the way.
    """
    scaled = _scaled(values)
    chosen: list[int] = []
    best, smallest = np.array([], dtype=int), np.inf
    fit = np.repeat(scaled.mean(axis=1)[:, None], len(s), axis=1)
    for _ in range(min(most, len(s) - 2)):
        miss = np.abs(scaled - fit).max(axis=0)
        miss[chosen] = 0
        chosen.append(int(miss.argmax()))
        support = np.array(sorted(chosen))
        weights, misfit = fit_weights(s, values, support, deciding)
        if misfit < smallest:
            best, smallest = support, misfit
        if misfit < tolerance:
            break
        fit = Barycentric(s, support, s)(scaled, weights)
    return best


def _scaled(values: np.ndarray) -> np.ndarray:
    top = np.abs(values).max(axis=1, keepdims=True)
    return values / np.where(top > 0, top, 1.0)


def fit_weights(
    s: np.ndarray, values: np.ndarray, support: np.ndarray, deciding=slice(None)
) -> tuple[np.ndarray, float]:
    """Barycentric weights of one unit, and the largest misfit at the samples that are not support points.

    Parameters
    ----------
    s, values
        As in :func:`choose_support`.
    support : int ndarray, shape (n_support,)
    deciding : index into the functions
        Functions from which the weights are computed; the misfit is that of all functions.

    Returns
    -------
    weights : complex ndarray, shape (n_support,)
    misfit : float
        Largest |fit − sample| over all functions, relative to each function's largest value.
    """
    scaled = _scaled(values)
    others = np.ones(len(s), dtype=bool)
    others[support] = False
    rest = np.nonzero(others)[0]
    cauchy = _rows(s[rest])[:, None] / (s[rest][:, None] - s[support])
    few = scaled[deciding]
    loewner = (few[:, rest, None] - few[:, None, support]) * cauchy
    # The orthogonal factor is not needed; the triangle has the same right singular vectors.
    triangle = np.linalg.qr(loewner.reshape(-1, len(support)), mode="r")
    weights = np.linalg.svd(triangle)[2][-1].conj()
    fit = (cauchy @ (weights[:, None] * scaled[:, support].T)) / (cauchy @ weights)[:, None]
    return weights, float(np.abs(fit.T - scaled[:, rest]).max())


@dataclass(frozen=True)
class Barycentric:
    """Evaluation of the barycentric form on one fixed set of frequencies, for any number of units.

    Attributes
    ----------
    s : complex ndarray, shape (n_freq,)
        Sample points. [rad/s]
    support : int ndarray
    wanted : complex ndarray, shape (n_wanted,)
        Points at which values are wanted. [rad/s]
    """

    s: np.ndarray
    support: np.ndarray
    wanted: np.ndarray

    def __post_init__(self):
        difference = self.wanted[:, None] - self.s[self.support]
        # A wanted point that is a support point takes the sample itself.
        hit = np.abs(difference) <= 1e-12 * np.abs(self.wanted)[:, None]
        object.__setattr__(self, "_cauchy", _rows(self.wanted)[:, None] / np.where(hit, 1.0, difference))
        object.__setattr__(self, "_hit", tuple(zip(*np.nonzero(hit), strict=True)))

    def __call__(self, values: np.ndarray, weights: np.ndarray) -> np.ndarray:
        """Values at the wanted points, shape (n_function, n_wanted)."""
        at_support = values[:, self.support]
        fit = (self._cauchy @ (weights[:, None] * at_support.T)) / (self._cauchy @ weights)[:, None]
        fit = np.ascontiguousarray(fit.T)
        for row, column in self._hit:
            fit[:, row] = at_support[:, column]
        return fit


def unstable_roots(points: np.ndarray, weights: np.ndarray, high: float, twice: bool = False) -> np.ndarray:
    """Zeros of a denominator in the right half plane.

    Parameters
    ----------
    points : complex ndarray, shape (n_support,)
        Support points. [rad/s]
    weights : complex ndarray, same shape
        Barycentric weights of the denominator: :func:`fit_weights` gives those of all responses; multiplied by the
        values of a response at the support points they are those of that response's numerator.
    high : float
        Largest angular frequency that was sampled; roots near it or above say nothing. [rad/s]
    twice : bool
        Also solve for the roots' inverses, which gives slow roots their digits, and take each root from where it is a
        large one. It costs as much again; a circuit with many poles and slow, nearly stable ones needs it.

    Returns
    -------
    roots : complex ndarray
        [rad/s]

    Notes
    -----
    The zeros of Σ w_k/(s − s_k) are the eigenvalues of diag(s) − (w∘s) 1ᵀ/Σw, less one at zero. Checked on op-amp
    circuits: pairs come out conjugate to nine digits. With 1/s in place of s the same holds of w_k/s_k.
    """
    roots, own = denominator_roots(points, weights, high, twice)
    return roots[own & (roots.real > 1e-6 * np.abs(roots))]


def denominator_roots(
    points: np.ndarray, weights: np.ndarray, high: float, twice: bool = False
) -> tuple[np.ndarray, np.ndarray]:
    """All zeros of a denominator, and which of them are the circuit's own; arguments as for :func:`unstable_roots`.

    Returns
    -------
    roots : complex ndarray
        [rad/s]
    own : bool ndarray, same shape
        Real or one of a conjugate pair, and inside the band that was sampled.
    """
    roots = _zeros(points, weights, 2 * np.pi * 1e6)
    if twice:
        between = np.sqrt(np.abs(points[0]) * np.abs(points[-1]))
        with np.errstate(divide="ignore", invalid="ignore"):
            slow = 1 / _zeros(1 / points, weights / points, 1 / between)
        roots = np.concatenate([roots[np.abs(roots) >= between], slow[np.abs(slow) < between]])
    size = np.abs(roots)
    # Nothing in the fit knows that the circuit is real. Its own roots come out real or in conjugate pairs all the same;
    # what does neither is the freedom of a support point too many, cancelled by a zero in every response.
    partner = np.abs(roots[:, None].conj() - roots).min(axis=1)
    own = (partner < 1e-3 * size) & ((np.abs(roots.imag) > 1e-3 * size) | (np.abs(roots.imag) < 1e-5 * size))
    return roots, own & (size < 0.67 * high) & (size > 2 * np.pi * 0.1)


def _zeros(s: np.ndarray, weights: np.ndarray, scale: float) -> np.ndarray:
    """Zeros of Σ w_k/(s − s_k), and one at zero; large ones come out with more digits than small ones."""
    s = s / scale
    matrix = np.diag(s) - np.outer(weights * s, np.ones(len(s))) / weights.sum()
    return np.linalg.eigvals(matrix) * scale
