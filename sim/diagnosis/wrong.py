"""A fault put into a unit: changed circuit and changed values, which the deck builder then writes out."""

from dataclasses import replace

from sim.deck.assemble import assemble
from sim.deck.chain import Chain, Deck, UnitValues
from sim.deck.circuit import Circuit
from sim.deck.part import Part
from sim.diagnosis.faults import PINS, Fault
from sim.quantity import PartValue

_LARGEST_OHM = 1e12


def faulty_deck(chain: Chain, unit: UnitValues, fault: Fault, size: float = 1.0) -> Deck:
    """Deck of one unit with one fault.

    Parameters
    ----------
    chain : Chain
    unit : UnitValues
        Drawn as if nothing were wrong.
    fault : Fault
    size : float
        Factor on the fault's own value: of a dry joint, of a leak, of the pads of an open part. [1]
    """
    circuit, values = _circuit(chain.circuit, dict(unit.parts), fault, size)
    macros = list(unit.macros)
    for number, name, factor in fault.macro:
        value = getattr(macros[number], name)
        value = value + factor if name == "vos" else value * factor
        macros[number] = replace(macros[number], **{name: value})
    deck = assemble(replace(chain, circuit=circuit), replace(unit, parts=values, macros=tuple(macros)))
    if not fault.latched:
        return deck
    start = tuple(_nodeset(deck, chain, int(number), rail, unit) for number, rail in fault.latched)
    return replace(deck, lines=(*deck.lines[:-1], *start, deck.lines[-1]))


def _circuit(circuit: Circuit, values: dict, fault: Fault, size: float) -> tuple[Circuit, dict]:
    parts = {part.name: part for part in circuit.parts}
    for name, factor in fault.scale:
        values[name] *= factor
    for name, value in fault.fixed:
        values[name] = value * (size if parts[name].kind == "C" else 1.0)
    more = []
    for number, (kind, a, b, value) in enumerate(fault.added):
        more.append(_extra(kind, (a, b), number))
        values[more[-1].name] = value * size
    for number, (name, ohm) in enumerate(fault.dry, start=len(fault.added)):
        inner = f"z_dry{number}"
        a, b = parts[name].nodes
        parts[name] = replace(parts[name], nodes=(a, inner))
        more.append(_extra("R", (inner, b), number))
        values[more[-1].name] = min(ohm * size, _LARGEST_OHM)
    devices = list(circuit.devices)
    for number in fault.exchanged:
        inp, inn, *rest = devices[number].nodes
        devices[number] = replace(devices[number], nodes=(inn, inp, *rest))
    return replace(circuit, parts=(*parts.values(), *more), devices=tuple(devices)), values


def _extra(kind: str, nodes: tuple[str, str], number: int) -> Part:
    element = f"{kind.lower()}z_fault{number}"
    return Part(element, kind, nodes, PartValue(1.0, None), "a fault", 0, element)


def _nodeset(deck: Deck, chain: Chain, number: int, rail: str, unit: UnitValues) -> str:
    """Where the operating point is looked for: a circuit that latches has one at each rail, and one between."""
    volts = unit.supply_v if rail == "vcc" else 0.0
    device = chain.circuit.devices[number].name.lower()
    out = deck.pins[number][PINS.index("out")]
    # The op-amp's own inner nodes must start there too, or the search begins with its gain stage in the middle.
    return " ".join([".nodeset", *(f"v({node})={volts!r}" for node in (out, f"{device}_g", f"{device}_p"))])
