"""A study written out as TOML, every default filled in."""

import json
import math
import re
from decimal import Decimal

from pydantic import BaseModel

from sim.quantity import Limit, PartValue, QuantityError, Tolerance, format_quantity, parse_quantity
from sim.study.model import SET_BY_READER, Study


def study_text(study: Study) -> str:
    """A study as TOML with every default filled in; reading it back gives an equal study.

    Quantities are written with a prefix where that is exact, and with all their digits where it is not.
    """
    out = [f"title = {_quoted(study.title)}"]
    for name in Study.model_fields:
        if name not in ("title", "strong", "vary", "limits", *SET_BY_READER) and getattr(study, name) is not None:
            out += ["", *_table_lines(name, getattr(study, name))]
    for carrier in study.strong:
        out += ["", *_table_lines("[strong]", carrier)]
    for vary in study.vary:
        values = ", ".join(toml_value(value, "") for value in vary.values)
        out += ["", "[[vary]]", f"what = {_quoted(vary.what)}", f"values = [{values}]"]
    if study.limits:
        out += ["", "[limits]", *(f"{_bare(name)} = {toml_value(limit, '')}" for name, limit in study.limits.items())]
    return "\n".join(out) + "\n"


def _table_lines(name: str, table) -> list[str]:
    lines, below = [f"[{name}]"], []
    for key, field in type(table).model_fields.items():
        value = getattr(table, key)
        if value is None or key in table.unsaid:
            continue
        if isinstance(value, BaseModel):
            below += ["", *_table_lines(f"{name}.{key}", value)]
        elif isinstance(value, dict):
            if value:
                below += ["", f"[{name}.{key}]", *(f"{_bare(k)} = {_quoted(v)}" for k, v in value.items())]
        else:
            unit = field.json_schema_extra.get("unit", "") if isinstance(field.json_schema_extra, dict) else ""
            lines.append(f"{key} = {toml_value(value, unit)}")
    return lines + below


def _bare(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _quoted(key)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def toml_value(value, unit: str) -> str:
    """One value of a study as TOML writes it.

    Parameters
    ----------
    value : str, number, tuple, Limit, PartValue or table
        As a study holds it. [SI]
    unit : str
        Of the key; empty where it has none.
    """
    if isinstance(value, Limit):
        return _quoted(_limit(value))
    if isinstance(value, PartValue):
        return _quoted(_part(value, unit))
    if isinstance(value, BaseModel):
        fields = type(value).model_fields
        units = {key: (fields[key].json_schema_extra or {}).get("unit", "") for key in fields}
        said = [key for key in fields if getattr(value, key) is not None]
        return "{" + ", ".join(f"{key} = {toml_value(getattr(value, key), units[key])}" for key in said) + "}"
    if isinstance(value, tuple):
        if unit == "degC":
            ends = [_plain(end) for end in dict.fromkeys(value)]
            return _quoted("..".join(ends))
        return "[" + ", ".join(toml_value(item, unit) for item in value) + "]"
    if isinstance(value, float) and unit:
        return _quoted(_quantity(value, unit))
    return _quoted(value) if isinstance(value, str) else repr(value)


def _quantity(value: float, unit: str) -> str:
    """An engineer's spelling where it is exact, all digits where it is not."""
    for digits in (3, 6, 9, 12):
        text = format_quantity(value, unit, digits).replace("Ω", "ohm").replace("\N{MICRO SIGN}", "u")
        text = text.replace("\N{GREEK SMALL LETTER MU}", "u")
        try:
            if parse_quantity(text, unit) == value:
                return text
        except QuantityError:  # a prefix that nobody writes, such as atto
            break
    return f"{value!r} {unit}"


def _limit(limit: Limit) -> str:
    if math.isinf(limit.high):
        return f"> {_plain(limit.low)}"
    return f"< {_plain(limit.high)}" if math.isinf(limit.low) else f"{_plain(limit.low)}..{_plain(limit.high)}"


def _plain(value: float) -> str:
    return repr(value).removesuffix(".0")


def _part(part: PartValue, unit: str) -> str:
    tolerance = (tolerance_text(part.tolerance),) if part.tolerance is not None else ()
    return " ".join((_quantity(part.value, unit), *tolerance, *part.words))


def tolerance_text(tolerance: Tolerance) -> str:
    """A tolerance as a study writes it: "5%", "-20%/+80%"."""
    low, high = (_percent(abs(share)) for share in (tolerance.low, tolerance.high))
    return f"{high}%" if low == high else f"-{low}%/+{high}%"


def _percent(share: float) -> str:
    # Two decimal places further on, digit for digit: 100 times a binary fraction is not the same number.
    return format(Decimal(repr(share)).scaleb(2).normalize(), "f")
