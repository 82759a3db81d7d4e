"""Which op-amps of the catalogue do for a board, and what the others lack."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sim.opamp.catalogue import OpampRecord
from sim.quantity import format_quantity


@dataclass(frozen=True)
class Wish:
    """What an op-amp must do; None and () ask for nothing.

    Attributes
    ----------
    supply : (float, float) or None
        Lowest and highest voltage between its supply pins. [V]
    technology : tuple of str
        Words that must stand in its technology; a word behind "no" must not. Any case.
    gain : float or None
        Noise gain of the circuit, in which it must be stable. [1]
    noise, current_noise : float or None
        Most white voltage noise [V/√Hz], and most white current noise of each input [A/√Hz].
    bandwidth : float or None
        Least gain-bandwidth product. [Hz]
    """

    supply: tuple[float, float] | None = None
    technology: tuple[str, ...] = ()
    gain: float | None = None
    noise: float | None = None
    current_noise: float | None = None
    bandwidth: float | None = None


@dataclass(frozen=True)
class Miss:
    """One wish that a part does not keep.

    Attributes
    ----------
    option : str
        Which wish, a field of :class:`Wish`.
    by : float
        How far, as a factor of 1 or more; infinite where there is no near and far. [1]
    told : str
        In words.
    """

    option: str
    by: float
    told: str


@dataclass(frozen=True)
class Choice:
    """What came of a wish: parts that fit; of each other part its misses; how many parts each wish leaves out."""

    fitting: tuple[OpampRecord, ...]
    missing: tuple[tuple[OpampRecord, tuple[Miss, ...]], ...]
    left_out: dict[str, int]


def choose(records: Sequence[OpampRecord], wish: Wish) -> Choice:
    """Parts that keep every wish, and the others by how near they come: fewest misses first, then the smallest.

    Parameters
    ----------
    records : sequence of OpampRecord
    wish : Wish
    """
    missed = [(record, misses(record, wish)) for record in records]
    others = [(record, found) for record, found in missed if found]
    others.sort(key=lambda entry: (len(entry[1]), math.prod(miss.by for miss in entry[1])))
    left_out: dict[str, int] = {}
    for _, found in others:
        for miss in found:
            left_out[miss.option] = left_out.get(miss.option, 0) + 1
    return Choice(tuple(record for record, found in missed if not found), tuple(others), left_out)


def misses(record: OpampRecord, wish: Wish) -> tuple[Miss, ...]:
    """Every wish that a part does not keep."""
    found = [_supply(record, wish), _technology(record, wish)]
    if wish.gain is not None and record.min_stable_gain > wish.gain:
        told = f"stable from gain {record.min_stable_gain:g}, asked {wish.gain:g}"
        found.append(Miss("gain", record.min_stable_gain / wish.gain, told))
    for option, value, most, scale, unit in (
        ("noise", record.en, wish.noise, 1e9, "nV/√Hz"),
        ("current_noise", record.inoise, wish.current_noise, 1e12, "pA/√Hz"),
    ):
        if most is not None and value > most:
            told = f"{value * scale:.3g} {unit}, asked {most * scale:.3g}"
            found.append(Miss(option, value / most if most else math.inf, told))
    if wish.bandwidth is not None and record.gbw_hz < wish.bandwidth:
        told = f"{format_quantity(record.gbw_hz, 'Hz', 3)}, asked {format_quantity(wish.bandwidth, 'Hz', 3)}"
        found.append(Miss("bandwidth", wish.bandwidth / record.gbw_hz, told))
    return tuple(miss for miss in found if miss is not None)


def _supply(record: OpampRecord, wish: Wish) -> Miss | None:
    if wish.supply is None:
        return None
    low, high = wish.supply
    if record.supply_min <= low and high <= record.supply_max:
        return None
    asked = f"{low:g} V" if low == high else f"{low:g} to {high:g} V"
    by = max(record.supply_min / low if low else math.inf, high / record.supply_max)
    return Miss("supply", by, f"made for {record.supply_min:g} to {record.supply_max:g} V, asked {asked}")


def _technology(record: OpampRecord, wish: Wish) -> Miss | None:
    """Whether the words stand in the technology, and those behind "no" do not."""
    known, refused = record.technology.casefold(), False
    for word in (word.casefold() for word in wish.technology):
        if word == "no":
            refused = True
            continue
        if (word in known) == refused:
            asked = " ".join(wish.technology)
            return Miss("technology", math.inf, f"technology {record.technology}, asked {asked}")
        refused = False
    return None
