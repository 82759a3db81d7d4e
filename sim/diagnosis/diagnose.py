"""One sweep of one unit, and what it says: good, or which fault, or none of those that are known."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sim.diagnosis.batch import BatchShift, batch_shift
from sim.diagnosis.bench import BenchSetup, bench_of
from sim.diagnosis.book import FaultBook, open_book
from sim.diagnosis.faults import GOOD
from sim.diagnosis.next_test import Test, next_tests
from sim.diagnosis.oscillation import oscillations
from sim.diagnosis.rank import MUCH_LESS, Group, Ranking, rank
from sim.diagnosis.values import OtherValue, other_values
from sim.errors import Fault as Wrong
from sim.errors import SweepError
from sim.measured.sweep import Sweep
from sim.study.scenarios import scenarios

FEWEST_POINTS = 8
"""Frequencies between half a megahertz and ten with which a sweep can be told from another."""
SHOWN_GROUPS = 3
MOST_ASKED = 8
"""Candidates of which is asked whether they oscillate."""
SHOWN_SHARE = 0.005
"""Share below which a group is not worth a sentence. [1]"""


@dataclass(frozen=True)
class Diagnosis:
    """What a sweep says about a unit.

    Attributes
    ----------
    verdict : str
        "good", "fault", "another value" (of one part, with `values`) or "none of these".
    ranking : Ranking
    tests : tuple of Test
        What to measure next, most telling first.
    shift : BatchShift or None
        What the whole batch has in common, where there is one.
    undetectable : tuple of str
        Faults that a sweep on this bench cannot show, in words.
    failed : tuple of str
        Faults that could not be simulated, in words with the reason.
    oscillating : dict of str to float
        Frequencies at which faults of the leading groups would make the unit oscillate, by their keys. [Hz]
    values : tuple of OtherValue
        Parts that explain the sweep with a value that is not on the list, likeliest first; where faults of the list do,
        too, only what is a thousand times likelier.
    """

    verdict: str
    ranking: Ranking
    tests: tuple[Test, ...]
    shift: BatchShift | None
    undetectable: tuple[str, ...]
    failed: tuple[str, ...]
    oscillating: dict
    values: tuple[OtherValue, ...] = ()

    @property
    def groups(self) -> tuple[Group, ...]:
        """The groups worth naming, likeliest first."""
        shown = self.ranking.groups[:SHOWN_GROUPS]
        return tuple(group for place, group in enumerate(shown) if place == 0 or group.share >= SHOWN_SHARE)

    def told(self) -> tuple[str, ...]:
        """The diagnosis in sentences, verdict first."""
        from sim.diagnosis.told import sentences

        return sentences(self)

    def as_dict(self) -> dict:
        """The diagnosis for programs: plain numbers, texts, lists and tables."""
        from sim.diagnosis.told import as_dict

        return as_dict(self)


def diagnose(
    study, sweep: Sweep, batch=(), *, bench: BenchSetup | None = None, folder: Path | None = None, book=None
) -> Diagnosis:
    """Say what is wrong with a unit.

    Parameters
    ----------
    study : Study
        Its first scenario counts where something is varied.
    sweep : Sweep
        Of the unit, on the bench of the study.
    batch : sequence of Sweep
        Of other units of the same batch on the same bench.
    bench : BenchSetup, optional
        Where the bench is known better than by the study; see :func:`sim.diagnosis.bench.bench_of`.
    folder : Path, optional
        Where simulated faults are kept for the next sweep: the study's results.
    book : FaultBook, optional
        The faults, where the caller has them open.

    Raises
    ------
    SweepError
        The sweep covers too little of what is compared.
    InputError
        The study cannot be simulated.
    """
    study = scenarios(study)[0].study
    if book is None:
        book = open_book(study, bench or bench_of(study), folder)
    places, observed = on_grid(book, sweep)
    ranking = rank(book, observed, places)
    verdict = "good" if ranking.good.passed else ("fault" if ranking.explained else "none of these")
    values: tuple[OtherValue, ...] = ()
    if verdict != "good":
        values = other_values(book, observed, places, ranking.most_misfit)
        if verdict == "fault":
            # Any value of any part has more ways to fit than a fault of the list.
            lead = ranking.groups[0].lead.likelihood
            values = tuple(one for one in values if one.likelihood > lead + MUCH_LESS)
        elif values:
            verdict = "another value"
    shift = None
    if batch:
        every = [on_grid(book, other) for other in (sweep, *batch)]
        common = np.array(sorted(set.intersection(*(set(own) for own, _ in every))), dtype=int)
        if len(common) >= FEWEST_POINTS:
            gains = np.array([gain[np.searchsorted(own, common)] for own, gain in every])
            lead = ranking.groups[0].lead.key if verdict == "fault" else GOOD.key
            shift = batch_shift(book, gains, common, study.bands.frequencies[0], lead)
    tests, oscillating = (), {}
    if verdict in ("fault", "none of these"):
        named = [member for group in ranking.groups[:SHOWN_GROUPS] for member in group.members]
        leading = [named[0], *(member for member in named[1:] if member.share > 1e-3)][:MOST_ASKED]
        items = [(book.fault(member.key), book.variables_at(member.z)) for member in leading]
        found = oscillations(book.people, items)
        oscillating = {member.key: at for member, at in zip(leading, found, strict=True) if at}
        among = [member for member in named if member.share > 1e-3]
        among.sort(key=lambda member: -member.share)
        known = ("return_loss",) if sweep.two_port is not None else ()
        tests = next_tests(book, tuple(among), study.bands.frequencies[0], known)
    return Diagnosis(
        verdict=verdict,
        ranking=ranking,
        tests=tests,
        shift=shift,
        undetectable=undetectable(book, places),
        failed=tuple(f"{book.fault(key).words} ({reason})" for key, reason in book.failed.items()),
        oscillating=oscillating,
        values=values,
    )


def on_grid(book: FaultBook, sweep: Sweep) -> tuple[np.ndarray, np.ndarray]:
    """Where a sweep can be compared, and its gain there.

    Parameters
    ----------
    book : FaultBook
    sweep : Sweep

    Returns
    -------
    places : int ndarray, shape (n_place,)
        Frequencies of the book that the sweep covers: no two of them between the same two of its points, whose noise
        they would share.
    observed : complex ndarray, shape (n_place,)

    Raises
    ------
    SweepError
    """
    own = sweep.freq_hz
    inside = np.flatnonzero((book.freq_hz >= own[0] * (1 - 1e-9)) & (book.freq_hz <= own[-1] * (1 + 1e-9)))
    # Of neighbours nearest to the same point of the sweep only the nearest is kept.
    nearest = np.array([int(np.abs(own - freq).argmin()) for freq in book.freq_hz[inside]], dtype=int)
    kept: dict[int, int] = {}
    for place, point in zip(inside, nearest, strict=True):
        rival = kept.get(point)
        if rival is None or abs(book.freq_hz[place] - own[point]) < abs(book.freq_hz[rival] - own[point]):
            kept[point] = int(place)
    places = np.array(sorted(kept.values()), dtype=int)
    if len(places) < FEWEST_POINTS:
        found = f"has {len(places)} usable points between 0.5 and 10 MHz; {FEWEST_POINTS} are needed to find a fault."
        raise SweepError(Wrong(sweep.file, None, None, found, "Sweep from 0.5 to 10 MHz with 50 points or more."))
    return places, sweep.gain_at(book.freq_hz[places])


def undetectable(book: FaultBook, places: np.ndarray | None = None) -> tuple[str, ...]:
    """Faults that more often than not pass for a good unit, in words.

    Parameters
    ----------
    book : FaultBook
    places : int ndarray, optional
        Of the frequencies that are swept; left out: all.
    """
    from sim.diagnosis.rank import hidden

    places = np.arange(len(book.freq_hz)) if places is None else places
    return tuple(book.fault(key).words for key in hidden(book, places))
