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
        return f"{', '.join(where)}: {self.found}\n  {self.remedy}"


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
