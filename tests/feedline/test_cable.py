"""Cable records: complete, consistent, and refused with all their faults."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sim.constants import C0
from sim.errors import RecordError
from sim.feedline.cable import AttenuationPoint, clad_resistance, list_cables, load_cable, with_cladding
from sim.feedline.line import characteristic, loop_resistance, matched_loss, table_loss


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
        '  Write "law", "layered" or "table".\n'
        "bad.toml, z0.value: is 0.\n"
        "  Write a number above 0.\n"
        "bad.toml, velocity_factor.value: is 66.\n"
        "  Write a fraction, 0.84 for 84 %."
    )


DOC = Path(__file__).parents[2] / "docs" / "own-cable.md"


@pytest.fixture
def documented(tmp_path):
    """The records of the documentation as files; gives their folder."""
    for record in re.findall(r"```toml\n(# (\S+)\n.*?)```", DOC.read_text(encoding="utf-8"), re.DOTALL):
        (tmp_path / record[1]).write_text(record[0], encoding="utf-8")
    return tmp_path


def test_documented_table_record(documented):
    """The record of the documentation is read, holds its rows' loss exactly and interpolates between them."""
    cable = load_cable("drum-7.toml", documented)
    rows = np.array([point.freq_hz for point in cable.attenuation])
    assert matched_loss(cable, 100.0, rows) == pytest.approx([1.61, 1.80, 3.23], rel=1e-12)
    # Hand calculation: half way in log f between 0.5 and 3.5 MHz is the geometric mean of both losses.
    assert matched_loss(cable, 100.0, np.sqrt(rows[0] * rows[1])) == pytest.approx(np.sqrt(1.61 * 1.80), rel=1e-12)
    assert cable.valid([0.4e6, 0.5e6, 30e6, 31e6]).tolist() == [False, True, True, False]
    assert loop_resistance(cable, 100.0) == pytest.approx(16.05)
    assert cable.capacitance == pytest.approx(52.9e-12, rel=0.001)  # 1/(75 ohm × 0.84 c)


def test_table_is_carried_on_with_its_outer_slopes(documented):
    """Outside the rows log(loss) goes on as it went between the two outermost."""
    cable = load_cable("drum-7.toml", documented)
    low, high = np.log(1.80 / 1.61) / np.log(7), np.log(3.23 / 1.80) / np.log(30 / 3.5)
    expected = [1.61 * 0.5**low, 3.23 * 2**high]  # hand calculation
    assert table_loss(cable, [0.25e6, 60e6]) == pytest.approx(expected, rel=1e-12)


def test_table_line_is_passive_and_near_its_nominal_impedance(documented):
    """Loss lies in the conductors: Zc = Z0 (sqrt(1 + (a/b0)²) − j a/b0) with b0 the lossless phase constant."""
    cable, freq = load_cable("drum-7.toml", documented), np.array([0.5e6, 1.8e6, 30e6])
    gamma, zc = characteristic(cable, freq)
    share = gamma.real / (2 * np.pi * freq / (0.84 * C0))
    assert zc == pytest.approx(75 * (np.sqrt(1 + share**2) - 1j * share), rel=1e-12)
    assert (gamma * zc).real.min() > 0
    warm = matched_loss(cable, 100.0, freq, 310.0) / matched_loss(cable, 100.0, freq)
    assert warm == pytest.approx(np.sqrt(1 + 0.0039 * 20), rel=0.001)


def test_table_measured_on_another_cable_gives_that_cable(documented):
    """A table read off the 20 um cable gives its loss between the rows within 2 %, down to 0.5 MHz."""
    own, real = load_cable("drum-7.toml", documented), load_cable("rg6-ccs-20um")
    grid = np.geomspace(0.5e6, 30e6, 41)
    rows = tuple(
        AttenuationPoint(f, float(matched_loss(real, 100.0, f)), "computed", "computed")
        for f in (0.5e6, 1e6, 1.8e6, 3.5e6, 5e6, 7e6, 10e6, 14e6, 21e6, 30e6)
    )
    assert matched_loss(replace(own, attenuation=rows), 100.0, grid) == pytest.approx(
        matched_loss(real, 100.0, grid), rel=0.02
    )


def test_documented_construction_is_the_cable_that_comes_along(documented):
    """Diameter, cladding and shield give rg6-ccs-20um itself, once the shield is aluminium as there."""
    own, known = load_cable("quad.toml", documented), load_cable("rg6-ccs-20um")
    freq = np.array([0.5e6, 1.8e6, 7e6, 30e6])
    same = replace(own, shield_conductivity=35e6)
    assert matched_loss(same, 100.0, freq) == pytest.approx(matched_loss(known, 100.0, freq), rel=1e-6)
    assert own.r_inner == pytest.approx(known.r_inner, rel=1e-5)
    assert own.valid([1e3, 1.8e6]).all()
    # Layered-conductor computation by other code, 20 um: tests/data/own-calculations.
    assert matched_loss(own, 100.0, np.array([1.8e6])) == pytest.approx([1.71], rel=0.01)


def test_faults_of_own_records(documented):
    """What a builder gets wrong: one row, a radius beside a diameter, copper thicker than the wire, no wire at all."""
    table, quad = ((documented / name).read_text(encoding="utf-8") for name in ("drum-7.toml", "quad.toml"))
    second = table.index("[[attenuation]]", table.index("[[attenuation]]") + 1)
    radius = quad[quad.index("[wire_diameter]") : quad.index("[cladding]")].replace("diameter", "radius")
    wrong = {
        "one.toml": table[:second].replace("[r_inner]", "[r_outer]"),
        "both.toml": quad + radius,
        "thick.toml": quad.replace("value = 20e-6", "value = 1e-3"),
        "wireless.toml": quad.replace("[wire_diameter]", "[loss_tangent]").replace('"m"', '"1"', 1),
        "lossless.toml": table.replace("db_per_100m = 1.61", "db_per_100m = 0"),
        "number.toml": "model = ['table']\ncladding = 3\nwire_radius = 2\n" + table.replace("model =", "caution ="),
    }
    said = {}
    for name, text in wrong.items():
        (documented / name).write_text(text, encoding="utf-8")
        with pytest.raises(RecordError) as caught:
            load_cable(name, documented)
        said[name] = str(caught.value)
    assert said["one.toml"] == (
        "one.toml, r_outer: is not a key of a cable record.\n"
        "  Nearest known key: r_inner.\n"
        "one.toml, r_inner: is missing.\n"
        "  Add a table [r_inner] with value, unit, source, status.\n"
        "one.toml, attenuation: has 1 row.\n"
        "  The table model needs two [[attenuation]] rows or more."
    )
    assert said["both.toml"] == "both.toml, wire_diameter: is given beside wire_radius.\n  Give one of them."
    assert said["thick.toml"] == (
        "thick.toml, cladding: of 0.001 m is thicker than the wire's radius of 0.000512 m.\n"
        "  Write the thickness of the copper alone, in metres."
    )
    assert said["wireless.toml"] == (
        "wireless.toml, wire_diameter: is missing.\n  The layered model needs [wire_diameter] (or [wire_radius])."
    )
    assert said["lossless.toml"] == (
        "lossless.toml, attenuation row 1: has a loss of 0 dB.\n  Write a loss above 0, in dB per 100 m."
    )
    assert "number.toml, model: is ['table']." in said["number.toml"]
    assert "number.toml, cladding: states no source." in said["number.toml"]


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
