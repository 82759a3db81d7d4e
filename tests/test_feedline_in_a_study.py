"""Sections, bias tees and a builder's own cable as a study has them, against plain ngspice and Ohm's law."""

import csv
import re

import numpy as np
import pytest

from sim.cli import main
from sim.engine.ngspice import batch
from sim.measures.panel import BANDED, SINGLE
from sim.quantity import format_quantity
from sim.steps.sample import netlist_text
from sim.steps.simulate import simulate
from sim.study.read import read_study, study_text
from sim.study.scenarios import scenarios
from tests.conftest import ROOT
from tests.small_studies import small_text, write_study

STUDY = small_text(
    bands={"frequencies": ["0.52M", "1.83M", "7.05M"]}, run={"units": 2}, vary={"amplifier.parts.Cf": ["8.2p", "10p"]}
)
SECTIONS = """\
[feedline]
sections = [
    {cable = "rg6-ccs", length = "90 m"},
    {cable = "drum-7.toml", length = "40 m"},
    {cable = "rg58", length = "5 m"},
]
"""
TEE = """\
[feedline.tee]
choke = "100u"
choke_loss = "3k"
choke_resistance = "1.5"
block = "10n"
"""


def rows(name):
    """Rows of a table of closed forms of line theory."""
    lines = (ROOT / "tests" / "data" / "line-theory" / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if line[0] != "#"))


@pytest.fixture
def study(tmp_path):
    """Writes and reads a study with a feedline, beside a builder's own cable record."""
    page = (ROOT / "docs" / "own-cable.md").read_text(encoding="utf-8")
    (tmp_path / "drum-7.toml").write_text(
        re.search(r"```toml\n(# drum-7.toml\n.*?)```", page, re.DOTALL)[1], encoding="utf-8"
    )

    def read(feedline):
        return read_study(write_study(tmp_path, STUDY + feedline))

    return read


def measured(study):
    """Values of both kinds of measures: (scenario, unit, measure, band) and (scenario, unit, measure)."""
    arrays, failures = simulate(study, "1-of-1")
    assert not failures
    return arrays["banded"], arrays["single"]


# Hand calculation from the records: 12.65 and 4.85 ohm for 100 m, 16.05 ohm for the documented drum.
@pytest.mark.parametrize(
    ("feedline", "resistance"),
    [
        (SECTIONS, 11.385 + 6.42 + 0.2425),
        (SECTIONS + TEE, 11.385 + 6.42 + 0.2425 + 3.0),
        ('[feedline]\nlength = "100 m"\n' + TEE + 'at = "receiver"\n', 12.65 + 1.5),
        (TEE, 3.0),
    ],
    ids=["sections", "sections and tees", "one tee", "tees without a line"],
)
def test_study_agrees_with_plain_ngspice(study, feedline, resistance, tmp_path):
    """Gain 0.001 dB, phase 0.01 degree, noise 0.001 dB against the exported deck; the supply drops by Ohm's law."""
    study = study(feedline)
    banded, single = measured(study)
    said = batch(netlist_text(scenarios(study)[1].study, 1, 1), tmp_path)
    lines = (line.split("=") for line in said.splitlines() if line.startswith(("gain_db_", "phase_deg_", "output_")))
    printed = {name.strip(): float(value.split()[0]) for name, value in lines}
    assert len(printed) == 9
    unit = banded[1, 1]
    for band in range(3):
        at = {name: unit[BANDED.index(name), band] for name in ("gain_db", "phase_deg", "output_noise_nv")}
        assert printed[f"gain_db_{band + 1}"] == pytest.approx(at["gain_db"], abs=1e-3)
        assert (printed[f"phase_deg_{band + 1}"] - at["phase_deg"] + 180) % 360 - 180 == pytest.approx(0, abs=1e-2)
        ratio = printed[f"output_noise_nv_{band + 1}"] / at["output_noise_nv"]
        assert 20 * np.log10(ratio) == pytest.approx(0, abs=1e-3)
    supply, current = (single[0, 0, SINGLE.index(name)] for name in ("supply_v", "current_ma"))
    assert supply == pytest.approx(12 - current * 1e-3 * resistance, abs=2e-4)


# A passive divider, so that nothing but the source across the supply draws current.
LOADED = """\
* A divider and a load of its own on the supply
.subckt amplifier in out vcc gnd
Ra in  out 300 ; 5%  series
Rb out gnd 200 ; 1%  shunt
Bl vcc gnd i={current}
.ends amplifier
"""


@pytest.mark.parametrize(
    "row", rows("dc_drop.csv"), ids=lambda row: f"{row['cable']}-{row['length_m']}-{row['load_kind']}"
)
def test_supply_at_the_amplifier(study, tmp_path, row):
    """12 V less the drop in cable and two chokes of 1 ohm, for constant current and constant power (closed forms)."""
    # A pure constant power has a second operating point, 2.5 V, and is not what a regulator does below its least input.
    current = row["load"] if row["load_kind"] == "current" else f"{row['load']}/max(v(vcc),6)"
    (tmp_path / "loaded.cir").write_text(LOADED.format(current=current), encoding="ascii")
    tee = f'[feedline.tee]\nchoke_resistance = "{float(row["chokes"]) / 2}"\n'
    text = (
        STUDY[: STUDY.index("[[vary]]")].replace('"transimpedance"', '"loaded.cir"').replace("units = 2", "units = 1")
    )
    feedline = f'[feedline]\ncable = "{row["cable"]}"\nlength = "{row["length_m"]} m"\n'
    _, single = measured(read_study(write_study(tmp_path, text + feedline + tee)))
    assert single[0, 0, SINGLE.index("supply_v")] == pytest.approx(float(row["voltage"]), rel=1e-3)


def test_two_sections_of_one_cable_are_that_cable(study):
    """30 m and 100 m of a cable give every measure of 130 m."""
    halves = '[feedline]\nsections = [{cable = "rg6-ccs", length = "30 m"}, {cable = "rg6-ccs", length = "100 m"}]\n'
    for cut, whole in zip(measured(study(halves)), measured(study('[feedline]\nlength = "130 m"\n')), strict=True):
        assert cut == pytest.approx(whole, rel=1e-6, abs=1e-9, nan_ok=True)


def test_the_written_study_is_the_same(study, tmp_path):
    """Sections and tee stand in the complete text, cable and length do not, and it reads back the same."""
    first = study(SECTIONS + TEE)
    text = study_text(first)
    assert 'sections = [{cable = "rg6-ccs", length = "90 m"}, {cable = "drum-7.toml", length = "40 m"}, ' in text
    assert "\ncable = " not in text and "\nlength = " not in text
    assert '\nat = "both"\nchoke = "100 uH"\nchoke_capacitance = "5 pF"\n' in text
    (tmp_path / "again.toml").write_text(text, encoding="utf-8")
    assert read_study(tmp_path / "again.toml") == first


def test_parts_of_a_tee_can_be_compared(study):
    """Keys of the tee are varied by their dotted names, with or without the table."""
    read = study('[[vary]]\nwhat = "feedline.tee.block"\nvalues = ["1n", "100n"]\n')
    assert [s.study.feedline.tee.block.value for s in scenarios(read)[:2]] == [1e-9, 1e-7]


def test_check_draws_every_section_and_tee(study, tmp_path, capsys, monkeypatch):
    """The drawing has the tees and the sections in their order; the supply's line counts the chokes."""
    study(SECTIONS + TEE)
    monkeypatch.setenv("COLUMNS", "200")
    assert main(["check", str(tmp_path / "study.toml")]) == 0
    said = capsys.readouterr().out
    words = "bias tee|rg6-ccs|drum-7.toml|rg58|receiver"
    assert re.findall(words, said)[:6] == ["bias tee", "rg6-ccs", "drum-7.toml", "rg58", "bias tee", "receiver"]
    assert "section 2 of 3" in said and "block 10 nF" in said
    assert f"choke {format_quantity(100e-6, 'H')}, 1.5 Ω" in said
    assert "21 Ω of line and chokes before the amplifier" in said
    # Hand calculation: 326.7 ohm of 100 uH beside 5 pF and 3 kohm at 0.52 MHz: 326 ohm.
    assert "The bias tee's choke has 326 Ω at 520 kHz, less than ten times the cable's 75 Ω." in said
    assert "1.83 MHz, less than" not in said


def test_a_band_outside_the_table_is_marked(study, tmp_path, capsys):
    """Where a builder's table does not reach the band, the study says so."""
    study('[feedline]\ncable = "drum-7.toml"\nlength = "40 m"\n'.replace("0.52M", "0.4M"))
    text = (tmp_path / "study.toml").read_text(encoding="utf-8").replace('"0.52M"', '"0.4M"')
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    assert main(["check", str(tmp_path / "study.toml")]) == 0
    assert "Note: 400 kHz lies outside the data of the cable drum-7." in capsys.readouterr().out


def test_a_faulty_record_ends_with_all_its_faults(study, tmp_path, capsys):
    """Exit code 2 and the record's own faults, also for a cable inside sections."""
    study(SECTIONS)
    record = (tmp_path / "drum-7.toml").read_text(encoding="utf-8")
    (tmp_path / "drum-7.toml").write_text(record.replace("[z0]", "[zo]"), encoding="utf-8")
    assert main(["check", str(tmp_path / "study.toml")]) == 2
    assert capsys.readouterr().err == (
        "drum-7.toml, zo: is not a key of a cable record.\n"
        "  Nearest known key: z0.\n"
        "drum-7.toml, z0: is missing.\n"
        "  Add a table [z0] with value, unit, source, status.\n"
    )
