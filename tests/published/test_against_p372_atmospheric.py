"""Records of atmospheric noise against ITU-R P.372 as its reference software computes it.

Source: tests/data/itu-r-p372-sg3-software. Tolerance 1 dB; the records are rounded to 1 dB, so half of that is kept.
"""

import csv
from pathlib import Path

import pytest

from sim.noise.atmospheric import atmospheric_noise
from tests.checks import Against, Standing

AGAINST = Against("atmospheric noise", "ITU-R P.372 data by its Study Group 3 software", Standing.PROGRAM)
FILE = Path(__file__).parents[1] / "data" / "itu-r-p372-sg3-software" / "atmospheric.csv"
ROWS = list(csv.DictReader(line for line in FILE.read_text(encoding="utf-8").splitlines() if line[0] != "#"))


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r['record']}-{r['frequency_hz']}")
def test_median_of_the_record(check, row):
    """The median at a table frequency agrees with the reference software."""
    found = float(atmospheric_noise(row["record"]).level_db(float(row["frequency_hz"])))
    check("Fam", found, float(row["fam_db"]), abs=0.5, unit="dB")
