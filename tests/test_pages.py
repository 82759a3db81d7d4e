"""The pages under docs/: links lead somewhere, the glossary is whole, the tutorial's commands are commands."""

import importlib.util
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from sim.cli import _parser
from sim.columns import ARRAY_MEASURES, MEASURES
from sim.study.schema import study_keys

ROOT = Path(__file__).resolve().parent.parent
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]
_SPEC = importlib.util.spec_from_file_location("make_tutorial", ROOT / "docs" / "make_tutorial.py")


def _tutorial():
    module = importlib.util.module_from_spec(_SPEC)
    sys.modules[_SPEC.name] = module
    _SPEC.loader.exec_module(module)
    return module


def _anchors(page: Path) -> set[str]:
    heads = re.findall(r"^#+ (.*)$", page.read_text(encoding="utf-8"), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", head.lower()).replace(" ", "-") for head in heads}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page):
    """Every link to a file of the checkout names one that is there, and a heading that it has."""
    for link in re.findall(r"\]\(([^)\s]+)\)", page.read_text(encoding="utf-8")):
        if not link.startswith("http"):
            name, _, anchor = link.partition("#")
            target = page.parent / name if name else page
            assert target.exists(), link
            assert not anchor or anchor in _anchors(target), link


def test_the_glossary_has_every_measure_and_table():
    """Each measure, each of an array, and each table of a study is explained."""
    text = (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8")
    heads = set(re.findall(r"^### (.*)$", text, re.MULTILINE))
    assert {*MEASURES, *ARRAY_MEASURES} - heads == set()
    tables = {re.match(r"\[+[\w.]+\]+", key.table)[0] for key in study_keys() if key.table}
    assert [table for table in tables if f"`{table}`" not in text] == []
    assert list(heads) and sorted(heads, key=str.lower) == re.findall(r"^### (.*)$", text, re.MULTILINE)


def test_the_tutorials_commands_are_commands():
    """Each ./bandfloor of the tutorial parses, and none of its outputs is missing its stretch."""
    page = (ROOT / "docs" / "tutorial.md").read_text(encoding="utf-8")
    found = [step for step in _tutorial().steps(page) if step.kind == "command"]
    assert len(found) >= 15 and "no line of the output" not in page
    for step in found:
        for command in re.findall(r"\./bandfloor ([^;&>]*)", step.text):
            words = shlex.split(command.replace("$n", "4"))
            assert _parser(words[0]).parse_args(words).command == words[0]


def test_the_tutorials_edits_make_a_study(tmp_path):
    """The study that a reader has at the end reads, with its array and without a comparison."""
    from sim.study.read import read_study

    tutorial = _tutorial()
    page = (ROOT / "docs" / "tutorial.md").read_text(encoding="utf-8")
    (tmp_path / "meadow.toml").write_bytes((ROOT / "sim" / "study" / "starter.toml").read_bytes())
    for step in tutorial.steps(page):
        if step.kind in ("edit", "drop"):
            tutorial.done(step, tmp_path)
    study = read_study(tmp_path / "meadow.toml")
    assert not study.vary and study.array and study.antenna.height == 5.5


@pytest.mark.slow
def test_the_tutorials_outputs_are_true():
    """Everything that the tutorial tells its reader to type answers what the page shows; some minutes."""
    check = [sys.executable, str(ROOT / "docs" / "make_tutorial.py"), "--check"]
    done = subprocess.run(check, cwd=ROOT, capture_output=True, text=True, check=False, timeout=1800)
    assert done.returncode == 0, done.stdout + done.stderr
