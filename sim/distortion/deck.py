"""A unit's deck for distortion: its op-amps bent, and a current source wherever an op-amp makes new frequencies.

The bend shifts operating point and gain a little, so it is only in these decks.
"""

from dataclasses import dataclass, replace

from sim.deck.assemble import assemble
from sim.deck.chain import REFERENCE_LOAD, Chain, Deck, UnitValues
from sim.opamp.curvature import Curvature, curvature
from sim.opamp.macromodel import MacroParameters

NOT_OURS = "its model is not the program's own: what it does to strong signals is not modelled"


@dataclass(frozen=True)
class Amp:
    """One op-amp of the deck whose inner nodes are known.

    Attributes
    ----------
    device : str
        Name in the circuit.
    pins : tuple of str
        Nodes inp, inn, vcc, vee, out.
    macro : MacroParameters
        With its bend.
    """

    device: str
    pins: tuple[str, ...]
    macro: MacroParameters

    @property
    def gain_node(self) -> str:
        """Where the input stage's current goes."""
        return f"{self.device.lower()}_g"

    @property
    def bend_node(self) -> str:
        """Where the bent current of the output stage goes, before the second pole."""
        return f"{self.device.lower()}_p"

    @property
    def noise_node(self) -> str:
        """Where offset and voltage noise stand."""
        return f"{self.device.lower()}_nv"


@dataclass(frozen=True)
class DistortionDeck:
    """A complete deck without analyses.

    Attributes
    ----------
    lines : tuple of str
        Title first, ``.end`` last; the load at the output is :data:`sim.deck.chain.REFERENCE_LOAD`.
    deck : Deck
        The same without the sources of distortion.
    amps : tuple of Amp
        Op-amps that are modelled.
    remarks : tuple of (str, str)
        Op-amp, and what of it is not modelled.
    """

    lines: tuple[str, ...]
    deck: Deck
    amps: tuple[Amp, ...]
    remarks: tuple[tuple[str, str], ...]


def bent(chain: Chain, values: UnitValues) -> tuple[UnitValues, tuple[Curvature, ...]]:
    """A unit with the bend of its op-amps' records; a bend that is there already stays.

    Parameters
    ----------
    chain : Chain
    values : UnitValues

    Returns
    -------
    values : UnitValues
    curvatures : tuple of Curvature
        One for each op-amp whose model is the program's own.
    """
    if not values.macros:  # another maker's model stands in all places: nothing of it can be bent
        return values, ()
    macros, curves = [], []
    for record, macro in zip(chain.opamps, values.macros, strict=True):
        given = macro.k2 != 0 or macro.k3 != 0
        curve = Curvature(macro.k2, macro.k3) if given else curvature(record, values.supply_v)
        macros.append(replace(macro, k2=curve.k2, k3=curve.k3))
        curves.append(curve)
    return replace(values, macros=tuple(macros)), tuple(curves)


def distortion_deck(chain: Chain, values: UnitValues) -> DistortionDeck:
    """The deck of one unit with its op-amps bent and with sources ``iz_g<n>`` and ``iz_b<n>`` for their products.

    Parameters
    ----------
    chain : Chain
    values : UnitValues

    Returns
    -------
    DistortionDeck

    Raises
    ------
    CircuitError
        See :func:`sim.deck.assemble.assemble`.
    """
    values, curves = bent(chain, values)
    deck = assemble(chain, values)
    elements = {line.split()[0].lower() for line in deck.lines}
    amps, remarks = [], []
    devices = chain.circuit.devices
    macros, curves = (given or (None,) * len(devices) for given in (values.macros, curves))
    for device, pins, macro, curve in zip(devices, deck.pins, macros, curves, strict=True):
        if f"b{device.name.lower()}_1" not in elements:
            remarks.append((device.name, NOT_OURS))
            continue
        amps.append(Amp(device.name, pins, macro))
        remarks += [(device.name, remark) for remark in curve.remarks]
    sources = []
    for number, amp in enumerate(amps):
        vee = amp.pins[3]
        sources += [
            f"iz_g{number} {vee} {amp.gain_node} dc 0 ac 0",
            f"iz_b{number} {vee} {amp.bend_node} dc 0 ac 0",
        ]
    own = [line for line in deck.lines if line != ".end"]
    return DistortionDeck((*own, *sources, ".end"), deck, tuple(amps), tuple(remarks))


def with_load(lines, output: str, ohm: float) -> tuple[str, ...]:
    """Deck lines with another resistor in place of the reference load.

    Parameters
    ----------
    lines : sequence of str
    output : str
        Output node.
    ohm : float
        [Ω]
    """
    reference = f"rz_load {output} 0 {REFERENCE_LOAD!r}"
    if not any(line.startswith(reference) for line in lines):
        raise ValueError("the deck has no reference load at its output")
    return tuple(f"rz_load {output} 0 {float(ohm)!r} noisy=0" if line.startswith(reference) else line for line in lines)
