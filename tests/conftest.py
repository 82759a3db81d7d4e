"""What several test modules share: one small study, run once through the command; the keeping of comparisons."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.check_page import NAME, page
from tests.checks import FILE, Check, by_test, differences, gone, kept_rows, read_rows, rows_text
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


# ---------------------------------------------------------------------- comparisons (tests/checks.py)

_MEASURED = pytest.StashKey[dict]()
_COLLECTED = pytest.StashKey[dict]()


def pytest_addoption(parser):
    """The option that writes the table of comparisons."""
    parser.addoption(
        "--write-checks",
        metavar="FILE",
        type=Path,
        help=f"write the comparisons of the tests run into {FILE.relative_to(ROOT)} and the page beside it",
    )


def pytest_configure(config):
    """Places where comparisons and names of tests are kept."""
    if config.getoption("--write-checks") and config.getoption("numprocesses", None):
        raise pytest.UsageError("--write-checks needs all tests in one process: leave out -n.")
    config.stash[_MEASURED], config.stash[_COLLECTED] = {}, {}


def pytest_itemcollected(item):
    """Remember every test, also those that are not selected, and whether it compares."""
    item.config.stash[_COLLECTED][item.nodeid] = "check" in getattr(item, "fixturenames", ())


@pytest.fixture
def check(request):
    """Compare, assert, keep the row; see tests/checks.py."""
    node = request.node
    callspec = getattr(node, "callspec", None)
    found = Check(node.nodeid, callspec.id if callspec else "", getattr(request.module, "AGAINST", None))
    yield found
    if found.failed:
        return
    if request.config.getoption("--write-checks"):
        request.config.stash[_MEASURED][node.nodeid] = tuple(found.rows)
        return
    said = differences(kept_rows().get(node.nodeid, ()), found.rows)
    assert not said, f"docs/checks.csv is out of date (pytest --write-checks docs/checks.csv {node.nodeid}): {said}"


@pytest.fixture
def collected(request) -> dict[str, bool]:
    """All tests of the modules that were asked for as a whole, and whether they compare."""
    return _collected(request.config)


def _collected(config) -> dict[str, bool]:
    return {} if any("::" in word for word in config.args) else config.stash[_COLLECTED]


def pytest_sessionfinish(session, exitstatus):
    """Put the rows measured in place of those kept, drop those of tests that are gone, and write the page."""
    target = session.config.getoption("--write-checks")
    if target is None or exitstatus != 0:
        return
    kept = by_test(read_rows(target))
    for test in gone(kept, _collected(session.config)):
        del kept[test]
    rows = [row for own in (kept | session.config.stash[_MEASURED]).values() for row in own]
    target.write_text(rows_text(rows), encoding="utf-8")
    target.with_name(NAME).write_text(page(read_rows(target)), encoding="utf-8")
