"""Table [array] of a study: where the elements stand, how they are combined, what the array shall reject."""

from typing import Annotated

from pydantic import BeforeValidator, Field, model_validator

from sim.errors import shown
from sim.quantity import QuantityError
from sim.study.fields import StudyTable, filled, number_in, quantity, study_key

MOST_ELEMENTS = 64
MOST_DIRECTIONS = 36
_FURTHEST_M = 5000.0


def _positions(values) -> tuple[tuple[float, float], ...]:
    example = 'Write a pair for each element, for example [["0 m", "0 m"], ["20 m", "0 m"]].'
    filled(values, example)
    read = []
    for pair in values:
        if not isinstance(pair, list | tuple) or len(pair) != 2:
            raise QuantityError(f"{shown(pair)} is no pair of metres east and metres north.", example)
        read.append(tuple(number_in(one, "m", -_FURTHEST_M, _FURTHEST_M, "Write metres within 5 km.") for one in pair))
    if not 2 <= len(read) <= MOST_ELEMENTS:
        raise QuantityError(f"there are {len(read)} elements.", f"Write 2 to {MOST_ELEMENTS}.")
    if len(set(read)) < len(read):
        raise QuantityError("two elements stand in one place.", "Write each place once.")
    return tuple(read)


def _weights(values) -> tuple[float, ...]:
    what = "Write numbers from -1000 to 1000, for example [1, -2, 1]; 0 for an element that is not used."
    filled(values, what)
    read = tuple(number_in(value, "1", -1000, 1000, what) for value in values)
    if sum(weight != 0 for weight in read) < 2:
        raise QuantityError("fewer than two elements are used.", what)
    return read


def _delays(values) -> tuple[float, ...]:
    what = 'Write times from 0 to 100 us, for example ["0", "67n"].'
    filled(values, what)
    return tuple(number_in(value, "s", 0, 1e-4, what) for value in values)


def _depth(value) -> float:
    return number_in(value, "dB", 3, 60, 'Write 3 to 60 dB, for example "20 dB".')


class Direction(StudyTable):
    """How the elements are combined to listen in one direction."""

    bearing: quantity("1", 0, 360, "Write degrees clockwise from north, 0 to 360.") = study_key(
        "where it listens, in degrees clockwise from north", "45"
    )
    weights: Annotated[tuple[float, ...], BeforeValidator(_weights)] = study_key(
        "weight of each element, in their order; a minus for a reversed transformer, 0 for one that is not used",
        "[1, -1]",
    )
    delays: Annotated[tuple[float, ...], BeforeValidator(_delays)] | None = study_key(
        "delay line of each element; left out: none", '["0", "67n"]', "s", None
    )


def _directions(values) -> object:
    if isinstance(values, list | tuple) and len(values) > MOST_DIRECTIONS:
        raise QuantityError(f"there are {len(values)} directions.", f"Write at most {MOST_DIRECTIONS}.")
    return values


class Array(StudyTable):
    """Several of the study's antennas, each with an amplifier and feedline of its own, combined."""

    positions: Annotated[tuple[tuple[float, float], ...], BeforeValidator(_positions)] = study_key(
        "where each element stands: metres east, metres north", '[["0 m", "0 m"], ["20 m", "0 m"]]', "m"
    )
    elevation: quantity("1", 0, 89, "Write degrees above the horizon, 0 to 89.") = study_key(
        "elevation, in degrees, from which signals come", "20", default=20.0
    )
    front_to_back: Annotated[float, BeforeValidator(_depth)] = study_key(
        "how far a signal from behind shall lie below one from the front", '"20 dB"', "dB", 20.0
    )
    antenna_tolerance: quantity("1", 0, 0.5, 'Write 0 to 50 %, for example "3 %".') = study_key(
        "how far an antenna's signal may be off, either way: height, soil, vegetation", '"3 %"', "1", 0.0
    )
    position_tolerance: quantity("m", 0, 100, "Write 0 to 100 m.") = study_key(
        "how far an element may stand from its place, either way, east and north each", '"0.2 m"', "m", 0.0
    )
    conductivity: quantity("S/m", 1e-6, 10, "Write 1u to 10 S/m.") | None = study_key(
        "of the soil, for the pattern; left out with permittivity: a perfect ground", '"5m"', "S/m", None
    )
    permittivity: quantity("1", 1, 100, "Write 1 to 100.") | None = study_key(
        "of the soil, relative", "13", default=None
    )
    direction: Annotated[tuple[Direction, ...], BeforeValidator(_directions)] = Field(
        default=(), description="how it is combined for each direction"
    )

    @model_validator(mode="after")
    def _together(self):
        if not self.direction:
            raise QuantityError("there is no direction.", "Write a table [[array.direction]].")
        count = len(self.positions)
        for number, one in enumerate(self.direction, start=1):
            for key in ("weights", "delays"):
                given = getattr(one, key)
                if given is not None and len(given) != count:
                    raise QuantityError(
                        f"direction {number} has {len(given)} {key}, and there are {count} elements.",
                        "Write one for each element, in their order; a weight of 0 for one that is not used.",
                    )
        bearings = [one.bearing % 360 for one in self.direction]
        if len(set(bearings)) < len(bearings):
            raise QuantityError("two directions have one bearing.", "Write each bearing once.")
        if (self.conductivity is None) != (self.permittivity is None):
            raise QuantityError(
                "one of conductivity and permittivity is given.", "Write both, or none for a perfect ground."
            )
        return self

