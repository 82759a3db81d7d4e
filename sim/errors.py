"""What can go wrong, and how it is said: where, what was found, what would do.

BandfloorError            anything this program says itself; exit code 1
├── InputError            something the user gave cannot be used; exit code 2; carries all faults at once
│   ├── StudyError        a study file
│   ├── CircuitError      an amplifier circuit
│   ├── GuardError        text that was refused before the simulator saw it
│   ├── RecordError       a record of an op-amp, a cable or a noise class
│   └── SweepError        a measured sweep
├── SetupError            something is missing on this system
└── EngineError           the simulator gave no result that may be believed
"""

import difflib
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One thing wrong in something the user gave.

    Attributes
    ----------
    file : str
        As the user named it.
    line : int or None
    key : str or None
        Dotted key, or name of an element.
    found : str
        What was found, a sentence that continues after the colon.
    remedy : str
        What would do, one or more sentences.
    """

    file: str
    line: int | None
    key: str | None
    found: str
    remedy: str

    def __str__(self) -> str:
        where = [self.file]
        if self.line is not None:
            where.append(f"line {self.line}")
        if self.key is not None:
            where.append(self.key)
        # Only our own words have lines; what is quoted in them has none.
        said = "\n".join(printable(line) for line in f"{self.found}\n  {self.remedy}".split("\n"))
        return f"{printable(', '.join(where))}: {said}"


def printable(text: str) -> str:
    """The text with what a terminal would obey or hide written out: escapes, NULs, signs that turn the line round."""
    return text if text.isprintable() else "".join(s if s.isprintable() else f"\\u{ord(s):04x}" for s in text)


LONGEST_QUOTE = 60
"""Characters of a value that a message repeats; a study may hold anything."""


def shown(value) -> str:
    """A value as a message repeats it: one line, text in double quotes, cut where it is long.

    Parameters
    ----------
    value : object
        Whatever a TOML file or a caller can hold.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{printable(value[:LONGEST_QUOTE])}{"…" if len(value) > LONGEST_QUOTE else ""}"'
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return "a list"
    if isinstance(value, int) and abs(value) >= 10**LONGEST_QUOTE:
        return "a number of more than 60 digits"
    return str(value)[:LONGEST_QUOTE]


def nearest(word: str, known: Iterable[str], cutoff: float = 0.0) -> str | None:
    """The known word that is most like the one given, whatever its case; None where none is like it.

    Parameters
    ----------
    word : str
    known : iterable of str
    cutoff : float
        Least likeness, 0 to 1, as :func:`difflib.get_close_matches` counts it.
    """
    folded = {name.casefold(): name for name in known}
    near = difflib.get_close_matches(word[:LONGEST_QUOTE].casefold(), folded, n=1, cutoff=cutoff)
    return folded[near[0]] if near else None


class BandfloorError(Exception):
    """Anything this program says itself."""


class InputError(BandfloorError):
    """Something the user gave cannot be used.

    Parameters
    ----------
    faults : Fault or iterable of Fault
        All that was found, not only the first.
    """

    def __init__(self, faults: Fault | Iterable[Fault]):
        self.faults = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__(str(self))

    def __str__(self) -> str:
        return "\n".join(str(fault) for fault in self.faults)

    def __reduce__(self):
        # Exceptions cross process borders; the default would rebuild them from their text.
        return type(self), (self.faults,)


class StudyError(InputError):
    """A study file cannot be used."""


class CircuitError(InputError):
    """An amplifier circuit cannot be used."""


class GuardError(InputError):
    """Text was refused before the simulator saw it."""


class RecordError(InputError):
    """A record of an op-amp, a cable or a noise class cannot be used."""


class SweepError(InputError):
    """A measured sweep cannot be used."""


class SetupError(BandfloorError):
    """Something is missing on this system."""


class EngineError(BandfloorError):
    """The simulator gave no result that may be believed."""
