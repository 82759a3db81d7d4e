"""The study's array made of its units: rows of its tables, what the answer says of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sim.array.built import CAUSES
from sim.array.measured import PATTERN_AZIMUTHS, Found, UnitGains, array_found
from sim.columns import TABLES
from sim.measures.panel import BANDED
from sim.noise.density import snr_loss
from sim.summary.wording import at_band, interval, listed, percent
from sim.summary.yields import clopper_pearson

if TYPE_CHECKING:
    from pandas import DataFrame

    from sim.summary.collect import Gathered

MOST_TOLD = 8
MOST_BANDS = 6
_ERRORS_OF = {"amplifier": "amplifiers", "feedline": "feedlines", "antenna": "antennas", "position": "places"}
_FEW = 20  # arrays below which "95 % of them" is the worst one


@dataclass(frozen=True)
class ArrayAnswer:
    """What is said of the array in one scenario, for its hardest direction.

    Attributes
    ----------
    scenario : int
    wanted_db : float
        Front to back that the study asks for. [dB]
    bearing_deg : float
        Of the direction in which fewest arrays keep it.
    arrays, kept : int
        Arrays that the units make, and those that keep it at every band.
    share, share_low, share_high : float or None
        Of those that keep it, with its 95 % interval; None without arrays.
    bands : tuple of dict
        frequency_hz and every measure of :data:`sim.columns.ARRAY_MEASURES` there, in that direction.
    """

    scenario: int
    wanted_db: float
    bearing_deg: float
    arrays: int
    kept: int
    share: float | None
    share_low: float | None
    share_high: float | None
    bands: tuple[dict, ...]


def found_of(study, gathered: Gathered, position: int) -> list[Found]:
    """Everything that is said of the array of one scenario.

    Parameters
    ----------
    study : Study
        Of the scenario, with ``array``.
    gathered : Gathered
    position : int
        Of the scenario in `gathered`.
    """
    own = {name: gathered.banded[position, :, BANDED.index(name)] for name in BANDED}

    def complex_gain(level: str, turn: str) -> np.ndarray:
        return 10 ** (own[level] / 20) * np.exp(1j * np.deg2rad(own[turn]))

    gains = UnitGains(
        gathered.units,
        complex_gain("gain_db", "phase_deg"),
        complex_gain("system_gain_db", "system_phase_deg"),
        10 ** (own["noise_margin_db"] / 10),
    )
    return array_found(study, gains)


def array_rows(found: Mapping[int, Sequence[Found]]) -> DataFrame:
    """Rows of array.csv.

    Parameters
    ----------
    found : mapping of scenario to sequence of Found
    """
    import pandas as pd

    rows = [
        (scenario, one.frequency_hz, one.bearing_deg, measure, value)
        for scenario, every in found.items()
        for one in every
        for measure, value in one.values.items()
    ]
    return pd.DataFrame(rows, columns=list(TABLES["array.csv"]))


def pattern_rows(found: Mapping[int, Sequence[Found]]) -> DataFrame:
    """Rows of array_pattern.csv: response over the horizon below the wanted direction, azimuths away from it."""
    import pandas as pd

    rows = [
        (scenario, one.frequency_hz, one.bearing_deg, float(azimuth), one.pattern.nominal_db[place])
        + tuple(one.pattern.spread_db[:, place])
        for scenario, every in found.items()
        for one in every
        for place, azimuth in enumerate(PATTERN_AZIMUTHS)
    ]
    return pd.DataFrame(rows, columns=list(TABLES["array_pattern.csv"]))


def answer_of(scenario: int, wanted_db: float, found: Sequence[Found]) -> ArrayAnswer:
    """What is said of one scenario.

    Parameters
    ----------
    scenario : int
    wanted_db : float
        Front to back that the study asks for. [dB]
    found : sequence of Found
    """
    by_bearing: dict[float, list[Found]] = {}
    for one in found:
        by_bearing.setdefault(one.bearing_deg, []).append(one)
    kept = {bearing: np.logical_and.reduce([one.keeps for one in every]) for bearing, every in by_bearing.items()}
    # Of directions that are equally hard the first that the study names.
    bearing = min(kept, key=lambda one: int(kept[one].sum()))
    arrays, good = len(kept[bearing]), int(kept[bearing].sum())
    low, high = clopper_pearson(good, arrays) if arrays else (None, None)
    return ArrayAnswer(
        scenario=scenario,
        wanted_db=wanted_db,
        bearing_deg=bearing,
        arrays=arrays,
        kept=good,
        share=good / arrays if arrays else None,
        share_low=low,
        share_high=high,
        bands=tuple({"frequency_hz": one.frequency_hz, **one.values} for one in by_bearing[bearing]),
    )


def arrays_told(
    found: Sequence[ArrayAnswer], names: Mapping[int, str], first: int, needed: float
) -> tuple[list[str], list[str]]:
    """Sentences: does the array null, in each scenario; and what decides it, with what is left of the noise margin.

    Parameters
    ----------
    found : sequence of ArrayAnswer
        Of all scenarios; empty without ``[array]``.
    names : mapping of scenario number to its name
    first : int
        Scenario of which the particulars are told.
    needed : float
        Share of arrays from which it is a yes.

    Returns
    -------
    verdicts, particulars : list of str
    """
    several = len(names) > 1
    told = [_nulls(one, f" with {names[one.scenario]}" if several else "", needed) for one in found[:MOST_TOLD]]
    if len(found) > MOST_TOLD:
        told.append("The arrays of the other choices stand in array.csv.")
    own = next((one for one in found if one.scenario == first), None)
    return told, [] if own is None else _particulars(own, f" with {names[first]}" if several else "")


def _hardest(one: ArrayAnswer) -> dict:
    return min(one.bands, key=lambda band: band.get("front_to_back_p05_db", band["front_to_back_db"]))


def _nulls(one: ArrayAnswer, whose: str, needed: float) -> str:
    if one.share is None:
        return f"Nulls{whose}: there are too few units for an array."
    hard = _hardest(one)
    where = at_band(hard["frequency_hz"])
    word = ("yes" if one.share_low >= needed else "probably") if one.share >= needed else "no"
    count = "none" if one.kept == 0 else ("all" if one.kept == one.arrays else percent(one.share))
    head = (
        f"Nulls{whose}: {word}, {count} of {one.arrays} arrays (95 % interval"
        f" {interval(one.share_low, one.share_high)}) hold {one.wanted_db:g} dB front to back at every band"
    )
    if "front_to_back_p05_db" not in hard:
        return f"{head}; none of them has only units that simulated."
    most = "the worst array reaches" if one.arrays < _FEW else "95 % of arrays beat"
    deep = f"{hard['front_to_back_db']:.0f} dB without errors"
    return f"{head}; hardest{where}: {most} {hard['front_to_back_p05_db']:.1f} dB ({deep})."


def _particulars(one: ArrayAnswer, whose: str) -> list[str]:
    hard, told = _hardest(one), []
    where = at_band(hard["frequency_hz"])
    weak = [band for band in one.bands if band["front_to_back_db"] < one.wanted_db]
    if weak:
        bands = listed([f"{band['front_to_back_db']:.1f} dB{at_band(band['frequency_hz'])}" for band in weak])
        told.append(f"The phasing itself falls short, without any error: front to back {bands}.")
    if "front_to_back_p05_db" in hard:
        alone = [(hard[f"front_to_back_p05_{cause}_db"], _ERRORS_OF[cause]) for cause in CAUSES]
        # What has no errors leaves the pattern's own null and is no news.
        alone = sorted(pair for pair in alone if pair[0] < hard["front_to_back_db"] - 0.05)
        if alone:
            kinds = listed([f"{name} {depth:.1f} dB" for depth, name in alone])
            trim = hard["front_to_back_p05_trimmed_db"]
            told.append(
                f"What limits the null{where}{whose}, each kind of error alone, in 95 % of arrays: {kinds}. With a"
                f" trimmer that sets every unit's gain right all together leave {trim:.1f} dB."
            )
        told.append(
            f"Allowed for {one.wanted_db:g} dB there: {hard['allowed_gain_db']:.2f} dB and"
            f" {hard['allowed_phase_deg']:.1f}° rms an element (closed form, for a perfect null); these have"
            f" {hard['spread_gain_db']:.2f} dB and {hard['spread_phase_deg']:.1f}° before errors of place."
        )
    sectors = [(band.get("rear_sector_p05_db", band["rear_sector_db"]), band["frequency_hz"]) for band in one.bands]
    told.append(
        f"Straight behind is not all: from the worst direction of the rear sector signals lie"
        f" {listed([f'{depth:.1f} dB down{at_band(frequency)}' for depth, frequency in sectors[:MOST_BANDS]])}."
    )
    noisy = min(one.bands, key=lambda band: band.get("array_noise_margin_db", np.inf))
    if "array_noise_margin_db" in noisy:
        left, penalty = noisy["array_noise_margin_db"], noisy["noise_penalty_db"]
        counts = f"{abs(penalty):.1f} dB {'more' if penalty >= 0 else 'less'}"
        told.append(
            f"Quiet enough as an array{whose}: hardest{at_band(noisy['frequency_hz'])}, where own noise counts {counts}"
            f" than in one element; of the noise margin of {left + penalty:.1f} dB {left:.1f} dB are left, which costs"
            f" {float(snr_loss(left)):.1f} dB of signal to noise."
        )
    return told
