"""Studies that are right, and files that are none."""

import os
from pathlib import Path

import pytest

from sim.errors import StudyError
from sim.paths import CIRCUITS
from sim.quantity import Limit, PartValue, Tolerance
from sim.study.files import LARGEST_FILE
from sim.study.read import read_study

PLAIN = """\
title = "Two verticals on the dike"
[amplifier]
circuit = "transimpedance"
opamp = "OPA810"
[antenna]
model = "short-vertical"
height = "7 m"
radius = "8 mm"
"""

WHOLE = """\
title = "Zwei Antennen für 160 m – größer"

[amplifier]
circuit = "transimpedance"
opamp = "OPA810"

[amplifier.parts]
Rf = "10k 1%"
Cf = "8.2p 0.25p C0G lot"
Ro = 75

[antenna]
model = "short-vertical"
height = "7 m"
radius = "8 mm"
gap = "100 mm"
ground_loss = "20 ohm"
stray = 4e-12

[feedline]
cable = "rg6-ccs"
length = "120 m"
power = "separate"

[supply]
voltage = "12 V -2%/+5%"

[receiver]
impedance = "50"
noise_figure = "10 dB"

[site]
noise = "rural"

[bands]
frequencies = ["475k", 1.83e6, "3530 kHz"]

[run]
units = 20
seed = 7
temperature = "-20..40"
build = 4

[fixture]
source = "75"
dummy = "33p"
load = "75"

[[vary]]
what = "feedline.length"
values = ["0", "60 m", 120]

[limits]
gain_db = "10 +- 1"
noise_margin_db = "> 10"
current_ma = "< 30"
mu_load = "1.1..5"
"""


def write(folder: Path, text: str) -> Path:
    """A study file of this text."""
    path = folder / "study.toml"
    path.write_text(text, encoding="utf-8")
    return path


def faults(path) -> tuple:
    """What is wrong with a study, as (line, key, found)."""
    with pytest.raises(StudyError) as caught:
        read_study(path)
    return tuple((fault.line, fault.key, fault.found) for fault in caught.value.faults)


def test_the_circuits_that_these_tests_name_are_there():
    """Tests of the reader stand on three files that come with the program."""
    for name in ("amplifiers/transimpedance.cir", "opamps/OPA810.toml", "feedlines/rg6-ccs.toml"):
        assert (CIRCUITS / name).is_file()


def test_every_key_is_read(tmp_path):
    """Each value of a whole study arrives, in SI units (hand check)."""
    study = read_study(write(tmp_path, WHOLE))
    assert study.title == "Zwei Antennen für 160 m – größer"
    assert study.amplifier.parts == {"Rf": "10k 1%", "Cf": "8.2p 0.25p C0G lot", "Ro": "75.0"}
    antenna = study.antenna
    assert (antenna.model, antenna.height, antenna.radius) == ("short-vertical", 7.0, 8e-3)
    assert (antenna.gap, antenna.ground_loss, antenna.stray) == (0.1, 20.0, 4e-12)
    assert (study.feedline.cable, study.feedline.length, study.feedline.power) == ("rg6-ccs", 120.0, "separate")
    assert study.supply.voltage == PartValue(12.0, Tolerance(-0.02, 0.05), ())
    assert (study.receiver.impedance, study.receiver.noise_figure) == (50.0, 10.0)
    assert study.site.noise == "rural"
    assert study.bands.frequencies == (475e3, 1.83e6, 3.53e6)
    run = study.run
    assert (run.units, run.seed, run.temperature, run.build) == (20, 7, (-20.0, 40.0), 4)
    assert (study.fixture.source, study.fixture.dummy.value, study.fixture.load) == (75.0, 33e-12, 75.0)
    assert [(vary.what, vary.values) for vary in study.vary] == [("feedline.length", ("0", "60 m", 120))]
    inf = float("inf")
    assert study.limits == {
        "gain_db": Limit(9, 11),
        "noise_margin_db": Limit(10, inf),
        "current_ma": Limit(-inf, 30),
        "mu_load": Limit(1.1, 5),
    }


def test_defaults(tmp_path):
    """What a short study leaves out has the values that the documentation states."""
    study = read_study(write(tmp_path, PLAIN))
    assert (study.antenna.gap, study.antenna.ground_loss, study.antenna.stray) == (0.075, 30.0, 3e-12)
    assert (study.feedline.cable, study.feedline.length, study.feedline.power) == ("rg6-ccs", 0.0, "coax")
    assert study.supply.voltage == PartValue(12.0, Tolerance(-0.05, 0.05), ())
    assert (study.receiver.impedance, study.receiver.noise_figure) == (75.0, 12.0)
    assert study.site.noise == "quiet-rural"
    assert study.bands.frequencies == (1.83e6, 3.53e6, 7.05e6)
    assert (study.run.units, study.run.seed, study.run.build) == (1000, 1, 16)
    assert study.run.temperature == (20.0, 20.0)
    assert (study.fixture.source, study.fixture.dummy.value, study.fixture.load) == (50.0, 47e-12, 50.0)
    assert (study.amplifier.parts, study.vary, study.limits) == ({}, (), {})


def test_a_fixture_in_place_of_an_antenna(tmp_path):
    """The other antenna model has its own keys."""
    text = PLAIN.replace('"short-vertical"\nheight = "7 m"\nradius = "8 mm"', '"fixture"\ndummy = "33p"')
    antenna = read_study(write(tmp_path, text)).antenna
    assert (antenna.model, antenna.source, antenna.dummy.value) == ("fixture", 50.0, 33e-12)


@pytest.mark.parametrize(("key", "levels"), [("fa_db", "[60, 50]"), ("field_dbuv_per_m", '["-38 dB", -42.5]')])
def test_a_table_of_noise(tmp_path, key, levels):
    """The builder's own measurements stand in place of a class."""
    text = PLAIN + f'[site]\nnoise = {{ frequencies = ["1M", "10M"], {key} = {levels} }}\n'
    noise = read_study(write(tmp_path, text)).site.noise
    assert noise.frequencies == (1e6, 1e7)
    assert getattr(noise, key) == ((60, 50) if key == "fa_db" else (-38, -42.5))


def test_where_a_study_was_read(tmp_path, monkeypatch):
    """File is what the user wrote, folder is absolute, and keys have their lines."""
    write(tmp_path, PLAIN)
    monkeypatch.chdir(tmp_path)
    study = read_study("study.toml")
    assert (study.file, study.folder) == ("study.toml", str(tmp_path.resolve()))
    assert study.line_of("antenna.height") == 7
    assert study.line_of("antenna.gap") == 5
    assert study.line_of("feedline.length") is None


def test_units_in_place_of_the_study_s_own(tmp_path):
    """The command's number of units wins, with and without one in the file, and is checked alike."""
    assert read_study(write(tmp_path, WHOLE), units=5).run.units == 5
    path = write(tmp_path, PLAIN)
    assert read_study(path, units=5).run.units == 5
    with pytest.raises(StudyError) as caught:
        read_study(path, units=0)
    assert [fault.key for fault in caught.value.faults] == ["run.units"]


def test_equal_studies_are_equal_wherever_they_stand(tmp_path):
    """The file's name and lines do not count, every value does."""
    one = read_study(write(tmp_path, PLAIN))
    (tmp_path / "below").mkdir()
    other = read_study(write(tmp_path / "below", "# a comment\n" + PLAIN))
    assert one == other
    assert hash(one) == hash(other)
    assert one != read_study(write(tmp_path, PLAIN.replace('"7 m"', '"7.1 m"')))


# ---------------------------------------------------------------------- the file itself


def test_signs_before_the_first_and_windows_line_ends(tmp_path):
    """A byte order mark is no fault, and lines are counted as an editor does."""
    path = tmp_path / "study.toml"
    path.write_bytes(b"\xef\xbb\xbf" + PLAIN.replace("\n", "\r\n").encode())
    assert read_study(path).line_of("antenna.radius") == 8
    path.write_bytes(b"\xef\xbb\xbf" + PLAIN.replace("height", "heigth").replace("\n", "\r\n").encode())
    assert faults(path) == ((5, "antenna.height", "is missing."), (7, "antenna.heigth", "is not a key."))


def message(path) -> str:
    """All that is said about a path that is no study."""
    with pytest.raises(StudyError) as caught:
        read_study(path)
    return str(caught.value)


def test_a_file_that_is_not_there(tmp_path, monkeypatch):
    """The message says how to make one."""
    monkeypatch.chdir(tmp_path)
    assert message("none.toml") == (
        "none.toml: cannot be read: no such file or directory.\n"
        "  Name an existing study file, or make one: bandfloor new FILE."
    )


def test_a_folder(tmp_path, monkeypatch):
    """A folder is said to be one."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "studies").mkdir()
    assert message("studies") == "studies: is a folder.\n  Name the study's file (.toml)."


def test_an_empty_name():
    """An empty name, as an unset variable of a shell leaves it, is not taken for the folder one is in."""
    assert message("") == '"": is no file name.\n  Name the study\'s file (.toml).'


def test_curved_quotes(tmp_path):
    """Quotes that a text program has bent are named as what is wrong; a comment may hold them."""
    (tmp_path / "s.toml").write_text("# “so”\ntitle = “Marsh”\n", encoding="utf-8")
    said = message(tmp_path / "s.toml")
    assert "line 2: is not valid TOML, column 9" in said and said.endswith("text programs put in.")
    (tmp_path / "s.toml").write_text("title = Marsh # “so”\n", encoding="utf-8")
    assert "straight quotes" not in message(tmp_path / "s.toml")


def test_number_of_units_given_beside_the_study(tmp_path):
    """A count from the command line is not blamed on a line of the file."""
    path = tmp_path / "s.toml"
    path.write_text(PLAIN + "[run]\nunits = 100\n", encoding="utf-8")
    with pytest.raises(StudyError) as caught:
        read_study(path, units=10**13)
    (fault,) = caught.value.faults
    assert (fault.line, fault.key) == (None, "run.units")
    assert fault.remedy.endswith("It was given as --units, not in the study.")


def test_a_pipe(tmp_path, monkeypatch):
    """What is no plain file is not waited for."""
    monkeypatch.chdir(tmp_path)
    os.mkfifo("pipe.toml")
    assert message("pipe.toml") == "pipe.toml: is no plain file.\n  Name the study's file (.toml)."


def test_a_name_that_is_none():
    """A NUL in the name is shown, not passed on."""
    assert message("a\0b") == '"a\\u0000b": is no file name.\n  Name the study\'s file (.toml).'


def test_another_encoding(tmp_path, monkeypatch):
    """The line of the first byte that is no UTF-8 is named."""
    monkeypatch.chdir(tmp_path)
    Path("old.toml").write_bytes('# one\ntitle = "größer"\n'.encode("latin-1"))
    assert message("old.toml") == "old.toml, line 2: is not UTF-8 text.\n  Save the file as UTF-8 in your editor."


def test_a_large_file(tmp_path, monkeypatch):
    """Something that cannot be a study is not read to its end."""
    monkeypatch.chdir(tmp_path)
    Path("large.toml").write_bytes(b"#" * (LARGEST_FILE + 1))
    assert message("large.toml") == "large.toml: is larger than 200 kB.\n  A study is a short text: is this the file?"


@pytest.mark.parametrize(
    "text",
    [
        "x = " + "[" * 90_000,
        "title" + ".a" * 90_000 + " = 1",
        "title" + ".a" * 1_900 + " = 1\n" + PLAIN.partition("\n")[2],
        "x = " + "9" * 5_000,
        PLAIN + "[run]\nunits = 0x" + "f" * 9_000,
        PLAIN + "[feedline]\nlength = 0x" + "f" * 9_000,
        PLAIN + "[amplifier.parts]\nCf = 0x" + "f" * 9_000,
        PLAIN + '[[vary]]\nwhat = "feedline.length"\nvalues = [[[[1]]], {a = 1}, 1979-05-27, nan, inf, true]',
        PLAIN + '[[vary]]\nwhat = "..."\nvalues = [1]\n[[vary]]\nwhat = ""\nvalues = [1]',
        PLAIN + '[site]\nnoise = { frequencies = "x", fa_db = { a = 1 }, word = 1, table = 2 }',
        PLAIN + '[antenna.short-vertical]\nheight = "7 m"',
        PLAIN + '[limits]\n"" = "> 1"\n"a.b" = { c = 1 }',
        "amplifier = 1979-05-27\nantenna = [1]\ntitle = ''\nvary = [1, 'x', {}]\nlimits = 07:32:00\nsite = nan",
    ],
    ids=range(13),
)
def test_strange_files_end_in_faults(tmp_path, text):
    """Whatever a file holds, the answer is a StudyError of short lines."""
    said = message(write(tmp_path, text))
    assert said.startswith(str(tmp_path / "study.toml"))
    assert max(map(len, said.split("\n"))) < 500 + len(str(tmp_path))
    assert said.isprintable() or "\n" in said


# ---------------------------------------------------------------------- files that a study names


def test_files_beside_the_study(tmp_path):
    """Own circuits, op-amps and cables are found from the study's folder, and below it."""
    (tmp_path / "own").mkdir()
    for name in ("mine.cir", "own/part.toml", "cable.toml"):
        (tmp_path / name).write_text("", encoding="utf-8")
    text = PLAIN.replace('"transimpedance"', '"mine.cir"').replace('"OPA810"', '"./own/part.toml"')
    study = read_study(write(tmp_path, text + '[feedline]\ncable = "cable.toml"\n'))
    assert study.amplifier.opamp == "./own/part.toml"
    inside = text.replace('"mine.cir"', f'"{tmp_path}/own/../mine.cir"')
    assert read_study(write(tmp_path, inside)).amplifier.circuit.endswith("/own/../mine.cir")


@pytest.mark.parametrize("way", ["link to a file", "link to a folder", "dots", "absolute"])
def test_no_file_outside_the_study_s_folder(tmp_path, way):
    """Neither dots nor links nor absolute names lead out."""
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "part.toml").write_text("secret", encoding="utf-8")
    folder = tmp_path / "study"
    folder.mkdir()
    (folder / "link.toml").symlink_to(outside / "part.toml")
    (folder / "linked").symlink_to(outside)
    name = {
        "link to a file": "link.toml",
        "link to a folder": "linked/part.toml",
        "dots": "../outside/part.toml",
        "absolute": f"{outside}/part.toml",
    }[way]
    [(line, key, found)] = faults(write(folder, PLAIN.replace('"OPA810"', f'"{name}"')))
    assert (line, key) == (4, "amplifier.opamp")
    assert found.endswith("lies outside the study's folder.")


def test_a_link_that_stays_inside(tmp_path):
    """A link is no fault by itself."""
    (tmp_path / "part.toml").write_text("", encoding="utf-8")
    (tmp_path / "link.toml").symlink_to(tmp_path / "part.toml")
    assert read_study(write(tmp_path, PLAIN.replace('"OPA810"', '"link.toml"'))).amplifier.opamp == "link.toml"


@pytest.mark.parametrize("name", [".", "..", "*", "OPA810 ", "opa810", "../opamps/OPA810", "OPA810.toml", "loop.toml"])
def test_names_are_taken_to_the_letter(tmp_path, name):
    """A name of the catalogue is written as it is there; one with its ending is a file of the builder's own."""
    (tmp_path / "loop.toml").symlink_to(tmp_path / "loop.toml")
    assert [key for _, key, _ in faults(write(tmp_path, PLAIN.replace('"OPA810"', f'"{name}"')))] == ["amplifier.opamp"]


# ---------------------------------------------------------------------- values to vary


def test_faults_of_the_study_are_not_repeated_for_every_value(tmp_path):
    """A fault elsewhere is said once; a value that mends the varied key is none."""
    text = PLAIN.replace('"7 m"', '"7 V"') + (
        '[feedline]\nlength = "1 V"\n[[vary]]\nwhat = "feedline.length"\nvalues = ["1 m", "2 m", "3 V"]\n'
    )
    assert faults(write(tmp_path, text)) == (
        (7, "antenna.height", '"7 V" is not in m.'),
        (10, "feedline.length", '"1 V" is not in m.'),
        (13, "vary.1.values.3 (feedline.length)", '"3 V" is not in m.'),
    )


def test_a_part_of_any_name_may_be_varied(tmp_path):
    """Whether the circuit has the part is said by who reads the circuit."""
    text = PLAIN + '[[vary]]\nwhat = "amplifier.parts.Czz"\nvalues = ["1p", 2e-12]\n'
    assert read_study(write(tmp_path, text)).vary[0].values == ("1p", 2e-12)


def test_a_value_that_fits_only_with_another_is_judged_there(tmp_path):
    """Noise that is varied must reach all bands, and what is said names the value."""
    text = PLAIN + (
        '[site]\nnoise = { frequencies = ["1M", "10M"], fa_db = [60, 50] }\n'
        '[[vary]]\nwhat = "site.noise"\nvalues = ["rural", "urban"]\n'
    )
    [(line, key, found)] = faults(write(tmp_path, text))
    assert (line, key, found) == (13, "vary.1.values.2 (site.noise)", 'there is no noise class "urban".')


def test_a_thousand_values_are_tried(tmp_path):
    """The largest list is checked value by value."""
    values = ", ".join(f'"{n} m"' for n in range(1000))
    path = write(tmp_path, PLAIN + f'[[vary]]\nwhat = "feedline.length"\nvalues = [{values}]\n')
    assert len(read_study(path).vary[0].values) == 1000
