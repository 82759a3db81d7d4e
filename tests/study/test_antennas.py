"""Antennas of a study: defaults, what is refused and with which words, what may be varied."""

import pytest

from sim.commands.check import chain_drawing
from sim.deck.build import antenna_of, chain_of
from sim.errors import StudyError
from sim.steps.cautions import cautions
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from sim.study.write import study_text

HEAD = """title = "antennas"
[amplifier]
circuit = "transimpedance"
opamp = "OPA2822"
[antenna]
"""
WIRE = HEAD + 'model = "ground-wire"\nlength = "120 m"\n'
PLAIN = HEAD + 'model = "plain"\neffective_height = "2.9 m"\n'


def write(folder, text):
    """A study file with that text."""
    path = folder / "study.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    "text",
    [
        WIRE,
        WIRE + 'far_end = "300"\nsoil_conductivity = "0.004 S/m"\nsoil_permittivity = 12\nfeed = "end"\n',
        PLAIN + 'capacitance = "62 pF"\nradiation = "0.5"\ninductance = "1.2 uH"\n',
        PLAIN + 'resistance = "50"\n',
    ],
)
def test_written_out_and_read_back(tmp_path, text):
    """A study with all defaults filled in reads back as the same study."""
    study = read_study(write(tmp_path, text))
    assert read_study(write(tmp_path, study_text(study))) == study


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (WIRE + 'soil = "pasture-wett"\n', "Nearest: pasture-wet."),
        (WIRE + 'far_end = "closed"\n', 'Write "open", or the resistance to earth'),
        (WIRE + 'height = "1 mm"\n', "mm do not fit."),
        (WIRE + 'feed = "middle"\n', '"end" or "centre"'),
        (HEAD + 'model = "ground-wire"\n', "antenna.length: is missing."),
        (PLAIN, "no resistance, capacitance or inductance"),
        (HEAD + 'model = "plain"\nresistance = "50"\n', "antenna.effective_height: is missing."),
        (HEAD + 'model = "ground-wires"\n', "Nearest: ground-wire."),
    ],
)
def test_what_is_refused(tmp_path, text, said):
    """Each fault names its key and the way out."""
    with pytest.raises(StudyError) as caught:
        read_study(write(tmp_path, text))
    assert said in str(caught.value)


def test_source_impedance_sweep(tmp_path):
    """The elements of a plain source are varied like any key, and reach the deck."""
    text = PLAIN + 'resistance = "50"\n[[vary]]\nwhat = "antenna.resistance"\nvalues = ["25", "100", "400"]\n'
    every = scenarios(read_study(write(tmp_path, text)))
    assert [antenna_of(s.study).impedance(1.8e6).real for s in every] == [25.0, 100.0, 400.0]


def test_wire_in_the_drawing_and_its_cautions(tmp_path):
    """Check draws the wire; bands past the checked range and the network's error are said."""
    study = read_study(write(tmp_path, WIRE + '[bands]\nfrequencies = ["1.83M", "14.1M"]\n'))
    drawing = chain_drawing(study, chain_of(study))
    assert "120 m, far end open, soil average" in drawing
    said = "\n".join(cautions(study))
    assert "14.1 MHz lies outside the range in which the antenna model ground-wire was checked" in said
    assert "keeps to its impedance within" in said
    assert "4 dB" in said


def test_plain_in_the_drawing(tmp_path):
    """Check draws the elements that are there."""
    study = read_study(write(tmp_path, PLAIN + 'capacitance = "62 pF"\nradiation = "0.5"\n'))
    assert "500 mΩ + 62 pF" in chain_drawing(study, chain_of(study))


def test_a_network_that_does_not_fit_is_refused(tmp_path, monkeypatch):
    """Where the network misses the wire by more than the limit, the study ends with the error and advice."""
    monkeypatch.setattr("sim.deck.build.LARGEST_FIT_ERROR", 1e-6)
    with pytest.raises(StudyError, match="no passive network comes closer") as caught:
        antenna_of(read_study(write(tmp_path, WIRE)))
    assert "end the wire in a resistance" in str(caught.value)
