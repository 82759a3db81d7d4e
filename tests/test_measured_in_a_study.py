"""A measured antenna from a study to its deck: refusals, cautions, plain ngspice, export, the demo's data."""

import csv
import json
import re
from pathlib import Path

import numpy as np
import pytest

from sim.cli import main
from sim.commands.check import chain_drawing
from sim.deck.build import antenna_of, chain_of
from sim.engine.ngspice import batch
from sim.errors import InputError, StudyError
from sim.measured.touchstone import one_port_scattering, read_one_port, touchstone_text
from sim.measures.panel import BANDED
from sim.steps.cautions import cautions
from sim.steps.layout import mark_inputs, study_inputs
from sim.steps.sample import netlist_text
from sim.steps.simulate import simulate
from sim.study.read import read_study, study_text
from sim.study.scenarios import scenarios
from tests.antenna.test_measured import noisy
from tests.antenna.test_short_vertical import short_vertical
from tests.conftest import ROOT

HEAD = """title = "measured"
[amplifier]
circuit = "transimpedance"
opamp = "OPA2822"
[feedline]
length = "40 m"
[bands]
frequencies = ["1.83M", "3.53M", "7.05M"]
[run]
units = 1
"""
ANTENNA = '[antenna]\nmodel = "measured"\nfile = "v.s1p"\n'
HEIGHT = 'effective_height = "3.4 m"\n'
FREQ = np.geomspace(1e6, 10e6, 60)
BANDS = np.array([1.83e6, 3.53e6, 7.05e6])
VERTICAL = short_vertical(7, 0.008, ground_loss=20.0)
_PIECES = (("csv", "state"), ("toml", r"\[\[vary"))


@pytest.fixture
def study(tmp_path):
    """Writes and reads a study beside a sweep of a vertical of 7 m."""

    def make(text, freq=FREQ, impedance=None):
        z = VERTICAL.impedance(freq) if impedance is None else impedance
        (tmp_path / "v.s1p").write_text(touchstone_text(freq, one_port_scattering(z)), encoding="ascii")
        (tmp_path / "study.toml").write_text(HEAD + text, encoding="utf-8")
        return read_study(tmp_path / "study.toml")

    return make


def refused(study):
    """What is said of a study whose antenna is refused."""
    with pytest.raises(InputError) as caught:
        antenna_of(study)
    assert all(fault.remedy for fault in caught.value.faults)
    return " ".join(str(caught.value).split())


def test_written_out_and_read_back(study, tmp_path):
    """A study with all defaults filled in reads back as the same study."""
    first = study(ANTENNA + HEIGHT + 'ground_loss = "10"\nstray = "3 pF"\n')
    (tmp_path / "again.toml").write_text(study_text(first), encoding="utf-8")
    assert read_study(tmp_path / "again.toml") == first


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("v.s2p", '"v.s2p" does not end in .s1p or .csv.'),
        ("w.s1p", 'there is no file "w.s1p" in the study\'s folder.'),
        ("../v.s1p", "lies outside the study's folder."),
        ("/etc/passwd.s1p", "lies outside the study's folder."),
    ],
)
def test_names_of_files(study, name, said):
    """A file is of a known kind and lies in the study's folder, under vary too."""
    with pytest.raises(StudyError) as caught:
        study(ANTENNA.replace("v.s1p", name))
    assert said in str(caught.value) and "antenna.file" in str(caught.value)
    with pytest.raises(StudyError) as caught:
        study(ANTENNA + f'[[vary]]\nwhat = "antenna.file"\nvalues = ["v.s1p", "{name}"]\n')
    assert said in str(caught.value)


def test_a_link_out_of_the_folder_is_refused(study, tmp_path):
    """A link does not lead out of the study's folder."""
    (tmp_path / "far.s1p").symlink_to("/etc/hostname")
    with pytest.raises(StudyError, match="lies outside"):
        study(ANTENNA.replace("v.s1p", "far.s1p"))


def test_what_is_said_of_a_good_file(study):
    """Fit error, the split of the resistance, and where the network goes on by itself, are cautions."""
    said = "\n".join(cautions(study(ANTENNA + HEIGHT)))
    assert "The network that stands for the measured antenna keeps to its impedance within 1 % at the bands." in said
    assert "outside 1 MHz to 10 MHz the network that was fitted to v.s1p goes on by itself" in said
    assert "40 (k h)²" in said
    assert "10 Ω of its resistance are taken as loss" in "\n".join(cautions(study(ANTENNA + 'ground_loss = "10"\n')))


def test_a_file_that_does_not_reach_a_band(study):
    """Nothing is extrapolated at a band."""
    said = refused(study(ANTENNA + HEIGHT, np.geomspace(1e6, 5e6, 40)))
    assert "v.s1p does not reach the band 7.05 MHz: it goes from 1 MHz to 5 MHz." in said
    assert "antenna.file" in said and "line 13" in said


def test_a_resistance_below_zero(study):
    """No antenna has it; the worst frequency is named, and what to do."""
    said = refused(study(ANTENNA + HEIGHT, impedance=VERTICAL.impedance(FREQ) - 200))
    assert "which no antenna has." in said and "Calibrate the analyser" in said


def test_an_impedance_that_no_passive_network_has(study):
    """The error, the frequency, the limit and the way out are said."""
    said = refused(study(ANTENNA + HEIGHT, impedance=300 * np.exp(1.5j * np.sin(6 * np.log(FREQ)))))
    assert "no passive network comes closer than" in said and "2 % is the limit." in said
    assert "Take fewer bands at a time" in said


def test_an_analyser_that_is_too_noisy(study):
    """Where the file scatters, that is what is said."""
    data = noisy(2e-2, freq=np.linspace(1e6, 10e6, 400))
    z = np.maximum(data.impedance.real, 0.1) + 1j * data.impedance.imag
    said = refused(study(ANTENNA + HEIGHT, data.freq_hz, z))
    assert "The file scatters by" in said and "average more sweeps" in said


def test_heights(study, tmp_path):
    """None is fine without limits on what is received; with one, or with two heights, the study ends."""
    none = study(ANTENNA)
    assert "no effective height is given" in "\n".join(cautions(none))
    assert "is missing, and noise_margin_db has a limit." in refused(
        study(ANTENNA + '[limits]\nnoise_margin_db = "> 10"\n')
    )
    rows = "".join(f"{f},{z.real},{z.imag},3.4\n" for f, z in zip(FREQ, VERTICAL.impedance(FREQ), strict=True))
    (tmp_path / "t.csv").write_text("frequency_hz,r_ohm,x_ohm,effective_height_m\n" + rows, encoding="utf-8")
    table = ANTENNA.replace("v.s1p", "t.csv")
    assert "stands beside the heights in t.csv." in refused(study(table + HEIGHT))
    assert antenna_of(study(table)).effective_height(2e6) == pytest.approx(3.4)


def test_a_poor_file_is_said(study):
    """Points far from a band, and a resistance that is lost in noise, are cautions and no refusal."""
    freq = np.array([1e6, 1.5e6, 2.4e6, 3.3e6, 5e6, 8e6])
    z = VERTICAL.impedance(freq)
    z[1] = -1.0 + 1j * z[1].imag
    said = "\n".join(cautions(study(ANTENNA + HEIGHT, freq, z)))
    assert "the file's nearest point to 1.83 MHz is 1.5 MHz" in said
    assert "the file's nearest point to 3.53 MHz" not in said
    assert "the resistance in the file is not above zero everywhere, for example at 1.5 MHz" in said
    assert "off the file's at 1.83 MHz; so is the power of its losses' thermal noise there." in said


def test_a_height_that_radiates_too_much(study):
    """30 m of effective height would need 63 ohm at 1.83 MHz, which the antenna does not have."""
    assert "one of the two is wrong" in "\n".join(cautions(study(ANTENNA + 'effective_height = "30 m"\n')))


def test_a_state_that_is_not_there(study):
    """A wrong state ends the study with those that are there."""
    demo = read_study(ROOT / "studies" / "measured-antenna.toml")
    words = demo.antenna.model_copy(update={"state": "wet"})
    assert "Known: moist, dry." in refused(demo.model_copy(update={"antenna": words}))


def test_results_rest_on_the_contents_of_the_file(study, tmp_path):
    """The file is among what a run depends on; another content is another digest."""
    study(ANTENNA + HEIGHT)
    files = study_inputs(str(tmp_path / "study.toml"))
    assert str(tmp_path / "v.s1p") in files
    first = Path(mark_inputs(tmp_path / "out", files)).read_text(encoding="ascii")
    study(ANTENNA + HEIGHT, impedance=VERTICAL.impedance(FREQ) + 1)
    assert Path(mark_inputs(tmp_path / "out", files)).read_text(encoding="ascii") != first


def test_in_the_drawing(study):
    """Check draws the file and the state."""
    made = study(ANTENNA + HEIGHT)
    assert "v.s1p" in chain_drawing(made, chain_of(made))
    demo = scenarios(read_study(ROOT / "studies" / "measured-antenna.toml"))[1].study
    assert "measured-antenna.csv, dry" in chain_drawing(demo, chain_of(demo))


def test_refusal_ends_check_with_code_2(study, tmp_path, capsys):
    """A bad file is the user's fault and told as such."""
    study(ANTENNA + HEIGHT)
    (tmp_path / "v.s1p").write_text("# MHz S RI R 50\nnothing\n", encoding="ascii")
    assert main(["check", str(tmp_path / "study.toml")]) == 2
    assert 'v.s1p, line 2: "nothing" is not three numbers.' in capsys.readouterr().err


def test_export_against_the_file(study, tmp_path, capsys):
    """What export writes keeps to the file within the fit error that was said, stray included."""
    study(ANTENNA + HEIGHT + 'stray = "3 pF"\n')
    assert main(["export", str(tmp_path / "study.toml"), "antenna", "-o", str(tmp_path / "out.s1p")]) == 0
    freq, seen = read_one_port((tmp_path / "out.s1p").read_text(encoding="ascii"))
    at = np.isin(freq, BANDS)
    assert at.sum() == 3
    wanted = VERTICAL.impedance(BANDS)
    wanted = wanted / (1 + 2j * np.pi * BANDS * 3e-12 * wanted)
    assert np.abs(seen[at] / wanted - 1).max() < 0.01
    assert "goes beyond the range of the antenna model measured" in capsys.readouterr().out


def test_the_same_as_the_antenna_it_was_made_from(study):
    """A study of the sweep of a vertical answers as the study of the vertical: 0.02 dB, noise with the same ground."""
    measured = study(ANTENNA + 'effective_height = "3.4 m"\nground_loss = "20"\nstray = "3 pF"\n')
    plain = study('[antenna]\nmodel = "short-vertical"\nheight = "7 m"\nradius = "8 mm"\nground_loss = "20"\n')
    both = [simulate(words, "1-of-1")[0]["banded"][0, 0] for words in (measured, plain)]
    for name in ("system_gain_db", "output_noise_nv"):
        of_file, of_model = (values[BANDED.index(name)] for values in both)
        difference = of_file - of_model if name.endswith("db") else 20 * np.log10(of_file / of_model)
        assert difference == pytest.approx(np.zeros(3), abs=0.02)


@pytest.mark.parametrize("number", [0, 1])
def test_demo_agrees_with_plain_ngspice(number, tmp_path):
    """Gain 0.001 dB, phase 0.01 degree, noise 0.001 dB against the deck as plain ngspice runs it."""
    demo = read_study(ROOT / "studies" / "measured-antenna.toml", units=1)
    arrays, failures = simulate(demo, "1-of-1")
    assert not failures
    said = batch(netlist_text(scenarios(demo)[number].study, 1, number), tmp_path)
    lines = (line.split("=") for line in said.splitlines() if line.startswith(("gain_db_", "phase_deg_", "output_")))
    printed = {name.strip(): float(value.split()[0]) for name, value in lines}
    assert len(printed) == 9
    unit = arrays["banded"][number, 1]
    for band in range(3):
        at = {name: unit[BANDED.index(name), band] for name in ("gain_db", "phase_deg", "output_noise_nv")}
        assert printed[f"gain_db_{band + 1}"] == pytest.approx(at["gain_db"], abs=1e-3)
        assert (printed[f"phase_deg_{band + 1}"] - at["phase_deg"] + 180) % 360 - 180 == pytest.approx(0, abs=1e-2)
        ratio = printed[f"output_noise_nv_{band + 1}"] / at["output_noise_nv"]
        assert 20 * np.log10(ratio) == pytest.approx(0, abs=1e-3)


def test_losses_of_the_demo_are_those_of_its_ground():
    """Moist soil under radials adds 3.7, 4.5 and 5.8 ohm at 1.8, 3.5 and 7 MHz (NEC-2, nec2c 1.3, own decks)."""
    moist = antenna_of(scenarios(read_study(ROOT / "studies" / "measured-antenna.toml"))[0].study)
    assert moist.loss_resistance(np.array([1.8e6, 3.5e6, 7e6])) == pytest.approx([3.7, 4.5, 5.8], rel=0.2)


def test_demo_data_say_where_they_come_from():
    """The data were computed, and their head says so in so many words; heights follow the vertical's within 5 %."""
    text = (ROOT / "studies" / "measured-antenna.csv").read_text(encoding="utf-8")
    assert text.startswith("# NOT MEASURED: computed by NEC-2 (program nec2c 1.3)")
    rows = list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
    model = short_vertical(6, 0.01)
    for row in ({key.strip(): value.strip() for key, value in row.items()} for row in rows):
        height = model.effective_height(1e6 * float(row["frequency_mhz"]))
        assert float(row["effective_height_m"]) == pytest.approx(float(height), rel=0.05)


def test_the_documented_table_makes_a_study(tmp_path):
    """The table and the choice of docs/own-antenna.md, as they stand there, are a study that fits."""
    page = (ROOT / "docs" / "own-antenna.md").read_text(encoding="utf-8")
    table, vary = (re.search(rf"```{kind}\n({start}.*?)```", page, re.DOTALL)[1] for kind, start in _PIECES)
    (tmp_path / "vertical.csv").write_text(table, encoding="utf-8")
    text = HEAD.replace('"1.83M", "3.53M", "7.05M"', '"1.8M", "3.5M", "7M"')
    antenna = '[antenna]\nmodel = "measured"\nfile = "vertical.csv"\nstate = "wet"\n'
    (tmp_path / "study.toml").write_text(text + antenna + vary, encoding="utf-8")
    every = scenarios(read_study(tmp_path / "study.toml"))
    assert [antenna_of(scenario.study).effective_height(1.8e6).item() for scenario in every] == [3.0, 3.0]
    assert [scenario.study.antenna.state for scenario in every] == ["wet", "dry"]


@pytest.mark.slow
def test_without_a_height_a_run_says_so_and_ends_well(study, tmp_path, capsys):
    """All steps of a run go through with nothing known of the field; the caution stands in answer.json."""
    study(ANTENNA)
    out = tmp_path / "out"
    assert main(["run", str(tmp_path / "study.toml"), "--out", str(out), "--cores", "1"]) == 0
    answer = json.loads((out / "answer.json").read_text(encoding="utf-8"))
    assert any("no effective height is given" in caution for caution in answer["cautions"])
    assert "no effective height is given" in " ".join(capsys.readouterr().out.split())
    assert (out / "report.html").is_file()
