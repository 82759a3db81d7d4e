"""Models that would do harm: what each does to plain ngspice, that none of it is let in, and that nothing is passed on.

The effects are shown with the ``ngspice`` command in a folder of its own, with time-out, as in test_guard.
"""

import re
import subprocess

import pytest

from sim.deck.maker.file import choose, parse_model_file, read_model_file
from sim.errors import GuardError
from tests.conftest import ROOT

MODELS = ROOT / "tests" / "opamp" / "models"
REFUSED = {
    "hostile/circular.lib": 'line 2: the parameter "B" is defined nowhere.',
    "hostile/command_in_backquotes.lib": "line 3: the character ` is not used in cards.",
    "hostile/command_in_comment.lib": 'line 6: ngspice runs comments like "*# shell echo hello > ran".',
    "hostile/control.mod": 'line 7: ".control" opens a control section.',
    "hostile/endless_function.lib": "line 2: the function f calls itself: f → f.",
    "hostile/endless_subcircuit.lib": "line 2: the subcircuit testamp-s contains itself: testamp-s → testamp-s.",
    "hostile/file_source.lib": "line 6: the character % is not used in cards.",
    "hostile/form_feed.lib": "line 6: there is a form feed in this line.",
    "hostile/huge.lib": "has more than 20000 elements when its subcircuits are written out.",
    "hostile/include.sub": 'line 2: ".INCLUDE" is not allowed in a model file.',
    "hostile/transistor_writes_file.lib": "line 7: level=49 of nmos is not allowed.",
    "laplace.lib": "line 4, E1: LAPLACE stops the simulator.",
    "encrypted.lib": "line 3: the model is encrypted: only its maker's own simulator can read it.",
    "optional.lib": "line 2: OPTIONAL: pins are not known here.",
}


def test_every_hostile_model_is_here():
    """No file of the folder is forgotten."""
    assert {f"hostile/{path.name}" for path in (MODELS / "hostile").iterdir()} <= set(REFUSED)


@pytest.mark.parametrize("name", REFUSED)
def test_refused_with_reason(name):
    """Each is refused before a simulator is even loaded, with its place and the reason."""
    with pytest.raises(GuardError) as caught:
        choose(read_model_file(MODELS / name, name))
    assert REFUSED[name] in str(caught.value)


@pytest.mark.parametrize("name", ["command_in_comment.lib", "control.mod"])
def test_ngspice_would_run_it(name, tmp_path):
    """Plain ngspice runs the command that the model hides."""
    _batch(name, tmp_path)
    assert (tmp_path / "ran").exists()


def test_ngspice_would_read_it(tmp_path):
    """Plain ngspice takes in the file that the model names."""
    (tmp_path / "secret.txt").write_text("* first line\nxsecret word\n", encoding="ascii")
    assert "xsecret word" in _batch("include.sub", tmp_path)


def test_ngspice_would_write_it(tmp_path):
    """Plain ngspice writes the log of a transistor's checks where it stands."""
    _batch("transistor_writes_file.lib", tmp_path)
    assert (tmp_path / "b3v33check.log").exists()


def test_ngspice_would_be_ended(tmp_path):
    """Plain ngspice does not get past a LAPLACE source."""
    said = _batch("../laplace.lib", tmp_path)
    assert "v(out) =" not in said


def _batch(name: str, folder) -> str:
    text = (MODELS / "hostile" / name).read_text(encoding="utf-8")
    subcircuit = re.search(r"(?i)\.subckt (\S+)", text)[1]
    around = f"vcc vcc 0 5\nvin in 0 1\nxamp in out vcc 0 out {subcircuit}\nrl out 0 1k\n.op\n.print op v(out)"
    deck = f"t\n{text}\n{around}\n.end\n"
    (folder / "deck.cir").write_text(deck, encoding="utf-8")
    command = ["ngspice", "-b", "deck.cir"]
    done = subprocess.run(command, cwd=folder, capture_output=True, timeout=20, stdin=subprocess.DEVNULL, check=False)
    return (done.stdout + done.stderr).decode("utf-8", "replace")


def test_nothing_of_the_text_is_passed_on():
    """What reaches the simulator is made anew: names with the device's before them, numbers, known functions."""
    known = set(
        "abs exp ln log10 sqrt tanh min max pow pwr pwl ternary_fcn u uramp v i d npn pnp dc noisy area is bf n rs kf"
        " af tnom temper time".split()
    )
    for name in ("full.lib", "linear.mod", "grounded.sub", "swapped.lib", "boyle.lib"):
        lines = choose(read_model_file(MODELS / name, name)).flat("xamp", ("p1", "p2", "p3", "p4", "p5"), 27.0).lines
        for line in lines:
            assert line.isascii() and line.isprintable()
            assert not set(line) & set("\"'`$\\#@~%![];{}"), line
            words = re.findall(r"[a-zA-Z_][a-zA-Z0-9_]*", re.sub(r"\d+\.?\d*e[+-]?\d+", "0", line))
            own = [
                word for word in words if "xamp_" not in word and word not in ("p1", "p2", "p3", "p4", "p5", "model")
            ]
            assert set(own) <= known, (line, own)


def test_names_cannot_collide():
    """Different things of a model keep different names, whatever characters are taken out of theirs."""
    text = """* names
.SUBCKT NAMES INP INN VCC VEE OUT
R1 INP A.B 1K
R2 A_B INN 1K
R3 A.B A_B 1K
R4 VCC VEE 1K
X1 A.B OUT SUB
RX1_R1 OUT VEE 1K
.SUBCKT SUB A B
R1 A B 1K
.ENDS
.ENDS
"""
    lines = choose(parse_model_file(text, "names.lib")).flat("x", ("p", "n", "c", "e", "o"), 27.0).lines
    assert len({line.split()[0] for line in lines}) == len(lines) == 6
    assert [line.split()[1:3] for line in lines[:3]] == [["p", "x_a_b"], ["x_a_b_2", "n"], ["x_a_b", "x_a_b_2"]]


_DOUBLING = "LIMIT(V(INP),V(INN)," * 30 + "V(VEE)" + ")" * 30
_POWERS = "(" * 35 + "V(INP)" + ")**-3" * 35


@pytest.mark.parametrize(
    ("cards", "said"),
    [
        (f"G1 VCC VEE VALUE={{{_DOUBLING}}}", "longer than 20000 characters"),
        (f"G1 VCC VEE VALUE={{{'+'.join(['V(INP)'] * 550)}}}", "nested too deeply"),
        (
            "\n".join(
                [
                    ".FUNC F(X) {" + "+".join(["X"] * 60) + "}",
                    ".FUNC G(X) {" + "+".join(["F(X)"] * 60) + "}",
                    *(f"R{n + 9} VCC VEE {{1K+G(1)}}" for n in range(400)),
                ]
            ),
            "more than 300000 pieces",
        ),
    ],
)
def test_formulas_that_grow(cards, said):
    """A formula that doubles at every level, nests for ever or is worked out for ever is refused soon."""
    text = f"* grows\n.SUBCKT GROWS INP INN VCC VEE OUT\n{cards}\nR1 INP INN 1K\nR2 VCC OUT 1K\n.ENDS\n"
    with pytest.raises(GuardError, match=said):
        choose(parse_model_file(text, "grows.lib")).flat("x", ("p", "n", "c", "e", "o"), 27.0)


def test_nested_powers_are_written_once():
    """Thirty-five powers one in another are a line, not two to the thirty-fifth of work."""
    text = f"* powers\n.SUBCKT POWERS INP INN VCC VEE OUT\nG1 VCC VEE VALUE={{{_POWERS}}}\nR1 INP INN 1K\n.ENDS\n"
    lines = choose(parse_model_file(text, "powers.lib")).flat("x", ("p", "n", "c", "e", "o"), 27.0).lines
    assert lines[0].count("pwr") == 35


def test_size_with_all_written_out():
    """A model of thousands of elements is none of an op-amp."""
    cards = "\n".join(f"R{n} INP INN 1K" for n in range(3001))
    text = f"* large\n.SUBCKT LARGE INP INN VCC VEE OUT\n{cards}\n.ENDS\n"
    with pytest.raises(GuardError, match="more than 3000 elements"):
        choose(parse_model_file(text, "large.lib")).flat("x", ("p", "n", "c", "e", "o"), 27.0)


@pytest.mark.parametrize(
    ("card", "said"),
    [
        ("V1 A VEE SIN(0 1 1K)", "changes with time"),
        ("R9 A VEE 1K TEMP=50", "temperature or an AC value of its own"),
        ("G1 A VEE VALUE={V(NOWHERE)}", "nothing is connected to nowhere"),
        ("G1 A VEE VALUE={I(RX)}", "the current of nothing"),
        ("G1 A VEE VALUE={HERTZ}", "hertz is defined nowhere"),
        ("M1 A INP VEE MV\n.MODEL MV VDMOS(VTO=1)", "VDMOS"),
    ],
)
def test_what_is_not_taken_over(card, said):
    """What a plain deck cannot hold is refused with line and element, not dropped."""
    text = f"* bad\n.SUBCKT BAD INP INN VCC VEE OUT\nR1 A VEE 1K\n{card}\nR2 INP INN 1K\nR3 VCC OUT 1K\n.ENDS\n"
    with pytest.raises(GuardError) as caught:
        choose(parse_model_file(text, "bad.lib")).flat("x", ("p", "n", "c", "e", "o"), 27.0)
    assert said in str(caught.value)
    assert "bad.lib, line" in str(caught.value)
