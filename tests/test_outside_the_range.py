"""A band outside an antenna model's range is named in the terminal, answer.json and the report, for every model."""

import json

import pytest

from sim.steps.cautions import cautions
from sim.study.antennas import ANTENNA_MODELS
from sim.study.read import read_study
from tests.conftest import command

HEAD = """title = "Outside"
[amplifier]
circuit = "transimpedance"
opamp = "OPA2822"
[run]
units = 1
[antenna]
"""
OUTSIDE = {
    "short-vertical": ('height = "12 m"\nradius = "8 mm"\n', "18.1M", "18.1 MHz", "0 Hz to 16.7 MHz"),
    "ground-wire": ('length = "60 m"\nfar_end = "350"\n', "10.1M", "10.1 MHz", "1.5 MHz to 8 MHz"),
}
"""Keys, a band outside, its name, and the model's limits in words."""


def study(folder, model):
    """File of a study with a band outside a model's range."""
    keys, band, *_ = OUTSIDE[model]
    path = folder / "outside.toml"
    path.write_text(f'{HEAD}model = "{model}"\n{keys}[bands]\nfrequencies = ["{band}"]\n', encoding="utf-8")
    return path


@pytest.mark.parametrize("model", OUTSIDE)
def test_a_run_says_so_everywhere(tmp_path, model):
    """Band and limits stand in the terminal's answer, in answer.json and in the opening of the report."""
    _, _, band, limits = OUTSIDE[model]
    path = study(tmp_path, model)
    done = command("run", path, "--out", tmp_path / "out", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    said = [
        text for text in json.loads((tmp_path / "out" / "answer.json").read_text())["cautions"] if "outside the" in text
    ]
    [caution] = [text for text in said if model in text]
    assert caution.startswith(band) and limits in caution
    assert f"Caution: {caution}" in " ".join(done.stdout.split())
    report = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    opening = report.partition('<section id="yields"')[0]
    assert caution in opening


@pytest.mark.parametrize("model", OUTSIDE)
def test_check_and_export_say_so(tmp_path, model):
    """Check names the band, and an exported antenna carries the model's limits in its head and on the terminal."""
    _, _, band, limits = OUTSIDE[model]
    path = study(tmp_path, model)
    said = " ".join(command("check", path, folder=tmp_path).stdout.split())
    assert f"Note: {band} lies outside the range in which the antenna model {model} was checked ({limits})" in said
    done = command("export", path, "antenna", "-o", "a.s1p", folder=tmp_path)
    ends = limits.replace(" to ", " to ")
    assert ends in done.stdout and ends in (tmp_path / "a.s1p").read_text(encoding="utf-8")


def test_models_without_limits_say_nothing(tmp_path):
    """What the builder gives by elements, and the bench, are computed at every frequency and are not warned of."""
    for model, keys in (("plain", 'effective_height = "2 m"\nresistance = "50"\n'), ("fixture", "")):
        path = tmp_path / f"{model}.toml"
        path.write_text(f'{HEAD}model = "{model}"\n{keys}[bands]\nfrequencies = ["50M"]\n', encoding="utf-8")
        assert not [text for text in cautions(read_study(path)) if "antenna model" in text]


def test_every_model_is_looked_at():
    """A model that is added comes here too, or to the tests of its own."""
    assert set(ANTENNA_MODELS) >= {*OUTSIDE, "plain", "fixture"}


def test_a_vertical_that_no_network_fits_is_refused(tmp_path):
    """Above its closed form a vertical whose network misses the line is refused with error, limit and advice."""
    path = tmp_path / "tall.toml"
    path.write_text(
        HEAD + 'model = "short-vertical"\nheight = "30 m"\nradius = "5 mm"\n'
        '[bands]\nfrequencies = ["0.1M", "0.5M", "1.8M", "3.5M", "5.3M", "7M", "10M", "14M", "18M", "21M", "28M"]\n',
        encoding="utf-8",
    )
    done = command("check", path, folder=tmp_path)
    assert done.returncode == 2
    assert "no passive network comes closer than" in done.stderr
    assert "12 % is the limit" in done.stderr and "Take bands closer together" in done.stderr


def cautions_of(folder, antenna, band, circuit="transimpedance"):
    """What is said of an antenna at one band."""
    path = folder / "other.toml"
    head = HEAD.replace('"transimpedance"', f'"{circuit}"')
    path.write_text(f'{head}{antenna}[bands]\nfrequencies = ["{band}"]\n', encoding="utf-8")
    return cautions(read_study(path))


def test_a_dipole_with_legs_too_long(tmp_path):
    """A band above k times a leg = 1.6 is named with the model's limits; one inside is not."""
    dipole = 'model = "short-dipole"\nlength = "10 m"\nradius = "2 mm"\nheight = "20 m"\n'
    said = cautions_of(tmp_path, dipole, "18.1M", "balanced-transimpedance")
    # 1.6 c/(2 pi 5 m) = 15.3 MHz, by hand.
    [one] = [text for text in said if "outside the range" in text and "short-dipole" in text]
    assert one.startswith("18.1 MHz") and "1.5 MHz to 15.2" in one
    inside = cautions_of(tmp_path, dipole, "7M", "balanced-transimpedance")
    assert not [text for text in inside if "outside the range" in text]


@pytest.mark.parametrize(("feed", "band", "long"), [("end", "7.05M", "2.8"), ("centre", "7.05M", "1.4")])
def test_a_wire_longer_than_a_wavelength(tmp_path, feed, band, long):
    """A wire, or a leg, longer than those that were compared with NEC-2 is named with its length in wavelengths."""
    wire = f'model = "ground-wire"\nlength = "120 m"\nfar_end = "350"\nfeed = "{feed}"\n'
    [one] = [text for text in cautions_of(tmp_path, wire, band) if "wavelengths long" in text]
    assert f"{long} wavelengths" in one and one.startswith("ground-wire: at 7.05 MHz")
    assert not [text for text in cautions_of(tmp_path, wire, "1.83M") if "wavelengths long" in text]
