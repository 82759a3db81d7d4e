"""Tables [[strong]] of a study: what they say, and what is refused."""

import math

import pytest

from sim.errors import StudyError
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from sim.study.strong import MOST_CARRIERS
from sim.study.write import study_text
from tests.small_studies import small_text

ONE = '[[strong]]\nfrequency = "621k"\n'


def _read(tmp_path, text: str, **tables):
    path = tmp_path / "study.toml"
    path.write_text(small_text(**tables) + text, encoding="utf-8")
    return read_study(path)


def test_each_way_to_say_how_strong(tmp_path):
    """Field, emf, level and power with distance read as SI numbers, and a study written out reads back the same."""
    ways = ('field = "300 mV/m rms"', 'emf = "1.2 V"', 'level = "-10 dBm"', 'power = "20 kW"\ndistance = "6 km"')
    text = "".join(f'{ONE}name = "{n}"\n{way}\n' for n, way in enumerate(ways))
    study = _read(tmp_path, text)
    field, emf, level, power = study.strong
    assert (field.field, emf.emf, level.level, power.power, power.distance) == (0.3, 1.2, -10.0, 2e4, 6e3)
    assert {carrier.frequency for carrier in study.strong} == {621e3}
    again = tmp_path / "again.toml"
    again.write_text(study_text(study), encoding="utf-8")
    assert read_study(again) == study
    assert scenarios(study)[0].study.strong == study.strong


def test_field_of_a_station_near_by(tmp_path):
    """1 kW at 1 km is 300 mV/m (ITU-R P.368), it grows with the root of the power and falls with the distance."""
    ways = (("1 kW", "1 km", 0.3), ("4 kW", "1 km", 0.6), ("1 kW", "3 km", 0.1), ("20 kW", "6 km", 0.2236068))
    for power, distance, field in ways:
        study = _read(tmp_path, f'{ONE}power = "{power}"\ndistance = "{distance}"\n')
        assert math.isclose(study.strong[0].known_field, field, rel_tol=1e-6)


def test_crest(tmp_path):
    """Full amplitude modulation doubles the peaks; less depth, or no amplitude modulation, less."""
    said = (("", 2.0), ('depth = "80 %"\n', 1.8), ('modulation = "fm"\n', 1.0), ('modulation = "none"\n', 1.0))
    for words, crest in said:
        assert _read(tmp_path, f'{ONE}emf = "1 V"\n{words}').strong[0].crest == crest


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (ONE, "nothing says how strong it is"),
        (ONE + 'emf = "1 V"\nlevel = "-10 dBm"\n', "emf and level are given for one carrier"),
        (ONE + 'power = "20 kW"\n', 'Add distance = "6 km"'),
        (ONE + 'field = "1 V/m"\ndistance = "6 km"\n', "distance stands without power"),
        (ONE + 'field = "300 mV"\n', '"300 mV" is not in V/m'),
        (ONE + 'emf = "5 kV"\n', "out of range"),
        (ONE + 'emf = "1 V"\nmodulation = "ssb"\n', 'Write "am", "fm" or "none"'),
        (ONE + 'emf = "1 V"\ndepht = "50 %"\n', "Nearest known key: depth"),
        ('[[strong]]\nfrequency = "5k"\nemf = "1 V"\n', "Write 10 kHz to 60 MHz"),
        ('[[strong]]\nemf = "1 V"\n', "strong.1.frequency: is missing"),
        ('[strong]\nfrequency = "621k"\nemf = "1 V"\n', "Write each as a table: [[strong]]"),
        ((ONE + 'emf = "1 V"\n') * (MOST_CARRIERS + 1), f"Write the {MOST_CARRIERS} strongest"),
    ],
)
def test_what_is_refused(tmp_path, text, said):
    """An entry that says too little, too much or something else is refused, with key and remedy."""
    with pytest.raises(StudyError) as refused:
        _read(tmp_path, text)
    assert said in str(refused.value) and "strong" in str(refused.value)


def test_field_needs_an_antenna_that_receives_one(tmp_path):
    """A bench source receives no field: only emf and level are taken."""
    bench = {"antenna": {"model": "fixture"}}
    with pytest.raises(StudyError, match="receives no field"):
        _read(tmp_path, ONE + 'field = "1 V/m"\n', **bench)
    with pytest.raises(StudyError, match="receives no field"):
        _read(tmp_path, ONE + 'power = "1 kW"\ndistance = "1 km"\n', **bench)
    assert _read(tmp_path, ONE + 'emf = "1 V"\n', **bench).strong[0].emf == 1.0


def test_a_level_belongs_to_one_chain(tmp_path):
    """A level measured with one chain is refused where chains are compared, and taken where only noise is."""
    text = ONE + 'level = "-10 dBm"\n'
    with pytest.raises(StudyError, match=r"feedline\.length"):
        _read(tmp_path, text, vary={"feedline.length": ["0", "60 m"]})
    with pytest.raises(StudyError, match="cannot be varied"):
        _read(tmp_path, text, vary={"strong.level": ["0", "1"]})
    path = tmp_path / "study.toml"
    path.write_text(small_text(vary={"site.noise": ["rural", "city"]}) + text, encoding="utf-8")
    assert len(scenarios(read_study(path))) == 2


def test_headroom_needs_carriers(tmp_path):
    """A limit on headroom without any carrier is refused with what to add."""
    with pytest.raises(StudyError, match=r"Add a table \[\[strong\]\]"):
        _read(tmp_path, "", limits={"headroom_db": "> 6"})
