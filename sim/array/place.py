"""Which measured unit goes to which place of an array, and which spare for each.

What errors leave in the rear sector of one direction and band is a quadratic form of the elements' gains,

    sum over the sector of |sum w_n g_n v_n|² = gᴴ Q g,    Q_mn = sum of share · conj(w_m v_m) w_n v_n

over the power of the wanted direction. The order of units that makes the mean of it over all bands and directions least
is found by trying all orders where there are few enough, else by swaps from several starts.
"""

import itertools
import math
from dataclasses import dataclass

import numpy as np

from sim.array.built import Errors, responses
from sim.array.measured import REAR_AZIMUTHS, REAR_ELEVATIONS, ground_of, weights_at
from sim.array.pattern import Look, elements
from sim.sampling.draw import standard_draws

MOST_ORDERS = 50_000
"""Orders up to which all are tried."""
_STARTS = 12
_CHUNK = 10_000
DRAWS = 2000
"""Arrays that are drawn to say what is to be expected."""


@dataclass(frozen=True)
class Sector:
    """One direction at one band, as quadratic forms.

    Attributes
    ----------
    rear : complex ndarray, shape (n_element, n_element)
        Q of the module's head, mean over the rear sector.
    forward : complex ndarray, shape (n_element,)
        What an element adds to the wanted direction.
    """

    rear: np.ndarray
    forward: np.ndarray


def sectors(table, bands_hz) -> list[list[Sector]]:
    """Rear sectors of a study's array, by band, then direction.

    Parameters
    ----------
    table : sim.study.array.Array
    bands_hz : sequence of float
        [Hz]
    """
    found = []
    for freq_hz in bands_hz:
        at, own = elements(table.positions, freq_hz, ground_of(table)), []
        for direction in table.direction:
            weights, look = weights_at(direction, freq_hz), _look(table, direction)
            bearings = np.repeat(look.behind.bearing + REAR_AZIMUTHS, len(REAR_ELEVATIONS))
            elevations = np.tile(REAR_ELEVATIONS, len(REAR_AZIMUTHS))
            share = np.cos(elevations) / np.cos(elevations).sum()
            v = at.ground.element(elevations, freq_hz)[:, None] * at.phases(bearings, elevations) * weights
            rear = np.einsum("d,dm,dn->mn", share, v.conj(), v)
            g = at.ground.element(look.elevation, freq_hz)
            own.append(Sector(rear, g * at.phases(look.bearing, look.elevation) * weights))
        found.append(own)
    return found


def _look(table, direction) -> Look:
    return Look(np.deg2rad(direction.bearing), np.deg2rad(table.elevation))


def rear_power(every: list[list[Sector]], gains: np.ndarray) -> np.ndarray:
    """Mean over bands and directions of the rear sector's power over that of the wanted direction.

    Parameters
    ----------
    every : list of list of Sector
        By band, then direction.
    gains : complex ndarray, shape (..., n_element, n_band)
        Of the units in the order of the places.

    Returns
    -------
    power : ndarray, shape (...)
    """
    total = 0.0
    for band, own in enumerate(every):
        g = gains[..., band]
        for one in own:
            rear = np.einsum("...m,mn,...n->...", g.conj(), one.rear, g).real
            total = total + rear / np.abs(np.einsum("...n,n->...", g, one.forward)) ** 2
    return total / sum(map(len, every))


def placed(every: list[list[Sector]], gains: np.ndarray) -> tuple[tuple[int, ...], bool]:
    """The order of units that leaves least behind.

    Parameters
    ----------
    every : list of list of Sector
    gains : complex ndarray, shape (n_element, n_band)

    Returns
    -------
    order : tuple of int
        Place by place which unit stands there.
    exact : bool
        All orders were tried.
    """
    count = len(gains)
    if math.factorial(count) <= MOST_ORDERS:
        orders = np.array(list(itertools.permutations(range(count))))
        powers = np.concatenate(
            [rear_power(every, gains[orders[i : i + _CHUNK]]) for i in range(0, len(orders), _CHUNK)]
        )
        return tuple(map(int, orders[int(powers.argmin())])), True
    rng = np.random.default_rng(0)
    found = [
        _swapped(every, gains, start) for start in (np.arange(count), *(rng.permutation(count) for _ in range(_STARTS)))
    ]
    best = min(found, key=lambda order: float(rear_power(every, gains[order])))
    return tuple(map(int, best)), False


def _swapped(every, gains: np.ndarray, order: np.ndarray) -> np.ndarray:
    pairs = list(itertools.combinations(range(len(order)), 2))
    power = float(rear_power(every, gains[order]))
    while True:
        tried = np.tile(order, (len(pairs), 1))
        for row, (i, j) in zip(tried, pairs, strict=True):
            row[[i, j]] = row[[j, i]]
        powers = rear_power(every, gains[tried])
        best = int(powers.argmin())
        if powers[best] >= power * (1 - 1e-12):
            return order
        order, power = tried[best], float(powers[best])


def spares(every: list[list[Sector]], gains: np.ndarray, order, others) -> list[tuple[int, float]]:
    """For each place the spare that leaves least behind when it goes there.

    Parameters
    ----------
    every : list of list of Sector
    gains : complex ndarray, shape (n_unit, n_band)
        Of all units.
    order : sequence of int
        Place by place which unit stands there.
    others : sequence of int
        Units that are left over.

    Returns
    -------
    spares : list of (int, float)
        Unit, and rear power with it; empty without others.
    """
    if not len(others):
        return []
    found = []
    for place in range(len(order)):
        tried = np.tile(np.asarray(order), (len(others), 1))
        tried[:, place] = others
        powers = rear_power(every, gains[tried])
        best = int(powers.argmin())
        found.append((int(others[best]), float(powers[best])))
    return found


@dataclass(frozen=True)
class Expected:
    """Front to back of one direction at one band.

    Attributes
    ----------
    frequency_hz, bearing_deg : float
    nominal_db, measured_db : float
        With perfect elements, and with the measured units and nothing else. [dB]
    p50_db, p05_db : float
        With antennas, places, feedlines and the measurement's own repeatability drawn: the median, and what 95 % of
        such arrays beat. [dB]
    """

    frequency_hz: float
    bearing_deg: float
    nominal_db: float
    measured_db: float
    p50_db: float
    p05_db: float


def expected(study, gains: np.ndarray, turns_per_metre, repeatability: float) -> list[Expected]:
    """What an array of measured units will do.

    Parameters
    ----------
    study : Study
        With ``array``.
    gains : complex ndarray, shape (n_element, n_band)
        Of the units in the order of the places.
    turns_per_metre : ndarray, shape (n_band,)
        Phase of the feedline. [rad/m]
    repeatability : float
        Rms error of one measurement, relative. [1]
    """
    from scipy.special import ndtri

    table, seed, count = study.array, study.run.seed, len(gains)
    numbers = np.arange(1, DRAWS + 1)

    def even(name: str) -> np.ndarray:
        draws = [2 * standard_draws(seed, numbers, f"match.{name}.{element}") - 1 for element in range(count)]
        return np.array(draws).T

    length = sum(part.length for part in study.feedline.all_sections)
    stretch = study.feedline.length_tolerance * even("length") * (length > 0)
    stretch = stretch + length * study.feedline.velocity_tolerance * even("velocity")
    moved = np.stack([even("east"), even("north")], axis=-1) * table.position_tolerance
    again = [
        np.array([ndtri(standard_draws(seed, numbers, f"match.{name}.{e}")) for e in range(count)]).T
        for name in ("again", "again turned")
    ]
    found = []
    for band, freq_hz in enumerate(study.bands.frequencies):
        at = elements(table.positions, freq_hz, ground_of(table))
        errors = Errors(
            amplifier=gains[:, band] * (1 + repeatability / np.sqrt(2) * (again[0] + 1j * again[1])),
            feedline=np.exp(-1j * turns_per_metre[band] * stretch),
            antenna=(1 + table.antenna_tolerance * even("antenna")).astype(complex),
            moved=moved,
        )
        one = Errors(*(np.broadcast_to(g, (1, count)) for g in (gains[:, band], 1.0, 1.0)), np.zeros((1, count, 2)))
        none = Errors(*(np.ones((1, count)),) * 3, np.zeros((1, count, 2)))
        for direction in table.direction:
            weights, look = weights_at(direction, freq_hz), _look(table, direction)
            depths = [_front_to_back(at, weights, some, look) for some in (none, one, errors)]
            found.append(
                Expected(
                    freq_hz,
                    direction.bearing,
                    float(depths[0][0]),
                    float(depths[1][0]),
                    float(np.quantile(depths[2], 0.5)),
                    float(np.quantile(depths[2], 0.05)),
                )
            )
    return found


def _front_to_back(at, weights, errors: Errors, look: Look) -> np.ndarray:
    front, back = responses(at, weights, errors, [look, look.behind]).T
    return 10 * np.log10(front / np.maximum(back, 1e-10 * front))
