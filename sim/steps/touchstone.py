"""Antenna and feedline of a scenario as Touchstone files."""

from dataclasses import dataclass

import numpy as np

from sim.deck.build import antenna_of, route_of
from sim.measured.touchstone import REFERENCE, one_port_scattering, touchstone_text, two_port_scattering
from sim.measures.surroundings import curve_frequencies
from sim.quantity import format_quantity


@dataclass(frozen=True)
class File:
    """A file to be written, and what its reader must know.

    Attributes
    ----------
    text : str
        Touchstone; the cautions stand in its head too.
    cautions : tuple of str
    """

    text: str
    cautions: tuple[str, ...]


def file_frequencies(study) -> np.ndarray:
    """Frequencies of a file: those of the curves and, exactly, every band, rising. [Hz]"""
    bands = np.asarray(study.bands.frequencies)
    return np.unique(np.concatenate([bands, curve_frequencies(bands)]))


def antenna_file(study, scenario_number: int = 0) -> File:
    """What is seen into the antenna's terminals, stray capacitance included, as a one-port file.

    Parameters
    ----------
    study : Study
        Of the scenario.
    scenario_number : int
        Only for the head of the file.
    """
    antenna, freq_hz = antenna_of(study), file_frequencies(study)
    impedance = antenna.impedance(freq_hz)
    seen = impedance / (1 + 2j * np.pi * freq_hz * antenna.shunt_capacitance * impedance)
    head = f"{_title(study, scenario_number)}\nantenna {antenna.name}, stray capacitance included"
    return _file(
        freq_hz, one_port_scattering(seen), head, _reach(antenna, freq_hz, f"the antenna model {antenna.name}")
    )


def feedline_file(study, scenario_number: int = 0) -> File:
    """Feedline with its sections and bias tees as a two-port file, port 1 at the amplifier.

    Parameters
    ----------
    study : Study
        Of the scenario.
    scenario_number : int
        Only for the head of the file.
    """
    freq_hz = file_frequencies(study)
    parts = " + ".join(f"{section.cable} {section.length:g} m" for section in study.feedline.all_sections)
    tee = f", bias tee at: {study.feedline.tee.at}" if study.feedline.tee else ""
    head = f"{_title(study, scenario_number)}\nfeedline {parts}{tee}; port 1 amplifier, port 2 receiver"
    route = route_of(study)
    cables = dict.fromkeys(section.cable for section in route.sections if section.length > 0)
    cautions = [line for cable in cables for line in _reach(cable, freq_hz, f"the data of {cable.name}")]
    return _file(freq_hz, two_port_scattering(route.chain_matrix(freq_hz)), head, cautions)


def _file(freq_hz, s, head: str, cautions) -> File:
    comments = "\n".join([head, *(f"Caution: {line}" for line in cautions)])
    return File(touchstone_text(freq_hz, s, comments), tuple(cautions))


def _reach(model, freq_hz, what: str) -> list[str]:
    """What is to be said where a file goes beyond what a model was made for."""
    if np.all(model.valid(freq_hz)):
        return []
    low, high = (format_quantity(f, "Hz") for f in (model.low_hz, model.high_hz))
    return [f"the file goes beyond the range of {what}, {low} to {high}."]


def _title(study, scenario_number: int) -> str:
    return f"{study.title}: scenario {scenario_number}, reference {REFERENCE:g} ohm"
