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
