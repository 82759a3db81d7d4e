"""A part of another value as what is wrong: any from a hundredth to a hundred times its own.

The list of faults has the values that are on the bill; the wrong reel may hold any other. Each part's value is looked
for over four decades, everything else being good, and then judged as a fault is, with sensitivities of its own.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.deck.part import UNITS, Part
from sim.diagnosis.book import FaultBook, gain_ratio
from sim.diagnosis.faults import GOOD, Fault
from sim.diagnosis.fit import Fit, Hypothesis, fit, look_noise, measurement_columns
from sim.diagnosis.rank import FIRST_LOOK, MUCH_LESS
from sim.diagnosis.responses import simulate
from sim.engine.isolate import Failed
from sim.quantity import format_quantity

_STEPS = tuple(step / 4 for step in range(-8, 9) if step)
"""Where a value is looked for at first, decades from the part's own."""
_NARROWED = (1 / 16, 1 / 64)
"""Steps of the next looks, four to each side of the best so far. [decades]"""
_PARTS = 5
"""Parts that are looked at closely."""


@dataclass(frozen=True)
class OtherValue:
    """One part whose value, if it is another, explains a sweep.

    Attributes
    ----------
    part : str
    value, own : float
        What it would be, within some percent, and what it should be. [SI]
    unit : str
    misfit, likelihood : float
        See :class:`sim.diagnosis.fit.Fit`.
    """

    part: str
    value: float
    own: float
    unit: str
    misfit: float
    likelihood: float

    @property
    def words(self) -> str:
        """A clause: "Cf is about 22 pF instead of 10 pF"."""
        about, own = format_quantity(self.value, self.unit, 2), format_quantity(self.own, self.unit)
        return f"{self.part} is about {about} instead of {own}"


def other_values(book: FaultBook, observed: np.ndarray, places: np.ndarray, most: float) -> tuple[OtherValue, ...]:
    """Parts of which another value makes a sweep, likeliest first.

    Parameters
    ----------
    book : FaultBook
    observed : complex ndarray, shape (n_place,)
        S21 at these frequencies of the book.
    places : int ndarray, shape (n_place,)
    most : float
        Chi-square above which a value does not explain it.
    """
    parts = {part.name: part for part in book.people.chain.circuit.parts}
    best = _looked(book, observed, places, {name: (part, _STEPS) for name, part in parts.items()})
    best = dict(sorted(best.items(), key=lambda one: -one[1][1])[:_PARTS])
    for step in _NARROWED:
        around = {
            name: (parts[name], [decades + step * place for place in range(-4, 5)])
            for name, (decades, _) in best.items()
        }
        best = _looked(book, observed, places, around)
    found = []
    for name, (decades, _) in best.items():
        part, explained = parts[name], _explained(book, observed, places, parts[name], decades)
        if explained is not None and explained.misfit <= most:
            own = part.value.value
            value = own * 10**decades
            found.append(OtherValue(name, value, own, UNITS[part.kind], explained.misfit, explained.likelihood))
    found.sort(key=lambda one: -one.likelihood)
    return tuple(one for one in found if found[0].likelihood - one.likelihood < MUCH_LESS)


def _of(part: Part, decades: float) -> Fault:
    return Fault(f"{part.name}*{decades:.4f}", "", scale=((part.name, 10**decades),))


def _looked(book, observed, places, where: dict[str, tuple[Part, Sequence[float]]]) -> dict[str, tuple[float, float]]:
    """Best value of each part, decades from its own, and its ln L; tolerances are those of the good unit."""
    items = [(name, part, decades) for name, (part, steps) in where.items() for decades in steps]
    columns = book.hypothesis(GOOD.key, places).columns
    best: dict[str, tuple[float, float]] = {}
    seen = simulate(book.people, [(_of(part, decades), {}) for _, part, decades in items])
    for (name, _, decades), answer in zip(items, seen, strict=True):
        if isinstance(answer, Failed):
            continue
        gain = answer.gain[places]
        noise = look_noise(book.freq_hz[places], gain, FIRST_LOOK)
        likelihood = fit(observed, Hypothesis(gain, columns), book.people.bench, noise).likelihood
        if name not in best or likelihood > best[name][1]:
            best[name] = (decades, likelihood)
    return best


def _explained(book, observed, places, part: Part, decades: float) -> Fit | None:
    """The fit with sensitivities of its own; None where it does not simulate."""
    fault, people = _of(part, decades), book.people
    own, *moved = simulate(people, [(fault, {}), *((fault, {one.name: 1.0}) for one in people.variables)])
    if isinstance(own, Failed):
        return None
    rows = [np.log(gain_ratio((own if isinstance(seen, Failed) else seen).gain, own.gain)) for seen in moved]
    shared = measurement_columns(book.freq_hz, people.bench, own.idle)
    # The book's hypotheses have a column for a fault's own size; a value that was looked for has none left.
    columns = np.concatenate([rows, np.zeros((1, len(book.freq_hz))), shared])[:, places]
    return fit(observed, Hypothesis(own.gain[places], columns), people.bench)
