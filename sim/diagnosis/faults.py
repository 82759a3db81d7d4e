"""Every single fault that a builder can make or find, as changes of a unit that the deck builder writes out.

From the circuit and its bill of materials: each part open, shorted, ten times too large or too small, another value of
the bill in its place, two parts of a kind swapped, a dry joint as a series resistance; solder bridges between op-amp
pins; an op-amp that is slow, dead or put in with its inputs exchanged; a leak at the input; a dummy capacitor that is
not what it is taken for.

A circuit states nodes and no geometry, so bridges are those between pins that lie side by side in the usual packages of
a single op-amp: eight pins (… inn inp vee | … out vcc …) and five (out vee inp | inn vcc), and inn-out and inp-vcc,
which a track often brings together.

Values of dry joints, leaks, and of the capacitance that an open part leaves, are estimates (common practice, no source)
and therefore spread widely when a sweep is compared with them.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import combinations

from sim.deck.circuit import Circuit
from sim.deck.part import UNITS, Part
from sim.quantity import format_quantity

SHORT_OHM = 0.01
"""Resistance of a short or a bridge. [Ω]"""
OPEN_OHM = 1e10
"""Of a part that is not there: what a clean board leaks. [Ω]"""
PADS_FARAD = 0.1e-12
"""Between the pads of a part that is not there: estimate, no source. [F]"""
DRY_OHM = (100.0, 10e3)
LEAK_OHM = (100.0, 1e3, 10e3, 100e3)
DUMMY_SHARES = (0.95, 1.05)
SLOW = 1 / 3
NO_GAIN = 1e-6
"""Gain-bandwidth of an op-amp that does nothing, against its own. [1]"""
DEAD = (("gbw", NO_GAIN), ("slew", NO_GAIN))
OFF = (*DEAD, ("rout", 1e4), ("iq", 1e-3))
"""An op-amp without supply: no gain, its output nearly open, no current; how far it still conducts is an estimate."""
STUCK_VOLT = 1e-3
"""Offset that decides where the output of an op-amp without feedback sticks. [V]"""

BRIDGES = (
    ("inp", "inn"),
    ("inp", "vee"),
    ("inn", "vcc"),
    ("out", "vcc"),
    ("out", "vee"),
    ("inn", "out"),
    ("inp", "vcc"),
)
PINS = ("inp", "inn", "vcc", "vee", "out")
_PIN_WORDS = {
    "inp": "non-inverting input",
    "inn": "inverting input",
    "vcc": "positive supply",
    "vee": "negative supply",
    "out": "output",
}


@dataclass(frozen=True)
class Fault:
    """One thing wrong.

    Attributes
    ----------
    key : str
        Short and unique, for files and programs: "Cf:open", "Cf=100p", "Cf<>Cc", "Xamp:slow".
    words : str
        What a builder reads, a clause: "Cf is 100 pF instead of 10 pF".
    scale : tuple of (str, float)
        Parts whose drawn value is multiplied.
    fixed : tuple of (str, float)
        Parts that have this value whatever was drawn. [SI]
    added : tuple of (str, str, str, float)
        Kind (R or C), two nodes, value of what is there beside the circuit. [SI]
    dry : tuple of (str, float)
        Parts with a resistance in series. [Ω]
    macro : tuple of (int, str, float)
        Op-amp by number, macromodel parameter, factor (for ``vos``: volts more).
    exchanged : tuple of int
        Op-amps with their inputs exchanged.
    latched : tuple of (str, str)
        Node and rail (vcc or vee node) at which the operating point is looked for: of a circuit that latches.
    dummy : float
        Factor on the bench's dummy capacitor.
    loose : float
        Spread of the fault's own size, as standard deviation of its logarithm; 0 where it has none. [1]
    """

    key: str
    words: str
    scale: tuple = ()
    fixed: tuple = ()
    added: tuple = ()
    dry: tuple = ()
    macro: tuple = ()
    exchanged: tuple = ()
    latched: tuple = ()
    dummy: float = 1.0
    loose: float = 0.0

    @property
    def idle(self) -> tuple[int, ...]:
        """Op-amps that do nothing."""
        return tuple(number for number, name, factor in self.macro if name == "gbw" and factor <= NO_GAIN)

    def size_at(self, z: Mapping[str, float]) -> float:
        """Factor on the fault's own value, of one that spreads. [1]

        Parameters
        ----------
        z : mapping of str to float
            Standard deviations by variable; ``size`` is the fault's own.
        """
        return math.exp(self.loose * z.get("size", 0.0))


GOOD = Fault("good", "nothing is wrong")


def single_faults(circuit: Circuit) -> tuple[Fault, ...]:
    """Every single fault of a circuit, :data:`GOOD` first.

    Parameters
    ----------
    circuit : Circuit
        With the study's values.
    """
    found = [GOOD]
    for part in circuit.parts:
        found += [*_missing_or_shorted(part), *_wrong_values(part, circuit), *_dry(part)]
    found += _swaps(circuit)
    for number, device in enumerate(circuit.devices):
        found += [*_bridges(circuit, number), *_opamp(number, _called(circuit, device))]
    found += _at_the_input(circuit)
    for share in DUMMY_SHARES:
        percent = 100 * (share - 1)
        words = f"the bench's dummy capacitor is {abs(percent):.0f} % {'above' if percent > 0 else 'below'} its value"
        found.append(Fault(f"dummy{percent:+.0f}%", words, dummy=share))
    # Ten times a value may be another value of the bill: one fault, not two.
    once: dict[tuple, Fault] = {}
    for fault in found:
        ratios = tuple((name, float(f"{factor:.6g}")) for name, factor in fault.scale)
        once.setdefault(ratios or (fault.key,), fault)
    return tuple(once.values())


def _missing_or_shorted(part: Part) -> list[Fault]:
    a, b = part.nodes
    if part.kind == "C":
        gone = {"fixed": ((part.name, PADS_FARAD),)}
    else:
        value = OPEN_OHM if part.kind == "R" else 1e3
        gone = {"fixed": ((part.name, value),), "added": (("C", a, b, PADS_FARAD),)}
    return [
        Fault(
            f"{part.name}:open", f"{part.name} is open: missing, or a joint that does not conduct", loose=0.6, **gone
        ),
        Fault(f"{part.name}:short", f"{part.name} is shorted", added=(("R", a, b, SHORT_OHM),), loose=0.8),
    ]


def _wrong_values(part: Part, circuit: Circuit) -> list[Fault]:
    own = part.value.value
    bill = dict.fromkeys(other.value.value for other in circuit.parts if other.kind == part.kind)
    found = []
    for value in (*bill, own * 10, own / 10):
        if abs(value / own - 1) < 1e-6:
            continue
        shown = format_quantity(value, UNITS[part.kind])
        words = f"{part.name} is {shown} instead of {format_quantity(own, UNITS[part.kind])}"
        found.append(Fault(f"{part.name}={shown.replace(' ', '')}", words, scale=((part.name, value / own),)))
    return found


def _dry(part: Part) -> list[Fault]:
    # In series with a resistor it is the same as a larger one.
    larger = ", or is that much too large" if part.kind == "R" else ""
    return [
        Fault(
            f"{part.name}:dry{ohm:g}",
            f"{part.name} has a dry joint of about {format_quantity(ohm, 'ohm')}{larger}",
            dry=((part.name, ohm),),
            loose=0.3,
        )
        for ohm in DRY_OHM
    ]


def _swaps(circuit: Circuit) -> list[Fault]:
    found = []
    for a, b in combinations(circuit.parts, 2):
        ratio = b.value.value / a.value.value
        if a.kind == b.kind and abs(ratio - 1) > 1e-6:
            words = f"{a.name} and {b.name} are swapped"
            found.append(Fault(f"{a.name}<>{b.name}", words, scale=((a.name, ratio), (b.name, 1 / ratio))))
    return found


def _called(circuit: Circuit, device) -> str:
    return "the op-amp" if len(circuit.devices) == 1 else f"the op-amp {device.name}"


def _bridges(circuit: Circuit, number: int) -> list[Fault]:
    device = circuit.devices[number]
    node = dict(zip(PINS, device.nodes, strict=True))
    called, joined = _called(circuit, device), _joined(circuit)
    found = []
    for a, b in BRIDGES:
        if joined(node[a]) == joined(node[b]):
            continue
        words = f"a solder bridge joins {called}'s {_PIN_WORDS[a]} and {_PIN_WORDS[b]}"
        key, bridge = f"{device.name}:{a}-{b}", (("R", node[a], node[b], SHORT_OHM),)
        if (a, b) != ("inp", "inn"):
            found.append(Fault(key, words, added=bridge, loose=0.8))
            continue
        # Without feedback any offset drives the output to a rail; the nominal op-amp has none.
        for end, sign in (("high", 1), ("low", -1)):
            stuck = ((number, "vos", sign * STUCK_VOLT),)
            said = f"{words}, and its output is stuck {end}"
            found.append(Fault(f"{key}:{end}", said, added=bridge, macro=stuck, loose=0.8))
    return found


def _joined(circuit: Circuit):
    """Node without regard to case and to the probes, which are wires."""
    same = {probe.receive_node.lower(): probe.drive_node.lower() for probe in circuit.probes}

    def name(node: str) -> str:
        return same.get(node.lower(), node.lower())

    return name


def starved(fault: Fault, number: int) -> Fault:
    """The fault with an op-amp that it leaves without enough supply: then that op-amp does nothing."""
    if number in fault.idle:
        return fault
    return replace(fault, macro=(*fault.macro, *((number, *change) for change in OFF)))


def _opamp(number: int, called: str) -> list[Fault]:
    dead = "no gain, only what the parts around it let through"
    return [
        Fault(
            f"op{number}:slow",
            f"{called} is slow, a third of its gain-bandwidth and slew rate: a wrong or damaged one",
            macro=((number, "gbw", SLOW), (number, "slew", SLOW)),
        ),
        Fault(f"op{number}:dead", f"{called} is dead: {dead}", macro=tuple((number, *change) for change in DEAD)),
        Fault(
            f"op{number}:off",
            f"{called} is dead with its output open: no supply at its pin, or a joint that does not conduct",
            macro=tuple((number, *change) for change in OFF),
        ),
        *(
            Fault(
                f"op{number}:reversed-{word}",
                f"{called} has its inputs exchanged, and its output stuck {word}",
                exchanged=(number,),
                latched=((str(number), end),),
            )
            for end, word in (("vcc", "high"), ("vee", "low"))
        ),
    ]


def _at_the_input(circuit: Circuit) -> list[Fault]:
    ground = circuit.ports[-1]
    if circuit.balanced:
        places = (("in_p", ground), ("in_n", ground))
    else:
        places = ((circuit.input, ground),)
    return [
        Fault(
            f"leak:{place}:{ohm:g}",
            f"a leak of about {format_quantity(ohm, 'ohm')} lies between {place} and ground: flux, dirt, water",
            added=(("R", place, back, ohm),),
            loose=0.3,
        )
        for place, back in places
        for ohm in LEAK_OHM
    ]
