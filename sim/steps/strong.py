"""Bring strong carriers together: products.csv, the estimate held against time, entries of the answer."""

from pathlib import Path

import numpy as np

from sim.deck.build import chain_of
from sim.engine.isolate import isolated
from sim.measures.in_time import Trial, TwoToneWorker, trial_of
from sim.summary.carriers import MOST_TIMED, in_time_entries, strong_entries
from sim.summary.collect import Gathered
from sim.summary.products import product_rows
from sim.tables import write_csv


def strong_of(every, gathered: Gathered, out: Path) -> list[dict]:
    """Write products.csv; an entry for each scenario. Without strong carriers nothing, and no older table stays.

    Parameters
    ----------
    every : sequence of Scenario
    gathered : Gathered
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
    trials = _trials(gathered)
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


def _trials(gathered: Gathered) -> list[Trial]:
    """Nominal and worst unit of the first and the last scenario in which the estimate holds for the nominal one."""
    strong, units = gathered.strong, gathered.units
    # Units without a number are out of the estimate's range, and out of the question here.
    levels = np.where(np.isnan(strong.fallen_dbm), -np.inf, strong.fallen_dbm).max(axis=(2, 3))
    ready = [
        index
        for index, near in enumerate(strong.nears)
        if near is not None and len(near.stations) > 1 and np.isfinite(levels[index, units == 0]).any()
    ]
    chosen = dict.fromkeys([*ready[:1], *ready[-1:]][:MOST_TIMED])
    trials = []
    for index in chosen:
        worst = int(units[levels[index].argmax()])
        for unit in dict.fromkeys((0, worst)):
            row = int(np.flatnonzero(units == unit)[0])
            trials.append(trial_of(strong.nears[index], strong.output_dbm[index, row], index, unit))
    return trials
