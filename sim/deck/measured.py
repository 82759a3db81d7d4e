"""A measured antenna of a study: its file read, held against the bands, and refused where it cannot be believed."""

import math
from dataclasses import replace

import numpy as np

from sim.antenna.measured import (
    GOOD_RESISTANCE,
    LARGEST_FIT_ERROR,
    Measured,
    measured,
    negative_resistance,
    radiation_resistance,
)
from sim.antenna.one_port import OnePort, load_one_port
from sim.errors import Fault, StudyError
from sim.quantity import format_quantity

FIELD_MEASURES = ("noise_margin_db", "noise_rise_db", "antenna_factor_db")
"""What cannot be computed without an effective height."""
SPARSE = 0.1
"""How far the nearest point may be from a band, relative, without a word."""


def measured_antenna(study) -> Measured:
    """The study's measured antenna as a source.

    Parameters
    ----------
    study : Study
        Of a scenario, with an antenna of the model ``measured``.

    Raises
    ------
    RecordError
        The file cannot be used.
    StudyError
        It does not reach a band, is no passive antenna's, no network fits, or an effective height is missing.
    """
    words, bands = study.antenna, np.asarray(study.bands.frequencies)

    def refuse(key: str, found: str, remedy: str):
        return StudyError(Fault(study.file, study.line_of(f"antenna.{key}"), f"antenna.{key}", found, remedy))

    data = load_one_port(words.file, study.folder, words.state)
    for f in bands[(bands < data.freq_hz[0]) | (bands > data.freq_hz[-1])]:
        raise refuse(
            "file",
            f"{words.file} does not reach the band {_hz(f)}: it goes from {_hz(data.freq_hz[0])} to"
            f" {_hz(data.freq_hz[-1])}.",
            "Sweep that far, or leave the band out; nothing is extrapolated at a band.",
        )
    if data.height is not None and words.effective_height is not None:
        raise refuse("effective_height", f"stands beside the heights in {words.file}.", "Take one of them out.")
    wanted = [name for name in FIELD_MEASURES if name in study.limits]
    if data.height is None and words.effective_height is None and wanted:
        raise refuse(
            "effective_height",
            f"is missing, and {wanted[0]} has a limit.",
            "Give it (about half the height of a short vertical), or take the limit out.",
        )
    negative = negative_resistance(data)
    if negative is not None:
        raise refuse(
            "file",
            f"{words.file} has a resistance of {negative[1]:.3g} ohm at {_hz(negative[0])}, which no antenna has.",
            "Calibrate the analyser at the antenna's terminals and measure again; if no band is near, cut that part of"
            " the file off.",
        )
    antenna = measured(data, bands, words.effective_height, words.ground_loss, words.stray)
    errors = antenna.fit_error(bands)
    if not errors.max() <= LARGEST_FIT_ERROR:
        raise refuse("file", *_misfit(antenna, bands[int(np.argmax(errors))], float(errors.max())))
    return replace(antenna, cautions=_cautions(antenna, data, bands))


def _misfit(antenna: Measured, band: float, error: float) -> tuple[str, str]:
    """What is said of a network that does not fit, and the advice that goes with the reason."""
    found = (
        f"no passive network comes closer than {100 * error:.1f} % to the impedance around {_hz(band)};"
        f" {100 * LARGEST_FIT_ERROR:g} % is the limit."
    )
    noise = float(antenna.scatter([band])[0])
    if noise > LARGEST_FIT_ERROR:
        return found, (
            f"The file scatters by {100 * noise:.1f} % there: average more sweeps, or use an analyser that sees a large"
            " impedance better."
        )
    return found, (
        "Take fewer bands at a time, cut the file to half to twice the bands, check the calibration at that frequency,"
        " and whether the cable to the antenna is taken out of the sweep."
    )


def _cautions(antenna: Measured, data: OnePort, bands) -> tuple[str, ...]:
    """What the file leaves open."""
    said = [
        f"measured: outside {_hz(antenna.low_hz)} to {_hz(antenna.high_hz)} the network that was fitted to {data.name}"
        " goes on by itself; curves and the stability verdict rest on it there.",
        f"measured: {_split(antenna)}",
    ]
    height = antenna.effective_height(bands)
    if np.isnan(height).any():
        said.append("measured: no effective height is given, so nothing is said about outside noise.")
    resistance = antenna.resistance_error(bands)
    worst = int(np.argmax(resistance))
    if resistance[worst] > GOOD_RESISTANCE:
        said.append(
            f"measured: the network's resistance is {100 * resistance[worst]:.0f} % off the file's at"
            f" {_hz(bands[worst])}; so is the power of its losses' thermal noise there."
        )
    scatter = antenna.scatter(bands)
    worst = int(np.argmax(scatter))
    if scatter[worst] > LARGEST_FIT_ERROR:
        said.append(f"measured: the file scatters by {100 * scatter[worst]:.1f} % around {_hz(bands[worst])}.")
    if np.any(data.impedance.real <= 0):
        at = float(data.freq_hz[int(np.argmin(data.impedance.real))])
        said.append(
            f"measured: the resistance in the file is not above zero everywhere, for example at {_hz(at)}; analysers do"
            " not see a small resistance beside a large reactance, so take its losses as a guess."
        )
    said += [
        f"measured: the file's nearest point to {_hz(f)} is {_hz(data.freq_hz[near])}; between points the network"
        " decides."
        for f in bands
        if abs(data.freq_hz[near := int(np.argmin(np.abs(data.freq_hz - f)))] / f - 1) > SPARSE
    ]
    if antenna.ground_loss is None:
        said += _too_high(antenna, bands)
    return tuple(said)


def _split(antenna: Measured) -> str:
    """Which part of the resistance is taken as loss."""
    if antenna.ground_loss is not None:
        return (
            f"{format_quantity(antenna.ground_loss, 'ohm')} of its resistance are taken as loss at ambient temperature,"
            " the rest as radiation."
        )
    if math.isnan(antenna.height[0]):
        return "all of its resistance is taken as loss at ambient temperature."
    return (
        "what its resistance has above 40 (k h)², the radiation of a short vertical over perfect ground, is taken as"
        " loss at ambient temperature."
    )


def _too_high(antenna: Measured, bands) -> list[str]:
    """Heights that would need more radiation resistance than there is resistance."""
    needed = radiation_resistance(antenna.effective_height(bands), bands)
    whole = antenna.impedance(bands).real
    return [
        f"measured: an effective height of {antenna.effective_height(f).item():.3g} m would radiate with {r:.3g} ohm at"
        f" {_hz(f)}, and the antenna has {z:.3g} ohm: one of the two is wrong, or it is no short vertical."
        for f, r, z in zip(bands, needed, whole, strict=True)
        if r > 1.25 * z
    ]


def _hz(freq_hz) -> str:
    return format_quantity(float(freq_hz), "Hz")
