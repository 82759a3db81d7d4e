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
class Decision:
    """One candidate: its name, what else is chosen, verdict, reason, and what its data are."""

    opamp: str
    others: str
    mark: str
    verdict: str
    reason: str
    data: str


@dataclass(frozen=True)
class Comparison:
    """Candidates beside a reference: what they are compared at, and the table."""

    title: str
    table: Table


@dataclass(frozen=True)
class Substitution:
    """All that the page says about op-amps; no decisions where none were compared."""

    decisions: tuple[Decision, ...] = ()
    takes: str = ""
    comparisons: tuple[Comparison, ...] = ()
    mixed: tuple[str, ...] = ()


@dataclass(frozen=True)
class BenchSheet:
    """What the section shows.

    Attributes
    ----------
    drawing : str
        The set-up in characters.
    signal, volts : Table
        Gain and phase; current and voltages.
    note : str
        Which scenario, and what the limits are worth.
    """

    drawing: str = ""
    signal: Table = field(default_factory=Table)
    volts: Table = field(default_factory=Table)
    note: str = ""


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
    substitution: Substitution = field(default_factory=Substitution)
    weathering: tuple[str, ...] = ()
    weather: Table = field(default_factory=Table)
    ratings: Table = field(default_factory=Table)
    temperature: Table = field(default_factory=Table)
    temperature_note: str = ""
    drift: Table = field(default_factory=Table)
    products: Table = field(default_factory=Table)
    products_note: str = ""
    yields: tuple[YieldRow, ...] = ()
    yield_grid: YieldGrid = field(default_factory=YieldGrid)
    limits_set: bool = False
    yields_note: str = ""
    figures: tuple[Picture, ...] = ()  # those that decide first
    deciding: int = 0  # how many of them
    drivers: tuple[DriverList, ...] = ()
    drivers_note: str = ""
    order: OrderSection = field(default_factory=OrderSection)
    nominal_bands: Table = field(default_factory=Table)
    nominal_single: Table = field(default_factory=Table)
    nominal_note: str = ""
    sheet: BenchSheet = field(default_factory=BenchSheet)
    failures: Table = field(default_factory=Table)
    failures_text: str = ""
    unseen: tuple[str, ...] = ()
    modelled: tuple[str, ...] = ()
    opamps: Table = field(default_factory=Table)  # numbers that nobody read in a data sheet
    opamps_read: tuple[str, ...] = ()
    marks_note: str = ""
    left_out: tuple[str, ...] = ()
    bench: Table = field(default_factory=Table)
    provenance: tuple[Fact, ...] = ()
    commands: tuple[str, ...] = ()
