"""A unit against its own first record: how far it has moved, and whether that is more than two measurements differ."""

import datetime
from dataclasses import dataclass

import numpy as np

from sim.diagnosis.bench import BenchSetup
from sim.diagnosis.fit import NEPER_DB
from sim.inspection.ready import Ready
from sim.inspection.records import Record

SIGMAS = 3.0
"""Standard deviations of the difference of two sweeps from which a change is one; common practice (3 sigma)."""
_SAME_DUMMY = 0.002


@dataclass(frozen=True)
class Change:
    """One sweep against the unit's first.

    Attributes
    ----------
    date : datetime.date
    freq_hz : tuple of float
        The study's bands that both sweeps cover.
    gain_db, phase_deg : tuple of float
        At these frequencies.
    """

    date: datetime.date
    freq_hz: tuple[float, ...]
    gain_db: tuple[float, ...]
    phase_deg: tuple[float, ...]


@dataclass(frozen=True)
class Drift:
    """A unit over time.

    Attributes
    ----------
    since : datetime.date
        Of the first record.
    changes : tuple of Change
        The first record (no change) first, the sweep of now last.
    gain_limit_db, phase_limit_deg : float
        Changes that two good measurements may show.
    other_bench : bool
        Whether the first record was made with another dummy or other ports.
    """

    since: datetime.date
    changes: tuple[Change, ...]
    gain_limit_db: float
    phase_limit_deg: float
    other_bench: bool

    @property
    def moved(self) -> bool:
        """Whether the sweep of now differs by more than measurement."""
        last = self.changes[-1]
        gain, phase = np.abs(last.gain_db).max(initial=0.0), np.abs(last.phase_deg).max(initial=0.0)
        return bool(gain > self.gain_limit_db or phase > self.phase_limit_deg)


def drift(
    records: list[tuple[Record, Ready]], ready: Ready, date: datetime.date, bench: BenchSetup, bands_hz
) -> Drift | None:
    """A unit since its first record.

    Parameters
    ----------
    records : list of (Record, Ready)
        Of the unit, oldest first, and each as this bench would have seen it.
    ready : Ready
        The sweep of now.
    date : datetime.date
        Of it.
    bench : BenchSetup
    bands_hz : sequence of float
        [Hz]

    Returns
    -------
    drift : Drift or None
        None without an older record, or where one of them covers no band of the first.
    """
    if not records:
        return None
    sweeps = [(record.date, own.sweep) for record, own in records]
    sweeps.append((date, ready.sweep))
    first = sweeps[0][1]
    changes = []
    for when, sweep in sweeps:
        shared = [f for f in bands_hz if all(_reaches(one, f) for one in (first, sweep))]
        if shared:
            ratio = sweep.gain_at(shared) / first.gain_at(shared)
            level, turn = 20 * np.log10(np.abs(ratio)), np.rad2deg(np.angle(ratio))
            changes.append(Change(when, tuple(map(float, shared)), tuple(level.tolist()), tuple(turn.tolist())))
    if len(changes) < len(sweeps):
        return None
    level = np.hypot(bench.gain_sigma_db, bench.level_sigma_db)
    turn = np.hypot(bench.phase_sigma_deg, np.rad2deg(bench.level_sigma_db / NEPER_DB))
    oldest = records[0][0]
    return Drift(
        since=oldest.date,
        changes=tuple(changes),
        gain_limit_db=float(SIGMAS * np.sqrt(2) * level),
        phase_limit_deg=float(SIGMAS * np.sqrt(2) * turn),
        other_bench=_other(oldest, bench),
    )


def _reaches(sweep, freq_hz: float) -> bool:
    return sweep.freq_hz[0] * (1 - 1e-9) <= freq_hz <= sweep.freq_hz[-1] * (1 + 1e-9)


def _other(record: Record, bench: BenchSetup) -> bool:
    if record.dummy is None:
        return False
    pairs = ((record.dummy, bench.dummy), (record.source, bench.source), (record.load, bench.load))
    return any(abs(a / b - 1) > _SAME_DUMMY for a, b in pairs if b)
