"""Table [stability] of a study: feedlines and antennas that every unit is judged with."""

from typing import Annotated

from pydantic import BeforeValidator

from sim.errors import nearest, shown
from sim.feedline.ends import WORDS as FAR_ENDS
from sim.quantity import QuantityError
from sim.study.fields import MOST_VALUES, StudyTable, filled, number_in, plain_text, study_key

MOST_SOURCES = 40
"""Leads, and capacitances: a map of both has as many squared."""
ANTENNA_CASES = ("nominal", "removed", "shorted")
"""What may stand at the amplifier's input in the judging of antennas."""


def _names(values, what: str) -> tuple[str, ...]:
    filled(values, what)
    if len(values) > MOST_VALUES:
        raise QuantityError(f"there are {len(values)} of them.", f"Write at most {MOST_VALUES}.")
    for number, value in enumerate(values):
        if value in values[:number]:
            raise QuantityError(f"{shown(value)} is there twice.", "Write each once.")
    return tuple(plain_text(value) for value in values)


def _cables(values) -> tuple[str, ...]:
    return _names(values, 'Write, for example, ["rg6-ccs", "rg58"].')


def _lengths(values) -> tuple[float, ...]:
    filled(values, 'Write, for example, ["0.5 m", "5 m", "50 m"].')
    what = 'Write lengths from 1 cm to 3000 m, for example "0.5 m".'
    read = tuple(number_in(value, "m", 0.01, 3000, what) for value in values)
    if len(read) > MOST_VALUES:
        raise QuantityError(f"there are {len(read)} lengths.", f"Write at most {MOST_VALUES}.")
    if any(b <= a for a, b in zip(read, read[1:], strict=False)):
        raise QuantityError("the lengths do not rise.", "Write each length once, shortest first.")
    return read


def _far_ends(values) -> tuple[str, ...]:
    known = f"Known: {', '.join(FAR_ENDS)}, or a Touchstone file beside the study that ends in .s1p."
    for value in (names := _names(values, 'Write, for example, ["open", "short", "matched"].')):
        if value not in FAR_ENDS and not value.lower().endswith(".s1p"):
            near = nearest(value, FAR_ENDS, 0.4)
            hint = f"Nearest: {near}. " if near else ""
            raise QuantityError(f"there is no far end {shown(value)}.", hint + known)
    return names


def _antennas(values) -> tuple[str, ...]:
    for value in (names := _names(values, 'Write, for example, ["nominal", "removed", "shorted"].')):
        if value not in ANTENNA_CASES:
            near = nearest(value, ANTENNA_CASES, 0.4)
            hint = f"Nearest: {near}. " if near else ""
            raise QuantityError(f"there is no antenna {shown(value)}.", f"{hint}Known: {', '.join(ANTENNA_CASES)}.")
    return names


def _rising(values, unit: str, low: float, high: float, example: str, what: str) -> tuple[float, ...]:
    filled(values, example)
    read = tuple(number_in(value, unit, low, high, what) for value in values)
    if len(read) > MOST_SOURCES:
        raise QuantityError(f"there are {len(read)} of them.", f"Write at most {MOST_SOURCES}.")
    if any(b <= a for a, b in zip(read, read[1:], strict=False)):
        raise QuantityError("the values do not rise.", "Write each value once, smallest first.")
    return read


def _leads(values) -> tuple[float, ...]:
    what = 'Write inductances from 1 nH to 1 mH, for example "1u".'
    return _rising(values, "H", 1e-9, 1e-3, 'Write, for example, ["0.1u", "1u", "5u"].', what)


def _shares(values) -> tuple[float, ...]:
    what = "Write shares of the antenna's own capacitance from 0.01 to 100, for example 1.2."
    return _rising(values, "", 0.01, 100, "Write, for example, [0.7, 1, 1.5].", what)


class Stability(StudyTable):
    """What else the amplifier must be stable with, beside its own line matched and open."""

    cables: Annotated[tuple[str, ...], BeforeValidator(_cables)] = study_key(
        "cables (bandfloor list cables), or records of your own; the study's own feedline is always among them",
        '["rg6-ccs", "rg58"]',
        default=("rg6-ccs", "rg11-cu", "rg213"),
    )
    lengths: Annotated[tuple[float, ...], BeforeValidator(_lengths)] = study_key(
        "lengths of each cable, shortest first",
        '["0.5 m", "5 m", "50 m"]',
        "m",
        (0.2, 0.29, 0.41, 0.6, 0.86, 1.2, 1.8, 2.6, 3.7, 5.3, 7.7, 11.0, 16.0, 23.0, 33.0, 47.0, 68.0, 97.0, 140.0)
        + (200.0,),
    )
    far_ends: Annotated[tuple[str, ...], BeforeValidator(_far_ends)] = study_key(
        "what stands at the far end of each: open, short (0.1 ohm), matched, half or double the cable's impedance,"
        " unplugged (an open stub of 30 mm; also with the plug off at the amplifier), or a Touchstone file .s1p",
        '["open", "short", "unplugged"]',
        default=FAR_ENDS,
    )
    antennas: Annotated[tuple[str, ...], BeforeValidator(_antennas)] = study_key(
        "what stands at the input: nominal (the study's antenna, with each lead and each capacitance), removed (nothing"
        " but its stray), shorted (the input terminals joined, also through each lead)",
        '["nominal", "removed", "shorted"]',
        default=ANTENNA_CASES,
    )
    leads: Annotated[tuple[float, ...], BeforeValidator(_leads)] = study_key(
        "inductance of a lead between antenna and amplifier, smallest first; no lead is always among them",
        '["0.1u", "1u", "5u"]',
        "H",
        (1e-7, 2e-7, 5e-7, 1e-6, 2e-6, 5e-6),
    )
    capacitances: Annotated[tuple[float, ...], BeforeValidator(_shares)] = study_key(
        "capacitance of the antenna as a share of its own, its impedance divided by that: dry and wet, a short piece"
        " and a longer wire; 1 is always among them",
        "[0.7, 1, 1.5]",
        default=(0.25, 0.5, 0.7, 0.85, 1.0, 1.2, 1.5, 2.0),
    )
