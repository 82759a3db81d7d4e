"""A study with weather from its file to its report: weather.csv, the answer, the page, the picture."""

import json

import numpy as np
import pandas as pd
import pytest

from sim.columns import TABLES
from sim.plots.weathering import leak_curves
from sim.report.assumptions import left_out, modelled
from sim.report.weathering import weather_table
from sim.steps import figures, report, sample, simulate, summarise
from sim.steps.cautions import cautions
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from sim.summary.describe import describe
from sim.summary.names import scenario_names
from tests.conftest import ROOT
from tests.small_studies import measured, write_study

STATES = ["dry", "input leak 10k", "input leak 1k", "input leak 300", "feedback leak 100k", "connector leak 1k"]
LINE = {"cable": "rg6-ccs", "length": "100 m"}


def run(path, out, units=2):
    """All steps of the pipeline in this process."""
    out.mkdir(exist_ok=True)
    given = [str(path), "--units", str(units), "--out", str(out)]
    sample.main(given)
    chunk = ["--chunk", "1-of-1", "--measures", str(out / "a.npz"), "--failures", str(out / "f.csv")]
    simulate.main([str(path), "--units", str(units), *chunk])
    summarise.main([*given, "--chunks", str(out / "a.npz"), "--failures", str(out / "f.csv")])
    figures.main([str(out)])
    report.main([str(out)])
    return json.loads((out / "answer.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def wet_run(tmp_path_factory):
    """Folder, answer, and weather.csv of a small run."""
    folder = tmp_path_factory.mktemp("wet")
    path = write_study(folder, feedline=LINE, vary={"weather.state": STATES}, limits={"noise_margin_db": "> 10"})
    answer = run(path, folder / "out")
    return path, folder / "out", answer, pd.read_csv(folder / "out" / "weather.csv")


def test_rows_are_the_difference_of_two_nominal_units(wet_run):
    """Each wet scenario less the dry one, as each measures by itself to the last digits; the dry one has no row."""
    path, _, _, table = wet_run
    assert tuple(table.columns) == TABLES["weather.csv"]
    assert sorted(table["scenario"].unique()) == [1, 2, 3, 4, 5]
    dry, *wet = measured(path)
    for number, values in enumerate(wet, start=1):
        rows = table[table["scenario"] == number]
        np.testing.assert_allclose(rows["gain_change_db"], values["gain_db"] - dry["gain_db"], atol=1e-9)
        np.testing.assert_allclose(rows["output_dc_change_v"], values["output_dc_v"] - dry["output_dc_v"], atol=1e-9)
        noise = 20 * np.log10(values["output_noise_nv"] / dry["output_noise_nv"])
        np.testing.assert_allclose(rows["noise_change_db"], noise, atol=1e-9)


def test_noise_finds_the_leak_and_gain_does_not(wet_run):
    """10 kilohm at the input: noise on a dummy alone; at the virtual ground the output; in the plug the current."""
    _, _, _, table = wet_run
    found = {row["weather"]: row["found_by"] for _, row in table[table["frequency_hz"] < 2e6].iterrows()}
    assert found["input leak 10 kΩ"] == "noise on a dummy"
    assert found["feedback leak 100 kΩ"] == "output at rest"
    assert "supply current" in found["connector leak 1 kΩ"] and "gain sweep" in found["connector leak 1 kΩ"]


def test_the_answer_opens_with_what_is_not_found(wet_run):
    """The opening names it, the terminal shows a sentence each and from when something counts as found."""
    _, _, answer, _ = wet_run
    opening = " ".join(answer["verdict"])
    assert "A gain sweep does not find input leak 10k (noise on a dummy finds it)" in opening
    assert len(answer["weathering"]) == 6 and answer["weathering"][-1].startswith("Found means")
    assert "Wet against dry:" in describe(answer)


def test_page_and_picture(wet_run):
    """The page has the section with its table; the leak that was tried with three values has a picture."""
    _, out, _, _ = wet_run
    page = (out / "report.html").read_text(encoding="utf-8")
    assert page.count("Wet against dry</h2>") == 1 and "Noise on a dummy, dB" in page
    assert (out / "figures" / "weather-1.svg").stat().st_size > 3000
    assert not (out / "figures" / "weather-2.svg").exists()
    table = pd.read_csv(out / "weather.csv", dtype={"others": str}).fillna({"key": "", "others": ""})
    assert leak_curves(table) == [("input_leak", "")]


def test_contributors_name_the_leak(wet_run):
    """The noise split by origin names the leak as a part of its own."""
    _, out, _, _ = wet_run
    split = pd.read_csv(out / "contributors.csv")
    assert set(split.loc[split["contributor"] == "weather.input_leak", "scenario"]) == {1, 2, 3}


def test_sisters_are_all_units_of_the_scenario(tmp_path):
    """With units enough, what stands out by two of their standard deviations is found without a record (by hand)."""
    path = write_study(tmp_path, feedline=LINE, vary={"weather.state": ["input leak 10k", "input leak 1k"]})
    run(path, tmp_path / "out", units=9)
    text = {"found_among_sisters_by": ""}
    table = pd.read_csv(tmp_path / "out" / "weather.csv", dtype=dict.fromkeys(text, str)).fillna(text)
    measures = pd.read_parquet(tmp_path / "out" / "measures.parquet")
    for _, row in table.iterrows():
        own = measures[(measures["scenario"] == row["scenario"]) & (measures["unit"] > 0)]
        gains = own.loc[(own["measure"] == "gain_db") & (own["frequency_hz"] == row["frequency_hz"]), "value"]
        stands_out = abs(row["gain_change_db"]) >= max(0.1, 2 * gains.std())
        assert ("gain sweep" in row["found_among_sisters_by"]) == stands_out
    shown = weather_table(tmp_path / "out", {0: "a", 1: "b"})
    assert shown.columns[-1] == "Found by" and len(shown.rows) == 2
    for row, (_, told) in zip(shown.rows, table[table["frequency_hz"] < 2e6].iterrows(), strict=True):
        alone = set(told["found_by"].split("; ")) - set(told["found_among_sisters_by"].split("; "))
        assert row[-1].count("(") == len(alone)


def test_a_study_with_weather_that_is_not_varied(tmp_path):
    """It is compared with a dry unit all the same; a dry study has no table, even where an older one lay."""
    answer = run(write_study(tmp_path, weather={"input_leak": "3k"}), tmp_path / "out", units=1)
    assert answer["weathering"][0].startswith("as designed: costs")
    answer = run(write_study(tmp_path), tmp_path / "out", units=1)
    assert "weathering" not in answer and not (tmp_path / "out" / "weather.csv").exists()
    assert "Wet against dry" not in (tmp_path / "out" / "report.html").read_text(encoding="utf-8")


def test_names_of_scenarios():
    """A leak is named with its value, and so is one that is not there; a state says it itself."""
    table = pd.DataFrame({"scenario": [0, 1], "weather.input_leak": ["none", "10k"], "amplifier.opamp": ["A1x", "B"]})
    assert scenario_names(table) == {0: "input leak none, A1x", 1: "input leak 10k, B"}
    table = pd.DataFrame({"scenario": [0], "weather.state": ["input leak 1k"], "amplifier.clamp_capacitance": ["none"]})
    assert scenario_names(table) == {0: "input leak 1k, clamp_capacitance none"}


def test_what_is_said_of_models(tmp_path):
    """Assumptions and cautions speak of weather and clamp where a study has them, and only there."""
    weather = {"connector_leak": "1k", "contact_resistance": "2"}
    wet = {"weather": weather, "amplifier": {"clamp_capacitance": "1p"}}
    assert any(line.startswith("Weather:") for line in modelled(wet))
    assert any("direct stroke" in line for line in modelled(wet))
    assert any(
        line.startswith("Weather:") for line in modelled({"vary": [{"what": "weather.state", "values": ["dry"]}]})
    )
    assert not any(line.startswith(("Weather:", "Surge")) for line in modelled({}))
    assert any("[weather]" in line for line in left_out(set(), False)) and "[weather]" not in str(
        left_out(set(), False, wet)
    )
    said = " ".join(cautions(read_study(write_study(tmp_path, weather=weather))))
    assert "electrolytic" in said and "crackles" in said
    separate = write_study(tmp_path, weather={"connector_leak": "1k"}, feedline={"power": "separate"})
    assert "electrolytic" not in " ".join(cautions(read_study(separate)))


@pytest.mark.parametrize("name", ["after-rain", "virtual-ground", "surge-clamp"])
def test_the_studies_that_come_with_it(name):
    """They read, with a scenario first that has neither weather nor clamp."""
    every = scenarios(read_study(ROOT / "studies" / f"{name}.toml"))
    assert len(every) >= 8 and str(every[0].values[-1][1]) in ("dry", "none")
