"""What is said of op-amp numbers that nobody read in a data sheet."""

from dataclasses import replace

import pytest

from sim.opamp.catalogue import list_opamps, load_opamp
from sim.opamp.doubts import doubts_told, group_marks, number, opamp_entry, principal_told
from sim.opamp.known import RESTS, USES


def test_one_line_names_what_and_what_rests_on_it():
    """The sentence names each value, whether estimated or recalled, and what rests on it."""
    assert doubts_told(load_opamp("OPA2822")) == (
        "OPA2822, not read in its data sheet (~ estimated, ? from memory): stability rests on second pole~ and output"
        " resistance~; noise on current noise? and 1/f corners~; gain and phase on open-loop gain?; strong signals on"
        " slew rate? and output swing?."
    )


def test_nothing_read_is_said_in_short():
    """A record of which no number was read needs no list; one of which all were read needs no word."""
    record = load_opamp("LM358")
    assert doubts_told(record) == (
        "All numbers of LM358 are from memory or estimated; nothing said of it here is better than that."
    )
    assert doubts_told(replace(record, seen=tuple(use.key for use in USES))) == ""


def test_marks_of_groups():
    """Stability bears the mark of its second pole, noise that of the current noise; what was read bears none."""
    assert group_marks(load_opamp("OPA810")) == {"stability": "~", "noise": "?", "strong": "?"}
    assert group_marks(load_opamp("ADA4899-1"))["gain"] == "~"  # its gain-bandwidth is an estimate
    assert principal_told(load_opamp("OPA810"), "stability") == "second pole and output resistance estimated"
    assert principal_told(load_opamp("THS4631"), "gain") == "gain-bandwidth from memory"
    assert principal_told(load_opamp("OPA810"), "gain") == ""


@pytest.mark.parametrize("name", list_opamps())
def test_entries_are_whole(name):
    """Each unread value has its number with a unit and what rests on it; nothing read is among them."""
    record = load_opamp(name)
    entry = opamp_entry(record, [0, 2])
    assert entry["scenarios"] == [0, 2] and entry["source"] == record.source
    keys = [value["key"] for value in entry["unseen"]]
    assert not set(keys) & set(record.seen) and "second_pole_hz" in keys
    assert {value["rests"] for value in entry["unseen"]} <= set(RESTS.values())
    assert {value["status"] for value in entry["unseen"]} <= {"memory", "estimate"}
    assert all(value["text"] not in ("", "–") for value in entry["unseen"])


def test_numbers_bear_units():
    """A value is written as builders write it."""
    record = load_opamp("OPA2822")
    said = {use.key: number(record, use) for use in USES}
    assert said["en_nv_rthz"] == "2 nV/√Hz" and said["slew_v_per_us"] == "170 V/µs" and said["gbw_hz"] == "240 MHz"
    assert said["cin_cm_pf"] == "1.3 pF" and said["hd3_dbc"] == "-99 dB" and said["min_stable_gain"] == "1"
