"""A surge clamp across the amplifier's input, as the study words it: capacitance, its bend with the volts, leakage.

The capacitance is a part of the circuit, ``clamp_capacitance``, from the antenna's terminal to ground, before any
stopper of the study; at each input where there are two. Without a grading it is a capacitor. With one it is a junction,
C(V) = C0/(1 + V/0.7 V)^m for a positive terminal (the law of a step or graded junction, as SPICE's diode has it), so
that an operating point, a small signal and a transient analysis all see it; it conducts when the terminal goes some
0.6 V below ground. Its saturation current, 0.1 fA a picofarad, is a guess (from memory).

The leakage flows into the terminal, as from a clamp to the positive supply, doubles every 10 K (common practice, no
source) and makes shot noise of 2 e I.

Not covered: break-down and let-through, series resistance, what the clamp does after a surge. No clamp survives a
direct stroke.
"""

import math
from dataclasses import dataclass, replace

from sim.constants import ELEMENTARY_CHARGE, K_B, ZERO_CELSIUS
from sim.deck.cards import split_card
from sim.deck.chain import RESERVED, OutsidePart
from sim.deck.circuit import Circuit
from sim.deck.part import Part
from sim.quantity import PartValue

LEAKAGE = "clamp_leakage"
"""Name under which the leakage is drawn, with the input's behind it where there are two."""
BUILT_IN_V = 0.7
"""Of a silicon junction; from memory. [V]"""
_SATURATION_A = 1e-16
_DOUBLES_EVERY_K, _STATED_AT_C = 10.0, 25.0
_NOISE_OHM = 1e3


@dataclass(frozen=True)
class ClampLeakage:
    """Leakage of one clamp: under which name it is drawn, at which node it flows in, and how much at 25 °C. [A]"""

    name: str
    node: str
    value: PartValue


def _terminals(circuit: Circuit) -> tuple[tuple[str, str], ...]:
    """Node of each input, and what is put behind a name there."""
    return (("in_p", ".in_p"), ("in_n", ".in_n")) if circuit.balanced else ((circuit.input, ""),)


def clamped(circuit: Circuit, amplifier) -> Circuit:
    """The circuit with the clamp's capacitance.

    Parameters
    ----------
    circuit : Circuit
        With its series resistors.
    amplifier : Amplifier
        Table of the study.
    """
    value = amplifier.clamp_capacitance
    if value is None:
        return circuit
    junction = bool(amplifier.clamp_grading)
    model = f"{RESERVED}clamp" if junction else ""
    parts = tuple(
        Part(
            f"clamp_capacitance{end}",
            "C",
            (node, "0"),
            value,
            "surge clamp at the input, from the study",
            0,
            f"{'d' if junction else 'c'}{RESERVED}clamp{end.replace('.', '_')}",
            model,
        )
        for node, end in _terminals(circuit)
    )
    others = circuit.others
    if junction:
        bend = f"vj={BUILT_IN_V!r} m={amplifier.clamp_grading!r} fc=0.5"
        text = f".model {model} d(is={_SATURATION_A!r} n=1 cjo=1e-12 {bend})"
        others = (*others, split_card(0, text, ""))
    return replace(circuit, parts=(*circuit.parts, *parts), others=others)


def clamp_leakages(circuit: Circuit, amplifier) -> tuple[ClampLeakage, ...]:
    """Leakage at each input; nothing where the study gives none. Arguments as of :func:`clamped`."""
    if amplifier.clamp_leakage is None:
        return ()
    return tuple(ClampLeakage(f"{LEAKAGE}{end}", node, amplifier.clamp_leakage) for node, end in _terminals(circuit))


def leakage_parts(leakages) -> tuple[OutsidePart, ...]:
    """What of them is drawn from unit to unit."""
    return tuple(OutsidePart(one.name, one.value, "A") for one in leakages)


def leakage_at(stated_a: float, temperature_c: float) -> float:
    """A leakage stated at 25 °C at another temperature: twice as much every 10 K. [A]"""
    return stated_a * 2 ** ((temperature_c - _STATED_AT_C) / _DOUBLES_EVERY_K)


def leakage_cards(currents, temperature_c: float) -> list[str]:
    """Cards of the leakage of each clamp with its shot noise.

    Parameters
    ----------
    currents : sequence of (str, float)
        Node and current at this temperature. [A]
    temperature_c : float
        Of the deck. [°C]

    Notes
    -----
    Shot noise 2 e I (Schottky 1918), from the thermal noise of a resistor that nothing else sees.
    """
    lines = []
    for number, (node, amps) in enumerate(currents, start=1):
        name = f"{RESERVED}clamp_leak{number}"
        thermal = 4 * K_B * (temperature_c + ZERO_CELSIUS) * _NOISE_OHM
        lines += [
            f"i{name} 0 {node} dc {amps!r} ac 0",
            f"r{name} {name} 0 {_NOISE_OHM!r}",
            f"g{name} 0 {node} {name} 0 {math.sqrt(2 * ELEMENTARY_CHARGE * amps / thermal)!r}",
        ]
    return lines
