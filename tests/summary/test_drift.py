"""Drift together, drift apart, one box in the sun: against arithmetic on invented units, and through a study."""

import json
import math
import re

import numpy as np
import pytest

from sim.errors import InputError
from sim.quantity import Limit
from sim.steps.figures import main as figures_step
from sim.steps.report import main as report_step
from sim.steps.sample import main as sample_step
from sim.steps.simulate import main as simulate_step
from sim.steps.summarise import main as summarise_step
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from sim.summary.describe import describe
from sim.summary.drift import drift_row, sweeps_of
from sim.summary.drift_words import ESTIMATES
from sim.tables import read_csv
from tests.published.pipeline import IDEAL
from tests.small_studies import write_study

CELSIUS = np.array([-30.0, 0.0, 30.0, 60.0])
UNITS = np.arange(9)
SLOPES = np.array([9.0, 1, 2, 3, 4, 10, 10, 12, 12]) * 1e-3  # unit 0 is in no statistics
START = np.array([0.0, -0.1, 0.1, 0, 0, 5, 5, 5, 5])
LINEAR = START + CELSIUS[:, None] * SLOPES


def test_common_and_differential():
    """Two builds of four: mean slope 6.75e-3; about the builds' means 2.5 and 11 the squares sum to 5 + 4, over 6."""
    row = drift_row(CELSIUS, LINEAR, UNITS, 4, 20.0)
    assert row["common_per_kelvin"] == pytest.approx(6.75e-3)
    assert row["common_range"] == pytest.approx(90 * 6.75e-3)
    assert row["differential_sd_per_kelvin"] == pytest.approx(math.sqrt(9 / 6) * 1e-3)
    assert row["builds_sd_per_kelvin"] == pytest.approx(8.5e-3 / math.sqrt(2))
    assert (row["low_c"], row["high_c"], row["units"]) == (-30, 60, 8)


def test_a_curve_that_turns_has_a_range():
    """Up and down again is no slope, but a range of the mean."""
    values = np.tile(np.array([0.0, 1, 1, 0])[:, None], 9)
    row = drift_row(CELSIUS, values, UNITS, 4, 20.0)
    assert row["common_per_kelvin"] == pytest.approx(0) and row["common_range"] == pytest.approx(1)


def test_one_box_in_the_sun():
    """20 K between two temperatures of the sweep: each unit's own slope times 20, at the ends the quantiles."""
    row = drift_row(CELSIUS, LINEAR, UNITS, 4, 20.0)
    assert row["sun_interpolated"] == 1 and row["sun_step"] == pytest.approx(20 * 6.75e-3)
    assert row["sun_p025"] == pytest.approx(20e-3 * np.quantile(SLOPES[1:] * 1e3, 0.025))
    assert row["sun_p975"] == pytest.approx(20 * 12e-3)
    exact = drift_row(CELSIUS, LINEAR, UNITS, 4, 30.0)
    assert exact["sun_interpolated"] == 0 and exact["sun_step"] == pytest.approx(30 * 6.75e-3)


def test_where_the_sun_hurts_most():
    """Of all temperatures from which the sweep reaches sun_k further, the one with the largest mean step."""
    values = np.tile(np.array([0.0, 0.1, 1.1, 1.2])[:, None], 9)
    row = drift_row(CELSIUS, values, UNITS, 4, 30.0)
    assert (row["sun_from_c"], row["sun_step"]) == (0.0, pytest.approx(1.0))


def test_the_match_in_the_sun():
    """Unit 1: 0.1 below its build's mean of 0, and 20 mK-steps of 1 lift it by 0.02 (1 - 1/4): -0.085, and so on."""
    kept = {1: -0.1 + 0.015, 2: 0.1 + 0.03, 3: 0.045, 4: 0.06, 5: 0.15, 6: 0.15, 7: 0.18, 8: 0.18}
    # At -30 degrees, where all steps are as large, what the slopes have made of the start is counted too.
    own = LINEAR[:, :5] * 0 + START[:5] + (CELSIUS[:, None] + 30) * SLOPES[:5]
    row = drift_row(CELSIUS, own, UNITS[:5], 4, 20.0, Limit(-0.1, 0.1))
    assert row["passed"] == sum(abs(kept[unit]) <= 0.1 for unit in range(1, 5)) == 3
    assert (row["limit_low"], row["limit_high"], row["units"]) == (-0.1, 0.1, 4)


def test_angles_in_the_sun():
    """A match of angles is held within half a turn: 179 and -179 degrees are 2 degrees apart."""
    values = np.array([[0.0, 179, -179], [0.0, 180, -178]])
    row = drift_row(np.array([0.0, 20.0]), values, np.arange(3), 2, 20.0, Limit(-2, 2), angle=True)
    assert row["passed"] == 2


def test_units_that_failed_count_against_the_match_and_not_into_drift():
    """A unit without a number at one temperature is in no mean, and does not pass."""
    values = LINEAR.copy()
    values[2, 5] = np.nan
    row = drift_row(CELSIUS, values, UNITS, 4, 20.0, Limit(-10, 10))
    assert row["common_per_kelvin"] == pytest.approx((54 - 10) / 7 * 1e-3)
    assert (row["passed"], row["units"]) == (7, 8)
    assert "common_range" not in drift_row(CELSIUS, values * np.nan, UNITS, 4, 20.0)


def test_more_sun_than_sweep():
    """Where the sweep does not reach so far there is no step, and no limit is called kept."""
    row = drift_row(CELSIUS, LINEAR, UNITS, 4, 100.0, Limit(-10, 10))
    assert "sun_step" not in row and "passed" not in row
    assert "sun_step" not in drift_row(CELSIUS, LINEAR, UNITS, 4, 0.0)


@pytest.mark.parametrize(
    ("vary", "expected"),
    [
        ({"run.temperature": ["60", "-30", "20"]}, [(1, (1, 2, 0), (-30, 20, 60))]),
        (
            {"run.temperature": ["0", "20"], "feedline.length": ["0", "9 m"]},
            [(0, (0, 2), (0, 20)), (1, (1, 3), (0, 20))],
        ),
        ({"run.temperature": ["-20..40", "-10..30"]}, []),
        ({"run.temperature": ["20", "20.0"]}, []),
        ({"feedline.length": ["0", "9 m"]}, []),
    ],
)
def test_what_is_a_sweep(tmp_path, vary, expected):
    """Single temperatures of which two differ, coldest first, each other choice apart; spans are none."""
    found = sweeps_of(scenarios(read_study(write_study(tmp_path, vary=vary))))
    assert [(sweep.scenario, sweep.places, tuple(sweep.celsius)) for sweep in found] == expected


@pytest.mark.parametrize("sun", ["-5 K", "100 K", "much", "20 V"])
def test_no_such_sun(tmp_path, sun):
    """Less than none, more than a box stands, and what is no temperature is refused with key and remedy."""
    with pytest.raises(InputError, match="run.sun"):
        read_study(write_study(tmp_path, run={"sun": sun}))


# ---------------------------------------------------------------------- through a study

CIRCUIT = """\
* A charge amplifier with hardly any op-amp in it: its gain is the dummy over Cf
.subckt amplifier in out vcc gnd
R1 vcc mid 10k  ; 1%  half supply
R2 mid gnd 10k  ; 1%  half supply
Cm mid gnd 1m   ; 1%  quiet
Rf in fbk {rf}  ; 1%  feedback
Cf in fbk {cf}  ; 1% film lot  feedback
Xamp mid in vcc gnd drv opamp
Xloop drv fbk probe
Co fbk out 1    ; 1%  blocks DC
.ends amplifier
"""


def _study(tmp_path, celsius, units, rf="1g", cf="47p", **opamp):
    (tmp_path / "own.cir").write_text(CIRCUIT.format(rf=rf, cf=cf), encoding="ascii")
    record = {**IDEAL, "gbw_hz": 1e10, **opamp}
    text = "".join(f"{key} = {json.dumps(value)}\n" for key, value in record.items())
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    return write_study(
        tmp_path,
        amplifier={"circuit": "own.cir", "opamp": "own.toml"},
        antenna={"model": "fixture", "source": "50", "dummy": "47p"},
        feedline={"length": "0"},
        receiver={"noise_figure": "0 dB"},
        bands={"frequencies": ["1M"]},
        run={"units": units, "build": 8},
        vary={"run.temperature": celsius},
    )


def _run(tmp_path, file, shown=False):
    names = [str(tmp_path / name) for name in ("1.npz", "1.csv")]
    if shown:
        sample_step([str(file), "--out", str(tmp_path)])
    simulate_step([str(file), "--chunk", "1-of-1", "--measures", names[0], "--failures", names[1]])
    summarise_step([str(file), "--out", str(tmp_path), "--chunks", names[0], "--failures", names[1]])
    if shown:
        figures_step([str(tmp_path)])
        report_step([str(tmp_path)])
    return json.loads((tmp_path / "answer.json").read_text(encoding="utf-8"))


def _row(tmp_path, measure):
    table = read_csv(tmp_path / "drift.csv")
    return table[table["measure"] == measure].iloc[0]


def test_gain_follows_the_feedback_capacitor(tmp_path):
    """Film: -200 ppm/K, ±100 from lot to lot, ±20 within: the gain, 1/Cf, drifts by 8.686 times that in dB a kelvin."""
    _run(tmp_path, _study(tmp_path, ["20", "40"], 48))
    row = _row(tmp_path, "gain_db")
    per_unit = 20 / math.log(10)
    # Six builds' lots: the mean of six uniform numbers of ±100 ppm, three standard errors.
    assert row["common_per_kelvin"] == pytest.approx(200e-6 * per_unit, abs=3 * 58e-6 * per_unit / math.sqrt(6))
    # 48 units in 6 builds: a standard deviation of 20/sqrt(3) ppm within three of its own errors.
    assert row["differential_sd_per_kelvin"] == pytest.approx(20e-6 / math.sqrt(3) * per_unit, rel=0.3)
    assert row["sun_step"] == pytest.approx(20 * row["common_per_kelvin"], rel=1e-6)
    assert row["builds_sd_per_kelvin"] == pytest.approx(100e-6 / math.sqrt(3) * per_unit, rel=0.8)


def test_white_noise_follows_the_root_of_temperature(tmp_path):
    """Resistors and op-amp alone, no receiver noise: from 243.15 to 333.15 K the noise rises by sqrt(1.3701)."""
    _run(tmp_path, _study(tmp_path, ["-30", "60"], 2, rf="10k", cf="1p", en_nv_rthz=5))
    table = read_csv(tmp_path / "temperature.csv")
    cold, warm = table.loc[table["measure"] == "output_noise_nv", "nominal"]
    assert warm / cold == pytest.approx(math.sqrt(333.15 / 243.15), rel=5e-4)


def test_a_sweep_is_what_its_temperatures_are_alone(tmp_path):
    """Each temperature as a study of its own gives the same bits, so a drift is the difference of two studies."""
    every = {}
    for celsius in (["-30", "60"], ["60", "-30"]):
        _run(tmp_path, _study(tmp_path, celsius, 3))
        table = read_csv(tmp_path / "temperature.csv").drop(columns=["scenario", "sweep"])
        every[celsius[0]] = table.fillna(-1).to_numpy(dtype=object)
    assert every["-30"].shape == every["60"].shape and (every["-30"] == every["60"]).all()
    simulate = {}
    for words in ({"run.temperature": ["-30", "60"]}, {"run.temperature": ["60"]}):
        path = _study(tmp_path, words["run.temperature"], 3)
        names = [str(tmp_path / name) for name in ("a.npz", "a.csv")]
        simulate_step([str(path), "--chunk", "1-of-1", "--measures", names[0], "--failures", names[1]])
        with np.load(tmp_path / "a.npz") as arrays:
            simulate[len(words["run.temperature"])] = arrays["banded"][-1]
    assert np.array_equal(simulate[2], simulate[1], equal_nan=True)


def test_what_is_said_and_shown(tmp_path):
    """Answer, picture and page tell drift, degrees and the estimate; a later run without a sweep leaves no table."""
    answer = _run(tmp_path, _study(tmp_path, ["-30", "25", "60"], 9), shown=True)
    said = " ".join(describe(answer).split())
    assert re.search(r"From -30 to 60 °C bench gain drifts by 0\.\d\d dB and bench phase drifts by", said)
    assert re.search(r"One box 20 K warmer in the sun than its sisters is off by 0\.\d\d dB at 1 MHz", said)
    assert "the study has no limit on the match to hold that against" in said and ESTIMATES in said
    assert "supply current goes from" in said
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "What does temperature do?" in page and "From cold to heat" in page and "−30 °C" in page
    assert (tmp_path / "figures" / "temperature.svg").stat().st_size > 5000
    _run(tmp_path, write_study(tmp_path, run={"units": 2}))
    assert not (tmp_path / "drift.csv").exists() and not (tmp_path / "temperature.csv").exists()
