"""Grades in which parts are sold, and the next tighter and the next looser one of a part."""

import json
from collections.abc import Iterable
from dataclasses import dataclass, replace

from sim.deck.part import UNITS, Part
from sim.quantity import PartValue, Tolerance
from sim.study.scenarios import Scenario, changed
from sim.study.write import toml_value

GRADES: dict[str, tuple[float, ...]] = {
    "thick-film": (0.005, 0.01, 0.05),
    "thin-film": (0.001, 0.005, 0.01),
    "c0g": (0.01, 0.02, 0.05, 0.10),
    "x7r": (0.05, 0.10, 0.20),
    "film": (0.01, 0.02, 0.05, 0.10),
    "mica": (0.01, 0.02, 0.05),
    "electrolytic": (0.20,),
    "wound": (0.05, 0.10, 0.20),
    "ferrite": (0.20, 0.25),
}
"""Usual grades by kind: resistors, C0G and X7R after makers' data sheets and the classes of EIA-198 and IEC 60384-21
and -22; film, mica, electrolytic and wound parts common practice, no source. [1]"""

SMALL_C0G_F = 10e-12
SMALL_C0G = (0.1e-12, 0.25e-12, 0.5e-12)
"""C0G capacitors below 10 pF are sold by absolute tolerance (codes B, C and D of EIA-198). [F]"""

_UNSAID = {"R": (0.005, 0.01, 0.05), "C": (0.01, 0.02, 0.05, 0.10, 0.20), "L": (0.05, 0.10, 0.20)}
_SAME = 1e-3


@dataclass(frozen=True)
class Regrade:
    """A part in another grade.

    Attributes
    ----------
    part : str
    was, grade : str
        As people say them: "2 %", "0.25 pF".
    tighter : bool
    value : PartValue
        Of the part in that grade.
    """

    part: str
    was: str
    grade: str
    tighter: bool
    value: PartValue


def kind_of(part: Part) -> str:
    """The word for what a part is made of; empty where the circuit does not say."""
    return next((word for word in part.value.words if word in GRADES), "")


def usual_grades(part: Part) -> tuple[float, ...]:
    """Tolerances in which the part is sold, tightest first, as shares of its value. [1]"""
    if _absolute(part):
        return tuple(spread / part.value.value for spread in SMALL_C0G if spread < part.value.value)
    return GRADES.get(kind_of(part)) or _UNSAID[part.kind]


def _absolute(part: Part) -> bool:
    """Whether it is sold by absolute tolerance."""
    return kind_of(part) == "c0g" and part.value.value < SMALL_C0G_F * (1 - _SAME)


def grade_words(part: Part, share: float | None = None) -> str:
    """A grade as people say it: "2 %", of a small C0G capacitor "0.25 pF".

    Parameters
    ----------
    part : Part
    share : float, optional
        Tolerance as a share of the value; left out: the part's own. [1]
    """
    tolerance = part.value.tolerance
    if share is None:
        if tolerance is None:
            return ""
        if not _even(tolerance):
            return str(tolerance)
        share = tolerance.high
    if _absolute(part) and any(abs(share / usual - 1) < _SAME for usual in usual_grades(part)):
        return f"{1e12 * share * part.value.value:.3g} pF"
    return f"{100 * share:.3g} %"


def _even(tolerance: Tolerance) -> bool:
    return abs(tolerance.low + tolerance.high) < 1e-12


def neighbours(part: Part) -> tuple[Regrade, ...]:
    """The part in the next tighter and in the next looser usual grade, where there is one.

    Parameters
    ----------
    part : Part
        One with different tolerances to either side, or with none, has no neighbours.
    """
    own = part.value.tolerance
    if own is None or not _even(own):
        return ()
    grades = usual_grades(part)
    tighter = [grade for grade in grades if grade < own.high * (1 - _SAME)]
    looser = [grade for grade in grades if grade > own.high * (1 + _SAME)]
    return tuple(
        Regrade(
            part.name,
            grade_words(part),
            grade_words(part, grade),
            grade < own.high,
            replace(part.value, tolerance=Tolerance(-grade, grade)),
        )
        for grade in (*tighter[-1:], *looser[:1])
    )


def regraded(scenario: Scenario, choices: Iterable[tuple[Part, Regrade]]) -> Scenario:
    """The design with parts in other grades.

    Parameters
    ----------
    scenario : Scenario
        Nothing left to vary.
    choices : iterable of (Part, Regrade)
        Parts of its circuit, each once, and what they become.
    """
    for part, grade in choices:
        key = f"amplifier.parts.{part.name}" if part.line else f"amplifier.{part.name}"
        scenario = changed(scenario.study, key, json.loads(toml_value(grade.value, UNITS[part.kind])))
    return scenario
