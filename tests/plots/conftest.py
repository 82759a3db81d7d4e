"""Folders with invented tables and the figures drawn from them."""

import pytest

from sim.plots.figures import write_figures
from tests.plots.invented import invented_run


@pytest.fixture(scope="session")
def one(tmp_path_factory):
    """A run of one scenario, figures drawn."""
    folder = invented_run(tmp_path_factory.mktemp("one"))
    write_figures(folder)
    return folder


@pytest.fixture(scope="session")
def four(tmp_path_factory):
    """A run of four scenarios with three unstable units, figures drawn."""
    folder = invented_run(tmp_path_factory.mktemp("four"), scenarios=4, unstable=3)
    write_figures(folder)
    return folder
