"""Bring the chunks of a run together: measures, curves, yields, drivers, the answer."""

import argparse
import json
from pathlib import Path

import numpy as np
import pandas as pd

from sim.columns import EXTERNAL, EXTERNAL_DECILES, TABLES
from sim.deck.build import antenna_of, chain_of, unit_table
from sim.diagnosis.unseen import unseen_of
from sim.engine.isolate import isolated
from sim.engine.leash import end_with_pipeline
from sim.errors import EngineError
from sim.measures.supply import needs
from sim.measures.surroundings import curve_frequencies, site_noise
from sim.noise.level import LEVELS
from sim.stability.both_ends import TogetherWorker
from sim.stability.confirm import ConfirmWorker
from sim.stability.judged import study_loads, study_sources
from sim.steps.cautions import cautions
from sim.steps.maker import bench_said, noise_names, unused_words
from sim.steps.mending import mendings
from sim.steps.ratings import ratings
from sim.steps.seal import SUMMARISED, marked, seal, take_away_report
from sim.steps.strong import strong_of
from sim.steps.substitution import substitutions
from sim.steps.temperature import drifts
from sim.steps.weathering import weathered
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from sim.study.swept import swept_keys
from sim.summary.answer import answer
from sim.summary.antennas import AllAntennas, antenna_rows, antennas_of
from sim.summary.arrays import ArrayAnswer, answer_of, array_rows, found_of, pattern_rows
from sim.summary.asked import Asked
from sim.summary.collect import curve_table, gather, measures_table, responses
from sim.summary.confirmed import Confirmation, confirmation_of, confirmed_rows, trials_of
from sim.summary.drivers import drivers_table
from sim.summary.feedlines import Feedlines, feedlines_of
from sim.summary.lines import line_rows
from sim.summary.matching import build_matches
from sim.summary.names import scenario_names
from sim.summary.plug_in import noise_words
from sim.summary.sheet import Device, bench_rows
from sim.summary.together import hidden_told, pairs_of, together_rows, together_told
from sim.summary.yields import limits_kept, starved_told, summary_table
from sim.tables import read_csv, replace_file, write_csv, write_parquet, write_parquet_parts

CAPACITANCE_AT_HZ = 1e5
"""Where the capacitance of an antenna is read for the table of antennas. [Hz]"""


def main(argv=None) -> None:
    """Command line of this step."""
    parser = argparse.ArgumentParser(prog="python -m sim.steps.summarise", description=__doc__)
    parser.add_argument("study", help="study file")
    parser.add_argument("--units", type=int, help="number of units instead of the study's own")
    parser.add_argument("--out", required=True, help="results folder")
    parser.add_argument("--chunks", nargs="+", required=True, help="arrays of all chunks (.npz)")
    parser.add_argument("--failures", nargs="+", required=True, help="failure tables of all chunks (.csv)")
    given = parser.parse_args(argv)
    end_with_pipeline()
    out = Path(given.out)
    mark = marked(out)
    study = read_study(given.study, units=given.units)
    every = scenarios(study)
    all_units = gather([Path(name) for name in given.chunks])
    bands = np.asarray(study.bands.frequencies)
    matches = build_matches(all_units, study.run.build)
    take_away_report(out)
    tables = (measures_table(all_units, bands, matches, position) for position in range(len(every)))
    rows = write_parquet_parts(tables, out / "measures.parquet", "measures.parquet")
    write_parquet(curve_table(all_units, curve_frequencies(bands)), out / "curves.parquet", "curves.parquet")
    limits = limits_kept(study.limits, all_units)
    summary = summary_table(all_units, bands, matches, limits)
    write_csv(summary, out / "summary.csv", "summary.csv")
    drivers = pd.concat(
        [
            drivers_table(
                scenario.number,
                responses(all_units, bands, matches, position),
                unit_table(scenario.study, chain_of(scenario.study), all_units.units),
                all_units.units,
                study.run.build,
            )
            for position, scenario in enumerate(every)
        ],
        ignore_index=True,
    )
    write_csv(drivers, out / "drivers.csv", "drivers.csv")
    failed = pd.concat([read_csv(Path(name)) for name in given.failures], ignore_index=True)
    failed = failed.sort_values(["scenario", "unit"], ignore_index=True)
    write_csv(failed, out / "failures.csv", "failures.csv")
    write_csv(_contributors(all_units, study, every), out / "contributors.csv", "contributors.csv")
    known = (text for scenario in every for text in cautions(scenario.study))
    optimistic, tried = bench_said(every, out)
    write_csv(_bench(all_units, bands, every), out / "bench.csv", "bench.csv")
    warned = list(dict.fromkeys((*unused_words(every), *tried, *all_units.cautions, *known)))
    chosen = pd.DataFrame([{"scenario": s.number, **dict(s.values)} for s in every])
    noises = {scenario.number: noise_words(scenario.study) for scenario in every}
    needed = {scenario.number: "; ".join(needs(chain_of(scenario.study))) for scenario in every}
    findings = starved_told(all_units, scenario_names(chosen), needed)
    findings += ratings(every, all_units, failed, scenario_names(chosen), out)
    feedlines, antennas = _feedlines(all_units, every, out), _antennas(all_units, every, out)
    stable = [{entry.scenario for entry in entries if entry.stable} for entries in (feedlines, antennas)]
    rain = weathered(every, scenario_names(chosen), all_units, out)
    hidden, together = _together(all_units, every, scenario_names(chosen), set.intersection(*stable), out)
    verdict = answer(
        study,
        summary,
        drivers,
        failed,
        chosen,
        warned,
        swept_keys(every),
        noises,
        [*optimistic, *findings, *hidden, *(rain.headline if rain else ())],
        Asked(
            feedlines=feedlines,
            mending=mendings(study, every, all_units, out),
            antennas=antennas,
            together=together,
            drift=drifts(study, every, all_units, matches, chosen, out),
            confirmed=_confirmed(all_units, every, scenario_names(chosen), study.run.seed, out),
            arrays=_arrays(all_units, every, out),
            opamps=_opamps(every),
            substitution=substitutions(study, every, all_units, matches, limits, summary, failed, out),
            strong=strong_of(every, all_units, summary, out),
        ),
    )
    if rain:
        verdict["weathering"] = list(rain.told)
    verdict["unseen"] = _unseen(every[0].study)
    with replace_file(out / "answer.json") as file:
        file.write(json.dumps(verdict, indent=1, ensure_ascii=False).encode())
    timing = {
        "inside_simulator_s": all_units.seconds_inside,
        "in_units_s": all_units.seconds_whole,
        "runs": int(all_units.misfit.size),
    }
    with replace_file(out / "logs" / "timing.json") as file:
        file.write(json.dumps(timing, indent=1).encode())
    seal(out, "summarise", mark, [out / name for name in SUMMARISED], int(all_units.misfit.size))
    print(f"{rows} measures, {len(failed)} failures")


def _unseen(study) -> list[str]:
    """Faults that a sweep would not show; nothing of a maker's model, nor of a unit that cannot stand on the bench."""
    if chain_of(study).maker is not None:
        return []
    try:
        return list(unseen_of(study))
    except EngineError:
        return []


def _opamps(every) -> dict[int, tuple]:
    """Records whose numbers results rest on; a maker's model stands in their place."""
    chains = {scenario.number: chain_of(scenario.study) for scenario in every}
    return {number: () if chain.maker else chain.opamps for number, chain in chains.items()}


def _bench(all_units, bands, every) -> pd.DataFrame:
    """What a good unit shows on the bench, in every scenario."""
    sheets = []
    for position, scenario in enumerate(every):
        chain = chain_of(scenario.study)
        pairs = zip(chain.circuit.devices, chain.opamps, strict=True)
        devices = tuple(Device(device.name, record.part) for device, record in pairs)
        curve_hz = curve_frequencies(bands)
        sheets.append(bench_rows(all_units, position, scenario.number, bands, curve_hz, devices))
    return pd.concat(sheets, ignore_index=True)


def _feedlines(all_units, every, out: Path) -> tuple[Feedlines, ...]:
    """Write stability.csv; what it says of each scenario. Without ``[stability]`` nothing, and no older table stays."""
    path, lines = out / "stability.csv", all_units.lines
    if lines is None:
        path.unlink(missing_ok=True)
        return ()
    loads = [study_loads(scenario.study) for scenario in every]
    table = line_rows(lines, all_units.scenarios, all_units.units, loads)
    write_csv(table, path, "stability.csv")
    return feedlines_of(lines, all_units.scenarios, all_units.units, table)


def _antennas(all_units, every, out: Path) -> tuple[AllAntennas, ...]:
    """Write antennas.csv; what it says of each scenario. Without ``[stability]`` nothing, and no older table stays."""
    path, antennas = out / "antennas.csv", all_units.antennas
    if antennas is None:
        path.unlink(missing_ok=True)
        return ()
    own = [_capacitance(antenna_of(scenario.study)) for scenario in every]
    table = antenna_rows(antennas, all_units.scenarios, all_units.units, study_sources(every[0].study), own)
    write_csv(table, path, "antennas.csv")
    return antennas_of(antennas, all_units.scenarios, all_units.units, table)


def _arrays(all_units, every, out: Path) -> list[ArrayAnswer]:
    """Write array.csv and array_pattern.csv; what they say of each scenario. Without ``[array]`` no older ones stay."""
    paths = [out / name for name in ("array.csv", "array_pattern.csv")]
    if every[0].study.array is None:
        for path in paths:
            path.unlink(missing_ok=True)
        return []
    found = {s.number: found_of(s.study, all_units, position) for position, s in enumerate(every)}
    write_csv(array_rows(found), paths[0], paths[0].name)
    write_csv(pattern_rows(found), paths[1], paths[1].name)
    return [answer_of(s.number, s.study.array.front_to_back, found[s.number]) for s in every]


def _together(all_units, every, names, standing: set[int], out: Path) -> tuple[list[str], list[str]]:
    """Try the worst of both maps together, write both_ends.csv; sentences for the opening, and all that came of it."""
    path = out / "both_ends.csv"
    path.unlink(missing_ok=True)
    if all_units.lines is None or all_units.antennas is None:
        return [], []
    sources = study_sources(every[0].study)
    tables = [read_csv(out / name) for name in ("stability.csv", "antennas.csv")]
    pairs = pairs_of([scenario.number for scenario in every], *tables)
    found = [result for _, result in isolated(lambda: TogetherWorker(every, sources), pairs)]
    loads = [study_loads(scenario.study) for scenario in every]
    own = [_capacitance(antenna_of(scenario.study)) for scenario in every]
    table = together_rows(all_units, pairs, found, sources, loads, own)
    write_csv(table, path, "both_ends.csv")
    return hidden_told(table, names, standing), together_told(table, names)


def _confirmed(all_units, every, names, seed: int, out: Path) -> Confirmation | None:
    """Kick some units in the time domain, write confirm.csv, and say what came of it."""
    path = out / "confirm.csv"
    path.unlink(missing_ok=True)
    if all_units.lines is None or all_units.antennas is None:
        return None
    sources, loads = study_sources(every[0].study), [study_loads(scenario.study) for scenario in every]
    trials, left_out = trials_of(all_units, loads, seed)
    found = [result for _, result in isolated(lambda: ConfirmWorker(every, sources), trials)]
    own = [_capacitance(antenna_of(scenario.study)) for scenario in every]
    table = confirmed_rows(all_units.scenarios, trials, found, sources, loads, own)
    write_csv(table, path, "confirm.csv")
    return confirmation_of(table, left_out, names)


def _capacitance(antenna) -> float:
    """Of an antenna far below its resonance; NaN where it is no capacitance there. [F]"""
    impedance = complex(antenna.impedance(np.array([CAPACITANCE_AT_HZ]))[0])
    capacitive = -impedance.imag > abs(impedance.real)
    return -1 / (2 * np.pi * CAPACITANCE_AT_HZ * impedance.imag) if capacitive else np.nan


_GROUPS = (("_nv", "voltage noise"), ("_np", "current noise"), ("_nn", "current noise"))


def _contributors(all_units, study, every) -> pd.DataFrame:
    """Nominal noise at the receiver, by what makes it, and the deciles of what comes from outside; squares add."""
    curve_hz = curve_frequencies(np.asarray(study.bands.frequencies))
    parts = {part.card_name: part.name for s in every for part in chain_of(s.study).circuit.parts}
    devices = {device.name.lower(): device.name for device in chain_of(study).circuit.devices}
    makers = {scenario.number: noise_names(chain_of(scenario.study)) for scenario in every}
    rows: dict[tuple[int, str], np.ndarray] = {}
    for found in all_units.contributors:
        label = _label(found.name, parts, devices, makers[found.scenario])
        if label is not None:
            key = (found.scenario, label)
            rows[key] = rows.get(key, 0) + found.psd
    for scenario in every:
        site, external = site_noise(scenario.study), rows.get((scenario.number, EXTERNAL))
        if external is None or not site.varies:
            continue
        for label, level in zip(EXTERNAL_DECILES, ("lower-decile", "upper-decile"), strict=True):
            ratio = site.at(LEVELS[level]).field(curve_hz) / site.field(curve_hz)
            rows[scenario.number, label] = external * ratio**2
    return pd.DataFrame(
        [
            (scenario, frequency, label, float(np.sqrt(value) * 1e9))
            for (scenario, label), psd in rows.items()
            for frequency, value in zip(curve_hz, psd, strict=True)
        ],
        columns=list(TABLES["contributors.csv"]),
    )


def _label(name: str, parts: dict, devices: dict, maker: dict) -> str | None:
    """What a builder calls a noise source of the deck; None for a share of a device that is counted whole."""
    if name.endswith(("_thermal", "_1overf")):
        return None
    if maker and any(name[1:].startswith(f"{device}_") for device in devices):
        return maker.get(name)
    if name in parts:
        return parts[name]
    if name.startswith(("rz_clamp", "dz_clamp")):
        return "surge clamp" if name.startswith("rz_clamp") else None
    for prefix, shown in devices.items():
        for ending, kind in _GROUPS:
            if name == f"r{prefix}{ending}":
                return f"{shown} {kind}"
    return {"feedline": "feedline", "receiver": "receiver", "external": EXTERNAL}.get(
        name, "antenna ground and losses"
    )


if __name__ == "__main__":
    main()
