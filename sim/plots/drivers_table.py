"""Ranking of drivers, as picture and page both show it."""

from __future__ import annotations

import numpy as np
import pandas as pd

REST = "(rest)"


def ranked(rows: pd.DataFrame, most: int) -> pd.DataFrame:
    """Shares of one measure as a table of parts by bands, largest share in any band first, the rest last.

    Parameters
    ----------
    rows : DataFrame
        Rows of drivers.csv of one scenario and measure.
    most : int
        Parts kept; what the others and the unexplained remainder hold is put together as "(rest)".

    Returns
    -------
    table : DataFrame
        Index part, columns frequency (NaN where the measure has none). [1]
    """
    if rows.empty:
        return pd.DataFrame()
    # pivot drops NaN column labels; a measure without frequency keeps its one column under NaN.
    table = rows.assign(frequency_hz=rows["frequency_hz"].fillna(-1.0)).pivot_table(
        index="part", columns="frequency_hz", values="share", aggfunc="first", observed=True
    )
    table.columns = [f if f >= 0 else np.nan for f in table.columns]
    parts = table.drop(index=REST, errors="ignore")
    order = parts.max(axis=1).sort_values(ascending=False, kind="stable").index
    order = [part for part in order if parts.loc[part].max() >= 0.005]
    rest = table.loc[[p for p in table.index if p not in order[:most]]].sum(axis=0)
    kept = table.loc[order[:most]].copy()
    kept.loc[REST] = rest
    return kept
