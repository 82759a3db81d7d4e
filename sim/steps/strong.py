"""Bring strong carriers together: products.csv, the estimate held against time, entries of the answer."""

from pathlib import Path

import numpy as np

from sim.deck.build import chain_of
from sim.engine.isolate import isolated
from sim.measures.in_time import Trial, TwoToneWorker, trial_of
from sim.summary.carriers import MOST_TIMED, in_time_entries, strong_entries
from sim.summary.collect import Gathered
from sim.summary.products import product_rows
from sim.summary.yields import ALL_LIMITS
from sim.tables import write_csv


def strong_of(every, gathered: Gathered, summary, out: Path) -> list[dict]:
    """Write products.csv; an entry for each scenario. Without strong carriers nothing, and no older table stays.

    Parameters
    ----------
    every : sequence of Scenario
    gathered : Gathered
    summary : DataFrame
        summary.csv.
    out : Path
        Results folder.
    """
    path, strong = out / "products.csv", gathered.strong
    path.unlink(missing_ok=True)
    if strong is None or not any(near is not None and near.stations for near in strong.nears):
        return []
    numbers = [scenario.number for scenario in every]
    table = product_rows(gathered, numbers)
    write_csv(table, path, "products.csv")
    entries = strong_entries(gathered, numbers, [_devices(scenario.study) for scenario in every], table)
    trials = _trials(gathered, _best_first(summary, numbers))
    found = [result for _, result in isolated(lambda: TwoToneWorker(every), trials)]
    for one in in_time_entries(trials, found):
        number = numbers[one.pop("scenario")]
        next(entry for entry in entries if entry["scenario"] == number)["in_time"].append(one)
    return entries


def _devices(study) -> list[str]:
    chain = chain_of(study)
    return [
        f"{record.part} ({device.name})" for device, record in zip(chain.circuit.devices, chain.opamps, strict=True)
    ]


def _best_first(summary, numbers: list[int]) -> list[int]:
    """Positions of the scenarios: those first in which most units keep the limits, of these by their noise margin."""
    measure = summary["measure"].astype(str)
    passed = summary[measure == ALL_LIMITS].set_index("scenario")["passed"]
    margin = summary[measure == "noise_margin_db"].groupby("scenario")["nominal"].min()
    rank = [(-float(passed.get(number, 0)), -float(margin.get(number, 0.0))) for number in numbers]
    return sorted(range(len(numbers)), key=lambda place: rank[place])


def _trials(gathered: Gathered, order: list[int]) -> list[Trial]:
    """Nominal and worst unit of the best scenarios in which the estimate holds for the nominal one."""
    strong, units = gathered.strong, gathered.units
    # Units without a number are out of the estimate's range, and out of the question here.
    levels = np.where(np.isnan(strong.fallen_dbm), -np.inf, strong.fallen_dbm).max(axis=(2, 3))
    several = [index for index in order if strong.nears[index] is not None and len(strong.nears[index].pair) > 1]
    ready = [index for index in several if np.isfinite(levels[index, units == 0]).any()]
    trials = []
    for index in ready[:MOST_TIMED]:
        worst = int(units[levels[index].argmax()])
        for unit in dict.fromkeys((0, worst)):
            trials.append(trial_of(strong.nears[index], index, unit))
    return trials
