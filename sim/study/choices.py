"""What may be varied in a study, and the study's data with another value in place."""

import itertools
import tomllib
from collections.abc import Iterator

from pydantic import BaseModel

from sim.quantity import QuantityError, parse_part
from sim.study.antennas import ANTENNA_MODELS
from sim.study.model import SET_BY_READER, Study
from sim.study.write import study_text, tolerance_text

FIXED = (
    "antenna.model",
    "feedline.sections",
    "bands.frequencies",
    "run.units",
    "run.seed",
    "run.build",
    "run.sun",
    "stability.cables",
    "stability.lengths",
    "stability.far_ends",
    "stability.antennas",
    "stability.leads",
    "stability.capacitances",
    "array.positions",
    "array.direction",
)
"""Keys that are the same in all scenarios of a study: results could not be compared, or have other keys beside them."""
PARTS = ("amplifier", "parts")
UNITS_OF_PARTS = {"r": "ohm", "c": "F", "l": "H"}
"""Units of the parts of an amplifier by the first letter of their names, lower case."""
_TABLES_BELOW = (("feedline", "tee"), ("amplifier", "model"))


def model_at(data: dict, path: tuple):
    """The model of the table that stands at a path of a study's data; None where its keys are free or unknown.

    Parameters
    ----------
    data : dict
        A study's data, for the kind of antenna.
    path : tuple
        Keys, and places in lists.
    """
    model = Study
    for word in path:
        if isinstance(word, int):
            continue
        if model is Study and word == "antenna":
            table = data.get("antenna")
            name = table.get("model") if isinstance(table, dict) else None
            model = ANTENNA_MODELS.get(name if isinstance(name, str) else "")
        else:
            field = model.model_fields.get(word)
            model = _table_in(field.annotation) if field else None
        if model is None:
            return None
    return model


def _table_in(annotation):
    """The model inside an annotation such as ``tuple[Vary, ...]`` or a word or table."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in getattr(annotation, "__args__", ()):
        found = _table_in(inner)
        if found is not None:
            return found
    return None


def every_key(data: dict) -> tuple[str, ...]:
    """Dotted keys of all tables of a study that have fixed keys.

    Parameters
    ----------
    data : dict
        A study's data, for the kind of antenna.
    """
    keys = []
    for table in Study.model_fields:
        if table not in ("title", "strong", "vary", "limits", *SET_BY_READER):
            model = model_at(data, (table,))
            for key in model.model_fields if model else ():
                below = model_at(data, (table, key)) if (table, key) in _TABLES_BELOW else None
                if below:
                    keys += [f"{table}.{key}.{inner}" for inner in below.model_fields]
                elif (table, key) != PARTS:
                    keys.append(f"{table}.{key}")
    return tuple(keys)


def variable_keys(data: dict) -> tuple[str, ...]:
    """Dotted keys of a study that may be varied, parts of the amplifier aside.

    Parameters
    ----------
    data : dict
        A study's data, for the kind of antenna.
    """
    return tuple(key for key in every_key(data) if key not in FIXED)


def with_value(data: dict, path: tuple[str, ...], value) -> dict:
    """A study's data with one key set; the data given stay as they are.

    Parameters
    ----------
    data : dict
    path : tuple of str
    value : object
    """
    changed = dict(data)
    table = changed
    for word in path[:-1]:
        inner = table.get(word)
        table[word] = dict(inner) if isinstance(inner, dict) else {}
        table = table[word]
    table[path[-1]] = value
    return changed


def with_choice(data: dict, what: str, value) -> dict:
    """A study's data with one choice made.

    A value for a part of the amplifier says only what differs: what is missing behind it, tolerance or words, stays
    that of the part in the study, as the study's own part leans on that of the circuit.

    Parameters
    ----------
    data : dict
    what : str
        Dotted key of what is varied.
    value : str, int or float
        As written.
    """
    path = tuple(what.split("."))
    if path[:-1] != PARTS:
        return with_value(data, path, value)
    parts = data.get(PARTS[0], {}).get(PARTS[1], {})
    # Circuits take part names in either case, so "cc" varies the study's "Cc".
    own = next((name for name in parts if name.lower() == path[-1].lower()), None)
    if own is None:
        return with_value(data, path, value)
    return with_value(data, (*PARTS, own), _leaning(value, parts[own], UNITS_OF_PARTS.get(path[-1][:1].lower(), "")))


def _leaning(value, own, unit: str):
    """A varied part's text with the study's own tolerance and words where it has none; bad text stays as it is."""
    try:
        base, changed = parse_part(own, unit), parse_part(value, unit)
    except (QuantityError, KeyError):
        return value
    behind = [tolerance_text(base.tolerance)] if base.tolerance and not changed.tolerance else []
    return " ".join([str(value), *behind, *(() if changed.words else base.words)]) if behind or base.words else value


def scenario_data(study: Study) -> Iterator[tuple[tuple, tuple[int, ...], dict]]:
    """Every scenario of a study, in order, the key named last changing fastest.

    Yields
    ------
    values : tuple of (str, str or number)
        Varied keys and what they are here.
    places : tuple of int
        Place of each value in its list.
    data : dict
        The study's data with these values, nothing left to vary.
    """
    data = tomllib.loads(study_text(study))
    data.pop("vary", None)
    for chosen in itertools.product(*(enumerate(vary.values) for vary in study.vary)):
        here = data
        for vary, (_, value) in zip(study.vary, chosen, strict=True):
            here = with_choice(here, vary.what, value)
        values = tuple((vary.what, value) for vary, (_, value) in zip(study.vary, chosen, strict=True))
        yield values, tuple(place for place, _ in chosen), here
