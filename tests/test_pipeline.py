"""The pipeline as its user meets it: files of the contract, resumption, the same bits however it is run."""

import json
import os
import signal
import subprocess
import sys
import time

import numpy as np
import pandas as pd
import pytest

from sim.columns import EXTERNAL_DECILES, MEASURES, TABLES
from sim.engine.ngspice import batch
from sim.study.read import read_study
from sim.summary.antennas import ANTENNA_SINGLE
from sim.summary.lines import LINE_SINGLE
from sim.summary.strong import STRONG_MEASURES
from sim.tables import read_csv, read_parquet
from tests.conftest import ROOT, SMALL, command

CONTRACT = (
    "study.toml", "netlist.cir", "units.parquet", "measures.parquet", "curves.parquet", "scenarios.csv", "summary.csv",
    "drivers.csv", "failures.csv", "answer.json", "report.html",
)  # fmt: skip
ONLY_WITH_CAUSE = (
    "stability.csv",
    "mending.csv",
    "antennas.csv",
    "both_ends.csv",
    "confirm.csv",
    "substitution.csv",
    "weather.csv",
    "array.csv",
    "array_pattern.csv",
    "temperature.csv",
    "drift.csv",
    "products.csv",
    "model.csv",
    "order.csv",
)
"""Tables of studies that ask for them, and of other commands."""
SAME = (
    "units.parquet",
    "measures.parquet",
    "curves.parquet",
    "summary.csv",
    "drivers.csv",
    "failures.csv",
    "answer.json",
)


def _assert_same(one, other):
    for name in SAME:
        assert (one / name).read_bytes() == (other / name).read_bytes(), name


def test_all_files_of_the_contract_are_there(small_run):
    """Every file and every column that others rely on."""
    for name in CONTRACT:
        assert (small_run / name).stat().st_size > 0, name
    assert list((small_run / "figures").glob("*.svg"))
    for name, columns in TABLES.items():
        path = small_run / name
        if name in ONLY_WITH_CAUSE:
            assert not path.exists()
            continue
        table = read_parquet(path) if path.suffix == ".parquet" else read_csv(path)
        assert tuple(table.columns[: len(columns)]) == columns, name
    assert not list(small_run.glob("chunks/*"))


def test_no_run_is_dropped(small_run):
    """Every unit of every scenario has every measure, or a line in failures.csv."""
    measures = read_parquet(small_run / "measures.parquet")
    failed = len(read_csv(small_run / "failures.csv"))
    assert failed == 0
    names = {name for name, measure in MEASURES.items() if measure.available}
    names -= {*LINE_SINGLE, *ANTENNA_SINGLE, *STRONG_MEASURES}
    assert set(measures["measure"].unique()) == names
    runs = measures.groupby(["scenario", "unit"], observed=True).size()
    bands = sum(3 if MEASURES[name].per_band else 1 for name in names)
    assert len(runs) == 2 * 25
    assert (runs == bands).all()


def test_deciles_of_the_external_noise(small_run):
    """Quiet rural noise at the receiver lies 4.6 dB lower and 9.2 dB higher at its deciles (ITU-R P.372)."""
    rows = read_csv(small_run / "contributors.csv")
    levels = rows.pivot(index=["scenario", "frequency_hz"], columns="contributor", values="density_nv")
    for name, shift_db in zip(EXTERNAL_DECILES, (-4.6, 9.2), strict=True):
        np.testing.assert_allclose(20 * np.log10(levels[name] / levels["external"]), shift_db, atol=1e-9)


def test_study_is_written_out_whole(small_run, small_study):
    """study.toml with every default reads back as the same study."""
    assert read_study(small_run / "study.toml") == read_study(small_study)


def test_answer_is_alone_on_standard_output(small_study, small_run):
    """--json prints answer.json and nothing else, and what is done already is not done again."""
    before = (small_run / "measures.parquet").stat().st_mtime_ns
    done = command("run", small_study, "--json", folder=small_study.parent)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout) == json.loads((small_run / "answer.json").read_text(encoding="utf-8"))
    assert (small_run / "measures.parquet").stat().st_mtime_ns == before


def test_one_core_gives_the_same_bits(small_study, small_run, tmp_path):
    """Two cores and one, and so another number of chunks, make the same files."""
    done = command("run", small_study, "--cores", 1, "--out", tmp_path / "one", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    _assert_same(small_run, tmp_path / "one")


def test_plain_snakemake_gives_the_same_bits(small_study, small_run, tmp_path):
    """The Snakefile alone does what the command does."""
    subprocess.run(
        [
            sys.executable, "-m", "snakemake", "-s", ROOT / "Snakefile", "-c", "2", "-q", "all",
            "--config", f"study={small_study}", f"out={tmp_path / 'plain'}",
        ],
        cwd=tmp_path, check=True, capture_output=True, timeout=240, env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    _assert_same(small_run, tmp_path / "plain")


def test_a_killed_run_goes_on_to_the_same_bits(small_study, small_run, tmp_path):
    """Kill -9 of everything in mid-run, then the same command again: as if nothing had happened."""
    out = tmp_path / "killed"
    process = subprocess.Popen(
        [sys.executable, "-m", "sim.cli", "run", small_study, "--out", out],
        cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(ROOT)}, start_new_session=True,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    for _ in range(600):
        if list((out / "logs").glob("simulate-*.log")) if out.exists() else False:
            break
        time.sleep(0.05)
    os.killpg(process.pid, signal.SIGKILL)
    process.wait()
    assert not (out / "report.html").exists()
    done = command("run", small_study, "--out", out, folder=tmp_path)
    assert done.returncode == 0, done.stderr
    _assert_same(small_run, out)


def _plain(path, tmp_path):
    """What plain ngspice prints for a deck: {name: value}."""
    said = batch(path.read_text(encoding="ascii"), tmp_path)
    pairs = (line.split("=") for line in said.splitlines() if line.startswith(("gain_db_", "phase_deg_", "output_")))
    return {name.strip(): float(value.split()[0]) for name, value in pairs}


def _agree(printed, rows):
    """Printed measures against rows of measures, band by band."""
    bands = sorted(rows["frequency_hz"].dropna().unique())
    for number, band in enumerate(bands, start=1):
        at = rows[np.isclose(rows["frequency_hz"], band)].set_index("measure")["value"]
        assert printed[f"gain_db_{number}"] == pytest.approx(at["gain_db"], abs=1e-3)
        assert (printed[f"phase_deg_{number}"] - at["phase_deg"] + 180) % 360 - 180 == pytest.approx(0, abs=1e-2)
        ratio = printed[f"output_noise_nv_{number}"] / at["output_noise_nv"]
        assert 20 * np.log10(ratio) == pytest.approx(0, abs=1e-3)
    assert len(printed) == 3 * len(bands)


def test_nominal_deck_agrees_with_plain_ngspice(small_run, tmp_path):
    """Gain, phase and noise printed by `ngspice -b netlist.cir` are summary.csv's (outside check)."""
    summary = read_csv(small_run / "summary.csv")
    rows = summary[summary["scenario"] == 0].rename(columns={"nominal": "value"})
    _agree(
        _plain(small_run / "netlist.cir", tmp_path),
        rows[rows["measure"].isin(["gain_db", "phase_deg", "output_noise_nv"])],
    )


def test_ten_units_agree_with_plain_ngspice(small_study, small_run, tmp_path):
    """Ten drawn units of the second scenario, exported, print the values in measures.parquet."""
    measures = read_parquet(small_run / "measures.parquet")
    chosen = np.random.default_rng(20).choice(np.arange(1, 25), 10, replace=False)
    from sim.steps.sample import netlist_text
    from sim.study.scenarios import scenarios

    scenario = scenarios(read_study(small_study))[1]
    for unit in chosen:
        deck = tmp_path / f"unit{unit}.cir"
        deck.write_text(netlist_text(scenario.study, int(unit), 1), encoding="ascii")
        rows = measures[(measures["scenario"] == 1) & (measures["unit"] == unit)]
        _agree(_plain(deck, tmp_path), rows[rows["measure"].isin(["gain_db", "phase_deg", "output_noise_nv"])])


def test_export_writes_the_deck_that_the_run_wrote(small_study, small_run, tmp_path):
    """Bandfloor export of the nominal unit is netlist.cir."""
    done = command("export", small_study, "netlist", "-o", tmp_path / "deck.cir", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "deck.cir").read_text() == (small_run / "netlist.cir").read_text()


def test_a_scenario_added_moves_no_number(small_study, small_run, tmp_path):
    """The second scenario alone gives the numbers that it gave beside the first."""
    alone = tmp_path / "alone.toml"
    alone.write_text(SMALL.replace('["0", "130 m"]', '["130 m"]'), encoding="utf-8")
    done = command("run", alone, "--out", tmp_path / "alone", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    both = read_parquet(small_run / "measures.parquet")
    one = read_parquet(tmp_path / "alone" / "measures.parquet")
    both = both[both["scenario"] == 1].assign(scenario=0).reset_index(drop=True)
    one = one.assign(measure=one["measure"].astype(str))
    pd.testing.assert_frame_equal(one, both.assign(measure=both["measure"].astype(str)), check_exact=True)


def test_two_runs_into_one_folder_are_refused(small_study, tmp_path):
    """The second run says that the first is at work, and touches nothing."""
    import fcntl

    (tmp_path / "out" / "logs").mkdir(parents=True)
    with open(tmp_path / "out" / "logs" / "run.lock", "w", encoding="ascii") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        done = command("run", small_study, "--out", tmp_path / "out", folder=tmp_path)
    assert done.returncode == 1
    assert "another run is writing these results" in done.stderr
