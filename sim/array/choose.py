"""Which of the measured units belong together.

A set of k units with complex gains g_i at M frequencies is scored by the rms of g_i/m − 1 over units and frequencies,
m the set's own mean at each frequency: what all share does nothing to a null, and 0.1 dB counts as much as 0.66
degrees. In the sums of g and |g|² over the set the score is

    score² = mean over frequencies of (mean |g|²)/|mean g|² − 1

so that all sets can be scored by one product with a matrix of zeros and ones. Up to :data:`MOST_SETS` sets that is
done and the best one is sure. Beyond, sets begin with each unit and its nearest neighbours and swap units until no swap
is better; how far that may be from the best is bounded from below: with the squared distances d_ij² = mean over
frequencies of |g_i − g_j|²/max |g|², k² times a set's score² is the sum over its pairs at least, and each unit's k − 1
smallest distances are the least it can bring along.

Several sets are chosen together by swaps between them and with what is left over, from several starts: picked one after
the other the last would get the leftovers. The sum of squared scores is least; each by itself is bounded as above.
"""

import itertools
import math
from dataclasses import dataclass

import numpy as np

MOST_SETS = 2_000_000
"""Sets up to which all are tried."""
_CHUNK = 100_000
_STARTS = 24
_LEAST_GAIN = 1e-12


@dataclass(frozen=True)
class Choice:
    """Units that belong together.

    Attributes
    ----------
    sets : tuple of tuple of int
        Places of the units of each set, rising.
    scores : tuple of float
        Rms error of each set, relative. [1]
    exact : bool
        Nothing better exists; otherwise nothing better than `bound` does.
    bound : float
        No set of so many units has a smaller score.
    tied : int
        Sets that differ from the best by no more than the repeatability, the best among them; 0 where not all were
        tried.
    """

    sets: tuple[tuple[int, ...], ...]
    scores: tuple[float, ...]
    exact: bool
    bound: float
    tied: int


def score(gains: np.ndarray) -> float:
    """Rms error of one set.

    Parameters
    ----------
    gains : complex ndarray, shape (k, n_freq)
    """
    return float(np.sqrt(max(_squares(np.mean(np.abs(gains) ** 2, axis=0), gains.mean(axis=0)), 0.0)))


def _squares(mean_square, mean):
    return np.mean(mean_square / np.abs(mean) ** 2 - 1, axis=-1)


def choose(gains: np.ndarray, pick: int, sets: int = 1, repeatability: float = 0.0) -> Choice:
    """The best sets of units.

    Parameters
    ----------
    gains : complex ndarray, shape (n_unit, n_freq)
    pick : int
        Units of a set, 2 or more.
    sets : int
        How many sets, none sharing a unit with another.
    repeatability : float
        Rms error that a unit has when it is measured again; sets that differ by less are tied, and of those the one
        with the best spares is taken: the least score that is left when its hardest unit to replace is replaced. [1]

    Raises
    ------
    ValueError
        Fewer units than asked for, or a set of fewer than two.
    """
    count = len(gains)
    if pick < 2 or sets < 1 or sets * pick > count:
        raise ValueError("there are not so many units")
    bound = _bound(gains, pick)
    if math.comb(count, pick) > MOST_SETS:
        found = _improved([_nearest(gains, pick)] if sets == 1 else [], gains, pick, sets)
        scores = tuple(score(gains[list(one)]) for one in found)
        return Choice(found, scores, bool(sets == 1 and scores[0] <= bound), bound, 0)
    all_sets, all_scores = _every(gains, pick)
    least = float(all_scores.min())
    if sets > 1:
        found = _improved([], gains, pick, sets)
        scores = tuple(score(gains[list(one)]) for one in found)
        return Choice(found, scores, all(one <= least * (1 + 1e-9) for one in scores), least, 0)
    tied = np.flatnonzero(all_scores <= least + repeatability)
    best = int(all_scores.argmin())
    if len(tied) > 1:
        # Enough of them to find good spares among; the closest ones come first.
        some = tied[np.argsort(all_scores[tied], kind="stable")][:200]
        best = min(some.tolist(), key=lambda place: (_with_spare(gains, all_sets[place]), place))
    chosen = tuple(int(unit) for unit in all_sets[best])
    return Choice((chosen,), (float(all_scores[best]),), True, least, len(tied))


def _every(gains: np.ndarray, pick: int) -> tuple[np.ndarray, np.ndarray]:
    """All sets and their scores."""
    count = len(gains)
    every = itertools.combinations(range(count), pick)
    kept, scores = [], []
    while block := list(itertools.islice(every, _CHUNK)):
        members = np.array(block, dtype=np.int32)
        inside = np.zeros((len(members), count))
        np.put_along_axis(inside, members, 1.0, axis=1)
        scores.append(_squares(inside @ np.abs(gains) ** 2 / pick, inside @ gains / pick))
        kept.append(members)
    return np.concatenate(kept), np.sqrt(np.maximum(np.concatenate(scores), 0.0))


def replaced(gains: np.ndarray, members, others) -> list[tuple[int, float]]:
    """The best spare for each unit of a set.

    Parameters
    ----------
    gains : complex ndarray, shape (n_unit, n_freq)
    members, others : sequence of int
        Places of the set's units and of those that are left over.

    Returns
    -------
    spares : list of (int, float)
        For each of `members` the place of the spare that leaves the least score, and that score. Empty without others.
    """
    if not len(others):
        return []
    found = []
    for unit in members:
        rest = [one for one in members if one != unit]
        scores = [score(gains[[*rest, other]]) for other in others]
        least = int(np.argmin(scores))
        found.append((int(others[least]), scores[least]))
    return found


def _with_spare(gains: np.ndarray, members) -> float:
    members = [int(unit) for unit in members]
    others = [unit for unit in range(len(gains)) if unit not in members]
    return max((value for _, value in replaced(gains, members, others)), default=0.0)


def _distances(gains: np.ndarray) -> np.ndarray:
    """Squared distances between units, each frequency by its largest gain, shape (n_unit, n_unit)."""
    scaled = gains / np.abs(gains).max(axis=0)
    return np.mean(np.abs(scaled[:, None] - scaled[None]) ** 2, axis=-1)


def _bound(gains: np.ndarray, pick: int) -> float:
    nearest = np.sort(_distances(gains), axis=1)[:, 1:pick].sum(axis=1)
    # Every pair is counted from both of its ends.
    return float(np.sqrt(np.sort(nearest)[:pick].sum() / 2 / pick**2))


def _nearest(gains: np.ndarray, pick: int) -> tuple[tuple[int, ...], ...]:
    """The best of every unit with its nearest neighbours."""
    order = np.argsort(_distances(gains), axis=1, kind="stable")[:, :pick]
    best = min(order, key=lambda one: score(gains[one]))
    return (tuple(sorted(int(unit) for unit in best)),)


def _improved(starts: list, gains: np.ndarray, pick: int, sets: int) -> tuple[tuple[int, ...], ...]:
    """The best of several starts after all swaps that help."""
    rng = np.random.default_rng(0)
    level = np.argsort(np.abs(gains).mean(axis=1), kind="stable")
    turn = np.argsort(np.unwrap(np.angle(gains), axis=1).mean(axis=1), kind="stable")
    orders = [level, turn, *(rng.permutation(len(gains)) for _ in range(_STARTS))]
    starts = [
        *starts,
        *(tuple(tuple(order[i * pick : (i + 1) * pick]) for i in range(sets)) for order in orders),
    ]
    found = [_swapped([list(map(int, one)) for one in start], gains) for start in starts]
    best = min(found, key=lambda one: sum(score(gains[members]) ** 2 for members in one))
    # Sets are named in the order of their scores; which is first means nothing.
    return tuple(sorted((tuple(sorted(one)) for one in best), key=lambda one: (score(gains[list(one)]), one)))


def _swapped(sets: list[list[int]], gains: np.ndarray) -> list[list[int]]:
    """Swap units between sets, and with what is left over, as long as the sum of squared scores falls."""
    left = [unit for unit in range(len(gains)) if all(unit not in one for one in sets)]
    groups = [*sets, left] if left else sets
    scores = [score(gains[one]) ** 2 for one in sets] + [0.0] * bool(left)
    better = True
    while better:
        better = False
        for a, b in itertools.combinations(range(len(groups)), 2):
            for i, j in itertools.product(range(len(groups[a])), range(len(groups[b]))):
                groups[a][i], groups[b][j] = groups[b][j], groups[a][i]
                new = [score(gains[groups[g]]) ** 2 if g < len(sets) else 0.0 for g in (a, b)]
                if new[0] + new[1] < scores[a] + scores[b] - _LEAST_GAIN:
                    scores[a], scores[b] = new
                    better = True
                else:
                    groups[a][i], groups[b][j] = groups[b][j], groups[a][i]
    return groups[: len(sets)]
