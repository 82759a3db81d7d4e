"""Good units as this bench would show them: many builds of a study, each through the bench with its uncertainties.

Every unit comes from a build of its own, so that lots count as often as units do. The bench is drawn with it: dummy,
stray and both ports, each within its uncertainty. All of it is kept in a file whose name is a digest of everything it
follows from, so that the second sweep need not wait.
"""

import contextlib
import hashlib
import zipfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sim.deck.build import unit_table, unit_values
from sim.diagnosis.bench import BenchSetup
from sim.diagnosis.faults import GOOD
from sim.diagnosis.oscillation import oscillations
from sim.diagnosis.responses import SWEEP, BenchWorker, Seen
from sim.diagnosis.spread import BENCH_VARIABLES, Population, population
from sim.diagnosis.wrong import faulty_deck
from sim.engine.isolate import Failed, isolated
from sim.errors import BandfloorError, EngineError
from sim.inspection.setups import Setup, wrong_setups
from sim.tables import replace_file

FORMAT = 2
"""Raised whenever the same decks give other arrays."""
UNITS = 500
LARGEST_FILE = 200_000_000
"""Bytes of a file of this kind that is still read."""


@dataclass(frozen=True)
class Cloud:
    """Good units on a bench.

    Attributes
    ----------
    bench : BenchSetup
    freq_hz : ndarray, shape (n_freq,)
        0.5 to 10 MHz. [Hz]
    nominal, nominal_match : complex ndarray, shape (n_freq,)
        S21 of the nominal unit, and S22 against the analyser's port.
    gain, match : complex ndarray, shape (n_unit, n_freq)
        The same of all drawn units that could be simulated.
    failed : int
        Units that could not be.
    setups : tuple of Setup
        Mistakes in the set-up that are tried.
    mistaken : complex ndarray, shape (n_setup, n_freq)
        S21 of the nominal unit with each of them.
    oscillates_hz : float
        Where the nominal unit oscillates on the bench; 0 where it does not, NaN where that is not known. [Hz]
    """

    bench: BenchSetup
    freq_hz: np.ndarray
    nominal: np.ndarray
    nominal_match: np.ndarray
    gain: np.ndarray
    match: np.ndarray
    failed: int
    setups: tuple[Setup, ...]
    mistaken: np.ndarray
    oscillates_hz: float = 0.0


def good_units(study, bench: BenchSetup, count: int = UNITS, folder: Path | None = None) -> Cloud:
    """Good units of a scenario on a bench, read or simulated.

    Parameters
    ----------
    study : Study
        Of the scenario.
    bench : BenchSetup
    count : int
        Units to draw beside the nominal one.
    folder : Path, optional
        Where to keep them.

    Raises
    ------
    EngineError
        The nominal unit does not simulate on the bench, or more than one unit in twenty does not.
    InputError
        The study cannot be simulated.
    """
    people, setups = population(study, bench), wrong_setups(bench)
    units = 1 + study.run.build * np.arange(count)
    indoors = study.run.model_copy(update={"temperature": bench.temperature_c})
    drawn = unit_table(study.model_copy(update={"run": indoors}), people.chain, units)
    benches = _benches(people, study.run.seed, count)
    path = None
    if folder is not None:
        path = Path(folder) / f"good-{_digest(people, drawn, benches, setups)}.npz"
    arrays = _read(path)
    if arrays is None:
        arrays = _simulated(people, drawn, units, benches, setups)
        _write(path, arrays)
    oscillates_hz = float(arrays.pop("oscillates_hz"))
    failed = count - len(arrays["gain"])
    return Cloud(bench=bench, setups=setups, failed=failed, oscillates_hz=oscillates_hz, **arrays)


def _benches(people: Population, seed: int, count: int) -> list[BenchSetup]:
    """A bench for each unit: the dummy anywhere within its tolerance, all else normally distributed."""
    rng = np.random.default_rng([seed, 0x62656E63])
    dummies = rng.uniform(-np.sqrt(3), np.sqrt(3), count)
    others = rng.standard_normal((count, len(BENCH_VARIABLES) - 1))
    return [
        people.bench_at(dict(zip(BENCH_VARIABLES, (dummy, *rest), strict=True)))
        for dummy, rest in zip(dummies, others, strict=True)
    ]


def _digest(people: Population, drawn: dict, benches, setups) -> str:
    told = hashlib.blake2b(digest_size=12)
    told.update(repr((FORMAT, SWEEP, people.bench, benches, setups)).encode())
    told.update("\n".join(faulty_deck(people.chain, people.nominal, GOOD).lines).encode())
    for name, column in sorted(drawn.items()):
        told.update(name.encode() + np.ascontiguousarray(column, dtype=float).tobytes())
    return told.hexdigest()


def _simulated(people: Population, drawn: dict, units: np.ndarray, benches, setups) -> dict:
    items = [(people.nominal, people.bench), *((people.nominal, setup.bench) for setup in setups)]
    items += [
        (unit_values(people.chain, drawn, row, int(unit)), bench)
        for row, (unit, bench) in enumerate(zip(units, benches, strict=True))
    ]
    found = [answer for _, answer in isolated(_Maker(people), items)]
    known, rest = found[: 1 + len(setups)], found[1 + len(setups) :]
    lost = [answer for answer in known if isinstance(answer, Failed)]
    if lost:
        raise EngineError(f"the nominal unit did not simulate on the bench: {lost[0].reason}")
    good: list[Seen] = [answer for answer in rest if not isinstance(answer, Failed)]
    if len(good) < 0.95 * len(rest):
        reason = next(answer.reason for answer in rest if isinstance(answer, Failed))
        raise EngineError(f"{len(rest) - len(good)} of {len(rest)} units did not simulate on the bench: {reason}")
    (oscillates,) = oscillations(people, [(GOOD, {})])
    return {
        "freq_hz": known[0].freq_hz,
        "nominal": known[0].gain,
        "nominal_match": known[0].s22,
        "mistaken": np.array([seen.gain for seen in known[1:]]),
        "gain": np.array([seen.gain for seen in good]),
        "match": np.array([seen.s22 for seen in good]),
        "oscillates_hz": np.array(np.nan if oscillates is None else oscillates),
    }


class _Maker:
    def __init__(self, people: Population):
        self._people = people

    def __call__(self):
        worker = BenchWorker(self._people)
        return lambda item: worker.seen(GOOD, *item)


_NAMES = ("freq_hz", "nominal", "nominal_match", "mistaken", "gain", "match")


def _write(path: Path | None, arrays: dict) -> None:
    # A place that cannot be written costs time at the next sweep and nothing else.
    if path is not None:
        with contextlib.suppress(BandfloorError), replace_file(path) as file:
            np.savez_compressed(file, **arrays)


def _read(path: Path | None) -> dict | None:
    try:
        if path is None or not path.is_file() or path.stat().st_size > LARGEST_FILE:
            return None
        with path.open("rb") as file, np.load(file, allow_pickle=False) as arrays:
            found = {name: arrays[name] for name in _NAMES}
            oscillates_hz = arrays["oscillates_hz"]
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        return None  # a damaged file is one that is not there
    points = found["freq_hz"].shape
    whole = all(array.shape[-1:] == points and np.all(np.isfinite(array)) for array in found.values())
    if not whole or found["gain"].ndim != 2 or oscillates_hz.shape != ():
        return None
    return found | {"oscillates_hz": oscillates_hz}
