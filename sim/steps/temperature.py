"""What temperature does, where a study varies it: write temperature.csv and drift.csv, and say it."""

from pathlib import Path

from sim.summary.collect import Gathered, responses
from sim.summary.drift import drift_table, sweeps_of, temperature_table
from sim.summary.drift_words import drift_told, sweep_names
from sim.tables import write_csv


def drifts(study, every, gathered: Gathered, matches, chosen, out: Path) -> list[str]:
    """Sentences about drift; without a sweep of temperature nothing, and no older tables stay.

    Parameters
    ----------
    study : Study
    every : sequence of Scenario
    gathered : Gathered
    matches : Matches
    chosen : DataFrame
        scenarios.csv.
    out : Path
        Results folder; both tables are written into it.
    """
    paths = [out / "temperature.csv", out / "drift.csv"]
    for path in paths:
        path.unlink(missing_ok=True)
    sweeps = sweeps_of(every)
    if not sweeps:
        return []
    found = [responses(gathered, study.bands.frequencies, matches, place) for place in range(len(every))]
    temperature = temperature_table(sweeps, every, gathered, found)
    drift = drift_table(sweeps, gathered, found, study.run.build, study.run.sun, study.limits)
    write_csv(temperature, paths[0], "temperature.csv")
    write_csv(drift, paths[1], "drift.csv")
    return drift_told(drift, temperature, sweep_names(chosen, sweeps))
