"""Tables [[strong]] of a study: carriers of stations near by."""

import math
from typing import Annotated, Literal

from pydantic import BeforeValidator, model_validator

from sim.errors import shown
from sim.quantity import QuantityError
from sim.study.fields import StudyTable, Text, number_in, quantity, study_key

MOST_CARRIERS = 16
"""Carriers that one study may name: their products grow with the third power."""
LOWEST_CARRIER_HZ, HIGHEST_CARRIER_HZ = 1e4, 6e7

FIELD_AT_1_KM = 0.3
"""Field of 1 kW on a short vertical over perfect ground at 1 km, rms; 300 mV/m is the standard cymomotive force of
ITU-R BS.561 and P.368. It falls with distance, and over real ground faster: an upper estimate. [V/m]"""

LEVELS = ("field", "emf", "level", "power")
"""Keys that say how strong a carrier is; one of them stands in each entry."""


def _rms(value, unit: str, low: float, high: float, what: str) -> float:
    if isinstance(value, str) and value.strip().endswith(" rms"):
        value = value.strip().removesuffix(" rms")
    return number_in(value, unit, low, high, what)


def _field(value) -> float:
    return _rms(value, "V/m", 1e-6, 1e3, 'Write 1 uV/m to 1000 V/m, for example "300 mV/m".')


def _emf(value) -> float:
    return _rms(value, "V", 1e-6, 1e3, 'Write 1 uV to 1000 V, for example "1.2 V".')


class Strong(StudyTable):
    """A strong carrier near by, as the antenna hears it: without modulation, rms."""

    name: Text | None = study_key("what the answer calls it; left out: its frequency", '"station A"', default=None)
    frequency: quantity(
        "Hz", LOWEST_CARRIER_HZ, HIGHEST_CARRIER_HZ, 'Write 10 kHz to 60 MHz, for example "621k".'
    ) = study_key("frequency of the carrier", '"621k"', "Hz")
    field: Annotated[float, BeforeValidator(_field)] | None = study_key(
        "field at the antenna: total vertical field at the ground, carrier alone, rms", '"300 mV/m"', "V/m", None
    )
    emf: Annotated[float, BeforeValidator(_emf)] | None = study_key(
        "or its open-circuit voltage at the antenna, rms", '"1.2 V"', "V", None
    )
    level: quantity("dBm", -150, 60, 'Write -150 to 60 dBm, for example "-10 dBm".') | None = study_key(
        "or its level at the receiver's input, measured with this very chain (its nominal gain leads back to the emf)",
        '"-10 dBm"',
        "dBm",
        None,
    )
    power: quantity("W", 0.01, 1e7, 'Write 0.01 W to 10 MW, for example "20 kW".') | None = study_key(
        "or the station's power, with its distance: a short vertical over perfect ground, an upper estimate",
        '"20 kW"',
        "W",
        None,
    )
    distance: quantity("m", 100, 1e6, 'Write 100 m to 1000 km, for example "6 km".') | None = study_key(
        "of a station given by its power", '"6 km"', "m", None
    )
    modulation: Literal["am", "fm", "none"] = study_key(
        '"am": at full modulation the peaks are twice the carrier\'s; "fm", "none": as high as the carrier\'s',
        '"am"',
        default="am",
    )
    depth: quantity("1", 0, 1.5, 'Write 0 to 150 %, for example "100 %".') = study_key(
        "largest depth of amplitude modulation, upwards", '"100 %"', "1", 1.0
    )

    @model_validator(mode="after")
    def _one_level(self):
        given = [key for key in LEVELS if getattr(self, key) is not None]
        if len(given) != 1:
            raise QuantityError(
                f"{' and '.join(given)} are given for one carrier." if given else "nothing says how strong it is.",
                "Give one of field, emf, level, or power with distance.",
            )
        if (self.power is None) != (self.distance is None):
            alone, missing = ("distance", "power") if self.power is None else ("power", "distance")
            example = 'power = "20 kW"' if missing == "power" else 'distance = "6 km"'
            raise QuantityError(f"{alone} stands without {missing}.", f"Add {example}.")
        return self

    @property
    def known_field(self) -> float | None:
        """Field at the antenna where the entry says one, or what leads to it; None for emf and level. [V/m]"""
        if self.power is not None:
            return FIELD_AT_1_KM * math.sqrt(self.power / 1e3) / (self.distance / 1e3)
        return self.field

    @property
    def crest(self) -> float:
        """Peak of the modulated wave over that of the carrier alone. [1]"""
        return 1.0 + self.depth if self.modulation == "am" else 1.0


def strong_entries(values):
    """The entries, not too many of them; what is no list is left to the model to refuse."""
    if isinstance(values, list | tuple) and len(values) > MOST_CARRIERS:
        raise QuantityError(
            f"{shown(len(values))} carriers are given.", f"Write the {MOST_CARRIERS} strongest ones at most."
        )
    return values
