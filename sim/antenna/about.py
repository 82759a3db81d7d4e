"""Where each model of an antenna holds and where it comes from, in words for `bandfloor list antennas`."""

import math
from dataclasses import dataclass

from sim.antenna.ground_wire import CHECKED_HEIGHTS, CHECKED_HZ
from sim.antenna.short_dipole import CHECKED_LOW_HZ, LOWEST_PER_LENGTH
from sim.antenna.short_vertical import KH_MAX, SLENDERNESS_RANGE
from sim.antenna.tall_vertical import HEIGHT_ERROR_DB, HIGHEST_HZ, IMPEDANCE_ERROR, KH_CHECKED
from sim.constants import C0
from sim.quantity import format_quantity


@dataclass(frozen=True)
class About:
    """What a builder should know of a model before using it.

    Attributes
    ----------
    valid : str
        Where it was checked and how well it agrees; outside, a run warns.
    source : str
        Original sources.
    """

    valid: str
    source: str


_EXAMPLE_M = 7.0
_RESONANCE = format_quantity(KH_MAX * C0 / (2 * math.pi * _EXAMPLE_M), "Hz", 3)
_TALL_TOP, _DIPOLE_LOW = format_quantity(HIGHEST_HZ, "Hz"), format_quantity(CHECKED_LOW_HZ, "Hz")
_SLENDER = " to ".join(f"{ratio:g}" for ratio in SLENDERNESS_RANGE)
_WIRE_BANDS = " to ".join(format_quantity(f, "Hz") for f in CHECKED_HZ)
_WIRE_HEIGHTS = " to ".join(format_quantity(h, "m") for h in CHECKED_HEIGHTS)

ABOUT = {
    "short-vertical": About(
        f"up to k h = {KH_MAX:g}, just past the first resonance: {_RESONANCE} for {_EXAMPLE_M:g} m; heights of"
        f" {_SLENDER} radii. There within 2 % of Z and 0.4 dB of the effective height over perfect ground; not knowing"
        " the insulator at the base costs 3 % of the capacitance. Above, an open line fitted to the bands, up to k h ="
        f" {KH_CHECKED:g} and {_TALL_TOP}: within {100 * IMPEDANCE_ERROR:.0f} % of Z and {HEIGHT_ERROR_DB:g} dB of the"
        " effective height towards the horizon; the run says how well the network keeps to the line",
        "network: Tang, Tieng and Gunn, IEEE Trans. Antennas Propag. 41(1), 1993; its values: own fit to NEC-2 (nec2c"
        " 1.3). Open line: Schelkunoff and Friis 1952 (from memory), held against an own moment method",
    ),
    "short-dipole": About(
        f"from {_DIPOLE_LOW} up to k times a leg = {KH_MAX:g}; {LOWEST_PER_LENGTH:g} of its length or more above the"
        " soil. There within 1 % of Z, 3 % of the emf, 0.4 % of the common-mode capacitance. No mast,"
        " no feedline screen",
        "a leg: the short vertical's network; soil: plane waves it returns (own integral), compared with NEC-2 (nec2c"
        " 1.3); common mode: average potential with image, compared with a static moment method",
    ),
    "ground-wire": About(
        f"{_WIRE_BANDS}, {_WIRE_HEIGHTS} above the soil, up to one wavelength. There within 7 % of Z0, 4 % of the"
        " velocity, 3 dB of the emf; lower wires, electrodes, rods, pairs and far ends to earth were compared"
        " with nothing",
        "line: Carson 1926, Wise 1934, Sunde 1949, Wait 1972; emf: Beverage, Rice and Kellogg 1923, Agrawal, Price and"
        " Gurbaxani 1980; compared with NEC-2 (nec2c 1.3). Rods: Dwight 1936, Sunde 1949. Soils: common practice, no"
        " source",
    ),
    "measured": About(
        "within the file's frequencies, where its network is within 2 % of the impedance at every band, or refused; the"
        " run says by how much. Outside them the network goes on by itself, passive but a guess",
        "the file is the builder's own; network: Foster, Bell Syst. Tech. J. 3, 1924; radiation resistance 40 (k h)² of"
        " a short vertical of effective height h over perfect ground: textbook",
    ),
    "plain": About(
        "as far as its elements are: they and the effective height stay the same at all frequencies",
        "circuit theory; the values are the builder's own",
    ),
    "fixture": About(
        "any frequency; the capacitor stands for a vertical within 5 % of its reactance up to k h = 0.3",
        "circuit theory",
    ),
}
"""By the model's name in a study."""
