"""An antenna of which the builder has the impedance in a file, measured or from another program.

In the deck stands a passive network fitted to it: a capacitor and tanks in series (:mod:`sim.antenna.tanks`) where
that suffices, as for antennas shorter than a quarter wave, else the branches of a line (:mod:`sim.antenna.ladder`).
All its resistors are noiseless; the thermal noise of losses is added as an emf.

An impedance says nothing of how much the antenna hears: the effective height comes from the builder. Nor does it say
how much of its resistance is loss. Where the builder does not say that either, the part that the effective height
accounts for over perfect ground,

    R_rad = 40 (k h)^2        (identity of a short vertical, Balanis, Antenna Theory)

is taken as radiation, and the rest as loss at ambient temperature.

Not covered: beyond the file's frequencies the network goes on by itself, passive but nobody's measurement.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sim.antenna.ladder import Ladder, fit_ladder, line_branches
from sim.antenna.one_port import OnePort
from sim.antenna.source import AntennaSource
from sim.antenna.tanks import Tanks, fit_tanks, starts
from sim.constants import C0, K_B

GOOD_FIT, LARGEST_FIT_ERROR = 0.01, 0.02
"""Relative error around the bands at which the search for a better network ends, and above which it is refused."""
GOOD_RESISTANCE = 0.1
"""The same for the resistance alone; no reason to refuse: analysers do not see a small one well."""
NEAR = 0.03
"""How far from a band, relative, a point of the file counts as around it; three times as far where it takes that to
have nine of them. Where there is none, the two that enclose the band count."""
LARGEST_NEGATIVE, LARGEST_SINGLE = LARGEST_FIT_ERROR, 0.1
"""How far below zero, relative to the impedance, a resistance may be by errors of measurement: of nine points in a row
on average, and of one."""
REACH = 4.0
"""The network is fitted from this part of the lowest band to this multiple of the highest."""
_MOST_POINTS = 160


@dataclass(frozen=True, kw_only=True)
class Measured(AntennaSource):
    """An antenna out of a file; make one with `measured`.

    Attributes
    ----------
    data : OnePort
        The file, as far as it was used.
    network : Tanks or Ladder
        What stands for it.
    height : tuple of float
        Effective height at the file's frequencies; NaN where none was given. [m]
    ground_loss : float or None
        Part of the resistance that is loss; None for what the effective height does not account for. [Ω]
    """

    data: OnePort
    network: Tanks | Ladder
    height: tuple[float, ...]
    ground_loss: float | None

    def impedance(self, freq_hz):
        """Of the fitted network, as the deck has it. [Ω, complex]"""
        return self.network.impedance(freq_hz)

    def fit_error(self, freq_hz):
        """Largest error of the network at the file's points around each frequency, relative. [1]"""
        return _errors(self.network, self.data.freq_hz, self.data.impedance, np.atleast_1d(freq_hz))[0]

    def resistance_error(self, freq_hz):
        """The same for the mean resistance around each, relative to the file's. [1]"""
        return _errors(self.network, self.data.freq_hz, self.data.impedance, np.atleast_1d(freq_hz))[1]

    def scatter(self, freq_hz):
        """Noise of the file around each frequency, relative rms about the network; 0 for fewer than nine. [1]"""
        off = self.network.impedance(self.data.freq_hz) / self.data.impedance - 1
        places = [_around(self.data.freq_hz, f) for f in np.atleast_1d(freq_hz)]
        return np.array([np.std(off[p]) if len(p) >= 9 else 0.0 for p in places])

    def effective_height(self, freq_hz):
        """The height given, between the file's frequencies interpolated over their logarithm, constant outside. [m]"""
        return np.interp(np.log(np.asarray(freq_hz, dtype=float)), np.log(self.data.freq_hz), self.height)

    def loss_resistance(self, freq_hz):
        """Part of the network's resistance that makes thermal noise. [Ω]"""
        whole = self.network.impedance(freq_hz).real
        if self.ground_loss is not None:
            return np.minimum(self.ground_loss, whole)
        radiation = radiation_resistance(self.effective_height(freq_hz), freq_hz)
        return np.maximum(whole - np.nan_to_num(radiation), 0.0)

    def ambient_emf(self, freq_hz, temperature_k):
        """Thermal noise of the losses, sqrt(4 k T R_loss). [V/√Hz]"""
        return np.sqrt(4 * K_B * temperature_k * self.loss_resistance(freq_hz))

    def netlist(self, top, bottom, prefix):
        """The noiseless network."""
        return self.network.cards(top, bottom, prefix)


def radiation_resistance(height, freq_hz):
    """Radiation resistance of a short vertical over perfect ground, 40 (k h)^2.

    Parameters
    ----------
    height : array_like
        Effective height. [m]
    freq_hz : array_like, broadcast with it
        [Hz]

    Returns
    -------
    resistance : ndarray
        [Ω]
    """
    return 40.0 * (2 * np.pi * np.asarray(freq_hz, dtype=float) / C0 * np.asarray(height)) ** 2


def negative_resistance(data: OnePort) -> tuple[float, float] | None:
    """The worst point whose resistance is below zero by more than errors of measurement explain.

    Parameters
    ----------
    data : OnePort

    Returns
    -------
    freq_hz, resistance : float
        None where there is no such point. [Hz, Ω]
    """
    share = data.impedance.real / np.abs(data.impedance)
    # A single point far from the bands may be noise; nine in a row are a fault of the measurement.
    mean = np.array([share[max(0, k - 4) : k + 5].mean() for k in range(len(share))])
    worst = int(np.argmin(mean)) if mean.min() < -LARGEST_NEGATIVE else int(np.argmin(share))
    if mean[worst] >= -LARGEST_NEGATIVE and share[worst] >= -LARGEST_SINGLE:
        return None
    return data.freq_hz[worst].item(), data.impedance[worst].real.item()


def measured(data, bands_hz, effective_height=None, ground_loss=None, stray=0.0):
    """An antenna out of a file.

    Parameters
    ----------
    data : OnePort
        With all bands between its ends.
    bands_hz : sequence of float
        Where the network is fitted most closely. [Hz]
    effective_height : float, optional
        At all frequencies; None for the file's own, or for none. [m]
    ground_loss : float, optional
        Part of the resistance that is loss, noisy; None for what the effective height does not account for. [Ω]
    stray : float
        Capacitance across the terminals that the file does not contain. [F]

    Returns
    -------
    antenna : Measured
        Whether its fit is good enough is for the caller to see. Valid between the ends of the file, as far as used.

    Raises
    ------
    ValueError
        The file does not reach a band.
    """
    bands = np.asarray(bands_hz, dtype=float)
    if not (data.freq_hz[0] <= bands.min() and bands.max() <= data.freq_hz[-1]):
        raise ValueError("the file does not reach every band")
    used = _used(data, bands)
    network = _network(tuple(used.freq_hz.tolist()), tuple(used.impedance.tolist()), tuple(bands.tolist()))
    if effective_height is not None:
        height = (float(effective_height),) * len(used.freq_hz)
    else:
        height = (np.nan,) * len(used.freq_hz) if used.height is None else tuple(used.height.tolist())
    return Measured(
        name="measured",
        low_hz=used.freq_hz[0].item(),
        high_hz=used.freq_hz[-1].item(),
        shunt_capacitance=float(stray),
        sharpness=1 if isinstance(network, Tanks) and len(network.tanks) < 2 else 4,
        data=used,
        network=network,
        height=height,
        ground_loss=None if ground_loss is None else float(ground_loss),
    )


def _used(data: OnePort, bands) -> OnePort:
    """The file around the bands: the network need not follow resonances far away from all of them."""
    freq = data.freq_hz
    first = max(int(np.searchsorted(freq, bands.min() / REACH)) - 1, 0)
    last = min(int(np.searchsorted(freq, bands.max() * REACH, "right")) + 1, len(freq))
    cut = slice(first, last)
    return OnePort(data.name, freq[cut], data.impedance[cut], None if data.height is None else data.height[cut])


def _around(freq, band):
    """Places of the points that say how well a band is met."""
    off = np.abs(freq / band - 1)
    near = np.flatnonzero(off <= NEAR)
    if len(near) < 9 and np.count_nonzero(off <= 3 * NEAR) >= 9:
        return np.sort(np.argsort(off, kind="stable")[:9])
    if len(near):
        return near
    above = int(np.searchsorted(freq, band))
    return np.array([max(above - 1, 0), min(above, len(freq) - 1)])


def _errors(network, freq, impedance, bands):
    """Errors of impedance and resistance around each band."""
    found = network.impedance(freq)
    off = found / impedance - 1
    places = [_around(freq, band) for band in bands]
    # Of many points the mean of each third counts, below, at and above the band: noise is no error of the network.
    thirds = [np.array_split(p, 3) if len(p) >= 9 else np.array_split(p, len(p)) for p in places]
    whole = [max(abs(off[part].mean()) for part in parts) for parts in thirds]
    resistance = [abs(found.real[p].mean() / max(abs(impedance.real[p].mean()), 1e-30) - 1) for p in places]
    return np.array(whole), np.array(resistance)


@lru_cache(maxsize=64)
def _network(freq_hz: tuple, impedance: tuple, bands_hz: tuple):
    """The simplest network that fits well, else the best; the same file is fitted once."""
    all_freq, all_z, bands = np.array(freq_hz), np.array(impedance), np.array(bands_hz)
    keep = _thinned(all_freq, bands)
    freq, z = all_freq[keep], all_z[keep]
    near = np.exp(-0.5 * (np.log(freq[:, None] / bands) / 0.04) ** 2).max(axis=1)
    weight = 1 + 8 * near
    best, smallest = None, np.inf
    for fit, start, unknowns in _candidates(freq, z):
        # As many elements as numbers in the file would meet it whatever it is, so they are the last resort.
        if unknowns > 2 * len(freq) or (unknowns == 2 * len(freq) and smallest <= LARGEST_FIT_ERROR / GOOD_FIT):
            continue
        network = fit(freq, z, start, weight)
        score = _score(network, all_freq, all_z, bands)
        if best is None or score < smallest:
            best, smallest = network, score
        if score < 1:
            break
    return best


def _score(network, freq, impedance, bands):
    """How far a network is from a good fit; below 1 it is one, or what it misses may as well be the file's noise."""
    off = network.impedance(freq) - impedance
    worst = 0.0
    for band, error, resistance in zip(bands, *_errors(network, freq, impedance, bands), strict=True):
        near = _around(freq, band)
        noise = noise_r = 0.0
        if len(near) >= 9:
            # Three times the error of the mean of a third of the points, and of all of them for the resistance.
            noise = 3 * np.std(off[near] / impedance[near]) / np.sqrt(len(near) / 3)
            noise_r = 3 * np.std(off.real[near]) / np.sqrt(len(near)) / abs(impedance.real[near].mean())
        worst = max(worst, error / max(GOOD_FIT, noise))
        # A resistance can be lost whatever the network, so it never outweighs a poor impedance.
        worst = max(worst, min(resistance / max(GOOD_RESISTANCE, noise_r), LARGEST_FIT_ERROR / GOOD_FIT))
    return worst


def _thinned(freq, bands):
    """Places of at most some two hundred points: all near the bands and evenly spaced ones elsewhere."""
    if len(freq) <= _MOST_POINTS:
        return np.arange(len(freq))
    even = np.searchsorted(freq, np.geomspace(freq[0], freq[-1], _MOST_POINTS)).clip(0, len(freq) - 1)
    near = [_around(freq, band) for band in bands]
    near = [places[:: max(1, len(places) // 12)] for places in near]
    return np.unique(np.concatenate([even, *near]))


def _candidates(freq, z):
    """How to fit, where to begin, and how many elements there are, the simplest network first."""
    simple, many = starts(freq, z)[:2], starts(freq, z)[2:]
    for start in simple:
        yield fit_tanks, start, 3 + 3 * len(start.tanks)
    reactance = z.imag
    rising = np.flatnonzero((reactance[:-1] < 0) & (reactance[1:] >= 0))
    zeros = np.sqrt(freq[rising] * freq[rising + 1])
    z0 = float(np.sqrt(np.abs(z).max() * np.abs(z).min()))
    if len(zeros) > 1:
        delays = [0.5 / float(np.median(np.diff(zeros)))]
    else:
        delays = [0.25 / float(zeros[0] if len(zeros) else 1.5 * freq[-1]), 0.5 / float(freq[-1])]
    for delay in delays:
        for bounce in (0.9, -0.3):
            count = int(np.clip(np.ceil(freq[-1] * 2 * delay) + 1, 2, 10))
            yield fit_ladder, line_branches(1.0, 0.3, z0, 1.0 / delay, bounce, count), 2 + 4 * count
    for start in many:
        yield fit_tanks, start, 3 + 3 * len(start.tanks)
