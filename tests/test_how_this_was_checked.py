"""The table of comparisons and its page: complete, and what the tests measure.

Row by row the table is held against what is measured by the fixture ``check``, in each test that compares.
"""

import numpy as np
import pytest

from tests.check_page import NAME, page, trials
from tests.checks import FILE, Against, Check, Standing, differences, gone, kept_rows, read_rows, rows_text
from tests.conftest import ROOT

HAND = Against("a subject", "by hand", Standing.HAND)


def test_no_row_of_a_test_that_is_gone(collected):
    """Every row comes from a test that there is and that compares."""
    assert gone(kept_rows(), collected) == []
    assert len(kept_rows()) > 500


def test_page_is_that_of_the_table():
    """The page is what its rows and trials make of it, and the table is in order: nobody wrote into them."""
    rows = read_rows(FILE)
    assert FILE.with_name(NAME).read_text(encoding="utf-8") == page(rows)
    assert FILE.read_text(encoding="utf-8") == rows_text(rows)


def test_rows_say_whom_they_are_against():
    """Each row names subject, source and standing, and its error is within its tolerance."""
    for row in read_rows(FILE):
        assert row.subject and row.source and row.quantity and row.test
        assert row.standing in {str(standing) for standing in Standing}
        assert row.used <= 1


def test_larger_trials_are_there():
    """Each trial names tests that exist."""
    assert all((ROOT / name).exists() for row in trials() for name in row["tests"].split())
    assert all(row["what"] and row["against"] and row["found"] for row in trials())
    assert {row["self"] for row in trials()} == {"", "yes"}


@pytest.fixture
def compared():
    """A comparison that no table keeps."""
    return Check("tests/x.py::test_x", "case", HAND)


def test_a_comparison_asserts_and_is_kept(compared):
    """What is within tolerance passes, what is not, or is no number, does not; of many the worst is kept."""
    compared("length", 10.04, 10, abs=0.05, unit="m")
    compared("count", 3, 3)
    compared("curve", np.array([1.0, 2.0, 3.3]), np.array([1.0, 2.0, 3.0]), rel=0.2)
    compared("phasor", 1 + 2.01j, 1 + 2j, rel=0.01)
    first, second, third, fourth = compared.rows
    assert (first.theirs, first.ours, first.error, first.tolerance) == ("10", "10.04", "0.04", "0.05")
    assert first.used == pytest.approx(0.8)
    assert (second.tolerance, second.used) == ("exact", 0)
    assert (third.theirs, third.ours, third.values, third.tolerance) == ("0", "0.3", "3", "0.6")
    assert fourth.ours == "1+2.01j" and fourth.error == "0.01"
    for wrong in (
        lambda: compared("length", 10.06, 10, abs=0.05),
        lambda: compared("length", float("nan"), 10, abs=0.05),
        lambda: compared("count", 4, 3),
        lambda: compared("curve", np.array([1.0, np.nan]), np.ones(2), abs=1),
    ):
        compared.failed = False
        with pytest.raises(AssertionError):
            wrong()
        assert compared.failed


def test_a_table_that_is_out_of_date_is_seen(compared):
    """A number that moved by more than a twentieth of its tolerance, one too few and one too many are told."""
    compared("length", 10.01, 10, abs=0.05)
    later = Check(compared.test, "case", HAND)
    later("length", 10.011, 10, abs=0.05)
    assert differences(compared.rows, later.rows) == []
    moved = Check(compared.test, "case", HAND)
    moved("length", 10.02, 10, abs=0.05)
    assert "measured is" in differences(compared.rows, moved.rows)[0]
    assert "not in the table" in differences([], later.rows)[0]
    assert "not measured" in differences(compared.rows, [])[0]
    other = Check(compared.test, "case", Against("a subject", "by another hand", Standing.HAND))
    other("length", 10.01, 10, abs=0.05)
    assert differences(compared.rows, other.rows)


def test_tests_that_are_gone_are_seen():
    """A test that no longer compares, one that is no more, and a module that is no more."""
    here = "tests/test_how_this_was_checked.py"
    kept = [f"{here}::a", f"{here}::b", f"{here}::c", "tests/test_nowhere.py::d", "tests/test_tables.py::e"]
    found = gone(kept, {f"{here}::a": True, f"{here}::b": False})
    assert found == [f"{here}::b", f"{here}::c", "tests/test_nowhere.py::d"]
