"""Records of built units: one folder a unit, its sweeps as Touchstone files named by their dates, its notes as TOML.

    units/
      unit-07/
        2026-11-25.s2p      first sweep; what the unit was like when it was new
        2027-04-02.s2p
        2027-04-02-2.s2p    a second one of that day
        notes.toml          made once from a template, then the builder's own

Plain texts, so that they can be read in fifteen years with whatever there is then. Nothing is ever overwritten, and
nothing is written or read outside the folder of records that was named.
"""

import contextlib
import datetime
import re
from dataclasses import dataclass
from pathlib import Path

from sim.diagnosis.bench import BenchSetup
from sim.errors import BandfloorError, Fault, InputError, SweepError, shown
from sim.inspection.ready import as_two_port
from sim.measured.sweep import LARGEST_FILE, Sweep, read_sweep
from sim.measured.touchstone import two_port_text
from sim.quantity import format_quantity
from sim.tables import new_file

MOST_UNITS = 1000
MOST_SWEEPS = 1000
"""Of one unit; also the most of one day."""
LONGEST_NAME = 60
_DATED = re.compile(r"(?P<date>\d{4}-\d{2}-\d{2})(-(?P<number>\d{1,4}))?\.s2p")
_DATE = re.compile(r"(?<!\d)(\d{4}-\d{2}-\d{2})(?!\d)")
_BENCH = re.compile(r"^! *bench: dummy (\S+) F, source (\S+) ohm, load (\S+) ohm, pad (\S+) dB", re.MULTILINE)
_HEAD = 4000


@dataclass(frozen=True)
class Record:
    """One sweep in the records.

    Attributes
    ----------
    unit : str
    date : datetime.date
    number : int
        Among those of that day, from 1.
    path : Path
    sweep : Sweep
    dummy, source, load : float or None
        Of the bench it was made on; None where the file does not say. [F], [Ω]
    pad_db : float
        Loss in its way that the calibration had not taken out. [dB]
    """

    unit: str
    date: datetime.date
    number: int
    path: Path
    sweep: Sweep
    dummy: float | None
    source: float | None
    load: float | None
    pad_db: float = 0.0


def unit_name(text: str) -> str:
    """A unit's name as a folder's: letters, digits, hyphens, underscores and dots; all else becomes a hyphen.

    Raises
    ------
    SweepError
        Nothing is left.
    """
    name = re.sub(r"[^A-Za-z0-9_.-]+", "-", text)[:LONGEST_NAME].strip("-.")
    if not name:
        remedy = 'Name the unit by letters and digits: --serial "unit-07".'
        raise SweepError(Fault(shown(text), None, "--serial", "is no name for a folder.", remedy))
    return name


def sweep_date(name: str, today: datetime.date) -> datetime.date:
    """Date of a sweep: the first one in the comments at the head of its file, written as 2026-11-25, else today.

    Parameters
    ----------
    name : str
        Path of the sweep, which has been read.
    today : datetime.date
    """
    with open(name, "rb") as file:
        head = file.read(_HEAD).decode("ascii", errors="replace")
    for line in head.splitlines():
        if line.lstrip()[:1] in ("!", "#"):
            for word in _DATE.findall(line):
                with contextlib.suppress(ValueError):
                    return datetime.date.fromisoformat(word)
    return today


def unit_records(folder: Path, unit: str) -> tuple[list[Record], list[str]]:
    """All sweeps of one unit, oldest first, and what could not be read.

    Parameters
    ----------
    folder : Path
        Of all records.
    unit : str
        As :func:`unit_name` makes it.
    """
    found, wrong = [], []
    place = _inside(folder, unit)
    for path in sorted(place.iterdir())[: 2 * MOST_SWEEPS] if place.is_dir() else ():
        match = _DATED.fullmatch(path.name)
        if match is None:
            continue
        try:
            date = datetime.date.fromisoformat(match["date"])
            found.append(_read(unit, date, int(match["number"] or 1), _inside(folder, unit, path.name)))
        except ValueError:
            wrong.append(f"{path}: is named by no date of the calendar.")
        except InputError as error:
            wrong += [f"{fault.file}: {fault.found}" for fault in error.faults]
    return sorted(found, key=lambda record: (record.date, record.number)), wrong


def first_records(folder: Path, but: str) -> tuple[list[Record], list[str]]:
    """The first sweep of every other unit, and what could not be read.

    Parameters
    ----------
    folder : Path
    but : str
        Unit to leave out.
    """
    found, wrong = [], []
    for place in sorted(folder.iterdir())[:MOST_UNITS] if folder.is_dir() else ():
        if place.is_dir() and place.name != but and not place.name.startswith("."):
            records, more = unit_records(folder, place.name)
            found += records[:1]
            wrong += more
    return found, wrong


def keep(folder: Path, unit: str, sweep: Sweep, date: datetime.date, bench: BenchSetup, pad_db: float = 0.0) -> Path:
    """Write a sweep into the records of its unit, and a template for notes where there are none.

    Parameters
    ----------
    folder : Path
    unit : str
        As :func:`unit_name` makes it.
    sweep : Sweep
    date : datetime.date
    bench : BenchSetup
        On which it was made.
    pad_db : float
        Loss in its way that the calibration had not taken out; the sweep itself stays as it was measured. [dB]

    Returns
    -------
    path : Path
        Of the new file; a number follows the date where that day has one already.

    Raises
    ------
    InputError, BandfloorError
        The folder cannot be written, or leads elsewhere.
    """
    place = _inside(folder, unit)
    head = (
        f"unit {unit}, swept {date.isoformat()}\n"
        f"bench: dummy {bench.dummy!r} F, source {bench.source!r} ohm, load {bench.load!r} ohm, pad {pad_db!r} dB\n"
        f"out of the file {_plain(Path(sweep.file).name)}, kept by bandfloor"
    )
    if sweep.two_port is None:
        head += "\nonly S21 was measured; S11, S12 and S22 stand at zero"
    text = two_port_text(as_two_port(sweep, bench), head)
    try:
        place.mkdir(parents=True, exist_ok=True)
        with contextlib.suppress(FileExistsError):
            new_file(place / "notes.toml", _notes(unit, date, bench).encode("utf-8"))
        for number in range(1, MOST_SWEEPS + 1):
            path = place / (f"{date.isoformat()}.s2p" if number == 1 else f"{date.isoformat()}-{number}.s2p")
            with contextlib.suppress(FileExistsError):
                new_file(path, text.encode("utf-8"))
                return path
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise BandfloorError(f"{place}: cannot be written: {reason}.\n  Name another folder.") from error
    raise BandfloorError(f"{place}: holds {MOST_SWEEPS} sweeps of one day.\n  Look what filled it.")


def _inside(folder: Path, *words: str) -> Path:
    """A path below the folder, refused where a link leads out of it."""
    path = folder.joinpath(*words)
    if not path.resolve().is_relative_to(folder.resolve()):
        remedy = "Records are plain files and folders: take the link away."
        raise SweepError(Fault(str(path), None, "--record", "leads out of the folder of records.", remedy))
    return path


def _read(unit: str, date: datetime.date, number: int, path: Path) -> Record:
    sweep = read_sweep(str(path))
    with path.open("rb") as file:
        head = file.read(min(_HEAD, LARGEST_FILE)).decode("ascii", errors="replace")
    match = _BENCH.search(head)
    values = (None, None, None, 0.0)
    if match is not None:
        with contextlib.suppress(ValueError):
            values = tuple(float(word) for word in match.groups())
    return Record(unit, date, number, path, sweep, *values)


def _plain(text: str) -> str:
    return "".join(sign if sign.isascii() and sign.isprintable() else "?" for sign in text)[:LONGEST_NAME]


def _notes(unit: str, date: datetime.date, bench: BenchSetup) -> str:
    return f"""\
# Notes on one unit. bandfloor made this template once and never changes the file: it is yours.
# Dates as 2026-11-25. What you do not know stays empty. Write down what was done before you forget it.

serial = "{unit}"
board_revision = ""
built = ""                          # date
opamp = ""                          # type as printed on the part
opamp_date_code = ""                # year and week on the part, or the reel's label
coated = false                      # conformal coating; sweep once more after it, and note that sweep below

[lots]                              # reel or bag of each part that sets the gain; another lot is another unit
# Cf = "order 1234, 2026-10"
# Rf = ""

[bench]                             # of the first sweep
date = "{date.isoformat()}"
analyser = ""
calibrated = ""                     # date
dummy = "{format_quantity(bench.dummy, "F")}"                   # as measured; always use the same one
source = "{bench.source:g}"
load = "{bench.load:g}"
temperature = ""                    # of the room, degrees C
supply_current_ma = ""
output_dc_v = ""

# One table for each place where the unit stood, oldest first.
# [[position]]
# from = "2027-03-14"
# to = ""
# place = "north-east element"
# cable = ""                        # its number, and its electrical length as measured
# connector_sealed = ""             # date, and with what

# One table for each thing that happened: storm, flood, animal, repair, coating.
# [[incident]]
# date = "2027-08-02"
# what = "thunderstorm, 300 m away"
# done = "swept again: no change"
"""
