"""Bend of the output stage, from the one point of harmonic distortion that a data sheet gives.

The input stage's tanh alone is far too linear at low frequencies and has no even order. What is missing is a bend
v + k2 v² + k3 v³ behind the gain node, which the loop reduces. One point (fundamental V at frequency f, gain G, load)
fixes it: with A(f) the loaded open-loop gain, N the noise gain and L the share that output resistance and load, with
the feedback resistors beside it, leave of v,

    HD2 V = k2 u²/2 · P(2f) L / |1 + A(2f)/N|,    u = V / (L P(f)) at the gain node, P the second pole,
    HD3 V = |tanh's own third harmonic + (k3 - 2 k2² T/(1 + T)) u³/4 · P(3f) L / (1 + A(3f)/N)|,    T = A(2f)/N.

The term in k2² is what the second harmonic, fed back, makes of the fundamental. Both follow from the cards of
:mod:`sim.opamp.macromodel` by hand. Data sheets give no signs: k2 is taken positive, k3 compressive (negative).

Not covered: a bend that depends on the load or the supply, current-feedback parts.
"""

import math
from dataclasses import dataclass

from sim.opamp.macromodel import CLAMP_ROOM, MacroParameters, input_stage, nominal_parameters

LARGEST_BEND = 0.1
"""Most that |k3| V² may be at the largest swing V: past a third the bent curve would turn round. [1]"""
FEEDBACK_OHM = 402.0
"""Feedback resistor of data sheets' stages of a gain above one: common practice, no source. [Ω]"""
NO_POINT = "no complete point of harmonic distortion is known: second order is not modelled"
NO_SECOND = "no second harmonic is known: second order is not modelled"
NO_THIRD = "no third harmonic is known: third order is the input stage's alone, optimistic below a few megahertz"
TANH_ENOUGH = "the input stage alone makes the third harmonic that the data sheet states"
TOO_BENT = "the bend of third order was held to what the swing allows: third order is optimistic"
CURRENT_FEEDBACK = "the bend of a current-feedback part is not modelled: no second order, third order optimistic"


@dataclass(frozen=True)
class HarmonicPoint:
    """Harmonic distortion as a data sheet states it, of a stage with resistive feedback.

    Attributes
    ----------
    frequency_hz : float
        [Hz]
    gain : float
        Of the stage, non-inverting. [1]
    peak_v : float
        Of the fundamental at the output. [V]
    load_ohm, hd3_load_ohm : float
        At which the second and at which the third harmonic is stated. [Ω]
    hd2_dbc, hd3_dbc : float or None
        [dB below the tone, negative]
    """

    frequency_hz: float
    gain: float
    peak_v: float
    load_ohm: float
    hd3_load_ohm: float
    hd2_dbc: float | None
    hd3_dbc: float | None


@dataclass(frozen=True)
class Curvature:
    """The bend of one op-amp and what it leaves out.

    Attributes
    ----------
    k2, k3 : float
        [1/V, 1/V²]
    remarks : tuple of str
        What is not modelled, in words; empty where both orders are.
    """

    k2: float = 0.0
    k3: float = 0.0
    remarks: tuple[str, ...] = ()

    @property
    def second_order(self) -> bool:
        """Whether products of second order are modelled."""
        return self.k2 != 0

    @property
    def third_order(self) -> bool:
        """Whether products of third order are modelled at low frequencies too."""
        return not any(remark in self.remarks for remark in (NO_THIRD, TOO_BENT, CURRENT_FEEDBACK))


def harmonic_point(record) -> HarmonicPoint | None:
    """The point that a record gives; None where a condition or both harmonics are missing.

    Parameters
    ----------
    record : OpampRecord
    """
    conditions = (
        record.hd_frequency_hz,
        record.hd_gain,
        record.hd_output_vpp,
        record.hd_load_ohm,
        record.hd3_load_ohm,
    )
    if None in conditions or (record.hd2_dbc is None and record.hd3_dbc is None):
        return None
    frequency_hz, gain, vpp, load_ohm, hd3_load_ohm = conditions
    return HarmonicPoint(frequency_hz, gain, vpp / 2, load_ohm, hd3_load_ohm, record.hd2_dbc, record.hd3_dbc)


def curvature(record, supply_v: float | None = None) -> Curvature:
    """The bend of a record's typical part.

    Parameters
    ----------
    record : OpampRecord
    supply_v : float, optional
        Between the rails, which bounds the swing; default the record's largest. [V]

    Returns
    -------
    Curvature
    """
    if record.current_feedback:
        return Curvature(remarks=(CURRENT_FEEDBACK,))
    point = harmonic_point(record)
    if point is None:
        return Curvature(remarks=(NO_POINT, NO_THIRD))
    supply_v = record.supply_max if supply_v is None else supply_v
    return fitted(nominal_parameters(record), point, max(supply_v / 2 - record.headroom - CLAMP_ROOM, 0.0))


def fitted(m: MacroParameters, point: HarmonicPoint, swing_v: float) -> Curvature:
    """The bend with which a macromodel gives a data sheet's harmonics.

    Parameters
    ----------
    m : MacroParameters
        Of voltage feedback.
    point : HarmonicPoint
    swing_v : float
        Largest swing to either side. [V]

    Returns
    -------
    Curvature
    """
    stage, remarks = _Stage(m, point, point.load_ohm), []
    k2 = k3 = 0.0
    if point.hd2_dbc is None:
        remarks.append(NO_SECOND)
    else:
        k2 = 10 ** (point.hd2_dbc / 20) * point.peak_v / abs(stage.second())
    if point.hd3_dbc is None:
        remarks.append(NO_THIRD)
    else:
        stage = _Stage(m, point, point.hd3_load_ohm)
        wanted = 10 ** (point.hd3_dbc / 20) * point.peak_v
        found = _compressive(stage.tanh_third() + k2**2 * stage.fed_back(), stage.third(), wanted)
        k3 = found or 0.0
        remarks += [TANH_ENOUGH] if found is None else []
    most = LARGEST_BEND / swing_v**2 if swing_v > 0 else math.inf
    if abs(k3) > most:
        k3 = math.copysign(most, k3)
        remarks.append(TOO_BENT)
    return Curvature(k2, k3, tuple(remarks))


@dataclass(frozen=True)
class _Stage:
    """The data sheet's stage: phasors at the output, of a bend of 1, by the formulas of the module's docstring."""

    m: MacroParameters
    point: HarmonicPoint
    load_ohm: float

    def second(self) -> complex:
        return self._u**2 / 2 * self._from_bend(2)

    def third(self) -> complex:
        return self._u**3 / 4 * self._from_bend(3)

    def fed_back(self) -> complex:
        turn = self._open(2) / self._noise_gain
        return -2 * turn / (1 + turn) * self.third()

    def tanh_third(self) -> complex:
        error = self.point.peak_v / self._open(1)
        own = -(error**3) / (12 * input_stage(self.m).vlin ** 2)
        return own * self._open(3) / (1 + self._open(3) / self._noise_gain)

    @property
    def _u(self) -> complex:
        return self.point.peak_v / (self._left * self._pole(1))

    @property
    def _left(self) -> float:
        # Feedback resistor and the one to ground, R/(G - 1), hang on the output one after the other.
        network = (self.point.gain - 1) / (FEEDBACK_OHM * self.point.gain)
        load = 1 / (1 / self.load_ohm + network)
        return load / (load + self.m.rout)

    @property
    def _noise_gain(self) -> float:
        return self.point.gain + (FEEDBACK_OHM / self.m.rin if self.point.gain > 1 else 0.0)

    def _pole(self, harmonic: int) -> complex:
        return 1 / (1 + 1j * harmonic * self.point.frequency_hz / self.m.second_pole)

    def _open(self, harmonic: int) -> complex:
        stage = input_stage(self.m)
        admittance = 1 / stage.resistor + 2j * math.pi * harmonic * self.point.frequency_hz * stage.capacitor
        return stage.imax / stage.vlin / admittance * self._pole(harmonic) * self._left

    def _from_bend(self, harmonic: int) -> complex:
        return self._pole(harmonic) * self._left / (1 + self._open(harmonic) / self._noise_gain)


def _compressive(fixed: complex, per_k3: complex, wanted: float) -> float | None:
    """The negative k3 with |fixed + k3 per_k3| = wanted; None where `fixed` alone is as much."""
    if abs(fixed) >= wanted:
        return None
    a, b = abs(per_k3) ** 2, (fixed * per_k3.conjugate()).real
    # Two real roots of opposite sign, as the constant term is negative.
    return (-b - math.sqrt(b * b - a * (abs(fixed) ** 2 - wanted**2))) / a
