"""Which products several carriers make: sums of the carriers' frequencies with signs."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement

SAME_HZ = 1.0
"""Frequencies closer than this are one. [Hz]"""


@dataclass(frozen=True)
class Mix:
    """One product, as 2a - b is.

    Attributes
    ----------
    frequency_hz : float
        Above zero. [Hz]
    carriers : tuple of (int, int)
        Position of each carrier and how often it counts, negative where it is subtracted: 2a - b is ((0, 2), (1, -1)).
    """

    frequency_hz: float
    carriers: tuple[tuple[int, int], ...]

    @property
    def order(self) -> int:
        """2 or 3: how many frequencies are added and subtracted."""
        return sum(abs(times) for _, times in self.carriers)

    @property
    def signed(self) -> tuple[tuple[int, int], ...]:
        """Each carrier as often as it counts, with its sign."""
        return tuple((index, int(math.copysign(1, times))) for index, times in self.carriers for _ in range(abs(times)))

    @property
    def coefficient(self) -> float:
        """Amplitude of the product in x², or x³, of a sum of cosines, over the product of their amplitudes.

        Notes
        -----
        n!/(Π |m|!)/2^(n-1): 1 for a ± b, 1/2 for 2a, 3/4 for 2a ± b, 3/2 for a ± b ± c, 1/4 for 3a. Multinomial
        theorem.
        """
        ways = math.factorial(self.order)
        for _, times in self.carriers:
            ways //= math.factorial(abs(times))
        return ways / 2 ** (self.order - 1)

    def words(self, names: Sequence[str] = "abcdefghijklmnopqrstuvwxyz") -> str:
        """As people write it, "2a - b".

        Parameters
        ----------
        names : sequence of str
            Of the carriers.
        """
        said = ""
        for index, times in sorted(self.carriers, key=lambda entry: entry[1] < 0):
            sign = (" - " if times < 0 else " + ") if said else ("-" if times < 0 else "")
            said += sign + (str(abs(times)) if abs(times) > 1 else "") + names[index]
        return said


def mixes(
    frequencies_hz: Sequence[float],
    bands_hz: Sequence[tuple[float, float]] | None = None,
    orders: Sequence[int] = (2, 3),
) -> tuple[Mix, ...]:
    """All products of some carriers: a ± b, 2a, 2a ± b, a ± b ± c, 3a, in the order of their frequencies.

    Parameters
    ----------
    frequencies_hz : sequence of float
        Of the carriers. [Hz]
    bands_hz : sequence of (float, float), optional
        Lower and upper ends; products outside all of them are left out. Default: nothing is. [Hz]
    orders : sequence of int
        2, 3 or both.

    Returns
    -------
    mixes : tuple of Mix
        Without those that fall on zero, and without those in which a carrier is both added and subtracted: they fall
        on a carrier, not on a new frequency.
    """
    signed = [(index, sign) for index in range(len(frequencies_hz)) for sign in (1, -1)]
    found = []
    for order in orders:
        for several in combinations_with_replacement(signed, order):
            if len({index for index, _ in several}) < len(set(several)):
                continue
            hertz = sum(sign * frequencies_hz[index] for index, sign in several)
            # Each product comes twice, with all signs turned the second time.
            if hertz > SAME_HZ and _within(hertz, bands_hz):
                times = Counter()
                for index, sign in several:
                    times[index] += sign
                found.append(Mix(hertz, tuple(sorted(times.items()))))
    return tuple(sorted(found, key=lambda mix: (mix.frequency_hz, mix.carriers)))


def _within(hertz: float, bands_hz) -> bool:
    return bands_hz is None or any(low <= hertz <= high for low, high in bands_hz)
