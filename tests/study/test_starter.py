"""The study that `bandfloor new` writes."""

import re
from pathlib import Path

import pytest

import sim.study
from sim.study.antennas import ANTENNA_MODELS
from sim.study.read import read_study
from sim.study.schema import study_keys

STARTER = Path(sim.study.__file__).parent / "starter.toml"
TEXT = STARTER.read_text(encoding="utf-8")
# "# key = value" is a default; indented further, it is another way of writing something.
DEFAULT = re.compile(r"^# (\w+ = )", re.MULTILINE)
ANOTHER_WAY = re.compile(r"^#   (\w+ = .*)$", re.MULTILINE)


def test_the_starter_reads():
    """It is a study without a fault, with something to compare and something to keep."""
    study = read_study(STARTER)
    assert study.vary and study.limits
    assert study.run.units >= 100


def test_what_is_commented_out_is_the_default(tmp_path):
    """With every "# key =" switched on, it is the same study."""
    (tmp_path / "all.toml").write_text(DEFAULT.sub(r"\1", TEXT), encoding="utf-8")
    assert len(DEFAULT.findall(TEXT)) >= 8
    assert read_study(tmp_path / "all.toml") == read_study(STARTER)


def test_every_key_is_explained():
    """Each key of a study stands in it, switched on or not; of the other antennas only the name."""
    for key in study_keys():
        if ("[antenna]" not in key.table or "short-vertical" in key.table) and key.name != "NAME":
            pattern = rf"^(# +)?(noise = {{.*)?{key.name} = "
            assert re.search(pattern, TEXT, re.MULTILINE), key
    assert all(f'"{model}"' in TEXT for model in ANTENNA_MODELS)


def test_other_ways_of_writing_work(tmp_path):
    """What is shown as an alternative can be taken as it stands (files of one's own aside)."""
    ways = [line.partition("   ")[0] for line in ANOTHER_WAY.findall(TEXT)]
    noise = [line for line in ways if line.startswith("noise")]
    parts = [line for line in ways if line.startswith("Rf")]
    assert len(noise) == 2 and len(parts) == 1
    for number, line in enumerate(noise):
        path = tmp_path / f"{number}.toml"
        path.write_text(re.sub(r"^noise = .*$", line, TEXT, flags=re.MULTILINE), encoding="utf-8")
        assert read_study(path).site.noise.frequencies == (1.8e6, 3.5e6, 7.1e6)
    path = tmp_path / "parts.toml"
    path.write_text(TEXT.replace(f"#   {parts[0]}", parts[0]), encoding="utf-8")
    assert read_study(path).amplifier.parts["Rf"] == "22k 1% thick-film lot"


def _blocks() -> list[list[str]]:
    """The tables of the second part, each with the lines below its head, switched on."""
    blocks: list[list[str]] = []
    for line in TEXT.partition("Part 2")[2].split("\n"):
        if line.startswith("#   [") and not line.startswith("#   [array.") and not line.startswith("#   [[array."):
            blocks.append([])
        elif not line.startswith("#   "):
            blocks.append([]) if blocks and blocks[-1] else None
            continue
        if blocks:
            blocks[-1].append(line[4:])
    return [block for block in blocks if block and block[0].startswith("[")]


@pytest.mark.parametrize("block", [b for b in _blocks() if b[0] != "[amplifier.model]"], ids=lambda block: block[0])
def test_what_is_needed_now_and_then_works(block, tmp_path):
    """Each table of the second part can be switched on as it stands (that of a maker's model needs its file)."""
    path = tmp_path / "study.toml"
    path.write_text(TEXT + "\n" + "\n".join(block) + "\n", encoding="utf-8")
    study = read_study(path)
    assert study != read_study(STARTER) or block[0] == "[fixture]", "all of [fixture] is shown at its defaults"


def test_the_second_part_is_found():
    """The reader of blocks sees all tables there are."""
    assert [block[0] for block in _blocks()] == [
        "[stability]", "[array]", "[[strong]]", "[weather]", "[fixture]", "[feedline.tee]", "[amplifier.model]",
    ]  # fmt: skip


def test_further_keys_work(tmp_path):
    """Keys of tables of the first part that are shown in the second can be taken as they stand, too."""
    for head, first in (("amplifier", "series_input"), ("supply", "regulator")):
        lines = TEXT[TEXT.index(f"#   {first} =") :].split("\n\n")[0].split("\n")
        added = "\n".join(line[4:] for line in lines)
        path = tmp_path / f"{head}.toml"
        path.write_text(TEXT.replace(f"\n[{head}]\n", f"\n[{head}]\n{added}\n"), encoding="utf-8")
        assert getattr(read_study(path), head) != getattr(read_study(STARTER), head)


def test_lines_are_short():
    """It fits a terminal of ordinary width."""
    assert max(map(len, TEXT.split("\n"))) <= 120
