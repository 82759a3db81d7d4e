"""bandfloor new: a commented study to start from."""

import argparse
from pathlib import Path

from sim.commands.called import called
from sim.errors import BandfloorError, Fault, StudyError
from sim.tables import new_file

STARTER = Path(__file__).resolve().parent.parent / "study" / "starter.toml"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of ``bandfloor new``."""
    parser.add_argument("file", metavar="FILE", help="study file to write, for example studies/mine.toml")
    from sim.study.schema import keys_help

    parser.epilog = "Every key that a study may have:\n\n" + keys_help(100)


def act(given) -> int:
    """Write the starter study; never over an existing file."""
    path = Path(given.file)
    if path.suffix != ".toml":
        stem = path.stem.strip(".") if path.stem != ".toml" else ""
        better = path.with_name(f"{stem or 'mine'}.toml") if path.name else Path("mine.toml")
        remedy = f'Write, for example, "{better}".'
        raise StudyError(Fault(given.file, None, None, "does not end in .toml.", remedy))
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        new_file(path, STARTER.read_bytes())
    except FileExistsError:
        raise StudyError(
            Fault(given.file, None, None, "exists already.", "Name a new file; nothing was changed.")
        ) from None
    except OSError as error:
        raise BandfloorError(f"{given.file}: cannot be written: {error.strerror}.\n  Name another place.") from error
    name = called()
    width = len(f"{name} check {given.file}")
    print(
        f"{given.file} written: every line explained, and it runs as it is. Next:\n"
        f"  {name} check {given.file}   what it says, as a drawing; runs nothing\n"
        f"  {f'{name} run {given.file}':<{width}}   the answer, and a report: results/{path.stem}/report.html\n"
        "Then change it for your own antenna; docs/tutorial.md goes on from there to order and bench."
    )
    return 0
