"""One unit in one scenario, written out as a deck."""

from sim.deck.chain import REFERENCE_LOAD, RESERVED, SOURCE_CURRENT, Chain, Deck, RestingDevice, UnitValues
from sim.deck.clamp import leakage_cards
from sim.deck.emf import BALANCED_READS, LEG_DRIVE, emf_cards
from sim.deck.feed import feed_cards
from sim.errors import CircuitError, Fault
from sim.opamp.macromodel import macromodel_cards, output_stage_node

OPTIONS = ".options reltol=1e-5 abstol=1e-14 vntol=1e-9 gmin=1e-15"
"""Tight tolerances: the operating point of a fast op-amp with 120 dB of gain needs them."""
SPARE_OPTIONS = tuple(
    f".options reltol=1e-5 abstol=1e-14 vntol=1e-9 gmin={gmin}{way}"
    for gmin in ("1e-15", "1e-12")
    for way in ("", " noopiter")
)[1:]
"""Other ways to an operating point, in turn, for makers' models: conductances stepped down at once, and larger ones."""


def assemble(chain: Chain, unit: UnitValues) -> Deck:
    """Write one unit's deck: antenna, circuit, op-amps, load, supply and probes, flat and with numbers only.

    Parameters
    ----------
    chain : Chain
    unit : UnitValues

    Returns
    -------
    Deck

    Raises
    ------
    CircuitError
        A name of the circuit collides with a name that the program needs.

    Notes
    -----
    The emf stands in series with the antenna (:mod:`sim.deck.emf`), its stray capacitance across the terminals; the
    load is noiseless: the line that follows it is added afterwards, with its own noise.
    """
    circuit = chain.circuit
    ground = circuit.ports[-1].lower()

    def node(name: str) -> str:
        return "0" if name.lower() in (ground, "0") else name.lower()

    antenna = unit.outside.antenna or chain.antenna
    feed = feed_cards(unit.outside.feed, unit.supply_v)
    # Device temperature coefficients are in the drawn values already, so nominal and circuit temperature are equal.
    lines = [
        f"* {circuit.name}, unit {unit.number}",
        f".temp {unit.temperature_c!r}",
        f".options tnom={unit.temperature_c!r}",
        OPTIONS,
        *emf_cards(antenna, circuit.balanced, circuit.input),
    ]
    for part in circuit.parts:
        a, b = (node(n) for n in part.nodes)
        lines.append(part.card(a, b, float(unit.parts[part.name])))
    lines += [card.text for card in circuit.others]
    lines += leakage_cards(unit.outside.clamp_leakage, unit.temperature_c)
    operating, every = ["vcc", "vz_sup#branch", feed.node], []
    operating += [feed.current] if feed.current else []
    macros = unit.macros or (None,) * len(circuit.devices)
    for device, macro in zip(circuit.devices, macros, strict=True):
        pins = tuple(node(n) for n in device.nodes)
        if macro is None:
            lines += chain.maker.flat(device.name, pins, unit.temperature_c).lines
        else:
            lines += macromodel_cards(macro, device.name.lower(), pins)
        operating += pins
        every.append(pins)
    last_output = operating[-1] if circuit.devices else ""
    operating += [output_stage_node(device.name.lower()) for device in circuit.devices if unit.macros]
    drives, reads = [], ["z_in" if circuit.balanced else circuit.input, SOURCE_CURRENT, circuit.output]
    for number, probe in enumerate(circuit.probes, start=1):
        a, b = node(probe.drive_node), node(probe.receive_node)
        lines += [f"vz_p{number} {a} {b} dc 0 ac 0", f"iz_p{number} 0 {b} dc 0 ac 0"]
        drives += [f"vz_p{number}", f"iz_p{number}"]
        reads += [b, f"vz_p{number}#branch"]
    if circuit.balanced:
        drives.append(LEG_DRIVE)
        reads += BALANCED_READS
    lines += [
        f"rz_load {circuit.output} 0 {REFERENCE_LOAD!r} noisy=0",
        f"iz_out 0 {circuit.output} dc 0 ac 0",
        *feed.lines,
        ".end",
    ]
    _refuse_collisions(circuit, lines)
    return Deck(
        lines=tuple(lines),
        drives=(*drives, "iz_out", "vz_emf"),
        reads=tuple(reads),
        operating=tuple(dict.fromkeys(operating)),
        output=circuit.output,
        probes=len(circuit.probes),
        operating_output=last_output,
        pins=tuple(every),
        feed_node=feed.node,
        feed_current=feed.current,
        spare=tuple((OPTIONS, other) for other in SPARE_OPTIONS) if chain.maker else (),
        least_volts=_least_volts(chain, unit, every, feed.node),
        resting=_resting(chain, unit, every),
    )


def _least_volts(chain: Chain, unit: UnitValues, pins, feed_node: str) -> tuple[tuple[str, str, float], ...]:
    """See :attr:`Deck.least_volts`."""
    found = [(vcc, vee, record.supply_min) for record, (_, _, vcc, vee, _) in zip(chain.opamps, pins, strict=True)]
    if chain.least_supply is not None:
        found.append(("vcc", "0", chain.least_supply))
    feed = unit.outside.feed
    if feed.regulator is not None:
        found.append((feed_node, "0", feed.regulator + feed.dropout))
    return tuple(found)


def _resting(chain: Chain, unit: UnitValues, pins) -> tuple[RestingDevice, ...]:
    """See :attr:`Deck.resting`."""
    if chain.maker is not None:
        # Inside a maker's model nothing is known by name.
        return tuple(
            RestingDevice(own, record.cm_low, record.cm_high, record.headroom)
            for record, own in zip(chain.opamps, pins, strict=True)
        )
    return tuple(
        RestingDevice(own, m.cm_low, m.cm_high, m.headroom, output_stage_node(device.name.lower()), m.rout)
        for device, m, own in zip(chain.circuit.devices, unit.macros, pins, strict=True)
    )


def _refuse_collisions(circuit, lines) -> None:
    names = [line.split()[0].lower() for line in lines if line[0] not in "*."]
    twice = sorted({name for name in names if names.count(name) > 1}) if len(set(names)) < len(names) else []
    if twice:
        raise CircuitError(
            Fault(
                circuit.file,
                None,
                twice[0],
                f'the element name "{twice[0]}" is used twice.',
                f'Rename it in the circuit; names that begin with "{RESERVED}" after the device letter, or with an'
                " op-amp's name, belong to the program.",
            )
        )
