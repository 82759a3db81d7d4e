"""What a study says of weather and of a clamp: words, values, what is written out again."""

import pytest

from sim.quantity import PartValue, QuantityError, Tolerance
from sim.study.read import read_study, study_text
from sim.study.scenarios import scenarios
from sim.study.weather import stated, weather_of
from tests.small_studies import BASE, write_study


def test_a_state_in_words():
    """Keys with blanks or underscores, values with tolerances, in any number; dry is nothing, as is none."""
    found = stated("input leak 1k, contact_resistance 5 20%,feedback bridge 2M")
    assert found == {
        "input_leak": PartValue(1e3, None),
        "contact_resistance": PartValue(5.0, Tolerance(-0.2, 0.2)),
        "feedback_bridge": PartValue(2e6, None),
    }
    assert stated("dry") == {} and stated("input leak none") == {}


@pytest.mark.parametrize("text", ["input leak", "rain", "input leak 1k,", "input leak 1k, input leak 2k"])
def test_a_state_that_is_none(text):
    """Half a state is refused, never taken for dry."""
    with pytest.raises(QuantityError):
        stated(text)


def test_written_out_and_read_back(tmp_path):
    """A study with weather and a clamp is the same after writing; a dry one has no word of it."""
    weather = {"state": "connector leak 1k", "input_leak": "10k 20%", "input_side": "both"}
    clamp = {"clamp_capacitance": "1.5p", "clamp_leakage": "10n 50%", "clamp_grading": 0.4}
    path = write_study(tmp_path, weather=weather, amplifier={**BASE["amplifier"], **clamp})
    study = read_study(path)
    assert study.amplifier.clamp_capacitance == PartValue(1.5e-12, Tolerance(-0.2, 0.2))
    assert read_study(write_study(tmp_path, text=study_text(study), name="again.toml")) == study
    dry = study_text(read_study(write_study(tmp_path)))
    assert "weather" not in dry and "clamp" not in dry


def test_what_is_varied(tmp_path):
    """Keys and state go together where they say different things; "none" is dry."""
    vary = {"weather.state": ["dry", "connector leak 1k"], "weather.input_leak": ["none", "10k"]}
    found = [sorted(weather_of(one.study)) for one in scenarios(read_study(write_study(tmp_path, vary=vary)))]
    assert found == [[], ["input_leak"], ["connector_leak"], ["connector_leak", "input_leak"]]
