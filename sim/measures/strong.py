"""Everything that strong carriers do to a unit: room to its limits, products that fall into the bands, intercepts.

Theory of operation
-------------------
Carriers of different stations come into step again and again, so for the room their peak voltages are added, each with
its modulation at its largest. It is the room until an op-amp's output reaches rail less headroom (less output current
times output resistance), its current limit, its slew rate, or its input the end of its range, from where each of them
rests, to the nearer side. Responses are small-signal ones, so the room is exact where it is zero; below zero it says by
how much a limit is passed.

Products are those of the carriers without modulation, by the estimate of :mod:`sim.distortion.estimate`, at the
receiver. They scale with the product of their carriers' voltages, so one estimate at full modulation gives both.

Intercepts are stated at the unit's output, the line's resistance for a load, two equal tones per band: for the second
order at 0.4 and 0.6 of the band's frequency, whose sum is the band; for the third at 0.95 and 0.9, of which twice the
first less the second is the band. P_IM2 = P1 + P2 - OIP2, P_IM3 = 2 P1 + P2 - 2 OIP3.

Where carriers clip an op-amp or take too much of its slew rate, products have no number: the estimate would be a floor
far below what there is.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from sim.deck.chain import Chain, UnitValues
from sim.distortion.estimate import Carrier, Estimate, estimate
from sim.distortion.load import OutputLoad, line_load
from sim.distortion.mixes import Mix
from sim.engine.ngspice import Simulator
from sim.measures.stations import Station, fallen, known_emf, products_in_bands, stations_of
from sim.opamp.curvature import curvature

LIMITS = ("output swing", "output current", "slew rate", "input range")
"""What of an op-amp carriers can run into, in the order of :attr:`UnitStrong.reserve_db`."""
INTERCEPTS = ("oip2_dbm", "oip3_dbm")
"""Measures of the two-tone products, in the order of :attr:`UnitStrong.intercept_dbm`."""
LEAST_RESERVE_DB, MOST_RESERVE_DB = -60.0, 120.0
"""Where a rest voltage lies outside a limit already, and where carriers do not reach it at all. [dB]"""


@dataclass(frozen=True)
class Near:
    """What is near by in one scenario.

    Attributes
    ----------
    stations : tuple of Station
        With emf; none where only intercepts are asked for.
    products : tuple of tuple of Mix
        Those that fall into each band.
    pair : tuple of int
        Positions of the two strongest at the nominal unit's output, or of the only one.
    bands_hz : tuple of float
        [Hz]
    receiver : float
        Input resistance. [Ω]
    bandwidth_hz : float
        In which products are held against noise. [Hz]
    second_order, third_order : bool
        Whether all op-amps' data give products of second order at all, and of third below a few megahertz.
    """

    stations: tuple[Station, ...]
    products: tuple[tuple[Mix, ...], ...]
    pair: tuple[int, ...]
    bands_hz: tuple[float, ...]
    receiver: float
    bandwidth_hz: float
    second_order: bool
    third_order: bool

    @property
    def mixes(self) -> tuple[Mix, ...]:
        """All products once, in the order of :attr:`UnitStrong.product_dbm`."""
        return tuple(dict.fromkeys(mix for own in self.products for mix in own))


@dataclass(frozen=True)
class UnitStrong:
    """What strong carriers do to one unit.

    Attributes
    ----------
    reserve_db : ndarray, shape (len(LIMITS),)
        Room until each limit, of the op-amp that has least; NaN where no op-amp is modelled. [dB]
    device : ndarray, same shape
        Position of that op-amp.
    receiver_dbm, output_dbm : ndarray, shape (n_station,)
        Carriers without modulation, at the receiver's input and at the unit's output into the line's resistance. [dBm]
    product_dbm : ndarray, shape (n_product,)
        At the receiver; NaN where the order is not modelled, or where the unit clips or slews. [dBm]
    intercept_dbm : ndarray, shape (2, n_band)
        See :data:`INTERCEPTS`; NaN likewise. [dBm]
    fallen_dbm : ndarray, shape (2, n_band)
        The largest product of second and of third order of the two strongest carriers at the receiver, had it fallen on
        the band itself; NaN likewise. [dBm]
    """

    reserve_db: np.ndarray
    device: np.ndarray
    receiver_dbm: np.ndarray
    output_dbm: np.ndarray
    product_dbm: np.ndarray
    intercept_dbm: np.ndarray
    fallen_dbm: np.ndarray


def wants_strong(study) -> bool:
    """Whether a study asks for anything of this module."""
    return bool(study.strong) or any(name in study.limits for name in INTERCEPTS)


def near(study, chain: Chain, simulator: Simulator, nominal: UnitValues) -> Near | None:
    """What is near by in a scenario; None where the study asks for nothing of that kind.

    Parameters
    ----------
    study : Study
        Of the scenario.
    chain : Chain
        Of the same.
    simulator : Simulator
    nominal : UnitValues
        The nominal unit, whose gain leads from a level at the receiver back to the antenna.

    Raises
    ------
    UnitFailed
    """
    if not wants_strong(study):
        return None
    stations, receiver = stations_of(study, chain.antenna), study.receiver.impedance
    pair: tuple[int, ...] = ()
    if stations:
        tones = [Carrier(station.freq_hz, 1.0) for station in stations]
        levels = estimate(simulator, chain, nominal, tones, line_load(chain, nominal, receiver), ()).carriers
        stations = tuple(
            replace(station, emf=known_emf(station, level.receiver_v, receiver))
            for station, level in zip(stations, levels, strict=True)
        )
        volts = [station.emf * level.output_v for station, level in zip(stations, levels, strict=True)]
        pair = tuple(sorted(range(len(volts)), key=lambda place: -volts[place])[:2])
    bends = [curvature(record, study.supply.voltage.value) for record in chain.opamps]
    return Near(
        stations,
        products_in_bands(stations, study.bands.frequencies),
        pair,
        study.bands.frequencies,
        receiver,
        study.receiver.bandwidth,
        bool(bends) and all(bend.second_order for bend in bends),
        bool(bends) and all(bend.third_order for bend in bends),
    )


def unit_strong(simulator: Simulator, chain: Chain, unit: UnitValues, near: Near) -> UnitStrong:
    """What the carriers do to one unit; another deck is in the simulator afterwards.

    Parameters
    ----------
    simulator : Simulator
    chain : Chain
    unit : UnitValues
    near : Near

    Raises
    ------
    UnitFailed
    """
    load = line_load(chain, unit, near.receiver)
    intercepts = _intercepts(simulator, chain, unit, near, load.line_ohm)
    none = np.zeros(0)
    if not near.stations:
        empty = np.full(len(LIMITS), np.nan)
        return UnitStrong(empty, empty, none, none, none, intercepts, np.full_like(intercepts, np.nan))
    peaks = [Carrier(station.freq_hz, station.peak) for station in near.stations]
    imagined = [mix for band in near.bands_hz for mixes in fallen(near.pair, band) for mix in mixes]
    found = estimate(simulator, chain, unit, peaks, load, (*near.mixes, *imagined))
    crests = np.array([station.crest for station in near.stations])
    receiver, output = (
        np.array([getattr(level, name) for level in found.carriers]) / crests for name in ("receiver_v", "output_v")
    )
    # Of op-amps that are not the program's own model nothing is known, and zero would be a floor.
    known = bool(found.limits) and found.valid
    products = [
        product.receiver_v / math.prod(crests[index] ** abs(times) for index, times in product.carriers)
        if known and (near.second_order or product.order == 3)
        else np.nan
        for product in found.products
    ]
    levels = dbm(np.array(products), near.receiver)
    real = len(near.mixes)
    # Each band has one of second order, then those of third.
    of_bands = levels[real:].reshape(len(near.bands_hz), -1)
    reserve, device = _reserves(found)
    return UnitStrong(
        reserve,
        device,
        dbm(receiver, near.receiver),
        dbm(output, load.line_ohm),
        levels[:real],
        intercepts,
        np.array([of_bands[:, 0], of_bands[:, 1:].max(axis=1)]),
    )


def dbm(peak_volts, ohm: float) -> np.ndarray:
    """Power of a sine in a resistance; minus infinity where there is none. [dBm]

    Parameters
    ----------
    peak_volts : array_like
        [V]
    ohm : float
        [Ω]
    """
    with np.errstate(divide="ignore"):
        return 10 * np.log10(np.asarray(peak_volts, dtype=float) ** 2 / (2 * ohm) / 1e-3)


def intercept_tones(band_hz: float) -> tuple[float, float, float, float]:
    """Tones whose sum is the band, and tones of which twice the first less the second is. [Hz]"""
    low, third = float(round(0.4 * band_hz)), float(round(0.95 * band_hz))
    return low, band_hz - low, third, 2 * third - band_hz


def _intercepts(simulator: Simulator, chain: Chain, unit: UnitValues, near: Near, ohm: float) -> np.ndarray:
    """OIP2 and OIP3 at each band. [dBm, (2, n_band)]"""
    tones, wanted = [], []
    for number, band in enumerate(near.bands_hz):
        tones += [Carrier(hertz, 1.0) for hertz in intercept_tones(band)]
        first = 4 * number
        wanted += [Mix(band, ((first, 1), (first + 1, 1))), Mix(band, ((first + 2, 2), (first + 3, -1)))]
    found = estimate(simulator, chain, unit, tones, OutputLoad(ohm), wanted)
    levels = dbm([level.output_v for level in found.carriers], ohm).reshape(-1, 4)
    second, third = dbm([product.output_v for product in found.products], ohm).reshape(-1, 2).T
    if not found.limits:
        return np.full((2, len(near.bands_hz)), np.nan)
    oip2 = levels[:, 0] + levels[:, 1] - second if near.second_order else np.full(len(second), np.nan)
    with np.errstate(invalid="ignore"):
        return np.array([oip2, (2 * levels[:, 2] + levels[:, 3] - third) / 2])


def _reserves(found: Estimate) -> tuple[np.ndarray, np.ndarray]:
    """Room of the op-amp with least of it, and which one that is, for each limit."""
    if not found.limits:
        return np.full(len(LIMITS), np.nan), np.full(len(LIMITS), np.nan)
    shares = np.array(
        [[limit.swing_share, limit.current_share, limit.slew_share, limit.input_share] for limit in found.limits]
    )
    with np.errstate(divide="ignore"):
        rooms = np.clip(-20 * np.log10(shares), LEAST_RESERVE_DB, MOST_RESERVE_DB)
    return rooms.min(axis=0), rooms.argmin(axis=0).astype(float)
