"""From a study's words to the chain: parts that a study overrides, and what is said when it cannot."""

import pytest

from sim.deck.build import chain_of
from sim.errors import CircuitError, InputError
from sim.study.read import read_study
from sim.study.scenarios import scenarios

STUDY = """\
title = "Parts"
[amplifier]
circuit = "transimpedance"
opamp = "OPA2822"
[amplifier.parts]
{parts}
[antenna]
model = "fixture"
"""
KNOWN = "Rb, Rin, Cc, Rf, Cf, R1, R2, Cm, Co, Ro, Rs, Cs, Ce"


@pytest.fixture
def chains(tmp_path, monkeypatch):
    """The chains of all scenarios of a study of which the parts are given."""
    monkeypatch.chdir(tmp_path)

    def of(parts: str, tail: str = ""):
        (tmp_path / "s.toml").write_text(STUDY.format(parts=parts) + tail, encoding="utf-8")
        return [chain_of(scenario.study) for scenario in scenarios(read_study("s.toml"))]

    return of


def test_parts_of_a_study_replace_the_circuits(chains):
    """A part takes the study's value; tolerance and words stay the circuit's where the study names none."""
    (chain,) = chains('Cf = "8.2p"\nRF = "10k 5% thin-film"')
    parts = {part.name: part.value for part in chain.circuit.parts}
    (plain,) = chains("")
    own = {part.name: part.value for part in plain.circuit.parts}
    assert (parts["Cf"].value, parts["Cf"].tolerance, parts["Cf"].words) == (
        8.2e-12,
        own["Cf"].tolerance,
        own["Cf"].words,
    )
    assert (parts["Rf"].value, parts["Rf"].tolerance.high, parts["Rf"].words) == (1e4, 0.05, ("thin-film",))
    assert {name: value for name, value in parts.items() if name not in ("Cf", "Rf")} == {
        name: value for name, value in own.items() if name not in ("Cf", "Rf")
    }


@pytest.mark.parametrize(
    ("parts", "tail", "message"),
    [
        (
            'Cx = "8.2p 5%"',
            "",
            's.toml, line 6, amplifier.parts.Cx: the circuit transimpedance has no part "Cx".\n'
            f"  Nearest: Cs. Parts: {KNOWN}.",
        ),
        (
            'Cf = "8.2p"\nCfb = "8.2p"\nRf = "22k"\nrf = "10k"',
            "",
            's.toml, line 7, amplifier.parts.Cfb: the circuit transimpedance has no part "Cfb".\n'
            f"  Nearest: Cf. Parts: {KNOWN}.\n"
            "s.toml, line 9, amplifier.parts.rf: Rf is given twice.\n  Keep one of them.",
        ),
        (
            'Cf = "8.2p 5"',
            "",
            's.toml, line 6, amplifier.parts.Cf: tolerance "5" has no unit.\n'
            '  Write a percentage ("5 %") or an absolute spread ("0.25 pF").',
        ),
        (
            'Cf = "10"',
            "",
            's.toml, line 6, amplifier.parts.Cf: "10" is out of range.\n'
            "  Write 1 fF to 100 mF; without a prefix it is in farad.",
        ),
        (
            'Rf = "10m 1%"\nCf = "1k"',
            "",
            's.toml, line 7, amplifier.parts.Cf: "1k" is out of range.\n'
            "  Write 1 fF to 100 mF; without a prefix it is in farad.",
        ),
        (
            "",
            '[[vary]]\nwhat = "amplifier.parts.Cx"\nvalues = [\n"8p",\n"9p"]\n',
            's.toml, line 12, amplifier.parts.Cx: the circuit transimpedance has no part "Cx".\n'
            f"  Nearest: Cs. Parts: {KNOWN}.",
        ),
        (
            "",
            '[[vary]]\nwhat = "amplifier.parts.Cf"\nvalues = [\n"8p",\n"9"]\n',
            's.toml, line 13, amplifier.parts.Cf: "9" is out of range.\n'
            "  Write 1 fF to 100 mF; without a prefix it is in farad.",
        ),
    ],
)
def test_parts_that_cannot_be(chains, parts, tail, message):
    """A wrong part is told with the study's file and line, the key, and the nearest part that there is."""
    with pytest.raises(InputError) as caught:
        chains(parts, tail)
    assert str(caught.value) == message


def test_a_circuit_of_the_builders_own_is_named_in_its_faults(chains, tmp_path):
    """What is wrong in a circuit beside the study is told with the circuit's file, not the study's."""
    (tmp_path / "mine.cir").write_text("* nothing\n", encoding="ascii")
    with pytest.raises(CircuitError) as caught:
        chains("", '[[vary]]\nwhat = "amplifier.circuit"\nvalues = ["mine.cir"]\n')
    assert str(caught.value) == "mine.cir: there is no subcircuit.\n  Write .subckt amplifier in out vcc gnd."
