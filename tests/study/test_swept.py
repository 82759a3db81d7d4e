"""Which choices of a study are numbers that a builder sets."""

import pytest

from sim.study.read import read_study
from sim.study.scenarios import scenarios
from sim.study.swept import swept_keys

HEAD = """title = "t"
[amplifier]
circuit = "transimpedance"
opamp = "OPA810"
[amplifier.parts]
Cc = "1n 5% C0G lot"
[antenna]
model = "ground-wire"
length = "60 m"
"""


def swept(tmp_path, *varied):
    """Swept keys of a study with so many choices."""
    path = tmp_path / "study.toml"
    text = "".join(f'[[vary]]\nwhat = "{what}"\nvalues = {values}\n' for what, values in varied)
    path.write_text(HEAD + text, encoding="utf-8")
    return swept_keys(scenarios(read_study(path)))


@pytest.mark.parametrize(
    ("what", "values", "numbers"),
    [
        ("amplifier.parts.Cc", '["10p", "22p 1%", "1n"]', [1e-11, 2.2e-11, 1e-9]),
        ("amplifier.parts.cc", '"E3 10p..47p"', [1e-11, 2.2e-11, 4.7e-11]),
        ("amplifier.parts.Rf", '["1k", "10k", "22k"]', [1e3, 1e4, 2.2e4]),
        ("feedline.length", '["0", "60 m", "120 m"]', [0, 60, 120]),
        ("antenna.far_end", '["50", "200", "450"]', [50, 200, 450]),
        ("supply.voltage", '["9 V", "12 V 5%", "15 V"]', [9, 12, 15]),
    ],
)
def test_numbers_are_swept(tmp_path, what, values, numbers):
    """Parts, lengths, resistances and volts are read as the scenarios have them, in SI."""
    [found] = swept(tmp_path, (what, values))
    assert found.key == what and list(found.numbers.values()) == numbers


@pytest.mark.parametrize(
    ("what", "values"),
    [
        ("feedline.cable", '["rg6-ccs", "rg6-cu", "rg58"]'),
        ("antenna.far_end", '["50", "200", "open"]'),
        ("feedline.length", '["0", "60 m"]'),
        ("amplifier.parts.Rf", '["22k 1%", "22k 2%", "22k 5%"]'),
        ("antenna.soil_conductivity", '["1 mS/m", "5 mS/m", "30 mS/m"]'),
        ("site.level", '["10 %", "50 %", "90 %"]'),
        ("receiver.noise_figure", '["3 dB", "6 dB", "12 dB"]'),
        ("run.temperature", '["-20", "0", "20"]'),
    ],
)
def test_names_grades_pairs_and_nature_are_not(tmp_path, what, values):
    """No best value is named for words, for two values, for tolerances, or for what nobody chooses."""
    assert swept(tmp_path, (what, values)) == ()


def test_a_swept_key_beside_another_choice(tmp_path):
    """Every scenario has its number, whatever else is varied."""
    [found] = swept(
        tmp_path, ("antenna.soil", '["average", "pasture-wet"]'), ("amplifier.parts.Cc", '"E3 10p..47p"')
    )
    assert list(found.numbers.values()) == [1e-11, 2.2e-11, 4.7e-11] * 2
