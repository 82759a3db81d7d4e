"""Antenna and feedline of a scenario as Touchstone files."""

import numpy as np

from sim.deck.build import antenna_of, route_of
from sim.measured.touchstone import REFERENCE, one_port_scattering, touchstone_text, two_port_scattering
from sim.measures.surroundings import curve_frequencies


def file_frequencies(study) -> np.ndarray:
    """Frequencies of a file: those of the curves and, exactly, every band, rising. [Hz]"""
    bands = np.asarray(study.bands.frequencies)
    return np.unique(np.concatenate([bands, curve_frequencies(bands)]))


def antenna_text(study, scenario_number: int = 0) -> str:
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
    return touchstone_text(freq_hz, one_port_scattering(seen), head)


def feedline_text(study, scenario_number: int = 0) -> str:
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
    return touchstone_text(freq_hz, two_port_scattering(route_of(study).chain_matrix(freq_hz)), head)


def _title(study, scenario_number: int) -> str:
    return f"{study.title}: scenario {scenario_number}, reference {REFERENCE:g} ohm"
