"""Antenna, supply, load and probes around a circuit: what one scenario has in common for all its units."""

from dataclasses import dataclass

from sim.antenna.source import AntennaSource
from sim.deck.circuit import Circuit
from sim.opamp.catalogue import OpampRecord

RESERVED = "z_"
"""Prefix of the nodes and (after the device letter) of the elements that the program puts around a circuit."""

REFERENCE_LOAD = 75.0
"""Load at the circuit's output while it is simulated; made noiseless. Any other load follows from the responses. [Ω]"""


@dataclass(frozen=True)
class Chain:
    """What stands around the amplifier in one scenario.

    Attributes
    ----------
    circuit : Circuit
        Amplifier with all overrides of the study applied.
    opamps : tuple of OpampRecord
        One for each device of the circuit, same order.
    antenna : AntennaSource
    feed_resistance : float
        Resistance between the supply and the circuit's supply pin: both conductors of the feedline,
        and the chokes of its bias tees. [Ω]
    """

    circuit: Circuit
    opamps: tuple[OpampRecord, ...]
    antenna: AntennaSource
    feed_resistance: float


@dataclass(frozen=True)
class UnitValues:
    """The drawn values of one unit.

    Attributes
    ----------
    number : int
        0 is the nominal unit.
    parts : dict of str to float
        Value of each part of the circuit by its name. [SI]
    macros : tuple of MacroParameters
        One for each device of the circuit.
    supply_v : float
        Supply voltage at the far end of the feedline. [V]
    temperature_c : float
        [°C]
    """

    number: int
    parts: dict
    macros: tuple
    supply_v: float
    temperature_c: float


@dataclass(frozen=True)
class Deck:
    """A complete deck without analyses, and the names by which to drive and read it.

    Attributes
    ----------
    lines : tuple of str
        Title first, ``.end`` last.
    drives : tuple of str
        AC sources: each probe's voltage and current source, an emf in one leg where there are two inputs, the source at
        the output (1 A into it), the antenna's emf.
    reads : tuple of str
        Vectors read in each of these runs: :data:`READS`, two a probe, and of two inputs those of
        :data:`sim.deck.feed.BALANCED_READS`.
    operating : tuple of str
        Vectors of the operating point: supply pin, supply current, then each op-amp's inp, inn, vcc, vee, out.
    output : str
        Output node.
    source : str
        The source to which noise is referred.
    probes : int
        How many loop probes there are.
    operating_output : str
        Output pin of the last op-amp; empty without one.
    pins : tuple of tuple of str
        Nodes of each op-amp: inp, inn, vcc, vee, out.
    """

    lines: tuple[str, ...]
    drives: tuple[str, ...]
    reads: tuple[str, ...]
    operating: tuple[str, ...]
    output: str = "out"
    source: str = "vz_emf"
    probes: int = 1
    operating_output: str = ""
    pins: tuple[tuple[str, ...], ...] = ()


READS = ("in", "vz_emf#branch", "out")
"""First vectors of :attr:`Deck.reads`: input voltage (between two inputs the node z_in follows it), current *into* the
emf source, output voltage."""
