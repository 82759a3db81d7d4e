"""Short vertical over ground, as a network of four elements in series with its ground connection.

    top o---C1---+---+---+
                 |   |   |
                 L   C2  R       R carries all radiation (noiseless: the field is the noise)
                 |   |   |
                 +---+---+
                     |
                   Llead         lead to the amplifier, where there is one
                     |
                     Rg          ground connection, a real resistor
                     |
    bottom o---------+

The form was published by Tang, Tieng and Gunn (IEEE Trans. Antennas Propag. 41(1), 1993) for dipoles; a
monopole is half of one. The element values are an own least-squares fit to 68 NEC-2 cases (nec2c 1.3, perfect
ground; height 3-8 m, radius 0.5-20 mm, base segment 0.05-0.2 m of at least 4 radii). Off the fit's grid R was
within 0.8 %, Z within 1.7 % and the resonance within 0.13 % up to kh = 1.6. A base segment of length D acts
like a base gap of 0.75 D. Since only ratios of lengths enter, the range is stated, and judged, in ratios.

Not covered: ground other than perfect except through Rg, heights past kh = 1.6 (tall_vertical.py), elevated radials,
rods in detail, top loading, guys. Without a known base insulator the capacitance is known to about 3 %.
"""

import math
from dataclasses import dataclass

import numpy as np

from sim.antenna.source import AntennaSource
from sim.constants import C0, EPS0

# The largest electrical height, k h, up to which the network was compared with NEC-2.
KH_MAX = 1.6
# A NEC-2 base segment of length D has the static capacitance of a real gap of about 0.75 D (static moment
# method).
GAP_PER_SEGMENT = 0.75
# Ratios spanned by the fit; outside them the result stands but says so.
SLENDERNESS_RANGE = (3.0 / 0.020, 8.0 / 0.0005)
SEGMENT_PER_HEIGHT_RANGE = (0.05 / 8.0, 0.2 / 3.0)
SEGMENT_PER_RADIUS_MIN = 4.0


@dataclass(frozen=True)
class FourElements:
    """The network of this module's drawing.

    Attributes
    ----------
    c1, c2 : float
        [F]
    l : float
        [H]
    r : float
        Carries the radiation. [Ω]
    height0 : float
        Effective height towards zero frequency. [m]
    """

    c1: float
    l: float  # noqa: E741 - the letter of the drawing
    c2: float
    r: float
    height0: float


def four_elements(height, radius, gap):
    """Element values of a short vertical over perfect ground.

    Parameters
    ----------
    height : float
        Of the conductor above its base. [m]
    radius : float
        Of the conductor. [m]
    gap : float
        Of the base insulator. [m]

    Returns
    -------
    elements : FourElements

    Raises
    ------
    ValueError
        The height is below 10 radii (the formulas need a slender wire), the gap is not positive, or so large
        that an element would be negative.

    Notes
    -----
    Own fit, see the module's docstring. R follows from R_rad = 40 (k h_e)^2, the identity of a
    short monopole over perfect ground, so the field and the gain route to the noise agree.
    """
    if not (radius > 0 and math.inf > height >= 10 * radius and gap > 0):
        raise ValueError(
            f"a short vertical needs a height of at least 10 radii and a gap above 0, "
            f"not height {height:g} m, radius {radius:g} m, gap {gap:g} m"
        )
    segment = gap / GAP_PER_SEGMENT
    u = 1.0 / (math.log(height / radius) - 1.0)
    g = segment / height
    m = u * math.log(height / segment)
    capacitance = 2.0 * math.pi * EPS0 * height * u
    c1 = capacitance * (0.9803 - 0.7136 * g + 0.0543 * m)
    inductance = 60.0 * height / C0 * (math.log(2.0 * height / radius) - 1.0)
    inductance *= 0.3349 - 0.0942 * u + 0.4722 * g - 0.0284 * m
    c2 = capacitance * (0.1808 + 0.3642 * u - 0.9405 * g + 0.1003 * m)
    height0 = height * (0.5022 - 0.0220 * u + 0.3537 * g - 0.0240 * m)
    if not min(c1, inductance, c2, height0) > 0:
        raise ValueError(f"a gap of {gap:g} m is too large for a short vertical of {height:g} m")
    return FourElements(c1, inductance, c2, (inductance * C0) ** 2 / (40.0 * height0**2), height0)


@dataclass(frozen=True, kw_only=True)
class ShortVertical(AntennaSource):
    """A short vertical; make one with `short_vertical`.

    Attributes
    ----------
    elements : FourElements
    ground_loss : float
        Resistance of the ground connection, at ambient temperature. [Ω]
    lead : float
        Inductance of the lead to the amplifier. [H]
    """

    elements: FourElements
    ground_loss: float
    lead: float = 0.0

    def _tank(self, freq_hz):
        """1 - w^2 L C2 + j w L/R, and j w L. [1, Ω]"""
        omega = 2.0 * np.pi * np.asarray(freq_hz, dtype=float)
        e = self.elements
        return 1.0 - omega**2 * e.l * e.c2 + 1j * omega * e.l / e.r, 1j * omega * e.l

    def radiation_impedance(self, freq_hz):
        """Impedance of the radiating tank alone; its real part is the radiation resistance. [Ω]"""
        damping, reactance = self._tank(freq_hz)
        return reactance / damping

    def impedance(self, freq_hz):
        """C1, the tank and the ground connection in series. [Ω]"""
        omega = 2.0 * np.pi * np.asarray(freq_hz, dtype=float)
        bare = self.ground_loss + self.radiation_impedance(freq_hz) + 1.0 / (1j * omega * self.elements.c1)
        return bare + 1j * omega * self.lead if self.lead else bare

    def effective_height(self, freq_hz):
        """h_e0/|1 - w^2 L C2 + j w L/R|; against NEC-2 0.6 % to kh 0.6, -2.5 % at 1.2, -4.2 % at 1.5. [m]"""
        damping, _ = self._tank(freq_hz)
        return self.elements.height0 / np.abs(damping)

    def netlist(self, top, bottom, prefix):
        """C1, tank, ground connection; the tank's inductor is the DC path of the inner nodes."""
        e = self.elements
        tank = f"{prefix}_tank"
        below, base = foot_cards(self.ground_loss, self.lead, bottom, prefix)
        cards = [
            f"C{prefix}_1 {top} {tank} {e.c1!r}",
            f"L{prefix}_t {tank} {base} {e.l!r}",
            f"C{prefix}_2 {tank} {base} {e.c2!r}",
            f"R{prefix}_rad {tank} {base} {e.r!r} noisy=0",
        ]
        return (*cards, *below)


def foot_cards(ground_loss, lead, bottom, prefix):
    """Cards of lead and ground connection in series above `bottom`, and the node on top of them.

    Parameters
    ----------
    ground_loss : float
        [Ω]
    lead : float
        [H]
    bottom, prefix : str
        As for the antenna's netlist.

    Returns
    -------
    cards : list of str
    node : str
        `bottom` itself where there is neither.
    """
    cards, node = [], bottom
    # A resistor of zero ohms is replaced by a milliohm in SPICE, so none is written.
    if ground_loss > 0:
        node = f"{prefix}_base"
        cards.append(f"R{prefix}_gnd {node} {bottom} {ground_loss!r}")
    if lead > 0:
        # Below the tank it has the same place in the loop as above C1, and every node keeps its way for DC.
        cards.append(f"L{prefix}_lead {prefix}_lead {node} {lead!r}")
        node = f"{prefix}_lead"
    return cards, node


def ratio_cautions(height, radius, gap):
    """Where the dimensions leave the ratios that the fit spans."""
    segment = gap / GAP_PER_SEGMENT
    found = []
    low, high = SLENDERNESS_RANGE
    if not low <= height / radius <= high:
        found.append(
            f"height over radius is {height / radius:.0f}; the model was fitted for {low:.0f} to {high:.0f}"
        )
    low, high = (GAP_PER_SEGMENT * ratio for ratio in SEGMENT_PER_HEIGHT_RANGE)
    # A hair outside the span, or a rounding of it, is not worth a word.
    if not 0.99 * low <= gap / height <= 1.01 * high:
        found.append(
            f"gap over height is {gap / height:.4f}; the model was fitted for {low:.4f} to {high:.4f}"
        )
    if segment < 0.99 * SEGMENT_PER_RADIUS_MIN * radius:
        ratio = GAP_PER_SEGMENT * SEGMENT_PER_RADIUS_MIN
        found.append(f"the gap is {gap / radius:.1f} radii; the model was fitted for {ratio:.0f} and more")
    return tuple(found)


def short_vertical(height, radius, gap=0.075, ground_loss=30.0, stray=3e-12, lead=0.0):
    """A vertical that is short against the wavelength, over ground.

    Parameters
    ----------
    height : float
        Of the conductor above its base. [m]
    radius : float
        Of the conductor. [m]
    gap : float
        Of the base insulator; 75 mm is the base segment of 0.1 m that most comparisons used. [m]
    ground_loss : float
        Resistance of the ground connection; 20-200 ohm for a rod or a few short radials (common practice, no
        source). [Ω]
    stray : float
        Capacitance of box, clamp and connector across the terminals; 1-10 pF (common practice, no source).
        [F]
    lead : float
        Inductance of the lead between antenna and amplifier; about 1 uH a metre (common practice, no source). [H]

    Returns
    -------
    antenna : ShortVertical
        `high_hz` is the frequency where k h = 1.6, just past the first resonance.

    Raises
    ------
    ValueError
        Dimensions for which the formulas have no meaning; `four_elements` says which.
    """
    if not (ground_loss >= 0 and stray >= 0 and lead >= 0):
        raise ValueError(
            f"ground loss {ground_loss:g} ohm, stray {stray:g} F and lead {lead:g} H must not be negative"
        )
    return ShortVertical(
        name="short-vertical",
        low_hz=0.0,
        high_hz=KH_MAX * C0 / (2.0 * math.pi * height),
        shunt_capacitance=float(stray),
        cautions=ratio_cautions(height, radius, gap),
        elements=four_elements(height, radius, gap),
        ground_loss=float(ground_loss),
        lead=float(lead),
    )
