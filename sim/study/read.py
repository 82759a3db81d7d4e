"""A study file read, checked as a whole, and written out again.

All faults are reported at once, each with its line, its key, what was found and what would do.
"""

import copy
import difflib
import itertools
import json
import math
import re
import tomllib
from pathlib import Path
from typing import get_args

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from sim.columns import MEASURES
from sim.errors import Fault, StudyError
from sim.paths import CIRCUITS
from sim.quantity import Limit, PartValue, QuantityError, format_quantity, parse_part, parse_quantity
from sim.study.lines import key_lines, line_of
from sim.study.model import ANTENNA_MODELS, SET_BY_READER, Study

LARGEST_FILE = 1_000_000
MOST_SCENARIOS = 10_000
NOISE_CLASSES = ("city", "residential", "rural", "quiet-rural")
_FILES = (("amplifier", "circuit", "amplifiers", ".cir"), ("amplifier", "opamp", "opamps", ".toml"))
_FILES += (("feedline", "cable", "feedlines", ".toml"),)


def read_study(path, units: int | None = None) -> Study:
    """Read and check a study file.

    Parameters
    ----------
    path : path-like
    units : int, optional
        Number of units instead of the study's own.

    Returns
    -------
    Study
        With ``file`` and ``folder`` set.

    Raises
    ------
    StudyError
        With all faults of the file.
    """
    name = str(path)
    text = _text_of(Path(path), name)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise StudyError(_syntax_fault(error, name)) from error
    except RecursionError:
        raise StudyError(Fault(name, None, None, "is nested too deeply.", "Write plain tables.")) from None
    lines = key_lines(text)
    if units is not None and isinstance(data.setdefault("run", {}), dict):
        data["run"]["units"] = units
    reader = _Reader(name, str(Path(path).resolve().parent), data, lines)
    return reader.study()


def _text_of(path: Path, name: str) -> str:
    try:
        if path.is_dir():
            raise StudyError(Fault(name, None, None, "is a folder.", "Name the study's file (.toml)."))
        raw = path.read_bytes()[: LARGEST_FILE + 1]
    except OSError as error:
        raise StudyError(
            Fault(
                name,
                None,
                None,
                f"cannot be read: {error.strerror or error}.",
                "Name an existing study file, or make one: bandfloor new FILE.",
            )
        ) from error
    except ValueError as error:
        raise StudyError(Fault(repr(name), None, None, "is no file name.", "Name the study's file (.toml).")) from error
    if len(raw) > LARGEST_FILE:
        raise StudyError(Fault(name, None, None, "is larger than 1 MB.", "A study is a short text; is this the file?"))
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise StudyError(
            Fault(name, line, None, "is not UTF-8 text.", "Save the file as UTF-8 in your editor.")
        ) from error


def _syntax_fault(error, name: str) -> Fault:
    match = re.search(r"\(at (?:line (\d+), column (\d+)|end of document)\)", str(error))
    reason = re.sub(r"\s*\(at .*\)", "", str(error))
    where = int(match[1]) if match and match[1] else None
    column = f", column {match[2]}" if match and match[2] else ""
    return Fault(
        name,
        where,
        None,
        f"is not valid TOML{column}: {reason[0].lower() + reason[1:]}.",
        'Text stands in quotes: key = "value"; tables in brackets: [amplifier].',
    )


class _Reader:
    """One study file on its way to a checked study."""

    def __init__(self, file: str, folder: str, data: dict, lines: dict):
        self.file, self.folder, self.data, self.lines = file, folder, data, lines
        self.faults: list[Fault] = []

    def study(self) -> Study:
        study = self._validated(self.data)
        # The vary values can be tried only on a study that is otherwise sound.
        if study is not None:
            self._check_names(self.data, study)
            self._check_limits(study)
            self._check_noise(study, ("site", "noise"))
            self._check_vary(study)
        if self.faults:
            raise StudyError(sorted(set(self.faults), key=lambda fault: (fault.line or 0, fault.key or "")))
        return study

    def fault(self, path: tuple, found: str, remedy: str) -> None:
        key = ".".join(str(word + 1) if isinstance(word, int) else word for word in path) or None
        self.faults.append(Fault(self.file, line_of(self.lines, path), key, found, remedy))

    def _validated(self, data: dict) -> Study | None:
        own = [key for key in SET_BY_READER if key in data]
        for key in own:
            self._unknown((key,), Study)
        try:
            study = Study.model_validate({**{k: v for k, v in data.items() if k not in own}})
        except ValidationError as error:
            for problem in error.errors(include_url=False):
                self._pydantic_fault(problem)
            return None
        return None if own else study.model_copy(update={"file": self.file, "folder": self.folder, "raw": data})

    def _pydantic_fault(self, problem: dict) -> None:
        path = tuple(word for word in problem["loc"] if word not in ANTENNA_MODELS)
        if path[:2] == ("site", "noise"):
            # The key may be a word or a table; only what fits what was written is said.
            if path[2:3] == ("function-before[_text(), str]",) or path[-1:] == ("str",):
                if isinstance(_at(self.data, ("site", "noise")), dict):
                    return
                path = ("site", "noise")
            elif "NoiseTable" in str(path[2:3]):
                if not isinstance(_at(self.data, ("site", "noise")), dict):
                    return
                path = (*path[:2], *path[3:])
        cause = problem.get("ctx", {}).get("error")
        kind = problem["type"]
        if isinstance(cause, QuantityError):
            self.fault(path, cause.found, cause.remedy)
        elif kind == "extra_forbidden":
            self._unknown(path, _model_at(self.data, path[:-1]))
        elif kind == "missing":
            self.fault(path, "is missing.", _what_it_is(self.data, path))
        elif kind in ("union_tag_invalid", "union_tag_not_found"):
            given = _at(self.data, (*path, "model"))
            near = difflib.get_close_matches(str(given), ANTENNA_MODELS, n=1, cutoff=0.4)
            found = "is missing." if given is None else f"there is no antenna model {_shown(given)}."
            hint = f"Nearest: {near[0]}. " if near else ""
            self.fault((*path, "model"), found, f"{hint}Known: {', '.join(ANTENNA_MODELS)}.")
        elif kind == "literal_error":
            self.fault(path, f"is {_shown(problem['input'])}.", f"Write {problem['ctx']['expected']}.")
        elif kind in ("model_type", "dict_type", "model_attributes_type"):
            dotted = ".".join(str(word) for word in path)
            self.fault(path, f"is {_shown(problem['input'])}, not a table.", f"Write it as a table: [{dotted}].")
        elif kind == "tuple_type":
            dotted = ".".join(str(word) for word in path)
            self.fault(path, f"is {_shown(problem['input'])}, not a list.", f"Write it as [[{dotted}]].")
        else:
            self.fault(path, f"is {_shown(problem['input'])}: {problem['msg']}.", _what_it_is(self.data, path))

    def _unknown(self, path: tuple, model) -> None:
        known = [name for name in (model.model_fields if model else ()) if name not in SET_BY_READER]
        near = difflib.get_close_matches(str(path[-1]), known, n=1, cutoff=0.0)
        self.fault(
            path,
            "is not a key.",
            f"Nearest known key: {near[0]}. Known: {', '.join(known)}." if near else "Take it out.",
        )

    # ------------------------------------------------------------------ checks across keys

    def _check_names(self, data: dict, study: Study, at: tuple | None = None) -> None:
        for table, key, folder, ending in _FILES:
            name = getattr(getattr(study, table), key)
            fault = _name_fault(name, CIRCUITS / folder, ending, Path(self.folder))
            if fault:
                self.fault(at or (table, key), *fault)

    def _check_limits(self, study: Study) -> None:
        for name in study.limits:
            if name not in MEASURES:
                near = difflib.get_close_matches(name, MEASURES, n=1, cutoff=0.0)
                self.fault(
                    ("limits", name), "is not a measure.", f"Nearest: {near[0]}. All of them: bandfloor list measures."
                )
            elif not MEASURES[name].available:
                self.fault(
                    ("limits", name),
                    "is a measure that this version does not compute.",
                    "Take the limit out; it would be a promise that nobody checks.",
                )
            elif study.antenna.model == "fixture" and name in ("noise_margin_db", "noise_rise_db", "antenna_factor_db"):
                self.fault(
                    ("limits", name),
                    "cannot be kept: a fixture receives no field.",
                    "Choose an antenna, or take the limit out.",
                )

    def _check_noise(self, study: Study, at: tuple) -> None:
        noise = study.site.noise
        if isinstance(noise, str):
            if noise not in NOISE_CLASSES:
                near = difflib.get_close_matches(noise, NOISE_CLASSES, n=1, cutoff=0.3)
                hint = f"Nearest: {near[0]}. " if near else ""
                self.fault(at, f'there is no noise class "{noise}".', f"{hint}Known: {', '.join(NOISE_CLASSES)}.")
            return
        outside = [f for f in study.bands.frequencies if not noise.frequencies[0] <= f <= noise.frequencies[-1]]
        if outside:
            self.fault(
                at,
                f"the table does not reach the band {format_quantity(outside[0], 'Hz')}.",
                "Measure that far, or leave the band out; nothing is extrapolated.",
            )

    def _check_vary(self, study: Study) -> None:
        count = math.prod(len(vary.values) for vary in study.vary)
        if count > MOST_SCENARIOS:
            self.fault(("vary",), f"makes {count} scenarios.", f"Write at most {MOST_SCENARIOS}.")
            return
        seen = set()
        for number, vary in enumerate(study.vary):
            at = ("vary", number, "what")
            path = tuple(vary.what.split("."))
            if vary.what in seen:
                self.fault(at, f'"{vary.what}" is varied twice.', "Put all its values into one list.")
                continue
            seen.add(vary.what)
            if path[0] in ("vary", "limits", "title", *SET_BY_READER) or vary.what in (
                "run.units",
                "run.build",
                "run.seed",
            ):
                self.fault(
                    at, f'"{vary.what}" cannot be varied.', "Vary something of the chain, for example feedline.length."
                )
                continue
            if not self._path_is_known(at, path):
                continue
            for value in vary.values:
                self._check_value(number, path, value)

    def _path_is_known(self, at: tuple, path: tuple) -> bool:
        model = _model_at(self.data, path[:-1])
        if model is None and path[:-1] != ("amplifier", "parts"):
            self.fault(
                at, f'"{".".join(path)}" is not a key.', "Write a dotted key of this file, for example feedline.length."
            )
            return False
        if model is not None and path[-1] not in model.model_fields:
            near = difflib.get_close_matches(path[-1], list(model.model_fields), n=1, cutoff=0.0)
            nearest = ".".join((*path[:-1], near[0]))
            self.fault(at, f'"{".".join(path)}" is not a key.', f"Nearest known key: {nearest}.")
            return False
        if model is not None and _is_table(model.model_fields[path[-1]]):
            self.fault(at, f'"{".".join(path)}" is a whole table.', "Name one key of it.")
            return False
        return True

    def _check_value(self, number: int, path: tuple, value) -> None:
        at = ("vary", number, "values")
        trial = _Reader(self.file, self.folder, with_value(self.data, path, value), self.lines)
        study = trial._validated(trial.data)
        if study is not None:
            trial._check_names(trial.data, study)
            trial._check_noise(study, at)
        known = {fault.found for fault in self.faults}
        for fault in trial.faults:
            if fault.found in known:
                # Wrong in the study itself, and said there.
                continue
            self.fault(at, f"{_shown(value)}: {fault.found}", fault.remedy)


def with_value(data: dict, path: tuple, value) -> dict:
    """A copy of a study's data with one key set."""
    changed = copy.deepcopy(data)
    table = changed
    for word in path[:-1]:
        table = table.setdefault(word, {})
    table[path[-1]] = value
    return changed


def scenario_data(study: Study):
    """Data of every scenario of a study, in order: pairs of (values by key, data)."""
    keys = [tuple(vary.what.split(".")) for vary in study.vary]
    for values in itertools.product(*(vary.values for vary in study.vary)):
        data = study.raw
        for key, value in zip(keys, values, strict=True):
            data = with_value(data, key, value)
        yield tuple(zip((vary.what for vary in study.vary), values, strict=True)), data


def _name_fault(name: str, folder: Path, ending: str, study_folder: Path) -> tuple[str, str] | None:
    if "/" not in name and "\\" not in name and not name.endswith(ending):
        if (folder / f"{name}{ending}").is_file() and re.fullmatch(r"[\w.+-]+", name):
            return None
        known = sorted(path.name[: -len(ending)] for path in folder.glob(f"*{ending}"))
        near = difflib.get_close_matches(name, known, n=1, cutoff=0.3)
        hint = f"Nearest: {near[0]}. " if near else ""
        return f'there is no "{name}".', f"{hint}Known: {', '.join(known)}; or give a path that ends in {ending}."
    try:
        path = (study_folder / name).resolve()
        inside = path.is_relative_to(study_folder.resolve())
        exists = path.is_file()
    except (OSError, ValueError, RuntimeError):
        return f'"{name}" is no file name.', "Name a file in the study's folder."
    if Path(name).is_absolute() or not inside:
        return f'"{name}" lies outside the study\'s folder.', "Put the file beside the study, or below it."
    if not exists:
        return f'there is no file "{name}" in the study\'s folder.', f"Name an existing file that ends in {ending}."
    return None


def _shown(value) -> str:
    return f'"{value}"' if isinstance(value, str) else repr(value)[:60]


def _at(data, path: tuple):
    for word in path:
        try:
            data = data[word]
        except (KeyError, IndexError, TypeError):
            return None
    return data


def _model_at(data: dict, path: tuple):
    """The model of the table at a path of a study; None where there is no table with fixed keys."""
    model = Study
    for position, word in enumerate(path):
        if isinstance(word, int):
            continue
        if word == "antenna" and position == 0:
            chosen = _at(data, ("antenna", "model"))
            model = ANTENNA_MODELS.get(chosen if isinstance(chosen, str) else "")
        else:
            field = model.model_fields.get(word) if model else None
            model = _table_type(field) if field else None
        if model is None:
            return None
    return model


def _table_type(field: FieldInfo):
    pending = [field.annotation]
    while pending:
        kind = pending.pop()
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return kind
        pending += [argument for argument in get_args(kind) if argument is not ...]
    return None


def _is_table(field: FieldInfo) -> bool:
    return isinstance(field.annotation, type) and issubclass(field.annotation, BaseModel)


def _what_it_is(data: dict, path: tuple) -> str:
    model = _model_at(data, tuple(path[:-1]))
    field = model.model_fields.get(path[-1]) if model else None
    if field is None or _table_type(field):
        return f"Add a table [{'.'.join(str(word) for word in path)}]."
    unit = (field.json_schema_extra or {}).get("unit") if isinstance(field.json_schema_extra, dict) else ""
    meaning = f": {field.description}" if field.description else ""
    return f'Add {path[-1]} = "…"{f" [{unit}]" if unit else ""}{meaning}.'


# ---------------------------------------------------------------------- writing


def study_text(study: Study) -> str:
    """A study as TOML with every default filled in; reading it back gives an equal study."""
    out = [f"title = {_quoted(study.title)}"]
    for name, field in Study.model_fields.items():
        if name in ("title", "vary", "limits", *SET_BY_READER):
            continue
        out += ["", *_table_lines(name, getattr(study, name), field)]
    for vary in study.vary:
        values = ", ".join(_value(value, "") for value in vary.values)
        out += ["", "[[vary]]", f"what = {_quoted(vary.what)}", f"values = [{values}]"]
    if study.limits:
        out += ["", "[limits]", *(f"{name} = {_value(limit, '')}" for name, limit in study.limits.items())]
    return "\n".join(out) + "\n"


def _table_lines(name: str, table: BaseModel, _field) -> list[str]:
    lines, below = [f"[{name}]"], []
    for key, field in type(table).model_fields.items():
        value = getattr(table, key)
        if value is None:
            continue
        if isinstance(value, BaseModel):
            below += ["", *_table_lines(f"{name}.{key}", value, field)]
        elif isinstance(value, dict):
            if value:
                below += ["", f"[{name}.{key}]", *(f"{_bare(k)} = {_quoted(v)}" for k, v in value.items())]
        else:
            unit = field.json_schema_extra.get("unit", "") if isinstance(field.json_schema_extra, dict) else ""
            lines.append(f"{key} = {_value(value, unit)}")
    return lines + below


def _bare(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _quoted(key)


def _quoted(text) -> str:
    return json.dumps(str(text), ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value, unit: str) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Limit):
        if math.isinf(value.high):
            return _quoted(f"> {value.low!r}")
        return _quoted(f"< {value.high!r}" if math.isinf(value.low) else f"{value.low!r}..{value.high!r}")
    if isinstance(value, PartValue):
        return _quoted(_part(value, unit))
    if isinstance(value, tuple | list):
        if unit == "degC":
            return _quoted(f"{value[0]!r}..{value[1]!r}")
        return "[" + ", ".join(_value(item, unit) for item in value) + "]"
    if isinstance(value, float) and unit:
        # An engineer's spelling where it is exact, all digits where it is not.
        for digits in (3, 4, 6, 9):
            text = format_quantity(value, unit, digits).replace("Ω", "ohm").replace("µ", "u")
            if parse_quantity(text, unit) == value:
                return _quoted(text)
        return repr(value)
    return repr(value) if isinstance(value, int | float) else _quoted(value)


def _part(part: PartValue, unit: str) -> str:
    words = " ".join(part.words)
    if part.tolerance is None:
        return f"{part.value!r} {words}".strip()
    low, high = -100 * part.tolerance.low, 100 * part.tolerance.high
    spread = f"{high!r}%" if low == high else f"-{low!r}%/+{high!r}%"
    text = f"{part.value!r} {unit} {spread} {words}".strip()
    assert parse_part(text, unit).value == part.value
    return text
