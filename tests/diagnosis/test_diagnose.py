"""The diagnosis of one sweep as its user sees it: verdict, groups, next measurement, batch."""

import json

import numpy as np
import pytest

from sim.diagnosis.bench import bench_of
from sim.diagnosis.diagnose import diagnose, on_grid
from sim.diagnosis.responses import simulate
from sim.errors import SweepError
from sim.measured.sweep import Sweep


def _keys(found):
    return [member.key for member in found.groups[0].members]


def test_a_good_unit_is_good(transimpedance):
    """A unit with its tolerances and the bench's errors passes, in a sentence."""
    sweep = transimpedance.sweep("good", 5, np.random.default_rng(1))
    found = diagnose(transimpedance.study, sweep, book=transimpedance.book)
    assert found.verdict == "good"
    assert found.told()[0] == "Nothing is wrong that this sweep could show."
    assert found.as_dict()["groups"] == []


@pytest.mark.parametrize(
    ("which", "key"),
    [
        ("transimpedance", "Cf=100pF"),
        ("transimpedance", "op0:slow"),
        ("transimpedance", "Cf:open"),
        ("follower", "Cc:open"),
        ("follower", "Ro<>Rs"),
    ],
)
def test_a_fault_is_named(which, key, request):
    """A few faults off the bench that shares only the deck; all of them are in the slow test."""
    one = request.getfixturevalue(which)
    found = diagnose(one.study, one.sweep(key, 3, np.random.default_rng(2)), book=one.book)
    assert found.verdict == "fault"
    assert key in _keys(found)
    told = found.as_dict()
    assert json.loads(json.dumps(told)) == told
    assert told["told"][0].startswith("Most likely")
    assert sum(group["share"] for group in told["groups"]) <= 1 + 1e-9


def test_two_faults_are_none_of_these(transimpedance):
    """What no single fault makes is said to be none of them, with the nearest and how far it is off."""
    one = transimpedance
    a = one.sweep("Ro=100Ω", 3, np.random.default_rng(3))
    good = one.sweep("good", 3, np.random.default_rng(4))
    b = one.sweep("Co=1nF", 3, np.random.default_rng(5))
    both = Sweep("both", "both.s2p", a.freq_hz, a.gain * b.gain / good.gain * np.exp(-2e-8j * a.freq_hz), None)
    found = diagnose(one.study, both, book=one.book)
    assert found.verdict == "none of these"
    assert found.told()[0].startswith("None of the single faults explains this sweep")
    assert found.told()[1].startswith("Nearest")


@pytest.mark.parametrize("which", ["transimpedance", "follower"])
def test_a_level_is_not_laid_at_what_makes_no_such_level(which, request):
    """A decibel more everywhere is no joint of less than no resistance, and three are no fault of any board."""
    one = request.getfixturevalue(which)
    good = one.sweep("good", 5, np.random.default_rng(7))

    def at(level_db):
        gain = good.gain * 10 ** (level_db / 20)
        return diagnose(one.study, Sweep("louder", "louder.s2p", good.freq_hz, gain, None), book=one.book)

    assert not [key for key in _keys(at(1.0)) if key.startswith(("Ro:dry", "Co:dry"))]
    assert at(3.0).verdict in ("another value", "none of these")


def test_the_next_measurement_tells_the_leading_ones_apart(transimpedance):
    """A slow op-amp and a wrong half supply look the same in a sweep; the voltage at the output tells them apart."""
    one = transimpedance
    found = diagnose(one.study, one.sweep("op0:slow", 4, np.random.default_rng(6)), book=one.book)
    assert "R2=1kΩ" in [member.key for group in found.groups for member in group.members]
    first = found.tests[0]
    assert first.name == "output_dc"
    volts = {one.key: one.value for one in first.expected}
    at_slow, at_wrong = (simulate(one.book.people, [(one.book.fault(key), {})])[0] for key in ("op0:slow", "R2=1kΩ"))
    assert volts["op0:slow"] == pytest.approx(at_slow.output_dc, abs=0.3)
    assert volts["R2=1kΩ"] == pytest.approx(at_wrong.output_dc, abs=0.3)
    assert "Measure the DC voltage" in first.told()
    assert " V if " in first.told()


def test_faults_without_a_trace_are_named(transimpedance):
    """A missing reservoir capacitor cannot be seen in a sweep, a missing feedback capacitor can."""
    one = transimpedance
    words = diagnose(one.study, one.sweep("good", 6, np.random.default_rng(7)), book=one.book).undetectable
    assert any(said.startswith("Ce is open") for said in words)
    assert not any(said.startswith("Cf is open") for said in words)


def _batch(one, *keys: str) -> list[Sweep]:
    """Units of one build on one bench, each with a fault of its own, or with one that is the bench's."""
    return [
        one.sweep(key, unit, np.random.default_rng(100 + unit), np.random.default_rng(100))
        for unit, key in enumerate(keys, start=1)
    ]


def test_a_batch_on_a_wrong_dummy_is_a_batch_shift(transimpedance):
    """Six units, dummy 5 % large: the shift is common, the dummy explains it, and the unit is like the others."""
    one = transimpedance
    first, *others = _batch(one, *["dummy+5%"] * 6)
    shift = diagnose(one.study, first, others, book=one.book).shift
    assert shift.shifted
    assert shift.unit_ordinary
    dummy = next(cause for cause in shift.causes if cause.name == "bench.dummy")
    # One build shares its lots too, so the change is that of both together.
    assert dummy.change == pytest.approx(0.05, abs=0.03)


def test_a_fault_of_one_unit_is_no_batch_shift(transimpedance):
    """One slow op-amp among good units: the unit differs from the others."""
    one = transimpedance
    first, *others = _batch(one, "op0:slow", *["good"] * 5)
    found = diagnose(one.study, first, others, book=one.book)
    assert not found.shift.unit_ordinary
    assert found.told()[-1] == "This unit differs from the others: the fault is its own."


def test_a_sweep_of_too_few_points_is_refused(transimpedance):
    """Five points say nothing about two hundred faults; the message says what to sweep."""
    short = Sweep("short", "short.csv", np.geomspace(1e6, 2e6, 5), np.ones(5, complex), None)
    with pytest.raises(SweepError, match=r"short.csv.*usable points(.|\n)*Sweep from 0.5 to 10 MHz"):
        on_grid(transimpedance.book, short)


def test_points_share_no_noise(transimpedance):
    """Between the same two points of a coarse sweep no two frequencies are compared."""
    freq_hz = np.linspace(5e5, 1e7, 60)
    places, observed = on_grid(transimpedance.book, Sweep("a", "a", freq_hz, np.ones(60, complex), None))
    nearest = [int(np.abs(freq_hz - f).argmin()) for f in transimpedance.book.freq_hz[places]]
    assert len(set(nearest)) == len(nearest)
    assert np.allclose(observed, 1)


def test_the_bench_is_the_study_s_unless_told(transimpedance):
    """Source, dummy and load come from [fixture]; the dummy as measured replaces them."""
    bench = bench_of(transimpedance.study, dummy=46.2e-12, dummy_sigma=0.002)
    assert (bench.source, bench.load, bench.dummy, bench.dummy_sigma) == (50, 50, 46.2e-12, 0.002)
