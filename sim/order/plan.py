"""An order worked out: boards, parts, and the neighbouring grades of the parts that drive, each tried by running it."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sim.deck.build import chain_of
from sim.deck.part import Part
from sim.order.boards import Need, boards_needed, good_boards, kept_limits
from sim.order.grades import Regrade, neighbours, regraded
from sim.order.mark import DRIVES
from sim.order.purchase import ALWAYS, Item, bought_parts, driver_shares, driving_parts, purchase
from sim.order.simulated import BuildSimulator
from sim.order.spares import independent_boards, life_stock

MOST_GOOD = 500
"""Good boards that may be asked for."""
MOST_PARTS = 4
"""Parts of which other grades are run; two re-runs each at most."""
_FIRST_SHARE, _FIRST_LEAST = 0.35, 3
_MOST_FACTOR, _MOST_MORE = 3, 12


@dataclass(frozen=True)
class Wish:
    """What is asked for.

    Attributes
    ----------
    use, reference, selection : int
        Good boards to use, to keep untouched, and more of them to choose matched sets from.
    confidence : float
        Least share of builds in which there are as many. [1]
    builds : int
        To simulate.
    years, losses : float or None
        Over which op-amps are to last, and boards lost a year.
    """

    use: int
    reference: int
    selection: int
    confidence: float
    builds: int
    years: float | None = None
    losses: float | None = None

    @property
    def good(self) -> int:
        """Good boards altogether."""
        return self.use + self.reference + self.selection

    @property
    def first(self) -> int:
        """Boards of a build that are simulated at first."""
        return self.good + max(_FIRST_LEAST, math.ceil(_FIRST_SHARE * self.good))

    @property
    def most(self) -> int:
        """Boards of a build at which the search ends."""
        return _MOST_FACTOR * self.good + _MOST_MORE

    @property
    def life(self) -> int | None:
        """Boards to be replaced later; None where nothing was said of that."""
        if self.years is None or self.losses is None:
            return None
        return life_stock(self.losses, self.years)


@dataclass(frozen=True)
class Tried:
    """Grades that were run together, mostly one alone.

    Attributes
    ----------
    grades : tuple of Regrade
        Of a part each.
    need : Need
    good_share : float
        Of boards that are good, in builds as large as those of the study's own grade. [1]
    items : tuple of Item
        What to buy for as many boards as it takes, in the study's own grades; empty where no number will do.
    """

    grades: tuple[Regrade, ...]
    need: Need
    good_share: float
    items: tuple[Item, ...]


@dataclass(frozen=True)
class Plan:
    """An order.

    Attributes
    ----------
    wish : Wish
    need : Need
    independent : int or None
        Boards if each were good or bad by itself, at the same yield.
    fails : dict of str to float
        Share of boards outside each limit that some are outside of, largest first. [1]
    outside : tuple of str
        Limits that the nominal board does not keep.
    failed : int
        Boards that did not simulate, of `simulated`.
    simulated : int
    reason : str
        Why the first of those did not.
    not_bought : tuple of str
        Parts of the circuit that stand for something else than a part to buy.
    items : tuple of Item
        Empty where no number of boards will do.
    tried : tuple of Tried
        One grade each.
    together : Tried or None
        The grades that might be had together: all looser ones that cost no board by themselves, or, where no number of
        boards will do, all tighter ones that do not mend it alone. None where there are not two of them.
    untried : tuple of str
        Parts that drive, too, and were not run again: one too many, or with no other usual grade.
    reruns : int
    """

    wish: Wish
    need: Need
    independent: int | None
    fails: dict[str, float]
    outside: tuple[str, ...]
    failed: int
    simulated: int
    reason: str
    not_bought: tuple[str, ...]
    items: tuple[Item, ...]
    tried: tuple[Tried, ...]
    together: Tried | None
    untried: tuple[str, ...]
    reruns: int


def work_out(
    scenario,
    wish: Wish,
    cores: int = 1,
    grades: bool = True,
    progress: Callable[[int], None] | None = None,
    stage: Callable[[str, int], None] | None = None,
) -> Plan:
    """Work out an order.

    Parameters
    ----------
    scenario : Scenario
        Of a study with limits.
    wish : Wish
    cores : int
    grades : bool
        Run neighbouring grades, too.
    progress : callable, optional
        Called with how many boards were done since the last call.
    stage : callable, optional
        Called with what begins, and how many boards are to come at first.

    Raises
    ------
    EngineError
        Not one board can be simulated.
    """
    limits = scenario.study.limits

    def simulator(design):
        return BuildSimulator(design, wish.builds, wish.most, cores, progress)

    if stage is not None:
        stage("builds", wish.builds * wish.first)
    own = simulator(scenario)
    need = boards_needed(own, limits, wish.good, wish.confidence, wish.first)
    boards = need.boards or need.looked
    builds = own.upto(boards)
    kept = kept_limits(builds, limits, boards)
    fails = {name: float(1 - kept[name].mean()) for name in kept if not kept[name].all()}
    chain = chain_of(own.scenario.study)
    asked = tuple(dict.fromkeys((*ALWAYS, *limits)))
    shares = driver_shares(builds, own.scenario, chain, asked)

    def to_buy(found: Need) -> tuple[Item, ...]:
        if found.boards is None:
            return ()
        return purchase(scenario.study, chain, found.boards, wish.use, shares, wish.life or 0)

    driving = driving_parts(shares, chain) if grades else ()
    rerun = [part for part in driving if neighbours(part)][:MOST_PARTS]
    choices = [(part, grade) for part in rerun for grade in neighbours(part)]

    def run_with(*some: tuple[Part, Regrade]) -> Tried:
        grades = tuple(grade for _, grade in some)
        first = boards if all(grade.tighter for grade in grades) else max(boards, need.looked)
        if stage is not None:
            stage(" and ".join(f"{grade.part} at {grade.grade}" for grade in grades), wish.builds * first)
        other = simulator(regraded(scenario, some))
        found = boards_needed(other, limits, wish.good, wish.confidence, first)
        share = float(good_boards(other.upto(boards), limits, boards).mean())
        return Tried(grades, found, share, to_buy(found))

    tried = [run_with(choice) for choice in choices]
    jointly = [choice for choice, one in zip(choices, tried, strict=True) if _joins(one, tried, need)]
    together = run_with(*jointly) if len(jointly) > 1 else None
    return Plan(
        wish=wish,
        need=need,
        independent=independent_boards(wish.good, need.good_share, wish.confidence, wish.most),
        fails=dict(sorted(fails.items(), key=lambda one: -one[1])),
        outside=tuple(
            name
            for name, limit in limits.items()
            if name in builds.nominal and not limit.holds(builds.nominal[name]).all()
        ),
        failed=len(builds.reasons),
        simulated=wish.builds * need.looked,
        reason=builds.reasons[0] if builds.reasons else "",
        not_bought=tuple(part.name for part in chain.circuit.parts if part not in bought_parts(chain)),
        items=to_buy(need),
        tried=tuple(tried),
        together=together,
        untried=tuple(part.name for part in driving if part not in rerun),
        reruns=len(choices) + (together is not None),
    )


def _joins(one: Tried, tried: Sequence[Tried], need: Need) -> bool:
    """Whether a grade is among those that are run together; see :attr:`Plan.together`."""
    (grade,) = one.grades
    if need.boards is not None:
        return not grade.tighter and one.need.boards == need.boards
    mended = any(other.need.boards is not None for other in tried)
    return grade.tighter and not mended


def driving_rule() -> str:
    """Which parts are run in other grades, in words."""
    return f"parts that make {100 * DRIVES:.0f} % or more of the spread of a measure, {MOST_PARTS} at most"
