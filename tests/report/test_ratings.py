"""The ratings' table of the page: what is not kept stands first, and data from memory are marked."""

import pandas as pd

from sim.columns import TABLES
from sim.report.ratings import ratings_table

ROW = {
    "scenario": 0,
    "device": "Xamp",
    "part": "OPA657",
    "unit_of_value": "V",
    "verified": 0,
    "unit": 3,
    "temperature_c": -12.0,
    "supply_v": 12.4,
    "outside": 0,
    "not_computed": 0,
    "units": 20,
    "corner_temperature_c": -30.0,
    "corner_supply_v": 12.6,
    "corner_iq_share": 0.89,
    "verdict": "kept",
}


def _table(tmp_path, *rows):
    path = tmp_path / "ratings.csv"
    pd.DataFrame([ROW | row for row in rows], columns=list(TABLES["ratings.csv"])).to_csv(path, index=False)
    return ratings_table(path, {0: "30 m", 1: "60 m"})


def test_what_is_not_kept_stands_first(tmp_path):
    """Of each rating the worst scenario, findings before the rest, limits not verified marked as such."""
    least = {"rating": "supply, least", "limit": 8.0, "worst": 11.0, "corner_worst": 10.9}
    most = {"rating": "supply, most", "limit": 12.0, "worst": 11.9, "corner_worst": 12.001}
    table = _table(
        tmp_path, least, most | {"verdict": "outside at a corner"}, most | {"scenario": 1, "corner_worst": 11.5}
    )
    first, second = table.rows
    assert first[0] == "OPA657 (Xamp), supply, most"
    assert first[1:4] == ("outside at a corner", "12.00 V, not verified", "30 m")
    assert "12.001 V (12.6 V, -30 °C, current × 0.89)" in first and second[1] == "kept"
    assert "11.00 V (unit 3, 12.4 V, -12 °C)" in second


def test_no_table_no_rows(tmp_path):
    """A run without ratings.csv has no section."""
    assert ratings_table(tmp_path / "ratings.csv", {0: ""}).rows == ()
