"""Two tones in time: their period, what cannot be run, and what one process does."""

import numpy as np
import pytest

from sim.distortion.estimate import Carrier
from sim.distortion.two_tone import near_tones, period_of
from sim.distortion.worker import DistortionWorker, EstimateTrial, TwoToneTrial
from sim.engine.isolate import isolated
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from tests.distortion.benches import noninverting, own_stage
from tests.small_studies import write_study


def test_period():
    """The reciprocal of the common divisor."""
    assert period_of([5e6, 6e6]) == 1e-6
    assert period_of([1.53e6, 1.62e6]) == pytest.approx(1 / 90e3)


def test_tones_without_a_large_divisor_are_refused():
    """The message says what would do."""
    with pytest.raises(ValueError, match="common divisor 1 Hz.*near_tones"):
        period_of([999_997, 1_200_000])


@pytest.mark.parametrize("wanted", [(747e3, 1089e3), (1089e3, 747e3), (1.5e6, 1.503e6), (612e3, 1602e3)])
def test_near_tones(wanted):
    """They can be run, keep their order, differ, and are near where that is possible."""
    found = near_tones(*wanted)
    assert period_of(found) > 0
    assert (found[0] < found[1]) == (wanted[0] < wanted[1])
    assert max(found) == pytest.approx(max(wanted), abs=20)
    assert min(found) == pytest.approx(min(wanted), rel=0.05)


def test_a_linear_stage_is_silent(tmp_path):
    """Without a bend and far from slewing nothing stands 150 dB below the tones: the method's own floor."""
    ideal = {"gbw_hz": 1e9, "slew_v_per_us": 1e5}
    stage = own_stage(tmp_path, noninverting("1k", "1k"), ideal, 1e5)
    told = stage.in_time(stage.carriers((5e6, 6e6), 0.3))
    assert max(product.output_v for product in told.products) < 10 ** (-150 / 20) * 0.3
    assert [level.output_v for level in told.carriers] == pytest.approx([0.3, 0.3], rel=1e-3)


def test_last_period_is_one_period(tmp_path):
    """The curve that comes back is a period on even steps, and its spectrum the levels that were read."""
    stage = own_stage(tmp_path, noninverting("1k", "1k"), {"gbw_hz": 240e6, "slew_v_per_us": 170}, 1e5)
    told = stage.in_time(stage.carriers((5e6, 6e6), 0.5))
    step = np.diff(told.time_s)
    assert step == pytest.approx(np.full(len(step), 1e-6 / len(told.time_s)))
    assert 2 * abs(np.fft.rfft(told.volts)[5]) / len(told.volts) == pytest.approx(told.carriers[0].output_v)
    assert told.repeats_db < 0.25


def test_worker_in_a_process_of_its_own(tmp_path):
    """Estimates and transients come back from a child, both by the same unit, on its own line and on a resistor."""
    ready = scenarios(read_study(write_study(tmp_path, feedline={"length": "130 m"})))
    tones = (Carrier(5e6, 0.02), Carrier(6e6, 0.02))
    trials = [EstimateTrial(0, 2, tones), TwoToneTrial(0, 2, tones)]
    (_, on_line), (_, told) = isolated(lambda: DistortionWorker(ready), trials)
    assert on_line.carriers[0].receiver_v < on_line.carriers[0].output_v
    assert told.estimate.carriers[0].receiver_v == told.estimate.carriers[0].output_v
    assert told.estimate.carriers[0].output_v == pytest.approx(told.transient.carriers[0].output_v, rel=2e-3)
    assert abs(told.difference.second_db) < 2.0
    assert abs(told.difference.third_db) < 1.0


def test_units_differ(tmp_path):
    """Another unit has other products."""
    ready = scenarios(read_study(write_study(tmp_path)))
    worker = DistortionWorker(ready)
    tones = (Carrier(5e6, 0.02), Carrier(6e6, 0.02))
    first, second = (worker(EstimateTrial(0, unit, tones)) for unit in (0, 2))
    assert first.products[0].output_v != second.products[0].output_v
    assert worker(EstimateTrial(0, 2, tones)) == second
