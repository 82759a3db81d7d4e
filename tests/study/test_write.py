"""A study written out and read back is the same study."""

import tomllib

import numpy as np
import pytest

from sim.quantity import Limit, PartValue, Tolerance, parse_limit, parse_part
from sim.study.model import Study
from sim.study.read import read_study, study_text
from sim.study.schema import study_keys
from sim.study.write import toml_value
from tests.conftest import ROOT
from tests.small_studies import BASE

STUDIES = sorted((ROOT / "studies").glob("*.toml"))

ARRAY = {"positions": [[0, 0], [0, 20]], "direction": [{"bearing": 0, "weights": [-1, 1]}]}
PLAIN = {**BASE, "title": "Plain", "amplifier": {"circuit": "transimpedance", "opamp": "OPA810"}}


def back(study: Study) -> Study:
    """A study written and read again, without a file."""
    return Study.model_validate(tomllib.loads(study_text(study)))


def test_the_text_of_a_short_study_is_whole():
    """Every default stands in it, as an engineer writes it (hand check of the whole text)."""
    study = Study.model_validate(
        {
            **PLAIN,
            "amplifier": {**PLAIN["amplifier"], "parts": {"Cf": "8.2p 5%", "R 1": 75}},
            "vary": [{"what": "feedline.length", "values": ["0", 30, 1.5]}],
            "limits": {"gain_db": "10.7 +- 0.6", "noise_margin_db": "> 10", "current_ma": "< 30"},
        }
    )
    assert (
        study_text(study)
        == """\
title = "Plain"

[amplifier]
circuit = "transimpedance"
opamp = "OPA810"

[amplifier.parts]
Cf = "8.2p 5%"
"R 1" = "75.0"

[antenna]
model = "short-vertical"
height = "7 m"
radius = "8 mm"
gap = "75 mm"
ground_loss = "30 ohm"
lead = "0 H"
stray = "3 pF"

[feedline]
cable = "rg6-ccs"
length = "0 m"
power = "coax"
length_tolerance = "0 m"
velocity_tolerance = "0"

[supply]
voltage = "12 V 5%"

[receiver]
impedance = "75 ohm"
noise_figure = "12 dB"
bandwidth = "500 Hz"

[site]
noise = "quiet-rural"
level = "median"
location = "median"

[bands]
frequencies = ["1.83 MHz", "3.53 MHz", "7.05 MHz"]

[run]
units = 1000
seed = 1
temperature = "20"
sun = "20 K"
years = "0"
build = 16

[fixture]
source = "50 ohm"
dummy = "47 pF"
stray = "0 F"
load = "50 ohm"

[[vary]]
what = "feedline.length"
values = ["0", 30, 1.5]

[limits]
gain_db = "10.1..11.3"
noise_margin_db = "> 10"
current_ma = "< 30"
"""
    )


def test_values_are_written_with_as_few_digits_as_they_have():
    """A prefix is kept where more digits are needed to be exact; all digits stand only where none would do."""
    assert toml_value(475.25e3, "Hz") == '"475.25 kHz"'
    assert toml_value(8.2e-12, "F") == '"8.2 pF"'
    assert toml_value(1 / 3, "m") == '"0.3333333333333333 m"'


@pytest.mark.parametrize("path", STUDIES, ids=lambda path: path.stem)
def test_studies_of_the_program_come_back(path, tmp_path):
    """Each study that comes along reads back equal, line for line the second time."""
    study = read_study(path)
    for data in path.parent.glob("*.csv"):
        (tmp_path / data.name).write_bytes(data.read_bytes())
    (tmp_path / "again.toml").write_text(study_text(study), encoding="utf-8")
    again = read_study(tmp_path / "again.toml")
    assert again == study
    assert study_text(again) == study_text(study)


def test_there_are_studies_to_come_back():
    """The test above has something to look at."""
    assert len(STUDIES) >= 4


def _odd(random, low, high):
    """A number with all its binary digits, spread over decades."""
    return float(np.exp(random.uniform(np.log(low), np.log(high))))


def test_numbers_come_back_to_the_last_bit():
    """Values that no short text gives exactly are written out with all their digits."""
    random = np.random.default_rng(11)
    for _ in range(300):
        study = Study.model_validate(
            {
                **PLAIN,
                "antenna": {
                    "model": "short-vertical",
                    "height": _odd(random, 2, 30),
                    "radius": _odd(random, 1e-4, 0.2),
                    "stray": _odd(random, 1e-20, 1e-9),
                    "ground_loss": _odd(random, 1e-3, 1e4),
                },
                "feedline": {"length": _odd(random, 1e-9, 3000)},
                "receiver": {"noise_figure": _odd(random, 1e-6, 60)},
                "bands": {"frequencies": sorted(_odd(random, 5e4, 6e7) for _ in range(4))},
                "supply": {
                    "voltage": PartValue(
                        _odd(random, 1, 60), Tolerance(-_odd(random, 1e-7, 0.9), _odd(random, 1e-7, 3)), ("normal",)
                    )
                },
                "run": {"temperature": (-_odd(random, 1e-3, 60), _odd(random, 1e-3, 100))},
                "limits": {"gain_db": Limit(-_odd(random, 1e-9, 100), _odd(random, 1e-9, 1e17))},
            }
        )
        assert back(study) == study


@pytest.mark.parametrize(
    "site",
    [{"frequencies": ["1M", 7.1e6], "fa_db": [52.25, -3]}, {"frequencies": [1e6, 2e6], "field_dbuv_per_m": [1, 2]}],
)
def test_tables_of_noise_come_back(site):
    """The builder's own noise is written as a table of its own."""
    study = Study.model_validate({**PLAIN, "site": {"noise": site}})
    assert "[site.noise]" in study_text(study)
    assert back(study) == study


@pytest.mark.parametrize("title", ['"quoted" \\ # [x]', "größer – Ω", "'", "=", "\\u0041"])
def test_texts_come_back(title):
    """Signs that mean something to TOML stay what they are."""
    study = Study.model_validate({**PLAIN, "title": title, "vary": [{"what": "site.noise", "values": [title]}]})
    assert back(study) == study
    assert back(study).title == title


def test_every_key_is_written():
    """No key of the models is forgotten in the text of a whole study."""
    one = [{"frequency": "621k", "emf": "1 V"}]
    tables = {"feedline": {"tee": {}}, "stability": {}, "weather": {}, "strong": one, "array": ARRAY}
    written = study_text(Study.model_validate({**PLAIN, **tables}))
    for key in study_keys():
        default = key.default and ("[antenna]" not in key.table or "short-vertical" in key.table)
        assert not default or f"\n{key.name} = {key.default}\n" in written, key


@pytest.mark.parametrize("text", ["> 10", "< -0.1", "8..12", "10.7 +- 0.6", "> 1e-30", "0 +- 1e17"])
def test_limits_come_back(text):
    """A bound is written so that it reads as the same bound."""
    limit = parse_limit(text)
    assert parse_limit(tomllib.loads(f"limit = {toml_value(limit, '')}")["limit"]) == limit


@pytest.mark.parametrize("text", ["12 V", "12 V 5%", "12 V 7% normal", "12 V 0.25 V", "12 V -0.00001%/+30%", "12 V 0%"])
def test_supplies_come_back(text):
    """A voltage is written so that it reads with the same tolerance and words."""
    part = parse_part(text, "V")
    assert parse_part(tomllib.loads(f"part = {toml_value(part, 'V')}")["part"], "V") == part
