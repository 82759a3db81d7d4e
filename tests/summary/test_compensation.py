"""Which capacitors compensate, and the search for another value."""

import math

import numpy as np
import pytest

from sim.deck.build import chain_of
from sim.quantity import Limit
from sim.study.read import read_study
from sim.study.scenarios import changed
from sim.summary.compensation import Demands, compensation, feedback_capacitors
from tests.small_studies import write_study


def _study(folder, **tables):
    return read_study(write_study(folder, run={"units": 8, "build": 4}, **tables))


@pytest.mark.parametrize(
    ("circuit", "names"),
    [
        ("transimpedance", [("Cf",)]),
        ("bad-example", [("Cp",)]),
        ("voltage-follower", []),
    ],
)
def test_feedback_capacitors_of_the_circuits(circuit, names, tmp_path):
    """What lies between inverting input and output; neither coupling capacitors nor those of the supply."""
    study = _study(tmp_path, amplifier={"circuit": circuit, "opamp": "OPA2822"})
    groups = feedback_capacitors(chain_of(study).circuit)
    assert [tuple(part.name for part in group) for group in groups] == names


def test_equal_ones_of_a_balanced_circuit_go_together(tmp_path):
    """A balance hangs on Cfp and Cfn, so no one is changed alone."""
    antenna = {"model": "short-dipole", "length": "10 m", "radius": "1 mm", "height": "8 m"}
    study = _study(tmp_path, amplifier={"circuit": "balanced-transimpedance", "opamp": "OPA2822"}, antenna=antenna)
    assert [{part.name for part in group} for group in feedback_capacitors(chain_of(study).circuit)] == [{"Cfp", "Cfn"}]


@pytest.fixture(scope="module")
def fast(tmp_path_factory):
    """A scenario with a decompensated op-amp, whose margin grows as Cf gets smaller."""
    study = _study(tmp_path_factory.mktemp("fast"), bands={"frequencies": ["1.83M", "7.05M"]})
    return changed(study, "amplifier.opamp", "OPA818")


def test_the_nearest_value_that_keeps_every_limit_is_found(fast):
    """With 0.57 demands 6.8 pF does, and 8.2 pF does not, whose nominal unit has 0.55."""
    demands = Demands({"stability_margin": Limit(0.57, math.inf)}, 0.7, 4)
    found, tried = compensation(fast, [3], demands)
    assert (found.names, found.text, found.was, found.words) == (("Cf",), "6.8p", 1e-11, "Cf = 6.8 pF") and tried > 2
    np.testing.assert_array_equal(found.units, np.arange(9))
    assert found.good >= 0.7 * 8 and found.seen.gain_db.shape == (9, 2)


def test_no_value_is_named_where_another_limit_breaks(fast):
    """Where gain must stay, no Cf will do, and it is said how many were tried."""
    demands = Demands({"stability_margin": Limit(0.6, math.inf), "gain_db": Limit(10, 11.5)}, 0.9, 4)
    found, tried = compensation(fast, [3], demands)
    assert found is None and tried > 6
