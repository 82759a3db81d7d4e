"""What several test modules share: one small study, run once through the command."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.small_studies import small_text, write_study

ROOT = Path(__file__).resolve().parent.parent

SMALL = small_text(
    feedline={"length": "130 m"},
    bands={"frequencies": ["1.83M", "3.53M", "7.05M"]},
    run={"units": 24, "build": 8, "temperature": "-10..35"},
    limits={"gain_db": "10.7 +- 0.6", "noise_margin_db": "> 10", "stable": "> 0.5", "match_gain_db": "0 +- 0.2"},
    vary={"feedline.length": ["0", "130 m"]},
)


def command(*words, folder: Path, **options) -> subprocess.CompletedProcess:
    """Run bandfloor as its user does, in a folder."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "120"}
    return subprocess.run(
        [sys.executable, "-m", "sim.cli", *map(str, words)],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=240,
        **options,
    )


@pytest.fixture(scope="session")
def small_study(tmp_path_factory) -> Path:
    """File of the small study."""
    return write_study(tmp_path_factory.mktemp("study"), SMALL, "small.toml")


@pytest.fixture(scope="session")
def small_run(small_study) -> Path:
    """Results of the small study, run by the command on two cores."""
    done = command("run", small_study, "--cores", 2, folder=small_study.parent)
    assert done.returncode == 0, done.stderr
    return small_study.parent / "results" / "small"
