"""Keys of a surge clamp across the amplifier's input: a designed part with a spread, not weather."""

from typing import Annotated

from pydantic import BeforeValidator

from sim.quantity import PartValue, Tolerance, parse_part
from sim.study.fields import drawn_in, quantity, study_key

NONE = "none"
SPREAD = PartValue(0.0, Tolerance(-0.2, 0.2))
"""Of a clamp's capacitance where its text gives none: makers state typical values, dies differ by some 20 % (from
memory)."""


def _capacitance(value) -> PartValue | None:
    if value == NONE:
        return None
    drawn_in(value, "F", 1e-14, 1e-7, 'Write 0.01p to 100n, for example "1.5p 20%", or "none".')
    return value if isinstance(value, PartValue) else parse_part(value, "F", default=SPREAD)


def _leakage(value) -> PartValue | None:
    if value == NONE:
        return None
    return drawn_in(value, "A", 1e-15, 1e-2, 'Write 1f to 10m, for example "10n", or "none".')


CLAMP_CAPACITANCE = Annotated[PartValue | None, BeforeValidator(_capacitance)]
CLAMP_LEAKAGE = Annotated[PartValue | None, BeforeValidator(_leakage)]
CLAMP_GRADING = quantity("1", 0, 0.9, "Write 0 to 0.9, for example 0.4.") | None


def clamp_capacitance_key():
    """Capacitance of the clamp at rest."""
    return study_key(
        "surge clamp from the antenna's terminal to ground, at each input: its capacitance without volts, as a part;"
        " without a tolerance 20 %; none: no clamp",
        '"1.5p 20%"',
        "F",
        None,
    )


def clamp_leakage_key():
    """Leakage of the clamp."""
    return study_key(
        "its leakage at 25 degrees C, into the terminal; doubles every 10 K and makes shot noise", '"10n"', "A", None
    )


def clamp_grading_key():
    """Voltage dependence of the clamp."""
    return study_key(
        "how its capacitance falls with its volts V, C/(1 + V/0.7 V)^grading: 0.3 to 0.5 for a silicon junction, which"
        " then also conducts beyond 0.6 V; left out: not at all, as a gas tube",
        "0.4",
        "1",
        None,
    )
