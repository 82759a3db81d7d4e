"""Choosing among op-amps: what fits, what the others lack, and which wish leaves out most."""

from dataclasses import replace

import pytest

from sim.opamp.catalogue import list_opamps, load_opamp
from sim.opamp.choose import Wish, choose, misses


@pytest.fixture
def records():
    """All records of the catalogue."""
    return [load_opamp(name) for name in list_opamps()]


def fitting(records, **wish) -> set[str]:
    """Names of the parts that fit."""
    return {record.part for record in choose(records, Wish(**wish)).fitting}


def test_nothing_asked_fits_all(records):
    """Without wishes every part fits."""
    assert fitting(records) == set(list_opamps())


def test_each_wish_by_the_record(records):
    """Each wish keeps exactly the parts whose record keeps it, its bound included."""
    assert fitting(records, supply=(12, 12)) == set(list_opamps()) - {"ADA4817-1", "ADA4897-2", "LTC6268"}
    assert fitting(records, supply=(10.5, 13.8)) == {
        *("AD8021", "AD8066", "ADA4898-2", "LM358", "NE5532", "OPA810", "THS3091", "THS4631", "TL072")
    }
    assert fitting(records, noise=0.9e-9) == {"ADA4898-2", "OPA847"}
    assert fitting(records, current_noise=0.0013e-12) == {"AD8066", "OPA656", "OPA657"}
    assert fitting(records, bandwidth=1.6e9) == {"OPA657", "OPA818", "OPA847"}
    assert fitting(records, gain=7, bandwidth=1.6e9) == {"OPA657", "OPA818"}


def test_technology_by_words(records):
    """All words must stand in it, any case; those behind "no" must not."""
    assert fitting(records, technology=("cmos",)) == {"LTC6268"}
    field_effect = fitting(records, technology=("FET",))
    assert {"OPA810", "LTC6268", "TL072"} <= field_effect and "OPA2822" not in field_effect
    assert fitting(records, technology=("bipolar", "no", "fet"), noise=1e-9) == {
        *("ADA4897-2", "ADA4898-2", "ADA4899-1", "OPA847")
    }
    assert not fitting(records, technology=("FET", "no", "FET"))


def test_nearest_first(records):
    """Of parts that do not fit, one miss comes before two, and the smaller factor before the larger."""
    found = choose(records, Wish(supply=(12, 12), technology=("FET",), noise=5e-9, gain=2))
    assert not found.fitting
    names = [record.part for record, _ in found.missing]
    # 12 V at a part for 10 V is a factor of 1.2, 6.3 nV where 5 are asked one of 1.26.
    assert names[:3] == ["ADA4817-1", "OPA810", "AD8066"]
    assert [miss.told for miss in found.missing[0][1]] == ["made for 5 to 10 V, asked 12 V"]
    assert found.left_out == {"technology": 11, "noise": 6, "supply": 3, "gain": 3}


def test_misses_are_told():
    """A miss names what the part has and what was asked."""
    wish = Wish((30, 30), ("CMOS",), 2.0, 1e-9, 1e-12, 5e9)
    told = {miss.option: miss.told for miss in misses(load_opamp("OPA847"), wish)}
    assert told == {
        "supply": "made for 8 to 12 V, asked 30 V",
        "technology": "technology bipolar ultra-low-noise VFB decompensated, asked CMOS",
        "gain": "stable from gain 12, asked 2",
        "current_noise": "2.5 pA/√Hz, asked 1",
        "bandwidth": "3.9 GHz, asked 5 GHz",
    }
    assert misses(replace(load_opamp("OPA847"), min_stable_gain=2.0), Wish(gain=2.0)) == ()
