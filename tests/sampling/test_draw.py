"""Draws depend on seed, unit number and name alone, keep tolerances, and have the shapes that are stated."""

import os
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from sim.quantity import parse_part
from sim.sampling.draw import DieDraws, die_at, draw_die, draw_part, draw_temperature, standard_draws

ROOT = Path(__file__).parents[2]
MANY = np.arange(1, 20_001)
BUILD = 16
NAMES = tuple(field.name for field in fields(DieDraws))
PARTS = ("10k 1% thick-film", "10k 1% thick-film lot", "10k 5% normal", "10k -20%/+80% X7R lot", "10k 2% uniform")


def drawn(text, units=MANY, name="Rf", seed=1, temperature_c=None):
    """Values of a resistor described by the text."""
    return draw_part(parse_part(text, "ohm"), name, seed, units, BUILD, temperature_c)


def deviations(text, **more):
    """Relative deviations from 10 kΩ."""
    return drawn(text, **more) / 10e3 - 1


def by_build(values):
    """Rows of whole builds."""
    return values[: len(values) // BUILD * BUILD].reshape(-1, BUILD)


# ---------------------------------------------------------------------- what a draw depends on


def test_pinned_values():
    """The first draws are these, on every system, Python and numpy: results of today stay those of tomorrow."""
    assert standard_draws(1, [0, 1, 2, 999], "Cf").tolist() == [  # own run, pinned
        0.11121766522250937,
        0.6490260524660181,
        0.1739809635408987,
        0.6355020626454584,
    ]


@pytest.mark.parametrize("hash_seed", ["0", "4711"])
def test_another_process_draws_the_same(hash_seed):
    """A fresh process gives the same bits, whatever salt its own hash function has."""
    code = "from sim.sampling.draw import standard_draws as d; print(d(3, [7, 5], 'Cc|lot').tobytes().hex())"
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        env={**os.environ, "PYTHONHASHSEED": hash_seed, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.strip() == standard_draws(3, [7, 5], "Cc|lot").tobytes().hex()


@pytest.mark.parametrize("text", PARTS)
def test_any_subset_in_any_order(text):
    """One unit, a few or all, in any order and even twice, are bit-identical."""
    temperature = draw_temperature((-20, 40), 1, MANY)
    whole = drawn(text, temperature_c=temperature)
    chosen = np.random.default_rng(3).permutation(MANY)[:500]
    some = drawn(text, units=chosen, temperature_c=temperature[chosen - 1])
    assert some.tobytes() == whole[chosen - 1].tobytes()
    one = drawn(text, units=np.array([777]), temperature_c=temperature[776:777])
    assert one.tobytes() == whole[776:777].tobytes()
    twice = drawn(text, units=np.array([5, 5]), temperature_c=temperature[[4, 4]])
    assert twice.tobytes() == whole[[4, 4]].tobytes()


def test_dies_of_any_subset():
    """The same for every value of a die."""
    whole, some = draw_die("Xamp", 1, MANY), draw_die("Xamp", 1, MANY[::-7])
    for name in NAMES:
        assert getattr(some, name).tobytes() == getattr(whole, name)[::-7].tobytes()


def test_other_names_in_between_move_nothing():
    """Drawing further parts, dies or a temperature before a part leaves its values as they are."""
    alone = drawn("10k 1% lot")
    drawn("10k 1% lot", name="Rg")
    draw_die("Xamp", 1, MANY)
    draw_temperature((-20, 40), 1, MANY)
    assert drawn("10k 1% lot").tobytes() == alone.tobytes()


def test_units_far_apart():
    """Few units with numbers far from each other cost neither memory nor time, and draw what they draw alone."""
    far = np.array([2**40, 0, 10**9])
    found = standard_draws(1, far, "Cf")
    assert found.tolist() == [standard_draws(1, [number], "Cf")[0] for number in far]
    assert found[1] == standard_draws(1, [0, 1, 2], "Cf")[0]


def test_no_units():
    """Of no unit nothing is drawn."""
    assert standard_draws(1, [], "Cf").shape == (0,)
    assert drawn("10k 1% lot", units=np.array([], dtype=int)).shape == (0,)


@pytest.mark.parametrize(("a", "b"), [((1, "Cf"), (2, "Cf")), ((1, "Cf"), (1, "Cc")), ((1, "1Cf"), (11, "Cf"))])
def test_seed_and_name_matter(a, b):
    """Another seed or name gives draws that have nothing to do with the first; digits cannot pass between the two."""
    first, second = (standard_draws(seed, MANY, name) for seed, name in (a, b))
    assert abs(np.corrcoef(first, second)[0, 1]) < 0.03  # 4 standard errors
    assert not np.any(first == second)


def test_neighbours_are_independent():
    """Units that follow each other are not correlated, nor are units a build apart."""
    u = standard_draws(1, MANY, "Cf")
    for step in (1, 2, 4, BUILD):
        assert abs(np.corrcoef(u[:-step], u[step:])[0, 1]) < 0.03


@pytest.mark.parametrize("name", ["Cf", "Rf|lot", "Xamp.current", "temperature"])
def test_standard_draws_are_uniform(name):
    """Kolmogorov and Smirnov find nothing against uniform numbers, strictly between 0 and 1."""
    u = standard_draws(1, MANY, name)
    assert 0 < u.min() and u.max() < 1
    assert stats.kstest(u, "uniform").pvalue > 0.01


# ---------------------------------------------------------------------- parts


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("10k 1%", -0.01, 0.01),
        ("10k 1% normal", -0.01, 0.01),
        ("10k 1% thick-film lot", -0.01, 0.01),
        ("10k 5% C0G lot", -0.05, 0.05),
        ("10k -20%/+80% lot", -0.2, 0.8),
        ("10k -20%/+80% normal", -0.2, 0.8),
        ("10k -20%/+80%", -0.2, 0.8),
    ],
)
def test_tolerance_is_kept(text, low, high):
    """No unit is outside its tolerance, and the tolerance is used on both sides."""
    found = deviations(text)
    assert found.min() >= low - 1e-15 and found.max() <= high + 1e-15
    assert found.min() < 0.8 * low and found.max() > 0.8 * high


@pytest.mark.parametrize("text", ["10k 0%", "10k 0% lot", "10k 0% normal", "10k", "10k thick-film lot"])
def test_part_without_spread(text):
    """A part of 0 %, or without a tolerance, has its nominal value in every unit."""
    assert np.all(drawn(text) == 10e3)


@pytest.mark.parametrize("text", PARTS)
def test_nominal_unit(text):
    """Unit 0 has the nominal value whatever the temperature; unit 1 has not."""
    found = drawn(text, units=np.array([0, 1]), temperature_c=np.array([-40.0, -40.0]))
    assert found[0] == 10e3
    assert found[1] != 10e3


def test_default_shape_is_uniform():
    """Without words a part is uniform over its tolerance, also a lopsided one."""
    assert stats.kstest(deviations("10k 1%"), stats.uniform(-0.01, 0.02).cdf).pvalue > 0.01
    assert stats.kstest(deviations("10k -20%/+80%"), stats.uniform(-0.2, 1.0).cdf).pvalue > 0.01


def test_normal_shape():
    """With the word normal the tolerance is two sigma of a normal cut off there."""
    found = deviations("10k 1% normal")
    assert stats.kstest(found, stats.truncnorm(-2, 2, scale=0.005).cdf).pvalue > 0.01
    assert np.std(found) / 0.01 == pytest.approx(0.4398, abs=0.006)  # closed form, see test_shapes.py


@pytest.mark.parametrize(("kind", "sigma"), [("C0G", 0.1), ("thin-film", 0.1), ("thick-film", 0.2), ("X7R", 0.2)])
def test_lot_and_unit_part(kind, sigma):
    """A lot is uniform over 0.7 of the tolerance; within it units spread by a tenth, or two, of the tolerance."""
    builds = by_build(deviations(f"10k 1% {kind} lot", units=np.arange(1, 160_001)))
    # Lots whose units cannot reach the tolerance show the unit part uncut.
    inner = builds[np.abs(builds.mean(axis=1)) < 0.003]
    within = (inner - inner.mean(axis=1, keepdims=True)) * np.sqrt(BUILD / (BUILD - 1))
    assert np.std(within) == pytest.approx(sigma * 0.01, rel=0.02)
    # The mean of 16 units blurs the lot's value by a quarter of the unit part, which the spread must contain.
    expected = np.hypot(0.7 * 0.01 / np.sqrt(3), sigma * 0.01 / 4)
    assert np.std(builds.mean(axis=1)) == pytest.approx(expected, rel=0.03)


def test_a_lot_is_a_build():
    """Units of a build are alike, units of the next are not; the first build is units 1 to 16."""
    builds = by_build(deviations("10k 5% C0G lot"))
    assert np.ptp(builds, axis=1).max() < 0.05  # no more than ±3 of 0.005, and a little cut
    assert np.ptp(builds.mean(axis=1)) > 0.06
    # One unit shifted, the groups straddle two lots and spread far more.
    shifted = by_build(deviations("10k 5% C0G lot")[1:])
    assert np.median(shifted.std(axis=1)) > 1.5 * np.median(builds.std(axis=1))


def test_other_build_size_keeps_the_unit_part():
    """The uniform number behind a unit's own part does not depend on how units are grouped."""
    part = parse_part("10k 1% C0G", "ohm")
    small, large = (draw_part(part, "Rf", 1, MANY, build) for build in (4, 64))
    assert small.tobytes() == large.tobytes()


@pytest.mark.parametrize(
    ("kind", "mean_ppm", "most_ppm"),
    [  # limits that makers' data sheets state for the kinds; film from memory, no source
        ("thin-film", 0, 40),
        ("thick-film", 0, 125),
        ("C0G", 0, 35),
        ("film", -200, 120),
    ],
)
def test_temperature_coefficient(kind, mean_ppm, most_ppm):
    """A part without tolerance moves with temperature by its kind's coefficient; at 25 °C it does not."""
    still = deviations(f"10k {kind}", temperature_c=np.full(len(MANY), 25.0))
    assert np.all(still == 0)
    slope = deviations(f"10k {kind}", temperature_c=np.full(len(MANY), 65.0)) / 40 * 1e6
    assert np.mean(slope) == pytest.approx(mean_ppm, abs=3)
    assert np.abs(slope - mean_ppm).max() <= most_ppm
    assert np.abs(slope - mean_ppm).max() > 0.8 * most_ppm


@pytest.mark.parametrize("temperature_c", [-55.0, 85.0, 125.0])
@pytest.mark.parametrize("lot", ["", " lot"])
def test_class_2_capacitor_keeps_its_class(temperature_c, lot):
    """X7R stays within 15 % from −55 to +125 °C: what its code promises (EIA-198)."""
    found = deviations(f"10k X7R{lot}", temperature_c=np.full(len(MANY), temperature_c))
    assert np.abs(found).max() <= 0.15


def test_no_part_falls_to_zero():
    """Far from 25 °C even a ferrite's value stays positive."""
    assert np.all(drawn("10k 20% ferrite", temperature_c=np.full(len(MANY), -60.0)) > 0)


def test_a_lot_tracks_in_temperature():
    """Parts of a lot drift together: their coefficients differ far less than those of different lots."""
    builds = by_build(deviations("10k thick-film lot", temperature_c=np.full(len(MANY), 65.0)))
    assert np.median(builds.std(axis=1)) < 0.5 * builds.mean(axis=1).std()


# ---------------------------------------------------------------------- dies and temperature


def test_typical_die():
    """The die of unit 0 is typical: every factor 1, every offset 0."""
    die = draw_die("Xamp", 1, np.array([0, 1]))
    for name in NAMES:
        first, second = getattr(die, name)
        assert first == (0.0 if name in ("aol_db", "vos") else 1.0)
        assert second != first


def test_die_spread():
    """Gain-bandwidth spreads by 8 % and never beyond 25 %, the rest as stated."""
    die = draw_die("Xamp", 1, np.arange(1, 100_001))
    assert die.gbw.min() >= 0.75 and die.gbw.max() <= 1.25
    assert np.log(die.gbw).std() == pytest.approx(0.08, abs=0.003)
    assert np.log(die.en).std() == pytest.approx(0.04, abs=0.001)
    assert np.log(die.iq).std() == pytest.approx(0.04, abs=0.001)
    assert np.log(die.inoise).std() == pytest.approx(0.10, abs=0.003)
    assert np.log(die.slew / die.gbw).std() == pytest.approx(0.05, abs=0.001)
    assert -6 <= die.aol_db.min() and die.aol_db.max() <= 3
    assert np.abs(die.vos).max() <= 1 and die.vos.std() == pytest.approx(0.3289, abs=0.003)  # cut at three sigma
    for name, most in (("cin", 0.20), ("ro", 0.30), ("fp2", 0.15)):
        assert stats.kstest(getattr(die, name)[:20_000], stats.uniform(1 - most, 2 * most).cdf).pvalue > 0.01


def test_die_has_two_causes():
    """Stage current ties speed, supply current and noise together: faster dies draw more and are quieter."""
    die = draw_die("Xamp", 1, MANY)
    assert np.corrcoef(die.gbw, die.slew)[0, 1] > 0.8
    assert 0.4 < np.corrcoef(die.gbw, die.iq)[0, 1] < 0.6  # 0.04/0.08
    assert -0.35 < np.corrcoef(die.gbw, die.en)[0, 1] < -0.15  # −(0.04/0.08) (0.02/0.04)
    assert abs(np.corrcoef(die.gbw, die.vos)[0, 1]) < 0.03


def test_die_at_temperature():
    """A warm die is slower and draws more; at 25 °C it is as drawn, and what has no coefficient does not move."""
    die = draw_die("Xamp", 1, MANY)
    warm, still = die_at(die, np.full(len(MANY), 75.0)), die_at(die, np.full(len(MANY), 25.0))
    np.testing.assert_allclose(warm.gbw / die.gbw, 0.90)  # −0.2 %/K
    np.testing.assert_allclose(warm.slew / die.slew, 0.90)
    np.testing.assert_allclose(warm.iq / die.iq, 1.075)  # +0.15 %/K
    for name in NAMES:
        assert np.array_equal(getattr(still, name), getattr(die, name))
        if name not in ("gbw", "slew", "iq"):
            assert np.array_equal(getattr(warm, name), getattr(die, name))


@pytest.mark.parametrize(("celsius", "factor"), [(-25.0, 1 / 32), (15.0, 0.5), (25.0, 1.0), (65.0, 16.0)])
def test_bias_current_of_a_fet_doubles(celsius, factor):
    """Every 10 K (TL072 data sheet), from 25 °C; that of a bipolar input stays, and so does all else."""
    die = draw_die("Xamp", 1, MANY)
    warm = die_at(die, np.full(len(MANY), celsius), fet_input=True)
    plain = die_at(die, np.full(len(MANY), celsius))
    np.testing.assert_allclose(warm.ib / die.ib, factor, rtol=1e-12)
    for name in NAMES:
        one, other = (plain, die) if name == "ib" else (warm, plain)
        assert np.array_equal(getattr(one, name), getattr(other, name))


def test_temperature():
    """Uniform over the span, in its middle for the nominal unit; a single value is the same for all."""
    found = draw_temperature((-20.0, 40.0), 1, MANY)
    assert stats.kstest(found, stats.uniform(-20, 60).cdf).pvalue > 0.01
    assert draw_temperature((-20.0, 40.0), 1, np.array([0])).tolist() == [10.0]
    assert np.all(draw_temperature((20.0, 20.0), 1, np.arange(9)) == 20.0)


def test_light_import():
    """Drawing needs no plotting, no tables and no statistics package."""
    code = (
        "import sys, sim.sampling.draw;"
        "print([m for m in ('scipy.stats', 'pandas', 'matplotlib', 'pyarrow') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
