"""Circuit files: what is read from a good one, and what is said about a wrong one."""

import shutil
import subprocess
from dataclasses import FrozenInstanceError

import pytest

from sim.deck.circuit import Probe, list_circuits, parse_circuit, read_circuit
from sim.errors import CircuitError, GuardError, InputError
from sim.quantity import PartValue, Tolerance

GOOD = """* Low pass with a buffer
*
*  in --Rin--+-- hi --|buffer>-- drv --Ro-- out
*
.subckt amplifier in out vcc gnd
Rin  in  hi  10k   ; 1% thick-film lot  sets the corner
Cin  hi  gnd 8.2p  ; 0.25p C0G  sets the corner too
Rb   hi  gnd 1meg  ; -20%/+80%  DC path
Xamp hi  fbk vcc gnd drv opamp
Xl   drv fbk probe
Ro   fbk out 75    ; 1% thick-film  matches the line
.ends amplifier
"""


def changed(*pairs: tuple[str, str]) -> str:
    """The good circuit with some of its text replaced, each once."""
    text = GOOD
    for old, new in pairs:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def message(text: str, error=CircuitError) -> str:
    """What is said about a circuit."""
    with pytest.raises(error) as caught:
        parse_circuit(text, "my.cir")
    assert type(caught.value) is error
    return str(caught.value)


# ---------------------------------------------------------------------- reading


def test_parts_as_written():
    """Names, nodes, values, tolerances, words, purposes and lines come out as they stand in the file."""
    circuit = parse_circuit(GOOD, "my.cir")
    rin, cin, rb, ro = circuit.parts
    assert (rin.name, rin.kind, rin.nodes, rin.line) == ("Rin", "R", ("in", "hi"), 6)
    assert rin.value == PartValue(10e3, Tolerance(-0.01, 0.01), ("thick-film", "lot"))
    assert rin.purpose == "sets the corner"
    assert cin.value == PartValue(8.2e-12, Tolerance(-0.25e-12 / 8.2e-12, 0.25e-12 / 8.2e-12), ("c0g",))
    assert rb.value == PartValue(1e6, Tolerance(-0.2, 0.8), ())
    assert ro.purpose == "matches the line"
    assert circuit.ports == ("in", "out", "vcc", "gnd")
    assert circuit.devices[0].nodes == ("hi", "fbk", "vcc", "gnd", "drv")
    assert circuit.probes == (Probe("Xl", "drv", "fbk"),)
    assert circuit.others == ()


def test_header():
    """Title and drawing come from the comment lines above the subcircuit."""
    circuit = parse_circuit(GOOD, "my.cir")
    assert circuit.description == "Low pass with a buffer"
    assert "in --Rin--+-- hi --|buffer>-- drv --Ro-- out" in circuit.drawing


def test_circuits_of_the_program():
    """The amplifiers of the program are read, with a probe for each op-amp and a tolerance for each part."""
    assert list_circuits() == ("bad-example", "balanced-transimpedance", "transimpedance", "voltage-follower")
    for name in list_circuits():
        circuit = read_circuit(name)
        assert circuit.name == name
        assert circuit.file == f"circuits/amplifiers/{name}.cir"
        assert circuit.balanced == name.startswith("balanced")
        assert len(circuit.devices) == len(circuit.probes) == (3 if circuit.balanced else 1)
        assert all(part.value.tolerance and part.purpose for part in circuit.parts)
        assert "/\\/\\/" in circuit.drawing


def test_own_circuit_by_path(tmp_path):
    """A builder's own file is found from the study's folder, and its name is fit for a deck's title."""
    (tmp_path / "my own\n.end.cir").write_text(GOOD, encoding="utf-8")
    circuit = read_circuit("my own\n.end.cir", tmp_path)
    assert "\n" not in circuit.name
    assert len(circuit.parts) == 4


def test_windows_line_ends():
    """A file saved with carriage returns and newlines reads the same."""
    assert parse_circuit(GOOD.replace("\n", "\r\n"), "my.cir") == parse_circuit(GOOD, "my.cir")


def test_other_elements_are_kept():
    """A diode with its model goes into the deck as it is."""
    text = changed(("Xamp", "Dc hi vcc clamp\n.model clamp d(is=1e-14 n=1)\nXamp"))
    assert [card.text.lower() for card in parse_circuit(text, "my.cir").others] == [
        "dc hi vcc clamp",
        ".model clamp d(is=1e-14 n=1)",
    ]


def test_frozen():
    """A circuit cannot be changed by accident."""
    with pytest.raises(FrozenInstanceError):
        parse_circuit(GOOD, "my.cir").parts = ()


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1meg", 1e6),
        ("1MEG", 1e6),
        ("4.7k", 4.7e3),
        ("4.7K", 4.7e3),
        ("2.2e3", 2.2e3),
        ("10m", 10e-3),
        ("1g", 1e9),
        ("100kohm", 100e3),
        (".5", 0.5),
    ],
)
def test_spice_numbers(text, value):
    """A value means what ngspice reads, to the nearest double."""
    assert parse_circuit(changed(("10k", text)), "my.cir").parts[0].value.value == value


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="there is no ngspice command here")
def test_spice_numbers_against_ngspice(tmp_path):
    """Ngspice itself reads each suffix as the circuit reader does."""
    texts = "1meg 2.5Meg 4.7k 10m 3u 5n 7p 9f 1g 2t 2.2e3 1.5e-3 6.8kohm 82pF".split()
    sources = "".join(f"v{i} n{i} 0 dc {text}\nr{i} n{i} 0 1\n" for i, text in enumerate(texts))
    prints = "".join(f"print n{i}\n" for i in range(len(texts)))
    deck = f"* t\n{sources}.control\nset numdgt=12\nop\n{prints}.endc\n.end\n"
    (tmp_path / "deck.cir").write_text(deck, encoding="ascii")
    done = subprocess.run(
        ["ngspice", "-b", "deck.cir"], cwd=tmp_path, capture_output=True, text=True, timeout=20, check=False
    )
    for i, text in enumerate(texts):
        read = float(done.stdout.split(f"n{i} = ")[1].split()[0])
        kind, old = ("Cin", "8.2p") if text.endswith("F") else ("Rin", "10k")
        part = next(p for p in parse_circuit(changed((old, text)), "my.cir").parts if p.name == kind)
        assert part.value.value == pytest.approx(read, rel=1e-9), text


# ---------------------------------------------------------------------- overrides


def test_override():
    """A study's value replaces the circuit's; tolerance and words it leaves out stay; case makes no difference."""
    circuit = parse_circuit(GOOD, "my.cir").with_parts({"Rin": "1M", "CIN": "10p 5% lot", "Ro": "50 ohm 5%"}, "s.toml")
    rin, cin, _, ro = circuit.parts
    assert rin.value == PartValue(1e6, Tolerance(-0.01, 0.01), ("thick-film", "lot"))
    assert cin.value == PartValue(10e-12, Tolerance(-0.05, 0.05), ("lot",))
    assert ro.value == PartValue(50.0, Tolerance(-0.05, 0.05), ("thick-film",))
    assert (rin.name, cin.name, cin.purpose) == ("Rin", "Cin", "sets the corner too")


def test_override_leaves_the_original():
    """The circuit that is overridden does not change."""
    circuit = parse_circuit(GOOD, "my.cir")
    circuit.with_parts({"Rin": "1k"}, "s.toml")
    assert circuit == parse_circuit(GOOD, "my.cir")


# ---------------------------------------------------------------------- faults


def test_missing_circuit(tmp_path):
    """A misspelt name is answered by the nearest known one."""
    with pytest.raises(CircuitError) as caught:
        read_circuit("transimpedence", tmp_path)
    assert 'there is no circuit "transimpedence".\n  Nearest: transimpedance.' in str(caught.value)


@pytest.mark.parametrize("name", ["/dev/zero", "/dev/stdin", ".", "", "../deck"])
def test_no_regular_file(name, tmp_path):
    """A device, a folder or nothing at all is not read."""
    with pytest.raises(InputError):
        read_circuit(name, tmp_path)


def test_binary_file(tmp_path):
    """A file that is no text is refused."""
    (tmp_path / "my.cir").write_bytes(b"* title\n\xff\xfe\n")
    with pytest.raises(InputError) as caught:
        read_circuit("my.cir", tmp_path)
    assert "is not UTF-8 text." in str(caught.value)


def test_guard_comes_first():
    """What the simulator may not see is refused before the circuit is looked at."""
    assert message(GOOD + ".include other.cir\n", GuardError).startswith('my.cir, line 13: ".include" is not allowed')


FAULTS = {
    "M for mega": (
        (("10k", "1M"),),
        'my.cir, line 6, Rin: SPICE reads "1M" as milli.',
        "  Write 1meg for mega or 1m for milli.",
    ),
    "unknown suffix": (
        (("10k", "10x"),),
        'my.cir, line 6, Rin: "10x" is no value in ohm.',
        "  Write for example 10k or 1meg.",
    ),
    "zero": (
        (("10k", "0"),),
        'my.cir, line 6, Rin: "0" is not above zero.',
        "  Write a number in ohm.",
    ),
    "negative": (
        (("10k", "-5"),),
        'my.cir, line 6, Rin: "-5" is no value in ohm.',
        "  Write for example 10k or 1meg.",
    ),
    "bare farad": (
        (("8.2p", "1F"),),
        'my.cir, line 7, Cin: SPICE reads "1F" as femto.',
        "  Write 1f for femtofarad or 1 for farad.",
    ),
    "no comment": (
        (("; 1% thick-film lot  sets the corner\n", "\n"),),
        "my.cir, line 6, Rin: there is no tolerance.",
        '  Write it behind a semicolon: "; 5% thick-film  its purpose".',
    ),
    "kind without tolerance": (
        (("0.25p C0G", "C0G"),),
        "my.cir, line 7, Cin: there is no tolerance.",
        '  Write it behind a semicolon: "; 2% C0G  its purpose".',
    ),
    "tolerance without unit": (
        (("1% thick-film lot", "1 thick-film lot"),),
        'my.cir, line 6, Rin: tolerance "1" has no unit.',
        '  Write a percentage ("5 %") or an absolute spread ("0.25 pF").',
    ),
    "one blank before the purpose": (
        (("1% thick-film lot  sets", "1% thick-film lot sets"),),
        'my.cir, line 6, Rin: "sets" is not a word for a part.',
        "  Nearest: ferrite. Known: thick-film, thin-film, c0g, x7r, film, mica, electrolytic, wound, ferrite, lot, "
        "uniform, normal. Put two blanks before the purpose.",
    ),
    "more than a value": (
        (("in  hi  10k", "in  hi  10k tc1=1"),),
        'my.cir, line 6, Rin: "10k tc1=1" is not one value.',
        "  Write name, two nodes, a value in ohm, and the rest behind a semicolon.",
    ),
    "between capacitors": (
        (("Rb   hi  gnd 1meg  ; -20%/+80%  DC path\n", ""), ("Rin  in  hi  10k ", "Cx   in  hi  10n ")),
        "my.cir, line 6, hi: there is no path for direct current from this node to gnd.",
        "  Add a large resistor; capacitors and op-amp inputs pass none.",
        "my.cir, line 6, in: there is no path for direct current from this node to gnd.",
        "  Add a large resistor; capacitors and op-amp inputs pass none.",
    ),
    "misspelt node": (
        (("Rin  in  hi ", "Rin  in  ho "),),
        "my.cir, line 6, ho: only one element is connected to this node.",
        "  Connect another one, or correct the name.",
        "my.cir, line 6, in: there is no path for direct current from this node to gnd.",
        "  Add a large resistor; capacitors and op-amp inputs pass none.",
    ),
    "name used twice": (
        (("Ro   fbk", "RIN  fbk"),),
        "my.cir, line 11, RIN: the name is used in line 6 already.",
        "  Give each element its own name.",
    ),
    "another port": (
        (("in out vcc gnd\n", "inp out vcc gnd\n"),),
        'my.cir, line 5: the ports are "inp out vcc gnd".',
        '  Write "in out vcc gnd" or "in_p in_n out vcc gnd", in this order.',
    ),
    "element of the program": (
        (("Rin  in  hi ", "Rz_1 in  hi "),),
        'my.cir, line 6, Rz_1: names with "z_" behind the letter belong to the program.',
        "  Rename it.",
    ),
    "node of the program": (
        (("Rb   hi  gnd 1meg  ; -20%/+80%  DC path", "Rb hi z_x 1meg ; 5%\nRc z_x gnd 1k ; 5%"),),
        'my.cir, line 8, Rb: nodes that begin with "z_" belong to the program.',
        "  Rename z_x.",
        'my.cir, line 9, Rc: nodes that begin with "z_" belong to the program.',
        "  Rename z_x.",
    ),
    "node inside the op-amp": (
        (("Rb   hi  gnd 1meg  ; -20%/+80%  DC path", "Rb hi xamp_g 1meg ; 5%\nRc xamp_g gnd 1k ; 5%"),),
        "my.cir, line 8, xamp_g: nodes that begin with the name of an op-amp, Xamp, belong to its model.",
        "  Rename the node.",
    ),
    "model inside the op-amp": (
        (("Xamp hi", ".model XAMP_mv r(kf=1)\nXamp hi"),),
        "my.cir, line 9, XAMP_mv: models that begin with the name of an op-amp belong to it.",
        "  Rename the model.",
    ),
    "misspelt probe": (
        (("Xl   drv fbk probe", "Xl   drv fbk prob"),),
        "my.cir, line 9, drv: only one element is connected to this node.",
        "  Connect another one, or correct the name.",
        'my.cir, line 10, Xl: there is no subcircuit "prob".',
        "  Nearest: probe. Known: opamp, probe.",
    ),
    "pin left out": (
        (("Xamp hi  fbk vcc", "Xamp hi  vcc"),),
        "my.cir, line 9, Xamp: opamp has 5 pins, 4 are connected.",
        "  Connect inp inn vcc vee out.",
    ),
    "behind .ends": (
        ((".ends amplifier\n", ".ends amplifier\nR9 in gnd 1k ; 1%\n"),),
        "my.cir, line 13, R9: stands outside the subcircuit.",
        "  Move it above .ends.",
    ),
    "several": (
        (
            ("10k", "1M"),
            ("0.25p C0G", "C0G"),
            ("probe", "prob"),
            ("Ro   fbk out 75    ; 1% thick-film", "Cin  fbk out 75p   ; thick-film"),
        ),
        'my.cir, line 6, Rin: SPICE reads "1M" as milli.',
        "  Write 1meg for mega or 1m for milli.",
        "my.cir, line 7, Cin: there is no tolerance.",
        '  Write it behind a semicolon: "; 2% C0G  its purpose".',
        "my.cir, line 9, drv: only one element is connected to this node.",
        "  Connect another one, or correct the name.",
        "my.cir, line 9, fbk: there is no path for direct current from this node to gnd.",
        "  Add a large resistor; capacitors and op-amp inputs pass none.",
        'my.cir, line 10, Xl: there is no subcircuit "prob".',
        "  Nearest: probe. Known: opamp, probe.",
        "my.cir, line 11, Cin: the name is used in line 7 already.",
        "  Give each element its own name.",
        "my.cir, line 11, Cin: there is no tolerance.",
        '  Write it behind a semicolon: "; 2% C0G  its purpose".',
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_fault(name):
    """What is wrong is said, where it is and what would do; all of it at once."""
    pairs, *lines = FAULTS[name]
    assert message(changed(*pairs)) == "\n".join(lines)


GUARDED = {
    "no .ends": (
        ((".ends amplifier\n", ""),),
        "my.cir, line 5: the subcircuit amplifier has no .ends.",
        "  Write .ends amplifier behind its last card.",
    ),
    "infix": (
        (("10k", "4k7"),),
        'my.cir, line 6, Rin: "4k7" is no value.',
        "  Write a number, or an expression in braces.",
    ),
    "no title": (
        (("* Low pass", "Low pass"),),
        'my.cir, line 1: SPICE takes "Low pass with a buffer" for a title, not for a card.',
        "  Begin the first line with * and say what the circuit is.",
    ),
}


@pytest.mark.parametrize("name", GUARDED)
def test_guarded_fault(name):
    """What ngspice would not read as it stands is found before the circuit is looked at."""
    pairs, *lines = GUARDED[name]
    assert message(changed(*pairs), GuardError) == "\n".join(lines)


def test_no_subcircuit():
    """A file without the amplifier says which line is missing."""
    assert message("* only a title\n") == ("my.cir: there is no subcircuit.\n  Write .subckt amplifier in out vcc gnd.")


def test_wrong_overrides():
    """Every wrong part of a study is named, with its key and the nearest part."""
    with pytest.raises(InputError) as caught:
        parse_circuit(GOOD, "my.cir").with_parts({"Rx": "1k", "Cin": "10p 3", "Ro": "0"}, "s.toml")
    assert str(caught.value) == "\n".join(
        (
            's.toml, amplifier.parts.Rx: the circuit my has no part "Rx".',
            "  Nearest: Ro. Parts: Rin, Cin, Rb, Ro.",
            's.toml, amplifier.parts.Cin: tolerance "3" has no unit.',
            '  Write a percentage ("5 %") or an absolute spread ("0.25 pF").',
            's.toml, amplifier.parts.Ro: "0" is not above zero.',
            "  Write a value in ohm.",
        )
    )


def test_same_part_twice():
    """A part that is overridden in two spellings is a fault, not a race."""
    with pytest.raises(InputError) as caught:
        parse_circuit(GOOD, "my.cir").with_parts({"Rin": "1k", "RIN": "2k"}, "s.toml")
    assert str(caught.value) == "s.toml, amplifier.parts.RIN: Rin is given twice.\n  Keep one of them."
