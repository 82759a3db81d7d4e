"""What a good unit shows on the bench: gain and phase at ten frequencies, current, volts at every pin, with limits.

The limits are the least and the largest of the units that simulated: of 93 units or more, 95 % of all boards lie
between them, with 95 % confidence, at each point by itself (Wilks, Annals of Mathematical Statistics 12, 1941). What
the measurement itself is unsure of comes on top.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sim.columns import TABLES
from sim.measures.panel import BANDED, CURVES, SINGLE
from sim.measures.ratings import RESTING
from sim.summary.collect import extremes, nominal

if TYPE_CHECKING:
    from pandas import DataFrame

    from sim.summary.collect import Gathered

POINTS = 10
LOWEST_HZ, HIGHEST_HZ = 0.5e6, 10e6
"""Where a sheet begins and ends, as far as the bands do not reach further. [Hz]"""
GAIN, PHASE = "bench gain", "bench phase"


@dataclass(frozen=True)
class Device:
    """An op-amp of the circuit: its name and its part, "Xamp", "OPA2822"."""

    name: str
    part: str


def sheet_frequencies(bands_hz, curve_hz) -> np.ndarray:
    """The bands, and frequencies spread between and around them, ten in all or as many as there are bands. [Hz]

    Parameters
    ----------
    bands_hz, curve_hz : sequence of float
        Frequencies at which units are read. [Hz]
    """
    bands, curve_hz = np.asarray(bands_hz, dtype=float), np.asarray(curve_hz, dtype=float)
    chosen = list(bands)
    low, high = min(LOWEST_HZ, bands.min()), max(HIGHEST_HZ, bands.max())
    inside = curve_hz[(curve_hz >= low * (1 - 1e-9)) & (curve_hz <= high * (1 + 1e-9))]
    while len(chosen) < POINTS and len(inside):
        # The one that lies furthest from all that are there, by ratio.
        apart = np.abs(np.log(inside[:, None] / np.array(chosen))).min(axis=1)
        if apart.max() < 1e-6:
            break
        chosen.append(float(inside[apart.argmax()]))
    return np.sort(np.array(chosen))


def bench_rows(
    gathered: Gathered, position: int, number: int, bands_hz, curve_hz, devices: tuple[Device, ...]
) -> DataFrame:
    """Rows of bench.csv for one scenario.

    Parameters
    ----------
    gathered : Gathered
    position : int
        Of the scenario in `gathered`.
    number : int
        Of the scenario.
    bands_hz, curve_hz : sequence of float
        [Hz]
    devices : tuple of Device
        Op-amps of the scenario's circuit.
    """
    import pandas as pd

    rows = []

    def add(quantity: str, place: str, unit: str, freq_hz: float, values: np.ndarray) -> None:
        drawn = values[gathered.units > 0]
        least, most = (float(edge) for edge in extremes(drawn, axis=0))
        own = float(nominal(values, gathered.units, axis=0))
        if np.isfinite(own) or np.isfinite(least):
            count = int(np.isfinite(drawn).sum())
            rows.append((number, quantity, place, unit, freq_hz, own, least, most, count))

    bands_hz, curve_hz = np.asarray(bands_hz, dtype=float), np.asarray(curve_hz, dtype=float)
    for freq_hz in sheet_frequencies(bands_hz, curve_hz):
        for quantity, measure, unit in ((GAIN, "gain_db", "dB"), (PHASE, "phase_deg", "degree")):
            if freq_hz in bands_hz:
                band = int(np.flatnonzero(bands_hz == freq_hz)[0])
                values = gathered.banded[position, :, BANDED.index(measure), band]
            elif gathered.curves.shape[-1]:
                values = gathered.curves[position][:, CURVES.index(measure), int(np.argmin(np.abs(curve_hz - freq_hz)))]
            else:
                continue  # no unit at all was simulated
            if measure == "phase_deg":
                values = _near_nominal(values, gathered.units)
            add(quantity, "", unit, float(freq_hz), values)
    for quantity, measure, unit in (("supply current", "current_ma", "mA"), ("supply at the unit", "supply_v", "V")):
        add(quantity, "", unit, np.nan, gathered.single[position, :, SINGLE.index(measure)])
    if gathered.resting is not None:
        for place, device in enumerate(devices):
            own = dict(zip(RESTING, np.moveaxis(gathered.resting[position, :, place], -1, 0), strict=True))
            name = f"{device.part} ({device.name})"
            add("positive supply pin", name, "V", np.nan, own["volts"])
            add("lower input pin", name, "V", np.nan, own["input_above"])
            add("higher input pin", name, "V", np.nan, own["volts"] - own["input_below"])
            add("output pin", name, "V", np.nan, own["output_above"])
    return pd.DataFrame(rows, columns=list(TABLES["bench.csv"]))


def _near_nominal(phase_deg: np.ndarray, units: np.ndarray) -> np.ndarray:
    """Angles within half a turn of the nominal one's, or of the first there is; that one is within half a turn of 0."""
    known = phase_deg[np.isfinite(phase_deg)]
    if not known.size:
        return phase_deg
    own = float(nominal(phase_deg, units, axis=0))
    middle = ((own if np.isfinite(own) else float(known[0])) + 180) % 360 - 180
    return middle + (phase_deg - middle + 180) % 360 - 180
