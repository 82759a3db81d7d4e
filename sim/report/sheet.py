"""The bench sheet: set-up, and what a good unit shows, as a part of the page."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path

from sim.plots import words
from sim.quantity import PartValue, QuantityError, format_quantity, parse_part, parse_quantity
from sim.report.model import BenchSheet, Table
from sim.sampling.coverage import LEVEL, confidence_of_extremes, share_between_extremes, units_for_extremes

LEAST_PROMISE = 0.5
"""Share of boards below which limits are not worth stating: our choice. [1]"""


def bench_sheet(out_dir: Path, study: Mapping, scenario: int, names: Mapping[int, str]) -> BenchSheet:
    """The sheet of one scenario; empty where there is no bench.csv.

    Parameters
    ----------
    out_dir : Path
        Results folder.
    study : mapping
        study.toml, as read.
    scenario : int
    names : mapping of int to str
        Of the scenarios.
    """
    path = out_dir / "bench.csv"
    if not path.is_file():
        return BenchSheet()
    import pandas as pd

    table = pd.read_csv(path, keep_default_na=False, na_values=[""])
    own = table[table["scenario"] == scenario]
    if own.empty:
        return BenchSheet()
    signal = own[own["frequency_hz"].notna()]
    rows = []
    for freq_hz, pair in signal.groupby("frequency_hz"):
        cells = [text for _, row in pair.iterrows() for text in _cells(row)]
        rows.append((format_quantity(float(freq_hz), "Hz", 3), *cells))
    heads = ("Frequency", "Gain, dB", "From … to", "Phase, °", "From … to")
    still = own[own["frequency_hz"].isna()]
    volts = tuple(
        (row["quantity"] + (f", {row['place']}" if isinstance(row["place"], str) else ""), *_cells(row, unit=True))
        for _, row in still.iterrows()
    )
    return BenchSheet(
        drawing=set_up(study),
        signal=Table(heads, tuple(rows)),
        volts=Table(("At rest", "Nominal", "From … to"), volts),
        note=_note(study, int(own["units"].max()), f"Drawn up for {names[scenario]}. " if len(names) > 1 else ""),
    )


def _cells(row, unit: bool = False) -> tuple[str, str]:
    mark = str(row["unit_of_quantity"])

    def said(value: float) -> str:
        return "–" if value != value else words.number(float(value), mark)

    ends = f"{said(row['low'])} … {said(row['high'])}"
    nominal = said(row["nominal"])
    return (f"{nominal} {mark}", f"{ends} {mark}") if unit else (nominal, ends)


def _note(study: Mapping, units: int, whose: str) -> str:
    run = study.get("run", {})
    promised = LEVEL if confidence_of_extremes(units, LEVEL) >= LEVEL else share_between_extremes(units)
    worth = f"the least and the largest of {units} virtual units"
    if promised < LEAST_PROMISE:
        worth += ", which is too few to promise anything of a board"
    else:
        few = "" if promised == LEVEL else f"; {units_for_extremes()} units promise 95 %"
        worth += (
            f": {math.floor(100 * promised)} % of boards lie between them, with 95 % confidence, at each point by"
            f" itself (Wilks){few}"
        )
    return (
        f"{whose}Limits are {worth}. Add what your measurement is unsure of. Units are at"
        f" {run.get('temperature', '20')} °C, fed as in the study, through its line: feeding a unit on the bench"
        " directly leaves out the drop."
    )


def set_up(study: Mapping) -> str:
    """The analyser's set-up in characters, with its values.

    Parameters
    ----------
    study : mapping
        study.toml, as read.
    """
    bench = study.get("fixture", {})
    source, load = (_shown(bench.get(key, "50"), "ohm") for key in ("source", "load"))
    dummy = _shown(bench.get("dummy", "47p"), "F")
    supply = str(study.get("supply", {}).get("voltage", "12 V"))
    circuit = str(study.get("amplifier", {}).get("circuit", "amplifier"))
    balanced = str(study.get("antenna", {}).get("model", "")) == "short-dipole"
    boxes = [
        ("analyser", "port 1", source),
        *([("balun", "centre tap", "to ground")] if balanced else []),
        ("dummy", f"{'each leg' if balanced else 'in series'}", dummy),
        ("unit", circuit, "in     out"),
        ("analyser", "port 2", load),
    ]
    widths = [max(map(len, box)) + 2 for box in boxes]
    rule = "    ".join("+" + "-" * width + "+" for width in widths)
    lines = [rule]
    for number in range(3):
        joint = "----" if number == 1 else "    "
        cells = (f"|{box[number].center(width)}|" for box, width in zip(boxes, widths, strict=True))
        lines.append(joint.join(cells))
    lines.append(rule)
    # Below the middle of the unit's box.
    place = sum(width + 6 for width in widths[:-2]) + widths[-2] // 2 + 1
    fed = f"supply {supply}"
    return "\n".join([*lines, " " * place + "|", " " * max(place - len(fed) // 2, 0) + fed])


def _shown(text, unit: str) -> str:
    try:
        value = parse_part(text, unit) if unit == "F" else parse_quantity(text, unit)
    except QuantityError:
        return str(text)
    if isinstance(value, PartValue):
        return f"{format_quantity(value.value, unit)}{f' {value.tolerance}' if value.tolerance else ''}"
    return format_quantity(value, unit)
