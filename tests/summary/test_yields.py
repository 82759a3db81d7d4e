"""Statistics and counts of summary.csv."""

import math

import numpy as np
import pytest

from sim.errors import BandfloorError
from sim.measures.panel import BANDED, SINGLE
from sim.quantity import Limit
from sim.summary.matching import build_matches
from sim.summary.yields import ALL_LIMITS, COLUMNS, clopper_pearson, summary_table
from tests.summary.made import BANDS, gathered


def table(units, limits=None, **measures):
    """Summary of units whose measures are given."""
    banded = {name: values for name, values in measures.items() if name in BANDED}
    single = {name: values for name, values in measures.items() if name in SINGLE}
    found = gathered(units, banded, single)
    return summary_table(found, BANDS, build_matches(found, 4), limits)


def row(found, measure, band=None):
    """The one row of a measure and band."""
    at = found["frequency_hz"].isna() if band is None else found["frequency_hz"] == band
    [one] = found[(found["measure"] == measure) & at].to_dict("records")
    return one


def test_columns_and_rows():
    """The columns of the contract, a row for each measure and band, and the counts as whole numbers."""
    found = table(np.arange(5), {"supply_v": Limit(10, math.inf)}, supply_v=[12, 9, 11, 12, 13])
    assert tuple(found.columns) == COLUMNS
    assert len(found) == 3 * (len(BANDED) + 4) + len(SINGLE) + 1
    assert found.to_csv(index=False).splitlines()[-1] == (
        f"0,(all limits),0/1,,1.0,,,,,,,,,,4,3,0.75,{clopper_pearson(3, 4)[0]},{clopper_pearson(3, 4)[1]}"
    )


def test_statistics_leave_out_the_nominal_unit():
    """Unit 0 stands under nominal and nowhere else; sd is with n − 1."""
    found = row(table(np.arange(6), gain_db=[99, 1, 2, 3, 4, 10]), "gain_db", BANDS[1])
    assert found["nominal"] == 99
    assert (found["mean"], found["min"], found["p50"], found["max"]) == (4, 1, 3, 10)
    assert found["sd"] == pytest.approx(math.sqrt((9 + 4 + 1 + 0 + 36) / 4))
    assert (found["p05"], found["p95"]) == (pytest.approx(1.2), pytest.approx(8.8))
    assert math.isnan(found["limit_low"]) and math.isnan(found["yield"]) and found["units"] == 5


def test_failed_units_have_not_passed():
    """A failed unit is in no mean but is counted, as one that keeps no limit."""
    gain = [10, 10, np.nan, 10.5, 12]
    nothing = dict.fromkeys(SINGLE, [1, 1, np.nan, 1, 1])
    found = table(np.arange(5), {"gain_db": Limit(9, 11)}, gain_db=gain, **nothing)
    one = row(found, "gain_db", BANDS[0])
    assert one["mean"] == pytest.approx((10 + 10.5 + 12) / 3)
    assert (one["units"], one["passed"], one["yield"]) == (4, 2, 0.5)
    assert (one["yield_low"], one["yield_high"]) == clopper_pearson(2, 4)
    assert row(found, ALL_LIMITS)["passed"] == 2


def test_all_limits_counts_units_not_misses():
    """A unit that misses two limits is one unit; one that misses in one band alone is not within."""
    found = gathered(
        np.arange(7), {"gain_db": [10, 10, 10, 12, 12, 10, 10]}, {"supply_v": [12, 12, 12, 12, 9, 9, 12]}
    )
    found.banded[0, 6, BANDED.index("gain_db"), 2] = 20
    limits = {"gain_db": Limit(9, 11), "supply_v": Limit(10, math.inf)}
    summary = summary_table(found, BANDS, build_matches(found, 4), limits)
    assert row(summary, ALL_LIMITS)["passed"] == 2
    assert [row(summary, "gain_db", band)["passed"] for band in BANDS] == [4, 4, 3]
    assert row(summary, "supply_v")["passed"] == 4
    assert row(summary, ALL_LIMITS)["nominal"] == 1


def test_nominal_outside_its_limits():
    """The row over all limits says 0 where the nominal unit misses one."""
    found = table(np.arange(3), {"supply_v": Limit(10, math.inf)}, supply_v=[9, 12, 12])
    assert (row(found, ALL_LIMITS)["nominal"], row(found, ALL_LIMITS)["passed"]) == (0, 2)


def test_limit_on_a_match():
    """A match is limited like any measure, within builds."""
    found = table(np.arange(9), {"match_gain_db": Limit(-0.2, 0.2)}, gain_db=[0, 1, 1, 1, 1, 5, 5, 5, 5.4])
    one = row(found, "match_gain_db", BANDS[0])
    assert (one["passed"], one["units"], one["nominal"]) == (7, 8, 0)


def test_infinite_values():
    """Gain margins without a crossing are infinite: they pass a lower limit and warn nobody."""
    found = table(np.arange(5), {"gain_margin_db": Limit(6, math.inf)}, gain_margin_db=[np.inf, 5, 7, np.inf, np.inf])
    one = row(found, "gain_margin_db")
    assert (one["passed"], one["max"], one["mean"], one["min"]) == (3, np.inf, np.inf, 5)
    assert math.isnan(one["sd"])


def test_measure_without_values():
    """A measure that nothing gives, such as noise against no field, has no statistics and keeps no limit."""
    found = table(np.arange(4), {"noise_margin_db": Limit(10, math.inf)}, noise_margin_db=[np.nan] * 4)
    one = row(found, "noise_margin_db", BANDS[0])
    assert math.isnan(one["mean"]) and math.isnan(one["p50"]) and math.isnan(one["min"])
    assert (one["passed"], one["yield_low"]) == (0, 0.0)


def test_limit_on_what_nobody_measures():
    """A limit that cannot be judged is an error, not a pass."""
    with pytest.raises(BandfloorError, match=r"^Nothing gives headroom_db, so its limit cannot be judged\.$"):
        table(np.arange(3), {"headroom_db": Limit(0, 1)})


def test_no_limits_no_row():
    """Without limits there is no row over all of them."""
    assert ALL_LIMITS not in set(table(np.arange(3))["measure"])


@pytest.mark.parametrize(("passed", "n"), [(-1, 5), (6, 5)])
def test_impossible_counts(passed, n):
    """More passes than units, or fewer than none, are refused."""
    with pytest.raises(ValueError, match=f"^{passed} of {n} cannot have passed"):
        clopper_pearson(passed, n)


def test_no_units():
    """Of no unit at all nothing is known."""
    assert clopper_pearson(0, 0) == (0.0, 1.0)
