"""Antenna, supply, load and probes around a circuit: what one scenario has in common for all its units."""

from dataclasses import dataclass

from sim.antenna.source import AntennaSource
from sim.deck.circuit import Circuit
from sim.deck.maker.file import MakerModel
from sim.feedline.route import Route
from sim.opamp.catalogue import OpampRecord
from sim.quantity import PartValue

RESERVED = "z_"
"""Prefix of the nodes and (after the device letter) of the elements that the program puts around a circuit."""

REFERENCE_LOAD = 75.0
"""Load at the circuit's output while it is simulated; made noiseless. Any other load follows from the responses. [Ω]"""


@dataclass(frozen=True)
class OutsidePart:
    """Something outside the amplifier that differs from unit to unit.

    Attributes
    ----------
    name : str
        Under which it is drawn, kept and ranked.
    value : PartValue
        [SI]
    unit : str
        Of the value.
    of_build : bool
        All units of a build share one.
    outdoors : bool
        As warm as the unit; else at 25 °C.
    """

    name: str
    value: PartValue
    unit: str
    of_build: bool = False
    outdoors: bool = True


@dataclass(frozen=True)
class Feed:
    """How the supply gets to the amplifier.

    Attributes
    ----------
    resistance : float
        Of line and chokes. [Ω]
    regulator : float or None
        Output of a regulator at the unit. [V]
    dropout : float
        What it needs above its output. [V]
    efficiency : float or None
        Of a switching regulator; None for a linear one. [1]
    extra_current : float
        Drawn at the unit beside the amplifier's. [A]
    power : float
        Constant power drawn there. [W]
    contact : float
        Corroded contact between line and unit. [Ω]
    leak : float or None
        Water across the line before that contact; None where it is dry. [Ω]
    """

    resistance: float
    regulator: float | None = None
    dropout: float = 0.0
    efficiency: float | None = None
    extra_current: float = 0.0
    power: float = 0.0
    contact: float = 0.0
    leak: float | None = None

    def thevenin(self, supply_v: float) -> tuple[float, float]:
        """Volts without load and resistance behind which the unit hangs. [V, Ω]

        Parameters
        ----------
        supply_v : float
            [V]
        """
        if self.leak is None:
            return supply_v, self.resistance + self.contact
        share = self.leak / (self.leak + self.resistance)
        return supply_v * share, self.resistance * share + self.contact

    @property
    def loaded(self) -> bool:
        """Whether anything but the amplifier hangs on the line."""
        return self.regulator is not None or self.extra_current != 0 or self.power != 0


@dataclass(frozen=True)
class Jig:
    """Series capacitor and stray capacitance of the bench's fixture. [F]"""

    dummy: float
    stray: float


@dataclass(frozen=True)
class Drawn:
    """What one unit has outside its amplifier; None where it has what all have.

    Attributes
    ----------
    feed : Feed
        At the unit's temperature.
    route : Route or None
    jig : Jig or None
    antenna : AntennaSource or None
    clamp_leakage : tuple of (str, float)
        Node and current of each clamp that leaks, at the unit's temperature. [A]
    """

    feed: Feed
    route: Route | None = None
    jig: Jig | None = None
    antenna: AntennaSource | None = None
    clamp_leakage: tuple[tuple[str, float], ...] = ()


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
    feed : Feed
        Nominal, at 20 °C.
    route : Route
        Feedline and bias tees, nominal.
    through_line : bool
        Whether the supply current flows through the feedline.
    jig : Jig
        Of the bench, nominal.
    outside : tuple of OutsidePart
        What differs from unit to unit outside the amplifier.
    least_supply : float or None
        What the circuit says that it needs at its supply pin. [V]
    clamp_leakages : tuple of ClampLeakage
        Of the clamp at each input, see :mod:`sim.deck.clamp`.
    maker : MakerModel or None
        In place of the records' macromodels, in all units alike.
    """

    circuit: Circuit
    opamps: tuple[OpampRecord, ...]
    antenna: AntennaSource
    feed: Feed
    route: Route
    through_line: bool
    jig: Jig
    outside: tuple[OutsidePart, ...] = ()
    least_supply: float | None = None
    clamp_leakages: tuple = ()
    maker: MakerModel | None = None

    @property
    def feed_resistance(self) -> float:
        """Resistance between the supply and the unit: both conductors of the feedline, and the chokes. [Ω]"""
        return self.feed.resistance


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
        One for each device of the circuit; none with a maker's model.
    supply_v : float
        Supply voltage at the far end of the feedline. [V]
    temperature_c : float
        [°C]
    outside : Drawn
    """

    number: int
    parts: dict
    macros: tuple
    supply_v: float
    temperature_c: float
    outside: Drawn


@dataclass(frozen=True)
class RestingDevice:
    """Where an op-amp's resting voltages are read, and what its record says of them.

    Attributes
    ----------
    pins : tuple of str
        Nodes inp, inn, vcc, vee, out.
    cm_low, cm_high, headroom : float
        Of the record: input range above the negative and below the positive pin, swing short of either. [V]
    stage : str
        Node of the macromodel before its output resistance; empty where the model has none.
    rout : float
        That resistance. [Ω]
    """

    pins: tuple[str, str, str, str, str]
    cm_low: float
    cm_high: float
    headroom: float
    stage: str = ""
    rout: float = float("nan")


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
        Vectors read in each of these runs: input voltage (between two inputs the node z_in follows it), current into
        the emf source, output voltage, two a probe, and of two inputs those of :data:`sim.deck.emf.BALANCED_READS`.
    operating : tuple of str
        Vectors of the operating point: supply pin, supply current, the end of the feed, then each op-amp's inp, inn,
        vcc, vee, out, then the node inside each before its output resistance.
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
    feed_node : str
        Where the feed ends, before a regulator.
    least_volts : tuple of (str, str, float)
        Between which nodes how many volts must stand at least: op-amps, circuit, regulator. [V]
    feed_current : str
        Vector of the amplifier's own current; empty where the supply's is that.
    resting : tuple of RestingDevice
        One for each op-amp.
    spare : tuple of (str, str)
        Line in place of which another one may be put where no operating point is found; tried in turn.
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
    feed_node: str = "vcc"
    feed_current: str = ""
    least_volts: tuple[tuple[str, str, float], ...] = ()
    resting: tuple[RestingDevice, ...] = ()
    spare: tuple[tuple[str, str], ...] = ()

    @property
    def ways(self) -> tuple[tuple[str, ...], ...]:
        """The deck's lines, and the same with each spare line in its place."""
        others = (tuple(other if line == own else line for line in self.lines) for own, other in self.spare)
        return (self.lines, *others)


SOURCE_CURRENT = "vz_emf#branch"
"""Vector of the current *into* the emf source."""
