"""A record for a part of which nothing but its model is known: no rating to check, no figure to compare."""

import math

from sim.opamp.catalogue import OpampRecord


def unrated(part: str) -> OpampRecord:
    """A record with limits that nothing reaches.

    Parameters
    ----------
    part : str
        As it is called in messages.
    """
    figures = (
        "second_pole_hz aol_db en en_corner_hz inoise in_corner_hz rin cin_diff cin_cm rout vos_max ib slew iq iout"
    )
    unknown = dict.fromkeys(figures.split(), math.nan)
    return OpampRecord(
        part=part,
        technology="maker's model",
        channels=1,
        gbw_hz=0.0,
        min_stable_gain=1.0,
        phase_margin_deg=None,
        supply_min=0.0,
        supply_max=math.inf,
        headroom=0.0,
        cm_low=-math.inf,
        cm_high=-math.inf,
        package="",
        source="",
        verified=True,
        notes="",
        core_seen="",
        hd2_dbc=None,
        hd3_dbc=None,
        hd_conditions="",
        current_feedback=False,
        **unknown,
    )


def is_unrated(record: OpampRecord) -> bool:
    """Whether a record is one of :func:`unrated`."""
    return not record.source
