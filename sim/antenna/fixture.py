"""Bench fixture in place of an antenna: a generator's resistance and a series dummy capacitor.

    top o---Cd---Rs---o bottom

The generator's resistance is a real resistor: its thermal noise stays on, as on the bench. No field is
received, so the effective height is NaN. A series capacitor stands for a vertical within 5 % of |X| up to kh
= 0.3.

Before an amplifier with two inputs it is an ideal balanced source with an earthed centre tap: half the resistance and
a whole dummy capacitor in each leg, as a dipole is two verticals.

    in_p o---Cd---Rs/2---o centre o---Rs/2---Cd---o in_n
"""

from dataclasses import dataclass

import numpy as np

from sim.antenna.source import BalancedSource


@dataclass(frozen=True, kw_only=True)
class Fixture(BalancedSource):
    """A dummy antenna; make one with `fixture`.

    Attributes
    ----------
    source : float
        Resistance of the generator. [Ω]
    dummy : float
        Series capacitor. [F]
    """

    source: float
    dummy: float

    def impedance(self, freq_hz):
        """Resistance and capacitor in series. [Ω]"""
        omega = 2.0 * np.pi * np.asarray(freq_hz, dtype=float)
        return self.source + 1.0 / (1j * omega * self.dummy)

    def effective_height(self, freq_hz):
        """NaN: a bench receives no field. [m]"""
        return np.full(np.shape(freq_hz), np.nan)

    def netlist(self, top, bottom, prefix):
        """Capacitor and noisy resistor; the resistor is the DC path of the inner node."""
        if self.source == 0:
            return (f"C{prefix}_d {top} {bottom} {self.dummy!r}",)
        inner = f"{prefix}_src"
        return (
            f"C{prefix}_d {top} {inner} {self.dummy!r}",
            f"R{prefix}_src {inner} {bottom} {self.source!r}",
        )

    def leg(self, terminal, centre, prefix):
        """Half the resistance and a dummy capacitor of its own."""
        return Fixture(**{**vars(self), "source": self.source / 2}).netlist(terminal, centre, prefix)

    def leg_impedance(self, freq_hz):
        """Of one leg of the balanced source. [Ω]"""
        return self.impedance(freq_hz) - self.source / 2


def fixture(source=50.0, dummy=47e-12, stray=0.0, inputs=1):
    """The bench in place of an antenna.

    Parameters
    ----------
    source : float
        Resistance of the generator; 0 for an ideal one. [Ω]
    dummy : float
        Dummy antenna, a series capacitor. [F]
    stray : float
        Behind it, from the amplifier's input, or from each, to ground: of the jig itself. [F]
    inputs : int
        1, or 2 for a balanced amplifier: then the strays of both are in series across the terminals.

    Returns
    -------
    antenna : Fixture
        Valid at any frequency.

    Raises
    ------
    ValueError
        A negative resistance or stray, or a capacitor that is not above zero.
    """
    if not stray >= 0:
        raise ValueError(f"a fixture needs a stray of 0 F or more, not {stray:g}")
    if not (source >= 0 and dummy > 0):
        raise ValueError(
            f"a fixture needs a source of 0 ohm or more and a dummy above 0 F, not {source:g}, {dummy:g}"
        )
    return Fixture(
        name="fixture",
        low_hz=0.0,
        high_hz=np.inf,
        shunt_capacitance=float(stray) / inputs,
        source=float(source),
        dummy=float(dummy),
    )
