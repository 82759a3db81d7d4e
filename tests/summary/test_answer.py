"""The answer: what it says, and that programs can read it."""

import json
import math
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from sim.quantity import Limit
from sim.summary.answer import _scenario_told, answer
from sim.summary.collect import responses
from sim.summary.describe import describe
from sim.summary.drivers import drivers_table
from sim.summary.matching import build_matches
from sim.summary.names import scenario_names
from sim.summary.yields import summary_table
from tests.summary.made import BANDS, gathered

LIMITS = {
    "gain_db": Limit(9.5, 10.5),
    "noise_margin_db": Limit(10, math.inf),
    "stable": Limit(0.5, math.inf),
    "match_gain_db": Limit(-0.5, 0.5),
}
UNITS = np.arange(201)


def run(outside=0, quiet=200, nominal=10.0, limits=LIMITS, choices=None, failures=(), cautions=(), unstable=0):
    """Answer of 200 units: some of too much gain, some not quiet, in one scenario or as many as are given.

    Parameters
    ----------
    outside : int or sequence of int
        Units with too much gain, one number a scenario.
    quiet : int
        Units with enough noise margin.
    choices : list of str, optional
        Values of what is varied.
    """
    outside = [outside] if isinstance(outside, int) else outside
    rf = np.random.default_rng(1).uniform(-0.01, 0.01, 201)
    rf[0] = 0
    found = gathered(
        UNITS,
        {"noise_margin_db": np.where(quiet >= UNITS, 12.0, 8.0), "noise_rise_db": np.full(201, 12.3)},
        {"stable": np.where((UNITS > 0) & (unstable >= UNITS), 0, 1)},
        scenarios=tuple(range(len(outside))),
    )
    for i, count in enumerate(outside):
        gain = nominal + 10 * rf + np.where((UNITS > 0) & (count >= UNITS), 3.0, 0.0)
        found.banded[i, :, 0] = gain[:, None]
    matches = build_matches(found, 200)
    summary = summary_table(found, BANDS, matches, limits)
    parts = {"Rf": 1e4 * (1 + rf), "temperature_c": 25 + np.arange(201.0)}
    drivers = pd.concat(
        [
            drivers_table(i, responses(found, BANDS, matches, i), parts, UNITS, 200)
            for i in range(len(outside))
        ]
    )
    scenarios = pd.DataFrame({"scenario": range(len(outside))})
    if choices:
        scenarios["amplifier.opamp"] = choices
    study = SimpleNamespace(
        title="Square of verticals",
        limits=limits,
        run=SimpleNamespace(units=200),
        bands=SimpleNamespace(frequencies=BANDS),
    )
    lost = pd.DataFrame(list(failures), columns=["scenario", "unit", "stage", "reason"])
    return answer(study, summary, drivers, lost, scenarios, cautions)


def test_everything_kept():
    """All units within: yes, with the share that so many units can vouch for, and an answer to each question."""
    found = run(limits={key: LIMITS[key] for key in ("gain_db", "noise_margin_db", "stable")})
    assert found["passes"] is True
    assert found["verdict"] == [
        "Yes: all 200 virtual units keep every limit (95 % interval 98.2 to 100 %).",
        "Quiet enough: yes, all units keep noise margin > 10 dB.",
        "Stable: yes, all units are stable.",
        "Right gain: yes, all units keep bench gain 9.5 to 10.5 dB.",
        "The nominal unit costs at most 0.27 dB of signal to noise, namely at 1.83 MHz.",
        "Check at the receiver: plug the antenna in, and the noise must rise by 12.3 dB at 1.83 MHz (nine units in ten"
        " 12.3 to 12.3), 12.3 dB at 3.53 MHz (12.3 to 12.3) and 12.3 dB at 7.05 MHz (12.3 to 12.3).",
        "That holds for the noise of the site that the study names, against a dummy of the antenna's impedance in its"
        " place (an open input makes other noise), read on an empty channel with AGC off and no attenuator.",
        "What moves bench gain most at 3.53 MHz: Rf (100 %).",
        "What moves gain match among the units of a build most at 3.53 MHz: Rf (100 %).",
    ]


def test_some_outside():
    """Too many outside: no, how many of a hundred, what is needed, and which question fails."""
    found = run(outside=50, limits={"gain_db": LIMITS["gain_db"], "stable": LIMITS["stable"]})
    assert found["passes"] is False
    assert found["verdict"][0] == (
        "No: of 100 units built like this only about 75 keep every limit (75.0 %, 95 % interval 68.4 to 80.8 %);"
        " 90 % are needed."
    )
    assert "Right gain: no, 75.0 % of units keep bench gain" in found["verdict"][2]
    assert found["worst"]["measure"] == "gain_db"


@pytest.mark.parametrize(
    ("outside", "word", "passes"), [(5, "Yes:", True), (15, "Probably:", True), (25, "Probably not:", False)]
)
def test_how_sure(outside, word, passes):
    """Where the interval straddles what is needed, the first word says so."""
    found = run(outside=outside, limits={"gain_db": LIMITS["gain_db"]})
    assert found["verdict"][0].startswith(word)
    assert found["passes"] is passes
    assert ("more units would tell" in found["verdict"][0]) is word.startswith("Probably")


def test_a_yield_is_never_rounded_up_to_all():
    """One unit of 200 outside is not called 100 of 100."""
    verdict = run(outside=1, limits={"gain_db": LIMITS["gain_db"]})["verdict"][0]
    assert "about 99 keep every limit (99.5 %" in verdict


def test_nominal_outside():
    """Where the nominal unit misses a limit, the answer blames the design."""
    found = run(nominal=11.0)
    assert found["verdict"][0] == (
        "No: none of 200 virtual units keeps every limit (95 % interval 0 to 1.8 %); 90 % are needed."
    )
    assert "Even the nominal unit misses the limit of bench gain: this is the design, not the spread of parts." in (
        found["verdict"]
    )


def test_unstable_units():
    """Unstable units are the answer to the second question, in plain words."""
    found = run(unstable=40, limits={"stable": LIMITS["stable"]})
    assert found["verdict"][1] == "Stable: no, 80.0 % of units are stable."


def test_failed_units_are_told():
    """Units that did not simulate are counted once, however many scenarios they failed in."""
    rows = [(0, 5, "operating point", "no convergence"), (1, 5, "noise", "nan"), (0, 9, "noise", "nan")]
    found = run(outside=[0, 0], choices=["A", "B"], failures=rows)
    assert found["failed"] == 2
    assert "2 units could not be simulated and count as outside the limits; see failures.csv." in found["verdict"]


def test_failed_on_wrong_volts():
    """Units whose op-amp is on volts it is not made for are told apart, with the reason; unit 0 is not one of them."""
    reason = "LTC6268 (Xamp) would stand on 9.9 V; its limit is 5.25 V"
    found = run(outside=[0, 0], choices=["A", "B"], failures=[(1, unit, "rating", reason) for unit in range(3)])
    assert found["failed"] == 2
    assert found["verdict"][1] == (
        f"2 units with B give no numbers, as an op-amp is on volts it is not made for ({reason}) and count as outside"
        " the limits; see failures.csv."
    )
    assert not any("no value" in sentence for entry in found["scenarios"] for sentence in entry["verdict"])


def test_one_unit():
    """One unit alone is not called all of them."""
    entry = {"name": "A", "units": 1, "passes": True, "yield": 1.0, "yield_low": 0.025, "yield_high": 1.0, "worst": {}}
    assert _scenario_told(entry, False).startswith("Probably: the only virtual unit keeps every limit (95 % interval")
    assert "does not keep every limit" in _scenario_told(entry | {"yield": 0.0, "passes": False}, False)


def test_no_choice_is_best_of_none():
    """Where no unit of any choice keeps the limits, none of them is called the best."""
    found = run(outside=[0, 0], nominal=11.0, choices=["A", "B"])
    assert found["verdict"][0] == (
        "No: none of the 2 choices keeps the limits; no unit of any of them keeps every limit (95 % interval 0 to"
        " 1.8 %); 90 % are needed."
    )


def test_choices_that_probably_pass():
    """The opening is as sure as the verdicts of the choices that it names."""
    found = run(outside=[60, 15], choices=["A", "B"], limits={"gain_db": LIMITS["gain_db"]})
    assert found["verdict"][0].startswith("Probably, with B: 1 of 2 choices keeps the limits; best: B, 92.5 %")
    assert found["verdict"][2].startswith("B: probably:")


def test_some_choices_pass():
    """Several scenarios: the opening names those that pass and the best; each has its own verdict."""
    found = run(outside=[60, 2, 10], choices=["LM358", "OPA810", "ADA4817-1"], limits={"gain_db": LIMITS["gain_db"]})
    assert found["passes"] is False
    assert (found["passing"], found["best"]) == ([1, 2], [1])
    assert found["verdict"][:2] == [
        "Yes, with OPA810 and ADA4817-1: 2 of 3 choices keep the limits; best: OPA810, 99.0 % of units keep every limit"
        " (95 % interval 96.4 to 99.9 %).",
        "LM358: no: of 100 units built like this only about 70 keep every limit (70.0 %, 95 % interval 63.1 to 76.3 %);"
        " 90 % are needed. Hardest: bench gain at 1.83 MHz.",
    ]
    assert found["verdict"][4].startswith("Right gain with OPA810: yes, 99.0 % of units keep bench gain 9.5 to 10.5 dB")
    assert [entry["passes"] for entry in found["scenarios"]] == [False, True, True]
    assert found["scenarios"][0]["values"] == {"amplifier.opamp": "LM358"}


def test_all_and_none_of_the_choices():
    """All pass: yes, and equals are named together; none passes: no, and how good the best is."""
    both = run(outside=[0, 0], choices=["A", "B"], limits={"gain_db": LIMITS["gain_db"]})
    assert both["passes"] is True
    assert both["verdict"][0].startswith("Yes: all 2 choices keep the limits; with each of them 100 % of units keep")
    assert not any(sentence.startswith("A: ") for sentence in both["verdict"])
    none = run(outside=[100, 60], choices=["A", "B"], limits={"gain_db": LIMITS["gain_db"]})
    assert none["verdict"][0].startswith("No: none of the 2 choices keeps the limits; best: B, 70.0 % of units")


def test_many_choices():
    """Beyond eight scenarios the sentences stop, and say where the others are."""
    found = run(outside=[1] + [0] * 9, choices=[str(i) for i in range(10)])
    assert "The other 2 choices stand in summary.csv." in found["verdict"]
    assert len(found["scenarios"]) == 10


def test_no_limits():
    """Without limits nothing passes or fails, and the answer tells what the units are."""
    found = run(limits={})
    assert found["passes"] is None and found["yields"] == [] and found["worst"] is None
    assert found["verdict"][0].startswith("The study sets no limits")
    assert found["verdict"][1].startswith("Bench gain at 3.53 MHz: nominal 10.00 dB, nine units in ten between 9.9")


def test_json():
    """The answer is JSON of the strict kind: no NaN, no infinity, none of numpy's types."""
    found = run(outside=[5, 5], choices=["A", "B"], cautions=["The antenna is far from slender."])
    assert json.loads(json.dumps(found, allow_nan=False)) == found


def test_what_each_limit_says():
    """Yields carry limit, count and interval for each band, an open end as null."""
    found = run(quiet=190)
    [first, *others] = [entry for entry in found["yields"] if entry["measure"] == "noise_margin_db"]
    assert len(others) == 2
    assert (first["limit_low"], first["limit_high"], first["frequency_hz"]) == (10.0, None, BANDS[0])
    assert (first["passed"], first["units"], first["yield"]) == (190, 200, 0.95)
    assert first["yield_low"] < 0.95 < first["yield_high"] and first["nominal_keeps"] is True


def test_drivers():
    """Drivers are ranked at the middle band, for gain and for match, with what is unexplained."""
    found = run()
    assert [entry["measure"] for entry in found["drivers"]] == ["gain_db", "match_gain_db", "match_phase_deg"]
    assert {entry["frequency_hz"] for entry in found["drivers"]} == {BANDS[1]}
    assert found["drivers"][0]["parts"][0]["part"] == "Rf"
    assert found["drivers"][0]["rest"] == pytest.approx(0, abs=1e-9)


def test_describe():
    """A terminal gets title, verdict, the hardest band of each limit, and cautions, in lines that fit."""
    text = describe(json.loads(json.dumps(run(quiet=190, cautions=["Soil is guessed."]))))
    lines = text.splitlines()
    assert lines[0] == "Square of verticals"
    assert lines[2].startswith("Yes: of 100 units built like this about 95 keep every limit")
    assert "  noise margin at 1.83 MHz  > 10 dB          95.0 %  (91.0 to 97.6 %)" in lines
    assert lines[-1] == "Caution: Soil is guessed."
    assert max(map(len, lines)) <= 100


def test_scenario_names():
    """Values name a scenario; a bare number is named after its key."""
    table = pd.DataFrame({"scenario": [0, 1], "feedline.length": ["0", "30 m"], "amplifier.opamp": ["A", "B"]})
    assert scenario_names(table) == {0: "length 0, A", 1: "30 m, B"}
    assert scenario_names(pd.DataFrame({"scenario": [0]})) == {0: "as designed"}


def test_what_the_margin_costs_is_said_of_every_choice():
    """The loss of the nominal unit stands beside its margin for programs, and its worst band in the verdict."""
    found = run(choices=["OPA2822", "LT6231"], outside=[0, 0], limits={"noise_margin_db": LIMITS["noise_margin_db"]})
    for entry in found["snr_loss"]:
        # hand calculation, 10 log10(1 + 10^(-M/10))
        assert entry["snr_loss_db"] == pytest.approx(10 * math.log10(1 + 10 ** (-entry["noise_margin_db"] / 10)))
    assert {(entry["scenario"], entry["frequency_hz"]) for entry in found["snr_loss"]} == {
        (number, band) for number in (0, 1) for band in BANDS
    }
    [told] = [sentence for sentence in found["verdict"] if "signal to noise" in sentence]
    assert "0.27 dB with OPA2822" in told and "with LT6231" in told
