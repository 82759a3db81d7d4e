"""All faults of a study simulated on its bench, kept in a file so that the second sweep need not wait for them.

The file's name is a digest of everything its content follows from: the decks of all faults, the spreads, the bench and
the program's version. Its arrays are plain numbers and texts (npz), which nothing in it can make the program execute.
Every fault at nominal values is simulated at once, its sensitivities when a sweep comes near it.
"""

import contextlib
import hashlib
import zipfile
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from sim.diagnosis.bench import BenchSetup
from sim.diagnosis.faults import GOOD, Fault, single_faults
from sim.diagnosis.fit import Hypothesis, measurement_columns
from sim.diagnosis.responses import SWEEP, Seen, simulate
from sim.diagnosis.spread import Population, population
from sim.diagnosis.wrong import faulty_deck
from sim.engine.isolate import Failed
from sim.errors import BandfloorError, EngineError
from sim.tables import replace_file

FORMAT = 5
"""Raised whenever the same decks give other arrays."""
LARGEST_FILE = 200_000_000
"""Bytes of a file of this kind that is still read."""
_FIELDS = ("gain", "others", "s22", "current", "output_dc")


@dataclass(frozen=True)
class Bent:
    """A faulty unit with other values than the nominal ones.

    Attributes
    ----------
    seen : Seen
    at : ndarray, shape (n_variable + 1,)
        The values, in standard deviations; the fault's own size last.
    """

    seen: Seen
    at: np.ndarray


class FaultBook:
    """The faults of one study on one bench.

    Parameters
    ----------
    people : Population
    folder : Path or None
        Where to keep it; None: nowhere.

    Attributes
    ----------
    people : Population
    faults : tuple of Fault
        The good unit first.
    freq_hz : ndarray, shape (n_freq,)
    failed : dict of str to str
        Faults that could not be simulated, and why.
    """

    def __init__(self, people: Population, folder: Path | None = None):
        self.people = people
        self.faults = single_faults(people.chain.circuit)
        self.failed: dict[str, str] = {}
        self._nominal: dict[str, Seen] = {}
        self._sized: dict[str, Seen] = {}
        self._moved: dict[str, list[Seen]] = {}
        self._path = None if folder is None else Path(folder) / f"faults-{self._digest()}.npz"
        if not self._read():
            self._simulate_nominal()
        self.freq_hz = self._nominal[GOOD.key].freq_hz

    # ------------------------------------------------------------------ content

    def fault(self, key: str) -> Fault:
        """The fault of a key."""
        return next(fault for fault in self.faults if fault.key == key)

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys of all faults that could be simulated, the good unit first."""
        return tuple(fault.key for fault in self.faults if fault.key in self._nominal)

    def nominal(self, key: str) -> Seen:
        """A fault with everything else at nominal."""
        return self._nominal[key]

    def moved(self, key: str) -> list[Seen]:
        """The same with each variable of the population at one standard deviation; simulated where it was not."""
        self.prepare((key,))
        return self._moved[key]

    def known(self, key: str) -> bool:
        """Whether the sensitivities of a fault are there already."""
        return key in self._moved

    def prepare(self, keys) -> None:
        """Simulate the sensitivities of these faults, where they are not known, and keep them."""
        wanted = [key for key in dict.fromkeys(keys) if key not in self._moved]
        if not wanted:
            return
        names = [variable.name for variable in self.people.variables]
        found = simulate(self.people, [(self.fault(key), {name: 1.0}) for key in wanted for name in names])
        for place, key in enumerate(wanted):
            answers = found[place * len(names) : (place + 1) * len(names)]
            own, lost = self._nominal[key], [a for a in answers if isinstance(a, Failed)]
            if key == GOOD.key and lost:
                raise EngineError(f"a good unit did not simulate on the bench: {lost[0].reason}")
            # Of a faulty unit, a variable with which it does not simulate is taken to move nothing.
            self._moved[key] = [own if isinstance(answer, Failed) else answer for answer in answers]
        self._write()

    def hypothesis(self, key: str, places: np.ndarray, columns_of: str | None = None) -> Hypothesis:
        """A fault as an explanation of a sweep.

        Parameters
        ----------
        key : str
        places : int ndarray
            Of the frequencies that the sweep covers.
        columns_of : str, optional
            Take tolerances from this fault, for a first look without simulating them.
        """
        source = columns_of or key
        base = self._nominal[source].gain
        rows = [np.log(gain_ratio(seen.gain, base)) for seen in self.moved(source)]
        own = self._nominal[key]
        size = self._sized.get(key)
        rows.append(np.zeros_like(base) if size is None else np.log(gain_ratio(size.gain, own.gain)))
        shared = measurement_columns(self.freq_hz, self.people.bench, own.idle)
        return Hypothesis(own.gain[places], np.concatenate([rows, shared])[:, places])

    def variables_at(self, z: np.ndarray, most: float = 4.0) -> dict[str, float]:
        """Standard deviations by variable, for the simulator: no farther than `most`."""
        names = [variable.name for variable in self.people.variables] + ["size"]
        return {name: float(np.clip(value, -most, most)) for name, value in zip(names, z, strict=False)}

    def bent(self, key: str, z: np.ndarray, places: np.ndarray) -> tuple[Hypothesis, Bent] | None:
        """A fault as an explanation around other values of its parts than the nominal ones.

        Parameters
        ----------
        key : str
        z : ndarray
            Values, in standard deviations.
        places : int ndarray
            Of the frequencies that the sweep covers.

        Returns
        -------
        hypothesis, bent : Hypothesis, Bent
            Its gain and columns there; what was simulated. None where it does not simulate.
        """
        fault, at = self.fault(key), self.variables_at(z)
        # Half a standard deviation to both sides of where it stands: a resonance moves far with one.
        moves = [{**at, name: at[name] + side} for name in at for side in (-0.25, 0.25)]
        own, *around = simulate(self.people, [(fault, at), *((fault, move) for move in moves)])
        if isinstance(own, Failed) or any(isinstance(seen, Failed) for seen in around):
            return None
        pairs = zip(around[::2], around[1::2], strict=True)
        rows = [2 * np.log(gain_ratio(high.gain, low.gain)) for low, high in pairs]
        shared = measurement_columns(self.freq_hz, self.people.bench, own.idle)
        columns = np.concatenate([rows, shared])[:, places]
        return Hypothesis(own.gain[places], columns), Bent(own, np.array(list(at.values())))

    # ------------------------------------------------------------------ simulating and keeping

    def _simulate_nominal(self) -> None:
        loose = [fault for fault in self.faults if fault.loose > 0]
        items = [(fault, {}) for fault in self.faults] + [(fault, {"size": 1.0}) for fault in loose]
        found = simulate(self.people, items)
        for (fault, z), answer in zip(items, found, strict=True):
            if isinstance(answer, Failed):
                if not z:
                    self.failed[fault.key] = answer.reason
            else:
                (self._sized if z else self._nominal)[fault.key] = answer
        if GOOD.key not in self._nominal:
            raise EngineError(f"the nominal unit did not simulate on the bench: {self.failed[GOOD.key]}")
        for key in self.failed:
            self._sized.pop(key, None)
        self._write()

    def _digest(self) -> str:
        told = [repr((FORMAT, SWEEP, asdict(self.people.bench), self.people.variables))]
        for fault in self.faults:
            told += [repr(fault), *faulty_deck(self.people.chain, self.people.nominal, fault).lines]
        return hashlib.blake2b("\n".join(told).encode(), digest_size=12).hexdigest()

    def _write(self) -> None:
        if self._path is None:
            return
        arrays = {
            "freq_hz": self._nominal[GOOD.key].freq_hz,
            "failed": np.array([f"{key}\n{reason}" for key, reason in self.failed.items()], dtype=str),
        }
        for name, table in (("nominal", self._nominal), ("sized", self._sized)):
            arrays |= _packed(name, list(table), list(table.values()))
        rows = [seen for seens in self._moved.values() for seen in seens]
        if rows:
            arrays |= _packed("moved", list(self._moved), rows)
        # A place that cannot be written costs time at the next sweep and nothing else.
        with contextlib.suppress(BandfloorError), replace_file(self._path) as file:
            np.savez(file, **arrays)

    def _read(self) -> bool:
        path = self._path
        try:
            if path is None or not path.is_file() or path.stat().st_size > LARGEST_FILE:
                return False
            with np.load(path, allow_pickle=False) as arrays:
                self.failed = dict(str(text).split("\n", 1) for text in arrays["failed"])
                self._nominal = {key: seens[0] for key, seens in _unpacked("nominal", arrays).items()}
                self._sized = {key: seens[0] for key, seens in _unpacked("sized", arrays).items()}
                self._moved = _unpacked("moved", arrays) if "moved_keys" in arrays else {}
        except (OSError, ValueError, KeyError, IndexError, zipfile.BadZipFile, EOFError):
            # A damaged file is one that is not there.
            self.failed, self._nominal, self._sized, self._moved = {}, {}, {}, {}
            return False
        whole = {fault.key for fault in self.faults} <= self._nominal.keys() | self.failed.keys()
        count = len(self.people.variables)
        return whole and GOOD.key in self._nominal and all(len(seens) == count for seens in self._moved.values())


def open_book(study, bench: BenchSetup, folder: Path | None = None) -> FaultBook:
    """The faults of a study, read or simulated.

    Parameters
    ----------
    study : Study
        Of one scenario.
    bench : BenchSetup
    folder : Path, optional
        Where to keep them.
    """
    return FaultBook(population(study, bench), folder)


def _packed(name: str, keys: list[str], rows: list[Seen]) -> dict:
    arrays = {f"{name}_keys": np.array(keys, dtype=str), f"{name}_idle": np.array([seen.idle for seen in rows])}
    return arrays | {f"{name}_{field}": np.array([getattr(seen, field) for seen in rows]) for field in _FIELDS}


def _unpacked(name: str, arrays) -> dict[str, list[Seen]]:
    keys, freq_hz = [str(key) for key in arrays[f"{name}_keys"]], arrays["freq_hz"]
    columns = [arrays[f"{name}_{field}"] for field in _FIELDS]
    idle = arrays[f"{name}_idle"]
    rows = [
        Seen(freq_hz, gain, others, s22, float(current), float(volts), bool(at))
        for gain, others, s22, current, volts, at in zip(*columns, idle, strict=True)
    ]
    if any(len(seen.gain) != len(freq_hz) for seen in rows):
        raise ValueError("another number of frequencies")
    each = len(rows) // len(keys) if keys else 0
    return {key: rows[place * each : (place + 1) * each] for place, key in enumerate(keys)}


def gain_ratio(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Quotient of two gains; 1 where there is no signal at all.

    Parameters
    ----------
    a, b : complex ndarray, same shape
    """
    nothing = (np.abs(a) < 1e-12) | (np.abs(b) < 1e-12)
    return np.where(nothing, 1.0, a / np.where(nothing, 1.0, b))
