"""Compare each scenario with weather with the same one when dry, and write weather.csv."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from sim.columns import TABLES
from sim.measures.panel import BANDED, SINGLE
from sim.quantity import db, format_quantity
from sim.stability.rerun import run_trials
from sim.study.read import study_text
from sim.study.weather import weather_of
from sim.summary.collect import Gathered
from sim.summary.weathering import Nominal, Weathering, Wet, weathering
from sim.tables import write_csv

LEAST_UNITS = 8
"""Units from which a spread is made of them; own choice."""


def weathered(every, names, gathered: Gathered, out: Path) -> Weathering | None:
    """Write weather.csv and say what it holds; None, and no older table stays, where no scenario has weather.

    Parameters
    ----------
    every : sequence of Scenario
    names : mapping of int to str
        Of the scenarios.
    gathered : Gathered
    out : Path
        Results folder.
    """
    path = out / "weather.csv"
    path.unlink(missing_ok=True)
    wet = [(place, scenario) for place, scenario in enumerate(every) if weather_of(scenario.study)]
    if not wet:
        return None
    dry = _dry([scenario for _, scenario in wet])
    found = [_wet(scenario, names, gathered, place, dry[scenario.number]) for place, scenario in wet]
    bands = every[0].study.bands.frequencies
    said = weathering(found, bands)
    write_csv(pd.DataFrame(said.rows, columns=list(TABLES["weather.csv"])), path, "weather.csv")
    return said


def _dry(every) -> dict[int, Nominal]:
    """The nominal dry unit of each scenario; scenarios that differ in nothing else share it."""
    designs, of = {}, {}
    for scenario in every:
        # What only costs time is left out: the stability verdict here is that on the study's own line.
        study = scenario.study.model_copy(update={"weather": None, "stability": None})
        of[scenario.number] = text = study_text(study)
        designs.setdefault(text, replace(scenario, study=study))
    trials = dict(zip(designs, run_trials(list(designs.values()), [0]), strict=True))
    return {
        number: Nominal({name: values[0] for name, values in trials[text].values.items()})
        for number, text in of.items()
    }


def _nominal(gathered: Gathered, place: int) -> Nominal:
    row = int(np.flatnonzero(gathered.units == 0)[0])
    if gathered.failed[place, row]:
        return Nominal({})
    values = dict(zip(BANDED, gathered.banded[place, row], strict=True))
    return Nominal(values | {name: gathered.single[place, row, [i]] for i, name in enumerate(SINGLE)})


def _spread(gathered: Gathered, place: int) -> dict[str, np.ndarray]:
    """Standard deviations of the drawn units of one scenario by column of weather.csv; nothing of fewer than eight."""
    good = (gathered.units > 0) & ~gathered.failed[place]
    if np.count_nonzero(good) < LEAST_UNITS:
        return {}
    banded = dict(zip(BANDED, np.moveaxis(gathered.banded[place, good], 1, 0), strict=True))
    single = dict(zip(SINGLE, gathered.single[place, good].T, strict=True))
    values = {
        "gain_change_db": banded["gain_db"],
        "phase_change_deg": banded["phase_deg"],
        "noise_change_db": db(banded["output_noise_nv"]),
        "output_dc_change_v": single["output_dc_v"],
        "current_change_ma": single["current_ma"],
        "supply_change_v": single["supply_v"],
    }
    return {name: np.std(column, axis=0, ddof=1) for name, column in values.items()}


def _wet(scenario, names, gathered: Gathered, place: int, dry: Nominal) -> Wet:
    does = weather_of(scenario.study)
    one = next(iter(does.items())) if len(does) == 1 else None
    return Wet(
        scenario=scenario.number,
        name=names[scenario.number],
        weather=", ".join(f"{key.replace('_', ' ')} {format_quantity(v.value, 'ohm')}" for key, v in does.items()),
        key=one[0] if one else "",
        ohm=one[1].value if one else float("nan"),
        others=", ".join(str(value) for key, value in scenario.values if not key.startswith("weather.")),
        wet=_nominal(gathered, place),
        dry=dry,
        spread=_spread(gathered, place),
    )
