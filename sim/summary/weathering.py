"""What weather does to a unit, and which measurement would find it: each scenario against the same one when dry.

The nominal unit is compared with itself, as a builder compares a unit with its own record of the first dry day. Without
one only its sisters are left to compare with, and a change must stand out of their spread, by two standard deviations,
too. Noise is that of the chain itself at the
receiver, as it is heard with a dummy of the antenna's impedance in its place: a leak shows there long before it costs
signal to noise, since the band's noise does not cover it.

From when a measurement finds something is our choice (:data:`FOUND_FROM`): what a careful amateur's repeat of the same
measurement agrees to; common practice, no source.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from sim.columns import TABLES
from sim.noise.density import snr_loss
from sim.quantity import db
from sim.summary.wording import at_band, listed

COLUMNS = TABLES["weather.csv"]


@dataclass(frozen=True)
class Finder:
    """A measurement that may find what weather did.

    Attributes
    ----------
    column : str
        Of weather.csv.
    name : str
        In running text.
    least : float
        Change from which it finds something. [as the column]
    unit : str
        Behind a number in running text.
    digits : int
        Behind the decimal point.
    """

    column: str
    name: str
    least: float
    unit: str
    digits: int


FOUND_FROM = (
    Finder("gain_change_db", "gain sweep", 0.1, " dB", 2),
    Finder("phase_change_deg", "phase sweep", 1.0, "°", 1),
    Finder("noise_change_db", "noise on a dummy", 0.5, " dB", 1),
    Finder("output_dc_change_v", "output at rest", 0.02, " V", 2),
    Finder("current_change_ma", "supply current", 0.2, " mA", 1),
    Finder("supply_change_v", "volts at the unit", 0.1, " V", 2),
)
"""Measurements in the order in which they are told."""

SISTERS_SD = 2.0
"""Standard deviations of the units by which a change must stand out of them: one good unit in twenty does too. [1]"""
LEAST_LOSS_DB = 0.5
"""Loss of signal to noise that is worth a repair; our choice. [dB]"""
MOST_NAMED = 8


@dataclass(frozen=True)
class Nominal:
    """The nominal unit of one scenario by measure: values (n_band,) or (1,); empty where it gave no numbers."""

    values: Mapping[str, np.ndarray]

    def __getitem__(self, measure: str) -> np.ndarray:
        return np.asarray(self.values[measure], dtype=float)


@dataclass(frozen=True)
class Wet:
    """One scenario with weather beside the same one without.

    Attributes
    ----------
    scenario : int
    name : str
        Of the scenario.
    weather : str
        What weather does in it, in words.
    key : str
        The only thing that it does; empty where it does several.
    ohm : float
        How much of that; NaN where it does several. [Ω]
    others : str
        Values of what else the study varies.
    wet, dry : Nominal
    spread : mapping of str to ndarray
        Standard deviation of all units by column of weather.csv, a value a band or one; empty where units are too few.
    """

    scenario: int
    name: str
    weather: str
    key: str
    ohm: float
    others: str
    wet: Nominal
    dry: Nominal
    spread: Mapping[str, np.ndarray] = field(default_factory=dict)


def weather_rows(found: Sequence[Wet], bands_hz: Sequence[float]) -> list[dict]:
    """Rows of weather.csv: wet less dry, a row a scenario and band.

    Parameters
    ----------
    found : sequence of Wet
    bands_hz : sequence of float
        [Hz]

    Returns
    -------
    rows : list of dict
        Numbers NaN, and nothing found or not found, where either unit gave none.
    """
    return [_row(one, place, float(f)) for one in found for place, f in enumerate(bands_hz)]


def _row(one: Wet, place: int, freq_hz: float) -> dict:
    row = dict.fromkeys(COLUMNS, np.nan) | {
        "scenario": one.scenario,
        "weather": one.weather,
        "key": one.key,
        "ohm": one.ohm,
        "others": one.others,
        "frequency_hz": freq_hz,
        "found_by": "",
        "not_found_by": "",
        "found_among_sisters_by": "",
    }
    if not (one.wet.values and one.dry.values):
        return row

    def change(measure: str) -> float:
        here = place if len(one.wet[measure]) > 1 else 0
        wet, dry = float(one.wet[measure][here]), float(one.dry[measure][here])
        return wet - dry if np.isfinite(wet) and np.isfinite(dry) else float("nan")

    margins = [nominal["noise_margin_db"][place] for nominal in (one.wet, one.dry)]
    turn = change("phase_deg")
    row |= {
        "gain_change_db": change("gain_db"),
        "phase_change_deg": turn - 360 * round(turn / 360),
        "noise_change_db": float(db(one.wet["output_noise_nv"][place] / one.dry["output_noise_nv"][place])),
        "snr_lost_db": _lost(*margins),
        "noise_margin_change_db": change("noise_margin_db"),
        "output_dc_change_v": change("output_dc_v"),
        "current_change_ma": change("current_ma"),
        "supply_change_v": change("supply_v"),
        "stability_margin_change": change("stability_margin"),
        "stable": float(one.wet["stable"][0]),
    }
    known = [finder for finder in FOUND_FROM if np.isfinite(row[finder.column])]
    finds = [abs(row[finder.column]) >= finder.least for finder in known]
    row["found_by"] = "; ".join(finder.name for finder, yes in zip(known, finds, strict=True) if yes)
    row["not_found_by"] = "; ".join(finder.name for finder, yes in zip(known, finds, strict=True) if not yes)
    if one.spread:
        stands_out = [finder for finder in known if _stands_out(row[finder.column], finder, one.spread, place)]
        row["found_among_sisters_by"] = "; ".join(finder.name for finder in stands_out)
    return row


def _stands_out(value: float, finder: Finder, spread: Mapping[str, np.ndarray], place: int) -> bool:
    """Whether a change is found among units that differ by themselves."""
    known = np.atleast_1d(spread[finder.column])
    sd = float(known[place if len(known) > 1 else 0])
    return abs(value) >= max(finder.least, SISTERS_SD * sd)


def _lost(wet_db: float, dry_db: float) -> float:
    """Signal to noise lost by two noise margins; NaN where nothing is heard. [dB]"""
    if not (np.isfinite(wet_db) and np.isfinite(dry_db)):
        return float("nan")
    return float(snr_loss(wet_db) - snr_loss(dry_db))


@dataclass(frozen=True)
class Weathering:
    """What weather does, for the answer.

    Attributes
    ----------
    rows : list of dict
        Of weather.csv.
    headline : tuple of str
        Sentences for the opening.
    told : tuple of str
        A sentence each scenario, then from when something is found.
    """

    rows: list[dict]
    headline: tuple[str, ...]
    told: tuple[str, ...]


def weathering(found: Sequence[Wet], bands_hz: Sequence[float]) -> Weathering:
    """Rows and sentences; arguments as of :func:`weather_rows`, one scenario or more."""
    rows = weather_rows(found, bands_hz)
    own = {one.scenario: [row for row in rows if row["scenario"] == one.scenario] for one in found}
    told = [_told(one, own[one.scenario]) for one in found]
    return Weathering(rows, tuple(_headline(found, own)), (*told, _thresholds()))


def _largest(rows: Sequence[dict], column: str) -> dict | None:
    """The band at which a column is largest; None where it has no number."""
    known = [row for row in rows if np.isfinite(row[column])]
    return max(known, key=lambda row: abs(row[column]), default=None)


def _finders(rows: Sequence[dict]) -> tuple[list[tuple[Finder, float]], list[tuple[Finder, float]]]:
    """What finds it at some band and what at none, each with its largest change."""
    finds, misses = [], []
    for finder in FOUND_FROM:
        row = _largest(rows, finder.column)
        if row is not None:
            value = row[finder.column]
            (finds if abs(value) >= finder.least else misses).append((finder, value))
    return finds, misses


def _number(finder: Finder, value: float) -> str:
    text = f"{abs(value):.{finder.digits}f}"
    sign = "" if float(text) == 0 else ("+" if value > 0 else "−")
    return f"{sign}{text}{finder.unit}"


def _told(one: Wet, rows: Sequence[dict]) -> str:
    if not (one.wet.values and one.dry.values):
        return f"{one.name}: gave no numbers to compare; see failures.csv."
    finds, misses = _finders(rows)
    said = [f"{one.name}: {_cost(rows)}"]
    if finds:
        alone = " alone" if len(finds) == 1 else ""
        by = listed([f"{finder.name} ({_number(finder, value)})" for finder, value in finds])
        said.append(f"found by {by}{alone}")
    else:
        said.append("found by none of the measurements")
    gain = next(((finder, value) for finder, value in misses if finder.column == "gain_change_db"), None)
    if gain is not None:
        said.append(f"a gain sweep moves by {abs(gain[1]):.2f} dB and does not find it")
    if any(row["stable"] == 0 for row in rows):
        said.append("the unit is not stable")
    return "; ".join(said) + "."


def _cost(rows: Sequence[dict]) -> str:
    worst = _largest(rows, "snr_lost_db")
    if worst is None:
        return "what it costs in signal to noise is not known"
    lost = worst["snr_lost_db"]
    if lost < 0.005:
        return "costs no signal to noise"
    return f"costs {lost:.2f} dB of signal to noise{at_band(worst['frequency_hz'])}"


def _headline(found: Sequence[Wet], own: Mapping[int, Sequence[dict]]) -> list[str]:
    compared = [one for one in found if one.wet.values and one.dry.values]
    hidden, nothing, dear = [], [], []
    for one in compared:
        finds, _ = _finders(own[one.scenario])
        worst = _largest(own[one.scenario], "snr_lost_db")
        if worst is not None and worst["snr_lost_db"] >= LEAST_LOSS_DB:
            dear.append(f"{one.name} ({worst['snr_lost_db']:.1f} dB)")
        names = [finder.name for finder, _ in finds]
        if not names:
            nothing.append(one.name)
        elif "gain sweep" not in names:
            hidden.append(f"{one.name} ({listed(names)} {'finds' if len(names) == 1 else 'find'} it)")
    said = []
    if hidden:
        said.append(f"A gain sweep does not find {_some(hidden)}.")
    if nothing:
        said.append(f"No measurement finds {_some(nothing)}.")
    if dear:
        said.append(f"Water and dirt cost {LEAST_LOSS_DB:g} dB of signal to noise or more with {_some(dear)}.")
    elif compared:
        said.append(f"Water and dirt cost less than {LEAST_LOSS_DB:g} dB of signal to noise in all that was tried.")
    return said


def _some(names: Sequence[str]) -> str:
    more = len(names) - MOST_NAMED
    return listed(names) if more <= 0 else f"{', '.join(names[:MOST_NAMED])} and {more} more"


def _thresholds() -> str:
    least = listed([f"{finder.name} {finder.least:g}{finder.unit}" for finder in FOUND_FROM])
    return (
        f"Found means that the nominal unit, beside its own record when dry, differs by at least: {least}. These are"
        " our choice. Among its sisters, without a record, it must also stand out by two standard deviations. Noise on"
        " a dummy is heard at the receiver with the antenna's impedance in its place. Measure while it is wet: a unit"
        " that has dried on the bench is a good one."
    )
