"""What weather does, as a table of the page."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from sim.plots import axes
from sim.report.model import Table

if TYPE_CHECKING:
    from collections.abc import Mapping

_CHANGES = (
    ("snr_lost_db", "S/N lost, dB", 2),
    ("gain_change_db", "Bench gain, dB", 2),
    ("phase_change_deg", "Bench phase, °", 1),
    ("noise_change_db", "Noise on a dummy, dB", 1),
    ("output_dc_change_v", "Output at rest, V", 2),
    ("current_change_ma", "Supply current, mA", 1),
    ("supply_change_v", "Volts at the unit, V", 2),
)


def weather_table(out_dir: Path, names: Mapping[int, str]) -> Table:
    """A row for each scenario with weather, at the lowest band; no rows where a run has none.

    Parameters
    ----------
    out_dir : Path
        Holds weather.csv where there is one.
    names : mapping of int to str
        Of the scenarios.
    """
    import pandas as pd

    path = out_dir / "weather.csv"
    if not path.is_file():
        return Table()
    texts = dict.fromkeys(("found_by", "found_among_sisters_by"), str)
    table = pd.read_csv(path, dtype=texts).fillna(dict.fromkeys(texts, ""))
    band = float(table["frequency_hz"].min())
    sisters = (table["found_among_sisters_by"] != "").any()
    rows = []
    for _, row in table[table["frequency_hz"] == band].iterrows():
        known = pd.notna(row["gain_change_db"])
        found = str(row["found_by"])
        rows.append(
            (
                names.get(int(row["scenario"]), str(row["weather"])),
                *(_number(row[column], digits, column) for column, _, digits in _CHANGES),
                _short(found, str(row["found_among_sisters_by"]) if sisters else found) if known else "no numbers",
            )
        )
    head = f"At {axes.frequency_text(band)}, wet less dry"
    return Table((head, *(name for _, name, _ in _CHANGES), "Found by"), tuple(rows))


_SHORT = {
    "gain sweep": "gain",
    "phase sweep": "phase",
    "noise on a dummy": "noise",
    "output at rest": "output",
    "supply current": "current",
    "volts at the unit": "volts",
}


def _short(found: str, among: str) -> str:
    """The measurements that find it by a word each, in brackets where they do not among sisters."""
    if not found:
        return "nothing"
    words = {name: _SHORT.get(name, name) for name in found.split("; ")}
    return ", ".join(word if name in among.split("; ") else f"({word})" for name, word in words.items())


def _number(value: float, digits: int, column: str) -> str:
    if value != value:
        return "–"
    text = f"{abs(value):.{digits}f}"
    if float(text) == 0:
        return "0"
    return ("−" if value < 0 else "" if column == "snr_lost_db" else "+") + text
