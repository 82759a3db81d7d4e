"""What the operating point says: supply at the unit, its current, its output at rest; and whether it can be one.

A unit needs a least supply: that of its op-amps by their data sheets, that of its circuit where its header states one,
and a regulator's output with its dropout. What is left above the nearest of them is its reserve; below zero the unit is
a finding whether or not the study has a limit for it.
"""

from dataclasses import dataclass

from sim.deck.chain import Chain, Deck, Feed
from sim.deck.feed import carried_power
from sim.engine.ngspice import UnitFailed
from sim.measures.ratings import NEAR_LIMIT_V, input_reserve, output_reserve, resting_volts
from sim.opamp.unrated import is_unrated
from sim.quantity import format_quantity

LEEWAY = 0.1
"""How far beyond its stated supply range an op-amp is still computed: between operating range and absolute maximum
rating lie some 5 to 10 % in most data sheets (from memory). Past it a number would be about a part that is dead or does
not run. [1]"""


class OutOfRating(UnitFailed):
    """An op-amp stands on a voltage for which it is not made."""

    stage = "rating"


@dataclass(frozen=True)
class Rest:
    """A unit at rest.

    Attributes
    ----------
    supply_v : float
        At the unit, after the feedline's drop and before a regulator. [V]
    current_ma : float
        Drawn from the supply. [mA]
    output_dc_v : float
        Output pin of the last op-amp. [V]
    supply_reserve_v : float
        Above the least supply that any of its op-amps, its circuit or its regulator needs; infinite where none states
        one. [V]
    input_reserve_v, output_reserve_v : float
        Least of all op-amps, see :func:`sim.measures.ratings.input_reserve`; infinite without one. [V]
    """

    supply_v: float
    current_ma: float
    output_dc_v: float
    supply_reserve_v: float
    input_reserve_v: float
    output_reserve_v: float


def rest(operating: dict, deck: Deck) -> Rest:
    """Read supply and output off an operating point (vector names as in :attr:`Deck.operating`)."""
    last_output, resting = deck.operating_output, resting_volts(operating, deck)
    # A node that is ground is not among the vectors.
    reserves = [operating[high] - operating.get(low, 0.0) - least for high, low, least in deck.least_volts]
    return Rest(
        supply_v=operating[deck.feed_node],
        # The library counts current into the source as positive.
        current_ma=-operating["vz_sup#branch"] * 1e3,
        output_dc_v=operating[last_output] if last_output else float("nan"),
        supply_reserve_v=min(reserves, default=float("inf")),
        input_reserve_v=input_reserve(resting, deck),
        output_reserve_v=output_reserve(resting, deck),
    )


def needs(chain: Chain) -> tuple[str, ...]:
    """What a unit needs of its supply, a phrase each: "OPA2822 (Xamp) 5 V between its pins"."""
    found = [
        f"{record.part} ({device.name}) {record.supply_min:g} V between its pins"
        for device, record in zip(chain.circuit.devices, chain.opamps, strict=True)
        if not is_unrated(record)
    ]
    if chain.least_supply is not None:
        found.append(f"the circuit {chain.circuit.name} {chain.least_supply:g} V")
    if chain.feed.regulator is not None:
        found.append(f"the regulator {chain.feed.regulator + chain.feed.dropout:g} V")
    return tuple(found)


def check_feed(operating: dict, deck: Deck, feed: Feed, supply_v: float) -> None:
    """Refuse a unit whose converter asks for more power than its feed carries.

    Parameters
    ----------
    operating : dict of str to float
        Operating point by vector name. [V, A]
    deck : Deck
    feed : Feed
    supply_v : float
        [V]

    Raises
    ------
    OutOfRating
        There is no operating point: the volts at the unit are below half of what other currents leave, see
        :mod:`sim.deck.feed`.
    """
    switching = feed.regulator is not None and feed.efficiency is not None
    if not (feed.power or switching):
        return
    passed = 0.0 if switching else operating[deck.feed_current]
    other = feed.extra_current + passed
    power = feed.power
    if switching:
        power += operating["vcc"] * operating[deck.feed_current] / feed.efficiency
    most = carried_power(feed, supply_v, other)
    # At the limit itself both solutions meet; rounding must not decide there.
    if power > most * (1 + 1e-6):
        _, ohms = feed.thevenin(supply_v)
        raise OutOfRating(
            f"a converter asks for {format_quantity(power, 'W', 3)}, and no more than"
            f" {format_quantity(most, 'W', 3)} reaches it through {format_quantity(ohms, 'ohm', 3)}"
        )


def check_rating(operating: dict, deck: Deck, chain: Chain) -> None:
    """Refuse a unit of which an op-amp would not live or not run.

    Parameters
    ----------
    operating : dict of str to float
        Operating point by vector name. [V, A]
    deck : Deck
    chain : Chain

    Raises
    ------
    OutOfRating
        The voltage between its supply pins is more than :data:`LEEWAY` outside the range of its data sheet.
    """
    for device, record, (_, _, vcc, vee, _) in zip(chain.circuit.devices, chain.opamps, deck.pins, strict=True):
        volts = operating[vcc] - operating[vee]
        who = f"{record.part} ({device.name})"
        if volts > (1 + LEEWAY) * record.supply_max:
            raise OutOfRating(f"{who} would stand on {volts:.1f} V; its limit is {record.supply_max:g} V")
        if volts <= 0:
            raise OutOfRating(f"{who} draws more current than reaches it; it needs {record.supply_min:g} V")
        if volts < (1 - LEEWAY) * record.supply_min:
            raise OutOfRating(f"{who} would stand on {volts:.1f} V; it needs {record.supply_min:g} V")


def resting_cautions(operating: dict, deck: Deck, chain: Chain) -> tuple[str, ...]:
    """What a builder should know about the resting voltages of a unit, a sentence each.

    Parameters
    ----------
    operating, deck, chain
        As in :func:`check_rating`.

    Notes
    -----
    Output against the swing limit, input against the common-mode range, supply against the operating range, all of
    the record; the usual cause is a bias current through too large a resistor.
    """
    found = []
    for device, record, pins in zip(chain.circuit.devices, chain.opamps, deck.pins, strict=True):
        inp, _, vcc, vee, out = (operating[pin] for pin in pins)
        who = f"{record.part} ({device.name})"
        if not record.supply_min <= vcc - vee <= record.supply_max:
            found.append(
                f"{who} stands on {vcc - vee:.1f} V and is made for {record.supply_min:g} to {record.supply_max:g} V."
            )
        if not record.headroom + NEAR_LIMIT_V <= out - vee <= vcc - vee - record.headroom - NEAR_LIMIT_V:
            found.append(
                f"The output of {who} rests at {out - vee:.2f} V on a supply of {vcc - vee:.2f} V: as far as it goes,"
                " so it hardly amplifies. Look for a bias current through a large resistor."
            )
        if not record.cm_low <= inp - vee <= vcc - vee - record.cm_high:
            found.append(
                f"The input of {who} rests at {inp - vee:.2f} V; it works from {record.cm_low:.2f} to"
                f" {vcc - vee - record.cm_high:.2f} V."
            )
    return tuple(found)
