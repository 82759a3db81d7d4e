"""Findings of a maker's op-amp model as a table of the page."""

import math
from pathlib import Path

from sim.report.model import Table


def bench_table(out_dir: Path) -> Table:
    """A row for each finding of model.csv; no rows without that table.

    Parameters
    ----------
    out_dir : Path
        A run's folder.
    """
    path = out_dir / "model.csv"
    if not path.is_file():
        return Table()
    import pandas as pd

    frame = pd.read_csv(path)
    rows = tuple(
        (
            str(row["finding"]),
            str(row["subcircuit"]),
            f"{row['supply_v']:g}",
            f"{row['measured']:.4g}",
            str(row["unit"]),
            f"{row['expected']:.3g}" if math.isfinite(row["expected"]) else "–",
            str(row["verdict"]),
        )
        for row in frame.to_dict("records")
    )
    return Table(("Finding", "Model", "Supply, V", "Measured", "Unit", "Record", "Verdict"), rows)
