"""From a scenario's words to what is simulated: the chain, and the drawn values of its units."""

import math
from dataclasses import replace

import numpy as np

from sim.antenna.earth_line import SOILS, EarthLine, Soil
from sim.antenna.earth_rod import Rods
from sim.antenna.fixture import Fixture, fixture
from sim.antenna.ground_wire import LARGEST_FIT_ERROR, ground_wire
from sim.antenna.plain import plain
from sim.antenna.short_dipole import short_dipole
from sim.antenna.short_vertical import short_vertical
from sim.antenna.source import AntennaSource, BalancedSource
from sim.antenna.tall_vertical import LARGEST_TALL_ERROR, tall_vertical
from sim.deck.chain import Chain, UnitValues
from sim.deck.circuit import Circuit, read_circuit
from sim.deck.clamp import clamp_leakages, clamped, leakage_parts
from sim.deck.header import least_supply
from sim.deck.maker.of_study import model_of, record_of
from sim.deck.measured import measured_antenna
from sim.deck.outside import (
    TEE_PARTS,
    draw_outside,
    nominal_feed,
    nominal_jig,
    outside_parts,
    unit_outside,
)
from sim.deck.weather import CONNECTOR, CONTACT, exposed
from sim.errors import Fault, StudyError
from sim.feedline.cable import load_cable
from sim.feedline.route import Route, Section
from sim.feedline.tee import Tee
from sim.opamp.curvature import curvature
from sim.opamp.macromodel import MacroParameters, nominal_parameters
from sim.sampling.draw import HOURS_A_YEAR, aged, die_at, draw_die, draw_part, draw_temperature
from sim.study.electrode import electrode_parts

SUPPLY_COLUMN = "supply.voltage"
"""Name under which the supply voltage is drawn and ranked, beside the circuit's parts."""

PROBED = ("stability_margin", "phase_margin_deg", "gain_margin_db", "stable", "line_margin")
"""Measures of a loop, which need a probe."""

SECOND_ORDER_LIMITS = ("oip2_dbm", "product_margin_db")
STRONG_LIMITS = ("headroom_db", "oip3_dbm", *SECOND_ORDER_LIMITS)
"""Measures of strong carriers, and those of them that need second order."""

DIE_COLUMNS = ("gbw", "slew", "en", "en_corner", "inoise", "aol_db", "iq", "vos", "ib", "cin", "rout", "second_pole")
"""What is kept of an op-amp's drawn die, as columns named ``<device>.<name>``."""


def antenna_of(study) -> AntennaSource:
    """The study's antenna as a source.

    Raises
    ------
    StudyError
        No passive network comes close enough to the impedance of a wire, of a vertical above its closed form, or of a
        measured antenna.
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
    if words.model == "short-dipole":
        return short_dipole(
            words.length,
            words.radius,
            words.height,
            _soil_of(words),
            words.gap,
            words.stray,
            math.radians(words.azimuth),
            math.radians(words.elevation),
            study.bands.frequencies,
        )
    return _vertical(study)


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


def _soil_of(words) -> Soil:
    """The soil of an antenna's words: a kind, with constants of its own where they are given."""
    soil = next(soil for soil in SOILS if soil.name == words.soil)
    if words.soil_permittivity is not None:
        soil = replace(soil, permittivity=words.soil_permittivity)
    if words.soil_conductivity is not None:
        soil = replace(soil, conductivity=words.soil_conductivity)
    return soil


def _ground_wire(study) -> AntennaSource:
    words = study.antenna
    soil = _soil_of(words)
    far_end, far_rods = electrode_parts(words.far_end)
    ground_loss, feed_rods = electrode_parts(words.ground_loss)
    beside = words.spacing if words.wires == 2 else None
    antenna = ground_wire(
        EarthLine(words.radius, words.coat_radius, words.coat_permittivity, words.height, soil, beside),
        words.length,
        far_end,
        ground_loss,
        words.feed == "centre",
        math.radians(words.azimuth),
        math.radians(words.elevation),
        study.bands.frequencies,
        *(
            Rods(count, words.rod_length, words.rod_radius, words.rod_spacing, soil) if count else None
            for count in (far_rods, feed_rods)
        ),
    )
    remedy = "Take fewer bands at a time, or end the wire in a resistance."
    _refuse_misfit(study, antenna, LARGEST_FIT_ERROR, "antenna.length", "wire", remedy)
    return replace(antenna, shunt_capacitance=words.stray)


def _vertical(study) -> AntennaSource:
    """A vertical by its network in closed form, or, with a band above that one's range, by the one of an open line."""
    words = study.antenna
    given = (words.height, words.radius, words.gap, words.ground_loss, words.stray, words.lead)
    antenna = short_vertical(*given)
    # A stump has no first resonance to which the open line could be tied: the closed form stands, out of its range.
    if antenna.valid(max(study.bands.frequencies)) or words.height < 40 * words.radius:
        return antenna
    antenna = tall_vertical(*given, study.bands.frequencies)
    remedy = "Take bands closer together, in studies of their own, or a shorter antenna."
    _refuse_misfit(study, antenna, LARGEST_TALL_ERROR, "antenna.height", "vertical", remedy)
    return antenna


def _refuse_misfit(study, antenna, limit: float, key: str, what: str, remedy: str) -> None:
    error = antenna.fit_error(antenna.bands_hz).max()
    if error <= limit:
        return
    raise StudyError(
        Fault(
            study.file,
            study.line_of(key),
            "antenna",
            f"no passive network comes closer than {100 * error:.1f} % to the {what}'s impedance at the bands;"
            f" {100 * limit:g} % is the limit.",
            remedy,
        )
    )


def chain_of(study) -> Chain:
    """What one scenario simulates.

    Raises
    ------
    InputError
        The circuit, an op-amp or a cable cannot be read, the study overrides a part that the circuit does not have, or
        antenna and circuit do not go together.
    """
    circuit = read_circuit(study.amplifier.circuit, study.folder)
    circuit = circuit.with_parts(study.amplifier.parts, study.file, study.line_of)
    circuit = circuit.with_series(study.amplifier.series_input, study.amplifier.series_output)
    circuit = exposed(clamped(circuit, study.amplifier), study)
    leakages = clamp_leakages(circuit, study.amplifier)
    _refuse_unjudged_limits(study, circuit)
    record, maker = record_of(study), model_of(study)
    _refuse_unmodelled_limits(study, circuit, record)
    route, antenna = route_of(study), antenna_of(study)
    _refuse_unmatched(study, circuit, antenna)
    if circuit.balanced and isinstance(antenna, Fixture):
        antenna = fixture(antenna.source, antenna.dummy, antenna.shunt_capacitance, inputs=2)
    return Chain(
        circuit=circuit,
        opamps=(record,) * len(circuit.devices),
        antenna=antenna,
        feed=nominal_feed(study, route),
        route=route,
        through_line=study.feedline.power == "coax",
        jig=nominal_jig(study),
        outside=(*outside_parts(study, route), *leakage_parts(leakages)),
        least_supply=least_supply(circuit),
        clamp_leakages=leakages,
        maker=maker,
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


def _refuse_unmodelled_limits(study, circuit: Circuit, record) -> None:
    """Refuse limits on strong carriers that the op-amp's data cannot tell: every unit would fail them."""
    found = None
    if not circuit.devices:
        asked, found = STRONG_LIMITS, f"the circuit {circuit.name} has no op-amp, and of nothing else limits are known."
    elif not curvature(record, study.supply.voltage.value).second_order:
        asked = SECOND_ORDER_LIMITS
        found = f"no data sheet point of distortion is known of {record.part}, so second order is not modelled."
    told = [name for name in study.limits if found and name in asked]
    if told:
        remedy = "Take the limit out, or an op-amp whose record has one (keys hd2_dbc to hd_load_ohm)."
        raise StudyError(
            Fault(study.file, study.line_of(f"limits.{name}"), f"limits.{name}", found, remedy) for name in told
        )


def _refuse_unmatched(study, circuit: Circuit, antenna: AntennaSource) -> None:
    """Refuse an antenna with two legs before one input, one with one leg before two, and a limit on what is not."""

    def refuse(key: str, found: str, remedy: str) -> None:
        raise StudyError(Fault(study.file, study.line_of(key), key, found, remedy))

    if circuit.balanced and not isinstance(antenna, BalancedSource):
        refuse(
            "amplifier.circuit",
            f"the circuit {circuit.name} has two inputs, and the antenna {antenna.name} has one leg and ground.",
            'Take a circuit with the ports "in out vcc gnd", or an antenna with two legs: model = "short-dipole".',
        )
    if not circuit.balanced and not antenna.single_ended:
        refuse(
            "amplifier.circuit",
            f"the circuit {circuit.name} has one input, and the antenna {antenna.name} has two legs.",
            'Take a circuit with the ports "in_p in_n out vcc gnd": circuit = "balanced-transimpedance".',
        )
    if circuit.balanced and study.amplifier.series_input is not None:
        refuse(
            "amplifier.series_input",
            f"the circuit {circuit.name} has two inputs, and this is one resistor before one input.",
            "Put a stopper into each leg of the circuit itself.",
        )
    if circuit.balanced and "antenna_margin" in study.limits:
        refuse(
            "limits.antenna_margin",
            f"the circuit {circuit.name} has two inputs, with which other antennas are not tried.",
            "Take the limit out, or use a circuit with one input.",
        )
    if not circuit.balanced and "cmrr_db" in study.limits:
        refuse(
            "limits.cmrr_db",
            f"the circuit {circuit.name} has one input, so there is no common mode to reject.",
            "Take the limit out, or use a circuit with two inputs.",
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
        :mod:`sim.deck.outside`), then each op-amp's values, see :data:`DIE_COLUMNS` [SI]; none of a maker's model.
    """
    seed, build = study.run.seed, study.run.build
    temperature = draw_temperature(study.run.temperature, seed, units)
    columns = {"temperature_c": temperature}
    for part in chain.circuit.parts:
        columns[part.name] = draw_part(part.value, part.name, seed, units, build, temperature)
        if study.run.years > 0:
            columns[part.name] = columns[part.name] * aged(part.value, HOURS_A_YEAR * study.run.years)
    columns[SUPPLY_COLUMN] = draw_part(study.supply.voltage, SUPPLY_COLUMN, seed, units, build)
    columns |= draw_outside(chain.outside, seed, units, build, temperature)
    # A maker's model is one die, whose numbers nobody sees.
    for device, record in () if chain.maker else zip(chain.circuit.devices, chain.opamps, strict=True):
        die = die_at(draw_die(device.name, seed, units), temperature, record.fet_input)
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
    macros = () if chain.maker else tuple(
        _macro(record, {name: float(columns[f"{device.name}.{name}"][row]) for name in DIE_COLUMNS})
        for device, record in zip(chain.circuit.devices, chain.opamps, strict=True)
    )
    temperature_c = float(columns["temperature_c"][row])
    in_supply = (name for name in (CONTACT, CONNECTOR) if name in columns)
    names = (*(part.name for part in chain.outside), *in_supply) if number > 0 else ()
    outside = {name: float(columns[name][row]) for name in names}
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
