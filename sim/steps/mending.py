"""Try what to change about designs that are not stable enough, and write mending.csv."""

from pathlib import Path

import pandas as pd

from sim.columns import TABLES
from sim.stability.mend import mend
from sim.summary.collect import Gathered
from sim.summary.mending import MOST_MENDED, ill_scenarios, mending_entry, mending_rows, needed_of
from sim.tables import write_csv


def mendings(study, every, gathered: Gathered, out: Path) -> list[dict]:
    """Advice for each scenario with unstable or thin units; without any nothing, and no older table stays.

    Parameters
    ----------
    study : Study
    every : sequence of Scenario
    gathered : Gathered
    out : Path
        Results folder; mending.csv is written into it.

    Returns
    -------
    entries : list of dict
        For answer.json.
    """
    path, needed = out / "mending.csv", needed_of(study)
    ill = ill_scenarios(gathered, needed, study.run.seed)
    path.unlink(missing_ok=True)
    if not ill:
        return []
    by_number = {scenario.number: scenario for scenario in every}
    found = {one.scenario: mend(by_number[one.scenario], one.worst, one.verifying, needed) for one in ill[:MOST_MENDED]}
    rows = pd.DataFrame(mending_rows(list(found.values())), columns=list(TABLES["mending.csv"]))
    # Counts stay whole numbers beside rows that have none.
    whole = dict.fromkeys(("rank", "stable", "verified_units", "verified_good"), "Int64")
    write_csv(rows.astype(whole), path, "mending.csv")
    return [mending_entry(one, found.get(one.scenario), needed) for one in ill]
