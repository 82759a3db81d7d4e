"""Versions of the program and of what its numbers rest on."""

from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from sim.errors import SetupError

_PACKAGES = ("bandfloor", "PySpice", "numpy", "scipy", "pandas", "matplotlib", "snakemake", "scikit-rf")


def versions() -> str:
    """One package a line; last the ngspice library that a run would load, or that there is none."""
    lines = []
    for name in _PACKAGES:
        try:
            lines.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            lines.append(f"{name} not installed")
    return "\n".join([*lines, f"ngspice library {_library()}"])


def _library() -> str:
    from sim.engine.ngspice import library_path

    try:
        name = library_path()
    except SetupError as error:
        return str(error).removeprefix("the ngspice shared library was ")
    # The loader knows it by a short name; Linux tells where it has found it.
    try:
        mapped = Path("/proc/self/maps").read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return name
    places = [line.split(maxsplit=5)[-1] for line in mapped if Path(name).name in line]
    return str(Path(places[0]).resolve()) if places else name
