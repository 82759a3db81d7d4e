"""Short horizontal dipole above soil: two legs, balanced against ground.

    in_p o---C1---[ tank ]---Rs---+---Rs---[ tank ]---C1---o in_n       tank: L, C2 and R in parallel
                                  |
                                 Ccm'   (a gigohm beside it)
                                  |
                                ground

Between the terminals a dipole in free space is two verticals over perfect ground, each as high as a leg is long and
with half of the gap (image theory), so each leg is the network of :mod:`sim.antenna.short_vertical`. Soil hardly
changes the reactance (NEC-2: 1 to 3 % from 2 m up) but rules the resistance: R of the tank and Rs are chosen so that
the real part follows :mod:`sim.antenna.above_soil` at the bands. All resistors are noiseless, as sky and soil are added
as emf:

    external  4 k T0 fa R_sky         soil  4 k T0 (R - R_sky)

that is the efficiency route: P.372 fields are vertical fields, of which a level wire hears next to nothing. Noise is
not an equally bright sky; 4 dB either way is what the choice of route is worth.

Common mode. Both legs driven alike are one wire against the soil, with the capacitance (average potential with image,
own assembly of a published method; 0.4 % below a static moment method at 3 and 8 m)

    Ccm = 2 pi eps0 L/(ln(2L/a) - 1 - F),  F = asinh(L/2H) + 2H/L - sqrt(1 + (2H/L)^2)

of which 2 C1 is in the legs and the rest, Ccm', in series below the centre.

Not covered: the mast and the outside of the feedline, which are the other half of the common mode; unequal legs,
slopes, insulation, trees; a wire so low (below a tenth of its length) that the soil is nearer than its other leg.
"""

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import ClassVar

import numpy as np

from sim.antenna.above_soil import plane_wave_heights, sky_share, whole_share
from sim.antenna.earth_line import Soil
from sim.antenna.short_vertical import KH_MAX, FourElements, four_elements, ratio_cautions
from sim.antenna.source import BalancedSource
from sim.constants import C0, EPS0, ETA0, K_B, T0
from sim.noise.density import fa_from_field

CHECKED_LOW_HZ = 1.5e6
"""Resistance over soil was compared with NEC-2 from 1.8 MHz; half an octave less is the model's lower end. [Hz]"""
LOWEST_PER_LENGTH = 0.2
"""Height over length of the lowest dipole that was compared with NEC-2 (2 m, length 10 m)."""


@dataclass(frozen=True, kw_only=True)
class ShortDipole(BalancedSource):
    """A short dipole; make one with `short_dipole`.

    Attributes
    ----------
    elements : FourElements
        Of one leg, in free space.
    length, height : float
        Tip to tip; above the soil. [m]
    radius : float
        [m]
    soil : Soil
    azimuth, elevation : float
        Arrival of the wave for which the effective height holds. [rad]
    bands_hz : tuple of float
        Where the real part is to be right. [Hz]
    """

    elements: FourElements
    length: float
    height: float
    radius: float
    soil: Soil
    azimuth: float
    elevation: float
    bands_hz: tuple[float, ...]
    single_ended: ClassVar[bool] = False

    def _damping(self, freq_hz):
        """1 - w^2 L C2 + j w L/R of a leg's tank in free space. [1]"""
        omega = 2.0 * np.pi * np.asarray(freq_hz, dtype=float)
        e = self.elements
        return 1.0 - omega**2 * e.l * e.c2 + 1j * omega * e.l / e.r

    def wire_height(self, freq_hz):
        """Open-circuit voltage per field along the wire, twice that of a leg; near half the length. [m]"""
        return 2.0 * self.elements.height0 / np.abs(self._damping(freq_hz))

    def free_space_resistance(self, freq_hz):
        """Radiation resistance that goes with `wire_height`, eta0 k^2 h^2/(6 pi). [Ω]"""
        k = 2.0 * np.pi * np.asarray(freq_hz, dtype=float) / C0
        return ETA0 * (k * self.wire_height(freq_hz)) ** 2 / (6.0 * np.pi)

    def sky_resistance(self, freq_hz):
        """Share of the source resistance that hears the sky. [Ω]"""
        return self.free_space_resistance(freq_hz) * _on(sky_share, freq_hz, self.soil, self.height)

    def source_resistance(self, freq_hz):
        """Sky and soil together, by the theory of :mod:`sim.antenna.above_soil`. [Ω]"""
        share = _on(whole_share, freq_hz, self.soil, self.height, self.length / 2.0)
        # Beyond the range of the theory of short dipoles both may cross by a hair: the sky is in the whole.
        return np.maximum(self.free_space_resistance(freq_hz) * share, self.sky_resistance(freq_hz))

    def efficiency(self, freq_hz):
        """Share of the available power of an equally bright sky that reaches the terminals. [1]"""
        return self.sky_resistance(freq_hz) / self.source_resistance(freq_hz)

    @property
    def leg_resistors(self):
        """Tank and series resistor of a leg with which the network has the source resistance at the bands. [Ω, Ω]"""
        return _leg_resistors(replace(self, shunt_capacitance=0.0, cautions=(), azimuth=0.0, elevation=0.0))

    @property
    def common_capacitance(self):
        """Of both legs together against ground. [F]"""
        ratio = 2.0 * self.height / self.length
        image = math.asinh(1.0 / ratio) + ratio - math.sqrt(1.0 + ratio**2)
        return 2.0 * math.pi * EPS0 * self.length / (math.log(2.0 * self.length / self.radius) - 1.0 - image)

    @property
    def centre_capacitance(self):
        """Between the centre and ground, in series with both legs; inf where the legs alone have more already. [F]"""
        rest = 1.0 / self.common_capacitance - 0.5 / self.elements.c1
        return 1.0 / rest if rest > 0 else math.inf

    def impedance(self, freq_hz):
        """Between the terminals: two legs in series, as the deck has them. [Ω]"""
        freq = np.asarray(freq_hz, dtype=float)
        jw = 2j * np.pi * freq
        e, (tank, series) = self.elements, self.leg_resistors
        return 2.0 * (1.0 / (jw * e.c1) + series + 1.0 / (1.0 / (jw * e.l) + jw * e.c2 + 1.0 / tank))

    def effective_height(self, freq_hz):
        """Open-circuit voltage per field of the arriving wave, in the polarisation that is heard best. [m]

        Not per vertical field at the ground, as of a vertical: over soil a level wire hears waves that have none.
        """
        v, h = plane_wave_heights(self.soil, self.height, freq_hz, self.azimuth, self.elevation)
        return self.wire_height(freq_hz) * np.sqrt(np.abs(v) ** 2 + np.abs(h) ** 2)

    def external_emf(self, freq_hz, field):
        """External noise by the efficiency route, sqrt(4 k T0 fa R_sky). [V/√Hz]"""
        fa = 10 ** (fa_from_field(field, freq_hz) / 10)
        return np.sqrt(4 * K_B * T0 * fa * self.sky_resistance(freq_hz))

    def ambient_emf(self, freq_hz, temperature_k):
        """Thermal noise of the soil, sqrt(4 k T (R - R_sky)). [V/√Hz]"""
        rest = self.source_resistance(freq_hz) - self.sky_resistance(freq_hz)
        return np.sqrt(4 * K_B * temperature_k * rest)

    def leg(self, terminal, centre, prefix):
        """C1, tank and series resistor; the tank's inductor is the DC path of the inner nodes."""
        e, (tank, series) = self.elements, self.leg_resistors
        inner = f"{prefix}_tank"
        base = f"{prefix}_base" if series > 0 else centre
        cards = [
            f"C{prefix}_1 {terminal} {inner} {e.c1!r}",
            f"L{prefix}_t {inner} {base} {e.l!r}",
            f"C{prefix}_2 {inner} {base} {e.c2!r}",
            f"R{prefix}_rad {inner} {base} {tank!r} noisy=0",
        ]
        if series > 0:
            cards.append(f"R{prefix}_soil {base} {centre} {series!r} noisy=0")
        return tuple(cards)

    def centre_to_ground(self, centre, ground, prefix):
        """What the common mode's capacitance has beyond the legs, and a gigohm as DC path."""
        if math.isinf(self.centre_capacitance):
            return super().centre_to_ground(centre, ground, prefix)
        return (
            f"C{prefix}_cm {centre} {ground} {self.centre_capacitance!r}",
            f"R{prefix}_cm {centre} {ground} 1e9 noisy=0",
        )

    def netlist(self, top, bottom, prefix):
        """Both legs in series between two nodes, without what leads to ground."""
        centre = f"{prefix}_mid"
        return (*self.leg(top, centre, f"{prefix}_p"), *self.leg(bottom, centre, f"{prefix}_n"))


def _on(share, freq_hz, *where):
    """A share by name on frequencies of any shape."""
    freq = np.asarray(freq_hz, dtype=float)
    return share(*where, tuple(float(f) for f in freq.ravel())).reshape(freq.shape)


@lru_cache(maxsize=64)
def _leg_resistors(dipole: ShortDipole) -> tuple[float, float]:
    """Least squares of the relative error of the real part at the bands; neither resistor can be negative."""
    from scipy.optimize import lsq_linear

    freq, e = np.array(dipole.bands_hz), dipole.elements
    tank = (2j * np.pi * freq * e.l / dipole._damping(freq)).real
    wanted = dipole.source_resistance(freq) / 2.0
    share, series = lsq_linear(
        np.stack([tank / wanted, 1.0 / wanted], axis=1), np.ones(len(freq)), ([0.05, 0.0], np.inf)
    ).x
    # Less than a microohm is what rounding leaves of nothing.
    return float(e.r / share), float(series) if series > 1e-6 else 0.0


def short_dipole(
    length,
    radius,
    height,
    soil,
    gap=0.075,
    stray=3e-12,
    azimuth=0.0,
    elevation=0.52,
    bands_hz=(1.8e6, 3.5e6, 7e6),
):
    """A level dipole that is short against the wavelength, above soil.

    Parameters
    ----------
    length : float
        Tip to tip. [m]
    radius : float
        Of the conductor. [m]
    height : float
        Of the wire above the soil. [m]
    soil : Soil
    gap : float
        Between the two legs in the middle. [m]
    stray : float
        Capacitance of box, clamp and connector from each leg to ground; 1-10 pF (common practice, no source). [F]
    azimuth, elevation : float
        Arrival of the wanted signal: from the direction of the wire, above the horizon. [rad]
    bands_hz : sequence of float
        Where the real part of the impedance is to be right. [Hz]

    Returns
    -------
    antenna : ShortDipole
        `high_hz` is the frequency where k times a leg is 1.6, just past the first resonance.

    Raises
    ------
    ValueError
        Dimensions for which the formulas have no meaning.
    """
    if not (height > 10 * radius and stray >= 0):
        raise ValueError(f"a dipole of radius {radius:g} m cannot hang at {height:g} m, with a stray of {stray:g} F")
    leg = length / 2.0
    said = [f"short-dipole, a leg as a vertical: {text}" for text in ratio_cautions(leg, radius, gap / 2.0)]
    if height < 0.99 * LOWEST_PER_LENGTH * length:
        said.append(
            f"short-dipole: a height of {height:g} m was not compared with NEC-2, which was done down to a fifth of the"
            " length; the reactance is several per cent lower than the model says."
        )
    said += [
        "short-dipole: outside noise is reckoned as an equally bright sky; noise that arrives along the ground makes up"
        " to 4 dB of difference either way in noise_margin_db and noise_rise_db.",
        "short-dipole: mast and outside of the feedline are the other half of the common mode and not in the model;"
        " keep their noise away with a common-mode choke, and see cmrr_db for what the amplifier does to the rest.",
    ]
    return ShortDipole(
        name="short-dipole",
        low_hz=CHECKED_LOW_HZ,
        high_hz=KH_MAX * C0 / (2.0 * math.pi * leg),
        # From each leg to ground they are in series between the legs.
        shunt_capacitance=float(stray) / 2.0,
        cautions=tuple(said),
        elements=four_elements(leg, radius, gap / 2.0),
        length=float(length),
        height=float(height),
        radius=float(radius),
        soil=soil,
        azimuth=float(azimuth),
        elevation=float(elevation),
        bands_hz=tuple(map(float, bands_hz)),
    )
