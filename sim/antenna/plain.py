"""A plain source: resistors, capacitor and inductor in series, with an effective height that the builder gives.

    top o---C---L---Rrad---R---o bottom

For sweeps of the source impedance, and for antennas of which nothing but such a circuit is known. R is a real
resistor at ambient temperature, Rrad a radiation resistance: noiseless, as the noise that it stands for arrives as a
field. Before an amplifier with two inputs each leg has half of it, and the centre is earthed.

Not covered: any change of elements or height with frequency, so it holds near one frequency unless the builder knows
better.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from sim.antenna.source import BalancedSource


@dataclass(frozen=True, kw_only=True)
class Plain(BalancedSource):
    """Elements in series; make one with `plain`.

    Attributes
    ----------
    resistance, radiation : float
        Noisy and noiseless resistance; 0 for none. [Ω]
    capacitance : float or None
        None for a conductor that passes direct current. [F]
    inductance : float
        0 for none. [H]
    height : float
        [m]
    """

    resistance: float
    radiation: float
    capacitance: float | None
    inductance: float
    height: float

    def impedance(self, freq_hz):
        """All elements in series. [Ω]"""
        omega = 2.0 * np.pi * np.asarray(freq_hz, dtype=float)
        z = self.resistance + self.radiation + 1j * omega * self.inductance
        return z if self.capacitance is None else z + 1.0 / (1j * omega * self.capacitance)

    def effective_height(self, freq_hz):
        """The height given, at any frequency. [m]"""
        return np.full(np.shape(freq_hz), self.height)

    def netlist(self, top, bottom, prefix):
        """The elements that are there, in a row; behind the capacitor all of them pass direct current."""
        elements = [
            ("C", "s", self.capacitance, ""),
            ("L", "s", self.inductance, ""),
            ("R", "rad", self.radiation, " noisy=0"),
            ("R", "loss", self.resistance, ""),
        ]
        present = [element for element in elements if element[2]]
        cards, at = [], top
        for number, (kind, name, value, words) in enumerate(present, start=1):
            to = bottom if number == len(present) else f"{prefix}_{number}"
            cards.append(f"{kind}{prefix}_{name} {at} {to} {value!r}{words}")
            at = to
        return tuple(cards)

    def leg(self, terminal, centre, prefix):
        """Half of every resistor and inductor, twice the capacitor."""
        half = replace(
            self,
            resistance=self.resistance / 2,
            radiation=self.radiation / 2,
            inductance=self.inductance / 2,
            capacitance=None if self.capacitance is None else 2 * self.capacitance,
        )
        return half.netlist(terminal, centre, prefix)


def plain(resistance, effective_height, capacitance=None, inductance=0.0, radiation=0.0, stray=0.0):
    """A source of elements in series.

    Parameters
    ----------
    resistance : float
        At ambient temperature, noisy. [Ω]
    effective_height : float
        Open-circuit voltage per total vertical field at the ground. [m]
    capacitance : float, optional
        None for none. [F]
    inductance : float
        [H]
    radiation : float
        Noiseless resistance. [Ω]
    stray : float
        Capacitance across the terminals. [F]

    Returns
    -------
    antenna : Plain
        Valid at any frequency, as far as its elements are.

    Raises
    ------
    ValueError
        A negative value, a height that is not above 0, or no element at all.
    """
    values = (resistance, inductance, radiation, stray, 0.0 if capacitance is None else capacitance)
    if not (min(values) >= 0 and math.isfinite(sum(values)) and capacitance != 0 and effective_height > 0):
        raise ValueError("the elements of a plain source must not be negative, its height must be above 0")
    if capacitance is None and resistance + radiation + inductance == 0:
        raise ValueError("a plain source needs a resistance, an inductance or a capacitance")
    return Plain(
        name="plain",
        low_hz=0.0,
        high_hz=np.inf,
        shunt_capacitance=float(stray),
        resistance=float(resistance),
        radiation=float(radiation),
        capacitance=None if capacitance is None else float(capacitance),
        inductance=float(inductance),
        height=float(effective_height),
    )
