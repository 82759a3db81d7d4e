"""A record for a part of which nothing but its model is known: no rating to check, no figure to compare."""

import math
from dataclasses import MISSING, fields

from sim.opamp.catalogue import OpampRecord


def unrated(part: str) -> OpampRecord:
    """A record with limits that nothing reaches; figures are NaN.

    Parameters
    ----------
    part : str
        As it is called in messages.
    """
    unknown = {field.name: math.nan for field in fields(OpampRecord) if field.default is MISSING}
    known = {
        "part": part,
        "technology": "maker's model",
        "channels": 1,
        "gbw_hz": 0.0,
        "min_stable_gain": 1.0,
        "phase_margin_deg": None,
        "supply_min": 0.0,
        "supply_max": math.inf,
        "headroom": 0.0,
        "cm_low": -math.inf,
        "cm_high": -math.inf,
        "package": "",
        "source": "",
        "verified": True,
        "notes": "",
        "core_seen": "",
        "hd2_dbc": None,
        "hd3_dbc": None,
        "hd_conditions": "",
        "current_feedback": False,
    }
    return OpampRecord(**{**unknown, **known})


def is_unrated(record: OpampRecord) -> bool:
    """Whether a record is one of :func:`unrated`: every other one names its source."""
    return not record.source
