"""Tables are written whole or not at all, with the same bytes for the same content, and come back as they were."""

import errno
import os
import stat

import numpy as np
import pandas as pd
import pyarrow.parquet
import pytest

from sim.errors import BandfloorError
from sim.tables import read_csv, read_parquet, replace_file, write_csv, write_parquet

FAILURES = [{"scenario": 0, "unit": 7, "stage": "op", "reason": 'no convergence, "xamp"'}]


def measures():
    """A tidy table with a category, NaN and numbers that need every digit."""
    return pd.DataFrame(
        {
            "scenario": [0, 0, 1],
            "unit": [0, 1, 1],
            "measure": pd.Categorical(["gain_db", "stable", "gain_db"]),
            "frequency_hz": [1.83e6, np.nan, 7.05e6],
            "value": [0.1 + 0.2, 1.0, np.nan],
        }
    )


def test_csv_there_and_back(tmp_path):
    """Text with commas and quotes, and numbers to the last bit, come back."""
    write_csv(FAILURES, tmp_path / "failures.csv", "failures.csv")
    assert read_csv(tmp_path / "failures.csv").to_dict("records") == FAILURES
    row = dict.fromkeys(("nominal", "p05", "p50", "p95", "min", "max"), 0.1 + 0.2)
    curve = [{"scenario": 0, "curve": "gain_db", "frequency_hz": 1 / 3, **row}]
    write_csv(curve, tmp_path / "curve.csv", "curves.parquet")
    assert read_csv(tmp_path / "curve.csv").to_dict("records") == curve


def test_words_that_look_like_nothing(tmp_path):
    """A word such as "NA" is text; an empty field is no number, and what is no number is written as an empty field."""
    rows = [
        {"scenario": 0, "frequency_hz": 1.83e6, "contributor": "NA", "density_nv": 1.5},
        {"scenario": 0, "frequency_hz": np.nan, "contributor": "None", "density_nv": np.inf},
    ]
    write_csv(rows, tmp_path / "c.csv", "contributors.csv")
    assert (tmp_path / "c.csv").read_bytes().endswith(b"\n0,1830000.0,NA,1.5\n0,,None,inf\n")
    found = read_csv(tmp_path / "c.csv")
    assert found["contributor"].tolist() == ["NA", "None"]
    assert found["density_nv"].tolist() == [1.5, np.inf]
    assert found["frequency_hz"].isna().tolist() == [False, True]


def test_every_digit(tmp_path):
    """Numbers of any size come back from text bit for bit."""
    random = np.random.default_rng(1)
    values = random.normal(size=2000) * 10.0 ** random.integers(-15, 12, 2000)
    rows = {"scenario": 0, "frequency_hz": values, "contributor": "Rf", "density_nv": values}
    write_csv(pd.DataFrame(rows), tmp_path / "c.csv", "contributors.csv")
    assert read_csv(tmp_path / "c.csv")["density_nv"].to_numpy().tobytes() == values.tobytes()


def test_csv_bytes(tmp_path):
    """The header comes first, columns in the registered order, lines end in a newline alone."""
    shuffled = [{name: FAILURES[0][name] for name in ("reason", "unit", "stage", "scenario")}]
    write_csv(shuffled, tmp_path / "f.csv", "failures.csv")
    assert (tmp_path / "f.csv").read_bytes() == (
        b'scenario,unit,stage,reason\n0,7,op,"no convergence, ""xamp"""\n'
    )


def test_no_rows(tmp_path):
    """Without rows the header is still there, and the table can be read."""
    write_csv([], tmp_path / "failures.csv", "failures.csv")
    assert (tmp_path / "failures.csv").read_bytes() == b"scenario,unit,stage,reason\n"
    assert len(read_csv(tmp_path / "failures.csv")) == 0


def test_parquet_there_and_back(tmp_path):
    """Values, types and the category come back, and single columns can be asked for."""
    write_parquet(measures(), tmp_path / "m.parquet", "measures.parquet")
    found = read_parquet(tmp_path / "m.parquet")
    pd.testing.assert_frame_equal(found, measures())
    assert list(read_parquet(tmp_path / "m.parquet", ["unit", "value"]).columns) == ["unit", "value"]


def test_parquet_of_arrays(tmp_path):
    """A dict of arrays is a table too, and drawn parts follow the registered columns in their own order."""
    drawn = {"Rf": np.array([1.0, 2.0, 4.0]), "Cf": np.full(3, 1e-12)}
    columns = {"unit": np.arange(3), "temperature_c": np.full(3, 20.0), **drawn}
    write_parquet(columns, tmp_path / "units.parquet", "units.parquet")
    found = read_parquet(tmp_path / "units.parquet")
    assert list(found.columns) == list(columns)
    assert found["Rf"].tolist() == [1.0, 2.0, 4.0]


def test_same_content_same_bytes(tmp_path):
    """Written twice, a table is the same file bit for bit; other content is another."""
    for name in ("a", "b"):
        write_parquet(measures(), tmp_path / f"{name}.parquet", "measures.parquet")
        write_csv(measures(), tmp_path / f"{name}.csv", "measures.parquet")
    assert (tmp_path / "a.parquet").read_bytes() == (tmp_path / "b.parquet").read_bytes()
    assert (tmp_path / "a.csv").read_bytes() == (tmp_path / "b.csv").read_bytes()
    write_parquet(measures().assign(value=1.0), tmp_path / "b.parquet", "measures.parquet")
    assert (tmp_path / "a.parquet").read_bytes() != (tmp_path / "b.parquet").read_bytes()


def test_parquet_says_what_it_is(tmp_path):
    """The file names its table and its maker, and no machine, time or version."""
    write_parquet(measures(), tmp_path / "m.parquet", "measures.parquet")
    metadata = pyarrow.parquet.read_schema(tmp_path / "m.parquet").metadata
    assert metadata == {b"table": b"measures.parquet", b"made by": b"bandfloor"}


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ({"scenario": 0, "unit": 1, "stage": "op"}, r"columns missing \['reason'\], unknown \[\]"),
        (FAILURES[0] | {"cause": ""}, r"columns missing \[\], unknown \['cause'\]"),
    ],
    ids=["missing", "unknown"],
)
def test_unregistered_columns(tmp_path, row, message):
    """A table with other columns than the registered ones is refused, and nothing is written."""
    with pytest.raises(ValueError, match=f"^failures.csv: {message}$"):
        write_csv([row], tmp_path / "failures.csv", "failures.csv")
    assert list(tmp_path.iterdir()) == []


def test_whole_or_not_at_all(tmp_path):
    """When writing breaks off the older file stays as it was, and no half file is left behind."""
    path = tmp_path / "answer.json"
    with replace_file(path) as file:
        file.write(b"first")
    with pytest.raises(RuntimeError, match="^stop$"), replace_file(path) as file:
        file.write(b"second")
        raise RuntimeError("stop")
    assert path.read_bytes() == b"first"
    assert list(tmp_path.iterdir()) == [path]


def test_not_there_before_it_is_complete(tmp_path):
    """While it is being written the file has not its name yet; folders above it are made."""
    path = tmp_path / "logs" / "timing.json"
    with replace_file(path) as file:
        file.write(b"{}")
        assert not path.exists()
    assert path.read_bytes() == b"{}"


def test_readable_like_other_files(tmp_path):
    """A table has the permissions that the user's other new files have."""
    with replace_file(tmp_path / "a"):
        pass
    (tmp_path / "b").touch()
    assert stat.S_IMODE(os.stat(tmp_path / "a").st_mode) == stat.S_IMODE(os.stat(tmp_path / "b").st_mode)


def test_full_disk(tmp_path):
    """A disk that fills up while writing is an error that names the file, and leaves nothing behind."""
    path = tmp_path / "summary.csv"
    with pytest.raises(BandfloorError, match=r"summary\.csv: cannot be written: No space.*\.\n  Is the disk full\?$"):
        with replace_file(path):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    assert list(tmp_path.iterdir()) == []


def test_name_taken_by_a_folder(tmp_path):
    """A folder under the file's name is an error that names it, and the folder stays."""
    (tmp_path / "summary.csv").mkdir()
    with pytest.raises(BandfloorError, match=r"summary\.csv: is a folder, .*\n  Name a file in it\.$"):
        write_csv([], tmp_path / "summary.csv", "summary.csv")
    assert list(tmp_path.iterdir()) == [tmp_path / "summary.csv"]


def test_another_file_is_not_blamed_on_this_one(tmp_path):
    """A file that is missing while a table is being filled is reported as the missing one."""
    with pytest.raises(FileNotFoundError, match="chunk.npz"), replace_file(tmp_path / "summary.csv"):
        (tmp_path / "chunk.npz").read_bytes()
    assert list(tmp_path.iterdir()) == []


def test_no_place_to_write(tmp_path):
    """A folder that cannot be made is an error that names the file."""
    (tmp_path / "results").touch()
    path = tmp_path / "results" / "summary.csv"
    with pytest.raises(BandfloorError, match=r"summary\.csv: cannot be written: .*\.\n  Name another place\.$"):
        write_csv(FAILURES, path, "failures.csv")


def test_device_or_pipe_stays(tmp_path):
    """A name that belongs to a pipe or a device is refused: a file moved there would delete what it stands for."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with pytest.raises(BandfloorError, match=r"pipe: is a device or a pipe, .*\n  Name an ordinary file\.$"):
        with replace_file(pipe) as file:
            file.write(b"a result")
    assert stat.S_ISFIFO(os.stat(pipe).st_mode)
    assert list(tmp_path.iterdir()) == [pipe]
