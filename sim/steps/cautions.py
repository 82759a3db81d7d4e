"""What a reader must know about the models before believing the numbers."""

import math

import numpy as np

from sim.deck.build import antenna_of, chain_of
from sim.feedline.cable import load_cable
from sim.noise.external import noise_class
from sim.quantity import format_quantity


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
            f"The network that stands for the {antenna.name} keeps to its impedance within"
            f" {max(1, math.ceil(100 * float(fit_error(bands).max())))} % at the bands."
        )
    for f in bands[~antenna.valid(bands)]:
        found.append(
            f"{format_quantity(f, 'Hz')} lies outside the range in which the antenna model {antenna.name} was checked"
            f" ({format_quantity(antenna.low_hz, 'Hz')} to {format_quantity(antenna.high_hz, 'Hz')})."
        )
    cable = load_cable(study.feedline.cable, study.folder)
    if study.feedline.length > 0:
        if cable.caution:
            found.append(f"Feedline: {cable.caution}")
        for f in bands[~cable.valid(bands)]:
            found.append(f"{format_quantity(f, 'Hz')} lies outside the data of the cable {cable.name}.")
    if isinstance(study.site.noise, str):
        noise = noise_class(study.site.noise)
        found += [
            f"{format_quantity(f, 'Hz')} lies outside the range of the noise class {study.site.noise}."
            for f in bands[~noise.valid(bands)]
        ]
    chain = chain_of(study)
    volts = study.supply.voltage.value
    for record in dict.fromkeys(chain.opamps):
        if not record.verified:
            found.append(f"The data of {record.part} were not verified against a data sheet: {record.notes}")
        if not record.supply_min <= volts <= record.supply_max:
            found.append(
                f"{record.part} is made for {record.supply_min:g} to {record.supply_max:g} V; the supply is {volts:g} V"
                " before the drops in feedline and filter."
            )
    return found
