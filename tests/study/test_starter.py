"""The study that `bandfloor new` writes."""

import re
from pathlib import Path

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


def test_lines_are_short():
    """It fits a terminal of ordinary width."""
    assert max(map(len, TEXT.split("\n"))) <= 120
