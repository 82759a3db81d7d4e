"""Names of scenarios, as they stand in sentences, tables and pictures."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pandas import DataFrame


def scenario_names(scenarios: DataFrame) -> dict[int, str]:
    """A short name for each scenario, made of its values: "OPA810, 60 m"; a bare number is named after its key.

    Parameters
    ----------
    scenarios : DataFrame
        scenario, one column a varied key.
    """
    keys = [column for column in scenarios.columns if column != "scenario"]
    names = {}
    for place, number in enumerate(scenarios["scenario"]):
        words = []
        for key in keys:
            text = str(scenarios[key].iloc[place]).strip()
            bare = re.fullmatch(r"[-+]?[0-9.]+(e[-+]?[0-9]+)?|none|", text, re.IGNORECASE) is not None
            leak = key.startswith("weather.") and key != "weather.state"
            last = key.rsplit(".", 1)[-1]
            if bare and key == "run.temperature":
                words.append(f"{text} °C")
            else:
                words.append(f"{last.replace('_', ' ') if leak else last} {text}" if bare or leak else text)
        names[int(number)] = ", ".join(words) or "as designed"
    return names
