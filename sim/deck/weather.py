"""What water, dirt and corrosion add to a circuit: films that leak, and a contact that resists.

                       input_leak at the antenna's terminal, before any stopper of the study
    in ──┬── circuit ──┬── contact_resistance ──┬── feedline       (the contact only with power on the coax)
         │             │                        │
     input_leak   feedback_leak, feedback_bridge, connector_leak
         │        bias_leak at the first op-amp  │
        gnd            gnd                      gnd

They are parts of the circuit like the others, under the names ``weather.<key>``, as warm as the unit and with its
thermal noise; so they stay where they are when stability is tried with other antennas or none. The op-amp's output is
taken behind its loop probe, so a film across the feedback is inside the loop.

Where the coax carries the supply, connector and contact stand in the way of the direct current too, see
:mod:`sim.deck.feed`; with a supply line of its own only the contact does, and it is drawn as something outside.

Not covered: films with capacitance, contacts that are junctions (crackling, intermodulation), what changes in hours.
"""

from dataclasses import replace

from sim.deck.chain import RESERVED, OutsidePart
from sim.deck.circuit import Circuit
from sim.deck.part import Part
from sim.errors import Fault, StudyError
from sim.study.weather import weather_of

CONTACT, CONNECTOR = "weather.contact_resistance", "weather.connector_leak"
"""Names under which what is in the supply's way is drawn."""

_AT_OPAMP = ("bias_leak", "feedback_leak", "feedback_bridge")
_PURPOSE = {
    "input_leak": "film of moisture at the input, from the study",
    "bias_leak": "film of moisture at the non-inverting input, from the study",
    "feedback_leak": "film of moisture at the inverting input, from the study",
    "feedback_bridge": "film of moisture across the feedback, from the study",
    "connector_leak": "water in the connector, from the study",
    "contact_resistance": "corroded contact at the connector, from the study",
}


def exposed(circuit: Circuit, study) -> Circuit:
    """The circuit with what the weather of a study does to it.

    Parameters
    ----------
    circuit : Circuit
        With its series resistors.
    study : Study
        Of one scenario.

    Raises
    ------
    StudyError
        A leak at an op-amp that is not there or between one and the same node, a side of a circuit with one input.
    """
    found = weather_of(study)
    if not found:
        return circuit
    _refuse(circuit, study, found)
    output, parts = circuit.output, list(circuit.parts)

    def add(key: str, a: str, b: str, side: str = "") -> None:
        name = f"weather.{key}{f'.{side}' if side else ''}"
        element = f"r{RESERVED}{key}{f'_{side}' if side else ''}"
        parts.append(Part(name, "R", (a, b), found[key], _PURPOSE[key], 0, element))

    if "input_leak" in found and not circuit.balanced:
        add("input_leak", circuit.input, "0")
    elif "input_leak" in found:
        for side in ("in_p", "in_n"):
            if study.weather.input_side in ("both", side):
                add("input_leak", side, "0", side)
    for key in _AT_OPAMP:
        if key in found:
            add(key, *_opamp_nodes(circuit, key))
    if "contact_resistance" in found and study.feedline.power == "coax":
        output = f"{RESERVED}contact"
        add("contact_resistance", circuit.output, output)
    if "connector_leak" in found:
        add("connector_leak", output, "0")
    return replace(circuit, parts=tuple(parts), output=output)


def _opamp_nodes(circuit: Circuit, key: str) -> tuple[str, str]:
    """Between which nodes a leak at the first op-amp lies."""
    inp, inn, _, _, out = circuit.devices[0].nodes
    if key != "feedback_bridge":
        return (inp if key == "bias_leak" else inn), "0"
    behind = (probe.receive_node for probe in circuit.probes if probe.drive_node.lower() == out.lower())
    return inn, next(behind, out)


def _refuse(circuit: Circuit, study, found) -> None:
    def refuse(key: str, said: str, remedy: str) -> None:
        key = f"weather.{key}" if getattr(study.weather, key) is not None else "weather.state"
        raise StudyError(Fault(study.file, study.line_of(key), key, said, remedy))

    ground = ("0", circuit.ports[-1].lower())
    for key in _AT_OPAMP:
        if key not in found:
            continue
        if not circuit.devices:
            said = f"the circuit {circuit.name} has no op-amp, at which {key.replace('_', ' ')} lies."
            refuse(key, said, "Leave it out.")
        a, b = (("0" if node.lower() in ground else node.lower()) for node in _opamp_nodes(circuit, key))
        if a == b:
            said = f"both ends of {key.replace('_', ' ')} lie at one node of the circuit {circuit.name}, {a}."
            refuse(key, said, "Leave it out: it would change nothing.")
    if study.weather.input_side != "both" and not circuit.balanced:
        refuse("input_side", f"the circuit {circuit.name} has one input.", "Leave input_side out.")


def supply_contact(study) -> tuple[OutsidePart, ...]:
    """The contact in a supply line of its own, as something outside the amplifier; nothing with power on the coax."""
    contact = weather_of(study).get("contact_resistance")
    if contact is None or study.feedline.power == "coax":
        return ()
    return (OutsidePart(CONTACT, contact, "ohm"),)
