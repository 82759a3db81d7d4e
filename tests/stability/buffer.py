"""A buffer in closed form: an op-amp of two poles with an output resistance, and a resistor before the line."""

from dataclasses import dataclass

import numpy as np

from sim.stability.plane import Plane


@dataclass(frozen=True)
class Buffer:
    """Unity gain: A(s) = 2 pi GBW/(s (1 + s/(2 pi f2))), feedback from the op-amp's output, then `series`.

    With a load Z behind `series` the loop gain is A (R + Z)/(R_out + R + Z), and the output impedance without load is
    R + R_out/(1 + A); both by hand.
    """

    gbw: float = 200e6
    second: float = 60e6
    r_out: float = 40.0
    series: float = 4.0
    load: float = 75.0

    def gain(self, freq_hz):
        """Open-loop gain."""
        s = 2j * np.pi * np.asarray(freq_hz)
        return 2 * np.pi * self.gbw / s / (1 + s / (2 * np.pi * self.second))

    def loop(self, freq_hz, z):
        """Loop gain T with a load z."""
        return self.gain(freq_hz) * (self.series + z) / (self.r_out + self.series + z)

    def z_out(self, freq_hz):
        """Output impedance without load."""
        return self.series + self.r_out / (1 + self.gain(freq_hz))

    def plane(self, freq_hz) -> Plane:
        """The output as a plane; the buffer is stable with its reference load (two poles, so at any real load)."""
        closed = 1 / (1 / self.z_out(freq_hz) + 1 / self.load)
        inverse = 1 / (1 + self.loop(freq_hz, self.load))
        opened = inverse / (1 / (self.series + self.r_out) + 1 / self.load)
        return Plane(
            freq_hz,
            closed,
            inverse[None],
            opened[None],
            np.full(len(freq_hz), 1 / self.load, dtype=complex),
            0,
            self.plane,
        )
