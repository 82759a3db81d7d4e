"""The ratings of all op-amps as a table of the page."""

from pathlib import Path

from sim.quantity import format_quantity
from sim.report.model import Table
from sim.summary.ratings import KEPT, NO_POINT, UNKNOWN, WHOLE

_MOST_ROWS = 40


def ratings_table(path: Path, names) -> Table:
    """A row for each rating of each op-amp, in the scenario that comes nearest to its limit or furthest beyond.

    Parameters
    ----------
    path : Path
        ratings.csv; where there is none the table has no rows.
    names : mapping of int to str
        Of the scenarios.
    """
    if not path.is_file():
        return Table()
    import pandas as pd

    table = pd.read_csv(path)
    several = len(names) > 1
    rows = []
    for _, own in table.groupby(["part", "device", "rating"], sort=False, dropna=False):
        row = own.loc[own.apply(_rank, axis=1).idxmax()]
        rows.append((_rank(row)[0], _cells(row, names[int(row["scenario"])], several)))
    # What is not kept stands first; otherwise the order of the ratings.
    rows.sort(key=lambda pair: -pair[0])
    columns = (
        "Op-amp and rating",
        "Verdict",
        "Limit",
        *(["Scenario"] if several else []),
        "Worst of the units",
        "Outside",
        "Worst corner",
    )
    return Table(columns, tuple(cells for _, cells in rows[:_MOST_ROWS]))


def _rank(row) -> tuple:
    """How bad a row is: its verdict, then how many units, then how far beyond the limit."""
    beyond = [_beyond(row, column) for column in ("worst", "corner_worst")]
    outside = row["outside"] if row["outside"] == row["outside"] else 0
    return (row["verdict"] not in (KEPT, UNKNOWN), outside, max(beyond))


def _beyond(row, column: str) -> float:
    if row[column] != row[column]:
        return float("-inf")
    upper = row["rating"] in ("supply, most", "output current at rest")
    return (row[column] - row["limit"]) * (1 if upper else -1)


def _cells(row, name: str, several: bool) -> tuple[str, ...]:
    digits = 2
    if row["verdict"] == NO_POINT:
        head, limit, worst, outside = "Operating point", "–", str(row["part"]), "–"
    else:
        unit = str(row["unit_of_value"])
        head = f"{row['part']} ({row['device']}), {row['rating']}" if row["part"] != WHOLE else f"Unit, {row['rating']}"
        limit = _value(row["limit"], unit)
        # Three decimals where two would not tell a value from its limit.
        digits = 3 if any(_value(row[column], unit) == limit for column in ("worst", "corner_worst")) else 2
        where = ""
        if row["unit"] == row["unit"]:
            where = f" (unit {int(row['unit'])}, {row['supply_v']:.4g} V, {row['temperature_c']:.3g} °C)"
        worst = _value(row["worst"], unit, digits) + where
        outside = f"{int(row['outside'])} of {int(row['units'])}"
        if row["verified"] == 0:
            limit += ", not verified"
    corner = "–"
    if row["corner_temperature_c"] == row["corner_temperature_c"]:
        volts = "" if row["corner_supply_v"] != row["corner_supply_v"] else f"{row['corner_supply_v']:.4g} V, "
        value = _value(row["corner_worst"], str(row["unit_of_value"]), digits) + " " if volts else ""
        corner = f"{value}({volts}{row['corner_temperature_c']:g} °C, current × {row['corner_iq_share']:.2f})"
    return (head, str(row["verdict"]), limit, *([name] if several else []), worst, outside, corner)


def _value(value: float, unit: str, digits: int = 2) -> str:
    if value != value:
        return "–"
    if unit == "V":
        return f"{value:.{digits}f} V"
    return format_quantity(value, unit, 2) if abs(value) >= 1e-6 else "below 1 µA"
