"""From a run's tables to the tables of the page: chosen rows, numbers as people read them."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from sim.noise.density import snr_loss
from sim.plots import words
from sim.plots.choice import Shown, limited_rows
from sim.plots.drivers_table import REST, ranked
from sim.quantity import format_quantity
from sim.report.model import Cell, DriverList, Table, YieldGrid, YieldRow

_MOST_DRIVERS = 5
_MOST_REASONS = 12
_REASON_LENGTH = 160


def yield_rows(summary: pd.DataFrame, scenario: int) -> tuple[YieldRow, ...]:
    """The limited rows of one scenario of summary.csv, measure by measure."""
    return tuple(_yield_row(line) for line in _limited(summary) if line.scenario == scenario)


def yield_grid(summary: pd.DataFrame, shown: Shown) -> YieldGrid:
    """The yields of several scenarios beside each other."""
    cells: dict[tuple, dict[int, Cell]] = {}
    heads = {}
    for line in _limited(summary):
        key = (line.measure, line.frequency_hz if math.isfinite(line.frequency_hz) else None)
        heads.setdefault(key, (words.short_name(line.measure), band_text(line.frequency_hz), _limit(line)))
        cells.setdefault(key, {})[line.scenario] = _cell(line)
    missing = Cell("–", "", False)
    rows = tuple(
        (*heads[key], tuple(own.get(n, missing) for n in shown.numbers)) for key, own in cells.items()
    )
    return YieldGrid(shown.names, rows)


def _limited(summary: pd.DataFrame) -> list:
    """Rows with a limit, those of a measure together, in the order in which measures first appear."""
    limited = summary[limited_rows(summary)].rename(columns={"yield": "share"})
    order = {measure: place for place, measure in enumerate(dict.fromkeys(limited["measure"]))}
    return sorted(limited.itertuples(), key=lambda line: order[line.measure])


def _limit(line) -> str:
    if line.measure == "stable":
        return "stable"
    return words.limit_text(float(line.limit_low), float(line.limit_high), line.unit_of_measure)


def _cell(line) -> Cell:
    interval = f"{words.percent(line.yield_low).removesuffix(' %')} … {words.percent(line.yield_high)}"
    return Cell(words.percent(line.share), interval, bool(line.share < 0.9))


def _yes_or_no(value: float) -> str:
    """A verdict; a circuit without a probe has none."""
    return "–" if not math.isfinite(value) else "yes" if value == 1 else "no"


def _yield_row(line) -> YieldRow:
    unit = line.unit_of_measure
    low, high = _percent_place(line.yield_low), _percent_place(line.yield_high)
    if line.measure == "stable":
        nominal, most = _yes_or_no(line.nominal), "–"
    else:
        nominal = words.number(line.nominal, unit)
        most = f"{words.number(line.p05, unit)} … {words.number(line.p95, unit)}"
    return YieldRow(
        words.short_name(line.measure),
        band_text(line.frequency_hz),
        _limit(line),
        nominal,
        most,
        _cell(line),
        low,
        round(high - low, 2),
    )


def scenario_table(summary: pd.DataFrame, scenarios: pd.DataFrame, names: dict[int, str]) -> Table:
    """One row a scenario: its lowest yield, where that is, and what the choice does to the nominal unit."""
    if len(names) < 2:
        return Table()
    keys = [c for c in scenarios.columns if c != "scenario"]
    limited = summary[limited_rows(summary)]
    telling = [
        m
        for m in (
            "gain_db",
            "system_gain_db",
            "output_noise_nv",
            "noise_margin_db",
            "stability_margin",
            "headroom_db",
            "current_ma",
            "supply_v",
        )
        if (summary["measure"] == m).any()
    ]
    units = summary.drop_duplicates("measure").set_index("measure")["unit_of_measure"]
    columns = [" × ".join(keys) or "Scenario"]
    if len(limited):
        columns += ["Lowest yield", "of limit"]
    for m in telling:
        columns += [words.heading(m, units[m]), *(["SNR loss, dB"] if m == "noise_margin_db" else [])]
    rows = []
    for number, name in names.items():
        cells = [name]
        if len(limited):
            own = limited[limited["scenario"] == number]
            worst = own.loc[own["yield"].idxmin()] if own["yield"].notna().any() else None
            cells += (
                ["–", "–"] if worst is None else [words.percent(float(worst["yield"])), limit_name(worst)]
            )
        own = summary[summary["scenario"] == number]
        for m in telling:
            values = own.loc[own["measure"] == m, "nominal"]
            value = values.max() if m == "output_noise_nv" else values.min()
            cells.append(words.number(float(value), units[m]))
            if m == "noise_margin_db":
                cells.append(words.number(float(snr_loss(value)), "dB"))
        rows.append(tuple(cells))
    return Table(tuple(columns), tuple(rows))


def limit_name(row) -> str:
    """Measure and band of a row of summary.csv: "Noise margin, 7.05 MHz"."""
    band = f", {band_text(row['frequency_hz'])}" if math.isfinite(row["frequency_hz"]) else ""
    return words.short_name(row["measure"]) + band


def driver_lists(
    drivers: pd.DataFrame, summary: pd.DataFrame, scenario: int, bands_hz: tuple[float, ...]
) -> tuple[tuple[DriverList, ...], str]:
    """The largest drivers of gain and of match at the middle band, and a note that says which band."""
    if drivers.empty:
        return (), ""
    middle = bands_hz[len(bands_hz) // 2] if bands_hz else math.nan
    units = summary.drop_duplicates("measure").set_index("measure")["unit_of_measure"]
    lists = []
    # With the same line for all units the match with feedline is that of the bench.
    lines = ("match_system_phase_deg",) * bool(drivers["part"].astype(str).str.startswith("feedline.").any())
    for measure in ("gain_db", "match_gain_db", "match_phase_deg", *lines, "noise_margin_db"):
        own = drivers[(drivers["scenario"] == scenario) & (drivers["measure"] == measure)]
        here = own[np.isclose(own["frequency_hz"], middle, rtol=1e-9)] if math.isfinite(middle) else own
        if here.empty:
            continue
        shares = ranked(here, _MOST_DRIVERS).iloc[:, 0]
        slopes = here.set_index("part")["slope_per_percent"]
        unit = units.get(measure, "")
        rows = tuple(
            (
                words.part_name(part),
                _share(float(share)),
                "" if part == REST else _slope(part, float(slopes[part]), unit),
            )
            for part, share in shares.items()
        )
        lists.append(DriverList(words.short_name(measure), Table(("Part", "Share", "for +1 %"), rows)))
    note = f"Read at {format_quantity(middle, 'Hz')}." if lists and math.isfinite(middle) else ""
    return tuple(lists), note


def nominal_tables(summary: pd.DataFrame, scenario: int, bands_hz: tuple[float, ...]) -> tuple[Table, Table]:
    """Nominal values with the spread in brackets: measures by band, and measures without a band."""
    own = summary[summary["scenario"] == scenario]
    banded, single = [], []
    for measure in dict.fromkeys(own["measure"]):
        # A match is zero by definition in the nominal unit; the count of all limits is no measure of it.
        if measure.startswith(("match_", "(")):
            continue
        rows = own[own["measure"] == measure]
        unit = str(rows["unit_of_measure"].iloc[0])
        if rows["frequency_hz"].notna().any():
            cells = []
            for f in bands_hz:
                at = rows[np.isclose(rows["frequency_hz"], f, rtol=1e-9)]
                cells.append(_with_spread(at.iloc[0]) if len(at) else "–")
            banded.append((words.heading(measure, unit), *cells))
            if measure == "noise_margin_db":
                banded.append(("SNR loss, dB", *_losses(rows, bands_hz)))
        elif measure == "stable":
            single.append((words.short_name(measure), _yes_or_no(rows["nominal"].iloc[0])))
        else:
            single.append((words.heading(measure, unit), _with_spread(rows.iloc[0])))
    heads = ("Measure", *[format_quantity(f, "Hz") for f in bands_hz])
    return Table(heads, tuple(banded)), Table(("Measure", "Value"), tuple(single))


def _losses(margins: pd.DataFrame, bands_hz: tuple[float, ...]) -> list[str]:
    """What the nominal unit's noise margin costs in signal to noise, a cell a band."""
    cells = []
    for f in bands_hz:
        at = margins.loc[np.isclose(margins["frequency_hz"], f, rtol=1e-9), "nominal"]
        cells.append(words.number(float(snr_loss(at.iloc[0])), "dB") if at.notna().any() else "–")
    return cells


def failure_table(failures: pd.DataFrame) -> tuple[Table, str]:
    """Failures counted by stage and reason, most frequent first, and a sentence with the total."""
    if failures.empty:
        return Table(), ""
    failures = failures.assign(reason=failures["reason"].astype(str).str.slice(0, _REASON_LENGTH))
    rows = []
    groups = sorted(failures.groupby(["stage", "reason"], sort=True), key=lambda item: -len(item[1]))
    for (stage, reason), group in groups[:_MOST_REASONS]:
        first = ", ".join(str(u) for u in sorted(group["unit"].unique())[:5])
        rows.append((str(stage), reason, str(len(group)), first))
    units = failures["unit"].nunique()
    total = (
        f"{len(failures)} runs of {units} units failed."
        if units > 1
        else f"{len(failures)} runs of one unit failed."
    )
    if len(groups) > _MOST_REASONS:
        total += f" The {_MOST_REASONS} most frequent reasons of {len(groups)}:"
    return Table(("Stage", "Reason", "Runs", "First units"), tuple(rows)), total


def band_text(freq_hz: float) -> str:
    """A band's name, or a dash for a measure that has none. [Hz]"""
    return format_quantity(float(freq_hz), "Hz") if math.isfinite(freq_hz) else "–"


def _with_spread(row) -> str:
    nominal, sd, unit = float(row["nominal"]), float(row["sd"]), str(row["unit_of_measure"])
    if not math.isfinite(sd) or sd == 0:
        return words.number(nominal, unit)
    return f"{words.number(nominal, unit)} ({words.number(sd, unit)})"


def _share(share: float) -> str:
    """A share of variance; a fit may leave a small one slightly below zero."""
    return "0 %" if abs(share) < 0.0005 else f"{100 * share:.1f} %".replace("-", "−")


def _slope(part: str, slope: float, unit: str) -> str:
    if not math.isfinite(slope):
        return "–"
    text = f"{slope:+.{max(1 - math.floor(math.log10(abs(slope))), 0)}f}" if slope else "0"
    text = words.with_unit(text.replace("-", "−"), unit)
    return f"{text} for +1 K" if part == "temperature_c" else text


def _percent_place(share: float) -> float:
    return round(100 * float(share), 2) if share is not None and math.isfinite(share) else 0.0
