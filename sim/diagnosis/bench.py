"""The analyser's set-up with its uncertainties: what a sweep of a unit may be off by without anything being wrong."""

import math
from dataclasses import dataclass

from sim.quantity import PartValue

DUMMY_SIGMA = 0.005
"""Standard deviation of the dummy's value where a study gives it no tolerance: a measured capacitor; estimate. [1]"""


@dataclass(frozen=True)
class BenchSetup:
    """Source, dummy, stray and load of a sweep, and how well each is known; standard deviations.

    Attributes
    ----------
    source, load : float
        Port resistances. [Ω]
    dummy, stray : float
        Series capacitor, and stray behind it to ground. [F]
    dummy_sigma : float
        Of the dummy. [1]
    stray_sigma : float
        [F]
    port_sigma : float
        Of both port resistances. [1]
    gain_sigma_db, phase_sigma_deg : float
        Noise of each point of a sweep. [dB], [degree]
    level_sigma_db : float
        Of all points together: calibration, drift. [dB]
    delay_sigma_s : float
        Of the path that was not calibrated away: adapters. [s]
    floor_db : float
        What crosses the bench beside the unit, and the analyser's own noise. [dB]
    temperature_c : tuple of two float
        Between which the room is. [°C]

    Notes
    -----
    All defaults are estimates for a calibrated hobby analyser (common practice, no source): the user's own numbers
    should replace them.
    """

    source: float = 50.0
    dummy: float = 47e-12
    stray: float = 0.0
    load: float = 50.0
    dummy_sigma: float = DUMMY_SIGMA
    stray_sigma: float = 0.2e-12
    port_sigma: float = 0.005
    gain_sigma_db: float = 0.02
    phase_sigma_deg: float = 0.15
    level_sigma_db: float = 0.02
    delay_sigma_s: float = 0.05e-9
    floor_db: float = -85.0
    temperature_c: tuple[float, float] = (15.0, 30.0)


def bench_of(study, **known) -> BenchSetup:
    """The bench that a study's [fixture] describes.

    Parameters
    ----------
    study : Study
    **known
        Fields of :class:`BenchSetup` that are known better than the study says, such as the dummy as measured.
    """
    words = study.fixture
    told = {
        "source": words.source,
        "dummy": words.dummy.value,
        "stray": words.stray.value,
        "load": words.load,
        "dummy_sigma": _sigma(words.dummy) or DUMMY_SIGMA,
    }
    if words.stray.tolerance is not None:
        told["stray_sigma"] = max(_sigma(words.stray) * words.stray.value, 1e-15)
    return BenchSetup(**{**told, **known})


def _sigma(value: PartValue) -> float:
    """Standard deviation of a tolerance: normal with 2 sigma at it with that word, else uniform. [1]"""
    if value.tolerance is None:
        return 0.0
    half = (value.tolerance.high - value.tolerance.low) / 2
    return half / 2 if "normal" in value.words else half / math.sqrt(3)
