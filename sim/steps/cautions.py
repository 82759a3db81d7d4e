"""What a reader must know about the models before believing the numbers."""

import math
from dataclasses import replace

import numpy as np

from sim.array.coupling import coupling
from sim.deck.build import antenna_of, chain_of, route_of
from sim.feedline.ends import OnePort
from sim.feedline.line import both_voltages_at_constant_power
from sim.measures.stations import stations_of
from sim.measures.surroundings import site_noise
from sim.noise.external import noise_class
from sim.opamp.doubts import doubts_told
from sim.quantity import format_quantity
from sim.stability.judged import study_loads
from sim.steps.maker import static_cautions
from sim.study.weather import weather_of
from sim.summary.matching import MATCHES

TOUCH_V = 30.0
"""Open-circuit volts of a carrier, rms, from which a warning is given; own choice, no source. [V]"""
_OTHER_WAVES = ("ground-wire", "short-dipole")
LEAST_CONVERTER_V = 1.0
"""Below it no switching converter draws its power, so that it cannot hang there; common practice, no source. [V]"""


def cautions(study) -> list[str]:
    """Sentences about one scenario: ranges left, data not verified, ratings exceeded.

    Parameters
    ----------
    study : Study
        Of the scenario.
    """
    found = []
    antenna = antenna_of(study)
    bands = np.asarray(study.bands.frequencies)
    found += list(antenna.cautions)
    fit_error = getattr(antenna, "fit_error", None)
    if fit_error is not None:
        found.append(
            f"The network that stands for the {antenna.name} antenna keeps to its impedance within"
            f" {max(1, math.ceil(100 * float(fit_error(bands).max())))} % at the bands."
        )
    for f in bands[~antenna.valid(bands)]:
        found.append(
            f"{format_quantity(f, 'Hz')} lies outside the range in which the antenna model {antenna.name} was checked"
            f" ({format_quantity(antenna.low_hz, 'Hz')} to {format_quantity(antenna.high_hz, 'Hz')})."
        )
    found += _feedline(route_of(study), bands)
    if isinstance(study.site.noise, str):
        noise = noise_class(study.site.noise)
        found += [
            f"{format_quantity(f, 'Hz')} lies outside the range of the noise class {study.site.noise}."
            for f in bands[~noise.valid(bands)]
        ]
    found += _about_added_noise(study, bands)
    chain = chain_of(study)
    if chain.opamps and not chain.circuit.probes:
        found.append(
            f"{chain.circuit.name} has no loop probe, so nothing is said about its stability. Put one into the op-amp's"
            " output wire, before the feedback branches off: Xloop DRIVING RECEIVING probe."
        )
    found += static_cautions(chain)
    found += _far_ends(study)
    found += _neighbours(study, antenna, bands)
    if study.stability is not None and chain.circuit.balanced:
        found.append(
            f"{chain.circuit.name} has two inputs: [stability] tries every feedline with it, but no other antenna, nor"
            " both ends together."
        )
    if study.run.units < study.run.build and set(MATCHES) & set(study.limits):
        few = f"{study.run.units} unit{'s' * (study.run.units > 1)} only"
        found.append(f"Match is judged among {few}; a build has {study.run.build}.")
    found += _near(study, antenna, chain)
    found += _feed(study, chain)
    found += _weather(study)
    regulated = study.supply.regulator
    volts = (regulated or study.supply.voltage).value
    source = "the regulator gives" if regulated else "the supply is"
    for record in dict.fromkeys(chain.opamps):
        if record.current_feedback:
            found.append(
                f"{record.part} has current feedback, which the model only hints at: a capacitor straight across its"
                " feedback resistor makes such an op-amp oscillate. Do not rest a stability verdict on it."
            )
        # A maker's model stands in place of the record's numbers.
        doubts = "" if chain.maker else doubts_told(record)
        if doubts:
            found.append(doubts)
        if not record.supply_min <= volts <= record.supply_max:
            found.append(
                f"{record.part} is made for {record.supply_min:g} to {record.supply_max:g} V; {source} {volts:g} V"
                f" before the drops in {'filter' if regulated else 'feedline and filter'}."
            )
    return found


def _near(study, antenna, chain) -> list[str]:
    """What the emf of strong carriers rests on, and what it may do to whoever touches the antenna."""
    found, stations = [], stations_of(study, antenna)
    by_field = [words.known_field is not None for words in study.strong]
    for station, field in zip(stations, by_field, strict=True):
        if not antenna.valid(station.freq_hz):
            what = "its emf and what it does" if field else "what it does"
            found.append(
                f"{station.name} lies outside the range in which the antenna model {antenna.name} was checked"
                f" ({format_quantity(antenna.low_hz, 'Hz')} to {format_quantity(antenna.high_hz, 'Hz')}): take {what}"
                " as an estimate."
            )
    if any(by_field) and study.antenna.model in _OTHER_WAVES:
        found.append(
            f"A station's ground wave reaches a {study.antenna.model} otherwise than the wanted wave that its effective"
            " height is for: better measure the station's level at the receiver."
        )
    if stations and not chain.circuit.devices:
        found.append(f"{chain.circuit.name} has no op-amp, so nothing is said about room for strong carriers.")
    if any(station.emf > TOUCH_V for station in stations):
        found.append(
            f"An antenna with more than {TOUCH_V:g} V of a station's carrier on it burns whoever touches it, and loose"
            " wires near by do the same: work on it only while the station is off the air."
        )
    return found


def _feed(study, chain) -> list[str]:
    """What a constant power at the unit asks of the feedline, at its warmest, the amplifier's own current left out."""
    power, supply = chain.feed.power, study.supply
    if not power or not chain.through_line:
        return []
    warmest = replace(chain.feed, resistance=chain.route.supply_resistance(max(study.run.temperature)))
    volts, ohms = warmest.thevenin(supply.voltage.value)
    upper, lower = both_voltages_at_constant_power(volts, power, ohms)
    asked, behind = format_quantity(power, "W"), format_quantity(ohms, "ohm", 3)
    if math.isnan(upper):
        return [
            f"A converter of {asked} behind {behind} has no resting point at {volts:.4g} V: the line"
            f" carries {format_quantity(volts**2 / (4 * ohms), 'W', 3)} at most."
        ]
    if lower < LEAST_CONVERTER_V:
        return []
    return [
        f"A converter of {asked} behind {behind} can rest at {upper:.1f} V or hang at {lower:.1f} V when it starts: let"
        " it switch on only well above the lower one. The upper one is what is computed."
    ]


def _weather(study) -> list[str]:
    """What the numbers of a wet connector or a corroded contact leave out."""
    does = weather_of(study)
    found = []
    if "connector_leak" in does and study.feedline.power == "coax":
        found.append(
            "Water in a connector that carries the supply is an electrolytic cell: the positive centre dissolves, and"
            " what is a leak this week is a broken contact the next (common practice, no source)."
        )
    if "contact_resistance" in does:
        found.append(
            "A corroded contact is taken as a resistor. A real one is a junction too, which crackles and mixes strong"
            " stations, most of all with direct current through it; that is not computed."
        )
    return found


def _far_ends(study) -> list[str]:
    """How far the measured far ends reach."""
    ends = {load.end for load in study_loads(study) if isinstance(load.end, OnePort)}
    return [
        f"{end.name} was measured from {format_quantity(end.freq_hz[0], 'Hz')} to"
        f" {format_quantity(end.freq_hz[-1], 'Hz')}; beyond that its reflection is taken as at the ends."
        for end in sorted(ends, key=lambda end: end.name)
    ]


def _feedline(route, bands) -> list[str]:
    found = []
    for cable in dict.fromkeys(section.cable for section in route.sections if section.length > 0):
        if cable.caution:
            found.append(f"Feedline: {cable.caution}")
        for f in bands[~cable.valid(bands)]:
            found.append(f"{format_quantity(f, 'Hz')} lies outside the data of the cable {cable.name}.")
    for f in bands if route.tees else ():
        # Common practice, no source: ten times the line's impedance keeps the return loss above 26 dB.
        choke = abs(route.tees[0].choke_impedance(f))
        if choke < 10 * route.impedance:
            found.append(
                f"The bias tee's choke has {format_quantity(choke, 'ohm', 3)} at {format_quantity(f, 'Hz')},"
                f" less than ten times the cable's {format_quantity(route.impedance, 'ohm')}."
            )
    return found


def _neighbours(study, antenna, bands: np.ndarray) -> list[str]:
    """What elements of an array do to each other, which is left out."""
    if study.array is None:
        return []
    places = np.asarray(study.array.positions)
    distances = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    nearest = float(distances[~np.eye(len(places), dtype=bool)].min())
    if study.antenna.model != "short-vertical":
        return [
            "The array's pattern is that of short verticals over flat ground: other antennas have another one each, so"
            " directivity and noise penalty do not hold for them; what errors do to a null does."
        ]
    shares = coupling(study.antenna.height, antenna.impedance(bands), nearest, bands)
    worst = int(np.argmax(shares))
    return [
        f"Coupling between elements is left out: at {format_quantity(bands[worst], 'Hz')} a neighbour"
        f" {format_quantity(nearest, 'm')} away changes an element's signal by up to {100 * shares[worst]:.1f} %"
        f" ({20 * math.log10(shares[worst]):.0f} dB; an estimate, point dipoles, inputs that short the antenna)."
    ]


def _about_added_noise(study, bands: np.ndarray) -> list[str]:
    """What galactic and atmospheric noise rest on, where the study adds them and the antenna receives a field."""
    if study.antenna.model == "fixture":
        return []
    found, site = [], site_noise(study)
    if site.fof2_hz is not None:
        galactic = noise_class("galactic")
        found += [
            f"Galactic noise at {format_quantity(f, 'Hz')}: its curve is given from"
            f" {format_quantity(galactic.low_hz, 'Hz')} and is continued below."
            for f in bands[(bands > site.fof2_hz) & ~galactic.valid(bands)]
        ]
    record = site.atmospheric
    if record is not None:
        found.append(
            f"Atmospheric noise {record.name}: smoothed maps of measurements of about 1957-61, for one place, month and"
            f" hour; take it as {record.quality_db:g} dB either way."
        )
        found += [
            f"Atmospheric noise at {format_quantity(f, 'Hz')}: the record ends at"
            f" {format_quantity(min(record.freq_hz, key=lambda end, f=f: abs(end - f)), 'Hz')}; its last line is"
            " continued."
            for f in bands[record.reaches(bands) & ~record.inside(bands)]
        ]
    return found
