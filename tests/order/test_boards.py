"""Boards to build, on builds made up here: no simulator, chances known in closed form."""

from math import comb

import numpy as np
import pytest

from sim.errors import BandfloorError
from sim.order.boards import boards_needed, good_boards, measured
from sim.order.simulated import Builds
from sim.quantity import parse_limit
from sim.summary.yields import clopper_pearson

STRIDE = 40
GAIN = {"gain_db": parse_limit("10 +- 1")}


class MadeUp:
    """Stands for the simulator: gains of builds, as far as they are asked for."""

    def __init__(self, gain_db, phase_deg=None):
        self.gain_db = np.asarray(gain_db, dtype=float)[..., None]
        self.phase_deg = np.zeros_like(self.gain_db) if phase_deg is None else np.asarray(phase_deg)[..., None]
        self.builds, self.stride, self.asked = *self.gain_db.shape[:2], []

    def upto(self, boards):
        """As the simulator: the first boards of each build."""
        self.asked.append(boards)
        values = {"gain_db": self.gain_db[:, :boards], "phase_deg": self.phase_deg[:, :boards]}
        return Builds(self.stride, (3.5e6,), values, {})


def with_lots(lot_db, unit_db, builds, seed=1):
    """Gains of builds that share a shift of their lot, beside a shift of each board's own, both normal."""
    rng = np.random.default_rng(seed)
    return 10 + rng.normal(0, lot_db, (builds, 1)) + rng.normal(0, unit_db, (builds, STRIDE))


def binomial_tail(wanted, boards, share):
    """P(at least so many good of the boards)."""
    return sum(comb(boards, k) * share**k * (1 - share) ** (boards - k) for k in range(wanted, boards + 1))


def test_independent_boards_need_what_the_binomial_says():
    """Without lots the count agrees with the binomial number: 12 boards for 9 at a yield of 90 %."""
    good = np.random.default_rng(3).random((20_000, STRIDE)) < 0.9
    need = boards_needed(MadeUp(np.where(good, 10, 20)), GAIN, 9, 0.95, 12)
    assert need.boards == 12
    # P = 0.9744 (binomial, exact), counted in 20,000 builds.
    assert need.share == pytest.approx(binomial_tail(9, 12, 0.9), abs=4 * (0.9744 * 0.0256 / 20_000) ** 0.5)
    half = 1.96 * (0.9 * 0.1 / 12 / 20_000) ** 0.5
    assert need.good_share == pytest.approx(0.9, abs=2 * half)
    assert (need.good_high - need.good_low) / 2 == pytest.approx(half, rel=0.05)


def test_boards_that_share_lots_need_more():
    """The count agrees with the integral over lots, and is more than independent boards of that yield need."""
    from scipy.integrate import quad
    from scipy.stats import norm

    lot_db, unit_db, wanted = 0.45, 0.3, 9

    def enough(boards):
        """P(at least `wanted` good): binomial for a given lot, integrated over lots."""

        def at(shift):
            own = norm.cdf((1 - shift) / unit_db) - norm.cdf((-1 - shift) / unit_db)
            return binomial_tail(wanted, boards, own) * norm.pdf(shift / lot_db) / lot_db

        return quad(at, -3, 3, limit=200, epsabs=1e-9)[0]

    share = norm.cdf(1, scale=np.hypot(lot_db, unit_db)) * 2 - 1
    alone = next(n for n in range(wanted, 40) if binomial_tail(wanted, n, share) >= 0.95)
    exact = next(n for n in range(wanted, 40) if enough(n) >= 0.95)
    need = boards_needed(MadeUp(with_lots(lot_db, unit_db, 20_000)), GAIN, wanted, 0.95, 12)
    assert exact > alone
    assert abs(need.boards - exact) <= 1
    assert need.share == pytest.approx(enough(need.boards), abs=4 * (0.05 * 0.95 / 20_000) ** 0.5)
    assert need.good_share == pytest.approx(share, abs=0.01)
    assert (need.share_low, need.share_high) == clopper_pearson(round(need.share * 20_000), 20_000)


def test_lots_that_no_number_mends():
    """Where one lot in ten is off altogether no number is given, and nothing is simulated in vain."""
    gain_db = np.full((200, STRIDE), 10.0)
    gain_db[::10] = 20
    made = MadeUp(gain_db)
    need = boards_needed(made, GAIN, 8, 0.95, 20)
    assert need.boards is None and need.hopeless == pytest.approx(0.1) and need.share == pytest.approx(0.9)
    assert made.asked == [20], "not carried on to forty boards"


def test_more_boards_are_simulated_where_they_help():
    """A low yield without lots is searched beyond the first boards, up to the number that does."""
    good = np.random.default_rng(5).random((4000, STRIDE)) < 0.5
    made = MadeUp(np.where(good, 10, 20))
    need = boards_needed(made, GAIN, 8, 0.95, 10)
    exact = next(n for n in range(8, 60) if binomial_tail(8, n, 0.5) >= 0.95)
    assert abs(need.boards - exact) <= 1 and made.asked[:3] == [10, 15, 23]


def test_a_match_is_judged_among_the_boards_built():
    """The mean is over the first n boards, so a build of three is not told from its fourth board."""
    made = MadeUp([[10.0, 10.1, 10.2, 13.7]], [[179.0, -179.0, 180.0, 170.0]])
    limits = {"match_gain_db": parse_limit("0 +- 0.15"), "match_phase_deg": parse_limit("0 +- 2")}
    assert good_boards(made.upto(4), limits, 3).tolist() == [[True, True, True]]
    assert good_boards(made.upto(4), limits, 4).tolist() == [[False, False, False, False]]
    assert measured(made.upto(4), "match_gain_db", 3)[0, :, 0] == pytest.approx([-0.1, 0, 0.1])
    assert measured(made.upto(4), "match_phase_deg", 3)[0, :, 0] == pytest.approx([-1, 1, 0])


def test_boards_that_fail_are_bad_and_in_no_mean():
    """A board that did not simulate is bad and shifts nobody else's match; so is one that starves."""
    made = MadeUp([[10.0, np.nan, 10.2, 10.1]])
    limits = {"match_gain_db": parse_limit("0 +- 0.15")}
    assert good_boards(made.upto(4), limits, 4).tolist() == [[True, False, True, True]]
    builds = made.upto(4)
    builds.values["supply_reserve_v"] = np.array([[[1.0], [1.0], [-0.1], [np.nan]]])
    assert good_boards(builds, limits, 4).tolist() == [[True, False, False, True]]


def test_a_limit_that_nothing_gives_is_refused():
    """A limit on a measure that the boards do not have is no limit kept."""
    with pytest.raises(BandfloorError, match="does not judge headroom_db"):
        good_boards(MadeUp([[10.0, 10.1]]).upto(2), {"headroom_db": parse_limit("> 3")}, 2)
