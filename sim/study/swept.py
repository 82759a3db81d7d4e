"""Choices of a study that are numbers: what a builder may set to any value, and what it is in each scenario."""

from collections.abc import Sequence
from dataclasses import dataclass

from sim.quantity import PartValue, QuantityError, parse_part
from sim.study.choices import PARTS, UNITS_OF_PARTS
from sim.study.scenarios import Scenario

LEAST_VALUES = 3
"""With two values there is a comparison and no optimum."""

_BUILDER_SETS = ("amplifier", "antenna", "feedline", "supply")
_NATURE_SETS = ("soil_permittivity", "soil_conductivity", "azimuth", "elevation", "ground_loss", "stray")


@dataclass(frozen=True)
class Swept:
    """A varied key that is a number in all scenarios, and not one of site, soil or weather, which nobody chooses.

    Attributes
    ----------
    key : str
        Dotted, as the study names it.
    numbers : dict of int to float
        What it is in each scenario, by number. [SI]
    """

    key: str
    numbers: dict[int, float]


def swept_keys(every: Sequence[Scenario]) -> tuple[Swept, ...]:
    """The varied keys of a study for which an optimum can be named, in order.

    Parameters
    ----------
    every : sequence of Scenario
        All scenarios of the study.
    """
    found = []
    for key, _ in every[0].values:
        table, *_, word = key.split(".")
        if table not in _BUILDER_SETS or word in _NATURE_SETS:
            continue
        numbers = {scenario.number: _number(scenario.study, key) for scenario in every}
        if None not in numbers.values() and len(set(numbers.values())) >= LEAST_VALUES:
            found.append(Swept(key, numbers))
    return tuple(found)


def _number(study, key: str) -> float | None:
    """What a key is in a study; None where that is no number, such as a far end that is open."""
    path = tuple(key.split("."))
    if path[:-1] == PARTS:
        text = next(text for name, text in study.amplifier.parts.items() if name.lower() == path[-1].lower())
        try:
            return parse_part(text, UNITS_OF_PARTS[path[-1][:1].lower()]).value
        except (QuantityError, KeyError):
            return None
    here = study
    for word in path:
        here = getattr(here, word, None)
    if isinstance(here, PartValue):
        return here.value
    return float(here) if isinstance(here, int | float) and not isinstance(here, bool) else None
