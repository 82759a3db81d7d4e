"""What a report page holds, ready to print: texts and tables, no numbers left to format."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Fact:
    """A name and what it is."""

    name: str
    value: str


@dataclass(frozen=True)
class Table:
    """Column names and rows of cells; the first cell of a row is its heading."""

    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True)
class OrderSection:
    """What to order, or why an order is not shown; `parts` and `grades` may be empty."""

    verdict: tuple[str, ...] = ()
    parts: Table = field(default_factory=Table)
    grades: Table = field(default_factory=Table)
    notes: tuple[str, ...] = ()
    stale: str = ""


@dataclass(frozen=True)
class Cell:
    """A yield in one scenario: the share and its interval; low where fewer than nine units in ten pass."""

    share: str
    interval: str
    low: bool


@dataclass(frozen=True)
class YieldGrid:
    """Yields of several scenarios: a row for each limit and band, a column a scenario."""

    scenarios: tuple[str, ...] = ()
    rows: tuple[tuple[str, str, str, tuple[Cell, ...]], ...] = ()  # measure, band, limit, cells


@dataclass(frozen=True)
class YieldRow:
    """One limit in one band: texts, and the percentages at which the bar's parts begin and end."""

    measure: str
    band: str
    limit: str
    nominal: str
    most: str
    cell: Cell
    bar_from: float
    bar_width: float


@dataclass(frozen=True)
class DriverList:
    """Ranked parts for one measure."""

    name: str
    table: Table


@dataclass(frozen=True)
class Picture:
    """A figure with its drawing as markup that may stand in the page as it is."""

    name: str
    title: str
    caption: str
    svg: str


@dataclass(frozen=True)
class Page:
    """Everything on the page, in reading order."""

    title: str
    state: str  # met | missed | open
    stamp: str
    verdict: tuple[str, ...]
    facts: tuple[Fact, ...]
    warnings: tuple[str, ...] = ()
    scenarios: Table = field(default_factory=Table)
    tried: tuple[str, ...] = ()
    mending: Table = field(default_factory=Table)
    phasing: Table = field(default_factory=Table)
    arrays: Table = field(default_factory=Table)
    yields: tuple[YieldRow, ...] = ()
    yield_grid: YieldGrid = field(default_factory=YieldGrid)
    limits_set: bool = False
    yields_note: str = ""
    figures: tuple[Picture, ...] = ()
    drivers: tuple[DriverList, ...] = ()
    drivers_note: str = ""
    order: OrderSection = field(default_factory=OrderSection)
    nominal_bands: Table = field(default_factory=Table)
    nominal_single: Table = field(default_factory=Table)
    nominal_note: str = ""
    failures: Table = field(default_factory=Table)
    failures_text: str = ""
    modelled: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    provenance: tuple[Fact, ...] = ()
    commands: tuple[str, ...] = ()
