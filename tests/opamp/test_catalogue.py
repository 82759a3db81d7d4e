"""Op-amp records: units, completeness, and what is said about a wrong one."""

import tomllib
from dataclasses import fields

import pytest

from sim.errors import RecordError
from sim.opamp.catalogue import OpampRecord, list_opamps, load_opamp, parse_record
from sim.opamp.macromodel import macromodel_cards, nominal_parameters
from sim.paths import CIRCUITS

PARTS = (
    "AD8021 AD8066 ADA4817-1 ADA4897-2 ADA4898-2 ADA4899-1 LM358 LT6231 LTC6268 NE5532 OPA2822 OPA656 OPA657 OPA810 "
    "OPA818 OPA820 OPA847 THS3091 THS4631 TL072"
).split()


@pytest.fixture
def opa810() -> str:
    """Text of a good record, to be spoilt."""
    return (CIRCUITS / "opamps" / "OPA810.toml").read_text(encoding="utf-8")


def spoilt(text: str, **changes: str | None) -> str:
    """The text with the lines of some keys replaced, or left out where the new value is None."""
    lines = []
    for line in text.splitlines():
        key = line.partition("=")[0].strip()
        if key not in changes:
            lines.append(line)
        elif changes[key] is not None:
            lines.append(f"{key} = {changes[key]}")
    return "\n".join(lines) + "\n"


def message(text: str) -> str:
    """What is said about a record."""
    with pytest.raises(RecordError) as caught:
        parse_record(text, "my.toml")
    return str(caught.value)


def test_twenty_parts_are_listed():
    """Every part of the collection has a record, and nothing else is there."""
    assert list_opamps() == tuple(PARTS)


@pytest.mark.parametrize("name", PARTS)
def test_every_record_loads(name):
    """Each record is free of faults, is named after its file and says where its numbers are from."""
    record = load_opamp(name)
    assert record.part == name
    assert record.source
    assert record.unity_gain_stable == (record.min_stable_gain == 1)


@pytest.mark.parametrize("name", PARTS)
def test_every_record_makes_a_model(name):
    """Each record gives a macromodel whose numbers are all finite."""
    cards = macromodel_cards(nominal_parameters(load_opamp(name)), "xamp", ("p", "n", "vcc", "0", "out"))
    assert not [card for card in cards if "nan" in card or "inf" in card.replace("info", "")]


def test_fields_are_si():
    """Nano, pico, micro and milli of the data sheet become SI, to the nearest double."""
    record = load_opamp("OPA2822")
    assert record.gbw_hz == 240e6  # TI SBOS188E p1
    assert record.en == 2.0e-9  # TI SBOS188E p1
    assert record.inoise == 1.6e-12  # from memory, at +/-6 V
    assert record.ib == 8e-6  # TI SBOS188E p4
    assert record.vos_max == 1.3e-3  # TI SBOS188E p4
    assert record.slew == 170e6  # from memory, at +/-6 V
    assert record.iq == 4.8e-3  # TI SBOS188E p1
    assert record.iout == 90e-3  # TI SBOS188E p1
    assert record.cin_diff == 1e-12  # TI SBOS188E p4
    assert record.cin_cm == 1.3e-12  # TI SBOS188E p4
    assert (record.supply_min, record.supply_max) == (5, 12)  # TI SBOS188E p1
    assert record.channels == 2


def test_empty_columns_are_none():
    """What no data sheet states is None, not zero."""
    record = load_opamp("LTC6268")
    assert (record.hd2_dbc, record.hd3_dbc, record.hd_conditions) == (None, None, "")
    assert load_opamp("THS3091").phase_margin_deg is None


def test_current_feedback_is_known():
    """The one current-feedback part of the collection says so, and no other does."""
    assert [name for name in PARTS if load_opamp(name).current_feedback] == ["THS3091"]


def test_numbers_from_memory_are_marked():
    """A record is verified only where at least five main numbers were seen in a data sheet."""
    for name in PARTS:
        record = load_opamp(name)
        seen = int(record.core_seen.split("/")[0])
        assert record.verified == (seen >= 5), name


def test_a_record_is_frozen():
    """A record cannot be changed by accident."""
    record = load_opamp("OPA810")
    with pytest.raises(AttributeError):
        record.en = 1e-9
    assert {field.name for field in fields(OpampRecord)} >= {"gbw_hz", "en", "inoise", "cm_low", "cm_high"}


def test_unknown_name_gives_nearest():
    """A misspelt part is answered by the nearest known one."""
    with pytest.raises(RecordError) as caught:
        load_opamp("opa8100")
    assert str(caught.value) == (
        'circuits/opamps/opa8100.toml: there is no op-amp "opa8100".\n'
        f"  Nearest: OPA810. Known: {', '.join(PARTS)}; or name a record of your own, a file ending in .toml."
    )


@pytest.mark.parametrize("name", ["../opamps/OPA810", "OPA810.toml\0", "", "/etc/passwd"])
def test_names_are_no_paths(name):
    """A name reaches only the records that come with the program."""
    with pytest.raises((RecordError, ValueError)):
        load_opamp(name)


def test_own_record_by_path(tmp_path, opa810):
    """A builder's own record is found from the study's folder."""
    (tmp_path / "mine.toml").write_text(spoilt(opa810, part='"MINE"'), encoding="utf-8")
    assert load_opamp("mine.toml", tmp_path).part == "MINE"


def test_missing_file(tmp_path):
    """A record that is not there is named as the study names it."""
    with pytest.raises(RecordError) as caught:
        load_opamp("mine.toml", tmp_path)
    assert str(caught.value) == ("mine.toml: there is no such file.\n  Give a TOML file like those of circuits/opamps.")


def test_all_faults_at_once(opa810):
    """Every fault of a record is reported, each with its line, in the order of the file."""
    text = spoilt(opa810, en_nv_rthz="6.3e-9", verified='"yes"', iout_ma=None, iq_ma_per_channel='"3.7 mA"')
    text += "chanels = 3\n"
    lines = text.splitlines()

    def at(key):
        return next(n for n, line in enumerate(lines, start=1) if line.startswith(key))

    assert message(text) == (
        f"my.toml, line {at('verified')}, verified: is 'yes'.\n"
        "  Write true or false, without quotes.\n"
        f"my.toml, line {at('en_nv_rthz')}, en_nv_rthz: 6.3e-09 is outside what op-amps have.\n"
        "  Write a number [nV/√Hz], 0.1 to 1000.\n"
        f"my.toml, line {at('iq_ma')}, iq_ma_per_channel: is '3.7 mA'.\n"
        "  Write a plain number [mA a channel]; the key states the unit.\n"
        f"my.toml, line {at('chanels')}, chanels: is not a key of an op-amp record.\n"
        "  Nearest known key: channels.\n"
        "my.toml, iout_ma: is missing.\n"
        "  Write a number [mA], 0.01 to 100000."
    )


def test_nan_is_refused(opa810):
    """TOML can spell nan and inf; a record cannot hold them."""
    text = spoilt(opa810, gbw_hz="nan", rin_diff_ohm="inf")
    assert "gbw_hz: nan is outside what op-amps have." in message(text)
    assert "rin_diff_ohm: inf is outside what op-amps have." in message(text)


def test_contradiction(opa810):
    """Numbers that cannot be true together are found."""
    assert message(spoilt(opa810, unity_gain_stable="false")).endswith(
        "unity_gain_stable: false contradicts min_stable_gain = 1.\n"
        "  A part stable at unity gain has min_stable_gain = 1."
    )


def test_not_toml():
    """Text that is no TOML is refused with the parser's own place."""
    assert message("part = OPA810\n") == (
        "my.toml: cannot be read: Invalid value (at line 1, column 8).\n"
        "  Give a TOML file like those of circuits/opamps."
    )


def test_records_state_typical_values_by_unit():
    """Every numeric key of every record ends in its unit, or is a plain count."""
    units = ("_hz", "_db", "_rthz", "_ohm", "_pf", "_mv", "_ua", "_us", "_v", "_ma", "_deg", "_dbc", "_channel", "_vpp")
    for name in PARTS:
        record = tomllib.loads((CIRCUITS / "opamps" / f"{name}.toml").read_text(encoding="utf-8"))
        numbers = [key for key, value in record.items() if type(value) in (int, float)]
        assert [key for key in numbers if not key.endswith(units)] in (
            ["channels", "min_stable_gain"],
            ["channels", "min_stable_gain", "hd_gain"],
        )


# Tone [Hz], noise gain, output [V peak to peak], load of HD2 and of HD3 [ohm]: TI OPA818 SBOS940A p1, TI OPA2822
# SBOS188E p4 (+5 V, load to mid-supply), TI OPA820 SBOS303A p4 (+5 V). Of the other parts the sources as seen leave
# something out.
DISTORTION = {
    "OPA818": (1e6, 7, 2, 1e3, 1e3),
    "OPA2822": (1e6, 2, 2, 200, 100),
    "OPA820": (1e6, 2, 2, 200, 200),
}


@pytest.mark.parametrize("name", PARTS)
def test_distortion_conditions(name):
    """Where the source gives all conditions of its distortion they stand as numbers, elsewhere as text alone."""
    record = load_opamp(name)
    found = (record.hd_frequency_hz, record.hd_gain, record.hd_output_vpp, record.hd_load_ohm, record.hd3_load_ohm)
    assert found == DISTORTION.get(name, (None,) * 5)
    assert (record.hd2_dbc is None and record.hd3_dbc is None) == (record.hd_conditions == "")


def test_distortion_conditions_all_or_none(opa810):
    """Conditions of which one is missing, without a distortion, or that the part cannot be in, are refused."""
    some = opa810 + "hd2_dbc = -80\nhd_frequency_hz = 1e6\nhd_gain = 2\nhd_load_ohm = 1000\n"
    assert message(some) == (
        "my.toml, hd_output_vpp: is missing beside hd_frequency_hz.\n"
        "  Write all of hd_frequency_hz, hd_gain, hd_output_vpp, hd_load_ohm, or none: say in hd_conditions what is"
        " known."
    )
    whole = some + "hd_output_vpp = 2\n"
    assert parse_record(whole, "my.toml").hd3_load_ohm == 1000
    assert "hd_frequency_hz: is a condition of no distortion." in message(spoilt(whole, hd2_dbc=None))
    assert "hd_output_vpp: 30 V is more than the output can swing, 26.8 V." in message(
        spoilt(whole, hd_output_vpp="30")
    )
    decompensated = spoilt(whole, unity_gain_stable="false", min_stable_gain="5")
    assert "hd_gain: 2 is below min_stable_gain = 5." in message(decompensated)
