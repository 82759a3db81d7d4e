"""Hostile files: what each does to plain ngspice, and that none of it gets past the guard.

Beside each file of the folder ``hostile`` stands the whole message that refuses it. The effects are shown with the
``ngspice`` command in a folder of its own, with time-out; a file without an effect is one that another version
of ngspice, or a text editor, might read differently.
"""

import shutil
import subprocess
from pathlib import Path

import pytest

from sim.deck.circuit import read_circuit
from sim.deck.guard import LARGEST_TEXT, LONGEST_LINE, CardSet, read_cards
from sim.errors import GuardError

HOSTILE = Path(__file__).parent / "hostile"
FILES = sorted(path.stem for path in HOSTILE.glob("*.cir"))

# Decks with elements outside a subcircuit: the others are read as what they pretend to be, an amplifier.
DECKS = ("code_model_reads_file", "transistor_writes_file")

RUN_A_COMMAND = (
    "command_behind_dollar",
    "command_behind_equals",
    "command_behind_form_feed",
    "command_behind_semicolon",
    "command_in_backquotes",
    "command_in_comment",
    "command_in_indented_comment",
    "control",
    "control_behind_end",
    "control_behind_nul",
    "control_in_other_case",
    "control_longer_word",
    "script_title",
)
# What the file named secret.txt holds, and what of it comes out.
READ_A_FILE = {
    "code_model_reads_file": ("0 0\n0.2 42.625\n2 42.625\n", "4.262500e+01"),
    "include": ("* first line\nxsecret word\n", "xsecret word"),
    "include_longer_word": ("* first line\nxsecret word\n", "xsecret word"),
    "library": ("* first line\n.lib typical\nxsecret word\n.endl\n", "xsecret word"),
    "source_other_file": ("first line\necho secret word\n", "secret word"),
}
WRITE_A_FILE = {"transistor_writes_file": "b3v33check.log", "write_results": "ran"}

needs_ngspice = pytest.mark.skipif(shutil.which("ngspice") is None, reason="there is no ngspice command here")


def batch(name: str, folder: Path) -> str:
    """All output of plain ngspice on a hostile file, in a folder where it may do harm."""
    shutil.copy(HOSTILE / f"{name}.cir", folder / "deck.cir")
    return run_deck(folder)


def run_deck(folder: Path) -> str:
    """All output of plain ngspice on deck.cir of a folder."""
    command = ["ngspice", "-b", "deck.cir"]
    done = subprocess.run(command, cwd=folder, capture_output=True, timeout=20, stdin=subprocess.DEVNULL, check=False)
    return (done.stdout + done.stderr).decode("utf-8", "replace")


def refusal(text: str, allow: CardSet = CardSet.TEMPLATE) -> str:
    """What the guard says about a text."""
    with pytest.raises(GuardError) as caught:
        read_cards(text, "file.cir", allow)
    return str(caught.value)


@needs_ngspice
@pytest.mark.parametrize("name", RUN_A_COMMAND)
def test_ngspice_would_run_it(name, tmp_path):
    """Plain ngspice runs the shell command that the file hides."""
    batch(name, tmp_path)
    assert (tmp_path / "ran").exists()


@needs_ngspice
@pytest.mark.parametrize("name", READ_A_FILE)
def test_ngspice_would_read_it(name, tmp_path):
    """Plain ngspice shows what stands in a file that the deck names."""
    secret, shown = READ_A_FILE[name]
    assert shown not in (HOSTILE / f"{name}.cir").read_text(encoding="utf-8")
    (tmp_path / "secret.txt").write_text(secret, encoding="utf-8")
    assert shown in batch(name, tmp_path)


@needs_ngspice
@pytest.mark.parametrize("name", WRITE_A_FILE)
def test_ngspice_would_write_it(name, tmp_path):
    """Plain ngspice leaves a file behind."""
    batch(name, tmp_path)
    assert (tmp_path / WRITE_A_FILE[name]).exists()


@pytest.mark.parametrize("name", FILES)
def test_refused_with_reason(name):
    """Each hostile file is refused, with every fault and its place."""
    wanted = (HOSTILE / f"{name}.txt").read_text(encoding="utf-8").removesuffix("\n")
    with pytest.raises(GuardError) as caught:
        if name in DECKS:
            read_cards((HOSTILE / f"{name}.cir").read_text(encoding="utf-8"), f"{name}.cir", CardSet.DECK)
        else:
            read_circuit(f"{name}.cir", HOSTILE)
    assert str(caught.value) == wanted


@pytest.mark.parametrize("allow", CardSet)
@pytest.mark.parametrize("name", [name for name in FILES if name != "subcircuit_in_title"])
def test_refused_as_anything(name, allow):
    """No hostile file is let in under another name: template, deck or model."""
    with (HOSTILE / f"{name}.cir").open(encoding="utf-8", newline="") as file:
        text = file.read()
    with pytest.raises(GuardError):
        read_cards(text, f"{name}.cir", allow)


def test_enough_of_them():
    """There are at least fifteen hostile files, each with its message."""
    assert len(FILES) >= 15
    assert FILES == sorted(path.stem for path in HOSTILE.glob("*.txt"))


LEADING = '=[]?()&%$"!:,;\f'
"""First characters that ngspice 39 turns into an asterisk, as its own warning lists them."""


@needs_ngspice
def test_ngspice_makes_commands_of_odd_first_characters(tmp_path):
    """Each character of the list turns into an asterisk before ngspice looks for commands in comments."""
    lines = "".join(f"{character}# shell touch ran{i}\n" for i, character in enumerate(LEADING))
    deck = f"* title\nv1 a 0 1\nr1 a 0 1\n{lines}.op\n.end\n"
    (tmp_path / "deck.cir").write_text(deck, encoding="ascii")
    run_deck(tmp_path)
    assert sorted(path.name for path in tmp_path.glob("ran*")) == sorted(f"ran{i}" for i in range(len(LEADING)))


@pytest.mark.parametrize("allow", CardSet)
@pytest.mark.parametrize("character", LEADING)
def test_odd_first_characters_are_refused(character, allow):
    """None of them begins a line that is let in."""
    assert refusal(f"* title\nR1 a 0 1k\n{character}# shell touch ran\n", allow)


@pytest.mark.parametrize(
    "word",
    ".control .endc .include .inc .incl .lib .libs .csparam .func .exec .print .plot .save .probe .meas .measure .four"
    " .fourier .write .width .global .title .if .elseif .else .endif .pss .step .alter .data .options .option .temp .ic"
    " .nodeset .tran .ac .op .noise .pre_osdi .codemodel .end .subcktx .paramx .modelx . .. .123".split(),
)
def test_only_listed_dotted_cards(word):
    """A circuit holds .subckt, .ends, .param and .model, and not one dotted word besides, in no spelling."""
    for spelt in (word, word.upper(), f"  {word}", f"\t{word.title()}"):
        assert refusal(f"* title\n{spelt} a b\n")


@pytest.mark.parametrize("letter", "anouypzsw0123456789@~^|<>'\"`\\/{}[]()-_=&%!?:,#$")
def test_only_listed_elements(letter):
    """An element whose first character is not on the list is refused: code models, compiled models, digital devices."""
    assert refusal(f"* title\n{letter}x a b c 1k\n")


INVISIBLE = (*range(1, 9), 11, 12, *range(14, 32), 127, 0x85, 0xAD, 0x200B, 0x202E, 0x2028, 0xFEFF)


@pytest.mark.parametrize("code", INVISIBLE)
def test_invisible_characters(code):
    """A character that cannot be seen is refused, even in a comment."""
    assert "in this line." in refusal(f"* title\n* a{chr(code)}b\n")


def test_what_is_handed_on_is_what_was_judged():
    """A card's text has its continuations joined, no comment, single blanks; both kinds of line end are the same."""
    text = "* title\nRf  a\tb ; 1% lot  purpose\n\n* between\n+ 10k\n; alone\nCf a b 1p\n"
    cards = read_cards(text, "file.cir", CardSet.TEMPLATE)
    assert [card.text for card in cards] == ["Rf a b 10k", "Cf a b 1p"]
    assert [card.line for card in cards] == [2, 7]
    assert cards[0].comment == "1% lot  purpose"
    assert cards[0].keyword == "r"
    assert cards == read_cards(text.replace("\n", "\r\n"), "file.cir", CardSet.TEMPLATE)


def test_too_long():
    """A line and a text have a greatest length; a card cannot grow beyond it by continuation."""
    assert "longer than" in refusal("* " + "x" * LONGEST_LINE + "\n")
    assert "longer than" in refusal("* title\nR1 a b 1k\n" + "+ x\n" * LONGEST_LINE)
    assert "longer than" in refusal("*\n" * LARGEST_TEXT)


def test_continuation_needs_a_card():
    """A plus sign behind comments alone continues nothing, and least of all the title."""
    assert refusal("* title\n+ shell touch ran\n") == (
        "file.cir, line 2: a continuation line has nothing before it.\n  Join it to its card."
    )


def test_every_fault_is_told():
    """All refused lines are named at once, in order."""
    text = "* title\n.inc a\nR1 a b 1k\nA1 a b c\n.lib b\n"
    places = [line.split(":")[0] for line in refusal(text).split("\n")[::2]]
    assert places == ["file.cir, line 2", "file.cir, line 4, A1", "file.cir, line 5"]


def test_first_line_is_a_title():
    """SPICE skips the first line of a file, so a circuit may not begin with a card; a deck's title may be anything."""
    with pytest.raises(GuardError):
        read_cards("R1 a b 1k\nR2 a b 1k\n", "file.cir", CardSet.TEMPLATE)
    deck = read_cards("R1 a b 1k\nR2 a b 1k\n.op\n.end\n", "file.cir", CardSet.DECK)
    assert [card.text for card in deck] == ["R2 a b 1k"]


TITLE = "* title\n"


def test_subcircuits_that_multiply():
    """Ten subcircuits that each hold ten of the next are a file of a kilobyte and ten thousand million elements."""
    text = TITLE
    for level in range(10):
        inner = "".join(f"X{i} a b s{level + 1}\n" for i in range(10))
        text += f".subckt s{level} a b\n{inner}.ends\n"
    text += ".subckt s10 a b\nR1 a b 1k\n.ends\n"
    assert "elements when its subcircuits are written out." in refusal(text, CardSet.MODEL)


def test_subcircuit_within_itself():
    """A ring of subcircuits has no end."""
    text = f"{TITLE}.subckt one a b\nX1 a b two\n.ends\n.subckt two a b\nX1 a b one\n.ends\n"
    assert "contains itself" in refusal(text, CardSet.MODEL)


def test_functions_that_multiply():
    """A chain of functions that use their argument twice doubles with every link."""
    text = TITLE + ".func f0(x) {x}\n" + "".join(f".func f{i}(x) {{f{i - 1}(x)+f{i - 1}(x)}}\n" for i in range(1, 40))
    assert refusal(text + "B1 a 0 v={f39(1)}\n", CardSet.MODEL)


def test_function_within_itself():
    """A function that calls itself ends the simulator."""
    assert "calls itself" in refusal(TITLE + ".func f(x) {f(x)}\nB1 a 0 v={f(1)}\n", CardSet.MODEL)


@pytest.mark.parametrize("nested", ["(" * 3000 + "1" + ")" * 3000, "-" * 3900 + "1", "{" * 1900 + "1" + "}" * 1900])
def test_nested_expressions_do_not_end_the_guard(nested):
    """An expression nested out of all measure is answered as any other fault."""
    with pytest.raises(GuardError):
        read_cards(f"{TITLE}B1 a 0 v={{{nested}+nosuch}}\n", "file.cir", CardSet.MODEL)


@pytest.mark.parametrize(
    "text",
    [
        "R1 a b 1k\n" * 40_000,
        "* " + "x" * 3900 + "\n" * 250,
        ".param " + " ".join(f"p{i}=1" for i in range(500)) + "\n",
        "B1 a 0 v=" + "1+" * 1900 + "1\n",
        ".model d d(" + " ".join(f"is{i}=1" for i in range(400)) + ")\n",
        "".join(f".subckt s{i} a b\nR1 a b 1\n.ends\n" for i in range(8000)),
        "".join(f".param q{i}={{q{i + 1}}}\n" for i in range(8000)) + ".param q8000=1\n",
        "".join(f".param known_name_{i}={{unknown_name_{i}}}\n" for i in range(8000)),
        "+ a\n" * 100_000,
        "=" * 3900 + "\n",
        "(" * 3900 + "\n",
    ],
)
def test_long_texts_are_judged(text):
    """Work grows with the text, not faster: a text that would take hours if it did is judged like any other."""
    try:
        cards = read_cards(TITLE + text + "R99 x y 1k\n", "file.cir", CardSet.MODEL)
    except GuardError as error:
        assert str(error)
    else:
        assert cards[-1].keyword == "r"
