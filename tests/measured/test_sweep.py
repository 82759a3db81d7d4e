"""Sweeps off an analyser: every form of Touchstone against scikit-rf, columns, and what is refused."""

import numpy as np
import pytest
import skrf

from sim.errors import SweepError
from sim.measured.sweep import read_sweep
from sim.measured.touchstone import read_two_port

FREQ_HZ = np.array([0.5e6, 1.83e6, 7.05e6])


def _network(z0: float = 75.0) -> skrf.Network:
    rng = np.random.default_rng(4)
    s = 0.3 * (rng.normal(size=(3, 2, 2)) + 1j * rng.normal(size=(3, 2, 2)))
    return skrf.Network(f=FREQ_HZ, f_unit="hz", s=s, z0=z0)


@pytest.mark.parametrize("form", ["ri", "ma", "db"])
@pytest.mark.parametrize("unit", ["hz", "khz", "mhz", "ghz"])
def test_forms_that_scikit_rf_writes(form, unit):
    """Real and imaginary parts, magnitude or decibels and degrees, in any unit of frequency."""
    network = _network()
    network.frequency.unit = unit
    found = read_two_port(network.write_touchstone("text", return_string=True, form=form))
    np.testing.assert_allclose(found.freq_hz, FREQ_HZ)
    np.testing.assert_allclose(found.s, network.s, atol=1e-9)
    assert found.reference == (75.0, 75.0)


def _line(freq_hz: float, m) -> str:
    values = (m[0, 0], m[1, 0], m[0, 1], m[1, 1])
    return " ".join([repr(float(freq_hz)), *(f"{one.real!r} {one.imag!r}" for one in map(complex, values))])


# What version 1 multiplies into each parameter (Touchstone File Format Specification, version 2.0: normalised to R).
SCALES = {
    "z": np.full((2, 2), 1 / 75.0),
    "y": np.full((2, 2), 75.0),
    "h": np.array([[1 / 75.0, 1], [1, 75.0]]),
    "g": np.array([[75.0, 1], [1, 1 / 75.0]]),
}


@pytest.mark.parametrize("parameter", list(SCALES))
@pytest.mark.parametrize("version", ["1.0", "2.0"])
def test_other_parameters(parameter, version):
    """Z, Y, H and G come back as the scattering parameters they were made of; version 1 normalises them."""
    network = _network()
    convert = skrf.network.s2h if parameter in "hg" else getattr(skrf.network, f"s2{parameter}")
    matrices = convert(network.s, 75.0)
    if parameter == "g":
        matrices = np.linalg.inv(matrices)
    scale = SCALES[parameter] if version == "1.0" else 1.0
    lines = [_line(f, m * scale) for f, m in zip(FREQ_HZ, matrices, strict=True)]
    head = [f"# Hz {parameter.upper()} RI R 75"]
    if version == "2.0":
        head = ["[Version] 2.0", *head, "[Number of Ports] 2", "[Two-Port Data Order] 21_12"]
        head += ["[Number of Frequencies] 3", "[Network Data]"]
    found = read_two_port("\n".join([*head, *lines]))
    np.testing.assert_allclose(found.s, network.s, atol=1e-9)


VERSION_2 = """\
! a comment
[Version] 2.0
# MHz S RI
[Number of Ports] 2
[Two-Port Data Order] 12_21
[Number of Frequencies] 1
[Number of Noise Frequencies] 1
[Reference] 50
75
[Matrix Format] Upper
[Network Data]
1 .1 .2 .3 .4
 .5 .6
[Noise Data]
1 2 3 4 5
[End]
"""


def test_version_2_with_all_its_keywords():
    """A symmetric matrix by its upper half, a reference a port on two lines, data on two lines, noise passed over."""
    found = read_two_port(VERSION_2)
    np.testing.assert_allclose(found.s[0], [[0.1 + 0.2j, 0.3 + 0.4j], [0.3 + 0.4j, 0.5 + 0.6j]])
    assert found.reference == (50.0, 75.0) and list(found.freq_hz) == [1e6]


def test_noise_data_of_version_1_are_passed_over():
    """They begin where the frequency falls back."""
    text = "# MHz S MA R 50\n1 .1 0 2 90 .01 0 .2 0\n2 .1 0 3 80 .01 0 .2 0\n1 2.5 .5 45 10\n2 2.7 .5 45 10\n"
    found = read_two_port(text)
    np.testing.assert_allclose(found.s[:, 1, 0], [2j, 3 * np.exp(1j * np.deg2rad(80))])


def test_between_other_resistances():
    """An attenuator of 50 ohm between 75 ohm: that of scikit-rf."""
    network = _network(50.0)
    found = read_two_port(network.write_touchstone("text", return_string=True, form="ri"))
    network.renormalize(75.0)
    np.testing.assert_allclose(found.between(75.0, 75.0), network.s, atol=1e-9)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "holds no line of data"),
        ("1 0 0 0 0 0 0 0 0\n", "stands before any option line"),
        ("# MHz S RI R 50\n1 0 0 0 0 0 0 0\n", "ends with 8 of the 9 numbers"),
        ("# MHz S RI R 50\n2 0 0 0 0 0 0 0 0\n1 0 0 0 0 0 0 0 0\n", "do not rise"),
        ("# MHz S RI R 50\n# MHz S RI R 50\n", "second option line"),
        ("# MHz T RI R 50\n", "no option line of a two-port"),
        ("# MHz S RI R 0\n1 0 0 0 0 0 0 0 0\n", "reference of 0 ohm"),
        ("# MHz Z RI R 50 75\n1 0 0 0 0 0 0 0 0\n", "unequal references"),
        ("# MHz S RI R 50\n[Mixed-Mode Order] D2,1 C2,1\n", "is not known in a two-port"),
        ("# MHz S RI R 50\nhello\n", "no line of numbers"),
        (VERSION_2.replace("Frequencies] 1\n[Number of N", "Frequencies] 2\n[Number of N"), "promises 2 frequencies"),
    ],
)
def test_what_is_no_two_port(tmp_path, text, said):
    """It is said what was found; nothing is guessed."""
    (tmp_path / "unit.s2p").write_text(text, encoding="utf-8")
    with pytest.raises(SweepError, match=said):
        read_sweep(str(tmp_path / "unit.s2p"))


def test_columns(tmp_path):
    """Decibels and degrees, or real and imaginary parts, in hertz or megahertz, are one sweep."""
    gain = np.array([1 + 1j, 2j, -1.5])
    level, turn = 20 * np.log10(np.abs(gain)), np.rad2deg(np.angle(gain))
    for name, head, columns in (
        ("a.csv", "# analyser\nfrequency_mhz,gain_db,phase_deg", (FREQ_HZ / 1e6, level, turn)),
        ("b.csv", "frequency_hz,gain_imag,gain_real", (FREQ_HZ, gain.imag, gain.real)),
    ):
        rows = [",".join(map(repr, row)) for row in np.column_stack(columns).tolist()]
        (tmp_path / name).write_text("\n".join([head, *rows]), encoding="utf-8")
    for name in ("a", "b"):
        found = read_sweep(str(tmp_path / f"{name}.csv"))
        np.testing.assert_allclose(found.freq_hz, FREQ_HZ)
        np.testing.assert_allclose(found.gain, gain, atol=1e-12)
        assert found.name == name and found.two_port is None


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("frequency_hz,gain_db\n1,2\n3,4\n", "has the columns"),
        ("frequency_hz;gain_db;phase_deg\n1;2,5;3\n2;2,5;3\n", "parted by commas, and decimals take a point"),
        ("frequency_hz\tgain_db\tphase_deg\n1\t2\t3\n2\t2\t3\n", "parted by commas"),
        ("frequency_hz,gain_db,phase_deg\n1,2,3\n", "fewer than two points"),
        ("frequency_hz,gain_db,phase_deg\n1,2,3\n2,x,3\n", "line 3: .* is no line of 3 numbers"),
        ("frequency_hz,gain_db,phase_deg\n2,2,3\n1,2,3\n", "do not rise"),
        ("frequency_hz,gain_db,phase_deg\n1,2,3\n2,nan,3\n", "line 3: .* holds no finite number"),
    ],
)
def test_what_is_no_columns(tmp_path, text, said):
    """With the line where it was found."""
    (tmp_path / "unit.csv").write_text(text, encoding="utf-8")
    with pytest.raises(SweepError, match=said):
        read_sweep(str(tmp_path / "unit.csv"))


def test_between_points(tmp_path):
    """A constant level and a phase that falls with the logarithm of frequency come out exactly, and none beyond."""
    freq_hz = np.geomspace(1e6, 10e6, 11)
    rows = [f"{f:.17g},6.0,{-200 * np.log10(f / 1e6):.17g}" for f in freq_hz]
    (tmp_path / "u.csv").write_text("\n".join(["frequency_hz,gain_db,phase_deg", *rows]), encoding="utf-8")
    sweep = read_sweep(str(tmp_path / "u.csv"))
    found = sweep.gain_at([1e6, 2.2e6, 10e6])
    np.testing.assert_allclose(20 * np.log10(np.abs(found)), 6.0)
    np.testing.assert_allclose(np.exp(1j * np.angle(found)), np.exp(-1j * np.deg2rad(200 * np.log10([1, 2.2, 10]))))
    with pytest.raises(SweepError, match="reaches from 1 to 10 MHz and not to 12 MHz"):
        sweep.gain_at([2e6, 12e6])


@pytest.mark.parametrize(
    ("name", "said"), [("none.s2p", "cannot be read"), ("unit.txt", "no sweep by its ending"), (".", "by its ending")]
)
def test_names(tmp_path, name, said):
    """A file that is not there, or is none."""
    with pytest.raises(SweepError, match=said):
        read_sweep(str(tmp_path / name))
