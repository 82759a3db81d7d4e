"""Faults that a sweep on the bench cannot show, part by part, for people."""

import re

import numpy as np

from sim.diagnosis.bench import bench_of
from sim.diagnosis.book import FaultBook, open_book
from sim.diagnosis.rank import hidden
from sim.quantity import format_quantity


def unseen(book: FaultBook, places: np.ndarray | None = None) -> tuple[str, ...]:
    """Faults that more often than not pass for a good unit.

    Parameters
    ----------
    book : FaultBook
    places : int ndarray, optional
        Of the frequencies that are swept; left out: all.

    Returns
    -------
    told : tuple of str
        A line a part, "Rb: open, 10 MΩ, a dry joint of about 100 Ω"; then swapped parts, then all else.
    """
    places = np.arange(len(book.freq_hz)) if places is None else places
    of_part: dict[str, list[str]] = {part.name: [] for part in book.people.chain.circuit.parts}
    swaps, others = [], []
    for key in hidden(book, places):
        match = re.fullmatch(r"(\w+)(?:=(.+)|:(open|short)|:dry(.+))", key)
        if match and match[1] in of_part:
            of_part[match[1]].append(_short(match))
        elif "<>" in key:
            swaps.append(" and ".join(key.split("<>")))
        else:
            others.append(book.fault(key).words.partition(":")[0])
    lines = [f"{name}: {', '.join(shown)}" for name, shown in of_part.items() if shown]
    return (*lines, *([f"swapped: {', '.join(swaps)}"] if swaps else []), *others)


def unseen_of(study) -> tuple[str, ...]:
    """The same of a study with its [fixture], over half a megahertz to ten.

    Parameters
    ----------
    study : Study
        Of one scenario.

    Raises
    ------
    EngineError
        The nominal unit does not simulate on the bench.
    """
    return unseen(open_book(study, bench_of(study)))


def _short(match: re.Match) -> str:
    if match[2]:
        return re.sub(r"(?<=\d)(?=[^\d.])", " ", match[2], count=1)
    if match[4]:
        return f"a dry joint of about {format_quantity(float(match[4]), 'ohm')}"
    return {"open": "open", "short": "shorted"}[match[3]]
