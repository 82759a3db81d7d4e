"""Two tones through a model in time: what comes out between them tells a linear model from one that distorts."""

import math

import numpy as np

from sim.deck.maker.file import MakerModel
from sim.engine.ngspice import Simulator
from sim.measures.maker.fixtures import Rails, amplifier, on_bench

HIGHEST_BASE_HZ = 1e6
"""The tones stand at five and six times this. [Hz]"""
STEPS = 2048
"""A period of the base frequency."""


def two_tones(
    simulator: Simulator, model: MakerModel, rails: Rails, gain: float, gbw: float, slew: float
) -> tuple[float, float]:
    """Second- and third-order products below one of two equal tones at the output.

    Parameters
    ----------
    simulator : Simulator
    model : MakerModel
    rails : Rails
    gain : float
        Closed-loop gain. [1]
    gbw : float
        [Hz]
    slew : float
        [V/s]

    Returns
    -------
    im2, im3 : float
        At the sum of the tones and at twice the lower minus the upper. [dBc]

    Notes
    -----
    Both tones together stay below a quarter of the slew rate and an eighth of the supply. The last of three periods of
    the base frequency is looked at, on a grid through the simulator's own points (cubic spline): the floor is where a
    linear network comes out, some 100 dB below the tones.
    """
    from scipy.interpolate import CubicSpline

    base = min(HIGHEST_BASE_HZ, gbw / gain / 60) if math.isfinite(gbw) else HIGHEST_BASE_HZ
    size = rails.volts / 16
    if math.isfinite(slew):
        size = min(size, slew / 4 / (2 * math.pi * 11 * base))
    half = size / gain
    around = list(amplifier(rails.middle, gain))
    around[0] = f"vz_in z_s z_m dc 0 sin(0 {half!r} {5 * base!r})"
    around.append(f"vz_in2 z_p z_s dc 0 sin(0 {half!r} {6 * base!r})")
    on_bench(simulator, model, rails, tuple(around))
    simulator.command("option reltol=1e-6")
    try:
        read = simulator.transient(1 / base / STEPS, 3 / base, ("z_o",))
    finally:
        simulator.command("option reltol=1e-5")
    when = (2 + np.arange(STEPS) / STEPS) / base
    spectrum = np.abs(np.fft.rfft(CubicSpline(read["time"], read["z_o"])(when)))
    tone = (spectrum[5] + spectrum[6]) / 2
    return tuple(float(20 * np.log10(max(spectrum[k] / tone, 1e-12))) for k in (11, 4))
