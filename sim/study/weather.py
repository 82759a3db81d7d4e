"""What rain, dirt and corrosion do to a unit, as resistances: films of moisture that leak, a contact that resists.

Each is a key of its own; ``state`` says them in one line, so that a study can compare them one at a time:

    [[vary]]
    what = "weather.state"
    values = ["dry", "input leak 10k", "feedback leak 1M", "connector leak 1k, contact resistance 5"]
"""

from functools import partial
from typing import Annotated, Literal

from pydantic import BeforeValidator, model_validator

from sim.errors import nearest, shown
from sim.quantity import PartValue, QuantityError
from sim.study.fields import StudyTable, drawn_in, plain_text, study_key

DRY = "dry"
NONE = "none"

RANGES = {
    "input_leak": (1.0, 1e12),
    "bias_leak": (1.0, 1e12),
    "feedback_leak": (1.0, 1e12),
    "feedback_bridge": (1.0, 1e12),
    "connector_leak": (1.0, 1e12),
    "contact_resistance": (1e-3, 1e4),
}
"""What weather does, and how much of it a study may ask for. [Ω]"""


def _value_of(value, key: str) -> PartValue | None:
    if value == NONE:
        return None
    low, high = RANGES[key]
    example = "2" if key == "contact_resistance" else "10k"
    ends = "1m to 10k" if key == "contact_resistance" else "1 to 1T"
    what = f'Write {ends} ohm, for example "{example}", or "{NONE}".'
    return drawn_in(value, "ohm", low, high, what)


def _of(key: str):
    """Type of one of these keys."""
    return Annotated[PartValue | None, BeforeValidator(partial(_value_of, key=key))]


def _key(description: str, example: str):
    return study_key(f"{description}; none: dry", example, "ohm", None)


def stated(text: str) -> dict[str, PartValue]:
    """What a state in words says: "input leak 1k, contact resistance 5".

    Parameters
    ----------
    text : str
        "dry", or entries with commas between them, each a key (with blanks or underscores) and a value.

    Returns
    -------
    found : dict of str to PartValue
        By key. [Ω]

    Raises
    ------
    QuantityError
        No such key, no value, or a key twice.
    """
    example = f'Write "{DRY}", or for example "input leak 1k, contact resistance 5".'
    found: dict[str, PartValue] = {}
    if text.strip() == DRY:
        return found
    for entry in text.split(","):
        words = " ".join(entry.replace("_", " ").split())
        key = next((known for known in RANGES if f"{words} ".startswith(f"{known.replace('_', ' ')} ")), None)
        if key is None:
            near = nearest(words, [known.replace("_", " ") for known in RANGES], 0.3)
            hint = f"Nearest: {near}. " if near else ""
            raise QuantityError(f"{shown(entry.strip())} is nothing that weather does.", hint + example)
        if key in found:
            raise QuantityError(f"{key.replace('_', ' ')} is there twice.", "Keep one of them.")
        text = words[len(key) :].strip()
        if not text:
            raise QuantityError(f"{words} has no value.", example)
        value = _value_of(text, key)
        if value is not None:
            found[key] = value
    return found


def _state(value) -> str:
    text = plain_text(value)
    stated(text)
    return text


class Weather(StudyTable):
    """What water, dirt and corrosion do to the unit; resistors as warm as it, with a tolerance where one is given."""

    state: Annotated[str, BeforeValidator(_state)] = study_key(
        'all of it in one line, beside the other keys: "dry", or for example "input leak 10k, connector leak 1k"',
        '"dry"',
        default=DRY,
    )
    input_leak: _of("input_leak") = _key(
        "film of moisture from the antenna's terminal to ground, at each input where there are two", '"10k"'
    )
    input_side: Literal["both", "in_p", "in_n"] = study_key(
        "which input leaks, where there are two", '"in_p"', default="both"
    )
    bias_leak: _of("bias_leak") = _key("film from the first op-amp's non-inverting input to ground", '"1M"')
    feedback_leak: _of("feedback_leak") = _key("film from the first op-amp's inverting input to ground", '"1M"')
    feedback_bridge: _of("feedback_bridge") = _key(
        "film across the feedback, from the first op-amp's inverting input to its output", '"1M"'
    )
    connector_leak: _of("connector_leak") = _key(
        "water in the connector at the unit, across the feedline; with power on the coax it draws supply current too",
        '"1k"',
    )
    contact_resistance: _of("contact_resistance") = _key(
        "corroded contact in the supply's way at the unit; with power on the coax the signal goes through it too",
        '"2"',
    )

    @model_validator(mode="after")
    def _said_once(self):
        for key in stated(self.state):
            if getattr(self, key) is not None:
                raise QuantityError(f"state says {key.replace('_', ' ')} too.", f"Keep {key} or the state.")
        return self

    @property
    def found(self) -> dict[str, PartValue]:
        """Everything that weather does here, by key, in the order of :data:`RANGES`. [Ω]"""
        said = stated(self.state)
        values = {key: getattr(self, key) or said.get(key) for key in RANGES}
        return {key: value for key, value in values.items() if value is not None}


def weather_of(study) -> dict[str, PartValue]:
    """What weather does in a study, by key; nothing where it is dry. [Ω]

    Parameters
    ----------
    study : Study
        Of one scenario.
    """
    return {} if study.weather is None else study.weather.found
