"""Orders for a station near strong carriers: boards are judged by what the pipeline measures of the same units."""

import numpy as np
import pytest

from sim.order.boards import good_boards
from sim.order.simulated import BuildSimulator
from sim.quantity import parse_limit
from sim.steps.simulate import simulate
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from sim.summary.collect import gather, responses
from sim.summary.matching import build_matches
from tests.small_studies import small_text, write_study

BUILDS, BOARDS = 2, 3
CARRIERS = '[[strong]]\nfrequency = "621k"\nemf = "60 mV"\n[[strong]]\nfrequency = "1215k"\nemf = "30 mV"\n'


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    """Six boards as an order simulates them, and as units of the study in builds of three."""
    folder = tmp_path_factory.mktemp("strong-order")
    run = {"units": BUILDS * BOARDS, "build": BOARDS, "temperature": "-10..35"}
    study = read_study(str(write_study(folder, small_text(run=run) + CARRIERS)))
    builds = BuildSimulator(scenarios(study)[0], BUILDS, BOARDS).upto(BOARDS)
    arrays, failures = simulate(study, "1-of-1")
    assert failures == []
    np.savez(folder / "chunk.npz", **arrays)
    return builds, gather([folder / "chunk.npz"])


@pytest.mark.parametrize("name", ["headroom_db", "product_margin_db", "oip2_dbm", "oip3_dbm"])
def test_the_same_numbers_as_a_run(both, name):
    """Room, products and intercepts of each board are those of the unit of the same number, bit for bit."""
    builds, gathered = both
    own = builds.values[name]
    every = responses(gathered, builds.bands_hz, build_matches(gathered, BOARDS), 0)
    columns = [one.values[1:] for one in every if one.measure == name]
    run = np.stack(columns, axis=1).reshape(own.shape)
    assert np.array_equal(own, run, equal_nan=True) and np.nanstd(own) > 0


def test_a_limit_on_room_decides(both):
    """Boards with less room than asked for are bad, and all others good."""
    builds, _ = both
    room = builds.values["headroom_db"][:, :, 0]
    asked = float(np.median(room)) + 1e-9
    good = good_boards(builds, {"headroom_db": parse_limit(f"> {asked!r}")}, BOARDS)
    assert np.array_equal(good, room > asked) and 0 < good.sum() < good.size
