"""Files of measured impedances: every format of Touchstone, tables, and what is refused with which words."""

import numpy as np
import pytest

from sim.antenna.one_port import LARGEST_FILE, load_one_port
from sim.errors import RecordError
from sim.measured.touchstone import one_port_scattering, read_one_port, touchstone_text

FREQ = np.array([1.8e6, 3.5e6, 7e6])
Z = np.array([4.2 - 1708.7j, 6.4 - 838.3j, 14.4 - 331.8j])
HEAD = "frequency_mhz, r_ohm, x_ohm\n"


def pair(value, form):
    """A complex value as the two numbers of a Touchstone format."""
    if form == "ri":
        return f"{value.real!r} {value.imag!r}"
    size = abs(value) if form == "ma" else 20 * np.log10(abs(value))
    return f"{float(size)!r} {float(np.degrees(np.angle(value)))!r}"


@pytest.mark.parametrize("version", ["", "[Version] 1.1\n", "[Version] 2.0\n", "[Version] 2.1\n"])
@pytest.mark.parametrize("form", ["ri", "ma", "db"])
@pytest.mark.parametrize("parameter", ["s", "z", "y"])
def test_every_format_gives_the_impedance(version, form, parameter):
    """Touchstone File Format Specification 2.0: Z and Y of version 1 are normalised, z = Z/R and y = Y R; of 2 not."""
    reference, whole = 75.0, version.startswith("[Version] 2")
    values = {
        "s": (Z - reference) / (Z + reference),
        "z": Z if whole else Z / reference,
        "y": 1 / Z if whole else reference / Z,
    }[parameter]
    unit, scale = {"ri": ("kHz", 1e3), "ma": ("MHz", 1e6), "db": ("GHz", 1e9)}[form]
    lines = [f"{version}# {unit} {parameter.upper()} {form} R {50 if whole else reference:g} ! options"]
    if whole:
        lines += ["[Number of Ports] 1", "[Number of Frequencies] 3", "[Reference] 75.0", "[Network Data]"]
    lines += [f"{float(f) / scale!r} {pair(complex(v), form)} ! a point" for f, v in zip(FREQ, values, strict=True)]
    freq, impedance = read_one_port("\n".join(["! measured on a fine day", *lines, *(["[End]"] if whole else [])]))
    assert freq == pytest.approx(FREQ, rel=1e-12)
    assert impedance == pytest.approx(Z, rel=1e-9)


def test_what_is_left_out_of_the_option_line_is_the_standard_s():
    """GHz, S, magnitude and angle, 50 ohm, whatever is there in any order (Touchstone specification, option line)."""
    assert read_one_port("#\n0.0018 0.5 0\n")[1][0] == pytest.approx(150)
    assert read_one_port("#\n0.0018 0.5 0\n")[0][0] == pytest.approx(1.8e6)
    assert read_one_port("# R 75 RI MHz\n1.8 0.5 0\n")[1][0] == pytest.approx(225)


def test_our_own_files_come_back(tmp_path):
    """What export writes is read again, digit for digit but the last."""
    (tmp_path / "own.s1p").write_text(touchstone_text(FREQ, one_port_scattering(Z), "own"), encoding="ascii")
    read = load_one_port("own.s1p", tmp_path)
    assert read.impedance == pytest.approx(Z, rel=1e-9)
    assert read.height is None


def test_table_with_states_and_heights(tmp_path):
    """The rows of one state, sorted, with their heights; remarks and empty lines are no rows."""
    (tmp_path / "t.csv").write_text(
        "# vertical\nstate, frequency_khz, x_ohm, r_ohm, effective_height_m\n\n"
        "dry, 7000, -339, 15, 3.2 # noon\ndry, 1800, -1715, 14, 3.0\n"
        "wet, 1800, -1709, 4, 3.1\nwet, 7000, -332, 14, 3.3\n",
        encoding="utf-8",
    )
    dry = load_one_port("t.csv", tmp_path, "dry")
    assert dry.freq_hz.tolist() == [1.8e6, 7e6]
    assert dry.impedance.tolist() == [14 - 1715j, 15 - 339j]
    assert dry.height.tolist() == [3.0, 3.2]
    assert load_one_port("t.csv", tmp_path, "wet").impedance[0] == 4 - 1709j


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "holds no line of data."),
        ("1.8 0.5 0\n", 'line 1: stands before any option line. Begin with, for example, "# MHz S RI R 50".'),
        ("# MHz S RI R 50\n1.8 0.5\n", 'line 2: "1.8 0.5" is not three numbers.'),
        ("# MHz S RI R 50\n1.8 0.5 nan\n", 'line 2: "1.8 0.5 nan" is not three numbers.'),
        ("# MHz S RI R 50\n1.8 0.5 0 0.1 0 0.1 0 0.5 0\n", "is not three numbers."),
        ("# MHz H RI R 50\n1.8 0.5 0\n", "is no option line of a one-port."),
        ("# MHz S RI R 0\n1.8 0.5 0\n2 0.5 0\n", "has a reference of 0 ohm."),
        ("# MHz S RI R 50\n# MHz S RI R 75\n1.8 0.5 0\n", "has two option lines."),
        ("[Version] 2.0\n# MHz S RI R 50\n[Reference]\n75\n1.8 0.5 0\n", 'line 3: "[Reference]" is not known'),
        ("[Version] 2.0\n# MHz S RI\n[Number of Frequencies] 9\n[Network Data]\n1.8 0.5 0\n", "promises 9 frequencies"),
        ("# MHz S RI R 50\n1.8 1 0\n3.5 0.5 0\n", "says open or short circuit at 1.8e+06 Hz."),
        ("# MHz S RI R 50\n1.8 -1 0\n3.5 0.5 0\n", "says open or short circuit"),
        ("# MHz S RI R 50\n1.8 0.5 0\n", "holds fewer than two frequencies."),
        ("# MHz S RI R 50\n1.8 0.5 0\n1.8 0.6 0\n", "holds 1.8e+06 Hz twice."),
        ("# MHz S RI R 50\n-1.8 0.5 0\n1.8 0.6 0\n", "has a frequency of -1.8e+06 Hz."),
        ("# MHz S RI R 50\n1.8 1e400 0\n2 1 0\n", "circuit at"),
    ],
)
def test_touchstone_that_is_refused(tmp_path, text, said):
    """Each fault says where, what was found and what would do; none waits for ever or ends in a traceback."""
    (tmp_path / "a.s1p").write_text(text, encoding="utf-8")
    with pytest.raises(RecordError) as caught:
        load_one_port("a.s1p", tmp_path)
    assert said in str(caught.value).replace("\n  ", " ")
    assert caught.value.faults[0].file == "a.s1p" and caught.value.faults[0].remedy


@pytest.mark.parametrize(
    ("text", "state", "said"),
    [
        ("", None, "holds no row of data."),
        (HEAD, None, "holds no row of data."),
        ("f, r_ohm, x_ohm\n", None, '"f" is not a column of a table of impedance.'),
        ("frequency_hz, r_ohm\n", None, "a column is missing."),
        ("frequency_hz, frequency_mhz, r_ohm, x_ohm\n", None, "a column is missing."),
        ("r_ohm, r_ohm, x_ohm\n", None, "a column is there twice."),
        (HEAD + "1,83, 4, -1700\n", None, "line 2: has 4 values; the table has 3 columns."),
        (HEAD + "1.8, 4 ohm, -1700\n", None, 'line 2: r_ohm is "4 ohm", no number.'),
        (HEAD + "1.8, nan, -1700\n", None, 'r_ohm is "nan".'),
        (HEAD + "1.8, 4, -1700\n3.5, 4, -800\n", "wet", 'has no column state, and the study asks for "wet".'),
        ("state, " + HEAD + "dry, 1.8, 4, -1700\nwet, 1.8, 4, -1700\n", None, "holds the states dry, wet."),
        ("state, " + HEAD + "dry, 1.8, 4, -1700\n", "wet", 'has no state "wet".'),
        (HEAD.strip() + ", effective_height_m\n1.8, 4, -1700, 0\n", None, "an effective height of 0 m."),
        (HEAD + "0, 4, -1700\n3.5, 4, -800\n", None, "holds fewer than two frequencies."),
        ("\0", None, "is no text."),
        ("#" * (LARGEST_FILE + 1), None, "is larger than 1 MB."),
    ],
)
def test_table_that_is_refused(tmp_path, text, state, said):
    """Each fault of a table says where, what was found and what would do."""
    (tmp_path / "a.csv").write_text(text, encoding="utf-8")
    with pytest.raises(RecordError) as caught:
        load_one_port("a.csv", tmp_path, state)
    assert said in str(caught.value)
    assert caught.value.faults[0].remedy


def test_touchstone_has_no_states(tmp_path):
    """A state is asked for of a table alone; a file that is not there is said."""
    (tmp_path / "a.s1p").write_text("# MHz S RI R 50\n1.8 0.5 0\n3.5 0.5 0\n", encoding="utf-8")
    with pytest.raises(RecordError, match="holds one state"):
        load_one_port("a.s1p", tmp_path, "wet")
    with pytest.raises(RecordError, match="cannot be read: no such file"):
        load_one_port("b.s1p", tmp_path)
