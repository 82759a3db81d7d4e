"""What a reader must know about the models before believing the numbers."""

import math

import numpy as np

from sim.deck.build import antenna_of, chain_of, route_of
from sim.feedline.ends import OnePort
from sim.feedline.line import both_voltages_at_constant_power
from sim.measures.surroundings import site_noise
from sim.noise.external import noise_class
from sim.quantity import format_quantity
from sim.stability.judged import study_loads
from sim.steps.maker import static_cautions
from sim.summary.matching import MATCHES

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
    if study.stability is not None and chain.circuit.balanced:
        found.append(
            f"{chain.circuit.name} has two inputs: [stability] tries every feedline with it, but no other antenna, nor"
            " both ends together."
        )
    if study.run.units < study.run.build and set(MATCHES) & set(study.limits):
        few = f"{study.run.units} unit{'s' * (study.run.units > 1)} only"
        found.append(f"Match is judged among {few}; a build has {study.run.build}.")
    found += _feed(study, chain)
    regulated = study.supply.regulator
    volts = (regulated or study.supply.voltage).value
    source = "the regulator gives" if regulated else "the supply is"
    for record in dict.fromkeys(chain.opamps):
        if record.current_feedback:
            found.append(
                f"{record.part} has current feedback, which the model only hints at: a capacitor straight across its"
                " feedback resistor makes such an op-amp oscillate. Do not rest a stability verdict on it."
            )
        if not record.verified:
            found.append(f"The data of {record.part} were not verified against a data sheet: {record.notes}")
        if not record.supply_min <= volts <= record.supply_max:
            found.append(
                f"{record.part} is made for {record.supply_min:g} to {record.supply_max:g} V; {source} {volts:g} V"
                f" before the drops in {'filter' if regulated else 'feedline and filter'}."
            )
    return found


def _feed(study, chain) -> list[str]:
    """What a constant power at the unit asks of the feedline, at its warmest, the amplifier's own current left out."""
    power, supply = chain.feed.power, study.supply
    if not power or not chain.through_line:
        return []
    ohms = chain.route.supply_resistance(max(study.run.temperature))
    upper, lower = both_voltages_at_constant_power(supply.voltage.value, power, ohms)
    asked, behind = format_quantity(power, "W"), format_quantity(ohms, "ohm", 3)
    if math.isnan(upper):
        return [
            f"A converter of {asked} behind {behind} has no resting point at {supply.voltage.value:g} V: the line"
            f" carries {format_quantity(supply.voltage.value**2 / (4 * ohms), 'W', 3)} at most."
        ]
    if lower < LEAST_CONVERTER_V:
        return []
    return [
        f"A converter of {asked} behind {behind} can rest at {upper:.1f} V or hang at {lower:.1f} V when it starts: let"
        " it switch on only well above the lower one. The upper one is what is computed."
    ]


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
