"""Hold every op-amp of every unit, and the nominal unit at its corners, against the ratings, and write ratings.csv."""

from pathlib import Path

import numpy as np
from pandas import DataFrame

from sim.deck.build import SUPPLY_COLUMN, chain_of, unit_table
from sim.engine.isolate import isolated
from sim.measures.corners import CornerWorker, corners_of
from sim.measures.panel import SINGLE
from sim.summary.collect import Gathered
from sim.summary.ratings import RatedScenario, ratings_table, ratings_told
from sim.tables import write_csv


def ratings(every, gathered: Gathered, failed: DataFrame, names, out: Path) -> list[str]:
    """Sentences about ratings that are not kept; without op-amps nothing, and no older table stays.

    Parameters
    ----------
    every : sequence of Scenario
    gathered : Gathered
    failed : DataFrame
        failures.csv.
    names : mapping of scenario number to its name
    out : Path
        Results folder; ratings.csv is written into it.
    """
    path = out / "ratings.csv"
    path.unlink(missing_ok=True)
    chains = {scenario.number: chain_of(scenario.study) for scenario in every}
    if gathered.resting is None or not any(chain.opamps for chain in chains.values()):
        return []
    studies = {scenario.number: scenario.study for scenario in every}
    corners = corners_of(list(studies.values()))
    found = [answer for _, answer in isolated(lambda: CornerWorker(list(studies.values())), corners)]
    lost = failed[(failed["stage"] == "rating") & (failed["unit"] > 0)]
    rated = [
        RatedScenario(
            number=number,
            devices=_devices(chains[number]),
            resting=gathered.resting[place],
            reserve=gathered.single[place, :, SINGLE.index("supply_reserve_v")],
            refused=tuple(map(str, lost.loc[lost["scenario"] == number, "reason"])),
            corners=tuple(pair for pair in zip(corners, found, strict=True) if pair[0].scenario == place),
        )
        for place, number in enumerate(studies)
    ]

    def conditions(number: int, unit: int) -> tuple[float, float]:
        drawn = unit_table(studies[number], chains[number], np.array([unit]))
        return float(drawn["temperature_c"][0]), float(drawn[SUPPLY_COLUMN][0])

    table = ratings_table(rated, gathered.units, conditions)
    write_csv(table, path, "ratings.csv")
    return ratings_told(table, names)


def _devices(chain) -> tuple:
    pairs = zip(chain.circuit.devices, chain.opamps, strict=True)
    return tuple((device.name, record) for device, record in pairs)
