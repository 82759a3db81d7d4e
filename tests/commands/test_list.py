"""What `bandfloor list antennas|cables|noise` tells a builder: parameters, units, where it holds, sources."""

import pytest

from sim.antenna.about import ABOUT
from sim.cli import main
from sim.feedline.cable import list_cables, load_cable
from sim.noise.atmospheric import atmospheric_records
from sim.noise.external import CLASSES
from sim.study.antennas import ANTENNA_MODELS


@pytest.fixture
def said(capsys, monkeypatch):
    """Prints a list and gives its words, each line with single spaces."""
    monkeypatch.setenv("COLUMNS", "140")

    def listed(what):
        assert main(["list", what]) == 0
        return [" ".join(line.split()) for line in capsys.readouterr().out.splitlines() if line.strip()]

    return listed


@pytest.mark.parametrize("model", ANTENNA_MODELS)
def test_every_antenna_says_its_range_and_source(said, model):
    """Each model has its words, where it holds, its sources, and each key with unit and meaning."""
    lines = said("antennas")
    start = next(number for number, line in enumerate(lines) if line.startswith(f"{model}: "))
    words = " ".join(lines[start:])
    assert f"Good: {ABOUT[model].valid}. Source: {ABOUT[model].source}. key unit default meaning" in words
    for key, field in ANTENNA_MODELS[model].model_fields.items():
        if key != "model":
            row = next(line for line in lines[start:] if line.split()[0] == key)
            assert row.startswith(f"{key} {field.json_schema_extra['unit']}".strip())
            assert row.split()[-1] in field.description


def test_cables_say_by_what_and_how_far(said):
    """Each cable with loop resistance, losses, model and range; 12.7 ohm and 1.07 dB are rg6-ccs's (37 um)."""
    lines = said("cables")
    assert "rg6-ccs 75 12.7 1.07 1.53 layered 0–1000" in lines
    assert any(line.startswith("rg58 50 ") and line.endswith(" law 1–200") for line in lines)
    words = " ".join(lines)
    assert "docs/own-cable.md" in words and "Z0 loop MHz MHz" in words
    for name in list_cables():
        assert f"{name} {load_cable(name).description}. Loss: " in words
    assert "on the inner conductor. Loss: a published web measurement of one quad-shield RG-6 (published, " in words


def test_noise_says_where_it_holds_and_whose_it_is(said):
    """Each class with median and deciles, range and source; each record of lightning with its quality."""
    lines = said("noise")
    words = " ".join(lines)
    # ITU-R P.372: c - d log10 f at 1.8, 3.5 and 7 MHz, deciles over time and place.
    assert "rural 60.1 52.1 43.8 +9.2 −4.6 ±6.8" in lines
    assert "Good from 0.3 to 250 MHz: city (city or business area), residential" in words
    assert "Good from 10 to 100 MHz: galactic (sky only, above foF2). Source: ITU-R P.372, galactic noise" in words
    assert all(f"{record.name} (" in words and record.reference in words for record in CLASSES)
    assert all(any(line.startswith(f"{record.name} ") for line in lines) for record in atmospheric_records())
    assert "from 1.8 to 7 MHz and a twentieth beyond. Source: ITU-R P.372 data" in words


def test_opamps_mark_numbers_that_were_not_read(said):
    """Behind a number from memory stands "?", behind an estimate "~", behind what was read nothing."""
    lines = said("opamps")
    # TI OPA2822 SBOS188E p1 gives 240 MHz, 2.0 nV, 4.8 mA, 5 to 12 V; current noise only for +5 V.
    assert "OPA2822 240 MHz 1 2 1.6? 5–12 4.8" in lines and "OPA2822 bipolar low-noise VFB" in lines
    assert any(line.startswith("ADA4899-1 400 MHz~ 1 1 2.6 ") for line in lines)
    assert any(line.startswith("LM358 700 kHz? 1? 40? 0.15? 3–32? 0.35?") for line in lines)
    words = " ".join(lines)
    assert "? from memory, ~ an estimate: not read in a data sheet." in words and "docs/own-opamp.md" in words


def test_opamps_that_fit(capsys):
    """What fits is listed under what was asked, and nothing else."""
    asked = ["--supply", "10.5..13.8", "--technology", "FET", "--gain", "1", "--noise", "8 nV"]
    assert main(["list", "opamps", *asked, "--current-noise", "0.02pA", "--bandwidth", "60M"]) == 0
    out = capsys.readouterr().out
    asked = "--supply 10.5..13.8, --technology FET, --gain 1, --noise 8 nV, --current-noise 0.02pA, --bandwidth 60M."
    assert f"3 of 20 op-amps fit {asked}" in " ".join(out.split())
    listed = [line.split()[0] for line in out.splitlines() if " MHz" in line]
    assert listed == ["AD8066", "OPA810", "THS4631"]


def test_opamps_of_which_none_fits(capsys):
    """Where nothing fits, the strictest wish stands first and the nearest parts say what they lack."""
    assert main(["list", "opamps", "--supply", "12", "--technology", "FET", "--noise", "1"]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "No op-amp of the catalogue fits all of this.",
        "  --noise 1 leaves out 16 of 20.",
        "  --technology FET leaves out 11 of 20.",
        "  --supply 12 leaves out 3 of 20.",
        "Nearest:",
        "  OPA818: 2.2 nV/√Hz, asked 1.",
        "  OPA657: 4.8 nV/√Hz, asked 1.",
        "  OPA810: 6.3 nV/√Hz, asked 1.",
    ]


def test_wishes_are_checked(capsys):
    """Faults of several options are said at once, exit code 2; they choose among op-amps only."""
    assert main(["list", "opamps", "--supply", "12 A", "--noise", "0", "--bandwidth", "fast"]) == 2
    err = capsys.readouterr().err
    assert "list opamps, --supply: " in err and "list opamps, --bandwidth: " in err
    assert "list opamps, --noise: 0 is not above 0.\n  Write a number above 0." in err
    assert main(["list", "cables", "--supply", "12"]) == 2
    assert capsys.readouterr().err == (
        "list cables, --supply: chooses among op-amps, not among cables.\n"
        "  Take it out, or: bandfloor list opamps --supply …\n"
    )


def test_measures_are_listed_whole(said):
    """Each measure with its meaning to the last sign: brackets of a table's name are no markup."""
    words = " ".join(said("measures"))
    assert "fully modulated; needs [[strong]]" in words
