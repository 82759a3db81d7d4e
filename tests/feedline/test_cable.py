"""Cable records: complete, consistent, and refused with all their faults."""

from dataclasses import replace

import numpy as np
import pytest

from sim.constants import C0
from sim.errors import RecordError
from sim.feedline.cable import clad_resistance, list_cables, load_cable, with_cladding


def test_cables_that_come_with_the_program():
    """The seven cables and two thinner claddings are listed in order."""
    known = "rg11-ccs rg11-cu rg213 rg58 rg59-ccs rg6-ccs rg6-ccs-10um rg6-ccs-20um rg6-cu"
    assert list_cables() == tuple(known.split())


@pytest.mark.parametrize("name", list_cables())
def test_record_names_itself_and_its_sources(name):
    """A record carries its file's name, and every value and row a source and a status."""
    cable = load_cable(name)
    assert cable.name == name
    assert all(source and status for _, source, status in cable.sources)
    assert all(point.source and point.status for point in cable.attenuation)


@pytest.mark.parametrize("name", list_cables())
def test_capacitance_agrees_with_impedance_and_velocity(name):
    """The catalogue's capacitance is 1/(Z0 v) within 3 %, the rounding of catalogues."""
    cable = load_cable(name)
    assert cable.capacitance == pytest.approx(1 / (cable.z0 * cable.velocity_factor * C0), rel=0.03)


@pytest.mark.parametrize(
    ("name", "worst"),
    [("rg6-cu", 0.06), ("rg11-cu", 0.04), ("rg59-ccs", 0.08), ("rg58", 0.005), ("rg213", 0.03)],
)
def test_law_meets_its_table(name, worst):
    """k0 + k1 sqrt f + k2 f goes through the table's rows within the stated error of the fit."""
    cable = load_cable(name)
    mega = np.array([point.freq_hz for point in cable.attenuation]) / 1e6
    table = np.array([point.db_per_100m for point in cable.attenuation])
    law = cable.k0 + cable.k1 * np.sqrt(mega) + cable.k2 * mega
    assert np.max(np.abs(law / table - 1)) < worst + 0.005


def test_law_is_valid_where_its_table_is():
    """A law holds between the ends of its table; a layered conductor from the lowest frequencies."""
    assert load_cable("rg213").valid([0.9e6, 1e6, 200e6, 201e6]).tolist() == [False, True, True, False]
    assert load_cable("rg6-ccs").valid([1e3, 1.8e6]).all()


def test_dc_resistance_of_the_wire():
    """18 AWG: 20.9 ohm/km solid; about 97, 131 and 167 ohm/km with 37, 20 and 10 um of copper over steel."""
    expected = {
        0.512e-3: 20.94,
        37e-6: 97.0,
        20e-6: 131.0,
        10e-6: 167.0,
    }  # hand calculation, areas in parallel
    for thickness, ohm_per_km in expected.items():
        assert clad_resistance(0.512e-3, thickness) * 1e3 == pytest.approx(ohm_per_km, rel=0.01)


@pytest.mark.parametrize("name", ["rg6-ccs", "rg6-ccs-20um", "rg6-ccs-10um", "rg11-ccs"])
def test_cladding_goes_with_the_dc_resistance(name):
    """A layered record's thickness gives its own DC resistance, within 6 % for catalogue values."""
    cable = load_cable(name)
    assert clad_resistance(cable.wire_radius, cable.cladding) == pytest.approx(cable.r_inner, rel=0.06)


def test_with_cladding_changes_resistance_too():
    """Another thickness brings the DC resistance that belongs to it, and refuses a cable of unknown wire."""
    thin = with_cladding(load_cable("rg6-ccs"), 20e-6)
    assert thin.r_inner == pytest.approx(load_cable("rg6-ccs-20um").r_inner, rel=1e-5)
    assert replace(thin, cladding=37e-6, r_inner=0.097) == load_cable("rg6-ccs")
    with pytest.raises(ValueError, match="cable rg58 needs a wire radius"):
        with_cladding(load_cable("rg58"), 20e-6)


def test_unknown_cable_names_the_nearest():
    """A misspelt name is answered with the nearest and the list."""
    with pytest.raises(RecordError) as caught:
        load_cable("rg6-css")
    assert str(caught.value) == (
        'circuits/feedlines/rg6-css.toml: there is no cable "rg6-css".\n'
        "  Nearest: rg6-ccs. Known: rg11-ccs, rg11-cu, rg213, rg58, rg59-ccs, rg6-ccs, rg6-ccs-10um, "
        "rg6-ccs-20um, rg6-cu."
    )


def test_own_record_by_path(tmp_path):
    """A builder's own record is read relative to the folder of the study."""
    text = _record("rg58").replace('name = "rg58"', 'name = "mine"')
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    assert replace(load_cable("mine.toml", tmp_path), name="rg58") == load_cable("rg58")


def test_all_faults_of_a_record_at_once(tmp_path):
    """Wrong unit, missing value, unknown key, bad number and unordered rows are reported together."""
    text = _record("rg58").replace('unit = "ohm/m"', 'unit = "ohm/km"', 1).replace("[k1]", "[k9]")
    text = text.replace("value = 0.66", 'value = "fast"').replace("freq_hz = 10000000.0", "freq_hz = 10.0")
    (tmp_path / "bad.toml").write_text(text, encoding="utf-8")
    with pytest.raises(RecordError) as caught:
        load_cable("bad.toml", tmp_path)
    assert str(caught.value) == (
        "bad.toml, k9: is not a key of a cable record.\n"
        "  Nearest known key: k2.\n"
        "bad.toml, velocity_factor.value: is 'fast'.\n"
        "  Write a number, 0 or more.\n"
        "bad.toml, r_inner.unit: is 'ohm/km'.\n"
        '  Convert to "ohm/m".\n'
        "bad.toml, k1: is missing.\n"
        "  Add a table [k1] with value, unit, source, status.\n"
        "bad.toml, attenuation row 2: does not rise: 10.0 Hz.\n"
        "  Order the rows by frequency."
    )


def test_impossible_values_of_a_record(tmp_path):
    """A velocity factor in percent, an impedance of zero and an unknown model are refused."""
    text = _record("rg58").replace("value = 0.66", "value = 66").replace("value = 50.0", "value = 0")
    (tmp_path / "bad.toml").write_text(text.replace('model = "law"', 'model = "rule"'), encoding="utf-8")
    with pytest.raises(RecordError) as caught:
        load_cable("bad.toml", tmp_path)
    assert str(caught.value) == (
        "bad.toml, model: is 'rule'.\n"
        '  Write "law" or "layered".\n'
        "bad.toml, z0.value: is 0.\n"
        "  Write a number above 0.\n"
        "bad.toml, velocity_factor.value: is 66.\n"
        "  Write a fraction, 0.84 for 84 %."
    )


def test_unreadable_records(tmp_path):
    """A missing file and one that is not TOML raise RecordError with the file's name."""
    (tmp_path / "broken.toml").write_text("name = ", encoding="utf-8")
    for name in ("absent.toml", "broken.toml"):
        with pytest.raises(RecordError, match=f"{name}: cannot be read: "):
            load_cable(name, tmp_path)


def _record(name):
    """Text of a record that comes with the program."""
    from sim.paths import CIRCUITS

    return (CIRCUITS / "feedlines" / f"{name}.toml").read_text(encoding="utf-8")
