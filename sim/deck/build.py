"""From a scenario's words to what is simulated: the chain, and the drawn values of its units."""

import math
from dataclasses import replace

import numpy as np

from sim.antenna.earth_line import SOILS, EarthLine
from sim.antenna.fixture import fixture
from sim.antenna.ground_wire import LARGEST_FIT_ERROR, ground_wire
from sim.antenna.plain import plain
from sim.antenna.short_vertical import short_vertical
from sim.antenna.source import AntennaSource
from sim.deck.chain import Chain, UnitValues
from sim.deck.circuit import read_circuit
from sim.deck.header import least_supply
from sim.deck.measured import measured_antenna
from sim.deck.outside import (
    TEE_PARTS,
    draw_outside,
    nominal_feed,
    nominal_jig,
    outside_parts,
    unit_outside,
)
from sim.errors import CircuitError, Fault, StudyError
from sim.feedline.cable import load_cable
from sim.feedline.route import Route, Section
from sim.feedline.tee import Tee
from sim.opamp.catalogue import load_opamp
from sim.opamp.macromodel import MacroParameters, nominal_parameters
from sim.sampling.draw import die_at, draw_die, draw_part, draw_temperature

SUPPLY_COLUMN = "supply.voltage"
"""Name under which the supply voltage is drawn and ranked, beside the circuit's parts."""

PROBED = ("stability_margin", "phase_margin_deg", "gain_margin_db", "stable", "line_margin")
"""Measures of a loop, which need a probe."""

DIE_COLUMNS = ("gbw", "slew", "en", "en_corner", "inoise", "aol_db", "iq", "vos", "ib", "cin", "rout", "second_pole")
"""What is kept of an op-amp's drawn die, as columns named ``<device>.<name>``."""


def antenna_of(study) -> AntennaSource:
    """The study's antenna as a source.

    Raises
    ------
    StudyError
        No passive network comes close enough to a wire's or a measured impedance.
    RecordError
        The file of a measured antenna cannot be used.
    """
    words = study.antenna
    if words.model == "fixture":
        return fixture(words.source, words.dummy.value, words.stray.value)
    if words.model == "plain":
        return plain(
            words.resistance,
            words.effective_height,
            words.capacitance,
            words.inductance,
            words.radiation,
            words.stray,
        )
    if words.model == "ground-wire":
        return _ground_wire(study)
    if words.model == "measured":
        return measured_antenna(study)
    return short_vertical(words.height, words.radius, words.gap, words.ground_loss, words.stray)


def route_of(study) -> Route:
    """The study's feedline with its bias tees, everything at its nominal value.

    Raises
    ------
    InputError
        A cable's record cannot be read.
    """
    words = study.feedline
    sections = tuple(Section(load_cable(part.cable, study.folder), part.length) for part in words.all_sections)
    tee, at = None, ""
    if words.tee is not None:
        tee, at = Tee(**{key: getattr(words.tee, key).value for key in TEE_PARTS}), words.tee.at
    return Route(
        sections,
        at_amplifier=tee if at in ("both", "amplifier") else None,
        at_receiver=tee if at in ("both", "receiver") else None,
    )


def _ground_wire(study) -> AntennaSource:
    words = study.antenna
    soil = next(soil for soil in SOILS if soil.name == words.soil)
    if words.soil_permittivity is not None:
        soil = replace(soil, permittivity=words.soil_permittivity)
    if words.soil_conductivity is not None:
        soil = replace(soil, conductivity=words.soil_conductivity)
    antenna = ground_wire(
        EarthLine(words.radius, words.coat_radius, words.coat_permittivity, words.height, soil),
        words.length,
        math.inf if words.far_end == "open" else words.far_end,
        words.ground_loss,
        words.feed == "centre",
        math.radians(words.azimuth),
        math.radians(words.elevation),
        study.bands.frequencies,
    )
    error = antenna.fit_error(antenna.bands_hz).max()
    if not error <= LARGEST_FIT_ERROR:
        raise StudyError(
            Fault(
                study.file,
                study.line_of("antenna.length"),
                "antenna",
                f"no passive network comes closer than {100 * error:.1f} % to the wire's impedance at the bands;"
                f" {100 * LARGEST_FIT_ERROR:g} % is the limit.",
                "Take fewer bands at a time, or end the wire in a resistance.",
            )
        )
    return replace(antenna, shunt_capacitance=words.stray)


def chain_of(study) -> Chain:
    """What one scenario simulates.

    Raises
    ------
    InputError
        The circuit, an op-amp or a cable cannot be read, or the study overrides a part that the circuit does not have.
    """
    circuit = read_circuit(study.amplifier.circuit, study.folder)
    if circuit.ports[0] != "in":
        raise CircuitError(
            Fault(
                circuit.file,
                None,
                "ports",
                "has a balanced input, and this version knows no antenna with two legs.",
                "Use a circuit with the ports: in out vcc gnd.",
            )
        )
    circuit = circuit.with_parts(study.amplifier.parts, study.file, study.line_of)
    circuit = circuit.with_series(study.amplifier.series_input, study.amplifier.series_output)
    _refuse_unjudged_limits(study, circuit)
    record = load_opamp(study.amplifier.opamp, study.folder)
    route = route_of(study)
    return Chain(
        circuit=circuit,
        opamps=(record,) * len(circuit.devices),
        antenna=antenna_of(study),
        feed=nominal_feed(study, route),
        route=route,
        through_line=study.feedline.power == "coax",
        jig=nominal_jig(study),
        outside=outside_parts(study, route),
        least_supply=least_supply(circuit),
    )


def _refuse_unjudged_limits(study, circuit) -> None:
    """Refuse limits on what only a probe can tell: without one every unit would fail them."""
    if circuit.probes:
        return
    remedy = (
        "Put a probe into the op-amp's output wire, before the feedback branches off (Xloop DRIVING RECEIVING probe),"
        " or take the limit out."
    )
    found = f"the circuit {circuit.name} has no loop probe, so nothing can be said about it."
    asked = [name for name in study.limits if name in PROBED]
    if asked:
        raise StudyError(
            Fault(study.file, study.line_of(f"limits.{name}"), f"limits.{name}", found, remedy) for name in asked
        )


def unit_table(study, chain: Chain, units: np.ndarray) -> dict[str, np.ndarray]:
    """Drawn values of many units, one array a column.

    Parameters
    ----------
    study : Study
    chain : Chain
    units : int ndarray, shape (n_unit,)
        Unit numbers; 0 is nominal.

    Returns
    -------
    columns : dict of str to ndarray, shape (n_unit,)
        ``temperature_c`` [°C], each part [SI], ``supply.voltage`` [V], what differs outside the amplifier (see
        :mod:`sim.deck.outside`), then each op-amp's values, see :data:`DIE_COLUMNS` [SI].
    """
    seed, build = study.run.seed, study.run.build
    temperature = draw_temperature(study.run.temperature, seed, units)
    columns = {"temperature_c": temperature}
    for part in chain.circuit.parts:
        columns[part.name] = draw_part(part.value, part.name, seed, units, build, temperature)
    columns[SUPPLY_COLUMN] = draw_part(study.supply.voltage, SUPPLY_COLUMN, seed, units, build)
    columns |= draw_outside(chain.outside, seed, units, build, temperature)
    for device, record in zip(chain.circuit.devices, chain.opamps, strict=True):
        die = die_at(draw_die(device.name, seed, units), temperature)
        nominal = nominal_parameters(record)
        values = {
            "gbw": nominal.gbw * die.gbw,
            "slew": nominal.slew * die.slew,
            "en": nominal.en * die.en,
            "en_corner": nominal.en_corner * die.corner,
            "inoise": nominal.inoise * die.inoise,
            "aol_db": nominal.aol_db + die.aol_db,
            "iq": nominal.iq * die.iq,
            "vos": record.vos_max * die.vos,
            "ib": nominal.ib * die.ib,
            "cin": die.cin,
            "rout": nominal.rout * die.ro,
            "second_pole": nominal.second_pole * die.fp2,
        }
        for name in DIE_COLUMNS:
            columns[f"{device.name}.{name}"] = np.broadcast_to(values[name], units.shape).astype(float)
    return columns


def unit_values(chain: Chain, columns: dict[str, np.ndarray], row: int, number: int) -> UnitValues:
    """One unit out of :func:`unit_table`."""
    macros = tuple(
        _macro(record, {name: float(columns[f"{device.name}.{name}"][row]) for name in DIE_COLUMNS})
        for device, record in zip(chain.circuit.devices, chain.opamps, strict=True)
    )
    temperature_c = float(columns["temperature_c"][row])
    outside = {part.name: float(columns[part.name][row]) for part in chain.outside} if number > 0 else {}
    return UnitValues(
        number=number,
        parts={part.name: float(columns[part.name][row]) for part in chain.circuit.parts},
        macros=macros,
        supply_v=float(columns[SUPPLY_COLUMN][row]),
        temperature_c=temperature_c,
        outside=unit_outside(chain, outside, temperature_c),
    )


def _macro(record, drawn: dict[str, float]) -> MacroParameters:
    nominal = nominal_parameters(record)
    cin = drawn.pop("cin")
    return replace(nominal, **drawn, cin_diff=nominal.cin_diff * cin, cin_cm=nominal.cin_cm * cin)
