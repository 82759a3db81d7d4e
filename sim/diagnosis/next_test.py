"""The next measurement: what each leading candidate would show, and which measurement tells most of them apart.

Expected values come from the candidates' own units: the fault with the values of its parts that fit the sweep best.
Their uncertainties are the tolerances that the sweep does not settle, and the instrument's.
"""

from dataclasses import dataclass

import numpy as np

from sim.diagnosis.book import FaultBook
from sim.diagnosis.rank import Candidate
from sim.diagnosis.responses import OTHER_DUMMIES, noise_levels
from sim.engine.isolate import Failed
from sim.quantity import format_quantity

MOST_CANDIDATES = 6
"""Candidates among which the next measurement is to decide."""
EASY = 0.9
"""A measurement that tells this share of what the best one tells, and stands before it in the list, is preferred: it
needs less gear."""
_TELLING = 3.3
"""Distance in standard deviations at which two expected values are told apart 19 times in 20. [1]"""


@dataclass(frozen=True)
class Expected:
    """One candidate's value of a measurement.

    Attributes
    ----------
    key, words : str
        The candidate.
    value, sigma : float
        [unit of the test]
    """

    key: str
    words: str
    value: float
    sigma: float


@dataclass(frozen=True)
class Test:
    """A measurement that can be made next.

    Attributes
    ----------
    name : str
        supply_current, output_dc, return_loss, dummy_10p, dummy_470p or noise.
    what : str
        What to do, an imperative.
    unit : str
        A, V, dB or nV/√Hz.
    telling : float
        How much of the doubt among the candidates it takes away, 0 to 1.
    expected : tuple of Expected
    """

    name: str
    what: str
    unit: str
    telling: float
    expected: tuple[Expected, ...]

    def told(self) -> str:
        """The measurement and its expected values, those that agree named together."""
        groups: list[list[Expected]] = []
        for one in sorted(self.expected, key=lambda one: one.value):
            last = groups[-1][0] if groups else None
            if last is not None and abs(one.value - last.value) < _TELLING * np.hypot(one.sigma, last.sigma):
                groups[-1].append(one)
            else:
                groups.append([one])
        # What stands behind the colon explains a fault; it was said with the ranking.
        words = [" or ".join(one.words.partition(":")[0] for one in group) for group in groups]
        parts = [f"{self._shown(group)} if {said}" for group, said in zip(groups, words, strict=True)]
        return f"{self.what}: {'; '.join(parts)}."

    def _shown(self, group: list[Expected]) -> str:
        low, high = (format_value(f(one.value for one in group), self.unit) for f in (min, max))
        return f"about {low}" if low == high else f"{low} to {high}"


def format_value(value: float, unit: str) -> str:
    """A measured value as a meter shows it.

    Parameters
    ----------
    value : float
        [unit]
    unit : str
        A, V, dB or nV/√Hz.
    """
    if unit == "A":
        return f"{value * 1e3:.3g} mA" if abs(value) >= 5e-5 else "no current"
    if unit == "V":
        return f"{value:.2f} V"
    if unit == "dB":
        return f"{value:.1f} dB"
    return f"{value:.3g} {unit}"


def next_tests(
    book: FaultBook, candidates: tuple[Candidate, ...], freq_hz: float, known: tuple[str, ...] = ()
) -> tuple[Test, ...]:
    """Measurements that would tell the leading candidates apart, most telling first.

    Parameters
    ----------
    book : FaultBook
    candidates : tuple of Candidate
        Likeliest first.
    freq_hz : float
        At which gain, return loss and noise are read.
    known : tuple of str
        Names of measurements that the sweep's file holds already.

    Returns
    -------
    tests : tuple of Test
        None of them where there is nothing to tell apart.
    """
    leading = candidates[:MOST_CANDIDATES]
    if len(leading) < 2:
        return ()
    place = int(np.abs(np.log(book.freq_hz / freq_hz)).argmin())
    at = format_quantity(float(book.freq_hz[place]), "Hz", 3)
    weights = np.array([max(candidate.share, 0.02) for candidate in leading])
    weights = weights / weights.sum()
    found = []
    for name, what, unit, read, least in _readings(place, at):
        if name in known:
            continue
        expected = tuple(_expected(book, candidate, read, least) for candidate in leading)
        found.append(Test(name, what, unit, _telling(expected, weights), expected))
    levels = noise_levels(book.people, [(book.fault(c.key), book.variables_at(c.z)) for c in leading], freq_hz)
    if not any(isinstance(level, Failed) for level in levels):
        expected = tuple(
            Expected(c.key, c.words, level * 1e9, 0.06 * level * 1e9 + 0.2)
            for c, level in zip(leading, levels, strict=True)
        )
        bandwidth = f"Measure the noise at the output, loaded with the analyser's port, dummy connected, at {at}"
        found.append(Test("noise", bandwidth, "nV/√Hz", _telling(expected, weights), expected))
    return _in_order(found)


def _in_order(found: list[Test]) -> tuple[Test, ...]:
    telling = [test for test in found if test.telling > 0.05]
    if not telling:
        return ()
    best = max(test.telling for test in telling)
    first = next(test for test in telling if test.telling >= EASY * best)
    return (first, *sorted((test for test in telling if test is not first), key=lambda test: -test.telling))


def _readings(place: int, at: str):
    """Name, words, unit, reading, least standard deviation of the instrument (common practice, no source)."""
    yield "supply_current", "Measure the supply current", "A", lambda seen: seen.current, (0.01, 5e-5)
    yield (
        "output_dc",
        "Measure the DC voltage at the op-amp's output pin",
        "V",
        lambda seen: seen.output_dc,
        (0.01, 0.02),
    )
    yield (
        "return_loss",
        f"Measure the output's return loss at {at}, the dummy's end on the analyser's other port",
        "dB",
        lambda seen: -20 * np.log10(max(abs(seen.s22[place]), 1e-3)),
        (0.0, 0.4),
    )
    for number, dummy in enumerate(OTHER_DUMMIES):
        shown = format_quantity(dummy, "F")
        yield (
            f"dummy_{shown.split()[0]}p",
            f"Put {shown} in the dummy's place and read the gain at {at}",
            "dB",
            lambda seen, number=number: 20 * np.log10(max(abs(seen.others[number][place]), 1e-5)),
            (0.0, 0.15),
        )


def _expected(book: FaultBook, candidate: Candidate, read, least: tuple[float, float]) -> Expected:
    """Value at the best fit; spread of what the sweep leaves open, taken from all tolerances (an upper bound)."""
    nominal = read(book.nominal(candidate.key))
    value = read(candidate.seen) if candidate.seen is not None else nominal
    changes = np.array([read(seen) - nominal for seen in book.moved(candidate.key)])
    spread = float(np.sqrt(np.sum(changes**2)))
    share, absolute = least
    return Expected(
        candidate.key, candidate.words, float(value), float(np.hypot(spread, abs(value) * share + absolute))
    )


def _telling(expected: tuple[Expected, ...], weights: np.ndarray) -> float:
    """Share of all pairs, by weight, that the values tell apart; pairs a little apart count in part."""
    told, all_pairs = 0.0, 0.0
    for i, a in enumerate(expected):
        for j in range(i):
            b, weight = expected[j], float(weights[i] * weights[j])
            apart = abs(a.value - b.value) / np.hypot(a.sigma, b.sigma)
            told += weight * min(1.0, (apart / _TELLING) ** 2)
            all_pairs += weight
    return told / all_pairs if all_pairs else 0.0
