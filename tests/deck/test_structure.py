"""A netlist as a whole: what is refused because plain ngspice gives up on it, and what is told about it."""

import shutil
import subprocess

import pytest

from sim.deck.expressions import CardSet
from sim.deck.guard import read_cards
from sim.errors import GuardError

SOURCE = "* title\nV1 a 0 1\n"

# What plain ngspice answers with the end of the process: text, and the message that refuses it.
FATAL = {
    "circular parameter": (
        ".param p={q} q={2*p}\nR1 a 0 {p}\n",
        'my.cir, line 3: the parameter "p" needs its own value: p → q → p.\n  Write one of them as a number.',
    ),
    "undefined parameter": (
        "R1 a 0 {gain}\n",
        'my.cir, line 3, R1: the parameter "gain" is defined nowhere.\n  Define it with .param.',
    ),
    "deep parentheses": (
        f".param p={{{'(' * 1500}1{')' * 1500}}}\nR1 a 0 {{p}}\n",
        "my.cir, line 3: more than 40 parentheses are open.\n  Divide the expression.",
    ),
}


def refusal(text: str, allow: CardSet = CardSet.DECK) -> str:
    """What is said about a text."""
    with pytest.raises(GuardError) as caught:
        read_cards(text, "my.cir", allow)
    return str(caught.value)


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="there is no ngspice command here")
@pytest.mark.parametrize("name", FATAL)
def test_ngspice_gives_up(name, tmp_path):
    """Plain ngspice ends with a fatal error; inside a library that takes all other units with it."""
    (tmp_path / "deck.cir").write_text(f"{SOURCE}{FATAL[name][0]}.op\n.end\n", encoding="ascii")
    command = ["ngspice", "-b", "deck.cir"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, timeout=20, stdin=subprocess.DEVNULL, check=False)
    assert done.returncode != 0
    assert b"fatal error" in done.stdout + done.stderr


@pytest.mark.parametrize("name", FATAL)
def test_refused_before(name):
    """The same text is refused with its line and a remedy."""
    assert refusal(SOURCE + FATAL[name][0]) == FATAL[name][1]


def test_parameters_belong_to_their_section():
    """Two subcircuits may use one name for a parameter and for a model; one of them does not see the other's."""
    section = ".subckt {} a\n.param r1={}\n.model m r(tc1=0)\nR1 a 0 m r={{r1}}\n.ends\n"
    text = f"{SOURCE}{section.format('one', '1k')}{section.format('two', '2k')}X1 a one\nX2 a two\n"
    assert len(read_cards(text, "my.cir", CardSet.DECK)) == 13
    assert refusal(f"{text}R9 a 0 {{r1}}\n") == (
        'my.cir, line 15, R9: the parameter "r1" is defined nowhere.\n  Define it with .param.'
    )


def test_misspelt_parameter_of_a_subcircuit():
    """A parameter that a subcircuit does not have is refused; ngspice would keep the default and say nothing."""
    text = f"{SOURCE}.subckt s a gain=1\nR1 a 0 {{gain}}\n.ends\nX1 a s gian=5\n"
    assert refusal(text) == 'my.cir, line 6, X1: s has no parameter "gian".\n  Nearest: gain.'


def test_wrong_number_of_ports():
    """An instance connects each port of its subcircuit once."""
    text = f"{SOURCE}.subckt s a b\nR1 a b 1k\n.ends\nX1 a s\n"
    assert refusal(text) == "my.cir, line 6, X1: s has 2 ports, 1 are connected.\n  Connect every port once."


def test_missing_model():
    """An element without its model is refused; ngspice would pass over the whole circuit."""
    text = f"{SOURCE}.model signal d(is=1e-14)\nD1 a 0 signel\n"
    assert refusal(text) == (
        'my.cir, line 4, D1: there is no model "signel" for an element D….\n  Define it with .model. Nearest: signal.'
    )


def test_defined_twice():
    """A second definition of one name is refused; ngspice would take either."""
    text = f"{SOURCE}.model m d(is=1e-14)\n.model M d(is=1e-15)\nD1 a 0 m\n"
    assert refusal(text) == 'my.cir, line 4: .model "m" is defined in line 3 already.\n  Keep one of them.'


def test_ends_that_do_not_fit():
    """A section without end and an end with another name are told together."""
    text = f"{SOURCE}.subckt s a\nR1 a 0 1k\n.subckt t a\nR1 a 0 1k\n.ends q\n"
    assert refusal(text) == (
        "my.cir, line 3: the subcircuit s has no .ends.\n"
        "  Write .ends s behind its last card.\n"
        'my.cir, line 7: .ends names "q" where t is open.\n'
        "  Write .ends t."
    )
