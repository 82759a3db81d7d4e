"""Amplifier and sweep of a unit as files: against the deck in plain ngspice, and against each other."""

import shutil

import numpy as np
import pytest
import skrf

from sim.cli import main
from sim.engine.ngspice import batch
from sim.measured.sweep import read_sweep
from tests.small_studies import write_study

BENCH = {"source": "50", "dummy": "47p 1%", "stray": "2p", "load": "75"}
BANDS = {"frequencies": ["1.83M", "7.05M"]}


@pytest.fixture
def exported(tmp_path):
    """Writes a file of unit 3 of a small study by the command; its path."""
    study = write_study(tmp_path, fixture=BENCH, bands=BANDS)

    def written(what, name, *more):
        out = tmp_path / name
        assert main(["export", str(study), what, "--unit", "3", *more, "-o", str(out)]) == 0
        return out

    return written


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="needs the ngspice command")
def test_sweep_against_plain_ngspice(exported, tmp_path):
    """Both forms of a sweep show what plain ngspice measures on the netlist of the same unit, stray and load in it."""
    said = batch(exported("netlist", "n.cir").read_text(encoding="ascii"), tmp_path)
    expected = [
        10 ** (_printed(said, f"gain_db_{k}") / 20) * np.exp(1j * np.deg2rad(_printed(said, f"phase_deg_{k}")))
        for k in (1, 2)
    ]
    columns = read_sweep(str(exported("sweep", "s.csv")))
    np.testing.assert_allclose(columns.gain_at([1.83e6, 7.05e6]), expected, rtol=1e-5)
    two_port = read_sweep(str(exported("sweep", "s.s2p"))).two_port
    assert two_port.reference == (50.0, 50.0)
    rows = np.searchsorted(two_port.freq_hz, [1.83e6, 7.05e6])
    np.testing.assert_allclose(two_port.between(50.0, 75.0)[rows, 1, 0], expected, rtol=1e-5)


def _printed(said: str, name: str) -> float:
    (line,) = (line for line in said.splitlines() if line.startswith(f"{name} "))
    return float(line.split("=")[1].split()[0])


def test_amplifier_is_the_sweep_without_its_bench(exported):
    """scikit-rf puts dummy and stray before the amplifier's file and gets the sweep, whatever the reference."""
    for reference in ("50", "75"):
        amplifier = skrf.Network(str(exported("amplifier", "a.s2p", "--reference", reference)))
        assert np.all(amplifier.z0 == float(reference))
        amplifier.renormalize(50.0)
        jig = skrf.media.DefinedGammaZ0(amplifier.frequency, z0=50.0)
        sweep = skrf.Network(str(exported("sweep", "s.s2p")))
        with_stray = [jig.capacitor(c) ** jig.shunt_capacitor(2e-12) ** amplifier for c in (46e-12, 48e-12)]
        # The unit's own dummy is drawn within 1 % of 47 pF, so it lies between the two.
        low, high = (np.abs(network.s[:, 1, 0]) for network in with_stray)
        assert np.all((low <= np.abs(sweep.s[:, 1, 0])) & (np.abs(sweep.s[:, 1, 0]) <= high))


def test_two_inputs(tmp_path, capsys):
    """A balanced amplifier has columns of gain and phase, and is no two-port: exit code 2 says so."""
    amplifier = {"circuit": "balanced-transimpedance", "opamp": "OPA2822"}
    antenna = {"model": "short-dipole", "length": "10 m", "radius": "5 mm", "height": "3 m"}
    study = write_study(tmp_path, amplifier=amplifier, antenna=antenna)
    for what in ("amplifier", "sweep"):
        assert main(["export", str(study), what, "-o", str(tmp_path / "x.s2p")]) == 2
        assert "two inputs" in capsys.readouterr().err
    assert main(["export", str(study), "sweep", "-o", str(tmp_path / "x.csv")]) == 0
    assert np.abs(read_sweep(str(tmp_path / "x.csv")).gain_at(1.83e6)) > 0.1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["sweep", "-o", "x.txt"], "does not end in .s2p or .csv"),
        (["amplifier", "-o", "x.csv"], "does not end in .s2p"),
        (["sweep", "--reference", "50", "-o", "x.s2p"], "--reference 50 says nothing about sweep"),
    ],
)
def test_what_is_refused(tmp_path, words, said, capsys):
    """Exit code 2 for an ending that readers misread, and for an option that would do nothing."""
    assert main(["export", str(write_study(tmp_path)), *words]) == 2
    assert said in capsys.readouterr().err
