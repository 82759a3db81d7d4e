"""Builds for an order, run through the simulator: many builds of one design, so many boards of each.

All boards of a build share their lots. Board k of build b is unit 1 + b · stride + k, and a build is `stride` units
long for the draws, so more boards of the same builds can be simulated later without moving those that are there, and
another design draws the same numbers.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from sim.engine.isolate import Failed, isolated
from sim.errors import EngineError
from sim.measures.panel import BANDED, SINGLE
from sim.measures.strong import INTERCEPTS, Near, UnitStrong
from sim.measures.unit import Item, UnitWorker
from sim.summary.strong import HEADROOM, PRODUCTS, StrongUnits


@dataclass(frozen=True)
class Builds:
    """Boards of many builds, and the nominal one.

    Attributes
    ----------
    stride : int
        Unit numbers of a build.
    bands_hz : tuple of float
        [Hz]
    values : dict of str to ndarray, shape (n_build, n_board, n_band) or (n_build, n_board, 1)
        By measure, in its own unit; NaN where the board did not simulate.
    nominal : dict of str to ndarray, shape (n_band,) or (1,)
    reasons : tuple of str
        Why boards did not simulate, one for each that did not.
    """

    stride: int
    bands_hz: tuple[float, ...]
    values: dict[str, np.ndarray]
    nominal: dict[str, np.ndarray]
    reasons: tuple[str, ...] = ()

    @property
    def builds(self) -> int:
        """How many builds."""
        return next(iter(self.values.values())).shape[0]

    @property
    def boards(self) -> int:
        """How many boards of each."""
        return next(iter(self.values.values())).shape[1]

    @property
    def units(self) -> np.ndarray:
        """Unit numbers, shape (n_build, n_board)."""
        return board_units(self.builds, self.boards, self.stride)


def board_units(builds: int, boards: int, stride: int) -> np.ndarray:
    """Unit numbers of the first boards of builds, shape (n_build, n_board).

    Parameters
    ----------
    builds, boards : int
    stride : int
        Unit numbers of a build.
    """
    return 1 + stride * np.arange(builds)[:, None] + np.arange(boards)


class BuildSimulator:
    """Simulates builds of one design, further boards when they are asked for.

    Parameters
    ----------
    scenario : Scenario
        Nothing left to vary.
    builds : int
    stride : int
        Most boards of a build; more are never simulated.
    cores : int
        Processes that work at the same time; the numbers do not depend on it.
    progress : callable, optional
        Called with how many boards were done since the last call.
    """

    def __init__(
        self, scenario, builds: int, stride: int, cores: int = 1, progress: Callable[[int], None] | None = None
    ):
        run = scenario.study.run.model_copy(update={"build": stride, "units": builds * stride})
        study = scenario.study.model_copy(update={"run": run})
        self.scenario = replace(scenario, number=0, study=study)
        self.builds, self.stride = builds, stride
        self._cores, self._progress = cores, progress
        self._done = 0
        self._values: dict[str, np.ndarray] = {}
        self._nominal: dict[str, np.ndarray] = {}
        self._reasons: list[str] = []

    def upto(self, boards: int) -> Builds:
        """The first boards of every build, simulated as far as they are not yet.

        Parameters
        ----------
        boards : int
            At most the stride.

        Raises
        ------
        EngineError
            Not one board can be simulated.
        """
        boards = min(boards, self.stride)
        if boards > self._done:
            self._simulate(boards)
        bands = tuple(self.scenario.study.bands.frequencies)
        values = {name: whole[:, :boards] for name, whole in self._values.items()}
        return Builds(self.stride, bands, values, self._nominal, tuple(self._reasons))

    def _simulate(self, boards: int) -> None:
        wanted = board_units(self.builds, boards, self.stride)[:, self._done :]
        # The nominal unit comes first once: it is what drivers are measured against.
        numbers = wanted.ravel() if self._done else np.concatenate([[0], wanted.ravel()])
        items = [Item(0, row, int(unit)) for row, unit in enumerate(numbers)]
        for item, answer in _side_by_side(_Maker(self.scenario, numbers), items, self._cores):
            self._keep(item.unit, answer)
            if self._progress is not None:
                self._progress(1)
        self._done = boards
        if not self._values:
            raise EngineError(
                f"no board of the {self.builds} builds could be simulated: {self._reasons[0]}.\n"
                "  bandfloor run STUDY lists why."
            )

    def _keep(self, unit: int, answer) -> None:
        if isinstance(answer, Failed):
            if unit > 0:
                self._reasons.append(answer.reason)
            return
        for name, value in answer.items():
            if unit == 0:
                self._nominal[name] = value
                continue
            whole = self._values.get(name)
            if whole is None:
                whole = self._values[name] = np.full((self.builds, self.stride, len(value)), np.nan)
            whole[(unit - 1) // self.stride, (unit - 1) % self.stride] = value


class _Maker:
    """Makes the worker inside the child; a class, since a spawned child can only receive named things."""

    def __init__(self, scenario, numbers):
        self._scenario, self._numbers = scenario, numbers

    def __call__(self):
        worker = UnitWorker([self._scenario], self._numbers)
        near_by: list[Near] = []

        def measures(item: Item) -> dict[str, np.ndarray]:
            # Without the curves an answer is small, so no child waits for another one's to be taken.
            answer = worker(item)
            found = answer.measures
            values = dict(zip(BANDED, found.banded, strict=True))
            values |= {name: np.array([value]) for name, value in zip(SINGLE, found.single, strict=True)}
            if found.lines is not None:
                values["line_margin"] = _smallest(found.lines.margin)
            if found.antennas is not None:
                values["antenna_margin"] = _smallest(found.antennas.margin)
            # What is near by is told with the first unit only.
            near_by.extend([answer.near] if answer.near is not None else [])
            if answer.strong is not None:
                values |= _strong(answer.strong, found.banded, near_by[0])
            return values

        return measures


def _strong(strong: UnitStrong, banded: np.ndarray, near: Near) -> dict[str, np.ndarray]:
    """Measures of one unit of a study with strong carriers, as :class:`sim.summary.strong.StrongUnits` has them."""
    one = {(0, 0): strong}
    units = StrongUnits.of((1, 1), banded.shape[1], one, [near])
    known = {
        HEADROOM: units.headroom_db[0],
        PRODUCTS: units.product_margin_db(0, banded[None])[0],
        **{name: units.intercept_dbm[0, 0, place] for place, name in enumerate(INTERCEPTS)},
    }
    return {name: known[name] for name in units.names}


def _smallest(margin: np.ndarray) -> np.ndarray:
    """Smallest of the margins that there are, shape (1,)."""
    least = np.fmin.reduce(np.asarray(margin, dtype=float), initial=np.inf)
    return np.array([least if np.isfinite(least) else np.nan])


def _side_by_side(make: Callable, items: Sequence, cores: int) -> Iterator[tuple[Item, object]]:
    """Items done by several children at once, in an order that does not depend on who was faster."""
    shares = [items[start::cores] for start in range(min(cores, len(items)))]
    running = [(share, isolated(make, share)) for share in shares]
    try:
        while running:
            for share, answers in tuple(running):
                found = next(answers, None)
                if found is None:
                    running.remove((share, answers))
                else:
                    yield share[found[0]], found[1]
    finally:
        for _, answers in running:
            answers.close()
