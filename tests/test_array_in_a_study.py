"""An array in a study: its tables, answer and report against what its units say, and against the array by hand."""

import json

import numpy as np
import pandas as pd
import pytest

from sim.array.measured import PATTERN_AZIMUTHS
from sim.array.pattern import Look, directivity, elements
from sim.cli import main
from sim.columns import ARRAY_MEASURES
from tests.small_studies import write_study

SQUARE = [["0 m", "0 m"], ["0 m", "20 m"], ["20 m", "0 m"], ["20 m", "20 m"]]
DIRECTION = """
[[array.direction]]
bearing = "45"
weights = [1, -1, -1, 1]
delays = ["94.3n", "47.2n", "47.2n", "0"]
"""
FREQ_HZ = (1.83e6, 7.05e6)


@pytest.fixture(scope="module")
def out(tmp_path_factory):
    """Results of 32 units, eight arrays, with and without a tight capacitor."""
    folder = tmp_path_factory.mktemp("array")
    study = write_study(
        folder,
        bands={"frequencies": list(FREQ_HZ)},
        run={"units": 32, "build": 16},
        array={"positions": SQUARE, "antenna_tolerance": "2 %", "position_tolerance": "0.2 m"},
        limits={"stable": "> 0.5"},
        vary={"amplifier.parts.Cf": ["10p 1% C0G lot", "10p 10% C0G uniform"]},
    )
    study.write_text(study.read_text(encoding="utf-8") + DIRECTION, encoding="utf-8")
    assert main(["run", str(study), "--out", str(folder / "out"), "--cores", "1"]) == 0
    return folder / "out"


def _values(out, scenario: int, freq_hz: float) -> dict[str, float]:
    table = pd.read_csv(out / "array.csv")
    own = table[(table["scenario"] == scenario) & np.isclose(table["frequency_hz"], freq_hz)]
    assert (own["direction_deg"] == 45).all()
    return dict(zip(own["measure"], own["value"], strict=True))


def test_every_measure_is_registered_and_there(out):
    """array.csv holds each measure of the register, at every band, and no other."""
    for freq_hz in FREQ_HZ:
        assert set(_values(out, 0, freq_hz)) == set(ARRAY_MEASURES)


def test_front_to_back_is_what_the_units_give(out):
    """The share of arrays that keep 20 dB, the amplifiers' part of the errors: by hand out of measures.parquet."""
    measures = pd.read_parquet(out / "measures.parquet")
    for scenario in (0, 1):
        own = measures[(measures["scenario"] == scenario) & np.isclose(measures["frequency_hz"], FREQ_HZ[0])]
        gain, turn = (
            own[own["measure"] == name].sort_values("unit")["value"].to_numpy()[1:] for name in ("gain_db", "phase_deg")
        )
        built = (10 ** (gain / 20) * np.exp(1j * np.deg2rad(turn))).reshape(8, 4)
        k, side, elevation = 2 * np.pi * FREQ_HZ[0] / 299_792_458.0, 20 / np.sqrt(2), np.deg2rad(20)
        # Along the diagonal the first element is the rear one, the last the front one, 2 * side apart.
        path = k * side * np.cos(elevation) * np.array([-1, 0, 0, 1])
        lag = np.exp(-2j * np.pi * FREQ_HZ[0] * np.array([94.3e-9, 47.2e-9, 47.2e-9, 0]))
        weights = np.array([1, -1, -1, 1]) * lag
        front, back = (abs(built @ (weights * np.exp(1j * sign * path))) for sign in (1, -1))
        expected = np.quantile(20 * np.log10(front / back), 0.05)
        assert _values(out, scenario, FREQ_HZ[0])["front_to_back_p05_amplifier_db"] == pytest.approx(expected, abs=1e-6)
    assert _values(out, 1, FREQ_HZ[0])["front_to_back_p05_db"] < _values(out, 0, FREQ_HZ[0])["front_to_back_p05_db"]


def test_noise_margin_of_the_array(out):
    """What the nominal unit has, less the penalty of the weights."""
    summary = pd.read_csv(out / "summary.csv")
    own = summary[(summary["scenario"] == 0) & (summary["measure"] == "noise_margin_db")]
    margin = dict(zip(own["frequency_hz"], own["nominal"], strict=True))
    for freq_hz in FREQ_HZ:
        values = _values(out, 0, freq_hz)
        assert values["array_noise_margin_db"] == pytest.approx(margin[freq_hz] - values["noise_penalty_db"])
        assert values["array_noise_margin_p05_db"] < values["array_noise_margin_db"] + 1


def test_directivity_without_errors(out):
    """That of the weights at the study's places."""
    weights = np.array([1, -1, -1, 1]) * np.exp(-2j * np.pi * 1.83e6 * np.array([94.3e-9, 47.2e-9, 47.2e-9, 0]))
    at = elements([[0, 0], [0, 20], [20, 0], [20, 20]], 1.83e6)
    expected = 10 * np.log10(directivity(at, weights, Look(np.pi / 4, np.deg2rad(20))))
    assert _values(out, 0, 1.83e6)["directivity_db"] == pytest.approx(expected)


def test_pattern_has_its_zero_in_front(out):
    """Below the wanted direction of the same array: 0 dB there for all, and the front to back half a turn away."""
    table = pd.read_csv(out / "array_pattern.csv")
    assert len(table) == 2 * len(FREQ_HZ) * len(PATTERN_AZIMUTHS)
    front = table[table["azimuth_deg"] == 0]
    assert np.allclose(front[["nominal_db", "p05_db", "p50_db", "p95_db"]], 0)
    rear = table[(table["azimuth_deg"] == 180) & (table["scenario"] == 0) & np.isclose(table["frequency_hz"], 1.83e6)]
    assert -rear["nominal_db"].iloc[0] == pytest.approx(_values(out, 0, 1.83e6)["front_to_back_db"])
    assert -rear["p95_db"].iloc[0] == pytest.approx(_values(out, 0, 1.83e6)["front_to_back_p05_db"])


def test_answer_and_report_say_it(out):
    """The verdict has a sentence for each choice with its interval; the page its tables and pictures."""
    answer = json.loads((out / "answer.json").read_text(encoding="utf-8"))
    entries = answer["array"]
    assert [entry["arrays"] for entry in entries] == [8, 8]
    told = [sentence for sentence in answer["verdict"] if sentence.startswith("Nulls with")]
    assert len(told) == 2 and all("95 % interval" in sentence for sentence in told)
    assert entries[0]["kept"] / 8 == entries[0]["share"]
    nulls = [entry["scenario"] for entry in entries if entry["share"] >= answer["needed_yield"]]
    within = [entry["scenario"] for entry in answer["scenarios"] if entry["passes"]]
    assert answer["passing"] == [number for number in within if number in nulls]
    assert answer["passes"] is (len(answer["passing"]) == len(answer["scenarios"]))
    assert any("Coupling between elements is left out" in caution for caution in answer["cautions"])
    page = (out / "report.html").read_text(encoding="utf-8")
    assert 'id="array"' in page and 'id="figure-array_causes"' in page and 'id="figure-array_pattern"' in page
