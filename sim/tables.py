"""Tables written whole or not at all, always with the same bytes for the same content."""

import contextlib
import os
import tempfile
from collections.abc import Collection, Iterable, Iterator
from pathlib import Path

import numpy as np

from sim.columns import OPEN_TABLES, TABLES
from sim.errors import BandfloorError

PART = ".part"
"""Ending of a file that is being written; one that a killed process leaves is cleared away by the next run."""


@contextlib.contextmanager
def replace_file(path: Path) -> Iterator:
    """A binary file that takes its place only when it is complete.

    Parameters
    ----------
    path : Path
        Folders above it are made.

    Yields
    ------
    file
        On an error nothing is left behind and an older file stays.

    Raises
    ------
    BandfloorError
        The file cannot be written, or a folder, device or pipe has its name (moving ours over /dev/null would delete
        the device); the message names it and says why. What goes wrong with another file while this one is being
        filled is raised as it is.
    """
    path = Path(path)
    if os.path.isdir(path):
        raise BandfloorError(f"{path}: is a folder, so no file can be written here.\n  Name a file in it.")
    # Links to files count as files here, a broken one as none.
    if os.path.exists(path) and not os.path.isfile(path):
        raise BandfloorError(f"{path}: is a device or a pipe, which a file would replace.\n  Name an ordinary file.")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=PART, dir=path.parent)
    except OSError as error:
        raise BandfloorError(f"{path}: cannot be written: {error.strerror}.\n  Name another place.") from error
    try:
        with os.fdopen(handle, "wb") as file:
            yield file
        # Temporary files are private; a result is as readable as the user's other files.
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(name, 0o666 & ~mask)
        os.replace(name, path)
    except OSError as error:
        # Writing to an open file names no file; opening or moving one does.
        if error.filename not in (None, name):
            raise
        raise BandfloorError(f"{path}: cannot be written: {error.strerror}.\n  Is the disk full?") from error
    finally:
        with contextlib.suppress(FileNotFoundError):
            os.unlink(name)


def new_file(path: Path, raw: bytes) -> None:
    """Write a file that is not there yet; whole, on the disk, and never over another one.

    Parameters
    ----------
    path : Path
        Its folder is there.
    raw : bytes

    Raises
    ------
    FileExistsError
        The name is taken, if need be by another process meanwhile.
    OSError
        It cannot be written; nothing is left of it.
    """
    path = Path(path)
    handle, part = tempfile.mkstemp(prefix=f".{path.name}.", suffix=PART, dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(raw)
            file.flush()
            os.fsync(file.fileno())
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(part, 0o666 & ~mask)
        try:
            os.link(part, path)
        except FileExistsError:
            raise
        except OSError:
            # Sticks and some network drives know no links.
            _exclusive(path, raw)
    finally:
        with contextlib.suppress(FileNotFoundError):
            os.unlink(part)


def _exclusive(path: Path, raw: bytes) -> None:
    with open(path, "xb") as file:
        try:
            file.write(raw)
            file.flush()
            os.fsync(file.fileno())
        except BaseException:
            path.unlink()
            raise


def _frame(content, table: str):
    import pandas as pd

    frame = content if isinstance(content, pd.DataFrame) else pd.DataFrame(content)
    wanted = list(TABLES[table])
    if frame.empty and not len(frame.columns):
        return pd.DataFrame(columns=wanted)
    missing = [name for name in wanted if name not in frame.columns]
    extra = [name for name in frame.columns if name not in wanted]
    if missing or (extra and table not in OPEN_TABLES):
        raise ValueError(f"{table}: columns missing {missing}, unknown {extra}")
    return frame[wanted + extra]


def write_csv(content, path: Path, table: str) -> None:
    """Write rows (list of dict, or DataFrame) as one of :data:`sim.columns.TABLES`; the header is always there."""
    text = _frame(content, table).to_csv(index=False, lineterminator="\n")
    with replace_file(path) as file:
        file.write(text.encode("utf-8"))


def write_parquet(content, path: Path, table: str) -> None:
    """Write columns (dict of arrays, or DataFrame) as one of :data:`sim.columns.TABLES`."""
    write_parquet_parts([content], path, table)


def write_parquet_parts(parts: Iterable, path: Path, table: str) -> int:
    """The same part by part, so that only one of them is in memory; how many rows were written.

    Parameters
    ----------
    parts : iterable
        Columns (dict of arrays, or DataFrame) of the same types each, at least one.
    path : Path
    table : str
    """
    import pyarrow
    import pyarrow.parquet

    rows = 0
    with replace_file(path) as file, contextlib.ExitStack() as stack:
        writer = None
        for part in parts:
            data = pyarrow.Table.from_pandas(_frame(part, table), preserve_index=False)
            # The writer's own description of pandas would carry version numbers and differ between machines.
            data = data.replace_schema_metadata({b"table": table.encode(), b"made by": b"bandfloor"})
            if writer is None:
                writer = stack.enter_context(pyarrow.parquet.ParquetWriter(file, data.schema, compression="zstd"))
            writer.write_table(data)
            rows += data.num_rows
    return rows


def read_csv(path: Path):
    """A table as DataFrame; an empty field is NaN, words such as "NA" are text, numbers keep all digits."""
    import pandas as pd

    return pd.read_csv(path, keep_default_na=False, na_values=[""])


def read_parquet(path: Path, columns: list[str] | None = None):
    """A table as DataFrame."""
    import pyarrow.parquet

    return pyarrow.parquet.read_table(path, columns=columns).to_pandas()


def read_parquet_rows(path: Path, **wanted: Collection):
    """Rows of a table that have one of the wanted values in each of these columns, as DataFrame.

    Parameters
    ----------
    path : Path
    **wanted : collection
        Values by column.

    Notes
    -----
    Read group by group: of a large run's table most rows are not wanted, and all of them fill the memory.
    """
    import pandas as pd
    import pyarrow.parquet

    groups = []
    with pyarrow.parquet.ParquetFile(path) as file:
        for number in range(file.num_row_groups):
            group = file.read_row_group(number).to_pandas()
            kept = [group[name].isin(list(values)) for name, values in wanted.items()]
            groups.append(group[np.logical_and.reduce(kept)] if kept else group)
        if not groups:
            return file.schema_arrow.empty_table().to_pandas()
    return pd.concat(groups, ignore_index=True)
