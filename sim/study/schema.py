"""All keys of a study, as rows, as a table for the documentation and as text for help; made from the models."""

from dataclasses import dataclass

from pydantic import BaseModel

from sim.study.antennas import ANTENNA_MODELS
from sim.study.array import Array, Direction
from sim.study.feedline import Section, Tee
from sim.study.maker import MakerWords
from sim.study.model import SET_BY_READER, NoiseTable, Study, Vary
from sim.study.stability import Stability
from sim.study.strong import Strong
from sim.study.weather import Weather
from sim.study.write import toml_value


@dataclass(frozen=True)
class Key:
    """One key of a study.

    Attributes
    ----------
    table : str
        As a study writes it, "[feedline]"; empty for keys of no table.
    name : str
    unit : str
        Empty where it has none.
    default : str
        As a study would write it; empty where the key must be given, or where leaving it out says something.
    required : bool
    example, meaning : str
    """

    table: str
    name: str
    unit: str
    default: str
    required: bool
    example: str
    meaning: str


def study_keys() -> tuple[Key, ...]:
    """Every key of a study, in the order in which a study is written."""
    keys = [key for key in _keys("", Study) if not key.table]
    for name, field in Study.model_fields.items():
        if name == "antenna":
            for model, antenna in ANTENNA_MODELS.items():
                keys += _keys(f'[antenna] with model = "{model}"', antenna)
        elif name == "stability":
            keys += _keys("[stability]", Stability)
        elif name == "array":
            keys += [*_keys("[array]", Array), *_keys("[[array.direction]]", Direction)]
        elif name == "weather":
            keys += _keys("[weather]", Weather)
        elif name == "strong":
            keys += _keys("[[strong]]", Strong)
        elif name == "vary":
            keys += _keys("[[vary]]", Vary)
        elif isinstance(field.annotation, type) and issubclass(field.annotation, BaseModel):
            keys += _keys(f"[{name}]", field.annotation)
            if name == "feedline":
                keys += [*_keys("[[feedline.sections]]", Section), *_keys("[feedline.tee]", Tee)]
            if name == "amplifier":
                keys += _keys("[amplifier.model]", MakerWords)
            if name == "site":
                keys += _keys("[site.noise]", NoiseTable)
        elif name == "limits":
            keys += [key for key in _keys("", Study) if key.table]
    return tuple(keys)


def _keys(table: str, model: type[BaseModel]):
    for name, field in model.model_fields.items():
        extra = field.json_schema_extra
        if (model is Study and name in SET_BY_READER) or not isinstance(extra, dict):
            continue
        missing = field.is_required() or field.default is None or field.default == {}
        # A table of names that the study chooses has one row for all of them.
        free = field.default == {}
        yield Key(
            f"[{table.strip('[]')}{'.' if table else ''}{name}]" if free else table,
            "NAME" if free else name,
            extra["unit"],
            "" if missing else toml_value(field.default, extra["unit"]),
            field.is_required(),
            extra["example"],
            field.description or "",
        )


def keys_markdown() -> str:
    """The keys as Markdown, one table for each table of a study."""
    out: list[str] = []
    table = None
    for key in study_keys():
        if key.table != table:
            table = key.table
            heading = f"`{table}`" if table else "Before the first table"
            out += ["", f"### {heading}", "", "| key | unit | default | example | meaning |", "|---|---|---|---|---|"]
        default = f"`{key.default}`" if key.default else ("must be given" if key.required else "none")
        out.append(f"| `{key.name}` | {key.unit} | {default} | `{key.example}` | {key.meaning} |")
    return "\n".join(out[1:]) + "\n"


def keys_help(width: int = 100) -> str:
    """The keys as plain text for ``--help``.

    Parameters
    ----------
    width : int
        Signs in a line; longer meanings go on below.
    """
    import textwrap

    out: list[str] = []
    table = None
    for key in study_keys():
        if key.table != table:
            table = key.table
            out += ["", table] if table else []
        default = f" (default {key.default})" if key.default else (" (must be given)" if key.required else "")
        head = f"  {key.name} = {key.example}"
        indent = " " * 34
        lines = textwrap.wrap(f"{key.meaning}{default}", width - len(indent)) or [""]
        out.append(f"{head:<33} {lines[0]}" if len(head) <= 33 else head)
        out += [indent + line for line in (lines[1:] if len(head) <= 33 else lines)]
    return "\n".join(out).lstrip("\n") + "\n"


PAGE_HEAD = """# Keys of a study file

Made from the models (`sim.study.schema.keys_page`); a test fails when it is stale. Quantities are written as engineers
write them: "10k", "8.2p", "120 m", "1.83M", "5%". `bandfloor new FILE` writes a commented study to start from.
"""


def keys_page() -> str:
    """The page docs/study-keys.md."""
    return f"{PAGE_HEAD}\n{keys_markdown().strip()}\n"
