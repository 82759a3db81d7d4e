"""What is installed is what is meant: pins cover all that is needed, and a wheel carries all that travels along."""

import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.every_python import lower_bounds

ROOT = Path(__file__).resolve().parent.parent


def pins(name):
    """Names and versions of a lock file."""
    lines = (ROOT / name).read_text().splitlines()
    pairs = [line.split("==") for line in lines if line and not line.startswith("#")]
    return {canonicalize_name(package): version for package, version in pairs}


def needed(requirements):
    """All distributions that these requirements bring in here, direct and indirect."""
    found, waiting = set(), [Requirement(text) for text in requirements]
    while waiting:
        requirement = waiting.pop()
        extras = requirement.extras or {""}
        name = canonicalize_name(requirement.name)
        if (name, frozenset(extras)) in found:
            continue
        found.add((name, frozenset(extras)))
        for text in metadata.requires(name) or ():
            further = Requirement(text)
            if further.marker is None or any(further.marker.evaluate({"extra": extra}) for extra in extras):
                waiting.append(further)
    return {name for name, _ in found}


def test_lock_pins_exactly_what_is_needed():
    """Every package that the project brings in is pinned, and nothing besides but what builds it."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    locked = set(pins("requirements.lock"))
    # What a system or a Python version needs on its own may be pinned without being needed here.
    assert needed(project["dependencies"]) - locked == set()
    assert locked - needed(project["dependencies"]) <= {"setuptools", "greenlet", "tzdata"}


def test_cluster_lock_pins_what_the_optional_part_names():
    """The plugin is pinned in a version that the optional part allows, and its lock pins nothing of the other locks."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    locked = pins("requirements-cluster.lock")
    for requirement in map(Requirement, project["optional-dependencies"]["cluster"]):
        assert requirement.specifier.contains(locked[canonicalize_name(requirement.name)])
    assert not set(locked) & set(pins("requirements.lock") | pins("requirements-dev.lock"))


def test_locked_versions_are_the_tested_ones():
    """The tests run on the pinned versions, so that a pass says something about them."""
    locked = pins("requirements.lock") | pins("requirements-dev.lock")
    del locked["setuptools"]
    assert {name: metadata.version(name) for name in locked} == locked


def test_every_folder_with_modules_is_a_package():
    """A folder without __init__.py would be left out of the wheel."""
    folders = {path.parent for path in (ROOT / "sim").rglob("*.py")}
    assert [str(folder) for folder in sorted(folders) if not (folder / "__init__.py").exists()] == []


def test_wheel_carries_everything(tmp_path):
    """An installed wheel has all modules, templates, circuits and the Snakefile inside the package."""
    copy = tmp_path / "checkout"
    copy.mkdir()
    for name in ("sim", "circuits"):
        shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "setup.py", "README.md", "LICENSE", "Snakefile"):
        shutil.copy2(ROOT / name, copy)
    subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "--no-build-isolation", "-w", tmp_path, copy],
        check=True,
        capture_output=True,
    )
    (wheel,) = tmp_path.glob("bandfloor-*.whl")
    inside = set(zipfile.ZipFile(wheel).namelist())
    meant = {"sim/Snakefile"}
    for top, prefix in (("sim", ""), ("circuits", "sim/")):
        paths = [path for path in (ROOT / top).rglob("*") if path.is_file() and "__pycache__" not in path.parts]
        meant |= {prefix + path.relative_to(ROOT).as_posix() for path in paths}
    carried = {name for name in inside if not re.match(r"bandfloor-[^/]*\.dist-info/", name)}
    assert carried == meant


def test_oldest_allowed_versions_are_the_lower_bounds():
    """Every dependency has one lower bound that can be installed for a trial, and a bound left out is told."""
    dependencies = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["dependencies"]
    oldest = lower_bounds(dependencies)
    assert "numpy==2.1" in oldest and len(oldest) == len(dependencies)
    assert lower_bounds(['numpy>=2.1,<3; python_version < "3.12"']) == ['numpy==2.1 ; python_version < "3.12"']
    with pytest.raises(ValueError, match=r"^rich: has no lower bound"):
        lower_bounds(["rich"])
