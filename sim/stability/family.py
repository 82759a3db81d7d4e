"""All feedlines that a design is judged against, and what the judging of every unit has in common.

A load is a line with its far end. Seen through what stands before the line (a bias tee, or nothing) it is a reflection
Γ = Γ_end exp(−2 γ l) against the line's own impedance. How large Γ is changes slowly with frequency; how it turns
depends on the length. So a table holds sizes on a coarse grid, on which bounds are computed, and turns on a dense one,
of which only the parts that bounds leave open are looked at.
"""

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from sim.constants import T0
from sim.feedline.cable import Cable
from sim.feedline.ends import OnePort, end_impedance, reflection
from sim.feedline.line import characteristic
from sim.feedline.route import Route, Section
from sim.feedline.tee import Tee
from sim.stability.kinds import Kinds, find_kinds

OWN = "own feedline"
"""Name of the study's own feedline among the others."""
POINTS_A_DECADE, FEW_A_DECADE = 20, 5
"""Of the grid of bounds, above and below :data:`FINE_FROM_HZ`."""
FINE_FROM_HZ = 1e4
POINTS_A_TURN = 24
"""Dense points for each turn of a line's reflection, that is for each half wave of its length."""
SMALLEST_REFLECTION = 0.02
"""Reflections that are smaller than this after the way there and back no longer turn the locus. [1]"""
SECTIONS_REFLECTION = 1.1
"""Bound of what several sections reflect against the first one's complex impedance. [1]"""
ROOM = 0.5
"""A bound may fall, and a radius may rise, inside a cell by this share of its change across it. [1]"""
_WAVE_LOW_HZ, _WAVE_HIGH_HZ, _WAVE_POINTS = 1.0, 1e11, 11 * 384 + 1


@dataclass(frozen=True)
class Line:
    """One feedline, without its far end.

    Attributes
    ----------
    name : str
        As tables and words call it; the cable's, or the study's own for several sections.
    sections : tuple of Section
        From the amplifier; empty for a connector without a line.
    at_amplifier, at_receiver : Tee or None
    z0 : float
        Nominal impedance that far ends are shares of. [Ω]
    """

    name: str
    sections: tuple[Section, ...]
    at_amplifier: Tee | None
    at_receiver: Tee | None
    z0: float

    @property
    def length(self) -> float:
        """Of all sections. [m]"""
        return sum(section.length for section in self.sections)


@dataclass(frozen=True)
class Load:
    """A line with its far end.

    Attributes
    ----------
    line : Line
    cable : Cable
        First after the amplifier; of a connector without a line, the one that was pulled off.
    end : str or OnePort
    """

    line: Line
    cable: Cable
    end: "str | OnePort"

    @property
    def end_name(self) -> str:
        """A word of :data:`sim.feedline.ends.WORDS`, or the file's name."""
        return self.end.name if isinstance(self.end, OnePort) else self.end


def loads_of(
    cables: tuple[Cable, ...],
    lengths: tuple[float, ...],
    ends: "tuple[str | OnePort, ...]",
    own: Route | None = None,
) -> tuple[Load, ...]:
    """Every cable × length × far end, then the study's own feedline.

    Parameters
    ----------
    cables, lengths, ends
        Lengths above zero. [m]
    own : Route or None
        The study's own feedline; its bias tees stand in the way of every cable.

    Returns
    -------
    loads : tuple of Load
        With the end ``unplugged`` also one of no length for each cable: the plug pulled off the amplifier.
    """
    near, far = (own.at_amplifier, own.at_receiver) if own else (None, None)
    found = []
    for cable in cables:
        for length in lengths:
            line = Line(cable.name, (Section(cable, length),), near, far, cable.z0)
            found += [Load(line, cable, end) for end in ends]
        if "unplugged" in ends:
            found.append(Load(Line(cable.name, (), near, far, cable.z0), cable, "unplugged"))
    if own:
        sections = tuple(section for section in own.sections if section.length > 0)
        if sections:
            line = Line(OWN, sections, near, far, sections[-1].cable.z0)
            found += [Load(line, sections[0].cable, end) for end in ends]
    return tuple(found)


def grid(low_hz: float, high_hz: float, more_hz=()) -> np.ndarray:
    """Frequencies on which a plane is looked at, before points are added where it turns quickly. [Hz]"""

    def even(low, high, points):
        return np.geomspace(low, high, int(np.ceil(np.log10(high / low) * points)) + 1)

    start = max(FINE_FROM_HZ, low_hz)
    fine = even(start, high_hz, POINTS_A_DECADE)
    coarse = even(low_hz, FINE_FROM_HZ, FEW_A_DECADE)[:-1] if low_hz < FINE_FROM_HZ else fine[:0]
    inside = [f for f in more_hz if low_hz < f < high_hz]
    return np.union1d(np.concatenate([coarse, fine]), inside)


@dataclass(frozen=True)
class Group:
    """Loads behind the same tee and cable.

    Attributes
    ----------
    loads : slice
        Of the table's.
    u0, u1, v0, v1 : complex ndarray, shape (n_freq,)
        The plane's admittance is (v0 + v1 Γ)/(u0 + u1 Γ).
    """

    loads: slice
    u0: np.ndarray
    u1: np.ndarray
    v0: np.ndarray
    v1: np.ndarray


@dataclass(frozen=True)
class Table:
    """What judging any unit on these loads has in common.

    Attributes
    ----------
    loads : tuple of Load
    freq_hz : ndarray, shape (n_freq,)
        Ends of the cells. [Hz]
    groups : tuple of Group
        Of each run of loads that stand one after the other.
    view_of, row_of : int ndarray, shape (n_load,)
        Number of what stands before the line, the same for all groups behind the same tee and cable, and row of
        `starts` and of the line's dense points, of each load.
    radius : ndarray, shape (n_load, n_freq)
        Bound of |Γ|. [1]
    ends : complex ndarray, shape (n_load, n_freq)
        Γ of the far end; 1 where the dense points hold it.
    lengths : ndarray, shape (n_load,)
        Of lines of one section; 0 for the others. [m]
    several : bool ndarray, shape (n_load,)
        Whether the line has several sections, so that its dense points hold all of Γ.
    starts : int ndarray, shape (n_line, n_freq)
        Where each cell's dense points begin among all; a cell's own end point is its last.
    phase : ndarray, shape (n_line, n_freq)
        Turns that each line's reflection has made from zero frequency. [1]
    dense_hz, cell, share, turn : ndarray, shape (n_dense,)
        Frequency [Hz], cell, place within it in the logarithm of frequency, and exp(−2 γ l) of all lines in turn.
    """

    loads: tuple[Load, ...]
    freq_hz: np.ndarray
    groups: tuple[Group, ...]
    view_of: np.ndarray
    row_of: np.ndarray
    radius: np.ndarray
    ends: np.ndarray
    lengths: np.ndarray
    several: np.ndarray
    starts: np.ndarray
    phase: np.ndarray
    dense_hz: np.ndarray
    cell: np.ndarray
    share: np.ndarray
    turn: np.ndarray

    @cached_property
    def beginnings(self) -> np.ndarray:
        """Γ of each load at the two lowest frequencies, complex, shape (n_load, 2)."""
        return self.ends[:, :2] * self.turn[self.starts[self.row_of, :2]]

    @cached_property
    def end_steps(self) -> np.ndarray:
        """Change of `ends` across each cell, complex, shape (n_load, n_freq − 1)."""
        return np.diff(self.ends, axis=1)

    @cached_property
    def on_grid(self) -> np.ndarray:
        """Γ of each load on the grid, complex64, shape (n_load, n_freq)."""
        return (self.ends * self.turn[self.starts[self.row_of]]).astype(np.complex64)

    @cached_property
    def endings(self) -> np.ndarray:
        """Γ of each load at the highest frequency, complex, shape (n_load,)."""
        return self.ends[:, -1] * self.turn[self.starts[self.row_of, -1]]

    @cached_property
    def together(self) -> Group:
        """What stands before any of the lines, each once: arrays of shape (n_view, n_freq)."""
        first = {int(self.view_of[g.loads.start]): g for g in reversed(self.groups)}
        each = [first[number] for number in sorted(first)]
        u0, u1, v0, v1 = (np.array([vars(g)[name] for g in each]) for name in ("u0", "u1", "v0", "v1"))
        return Group(slice(0, len(self.loads)), u0, u1, v0, v1)

    def _largest(self, sizes: np.ndarray) -> np.ndarray:
        return np.array([sizes[self.view_of == number].max(axis=0) for number in range(len(self.together.u0))])

    @cached_property
    def most(self) -> np.ndarray:
        """Largest reflection on the grid, shape (n_view, n_freq)."""
        # A bound above one would find a zero on every circuit at the lowest frequencies, where no line turns.
        return self._largest(np.where(self.several[:, None], np.abs(self.on_grid), self.radius))

    @cached_property
    def most_in_cells(self) -> tuple[np.ndarray, np.ndarray]:
        """Largest radius at the ends of each cell, and inside it, shape (n_view, n_freq − 1)."""
        low, high = self.radius[:, :-1], self.radius[:, 1:]
        ends = np.maximum(low, high)
        return self._largest(ends), self._largest(ends + ROOM * np.abs(high - low))

    @cached_property
    def kinds(self) -> Kinds:
        """Which loads no bound can tell apart."""
        return find_kinds(self.radius, self.view_of, self.several, self.lengths, self.phase[self.row_of])

    def reflections(self, loads: np.ndarray, freq_hz: np.ndarray) -> np.ndarray:
        """Γ of some loads, each at frequencies of its own.

        Parameters
        ----------
        loads : int ndarray, shape (n,)
            All of one group.
        freq_hz : ndarray, shape (n, n_freq)

        Returns
        -------
        reflection : complex ndarray, shape (n, n_freq)
            Ends are interpolated between the table's frequencies, lines are exact.
        """
        gamma, _ = wave(self.loads[loads[0]].cable, freq_hz.ravel())
        cell = (np.searchsorted(self.freq_hz, freq_hz, side="right") - 1).clip(0, len(self.freq_hz) - 2)
        share = np.log(freq_hz / self.freq_hz[cell]) / np.log(self.freq_hz[cell + 1] / self.freq_hz[cell])
        end, row = self.ends, np.asarray(loads)[:, None]
        found = end[row, cell] + (end[row, cell + 1] - end[row, cell]) * share
        found *= np.exp(-2 * gamma.reshape(freq_hz.shape) * self.lengths[loads][:, None])
        for place in np.nonzero(self.several[loads])[0]:
            found[place] = exact_reflection(self.loads[loads[place]], freq_hz[place])
        return found


@lru_cache(maxsize=2)
def table_of(loads: tuple[Load, ...], freq_hz: tuple[float, ...]) -> Table:
    """The table of any grid, kept for a while: several units may share it.

    Parameters
    ----------
    loads : tuple of Load
    freq_hz : tuple of float
        From :func:`grid`. [Hz]
    """
    return build_table(loads, np.array(freq_hz))


def build_table(loads: tuple[Load, ...], freq_hz: np.ndarray) -> Table:
    """The table of any grid; arguments as for :func:`table_of`."""
    order, firsts = list(loads), []
    keys = [(load.cable, load.line.at_amplifier) for load in order]
    groups, view_of, seen = [], np.empty(len(order), dtype=int), list(dict.fromkeys(keys))
    for i, key in enumerate(keys):
        if i == 0 or keys[i - 1] != key:
            firsts.append(i)
    for first, last in zip(firsts, [*firsts[1:], len(order)], strict=True):
        groups.append(group_at(order[first], freq_hz, slice(first, last)))
        view_of[first:last] = seen.index(keys[first])
    lines: dict = {}
    row_of, ends, radius = np.empty(len(order), dtype=int), [], []
    for i, load in enumerate(order):
        several = len(load.line.sections) > 1
        # Several sections reflect among themselves: their dense points hold all of Γ.
        key = (view_of[i], load if several else load.line.length)
        row_of[i] = lines.setdefault(key, (len(lines), load))[0]
        if several:
            ends.append(np.ones(len(freq_hz), dtype=complex))
            radius.append(np.full(len(freq_hz), SECTIONS_REFLECTION))
            continue
        gamma, zc = wave(load.cable, freq_hz)
        end = reflection(end_impedance(load.end, load.line.z0, load.line.at_receiver, freq_hz), zc)
        ends.append(end)
        radius.append(np.abs(end) * np.exp(-2 * gamma.real * load.line.length))
    starts, dense = [], []
    for _, load in lines.values():
        found = _dense(load, freq_hz)
        before = sum(len(d[1]) for d in dense)
        starts.append(found[0] + before)
        dense.append(found[1:])
    return Table(
        loads=tuple(order),
        freq_hz=freq_hz,
        groups=tuple(groups),
        view_of=view_of,
        row_of=row_of,
        # Bounds need no more digits.
        radius=np.array(radius, dtype=np.float32),
        ends=np.array(ends),
        lengths=np.array([0.0 if len(load.line.sections) > 1 else load.line.length for load in order]),
        several=np.array([len(load.line.sections) > 1 for load in order]),
        starts=np.array(starts),
        phase=np.array([d[0] for d in dense]),
        dense_hz=np.concatenate([d[1] for d in dense]),
        cell=np.concatenate([d[2] for d in dense]),
        share=np.concatenate([d[3] for d in dense]),
        turn=np.concatenate([d[4] for d in dense]),
    )


def wave(cable: Cable, freq_hz: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Propagation constant [1/m] and impedance [Ω] of a cable, interpolated on one fixed grid.

    Bessel functions at every frequency asked for would cost more than all else; both are smooth, and linear
    interpolation leaves 1e-6.
    """
    both = _waves(cable)
    place = np.log(freq_hz / _WAVE_LOW_HZ) * ((_WAVE_POINTS - 1) / np.log(_WAVE_HIGH_HZ / _WAVE_LOW_HZ))
    low = place.astype(int)
    found = both[low] + (both[low + 1] - both[low]) * (place - low)[:, None]
    return 2j * np.pi * freq_hz * found[:, 0], found[:, 1]


@lru_cache(maxsize=32)
def _waves(cable: Cable) -> np.ndarray:
    known_hz = np.geomspace(_WAVE_LOW_HZ, _WAVE_HIGH_HZ, _WAVE_POINTS)
    gamma, zc = characteristic(cable, known_hz, T0)
    return np.stack([gamma / (2j * np.pi * known_hz), zc], -1)


def group_at(load: Load, freq_hz: np.ndarray, loads: slice = slice(0, 0)) -> Group:
    """What stands between the plane and a load's reflection, at some frequencies. [Hz]"""
    _, zc = wave(load.cable, freq_hz)
    one, tee = np.ones(len(freq_hz), dtype=complex), load.line.at_amplifier
    if tee is None:
        return Group(loads, zc, zc, one, -one)
    matrix = tee.amplifier_end(freq_hz)
    a, b, c, d = matrix[:, 0, 0], matrix[:, 0, 1], matrix[:, 1, 0], matrix[:, 1, 1]
    return Group(loads, a * zc + b, a * zc - b, c * zc + d, c * zc - d)


def exact_reflection(load: Load, freq_hz: np.ndarray) -> np.ndarray:
    """Γ at the line's beginning, section by section from the far end."""
    sections = load.line.sections
    last = sections[-1].cable if sections else load.cable
    impedance = end_impedance(load.end, load.line.z0, load.line.at_receiver, freq_hz)
    gamma, zc = wave(last, freq_hz)
    found = reflection(impedance, zc)
    for k in range(len(sections) - 1, -1, -1):
        gamma, zc = wave(sections[k].cable, freq_hz)
        if k < len(sections) - 1:
            found = reflection(impedance, zc)
        found = found * np.exp(-2 * gamma * sections[k].length)
        if k:
            with np.errstate(divide="ignore", invalid="ignore"):
                impedance = zc * (1 + found) / (1 - found)
    return found


def _dense(load: Load, freq_hz: np.ndarray):
    """Starts of the cells and turns at them, then frequency, cell, place in it and turn of a line's dense points."""
    sections = load.line.sections
    decay, phase = np.zeros(len(freq_hz)), np.zeros(len(freq_hz))
    for section in sections:
        gamma, _ = wave(section.cable, freq_hz)
        decay = decay + 2 * gamma.real * section.length
        phase = phase + 2 * gamma.imag * section.length
    if len(sections) > 1:
        decay = 2 * wave(sections[0].cable, freq_hz)[0].real * sections[0].length
    phase = phase / (2 * np.pi)
    turns = np.diff(phase)
    heard = np.exp(-decay[:-1]) > SMALLEST_REFLECTION
    counts = np.where(heard, np.ceil(turns * POINTS_A_TURN), 1).astype(int).clip(1)
    starts = np.concatenate([[0], np.cumsum(counts)])
    cell = np.repeat(np.arange(len(counts)), counts)
    share = (np.arange(starts[-1]) - starts[cell]) / counts[cell]
    # One point more closes the last cell.
    cell, share = np.append(cell, len(counts) - 1), np.append(share, 1.0)
    dense_hz = freq_hz[cell] * (freq_hz[cell + 1] / freq_hz[cell]) ** share
    dense_hz[-1] = freq_hz[-1]
    if len(sections) > 1:
        turn = exact_reflection(load, dense_hz)
    elif sections:
        gamma, _ = wave(sections[0].cable, dense_hz)
        turn = np.exp(-2 * gamma * sections[0].length)
    else:
        turn = np.ones(len(dense_hz), dtype=complex)
    return starts, phase, dense_hz, cell, share, turn
