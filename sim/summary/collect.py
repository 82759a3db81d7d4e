"""Chunks of units brought together, and the tables that come straight from them.

Whatever the chunks were, units end in rising order, so no result depends on how a run was cut.
"""

from __future__ import annotations

import math
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from sim.errors import BandfloorError
from sim.measures.panel import BANDED, CURVES, SINGLE
from sim.summary.antennas import ANTENNA_SINGLE, Antennas
from sim.summary.lines import LINE_SINGLE, Lines
from sim.summary.matching import MATCHES, Matches
from sim.summary.strong import HEADROOM, INTERCEPTS, PRODUCTS, StrongUnits

if TYPE_CHECKING:
    from pandas import DataFrame

QUANTILES = (0.05, 0.50, 0.95)
"""Shares of units below p05, p50 and p95."""


class StoredCurves:
    """Curves of all units, left in their chunks and read a scenario at a time: of many units they fill the memory.

    Parameters
    ----------
    paths : sequence of Path
        Chunks.
    rows : sequence of int ndarray
        Where each chunk's units stand among all.
    shape : (int, int, int, int)
        n_scenario, n_unit, len(CURVES), n_curve; no points where no unit at all could be simulated.
    """

    def __init__(self, paths: Sequence[Path], rows: Sequence[np.ndarray], shape: tuple[int, int, int, int]):
        self._paths, self._rows, self.shape = paths, rows, shape
        self._last: tuple[int, np.ndarray] | None = None

    @classmethod
    def of(cls, paths: Sequence[Path], rows: Sequence[np.ndarray], shape: tuple[int, int]) -> StoredCurves:
        """Curves of these chunks; BandfloorError where their frequencies are not the same."""
        ends = {_shape(path, "curves")[2:] for path in paths}
        # A chunk of which every unit failed does not know how long the curves are.
        known = {end for end in ends if end[-1]}
        if len(known) > 1:
            raise BandfloorError("The chunks differ in their curves values.\n  Remove them and run again.")
        return cls(paths, rows, (*shape, *(known or ends).pop()))

    def __getitem__(self, position: int) -> np.ndarray:
        """Curves of one scenario, shape (n_unit, len(CURVES), n_curve); NaN where a unit failed."""
        if self._last is None or self._last[0] != position:
            self._last = None
            whole = np.full(self.shape[1:], np.nan)
            for path, places in zip(self._paths, self._rows, strict=True):
                part = _read(path, ("curves",))["curves"]
                if part.shape[-1]:
                    whole[places] = part[position]
            self._last = position, whole
        return self._last[1]


@dataclass(frozen=True)
class Gathered:
    """All units of a run in every scenario; units rise, failed ones are NaN.

    Attributes
    ----------
    scenarios : int ndarray, shape (n_scenario,)
    units : int ndarray, shape (n_unit,)
        Unit 0, where it is present, is nominal.
    banded : ndarray, shape (n_scenario, n_unit, len(BANDED), n_band)
    single : ndarray, shape (n_scenario, n_unit, len(SINGLE))
    curves : ndarray or StoredCurves, shape (n_scenario, n_unit, len(CURVES), n_curve)
        ``curves[i]`` is the array of one scenario.
    misfit : ndarray, shape (n_scenario, n_unit)
        Of the rational form; NaN where the unit failed, and nowhere else.
    contributors : tuple of Contributor
        Noise of the nominal unit at the receiver, split by origin.
    seconds_inside, seconds_whole : float
        Inside the simulator, and in units altogether, summed over chunks. [s]
    cautions : tuple of str
        About the resting voltages of the nominal units.
    lines : Lines or None
        Verdicts on every feedline; None without ``[stability]``.
    antennas : Antennas or None
        Verdicts with every antenna; None without ``[stability]``.
    resting : ndarray, shape (n_scenario, n_unit, n_device, len(RESTING)), or None
        Of every op-amp at rest, see :data:`sim.measures.ratings.RESTING`; None where the chunks do not say. [V, A]
    strong : StrongUnits or None
        What strong carriers do; None where nothing of that kind is asked for.
    """

    scenarios: np.ndarray
    units: np.ndarray
    banded: np.ndarray
    single: np.ndarray
    curves: np.ndarray | StoredCurves
    misfit: np.ndarray
    contributors: tuple[Contributor, ...]
    seconds_inside: float
    seconds_whole: float
    cautions: tuple[str, ...] = ()
    lines: Lines | None = None
    antennas: Antennas | None = None
    resting: np.ndarray | None = None
    strong: StrongUnits | None = None

    @property
    def failed(self) -> np.ndarray:
        """Which runs gave no measures, shape (n_scenario, n_unit)."""
        return np.isnan(self.misfit)


@dataclass(frozen=True)
class Contributor:
    """One origin of noise at the receiver.

    Attributes
    ----------
    scenario : int
    name : str
    psd : ndarray, shape (n_curve,)
        [V²/Hz]
    """

    scenario: int
    name: str
    psd: np.ndarray


@dataclass(frozen=True)
class Response:
    """One measure of one scenario, at one band or without.

    Attributes
    ----------
    measure : str
    frequency_hz : float
        NaN where the measure has none. [Hz]
    values : ndarray, shape (n_unit,)
        In the measure's own unit; NaN where the unit failed.
    """

    measure: str
    frequency_hz: float
    values: np.ndarray


def gather(chunk_paths: Iterable[Path | str]) -> Gathered:
    """All chunks of a run as one.

    Parameters
    ----------
    chunk_paths : iterable of path
        Arrays written by the simulate step, in any order.

    Returns
    -------
    Gathered

    Raises
    ------
    BandfloorError
        No chunk; chunks of different scenarios, bands or curves; a unit that is in two of them.
    """
    paths = [Path(path) for path in chunk_paths]
    if not paths:
        raise BandfloorError("There are no chunks to bring together.\n  Run the simulate step first.")
    heads = [_read(path, _HEAD) for path in paths]
    scenarios = heads[0]["scenarios"]
    if any(not np.array_equal(head["scenarios"], scenarios) for head in heads):
        raise BandfloorError("The chunks are of different scenarios.\n  Remove them and run again.")
    units = np.sort(np.concatenate([head["units"] for head in heads]))
    if np.any(np.diff(units) == 0):
        raise BandfloorError("A unit is in two chunks.\n  Remove the chunks and run again.")
    whole: dict[str, np.ndarray] = {}
    for path, head in zip(paths, heads, strict=True):
        _place(whole, _read(path, _ARRAYS), np.searchsorted(units, head["units"]), len(units))
    rows = [np.searchsorted(units, head["units"]) for head in heads]
    whole["curves"] = StoredCurves.of(paths, rows, (len(scenarios), len(units)))
    lines, antennas = (_maps(kind, paths, rows, len(units)) for kind in (Lines, Antennas))
    inside, altogether = np.sum([head["seconds"] for head in heads], axis=0)
    return Gathered(
        scenarios=scenarios,
        units=units,
        **whole,
        contributors=_contributors(heads),
        seconds_inside=float(inside),
        seconds_whole=float(altogether),
        cautions=tuple(dict.fromkeys(str(text) for head in heads for text in head["cautions"])),
        lines=lines,
        antennas=antennas,
        resting=_resting(paths, rows, len(units)),
        strong=StrongUnits.gather(paths, rows, len(units)),
    )


def _maps(kind, paths, rows, n_unit: int):
    """Verdicts of all chunks as one; None where there are none."""
    judged = [kind.read(path) for path in paths]
    if judged[0] is None:
        return None
    n_scenario, _, n_place = judged[0].margin.shape
    whole = kind.empty(n_scenario, n_unit, n_place)
    for part, places in zip(judged, rows, strict=True):
        whole.place(part, places)
    return whole


def _resting(paths, rows, n_unit: int) -> np.ndarray | None:
    """Resting volts of all chunks as one; None where a chunk says nothing of them."""
    whole: dict[str, np.ndarray] = {}
    for path, places in zip(paths, rows, strict=True):
        with np.load(path, allow_pickle=False) as arrays:
            if "resting" not in arrays:
                return None
            _place(whole, {"resting": arrays["resting"]}, places, n_unit)
    return whole["resting"]


_HEAD = ("scenarios", "units", "seconds", "cautions", "contributor_scenarios", "contributor_names", "contributor_psd")
_ARRAYS = ("banded", "single", "misfit")


def _read(path: Path, names: tuple[str, ...]) -> dict[str, np.ndarray]:
    with np.load(path, allow_pickle=False) as arrays:
        return {name: arrays[name] for name in names}


def _shape(path: Path, name: str) -> tuple[int, ...]:
    """Shape of one of a chunk's arrays, of which nothing else is read."""
    with zipfile.ZipFile(path) as arrays, arrays.open(f"{name}.npy") as file:
        np.lib.format.read_magic(file)
        return np.lib.format.read_array_header_1_0(file)[0]


def _place(whole: dict[str, np.ndarray], chunk: dict[str, np.ndarray], rows: np.ndarray, n_unit: int) -> None:
    """Put a chunk's arrays into those of the run, which begin as NaN."""
    for name, values in chunk.items():
        kept = whole.get(name)
        if kept is None:
            kept = whole[name] = np.full((values.shape[0], n_unit, *values.shape[2:]), np.nan)
        if kept.shape[2:] != values.shape[2:]:
            raise BandfloorError(f"The chunks differ in their {name} values.\n  Remove them and run again.")
        kept[:, rows] = values


def _contributors(heads) -> tuple[Contributor, ...]:
    found = [
        Contributor(int(scenario), str(name), psd)
        for head in heads
        for scenario, name, psd in zip(
            head["contributor_scenarios"], head["contributor_names"], head["contributor_psd"], strict=True
        )
    ]
    # Only one chunk holds unit 0, so within a scenario the simulator's order is kept.
    return tuple(sorted(found, key=lambda contributor: contributor.scenario))


def responses(gathered: Gathered, bands_hz, matches: Matches, index: int) -> tuple[Response, ...]:
    """Every measure of one scenario: those with bands, band by band, then matches, then those without.

    Parameters
    ----------
    gathered : Gathered
    bands_hz : sequence of float, length n_band
        [Hz]
    matches : Matches
        See :func:`sim.summary.matching.build_matches`.
    index : int
        Position of the scenario in ``gathered.scenarios``.
    """
    found = []
    for k, measure in enumerate(BANDED):
        for b, frequency_hz in enumerate(bands_hz):
            found.append(Response(measure, float(frequency_hz), gathered.banded[index, :, k, b]))
    for measure in MATCHES:
        for b, frequency_hz in enumerate(bands_hz):
            found.append(Response(measure, float(frequency_hz), matches.of(measure)[index, :, b]))
    for k, measure in enumerate(SINGLE):
        found.append(Response(measure, math.nan, gathered.single[index, :, k]))
    if gathered.lines is not None:
        found.append(Response("line_margin", math.nan, gathered.lines.smallest[index]))
    if gathered.antennas is not None:
        found.append(Response("antenna_margin", math.nan, gathered.antennas.smallest[index]))
    strong = gathered.strong
    for name in strong.names if strong is not None else ():
        if name == HEADROOM:
            found.append(Response(name, math.nan, strong.headroom_db[index]))
        else:
            values = (
                strong.product_margin_db(index, gathered.banded[index])
                if name == PRODUCTS
                else strong.intercept_dbm[index, :, INTERCEPTS.index(name)]
            )
            found += [Response(name, float(hertz), values[:, b]) for b, hertz in enumerate(bands_hz)]
    return tuple(found)


def more_names(gathered: Gathered) -> tuple[str, ...]:
    """Measures beside the usual ones, in a study with ``[stability]`` or with strong carriers."""
    lines = LINE_SINGLE if gathered.lines is not None else ()
    strong = gathered.strong.names if gathered.strong is not None else ()
    return (*lines, *(ANTENNA_SINGLE if gathered.antennas is not None else ()), *strong)


def measures_table(gathered: Gathered, bands_hz, matches: Matches, position: int) -> DataFrame:
    """Every measure of every unit of one scenario, tidy: rows of measures.parquet.

    Parameters
    ----------
    gathered : Gathered
    bands_hz : sequence of float, length n_band
        [Hz]
    matches : Matches
    position : int
        Of the scenario in ``gathered.scenarios``.

    Returns
    -------
    table : DataFrame
        scenario, unit, measure (category), frequency_hz (NaN where none), value; NaN where a unit failed.
        Ordered by measure, band, unit.
    """
    import pandas as pd

    n_unit = len(gathered.units)
    every = responses(gathered, bands_hz, matches, position)
    names = (*BANDED, *MATCHES, *SINGLE, *more_names(gathered))
    code = {name: number for number, name in enumerate(names)}
    return pd.DataFrame(
        {
            "scenario": np.repeat(gathered.scenarios[position], len(every) * n_unit),
            "unit": np.tile(gathered.units, len(every)),
            "measure": pd.Categorical.from_codes(
                np.repeat([code[response.measure] for response in every], n_unit), categories=list(names)
            ),
            "frequency_hz": np.repeat([response.frequency_hz for response in every], n_unit),
            "value": np.concatenate([response.values for response in every]),
        }
    )


def curve_table(gathered: Gathered, curve_hz) -> DataFrame:
    """Curves with their spread over the units: the rows of curves.parquet.

    Parameters
    ----------
    gathered : Gathered
    curve_hz : ndarray, shape (n_curve,)
        [Hz]

    Returns
    -------
    table : DataFrame
        scenario, curve, frequency_hz, nominal (unit 0), p05, p50, p95, min, max over the units from 1 that did
        not fail, point by point; NaN where there are none.
    """
    import pandas as pd

    curve_hz = np.asarray(curve_hz, dtype=float)
    n_scenario, _, n_curve, n_point = gathered.curves.shape
    if n_point not in (0, len(curve_hz)):
        raise BandfloorError(f"The curves have {n_point} points, and {len(curve_hz)} frequencies belong to them.")
    columns: dict[str, list[np.ndarray]] = {name: [] for name in ("nominal", "p05", "p50", "p95", "min", "max")}
    for position in range(n_scenario):
        of_scenario = gathered.curves[position]
        for place in range(n_curve):
            curve = of_scenario[:, place]
            if n_point == 0:  # no unit at all could be simulated
                curve = np.full((len(gathered.units), len(curve_hz)), np.nan)
            drawn = curve[gathered.units > 0]
            spread = (*quantiles(drawn, QUANTILES, axis=0), *extremes(drawn, axis=0))
            for name, values in zip(columns, (nominal(curve, gathered.units, axis=0), *spread), strict=True):
                columns[name].append(values)
    return pd.DataFrame(
        {
            "scenario": np.repeat(gathered.scenarios, n_curve * len(curve_hz)),
            "curve": np.tile(np.repeat(np.array(CURVES, dtype=object), len(curve_hz)), n_scenario),
            "frequency_hz": np.tile(curve_hz, n_scenario * n_curve),
            **{name: np.concatenate(values) for name, values in columns.items()},
        }
    )


def nominal(values: np.ndarray, units: np.ndarray, axis: int) -> np.ndarray:
    """Values of unit 0; NaN where it is not among the units."""
    where = np.flatnonzero(units == 0)
    if where.size == 0:
        return np.full(np.delete(values.shape, axis), np.nan)
    return np.take(values, where[0], axis=axis)


def quantiles(values: np.ndarray, shares, axis: int) -> np.ndarray:
    """Quantiles that pass over NaN and bear infinite values, shares first.

    Parameters
    ----------
    values : ndarray
    shares : sequence of float
        Between 0 and 1.
    axis : int
        Taken away.

    Returns
    -------
    quantiles : ndarray
        NaN where every value is NaN.

    Notes
    -----
    Linear between order statistics, place 1 + (n − 1) q: definition 7 of Hyndman and Fan, "Sample quantiles in
    statistical packages", The American Statistician 50 (1996) 361. Between two equal values, infinite ones too, it is
    that value; between a finite and an infinite one it is infinite: a gain margin without a crossing is no number to
    average with.
    """
    ordered = np.sort(np.moveaxis(values, axis, -1), axis=-1)  # NaN comes last
    if ordered.shape[-1] == 0:
        return np.full((len(shares), *ordered.shape[:-1]), np.nan)
    count = np.sum(~np.isnan(ordered), axis=-1)
    found = []
    for share in shares:
        place = share * np.maximum(count - 1, 0)
        below = np.floor(place).astype(int)
        above = np.minimum(below + 1, np.maximum(count - 1, 0))
        low = np.take_along_axis(ordered, below[..., None], axis=-1)[..., 0]
        high = np.take_along_axis(ordered, above[..., None], axis=-1)[..., 0]
        part = place - below
        with np.errstate(invalid="ignore"):
            between = low + part * (high - low)
        found.append(np.where((part == 0) | (low == high), low, between))
    return np.array(found)


def extremes(values: np.ndarray, axis: int) -> tuple[np.ndarray, np.ndarray]:
    """Smallest and largest value along an axis, passing over NaN; NaN where all are."""
    least = np.fmin.reduce(values, axis=axis, initial=np.inf)
    most = np.fmax.reduce(values, axis=axis, initial=-np.inf)
    none = np.all(np.isnan(values), axis=axis)
    return np.where(none, np.nan, least), np.where(none, np.nan, most)
