"""Versions of the program and of what its numbers rest on."""

from importlib.metadata import PackageNotFoundError, version

_PACKAGES = ("bandfloor", "PySpice", "numpy", "scipy", "pandas", "matplotlib", "snakemake", "scikit-rf")


def versions() -> str:
    """One package a line."""
    lines = []
    for name in _PACKAGES:
        try:
            lines.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            lines.append(f"{name} not installed")
    return "\n".join(lines)
