"""Formulas of makers' models: numbers worked out here, the rest as plain ngspice reads it."""

import subprocess

import pytest

from sim.deck.maker.formula import Number, Steps, Untranslatable, folded, number_of, parse, source_text

X = {"a": -2.0, "b": 0.5}


def text_of(formula: str) -> str:
    """A formula written for a B source, nodes under their own names."""
    tree = folded(parse(formula), lambda name: None, {}, Steps())
    return source_text(tree, lambda reading: f"v({reading.words[0]})", lambda text: f"ddt({text})")


@pytest.mark.parametrize(
    ("text", "value"),
    [("4.7k", 4700.0), ("1MEG", 1e6), ("10uF", 1e-5), ("2M", 2e-3), ("3mil", 76.2e-6), ("1E-12", 1e-12), ("0Vdc", 0.0)],
)
def test_numbers_as_spice_reads_them(text, value):
    """M is milli, MEG mega, letters behind a suffix are a unit."""
    assert number_of(text) == pytest.approx(value, rel=1e-12)


# What the dialect means, by hand at a = -2 and b = 0.5; PWR takes the magnitude, PWRS keeps the sign.
_CASES = [
    ("a**3", -8.0),
    ("a^2", 4.0),
    ("a**-3", -0.125),
    ("PWR(a,1.5)", 2.0**1.5),
    ("PWRS(a,1.5)", -(2.0**1.5)),
    ("LIMIT(a,-1,1)", -1.0),
    ("LIMIT(a,1,-1)", -1.0),
    ("LIMIT(b,-1,1)", 0.5),
    ("IF(a<0 & b>0, 3, 4)", 3.0),
    ("IF(a>0 | b>1, 3, 4)", 4.0),
    ("IF(!(a>0), 3, 4)", 3.0),
    ("a>0 ? 3 : b>0 ? 5 : 6", 5.0),
    ("TABLE(a,-1,10,0,0,1,5)", 10.0),
    ("TABLE(b,-1,10,0,0,1,5)", 2.5),
    ("STP(a)+10*STP(b)", 10.0),
    ("MIN(a,b)+MAX(a,b)", -1.5),
    ("SGN(a)*ABS(a)", -2.0),
    ("LOG(b)", -0.6931471805599453),
    ("LOG10(b)", -0.3010299956639812),
    ("ARCTAN(a)", -1.1071487177940904),
    ("-a^2", -4.0),
    ("2^3^2", 64.0),
    ("1-2-3*4/8", -2.5),
    ("SQRT(ABS(a))", 2.0**0.5),
]


@pytest.mark.parametrize(("formula", "value"), _CASES)
def test_of_numbers(formula, value):
    """A formula of parameters is a number, worked out here."""
    tree = folded(parse(formula), X.__getitem__, {}, Steps())
    assert isinstance(tree, Number)
    assert tree.value == pytest.approx(value, rel=1e-12)


def test_of_voltages_in_plain_ngspice(tmp_path):
    """The same formulas of voltages, written out, mean the same to ngspice without any compatibility mode."""
    lines = ["t", "va a 0 -2", "vb b 0 0.5"]
    for number, (formula, _) in enumerate(_CASES):
        written = text_of(_of_voltages(formula))
        lines.append(f"b{number} o{number} 0 v={written}")
    names = " ".join(f"v(o{number})" for number in range(len(_CASES)))
    lines += [".control", "op", "set numdgt=12", f"print {names}", ".endc", ".end"]
    said = _ngspice("\n".join(lines) + "\n", tmp_path)
    for number, (formula, value) in enumerate(_CASES):
        found = next(float(line.split("=")[1]) for line in said.splitlines() if line.startswith(f"v(o{number}) ="))
        assert found == pytest.approx(value, rel=1e-9), formula


def _of_voltages(formula: str) -> str:
    import re

    return re.sub(r"\b([ab])\b", r"V(\1)", formula)


def _ngspice(deck: str, folder) -> str:
    (folder / "deck.cir").write_text(deck, encoding="ascii")
    command = ["ngspice", "-b", "deck.cir"]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=20, check=False)
    return done.stdout + done.stderr


def test_own_functions_are_pasted_in():
    """A function of the file stands for its body, with its arguments in place."""
    functions = {"clip": (("x", "a"), parse("LIMIT(x,-a,a)"))}
    assert folded(parse("CLIP(3,2)+a"), X.__getitem__, functions, Steps()) == Number(0.0)


@pytest.mark.parametrize(
    ("formula", "said"),
    [
        ("SIN(1,2)", "wrong number"),
        ("SQRT(-1)", "no value"),
        ("1/0", "no value"),
        ("TABLE(V(a),1,2,0,3)", "do not rise"),
        ("TABLE(V(a),1,2)", "two or more pairs"),
        ("FOO(V(a))", "no plain form"),
        ("1E300*1E300", "not finite"),
        ("(1", "missing"),
        ("1 +", "too early"),
    ],
)
def test_what_has_no_plain_form(formula, said):
    """What cannot be written is refused in words, never passed on."""
    with pytest.raises(Untranslatable, match=said):
        text_of(formula)
