"""The choices that a study compares, multiplied out."""

import tomllib
from dataclasses import dataclass

from sim.study.choices import scenario_data, with_choice
from sim.study.lines import line_of
from sim.study.model import Study
from sim.study.write import study_text


@dataclass(frozen=True)
class Scenario:
    """One combination of the values under ``[[vary]]``.

    Attributes
    ----------
    number : int
        From 0, the key named last changing fastest.
    values : tuple of (str, str or number)
        Varied keys and what they are here, as written.
    study : Study
        The study with these values and nothing left to vary; lines of varied keys are those of their values.
    """

    number: int
    values: tuple
    study: Study


def scenarios(study: Study) -> tuple[Scenario, ...]:
    """All scenarios of a study; one without values if nothing is varied.

    Parameters
    ----------
    study : Study
        From :func:`sim.study.read.read_study`, which has tried every value.
    """
    found = []
    for number, (values, places, data) in enumerate(scenario_data(study)):
        lines = dict(study.lines)
        for vary, ((key, _), place) in enumerate(zip(values, places, strict=True)):
            line = line_of(study.lines, ("vary", vary, "values", place))
            if line is not None:
                lines[tuple(key.split("."))] = line
        here = Study.model_validate(data)
        here = here.model_copy(update={"file": study.file, "folder": study.folder, "lines": lines})
        found.append(Scenario(number, values, here))
    return tuple(found)


def changed(study: Study, key: str, value) -> Scenario:
    """A study without anything to vary, with one key set as it would be if it were varied; read as any study.

    Parameters
    ----------
    study : Study
        Of one scenario.
    key : str
        Dotted, as under ``[[vary]]``.
    value : str or number
        As written.

    Raises
    ------
    pydantic.ValidationError
        The value is none for the key.
    """
    data = with_choice(tomllib.loads(study_text(study)), key, value)
    here = Study.model_validate(data)
    place = {"file": study.file, "folder": study.folder, "lines": study.lines}
    return Scenario(0, ((key, value),), here.model_copy(update=place))
