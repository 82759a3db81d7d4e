"""A vertical above 1.6 radian of height: an open line whose losses are its radiation, realised by a fitted network.

    Z     = 1/(j w Cb + tanh(g)/Zc)            g = A + j t        t = kh + d tanh(kh)
    h_eff = h_e0 |tanh(g/2)/(g/2)|/|1 + j w Cb Zc coth(g)|
    A     = s (1 + q (kh - kh_r)) Rm(2t)/Zc/(1 - sin(2t)/2t)

Open line with radiation as its attenuation: Schelkunoff and Friis, Antennas: Theory and Practice, 1952; Jordan and
Balmain, Electromagnetic Waves and Radiating Systems, 1968 (both from memory). Rm, the radiation resistance at the
current's maximum, is that of the induced-EMF method (Balanis, Antenna Theory). d, s and Zc are chosen so that static
capacitance, first resonance (at kh_r) and resistance there are those of the four-element network of
:mod:`sim.antenna.short_vertical`. Cb, a capacitance at the base, and q are straight lines in u = 1/(ln(h/a) - 1),
fitted to an own moment-method calculation (mixed potentials, perfect ground) of eight verticals of h/a 250 to 8000
from kh 1.6 to 4.6: without them the impedance is off by a factor of two about the second resonance. With them the
impedance was within 26 % and the effective height, that towards the horizon, within 1 dB up to kh 4.2. Those runs
agree with NEC-2 (nec2c 1.3) within 3 % of the reactance and 6 % of the resistance where there are NEC-2 values, that
is up to kh 1.5. Below kh 1.4 the impedance is the four-element network's; between 1.4 and 1.8 one passes into the
other.

In the deck stands a network of a capacitor and tanks fitted to that impedance, all of whose resistors are noiseless.
Up to kh 3.8 it keeps within 1 % over an octave or two. About the third resonance, at kh 4.4, and over bands from 1.8
to 28 MHz it is up to 10 % off, and 40 % in the resistance far below the first resonance, where that is a thousandth
of the reactance.

Not covered: lobes. Above kh 3 the pattern lifts off the horizon, and a vertical hears less there than above.
"""

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from sim.antenna.ladder import relative_error
from sim.antenna.resonances import fit_resonances
from sim.antenna.short_vertical import ShortVertical, foot_cards, short_vertical
from sim.antenna.source import AntennaSource
from sim.antenna.tanks import Tanks
from sim.constants import C0
from sim.quantity import format_quantity

KH_CHECKED = 4.2
"""The largest electrical height, k h, up to which the open line was compared."""
HIGHEST_HZ = 3e7
IMPEDANCE_ERROR, HEIGHT_ERROR_DB = 0.26, 1.0
"""Largest deviations from the moment method between kh 1.6 and 4.2. [1, dB]"""
BASE_SHARE = (-0.0304, 0.5839)
GROWTH = (0.0245, 0.5164)
"""Cb/C1 and q, as intercept and slope in u; own fit, see above."""
BLEND = (1.4, 1.8)
GOOD_FIT, LARGEST_TALL_ERROR = 0.005, 0.12
"""Relative error at the bands at which the search for a better network ends, and above which a study is refused."""


@dataclass(frozen=True)
class OpenLine:
    """The line of this module's head.

    Attributes
    ----------
    short : ShortVertical
        The antenna's network in closed form, without ground connection and lead.
    height : float
        [m]
    base : float
        Cb. [F]
    extension, scale, growth : float
        d, s and q. [1]
    resonance : float
        kh_r. [1]
    impedance0 : float
        Zc. [Ω]
    """

    short: ShortVertical
    height: float
    base: float
    extension: float
    scale: float
    growth: float
    resonance: float
    impedance0: float

    def _wave(self, kh):
        """The exponent g of the module's head."""
        turn = kh + self.extension * np.tanh(kh)
        grown = np.maximum(1.0 + self.growth * (kh - self.resonance), 0.2)
        return self.scale * grown * _attenuation(turn, self.impedance0) + 1j * turn

    def impedance(self, freq_hz):
        """The four-element network's below kh 1.4, the line's above 1.8. [Ω, complex]"""
        kh = 2 * np.pi * freq_hz * self.height / C0
        line = 1.0 / (2j * np.pi * freq_hz * self.base + np.tanh(self._wave(kh)) / self.impedance0)
        share = _share(kh)
        return (1 - share) * self.short.impedance(freq_hz) + share * line

    def effective_height(self, freq_hz):
        """Towards the horizon. [m]"""
        kh = 2 * np.pi * freq_hz * self.height / C0
        g = self._wave(kh)
        loaded = np.abs(1.0 + 2j * np.pi * freq_hz * self.base * self.impedance0 / np.tanh(g))
        line = self.short.elements.height0 * np.abs(np.tanh(g / 2) / (g / 2)) / loaded
        share = _share(kh)
        return (1 - share) * self.short.effective_height(freq_hz) + share * line


def _share(kh):
    return np.clip((kh - BLEND[0]) / (BLEND[1] - BLEND[0]), 0.0, 1.0)


def _attenuation(turn, impedance0):
    """A of the module's head without its factors: radiation spread over the line as a series resistance."""
    from scipy.special import sici

    x = 2 * turn
    (si, ci), (si2, ci2) = sici(x), sici(2 * x)
    gamma = np.euler_gamma
    at_maximum = 30.0 * (
        gamma
        + np.log(x)
        - ci
        + 0.5 * np.sin(x) * (si2 - 2 * si)
        + 0.5 * np.cos(x) * (gamma + np.log(x / 2) + ci2 - 2 * ci)
    )
    return at_maximum / impedance0 / (1.0 - np.sin(x) / x)


def open_line(height, radius, gap=0.075) -> OpenLine:
    """The open line of a vertical over perfect ground.

    Parameters
    ----------
    height, radius, gap : float
        As of :func:`sim.antenna.short_vertical.short_vertical`. [m]
    """
    from scipy.optimize import brentq

    short = short_vertical(height, radius, gap, 0.0, 0.0)
    u = 1.0 / (math.log(height / radius) - 1.0)
    first = brentq(lambda f: float(short.impedance(f).imag), 0.4 * short.high_hz, 1.5 * short.high_hz)
    kh = 2 * math.pi * first * height / C0
    extension = (math.pi / 2 - kh) / math.tanh(kh)
    base = max(BASE_SHARE[0] + BASE_SHARE[1] * u, 0.0) * short.elements.c1
    impedance0 = height * (1 + extension) / (C0 * (short.elements.c1 - base))
    resistance = float(short.impedance(first).real)
    scale = math.atanh(resistance / impedance0) / float(_attenuation(math.pi / 2, impedance0))
    return OpenLine(short, height, base, extension, scale, GROWTH[0] + GROWTH[1] * u, kh, impedance0)


@dataclass(frozen=True, kw_only=True)
class TallVertical(AntennaSource):
    """A vertical above the range of the four-element network; make one with `tall_vertical`.

    Attributes
    ----------
    line : OpenLine
    ground_loss : float
        Resistance of the ground connection, at ambient temperature. [Ω]
    lead : float
        Inductance of the lead to the amplifier. [H]
    bands_hz : tuple of float
        Where the network is fitted most closely. [Hz]
    """

    line: OpenLine
    ground_loss: float
    lead: float
    bands_hz: tuple[float, ...]

    @cached_property
    def network(self) -> Tanks:
        """The fitted network of the vertical, without ground connection and lead."""
        return _network(self.line, self.bands_hz)

    def impedance(self, freq_hz):
        """Of fitted network, lead and ground connection, as the deck has them. [Ω]"""
        omega = 2.0 * np.pi * np.asarray(freq_hz, dtype=float)
        return self.ground_loss + 1j * omega * self.lead + self.network.impedance(freq_hz)

    def effective_height(self, freq_hz):
        """Open-circuit voltage per total vertical field, for waves along the ground. [m]"""
        return self.line.effective_height(np.asarray(freq_hz, dtype=float))

    def fit_error(self, freq_hz):
        """Error of the network against the line, relative. [1]"""
        freq_hz = np.asarray(freq_hz, dtype=float)
        return relative_error(self.network, freq_hz, self.line.impedance(freq_hz))

    def netlist(self, top, bottom, prefix):
        """The fitted network, lead and ground connection."""
        below, node = foot_cards(self.ground_loss, self.lead, bottom, prefix)
        return (*self.network.cards(top, node, prefix), *below)


@lru_cache(maxsize=64)
def _network(line: OpenLine, bands_hz: tuple) -> Tanks:
    """Fit of the vertical's network, closest at the bands; the same vertical is fitted once."""
    top = max(1.15 * max(bands_hz), 2.2 * C0 / (2 * np.pi * line.height))
    low = min(0.3 * C0 / (2 * np.pi * line.height), 0.8 * min(bands_hz))
    freq = np.unique(np.concatenate([np.geomspace(low, top, 160), bands_hz]))
    wanted = line.impedance(freq)
    near = np.exp(-0.5 * (np.log(freq[:, None] / np.array(bands_hz)) / 0.04) ** 2).max(axis=1)
    e = line.short.elements
    best, smallest = None, np.inf
    fewest = int(np.ceil(2 * np.pi * top * line.height / C0 / np.pi + 0.1))
    for count in range(fewest, fewest + 3):
        # Parallel resonances of an open line lie at every half turn, each with half its capacitance.
        half = line.height / (2 * C0 * line.impedance0)
        higher = [(n * np.pi * C0 / line.height, n) for n in range(2, count + 1)]
        tanks = ((e.r, e.l, e.c2), *((8 * line.impedance0 / n, 1 / (w**2 * half), half) for w, n in higher))
        fitted = fit_resonances(freq, wanted, Tanks(0.0, 0.0, e.c1, tanks), 1 + 8 * near)
        worst = relative_error(fitted, np.array(bands_hz), line.impedance(np.array(bands_hz))).max()
        if worst < smallest:
            best, smallest = fitted, worst
        if worst < GOOD_FIT:
            break
    return best


def tall_vertical(
    height, radius, gap=0.075, ground_loss=30.0, stray=3e-12, lead=0.0, bands_hz=(1.8e6, 7e6, 14e6, 28e6)
):
    """A vertical for bands above 1.6 radian of height.

    Parameters
    ----------
    height, radius, gap, ground_loss, stray, lead : float
        As of :func:`sim.antenna.short_vertical.short_vertical`.
    bands_hz : sequence of float
        Where the network of the deck is fitted most closely. [Hz]

    Returns
    -------
    antenna : TallVertical
        `high_hz` is the frequency where k h = 4.2, or 30 MHz.

    Raises
    ------
    ValueError
        As of :func:`sim.antenna.short_vertical.short_vertical`.
    """
    closed = short_vertical(height, radius, gap, ground_loss, stray, lead)
    said = (
        f"short-vertical: above {format_quantity(closed.high_hz, 'Hz', 3)} an open line stands for it. It was compared"
        f" with own moment-method runs: impedance within {100 * IMPEDANCE_ERROR:.0f} %, effective height within"
        f" {HEIGHT_ERROR_DB:g} dB, for waves along the ground; its lobes above are not known to the model."
    )
    return TallVertical(
        name="short-vertical",
        low_hz=0.0,
        high_hz=min(HIGHEST_HZ, KH_CHECKED * C0 / (2.0 * math.pi * height)),
        shunt_capacitance=float(stray),
        cautions=(*closed.cautions, said),
        line=open_line(height, radius, gap),
        ground_loss=float(ground_loss),
        lead=float(lead),
        bands_hz=tuple(map(float, bands_hz)),
    )
