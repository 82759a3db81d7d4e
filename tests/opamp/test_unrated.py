"""The record that stands for a part of which only a model is known."""

import math

from sim.opamp.catalogue import list_opamps, load_opamp
from sim.opamp.unrated import is_unrated, unrated


def test_no_limit_can_be_broken():
    """Whatever the supply and wherever it rests, nothing of it is out of range; it is told from every other record."""
    record = unrated("TESTAMP")
    assert (record.supply_min, record.supply_max) == (0, math.inf)
    assert record.cm_low == record.cm_high == -math.inf
    assert record.unity_gain_stable and math.isnan(record.en)
    assert is_unrated(record)
    assert not any(is_unrated(load_opamp(name)) for name in list_opamps())
