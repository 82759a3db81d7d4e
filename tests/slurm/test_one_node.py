"""The same Snakefile under a real Slurm of one node gives the same bytes as on this machine alone."""

import importlib.util
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import ROOT, SMALL

ONE_NODE = Path(__file__).with_name("one_node.sh")
UNITS = 110
"""In two scenarios enough for two chunks."""
OPTIONS = ("--slurm-no-account", "--slurm-keep-successful-logs", "--slurm-init-seconds-before-status-checks", 2)
HASTE = ("--latency-wait", 5, "--seconds-between-status-checks", 2)


def _snakemake(folder: Path, out: Path, workers: int, *words, before=()) -> None:
    settings = ("--config", "study=study.toml", f"out={out}", f"units={UNITS}", f"workers={workers}")
    base = (sys.executable, "-m", "snakemake", "-s", ROOT / "Snakefile")
    done = subprocess.run(
        [str(word) for word in (*before, *base, *words, *settings)],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
        timeout=400,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def _contents(out: Path) -> dict[str, bytes]:
    """Every file of a results folder but the logs, which hold times."""
    files = (path for path in out.rglob("*") if path.is_file() and path.relative_to(out).parts[0] != "logs")
    return {path.relative_to(out).as_posix(): path.read_bytes() for path in files}


@pytest.mark.slow
def test_slurm_gives_the_same_bytes_as_a_local_run(tmp_path):
    """All results of a run cut in two under Slurm are those of an uncut run here, and its jobs really went to Slurm."""
    if importlib.util.find_spec("snakemake_executor_plugin_slurm") is None:
        pytest.skip("the plugin is not installed: pip install -r requirements-cluster.lock")
    able = subprocess.run([ONE_NODE, "--can"], capture_output=True, text=True, check=False)
    if able.returncode == 77:
        pytest.skip(able.stdout.strip())
    (tmp_path / "study.toml").write_text(SMALL, encoding="utf-8")
    here, there = tmp_path / "here", tmp_path / "there"
    _snakemake(tmp_path, here, 1, "--cores", 1)
    profile = ("--profile", ROOT / "profiles" / "slurm", *OPTIONS, *HASTE)
    _snakemake(tmp_path, there, 2, *profile, before=(ONE_NODE,))
    jobs = (tmp_path / ".snakemake" / "slurm_logs" / "rule_simulate").glob("*/*.log")
    assert sorted(job.parent.name for job in jobs) == ["1-of-2", "2-of-2"]
    assert {"report.html", "measures.parquet", "answer.json"} <= set(_contents(here))
    assert _contents(there) == _contents(here)


def test_a_job_elsewhere_without_workers_is_refused(tmp_path):
    """A job on another machine does not guess from its own cores how the run was cut, and says what to add."""
    (tmp_path / "study.toml").write_text(SMALL, encoding="utf-8")
    words = ("--mode", "remote", "--dry-run", "--cores", "1", "--config", "study=study.toml", "out=out")
    for more, refused in (((), True), (("workers=4",), False)):
        done = subprocess.run(
            [sys.executable, "-m", "snakemake", "-s", ROOT / "Snakefile", *words, *more],
            cwd=tmp_path,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            capture_output=True,
            text=True,
            check=False,
            timeout=120,
        )
        assert (done.returncode != 0, "workers=4" in done.stderr) == (refused, refused), done.stderr
