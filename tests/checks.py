"""Comparisons with numbers from elsewhere, kept as rows, so that a page can say how the program was checked.

A test that compares takes the fixture ``check`` and calls it where it would assert:

    check("gain", ours, theirs, rel=0.01, unit="dB")

Whom a module compares with stands in its ``AGAINST``; a call may say another. The call asserts, and keeps the row.
After the test its rows are held against docs/checks.csv, so the table cannot say what is measured no longer. This
writes the rows of whatever is run, and the page made of all of them:

    python -m pytest --write-checks docs/checks.csv TESTS
"""

import csv
from dataclasses import astuple, dataclass, fields
from enum import StrEnum
from functools import cache
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
FILE = ROOT / "docs" / "checks.csv"

HEAD = """\
# Comparisons of bandfloor with numbers from elsewhere, as the tests make them; written by them, not by hand.
# error = ours - theirs, both in `unit`; of many values the worst, and `values` says of how many. tolerance in `unit`.
# Where theirs is 0 and the quantity a difference, ours is the size of the largest difference.
"""

EXACT = "exact"
FROM_MEMORY = "from memory"
NOT_AT_HAND = "print not at hand"
PRACTICE = "common practice, no source"


class Standing(StrEnum):
    """What kind of thing a comparison is with, in the order of the page."""

    STANDARD = "standard"
    PROGRAM = "other program"
    SHEET = "data sheet"
    PAPER = "textbook or paper"
    HAND = "closed form or hand calculation"
    OTHER_CODE = "own earlier calculation by other code"
    SELF = "the program against itself"


@dataclass(frozen=True)
class Against:
    """Whom a comparison is with.

    Attributes
    ----------
    subject : str
        What of the program is compared: "antennas".
    source : str
        As a reader would look it up.
    standing : Standing
    mark : str
        :data:`FROM_MEMORY`, :data:`NOT_AT_HAND`, :data:`PRACTICE` or nothing.
    """

    subject: str
    source: str
    standing: Standing
    mark: str = ""


@dataclass(frozen=True)
class Row:
    """One comparison, as text: what docs/checks.csv holds."""

    subject: str
    standing: str
    source: str
    mark: str
    quantity: str
    case: str
    theirs: str
    ours: str
    unit: str
    error: str
    tolerance: str
    values: str
    test: str

    @property
    def used(self) -> float:
        """Share of the tolerance that the error uses; 0 where it is exact. [1]"""
        return 0.0 if self.tolerance == EXACT else abs(float(self.error)) / float(self.tolerance)

    def still(self, now: "Row") -> bool:
        """Whether a row measured now says the same: all words, and ours within a twentieth of the tolerance."""
        apart = ("ours", "error")
        if any(getattr(self, f.name) != getattr(now, f.name) for f in fields(self) if f.name not in apart):
            return False
        if self.tolerance == EXACT:
            return self.ours == now.ours
        was, found = complex(self.ours), complex(now.ours)
        return abs(was - found) <= max(float(self.tolerance) / 20, 2e-6 * abs(was))


COLUMNS = tuple(field.name for field in fields(Row))


class Check:
    """What the fixture ``check`` gives to a test.

    Parameters
    ----------
    test : str
        Its full name.
    case : str
        What tells it from others of the same function.
    against : Against or None
    """

    def __init__(self, test: str, case: str, against: Against | None):
        self.test, self.case, self.against = test, case, against
        self.rows: list[Row] = []
        self.failed = False

    def __call__(self, quantity, ours, theirs, *, abs=None, rel=None, unit="", case=None, against=None):
        """Assert that ours is theirs within a tolerance, and keep the comparison.

        Parameters
        ----------
        quantity : str
        ours, theirs : number or array_like
            Of arrays all are compared and the worst is kept. [unit]
        abs, rel : float, optional
            Tolerance in the unit, or as a share of the size of theirs; none: they must be equal.
        unit : str
        case : str, optional
            Left out: what tells the test from others of its function.
        against : Against, optional
            Left out: the module's.
        """
        ours, theirs = np.broadcast_arrays(ours, theirs)
        error, size = np.abs(ours - theirs), np.abs(theirs)
        allowed = np.maximum(abs or 0.0, (rel or 0.0) * size)
        fits = bool(np.all(error <= allowed))  # NaN does not
        share = np.divide(error, allowed, out=np.where(error > 0, np.inf, 0.0), where=allowed > 0)
        worst = int(np.argmax(np.nan_to_num(share, nan=np.inf)))
        at = (ours.flat[worst], theirs.flat[worst], error.flat[worst], allowed.flat[worst], size.flat[worst])
        if ours.size > 1:  # which of many is the worst may be a matter of rounding, how bad it is is not
            at = (at[2], 0.0, at[2], at[3], at[4])
        self.rows.append(self._row(quantity, case, against or self.against, unit, at, ours.size))
        row = self.rows[-1]
        self.failed |= not fits
        said = f"ours {at[0]}, theirs {at[1]} {unit}, apart {at[2]:.4g}, allowed {at[3]:.4g}"
        assert fits, f"{quantity}, {row.case}: {said}"

    def _row(self, quantity, case, against, unit, at, count) -> Row:
        assert against is not None, "say AGAINST whom the module compares"
        ours, theirs, apart, allowed, size = at
        exact = allowed == 0
        # A rounding error says nothing, and differs from one machine to the next.
        negligible = apart <= max(1e-9 * size, 1e-4 * allowed)
        if exact:
            error, shown = "0", f"{ours:.15g}"
        elif negligible:
            error, shown = "0", _number(0.0 if count > 1 else theirs)
        else:
            error = f"{apart if np.iscomplexobj(np.array([ours, theirs])) else ours - theirs:.2g}"
            shown = _number(ours, 6 if count == 1 else 2)
        return Row(
            subject=against.subject,
            standing=str(against.standing),
            source=against.source,
            mark=against.mark,
            quantity=quantity,
            case=self.case if case is None else str(case),
            theirs=f"{theirs:.15g}" if exact else _number(theirs),
            ours=shown,
            unit=unit,
            error=error,
            tolerance=EXACT if exact else f"{allowed:.3g}",
            values=str(count),
            test=self.test,
        )


def _number(value, digits: int = 6) -> str:
    if isinstance(value, complex | np.complexfloating):
        return f"{value.real:.{digits}g}{value.imag:+.{digits}g}j"
    return f"{float(value):.{digits}g}"


def tolerance_of(text: str) -> dict[str, float]:
    """A tolerance as tables of values write it, "rel 0.02" or "abs 8", as keywords of a comparison."""
    kind, size = text.split()
    return {kind: float(size)}


@cache
def kept_rows() -> dict[str, tuple[Row, ...]]:
    """Rows of docs/checks.csv by test."""
    return by_test(read_rows(FILE))


def by_test(rows) -> dict[str, tuple[Row, ...]]:
    """Rows grouped by the test that made them, in their order."""
    found: dict[str, list[Row]] = {}
    for row in rows:
        found.setdefault(row.test, []).append(row)
    return {test: tuple(own) for test, own in found.items()}


def read_rows(path: Path) -> list[Row]:
    """Rows of a table of checks; none where there is no file."""
    if not path.is_file():
        return []
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if line and line[0] != "#"]
    return [Row(**row) for row in csv.DictReader(lines)]


def rows_text(rows) -> str:
    """A table of checks as text, in the page's order."""
    import io

    order = [str(standing) for standing in Standing]
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in sorted(rows, key=lambda r: (r.subject, order.index(r.standing), r.source, r.test)):
        writer.writerow(astuple(row))
    return HEAD + buffer.getvalue()


def differences(kept, now) -> list[str]:
    """What docs/checks.csv says of a test that it does not measure now, and what it lacks."""
    told = []
    kept, now = list(kept), list(now)
    for row in now:
        same = next((old for old in kept if (old.quantity, old.case) == (row.quantity, row.case)), None)
        if same is None:
            told.append(f"not in the table: {row.quantity}, {row.case}")
            continue
        kept.remove(same)
        if not same.still(row):
            told.append(f"the table has {astuple(same)}, measured is {astuple(row)}")
    return told + [f"in the table, but not measured: {row.quantity}, {row.case}" for row in kept]


def gone(kept, collected: dict[str, bool]) -> list[str]:
    """Tests in a table that are no more, or compare no more.

    Parameters
    ----------
    kept : iterable of str
        Their names.
    collected : dict of str to bool
        All tests of some modules, and whether they compare.
    """
    modules = {name.split("::")[0] for name in collected}
    there = {name for name, compares in collected.items() if compares}
    return [
        test
        for test in kept
        if test not in there and (test.split("::")[0] in modules or not (ROOT / test.split("::")[0]).is_file())
    ]
