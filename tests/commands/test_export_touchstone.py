"""Antenna and feedline exported as Touchstone, read back by scikit-rf and held against published values."""

import csv

import numpy as np
import pytest

from sim.cli import main
from sim.deck.build import antenna_of, route_of
from sim.feedline.cable import list_cables
from sim.steps.touchstone import file_frequencies
from sim.study.read import read_study
from tests.conftest import ROOT
from tests.small_studies import at_band, export, small_text, write_study

pytest.importorskip("skrf")

STUDY = small_text(
    title="Exported µ-parts", bands={"frequencies": ["0.5M", "1.8M", "3.5M", "7M", "10M", "30M"]}
)
TEE = """\
[feedline.tee]
at = "{at}"
choke = "{choke}"
choke_capacitance = "0"
choke_loss = "1G"
choke_resistance = "0"
block = "{block}"
"""
COPPER = """\
name = "copper"
description = "rg6-cu by its construction"
model = "layered"
z0 = {value = 75.0, unit = "ohm", source = "rg6-cu", status = "test"}
velocity_factor = {value = 0.82, unit = "1", source = "rg6-cu", status = "test"}
wire_diameter = {value = 1.024e-3, unit = "m", source = "rg6-cu", status = "test"}
cladding = {value = 0.512e-3, unit = "m", source = "rg6-cu", status = "test"}
r_shield = {value = 0.0092, unit = "ohm/m", source = "rg6-cu", status = "test"}
shield_conductivity = {value = 35e6, unit = "S/m", source = "rg6-cu", status = "test"}
"""


def line_theory(name):
    """Rows of a table of line theory."""
    lines = (ROOT / "tests" / "data" / "line-theory" / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if line[0] != "#"))


@pytest.fixture
def exported(tmp_path):
    """Writes a study, exports a part of it by the command, and reads it with scikit-rf."""

    def written(what, feedline="", study=STUDY):
        path = write_study(tmp_path, study + feedline)
        return read_study(path), export(path, what)

    return written


def s21_db(network, freq_hz):
    """Transmission at one of the file's frequencies. [dB]"""
    return 20 * np.log10(np.abs(network.s[at_band(network, freq_hz), 1, 0]))


def test_feedline_reads_back(exported, capsys):
    """Three sections and two tees come back as the chain matrix that the program uses, to 1e-9, in 75 ohm."""
    feedline = '[feedline]\nsections = [{cable = "rg6-ccs", length = "90 m"}, {cable = "rg58", length = "30 m"}]\n'
    study, network = exported("feedline", feedline + TEE.format(at="both", choke="100u", block="10n"))
    freq_hz = file_frequencies(study)
    assert np.array_equal(network.f, freq_hz) and set(study.bands.frequencies) <= set(network.f)
    assert np.all(network.z0 == 75)
    ours, scale = route_of(study).chain_matrix(freq_hz), np.array([[1.0, 75.0], [1 / 75.0, 1.0]])
    assert np.max(np.abs(network.a - ours) / scale) < 1e-9 * np.max(np.abs(ours) / scale)
    assert np.array_equal(network.s[:, 0, 1], network.s[:, 1, 0])
    # The file begins at 300 kHz, the table of rg58 at 1 MHz; rg6-ccs is a layered conductor.
    caution = "Caution: the file goes beyond the range of the data of rg58, 1 MHz to 200 MHz.\n"
    assert caution in network.comments and capsys.readouterr().out.endswith(f"s2p written\n{caution}")
    assert network.comments.count("Caution") == 1


@pytest.mark.parametrize("name", list_cables())
def test_every_cable_exports_passive(exported, name):
    """300 m of every cable are a passive reciprocal two-port that scikit-rf reads."""
    _, network = exported("feedline", f'[feedline]\ncable = "{name}"\nlength = "300 m"\n')
    assert network.is_passive() and network.is_reciprocal()


def test_antenna_reads_back(exported):
    """The one-port is the antenna beside its stray capacitance, to 1e-9 of the reflection."""
    study, network = exported("antenna")
    antenna, omega = antenna_of(study), 2 * np.pi * network.f
    seen = 1 / (1 / antenna.impedance(network.f) + 1j * omega * 3e-12)
    assert network.s[:, 0, 0] == pytest.approx((seen - 75) / (seen + 75), abs=1e-9)
    assert network.z[:, 0, 0] == pytest.approx(seen, rel=1e-9)


# 20 log10|1 + Z0/(2 Zc)| and 20 log10|1 + Zb/(2 Z0)| at 0.5 MHz and 75 ohm, closed forms; 2 %.
@pytest.mark.parametrize(
    ("choke", "block", "loss_db"), [("220u", "1", 0.0128), ("10", "10n", 0.1913)], ids=["choke", "block"]
)
@pytest.mark.parametrize("at", ["amplifier", "receiver"])
def test_insertion_loss_of_a_bias_tee(exported, at, choke, block, loss_db):
    """A choke of 220 uH and a block of 10 nF cost what their closed forms say, at either end."""
    _, network = exported("feedline", TEE.format(at=at, choke=choke, block=block))
    assert -s21_db(network, 0.5e6) == pytest.approx(loss_db, rel=0.02)


# Half the loss in series and half in shunt at the frequency that is read: a line of real impedance.
DISTORTIONLESS = """\
name = "real"
description = "real impedance at one frequency"
model = "law"
z0 = {{value = {z0}, unit = "ohm", source = "closed form", status = "test"}}
velocity_factor = {{value = {velocity_factor}, unit = "1", source = "closed form", status = "test"}}
r_inner = {{value = 0, unit = "ohm/m", source = "closed form", status = "test"}}
r_shield = {{value = 0, unit = "ohm/m", source = "closed form", status = "test"}}
k0 = {{value = {series}, unit = "dB/100m", source = "closed form", status = "test"}}
k1 = {{value = 0, unit = "dB/100m at 1 MHz", source = "closed form", status = "test"}}
k2 = {{value = {shunt}, unit = "dB/100m at 1 MHz", source = "closed form", status = "test"}}
"""


@pytest.mark.parametrize("row", line_theory("input_impedance.csv"), ids=lambda row: f"{row['z0']}-load-{row['load']}")
def test_input_impedance_of_a_line(exported, tmp_path, row):
    """Terminated in scikit-rf, the exported file shows the closed form's input impedance, 0.5 %."""
    freq_hz, half = float(row["frequency_hz"]), float(row["loss_db_per_100m"]) / 2
    record = DISTORTIONLESS.format(series=half, shunt=half / (freq_hz / 1e6), **row)
    (tmp_path / "real.toml").write_text(record, encoding="utf-8")
    bands = STUDY.replace('"0.5M", "1.8M"', f'"0.5M", {freq_hz!r}').replace('"3.5M", ', "")
    _, network = exported("feedline", f'[feedline]\ncable = "real.toml"\nlength = "{row["length_m"]} m"\n', bands)
    at = at_band(network, freq_hz)
    load = float(row["load"])
    reflection = 1.0 if np.isinf(load) else (load - 75) / (load + 75)
    s = network.s[at]
    seen = s[0, 0] + s[0, 1] * s[1, 0] * reflection / (1 - s[1, 1] * reflection)
    expected = float(row["re"]) + 1j * float(row["im"])
    assert abs(75 * (1 + seen) / (1 - seen) - expected) < 0.005 * abs(expected)


@pytest.mark.parametrize("cable", ["rg6-ccs-20um", "rg6-cu"])
def test_transmission_of_a_layered_cable(exported, tmp_path, cable):
    """S21 of 100 m between 75 ohm: layered-conductor calculation by other code (tests/data/line-theory), 0.05 dB."""
    (tmp_path / "copper.toml").write_text(COPPER, encoding="utf-8")
    named = "copper.toml" if cable == "rg6-cu" else cable
    _, network = exported("feedline", f'[feedline]\ncable = "{named}"\nlength = "100 m"\n')
    rows = [row for row in line_theory("transmission.csv") if row["cable"] == cable]
    assert len(rows) == 5
    for row in rows:
        assert s21_db(network, float(row["frequency_hz"])) == pytest.approx(float(row["s21_db"]), abs=0.05)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (
            ["feedline", "-o", "line.s1p"],
            'line.s1p: does not end in .s2p.\n  Write, for example, "feedline.s2p": readers go by the ending.\n',
        ),
        (
            ["antenna", "-o", "antenna"],
            'antenna: does not end in .s1p.\n  Write, for example, "antenna.s1p": readers go by the ending.\n',
        ),
        (
            ["antenna", "--unit", "3", "-o", "a.s1p"],
            "study.toml: --unit 3 says nothing: the antenna is the same for all units.\n  Take --unit out.\n",
        ),
    ],
    ids=["another ending", "no ending", "a unit"],
)
def test_what_cannot_be_exported(tmp_path, capsys, monkeypatch, words, message):
    """A file that its readers would misread is not written; exit code 2."""
    monkeypatch.chdir(tmp_path)
    write_study(tmp_path, STUDY)
    assert main(["export", "study.toml", *words]) == 2
    assert capsys.readouterr().err == message
    assert [path.name for path in tmp_path.iterdir()] == ["study.toml"]
