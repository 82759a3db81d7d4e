"""Records: one folder a unit, nothing overwritten, nothing outside; drift since the first record."""

import datetime
import json
import tomllib

import numpy as np
import pytest
import skrf

from sim.cli import main
from sim.errors import InputError
from sim.inspection.records import first_records, unit_name, unit_records
from sim.measured.sweep import read_sweep
from tests.inspection.bench import write_columns
from tests.inspection.test_inspect import STUDY


@pytest.fixture(scope="session")
def shared(tmp_path_factory):
    """Folder with the good units and the sweeps of five units."""
    place = tmp_path_factory.mktemp("records")
    for unit in range(1, 6):
        name = str(place / f"unit-0{unit}.s2p")
        assert main(["export", str(STUDY), "sweep", "--unit", str(unit), "-o", name]) == 0
    return place


@pytest.fixture
def kept(shared, tmp_path, capsys):
    """Inspects a sweep and keeps it in fresh records; the answer as JSON."""
    folder = tmp_path / "units"

    def asked(name, *more):
        words = [str(name), "--study", str(STUDY), "--out", str(shared), "--record", str(folder), "--json"]
        capsys.readouterr()
        assert main(["inspect", *words, "--no-diagnosis", *map(str, more)]) == 0
        return json.loads(capsys.readouterr().out)

    asked.folder = folder
    return asked


def _everything(folder):
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_years_of_a_unit(kept, shared, tmp_path):
    """Two sweeps of one day and one years later: all kept, compared with the first, and drawn."""
    first = kept(shared / "unit-01.s2p", "--date", "2026-11-25")
    assert first["drift"] is None and first["kept"].endswith("units/unit-01/2026-11-25.s2p")
    before = _everything(kept.folder)
    second = kept(shared / "unit-01.s2p", "--date", "2026-11-25")
    assert second["kept"].endswith("2026-11-25-2.s2p") and not second["drift"]["changed"]
    sweep = read_sweep(str(shared / "unit-01.s2p"))
    old = sweep.__class__("x", "x", sweep.freq_hz, sweep.gain * 10 ** (-0.3 / 20) * np.exp(-0.05j), None)
    name = write_columns(old, tmp_path / "again.csv", "swept 2031-05-01 by the analyser")
    third = kept(name, "--serial", "unit-01")
    assert third["kept"].endswith("unit-01/2031-05-01.s2p")
    drift = third["drift"]
    assert drift["changed"] and drift["since"] == "2026-11-25" and len(drift["changes"]) == 3
    np.testing.assert_allclose(drift["changes"][-1]["gain_db"], -0.3, atol=1e-6)
    np.testing.assert_allclose(drift["changes"][-1]["phase_deg"], np.rad2deg(-0.05), atol=1e-6)
    assert third["pictures"][1].endswith("unit-01-drift.svg")
    after = _everything(kept.folder)
    assert {name: after[name] for name in before} == before and len(after) == 4


def test_files_are_plain(kept, shared):
    """A kept sweep is the measured one, for scikit-rf too; notes are TOML with everything empty that is not known."""
    kept(shared / "unit-02.s2p", "--date", "2026-11-25", "--dummy", "47.3p 1%")
    network, own = (
        skrf.Network(str(kept.folder / "unit-02" / "2026-11-25.s2p")),
        read_sweep(str(shared / "unit-02.s2p")),
    )
    np.testing.assert_array_equal(network.s, own.two_port.s)
    notes = tomllib.loads((kept.folder / "unit-02" / "notes.toml").read_text(encoding="utf-8"))
    assert notes["serial"] == "unit-02" and notes["coated"] is False and notes["opamp_date_code"] == ""
    assert notes["bench"]["date"] == "2026-11-25" and notes["bench"]["dummy"] == "47.3 pF"
    (record,), wrong = unit_records(kept.folder, "unit-02")
    assert (record.dummy, record.source, record.load, record.date) == (
        47.3e-12,
        50.0,
        50.0,
        datetime.date(2026, 11, 25),
    )
    assert wrong == []


def test_notes_stay_the_builders(kept, shared):
    """Notes that are there are not touched, even when they are nonsense."""
    place = kept.folder / "unit-03"
    place.mkdir(parents=True)
    (place / "notes.toml").write_text("my own = words", encoding="utf-8")
    kept(shared / "unit-03.s2p", "--date", "2026-11-25")
    assert (place / "notes.toml").read_text(encoding="utf-8") == "my own = words"


def test_other_units_are_the_batch(kept, shared):
    """The first records of other units give z-scores; the unit's own do not count."""
    for unit in range(1, 5):
        kept(shared / f"unit-0{unit}.s2p", "--date", "2026-11-25")
    kept(shared / "unit-05.s2p", "--date", "2026-11-26")
    answer = kept(shared / "unit-05.s2p", "--date", "2026-11-27")
    assert answer["batch"]["sweeps"] == 4 and len(answer["batch"]["scores"]) == 3
    others, wrong = first_records(kept.folder, "unit-05")
    assert [record.unit for record in others] == ["unit-01", "unit-02", "unit-03", "unit-04"] and wrong == []


def test_damaged_records_are_named(kept, shared):
    """A record that cannot be read, and one with no date of the calendar, are left out by name."""
    kept(shared / "unit-01.s2p", "--date", "2026-11-25")
    (kept.folder / "unit-01" / "2026-01-01.s2p").write_text("nothing", encoding="ascii")
    (kept.folder / "unit-01" / "2026-02-31.s2p").write_text("nothing", encoding="ascii")
    answer = kept(shared / "unit-01.s2p", "--date", "2026-11-26")
    assert len(answer["cautions"]) == 2 and answer["drift"]["since"] == "2026-11-25"
    assert "2026-01-01.s2p" in answer["cautions"][0] and "2026-02-31.s2p" in answer["cautions"][1]


def test_another_dummy_is_said(kept, shared):
    """A first record through another dummy is no proof of drift."""
    kept(shared / "unit-01.s2p", "--date", "2026-11-25")
    assert kept(shared / "unit-01.s2p", "--date", "2026-12-01", "--dummy", "48p 1%")["drift"]["other_bench"]


def test_places_without_links(kept, shared, monkeypatch):
    """A stick that knows no hard links holds records, too, and overwrites none."""

    def refuse(*_):
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr("sim.tables.os.link", refuse)
    names = [kept(shared / "unit-01.s2p", "--date", "2026-11-25")["kept"] for _ in range(2)]
    assert [name.rpartition("/")[2] for name in names] == ["2026-11-25.s2p", "2026-11-25-2.s2p"]
    assert sorted(_everything(kept.folder)) == [
        "unit-01/2026-11-25-2.s2p",
        "unit-01/2026-11-25.s2p",
        "unit-01/notes.toml",
    ]


@pytest.mark.parametrize(
    ("text", "name"),
    [("unit 7", "unit-7"), ("../../etc/passwd", "etc-passwd"), ("a\x00b\n", "a-b"), ("é7", "7"), ("x" * 99, "x" * 60)],
)
def test_names_are_made_safe(text, name):
    """What is no letter, digit, hyphen, underscore or dot becomes a hyphen; nothing leads upward."""
    assert unit_name(text) == name


@pytest.mark.parametrize("text", ["", "..", "///", "--"])
def test_names_of_nothing(text):
    """A name of which nothing is left is refused."""
    with pytest.raises(InputError, match="no name for a folder"):
        unit_name(text)


def test_links_out_of_the_folder(kept, shared, tmp_path, capsys):
    """A unit's folder that is a link to elsewhere is refused, and nothing is written there."""
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    kept.folder.mkdir()
    (kept.folder / "unit-01").symlink_to(elsewhere)
    words = [str(shared / "unit-01.s2p"), "--study", str(STUDY), "--out", str(shared), "--record", str(kept.folder)]
    assert main(["inspect", *words]) == 2
    assert "leads out of the folder of records" in capsys.readouterr().err
    assert list(elsewhere.iterdir()) == []
