"""Tables written whole or not at all, always with the same bytes for the same content."""

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from sim.columns import OPEN_TABLES, TABLES
from sim.errors import BandfloorError


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
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
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
    import pyarrow
    import pyarrow.parquet

    data = pyarrow.Table.from_pandas(_frame(content, table), preserve_index=False)
    # The writer's own description of pandas would carry version numbers and differ between machines.
    data = data.replace_schema_metadata({b"table": table.encode(), b"made by": b"bandfloor"})
    with replace_file(path) as file:
        pyarrow.parquet.write_table(data, file, compression="zstd")


def read_csv(path: Path):
    """A table as DataFrame; an empty field is NaN, words such as "NA" are text, numbers keep all digits."""
    import pandas as pd

    return pd.read_csv(path, keep_default_na=False, na_values=[""])


def read_parquet(path: Path, columns: list[str] | None = None):
    """A table as DataFrame."""
    import pyarrow.parquet

    return pyarrow.parquet.read_table(path, columns=columns).to_pandas()
