"""Build steps that pyproject.toml cannot say: the wheel carries circuits/ and the Snakefile inside the package."""

import shutil
from pathlib import Path

from setuptools import setup
from setuptools.command.build_py import build_py

TRAVELS_ALONG = ("circuits", "Snakefile")


class BuildWithCircuits(build_py):
    """Copy what lies beside the package in a checkout into the built package, where sim/paths.py looks second."""

    def run(self):
        """Build as usual; an editable install keeps using the checkout's own files."""
        super().run()
        if self.editable_mode:
            return
        here = Path(__file__).parent
        for name in TRAVELS_ALONG:
            source, target = here / name, Path(self.build_lib) / "sim" / name
            if source.is_dir():
                shutil.copytree(source, target, dirs_exist_ok=True)
            else:
                shutil.copy2(source, target)


setup(cmdclass={"build_py": BuildWithCircuits})
