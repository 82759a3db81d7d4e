"""[[vary]] multiplied out."""

import itertools

import pytest

from sim.errors import StudyError
from sim.quantity import parse_part
from sim.study.choices import with_value
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from tests.small_studies import write_study

PLAIN = """\
title = "Choices"
[amplifier]
circuit = "transimpedance"
opamp = "OPA810"
[antenna]
model = "short-vertical"
height = "7 m"
radius = "8 mm"
"""


def made(tmp_path, text):
    """A study and its scenarios."""
    path = tmp_path / "choices.toml"
    path.write_text(PLAIN + text, encoding="utf-8")
    study = read_study(path)
    return study, scenarios(study)


def test_nothing_to_vary(tmp_path):
    """A study without choices is one scenario, the study itself."""
    study, [only] = made(tmp_path, "")
    assert (only.number, only.values, only.study) == (0, (), study)
    assert (only.study.file, only.study.folder, only.study.lines) == (study.file, study.folder, study.lines)


def test_the_product_in_the_order_of_the_file(tmp_path):
    """All combinations, numbered from 0, the key named last changing fastest."""
    text = (
        '[[vary]]\nwhat = "amplifier.opamp"\nvalues = ["OPA818", "OPA810"]\n'
        '[[vary]]\nwhat = "feedline.length"\nvalues = ["0", "30 m", 60]\n'
    )
    _, every = made(tmp_path, text)
    assert [scenario.number for scenario in every] == list(range(6))
    assert [scenario.values for scenario in every] == [
        (("amplifier.opamp", opamp), ("feedline.length", length))
        for opamp in ("OPA818", "OPA810")
        for length in ("0", "30 m", 60)
    ]
    for scenario in every:
        (_, opamp), (_, length) = scenario.values
        assert scenario.study.amplifier.opamp == opamp
        assert scenario.study.feedline.length == {"0": 0, "30 m": 30, 60: 60}[length]
        assert scenario.study.vary == ()


@pytest.mark.parametrize(
    ("what", "value", "read", "expected"),
    [
        ("antenna.height", '"9 m"', lambda s: s.antenna.height, 9.0),
        ("antenna.stray", '"5p"', lambda s: s.antenna.stray, 5e-12),
        ("run.temperature", '"-20..40"', lambda s: s.run.temperature, (-20.0, 40.0)),
        ("supply.voltage", '"10 V 1%"', lambda s: s.supply.voltage.value, 10.0),
        ("site.noise", '"city"', lambda s: s.site.noise, "city"),
        ("feedline.cable", '"rg6-ccs"', lambda s: s.feedline.cable, "rg6-ccs"),
        ("receiver.noise_figure", "3", lambda s: s.receiver.noise_figure, 3.0),
        ("fixture.load", '"75"', lambda s: s.fixture.load, 75.0),
        ("amplifier.parts.Cf", '"9p 1%"', lambda s: s.amplifier.parts, {"Cf": "9p 1%"}),
        ("amplifier.parts.Rf", "1000", lambda s: s.amplifier.parts, {"Rf": "1000.0"}),
    ],
)
def test_every_table_can_be_varied(tmp_path, what, value, read, expected):
    """A dotted key reaches into any table, also one that the file does not write."""
    _, [scenario] = made(tmp_path, f'[[vary]]\nwhat = "{what}"\nvalues = [{value}]\n')
    assert read(scenario.study) == expected


def test_a_varied_part_joins_those_of_the_study(tmp_path):
    """Other parts stay; the same part takes the value, and its own tolerance where the value has none."""
    text = '[amplifier.parts]\nCf = "8p 1%"\nRf = "9k"\n[[vary]]\nwhat = "amplifier.parts.Cf"\nvalues = ["7p", "6p"]\n'
    study, [one, two] = made(tmp_path, text)
    assert one.study.amplifier.parts == {"Cf": "7p 1%", "Rf": "9k"}
    assert two.study.amplifier.parts == {"Cf": "6p 1%", "Rf": "9k"}
    assert study.amplifier.parts == {"Cf": "8p 1%", "Rf": "9k"}


@pytest.mark.parametrize(
    ("own", "value", "meant"),
    [
        ("8.2p 2% C0G lot", "56p", "56p 2% C0G lot"),
        ("8.2p 2% C0G lot", "56p 5%", "56p 5% C0G lot"),
        ("8.2p 2% C0G lot", "56p C0G", "56p 2% C0G"),
        ("8.2p 2% C0G lot", "56p 5% mica", "56p 5% mica"),
        ("10n -20%/+80%", "1n", "1n -20%/+80%"),
        # An absolute tolerance is kept as the share that it is of the study's own value.
        ("8p 2p", "100p", "100p 25p"),
        ("8.2p", "56p", "56p"),
    ],
)
def test_a_varied_part_keeps_what_it_does_not_say(tmp_path, own, value, meant):
    """A value of a list leans on the study's part as that leans on the circuit's, whatever the case of the name."""
    text = f'[amplifier.parts]\nCf = "{own}"\n[[vary]]\nwhat = "amplifier.parts.cf"\nvalues = ["{value}"]\n'
    _, [scenario] = made(tmp_path, text)
    [(name, got)] = scenario.study.amplifier.parts.items()
    assert name == "Cf" and parse_part(got, "F") == parse_part(meant, "F")


def test_a_span_of_preferred_values_is_the_list_it_stands_for(tmp_path):
    """A study with a span has the scenarios of the list, and each is found at the span's line."""
    spanned, every = made(tmp_path, '[[vary]]\nwhat = "amplifier.parts.Cf"\nvalues = "E6 4.7p..22p"\n')
    listed, others = made(
        tmp_path, '[[vary]]\nwhat = "amplifier.parts.Cf"\nvalues = ["4.7p", "6.8p", "10p", "15p", "22p"]\n'
    )
    assert spanned == listed and [one.values for one in every] == [one.values for one in others]
    assert {scenario.study.line_of("amplifier.parts.Cf") for scenario in every} == {11}


def test_scenarios_differ_in_nothing_else(tmp_path):
    """What is not varied is the same to the last bit."""
    text = '[supply]\nvoltage = "12.3 V 7%"\n[[vary]]\nwhat = "feedline.length"\nvalues = ["0", "30 m"]\n'
    study, every = made(tmp_path, text)
    whole = study.model_dump(exclude={"feedline", "vary"})
    for scenario in every:
        assert scenario.study.model_dump(exclude={"feedline", "vary"}) == whole


def test_lines_of_varied_keys_are_those_of_their_values(tmp_path):
    """What is wrong with a part in one scenario is found at the value that makes it so."""
    text = '[[vary]]\nwhat = "amplifier.parts.Cf"\nvalues = [\n  "7p",\n  "6p",\n]\n'
    study, every = made(tmp_path, text)
    assert [scenario.study.line_of("amplifier.parts.Cf") for scenario in every] == [12, 13]
    assert study.line_of("amplifier.parts.Cf") == 2
    assert {scenario.study.line_of("antenna.height") for scenario in every} == {7}


def test_keys_that_depend_on_each_other_are_varied_together(tmp_path):
    """All combinations of a height and a radius are there where each is slender enough."""
    text = (
        '[[vary]]\nwhat = "antenna.height"\nvalues = ["1 m", "7 m"]\n'
        '[[vary]]\nwhat = "antenna.radius"\nvalues = ["8 mm", "90 mm"]\n'
    )
    _, every = made(tmp_path, text)
    assert [(s.study.antenna.height, s.study.antenna.radius) for s in every] == [
        (1, 0.008), (1, 0.09), (7, 0.008), (7, 0.09),
    ]  # fmt: skip


@pytest.mark.parametrize("order", [1, -1])
def test_a_level_beside_a_table_that_is_varied_away(tmp_path, order):
    """A table of noise of the study's own never stands beside a level, if the noise is varied too."""
    table = {"frequencies": [1e6, 3e7], "fa_db": [50, 20]}
    vary = [("site.noise", ["rural", "quiet-rural"]), ("site.level", ["median", "lower-decile"])]
    every = scenarios(read_study(write_study(tmp_path, site={"noise": table}, vary=dict(vary[::order]))))
    assert {(s.study.site.noise, s.study.site.level) for s in every} == set(itertools.product(*(v for _, v in vary)))
    with pytest.raises(StudyError, match="level stands beside a table") as caught:
        read_study(write_study(tmp_path, site={"noise": table}, vary=dict(vary[1:])))
    assert len(caught.value.faults) == 1


def test_the_study_read_from_its_own_text_has_the_same_scenarios(tmp_path):
    """Written out and read back, a study still compares the same."""
    from sim.study.read import study_text

    text = '[[vary]]\nwhat = "feedline.length"\nvalues = ["0", 30, 1.5]\n'
    study, every = made(tmp_path, text)
    (tmp_path / "again.toml").write_text(study_text(study), encoding="utf-8")
    again = scenarios(read_study(tmp_path / "again.toml"))
    assert [(s.number, s.values, s.study) for s in again] == [(s.number, s.values, s.study) for s in every]


def test_a_value_put_in_place_leaves_the_data_alone():
    """The data given are the same afterwards, at every depth, and what was not there is made."""
    data = {"title": "x", "feedline": {"length": "1 m", "cable": "rg6-ccs"}}
    changed = with_value(data, ("feedline", "length"), "2 m")
    deeper = with_value(changed, ("amplifier", "parts", "Cf"), "3p")
    assert data == {"title": "x", "feedline": {"length": "1 m", "cable": "rg6-ccs"}}
    assert changed == {"title": "x", "feedline": {"length": "2 m", "cable": "rg6-ccs"}}
    assert deeper == {**changed, "amplifier": {"parts": {"Cf": "3p"}}}
