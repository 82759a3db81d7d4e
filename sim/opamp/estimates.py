"""What stands in for values of an op-amp that its data sheet does not state.

Each is an estimate with its reason, and is called one wherever it shows. Keys and units are those of a record. Not
estimated: what decides for itself (gain-bandwidth, voltage noise, slew rate, input capacitance, supply, limits of
input and output); a record without them is refused.
"""

import math

ESTIMABLE = ("phase_margin_deg", "second_pole_hz", "rout_ol_ohm", "en_corner_hz", "in_corner_hz", "in_pa_rthz")
"""Keys that a record may leave out, in the order in which they are estimated."""

PHASE_MARGIN_DEG = 60.0
"""At the lowest stable gain, where nothing is known: what makers aim at; common practice, no source. [degree]"""
OUTPUT_OHMS = 30.0
"""Open-loop output resistance of a fast op-amp; those of the catalogue are 5 to 40, estimates themselves. [ohm]"""
CORNERS_HZ = {"fet": (20e3, 1.0), "bipolar": (1e3, 10e3)}
"""1/f corners of voltage and of current noise; common practice, no source. A corner of 20 kHz adds 0.02 dB at 4 MHz."""
ELECTRON = 1.602176634e-19
"""Charge of an electron. [C] SI Brochure, 9th edition (2019), exact."""
MARGINS_DEG = (5.0, 85.0)
"""Phase margins from which a second pole can be told; beyond, it is too near or too far. [degree]"""


def second_pole(gbw_hz: float, noise_gain: float, phase_margin_deg: float) -> float:
    """Second pole of an open-loop gain of two poles, from its phase margin.

    Parameters
    ----------
    gbw_hz : float
        [Hz]
    noise_gain : float
        At which the margin holds. [1]
    phase_margin_deg : float
        Between 0 and 90. [degree]

    Returns
    -------
    second_pole_hz : float
        fc/tan(90° − PM), with the crossover fc from GBW/fc/√(1 + (fc/f2)²) = NG, which makes it
        GBW/NG · sin PM · tan PM. [Hz] Hand calculation.
    """
    margin = math.radians(phase_margin_deg)
    return gbw_hz / noise_gain * math.sin(margin) * math.tan(margin)


def shot_noise_pa(ib_ua: float) -> float:
    """Noise of an input's bias current, √(2 q I), in pA/√Hz; too low where the current is cancelled inside. [µA]"""
    return math.sqrt(2 * ELECTRON * abs(ib_ua) * 1e-6) * 1e12


def estimated(record: dict) -> dict[str, float]:
    """Estimates of what a record leaves out.

    Parameters
    ----------
    record : dict
        Keys of an op-amp record with their values, the required ones among them.

    Returns
    -------
    values : dict of str to float
        Only keys that the record does not give, in the units of the keys.
    """
    corners = CORNERS_HZ["fet" if has_fet_input(record["technology"]) else "bipolar"]
    margin = record.get("phase_margin_deg", PHASE_MARGIN_DEG)
    found = {
        "phase_margin_deg": lambda: PHASE_MARGIN_DEG,
        "second_pole_hz": lambda: second_pole(record["gbw_hz"], record["min_stable_gain"], margin),
        "rout_ol_ohm": lambda: OUTPUT_OHMS,
        "en_corner_hz": lambda: corners[0],
        "in_corner_hz": lambda: corners[1],
        "in_pa_rthz": lambda: shot_noise_pa(record["ib_ua"]),
    }
    # Beside a second pole the phase margin says nothing that the model takes up.
    needless = {"phase_margin_deg"} if "second_pole_hz" in record else set()
    return {key: value() for key, value in found.items() if key not in record and key not in needless}


def has_fet_input(technology: str) -> bool:
    """Whether the words on technology name field-effect transistors at the input."""
    words = technology.upper()
    return "FET" in words or "CMOS" in words
