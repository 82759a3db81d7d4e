"""What the command answers to bad input: exit code 2, one message on standard error, and nothing written."""

import tomllib

import pytest

from sim.cli import main
from tests.conftest import SMALL, command

GOOD = SMALL
WRONG = GOOD.replace('height = "7 m"', 'hight = "7 m"').replace("build = 8", "build = true")
MESSAGE = (
    "wrong.toml, line 5, antenna.height: is missing.\n"
    '  Write, for example, height = "7 m": height of the conductor.\n'
    "wrong.toml, line 7, antenna.hight: is not a key.\n"
    "  Nearest known key: height. Known: model, height, radius, gap, ground_loss, lead, stray.\n"
    "wrong.toml, line 15, run.build: true is not a whole number.\n"
    "  Write a whole number from 2 to 100000.\n"
)
PART = GOOD.replace("[antenna]", '[amplifier.parts]\nCfb = "8p"\n[antenna]')
PART_MESSAGE = (
    'part.toml, line 6, amplifier.parts.Cfb: the circuit transimpedance has no part "Cfb".\n'
    "  Nearest: Cf. Parts: Rb, Rin, Cc, Rf, Cf, R1, R2, Cm, Co, Ro, Rs, Cs, Ce.\n"
)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder with a good study and two that are wrong, and the program in it."""
    for name, text in (("good", GOOD), ("wrong", WRONG), ("part", PART)):
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def written(folder) -> list[str]:
    """Whatever stands in the folder beside the studies."""
    return sorted(path.name for path in folder.iterdir() if path.name not in ("good.toml", "wrong.toml", "part.toml"))


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("run", "wrong.toml"), MESSAGE),
        (("run", "part.toml"), PART_MESSAGE),
        (("check", "wrong.toml"), MESSAGE),
        (("export", "wrong.toml", "netlist", "-o", "deck.cir"), MESSAGE),
        (("new", "good.toml"), "good.toml: exists already.\n  Name a new file; nothing was changed.\n"),
    ],
    ids=lambda given: " ".join(given) if isinstance(given, tuple) else "",
)
def test_bad_input_as_the_user_meets_it(folder, words, message):
    """All faults come on standard error, the exit code is 2, and nothing is left behind."""
    done = command(*words, folder=folder)
    assert (done.returncode, done.stdout, done.stderr) == (2, "", message)
    assert written(folder) == []
    assert (folder / "good.toml").read_text(encoding="utf-8") == GOOD


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("check", "part.toml"), PART_MESSAGE),
        (("run", "wrong.toml", "--out", "elsewhere", "--json"), MESSAGE),
        (("export", "part.toml", "netlist", "-o", "deck.cir"), PART_MESSAGE),
        (
            ("run", "none.toml"),
            "none.toml: cannot be read: no such file or directory.\n"
            "  Name an existing study file, or make one: bandfloor new FILE.\n",
        ),
        (("check", "."), ".: is a folder.\n  Name the study's file (.toml).\n"),
        (
            ("export", "good.toml", "netlist", "--scenario", "2", "-o", "deck.cir"),
            "good.toml, vary: there is no scenario 2.\n  Name 0 to 1.\n",
        ),
        (
            ("export", "good.toml", "netlist", "--unit", "-1", "-o", "deck.cir"),
            "good.toml, run.units: there is no unit -1.\n  Name 0 or more.\n",
        ),
        (
            ("export", "good.toml", "netlist", "-o", "./good.toml"),
            "./good.toml: is the study itself.\n  Name another file behind -o.\n",
        ),
        (
            ("export", "good.toml", "netlist", "-o", "."),
            ".: is a folder.\n  Name a file behind -o.\n",
        ),
        (("new", "mine.txt"), 'mine.txt: does not end in .toml.\n  Write, for example, "mine.toml".\n'),
        (("new", "deep/mine"), 'deep/mine: does not end in .toml.\n  Write, for example, "deep/mine.toml".\n'),
        (("new", ".toml"), '.toml: does not end in .toml.\n  Write, for example, "mine.toml".\n'),
    ],
    ids=lambda given: " ".join(given) if isinstance(given, tuple) else "",
)
def test_bad_input(folder, capsys, words, message):
    """The same for every command and every way to be wrong."""
    assert main(list(words)) == 2
    said = capsys.readouterr()
    assert (said.out, said.err) == ("", message)
    assert written(folder) == []
    assert (folder / "good.toml").read_text(encoding="utf-8") == GOOD


@pytest.mark.parametrize(
    ("words", "last"),
    [
        (("run", "good.toml", "--units", "0"), "argument --units: 0: write a whole number of 1 or more"),
        (("run", "good.toml", "--units", "many"), "argument --units: many: write a whole number of 1 or more"),
        (("run", "good.toml", "--cores", "1.5"), "argument --cores: 1.5: write a whole number of 1 or more"),
        (("check",), "the following arguments are required: STUDY"),
        (("export", "good.toml", "netlist"), "the following arguments are required: -o"),
    ],
    ids=lambda given: " ".join(given) if isinstance(given, tuple) else "",
)
def test_bad_arguments(folder, capsys, words, last):
    """Arguments that mean nothing end the same way, with the usage."""
    with pytest.raises(SystemExit) as caught:
        main(list(words))
    assert caught.value.code == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.splitlines()[-1] == f"bandfloor {words[0]}: error: {last}"
    assert written(folder) == []


def test_what_new_writes_can_be_checked(folder, capsys, monkeypatch):
    """The starter study is sound, and says what to do next."""
    monkeypatch.delenv("BANDFLOOR_COMMAND", raising=False)
    assert main(["new", "deep/mine.toml"]) == 0
    said = capsys.readouterr().out
    assert "\n  bandfloor check deep/mine.toml  " in said and "\n  bandfloor run deep/mine.toml  " in said
    assert "results/mine/report.html" in said
    assert main(["check", "deep/mine.toml"]) == 0
    title = tomllib.loads((folder / "deep" / "mine.toml").read_text(encoding="utf-8"))["title"]
    assert title in capsys.readouterr().out
    assert written(folder) == ["deep"]


def test_what_to_type_next_is_what_was_typed(folder, capsys, monkeypatch):
    """From a checkout the lines to copy begin with the launcher as it was called; nothing strange is repeated."""
    for name, shown in (("./bandfloor", "./bandfloor"), ("x; rm y", "bandfloor"), ("", "bandfloor")):
        monkeypatch.setenv("BANDFLOOR_COMMAND", name)
        assert main(["new", f"study{len(name)}.toml"]) == 0
        assert f"\n  {shown} check study{len(name)}.toml " in capsys.readouterr().out


def test_what_export_writes(folder, capsys):
    """Good input gives the deck, and only the deck."""
    assert main(["export", "good.toml", "netlist", "-o", "deck.cir"]) == 0
    assert capsys.readouterr().out == "deck.cir written; try: ngspice -b deck.cir\n"
    assert written(folder) == ["deck.cir"]
    assert (folder / "deck.cir").read_text(encoding="ascii").rstrip().endswith(".end")
