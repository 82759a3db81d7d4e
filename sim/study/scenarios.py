"""The choices that a study compares, multiplied out."""

from dataclasses import dataclass

from sim.study.model import Study
from sim.study.read import scenario_data


@dataclass(frozen=True)
class Scenario:
    """One combination of the values under ``[[vary]]``.

    Attributes
    ----------
    number : int
        From 0, the last-named key changing fastest.
    values : tuple of (str, value)
        Varied keys and what they are here.
    study : Study
        The study with these values and nothing left to vary.
    """

    number: int
    values: tuple
    study: Study


def scenarios(study: Study) -> tuple[Scenario, ...]:
    """All scenarios of a study; one without values if nothing is varied."""
    found = []
    for number, (values, data) in enumerate(scenario_data(study)):
        alone = Study.model_validate({key: value for key, value in data.items() if key != "vary"})
        placed = alone.model_copy(update={"file": study.file, "folder": study.folder, "raw": data})
        found.append(Scenario(number, values, placed))
    return tuple(found)
