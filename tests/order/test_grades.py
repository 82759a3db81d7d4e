"""Grades of parts: which are usual, and what the next ones are."""

import pytest

from sim.deck.part import Part
from sim.order.grades import grade_words, neighbours, regraded
from sim.quantity import parse_part
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from tests.small_studies import write_study


def part(text, name="Cf"):
    """A part as a circuit has it."""
    unit = {"R": "ohm", "C": "F", "L": "H"}[name[0]]
    return Part(name, name[0], ("a", "b"), parse_part(text, unit), "", 7)


@pytest.mark.parametrize(
    ("text", "name", "grades"),
    [  # makers' data sheets; EIA-198 classes
        ("10p 2% C0G lot", "Cf", ["1 %", "5 %"]),
        ("4.7p 0.25p C0G", "Cf", ["0.1 pF", "0.5 pF"]),
        ("4.7p 5% C0G", "Cf", ["0.1 pF", "0.25 pF"]),
        ("22k 1% thick-film lot", "Rf", ["0.5 %", "5 %"]),
        ("22k 0.1% thin-film", "Rf", ["0.5 %"]),
        ("100n 10% X7R", "Co", ["5 %", "20 %"]),
        ("10u 20% electrolytic", "Ce", []),
        ("10u -20%/+80% electrolytic", "Ce", []),
        ("75 2%", "Ro", ["1 %", "5 %"]),
        ("220u 10%", "L1", ["5 %", "20 %"]),
    ],
)
def test_neighbours(text, name, grades):
    """The next usual grade to either side, absolute for small C0G parts, none where there is none."""
    found = neighbours(part(text, name))
    assert [one.grade for one in found] == grades
    assert all(one.tighter == (one.value.tolerance.high < part(text, name).value.tolerance.high) for one in found)


def test_grade_in_words():
    """A grade is said as it is ordered."""
    assert grade_words(part("10p 2% C0G")) == "2 %"
    assert grade_words(part("8.2p 0.25p C0G")) == "0.25 pF"
    assert grade_words(part("8.2p 5% C0G")) == "5 %", "as the study has it"
    assert grade_words(part("10u -20%/+80%", "Ce")) == "-20 %/+80 %"


def test_a_part_in_another_grade(tmp_path):
    """Only the tolerance changes, of the circuit's own parts and of those that the study adds."""
    from sim.deck.build import chain_of

    amplifier = {"circuit": "transimpedance", "opamp": "OPA2822", "series_output": "47 1%"}
    (scenario,) = scenarios(read_study(write_study(tmp_path, amplifier=amplifier)))
    parts = {one.name: one for one in chain_of(scenario.study).circuit.parts}
    for name in ("Cf", "Ro", "series_output"):
        for grade in neighbours(parts[name]):
            design = regraded(scenario, [(parts[name], grade)])
            changed = {one.name: one for one in chain_of(design.study).circuit.parts}
            value = changed.pop(name).value
            assert value.value == parts[name].value.value and value.words == parts[name].value.words
            assert value.tolerance.high == pytest.approx(grade.value.tolerance.high, rel=1e-12)
            assert changed == {key: one for key, one in parts.items() if key != name}
