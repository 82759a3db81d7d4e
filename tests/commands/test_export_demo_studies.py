"""Antenna and feedline of every study that comes along, in every scenario, read back by scikit-rf."""

import numpy as np
import pytest

from sim.deck.build import antenna_of, route_of
from sim.steps.touchstone import antenna_file, feedline_file, file_frequencies
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from tests.conftest import ROOT
from tests.small_studies import export

skrf = pytest.importorskip("skrf")
STUDIES = sorted((ROOT / "studies").glob("*.toml"))
assert STUDIES


@pytest.fixture(params=STUDIES, ids=lambda path: path.stem)
def study(request, tmp_path):
    """A copy of a study, so that what is exported lies beside it and not among the studies."""
    for path in STUDIES[0].parent.iterdir():
        if path.is_file():
            (tmp_path / path.name).write_bytes(path.read_bytes())
    return tmp_path / request.param.name


def read_back(text, path):
    """A Touchstone file as scikit-rf reads it."""
    path.write_text(text, encoding="ascii")
    return skrf.Network(str(path))


def test_command_writes_both(study):
    """The command exports antenna and feedline of the first and the last scenario; all bands are in the files."""
    every = scenarios(read_study(study))
    for number in {0, len(every) - 1}:
        for what, ports in (("antenna", 1), ("feedline", 2)):
            network = export(study, what, number)
            assert network.nports == ports and np.all(network.z0 == 75) and network.is_passive()
            assert set(every[number].study.bands.frequencies) <= set(network.f)


def test_every_scenario_reads_back(study, tmp_path):
    """Both files of each scenario hold, to 1e-9, what the program reckons with, and are passive."""
    for scenario in scenarios(read_study(study)):
        here, freq_hz = scenario.study, file_frequencies(scenario.study)
        antenna = antenna_of(here)
        seen = 1 / (1 / antenna.impedance(freq_hz) + 2j * np.pi * freq_hz * antenna.shunt_capacitance)
        one = read_back(antenna_file(here, scenario.number).text, tmp_path / "antenna.s1p")
        assert np.array_equal(one.f, freq_hz) and one.is_passive()
        assert one.s[:, 0, 0] == pytest.approx((seen - 75) / (seen + 75), abs=1e-9)
        two = read_back(feedline_file(here, scenario.number).text, tmp_path / "feedline.s2p")
        ours, scale = route_of(here).chain_matrix(freq_hz), np.array([[1.0, 75.0], [1 / 75.0, 1.0]])
        assert two.is_passive() and two.is_reciprocal()
        assert np.max(np.abs(two.a - ours) / scale) < 1e-9 * np.max(np.abs(ours) / scale)
