"""Run one chunk of units through ngspice, in every scenario."""

import argparse
import contextlib
import os
import time
from pathlib import Path

# More threads would not help arrays of this size, and results must not depend on how many there are.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[_name] = "1"

import numpy as np  # noqa: E402

from sim.deck.circuit import read_circuit  # noqa: E402
from sim.engine.isolate import Failed, isolated  # noqa: E402
from sim.engine.leash import end_with_pipeline  # noqa: E402
from sim.measures.panel import BANDED, CURVES, SINGLE  # noqa: E402
from sim.measures.ratings import RESTING  # noqa: E402
from sim.measures.strong import wants_strong  # noqa: E402
from sim.measures.unit import Item, UnitWorker  # noqa: E402
from sim.stability.judged import study_loads, study_sources  # noqa: E402
from sim.steps.layout import chunk_units  # noqa: E402
from sim.steps.seal import marked, seal  # noqa: E402
from sim.study.read import read_study  # noqa: E402
from sim.study.scenarios import scenarios  # noqa: E402
from sim.summary.antennas import Antennas  # noqa: E402
from sim.summary.lines import Lines  # noqa: E402
from sim.summary.strong import StrongUnits  # noqa: E402
from sim.tables import replace_file, write_csv  # noqa: E402

PROGRESS_EVERY_S = 0.2


def simulate(study, chunk: str, progress=None) -> tuple[dict, list[dict]]:
    """All scenarios of one chunk.

    Parameters
    ----------
    study : Study
    chunk : str
        "2-of-8".
    progress : callable, optional
        Called with the number of runs done, now and then.

    Returns
    -------
    arrays : dict of str to ndarray
        scenarios, units; banded (n_scenario, n_unit, measure, band), single (n_scenario, n_unit, measure), curves
        (n_scenario, n_unit, curve, frequency), NaN where a unit failed; read_hz; misfit; contributors and their names;
        cautions; resting (n_scenario, n_unit, device, quantity), see :data:`sim.measures.ratings.RESTING`; seconds
        (inside the simulator, in units altogether). With ``[stability]`` also those of
        :class:`sim.summary.lines.Lines` and :class:`sim.summary.antennas.Antennas`, with strong carriers those of
        :class:`sim.summary.strong.StrongUnits`.
    failures : list of dict
        Rows of failures.csv.
    """
    every = scenarios(study)
    units = np.array(chunk_units(chunk, study.run.units))
    items = [Item(scenario.number, row, int(unit)) for scenario in every for row, unit in enumerate(units)]
    shape = (len(every), len(units))
    bands = len(study.bands.frequencies)
    arrays = {
        "banded": np.full((*shape, len(BANDED), bands), np.nan),
        "single": np.full((*shape, len(SINGLE)), np.nan),
        "curves": None,
        "misfit": np.full(shape, np.nan),
        "resting": np.full((*shape, _most_devices(every), len(RESTING)), np.nan),
    }
    position = {scenario.number: i for i, scenario in enumerate(every)}
    contributions: dict[tuple[int, str], np.ndarray] = {}
    failures, cautions, seconds, shown = [], [], np.zeros(2), 0.0
    loads = [study_loads(scenario.study) for scenario in every]
    lines = Lines.empty(*shape, max(map(len, loads))) if loads[0] else None
    sources = study_sources(study)
    antennas = Antennas.empty(*shape, len(sources)) if sources else None
    strong, nears = {}, dict.fromkeys(position)
    make = _Maker(every, units)
    for index, answer in isolated(make, items):
        item = items[index]
        where = (position[item.scenario], item.row)
        if isinstance(answer, Failed):
            failures.append(
                {"scenario": item.scenario, "unit": item.unit, "stage": answer.stage, "reason": answer.reason}
            )
        else:
            measures = answer.measures
            if arrays["curves"] is None:
                arrays["curves"] = np.full((*shape, *measures.curves.shape), np.nan)
            arrays["banded"][where] = measures.banded
            arrays["single"][where] = measures.single
            arrays["curves"][where] = measures.curves
            arrays["misfit"][where] = measures.misfit
            arrays["resting"][where][: len(answer.resting)] = answer.resting
            if measures.lines is not None:
                lines.keep(where, measures.lines)
            if measures.antennas is not None:
                antennas.keep(where, measures.antennas)
            if answer.strong is not None:
                strong[where] = answer.strong
                nears[item.scenario] = nears[item.scenario] or answer.near
            seconds += (answer.inside_s, answer.whole_s)
            for name, psd in answer.contributions.items():
                contributions[item.scenario, name] = psd
            cautions += answer.cautions
        now = time.monotonic()
        if progress and (now - shown > PROGRESS_EVERY_S or index + 1 == len(items)):
            progress(index + 1)
            shown = now
    if arrays["curves"] is None:
        arrays["curves"] = np.full((*shape, len(CURVES), 0), np.nan)
    if lines is not None:
        arrays |= lines.arrays()
    if antennas is not None:
        arrays |= antennas.arrays()
    if wants_strong(study):
        arrays |= StrongUnits.of(shape, bands, strong, list(nears.values())).arrays()
    arrays["units"] = units
    arrays["scenarios"] = np.array([scenario.number for scenario in every])
    arrays["seconds"] = seconds
    arrays["contributor_scenarios"] = np.array([number for number, _ in contributions], dtype=int)
    arrays["contributor_names"] = np.array([name for _, name in contributions], dtype=str)
    arrays["cautions"] = np.array(cautions, dtype=str)
    arrays["contributor_psd"] = np.array(list(contributions.values()))
    return arrays, failures


def _most_devices(every) -> int:
    """Op-amps of the circuit that has most."""
    circuits = {(scenario.study.amplifier.circuit, scenario.study.folder) for scenario in every}
    return max(len(read_circuit(name, folder).devices) for name, folder in circuits)


class _Maker:
    """Makes the worker inside the child; a class, since a spawned child can only receive named things."""

    def __init__(self, every, units):
        self._every, self._units = every, units

    def __call__(self):
        return UnitWorker(self._every, self._units, contributors=True)


def main(argv=None) -> None:
    """Command line of this step."""
    parser = argparse.ArgumentParser(prog="python -m sim.steps.simulate", description=__doc__)
    parser.add_argument("study", help="study file")
    parser.add_argument("--units", type=int, help="number of units instead of the study's own")
    parser.add_argument("--chunk", required=True, help="which chunk, for example 2-of-8")
    parser.add_argument("--measures", required=True, help="arrays to write (.npz)")
    parser.add_argument("--failures", required=True, help="table of failed units to write (.csv)")
    parser.add_argument("--log", help="log beside which progress is written")
    given = parser.parse_args(argv)
    end_with_pipeline()
    begin = time.perf_counter()
    out = Path(given.measures).parent.parent
    mark = marked(out)
    study = read_study(given.study, units=given.units)
    progress_file = Path(given.log).with_suffix(".progress") if given.log else None

    def progress(done: int) -> None:
        # A torn number would only flicker in the bar, so no rename here; nor is a bar worth failing for.
        with contextlib.suppress(OSError):
            progress_file.write_text(str(done), encoding="ascii")

    arrays, failures = simulate(study, given.chunk, progress if progress_file else None)
    with replace_file(Path(given.measures)) as file:
        np.savez(file, **arrays)
    write_csv(failures, Path(given.failures), "failures.csv")
    files = (Path(given.measures), Path(given.failures))
    seal(out, f"simulate-{given.chunk}", mark, files, arrays["misfit"].size)
    inside, units = arrays["seconds"]
    print(
        f"{arrays['misfit'].size} runs, {len(failures)} failed; {time.perf_counter() - begin:.2f} s altogether,"
        f" {units:.2f} s in units, {inside:.2f} s of it inside the simulator"
    )


if __name__ == "__main__":
    main()
