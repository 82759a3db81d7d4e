"""A long wire on or just above the ground, fed at its end against an earth electrode, or in its middle.

Theory of operation ------------------- The wire is a lossy line (:mod:`sim.antenna.earth_line`). Its impedance
follows from the far end's reflection, its emf by reciprocity: with i(x) the current along the wire for 1 A into its
terminals,

    Voc = int E_x(x) i(x) dx + h (E_z(0) i(0) - E_z(l) i(l))
    E_x = E_inc sin psi cos phi (1 - Gv exp(-2jkh sin psi)) exp(j k x cos psi cos phi)       vertical polarisation
    E_x = E_inc sin phi (1 + Gh exp(-2jkh sin psi)) exp(j k x cos psi cos phi)               horizontal polarisation

with Gv, Gh the Fresnel coefficients, psi the elevation and phi the azimuth of arrival from the direction in which the
wire runs (Agrawal, Price and Gurbaxani, IEEE Trans. Electromagn. Compat. 22, 1980; Beverage, Rice and Kellogg, Trans.
AIEE 42, 1923). For single waves the emf was within 2.7 dB of NEC-2.

Noise. The share of the source resistance that hears the sky is, for a sky of equal brightness and both polarisations,

    R_sky = eta0/(4 lambda^2) int (|h_theta|^2 + |h_phi|^2) dOmega = efficiency * Re Z

External noise is 4 k T0 fa R_sky; the rest of Re Z is soil and copper at ambient temperature. Man-made noise that
arrives along the ground makes another 4 dB of difference in either direction: the reports say so.

In the deck stands a network fitted to the line's impedance, all its resistors noiseless; both noises are added as
emf.

Two wires side by side, joined at both ends, are one line of half the impedance or a little more (an estimate, see
:mod:`sim.antenna.earth_line`). Earth rods: :mod:`sim.antenna.earth_rod`.

Not covered: currents on the feedline's screen, soil that changes with depth or frequency, wires longer than one
wavelength (NEC-2 itself fails there), two wires fed against each other.
"""

import math
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np

from sim.antenna.earth_line import EarthLine, reflection
from sim.antenna.earth_rod import Rods
from sim.antenna.ladder import Ladder, fit_ladder, line_branches, relative_error, single_pole
from sim.antenna.source import AntennaSource
from sim.constants import C0, ETA0, K_B, T0
from sim.noise.density import fa_from_field
from sim.quantity import format_quantity

CHECKED_HZ = (1.5e6, 8e6)
"""Where emf, impedance and efficiency were compared with NEC-2 (1.8 to 7 MHz), half an octave less. [Hz]"""
FIT_HZ = (1.5e5, 3e7)
"""Where the network is fitted. [Hz]"""
GOOD_FIT, LARGEST_FIT_ERROR = 0.01, 0.02
"""Relative error at the bands at which the search for a better network ends, and above which a study is refused."""
CHECKED_WAVELENGTHS = 1.0
"""Longest wire that was compared with NEC-2, over the wavelength in air (0.9, rounded)."""
CHECKED_HEIGHTS = (0.03, 1.0)
"""Heights that were compared with NEC-2, which cannot go lower. [m]"""


@dataclass(frozen=True, kw_only=True)
class GroundWire(AntennaSource):
    """A wire on the ground; make one with `ground_wire`.

    Attributes
    ----------
    line : EarthLine
    length : float
        Of the whole wire. [m]
    far_end : float
        Resistance to earth at the far end; inf for open. [Ω]
    ground_loss : float
        Resistance of the electrode at the feed, noisy. [Ω]
    far_rods, feed_rods : Rods or None
        Earth rods in series with either.
    centre_fed : bool
        In the middle, without electrode; both ends as `far_end` says.
    azimuth, elevation : float
        Arrival of the wave for which the effective height holds. [rad]
    bands_hz : tuple of float
        Where the network is fitted most closely. [Hz]
    """

    line: EarthLine
    length: float
    far_end: float
    ground_loss: float
    far_rods: Rods | None
    feed_rods: Rods | None
    centre_fed: bool
    azimuth: float
    elevation: float
    bands_hz: tuple[float, ...]

    @property
    def arm(self):
        """Length from the terminals to an end. [m]"""
        return self.length / 2 if self.centre_fed else self.length

    def _reflection(self, z0, freq_hz):
        if math.isinf(self.far_end):
            return np.ones_like(z0)
        end = self.far_end if self.far_rods is None else self.far_end + self.far_rods.impedance(freq_hz)
        return (end - z0) / (end + z0)

    def electrode(self, freq_hz):
        """Impedance to earth at the feed: resistor and rods. [Ω]"""
        return self.ground_loss if self.feed_rods is None else self.ground_loss + self.feed_rods.impedance(freq_hz)

    def line_impedance(self, freq_hz):
        """Impedance of the wire by line theory, without the electrode at the feed. [Ω, complex]"""
        gamma, z0 = self.line.characteristic(freq_hz)
        back = self._reflection(z0, np.asarray(freq_hz, dtype=float)) * np.exp(-2 * gamma * self.arm)
        return (2 if self.centre_fed else 1) * z0 * (1 + back) / (1 - back)

    @cached_property
    def network(self) -> Ladder:
        """The fitted network of the wire."""
        return _network(self.line, self.length, self.far_end, self.far_rods, self.centre_fed, self.bands_hz)

    def impedance(self, freq_hz):
        """Of the fitted network and the electrode, as the deck has them. [Ω, complex]"""
        return self.electrode(freq_hz) + self.network.impedance(freq_hz)

    def fit_error(self, freq_hz):
        """Error of the network against line theory, relative. [1]"""
        return relative_error(self.network, freq_hz, self.line_impedance(freq_hz))

    def incident_heights(self, freq_hz, azimuth, elevation):
        """Open-circuit voltage per incident field of a plane wave, for both polarisations.

        Parameters
        ----------
        freq_hz : ndarray, shape (n_freq,)
            [Hz]
        azimuth, elevation : float or ndarray, shape (n_direction,)
            Of arrival. [rad]

        Returns
        -------
        vertical, horizontal : complex ndarray, shape (n_freq, n_direction)
            [m]
        """
        freq = np.atleast_1d(np.asarray(freq_hz, dtype=float))[:, None]
        phi, psi = np.atleast_1d(azimuth)[None, :], np.atleast_1d(elevation)[None, :]
        k, h = 2 * np.pi * freq / C0, self.line.height
        gamma, z0 = (x[:, None] for x in self.line.characteristic(freq[:, 0]))
        gv, gh = reflection(self.line.soil, freq, psi)
        bounce = self._reflection(z0, freq)
        mirrored = np.exp(-2j * k * h * np.sin(psi))
        # A pair hears the mean of its two places.
        mean = 1.0 if self.line.beside is None else np.cos(k * self.line.beside / 2 * np.cos(psi) * np.sin(phi))
        drive = mean * np.sin(psi) * np.cos(phi) * (1 - gv * mirrored), mean * np.sin(phi) * (1 + gh * mirrored)
        beta = k * np.cos(psi) * np.cos(phi)
        carried = self._carried(gamma, bounce, beta)
        if self.centre_fed:
            return tuple(e * (carried + self._carried(gamma, bounce, -beta)) for e in drive)
        upright = -mean * np.cos(psi) * (1 + gv * mirrored)
        at_end = np.exp(-gamma * self.arm) * (1 - bounce) / (1 - bounce * np.exp(-2 * gamma * self.arm))
        risers = h * upright * (1 - at_end * np.exp(1j * beta * self.arm))
        return drive[0] * carried + risers, drive[1] * carried

    def _carried(self, gamma, bounce, beta):
        """Integral of i(x) exp(j beta x) along one arm. [m]"""
        arm = self.arm
        out = np.exp((1j * beta - gamma) * arm)
        away = (out - 1) / (1j * beta - gamma)
        home = (out - np.exp(-2 * gamma * arm)) / (1j * beta + gamma)
        return (away - bounce * home) / (1 - bounce * np.exp(-2 * gamma * arm))

    def effective_height(self, freq_hz):
        """Open-circuit voltage per total vertical field at the ground, for the wave of the study. [m]"""
        freq = np.asarray(freq_hz, dtype=float)
        vertical, _ = self.incident_heights(freq.ravel(), self.azimuth, self.elevation)
        gv, _ = reflection(self.line.soil, freq.ravel(), self.elevation)
        return (np.abs(vertical[:, 0]) / np.abs(np.cos(self.elevation) * (1 + gv))).reshape(freq.shape)

    def sky_resistance(self, freq_hz):
        """Share of the source resistance that hears the sky, efficiency times Re Z. [Ω]"""
        freq = np.asarray(freq_hz, dtype=float)
        nodes, weights = np.polynomial.legendre.leggauss(24)
        psi = (nodes + 1) * np.pi / 4
        phi = (np.arange(48) + 0.5) * np.pi / 48
        # The other half of the azimuths mirrors this one.
        area = 2 * (weights * np.pi / 4 * np.cos(psi))[:, None] * np.full(48, np.pi / 48)
        grid_psi, grid_phi = np.meshgrid(psi, phi, indexing="ij")
        v, h = self.incident_heights(freq.ravel(), grid_phi.ravel(), grid_psi.ravel())
        heard = (np.abs(v) ** 2 + np.abs(h) ** 2) @ area.ravel()
        return (ETA0 / 4 * (freq.ravel() / C0) ** 2 * heard).reshape(freq.shape)

    def efficiency(self, freq_hz):
        """Share of the available power of an equally bright sky that reaches the terminals. [1]"""
        return self.sky_resistance(freq_hz) / (np.real(self.electrode(freq_hz)) + self.line_impedance(freq_hz).real)

    def external_emf(self, freq_hz, field):
        """External noise by the efficiency route, sqrt(4 k T0 fa R_sky). [V/√Hz]"""
        fa = 10 ** (fa_from_field(field, freq_hz) / 10)
        return np.sqrt(4 * K_B * T0 * fa * self.sky_resistance(freq_hz))

    def ambient_emf(self, freq_hz, temperature_k):
        """Thermal noise of soil and wire, sqrt(4 k T (Re Z - R_sky)); the electrode's is in the deck. [V/√Hz]"""
        rest = self.network.impedance(freq_hz).real - self.sky_resistance(freq_hz)
        return np.sqrt(4 * K_B * temperature_k * np.maximum(rest, 0.0))

    def netlist(self, top, bottom, prefix):
        """The noiseless network, and the electrode in series below it."""
        if self.ground_loss == 0 and self.feed_rods is None:
            return self.network.cards(top, bottom, prefix)
        base, rod = f"{prefix}_base", f"{prefix}_rod"
        cards = list(self.network.cards(top, base, prefix))
        if self.feed_rods is None:
            rod = bottom
        elif self.ground_loss == 0:
            rod = base
        if rod != base:
            cards.append(f"R{prefix}_gnd {base} {rod} {self.ground_loss!r}")
        if self.feed_rods is not None:
            cards += self.feed_rods.cards(rod, bottom, prefix)
        return tuple(cards)


@lru_cache(maxsize=64)
def _network(line: EarthLine, length: float, far_end: float, far_rods, centre_fed: bool, bands_hz: tuple) -> Ladder:
    """Fit of the wire's network, closest at the bands; the same wire is fitted once."""
    wire = ground_wire(line, length, far_end, 0.0, centre_fed, bands_hz=bands_hz, far_rods=far_rods)
    freq = np.unique(np.concatenate([np.geomspace(*FIT_HZ, 140), bands_hz]))
    wanted = wire.line_impedance(freq)
    near = np.exp(-0.5 * (np.log(freq[:, None] / np.array(bands_hz)) / 0.04) ** 2).max(axis=1)
    gamma, z0 = line.characteristic(np.array([1.8e6]))
    velocity = 2 * np.pi * 1.8e6 / gamma.imag[0]
    ends = 2 if centre_fed else 1
    bounce = wire._reflection(z0.real, np.array([1.8e6])).real[0]
    # Resonances count as far up as they show: until the wave there and back has lost 36 dB, or the fit ends.
    gammas, _ = line.characteristic(freq)
    seen = freq[2 * wire.arm * gammas.real < 4.1]
    top = seen.max() if len(seen) else FIT_HZ[0]
    count = int(np.clip(np.ceil(top * 2 * wire.arm / velocity), 3, 12))
    best, smallest = None, np.inf
    given = (wire.arm, gamma.real[0], ends * z0.real[0], velocity, bounce)
    # An end of little resistance, a rod without resistor, needs the pole at zero; others do better without.
    for more, shorted in (*((more, False) for more in (0, 2, 1, 3)), *((more, True) for more in (0, 2, 1))):
        if shorted and (bounce > 0 or smallest < LARGEST_FIT_ERROR):
            break
        start = line_branches(*given, count + more)
        if shorted:
            start = replace(start, branches=(single_pole(*given), *start.branches))
        ladder = fit_ladder(freq, wanted, start, 1 + 8 * near)
        worst = relative_error(ladder, np.array(bands_hz), wire.line_impedance(np.array(bands_hz))).max()
        if worst < smallest:
            best, smallest = ladder, worst
        if worst < GOOD_FIT:
            break
    return best


def ground_wire(
    line,
    length,
    far_end=math.inf,
    ground_loss=50.0,
    centre_fed=False,
    azimuth=0.0,
    elevation=0.35,
    bands_hz=(1.8e6, 3.5e6, 7e6),
    far_rods=None,
    feed_rods=None,
):
    """A wire on or just above the ground.

    Parameters
    ----------
    line : EarthLine
        The wire's cross section, its height and the soil.
    length : float
        [m]
    far_end : float
        Resistance to earth at the far end, with all that `far_rods` does not hold; inf for open. [Ω]
    ground_loss : float
        Resistance of the electrode at the feed, with all that `feed_rods` does not hold; 0 in the middle. [Ω]
    centre_fed : bool
        Fed in the middle, without electrode.
    azimuth : float
        Of arrival, from the direction in which the wire runs away from its feed. [rad]
    elevation : float
        Of arrival. [rad]
    bands_hz : sequence of float
        Where the network of the deck is fitted most closely. [Hz]
    far_rods, feed_rods : Rods, optional
        Earth rods in series with the resistances.

    Returns
    -------
    antenna : GroundWire

    Raises
    ------
    ValueError
        Radii, heights or lengths that make no wire.
    """
    if not (0 < line.radius <= line.insulation_radius <= line.height < length):
        raise ValueError("a ground wire needs radius <= insulation <= height of the axis < length")
    if line.beside is not None and line.beside < 2 * line.insulation_radius:
        raise ValueError("the two wires of a ground wire's pair must lie side by side")
    if not ((far_end > 0 or (far_end == 0 and far_rods is not None)) and ground_loss >= 0):
        raise ValueError("resistances to earth must not be negative")
    said = [
        "ground-wire: outside noise is reckoned as an equally bright sky; noise that arrives along the ground makes"
        " up to 4 dB of difference either way in noise_margin_db and noise_rise_db.",
        "ground-wire: how high the wire lies in grass and unevenness is not known better than 5 to 50 mm; vary"
        " antenna.height and antenna.soil.",
    ]
    low, high = CHECKED_HEIGHTS
    if not 0.99 * low <= line.height <= 1.01 * high:
        said.append(
            f"ground-wire: a height of {line.height * 1e3:.3g} mm could not be compared with NEC-2, which was possible"
            f" from {low * 1e3:.0f} mm to {high:.0f} m."
        )
    leg = length / 2 if centre_fed else length
    for f in (f for f in bands_hz if leg * f > CHECKED_WAVELENGTHS * C0):
        said.append(
            f"ground-wire: at {format_quantity(f, 'Hz')} {'a leg' if centre_fed else 'the wire'} is {leg * f / C0:.2g}"
            f" wavelengths long; it was compared with NEC-2 up to {CHECKED_WAVELENGTHS:g}. Emf and noise margin there"
            " are the line's formulas alone."
        )
    if line.beside is not None:
        said.append(
            "ground-wire: a pair of wires follows from the line's formulas and was compared with closed forms only: an"
            " estimate."
        )
    used = [rods for rods in (far_rods, None if centre_fed else feed_rods) if rods is not None]
    for f in (f for f in bands_hz if any(rods.too_long(f) for rods in used)):
        said.append(
            f"ground-wire: at {format_quantity(f, 'Hz')} an earth rod of {used[0].length:g} m is longer than half the"
            f" skin depth of the soil, {used[0].skin_depth(f):.2g} m, up to which its formula holds."
        )
    if not (math.isinf(far_end) and (centre_fed or (ground_loss == 0 and feed_rods is None))):
        said.append(
            "ground-wire: earth electrodes follow from the line's formulas; NEC-2 cannot connect a wire to real ground,"
            " so they were not compared with anything."
        )
    if centre_fed:
        said.append("ground-wire: fed in the middle it needs a balun, which is not part of the model.")
    return GroundWire(
        name="ground-wire",
        low_hz=CHECKED_HZ[0],
        high_hz=CHECKED_HZ[1],
        cautions=tuple(said),
        sharpness=4,
        line=line,
        length=float(length),
        far_end=float(far_end),
        ground_loss=0.0 if centre_fed else float(ground_loss),
        far_rods=None if math.isinf(far_end) else far_rods,
        feed_rods=None if centre_fed else feed_rods,
        centre_fed=bool(centre_fed),
        azimuth=float(azimuth),
        elevation=float(elevation),
        bands_hz=tuple(map(float, bands_hz)),
    )
