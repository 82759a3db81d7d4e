"""External noise of ITU-R P.372 and what follows from it, through a study's measures.

Sources: tests/data/itu-r-p372-8-to-17, itu-r-p372-sg3-software and own-calculations; closed forms at their numbers. A
plain source of 1 m effective height turns the field into an emf of the same number.
"""

import csv

import numpy as np
import pytest

from sim.constants import K_B, T0
from tests.checks import NOT_AT_HAND, Against, Standing
from tests.conftest import ROOT
from tests.small_studies import answers, at_band, effective_height, export, external_emf_nv, measured, write_study

AGAINST = Against("noise through a study", "ITU-R P.372-8 to -17", Standing.STANDARD, NOT_AT_HAND)
RECORDS = Against("noise through a study", "ITU-R P.372 data by its Study Group 3 software", Standing.PROGRAM)
BY_HAND = Against("noise through a study", "field times height; sqrt(4 k T0 fa R)", Standing.HAND)
ONE_METRE = {"model": "plain", "effective_height": "1 m", "capacitance": "60 pF"}


def rows(name):
    """Rows of a table below tests/data."""
    lines = (ROOT / "tests" / "data" / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if line[0] != "#"))


CLASSES = rows("itu-r-p372-8-to-17/noise_classes.csv")
LIGHTNING = rows("itu-r-p372-sg3-software/atmospheric.csv")
VERTICALS = rows("own-calculations/vertical_noise.csv")


def field_nv(folder, frequencies, **site):
    """Total vertical field of a site. [nV/m/√Hz]"""
    path = write_study(folder, antenna=ONE_METRE, bands={"frequencies": frequencies}, site=site)
    (values,) = measured(path)
    return external_emf_nv(values)


def fa_db(field, freq_hz):
    """External noise figure of a field in nV/m/√Hz, by equation (7) of the Recommendation. [dB]"""
    return 20 * np.log10(np.asarray(field) * 1e-3) - 20 * np.log10(np.asarray(freq_hz) / 1e6) + 95.5


@pytest.mark.parametrize("name", dict.fromkeys(row["noise_class"] for row in CLASSES))
def test_classes(check, name, tmp_path):
    """Fam within 0.05 dB, the field in dB and as a density (0.6 %) at all frequencies of a class."""
    own = [row for row in CLASSES if row["noise_class"] == name]
    freq_hz = [float(row["frequency_hz"]) for row in own]
    field = field_nv(tmp_path, freq_hz, noise=name)
    check("density of the field", field, [float(row["field_nv"]) for row in own], rel=0.006, unit="nV/m/√Hz")
    level = 20 * np.log10(field * 1e-3)
    check("field", level, [float(row["field_dbuv"]) for row in own], abs=0.05, unit="dB(uV/m)")
    check("Fam", fa_db(field, freq_hz), [float(row["fam_db"]) for row in own], abs=0.05, unit="dB")


@pytest.mark.parametrize("row", LIGHTNING, ids=lambda row: row["record"])
def test_atmospheric_records(check, row, tmp_path):
    """What a record adds to a site, as power, is the Recommendation's median within 1 dB."""
    freq_hz = float(row["frequency_hz"])
    plain = field_nv(tmp_path, [freq_hz], noise="quiet-rural")
    both = field_nv(tmp_path, [freq_hz], noise="quiet-rural", atmospheric=row["record"])
    added = np.sqrt(both**2 - plain**2)
    found = fa_db(added, freq_hz).item()
    check("Fam", found, float(row["fam_db"]), abs=1.0, unit="dB", against=RECORDS)


def test_constant_of_the_field(tmp_path):
    """An Fa of 0 dB at 1 MHz is -95.5 dB above 1 uV/m in 1 Hz (0.02 dB); 16 pi k T0 eta0/(3 lambda^2) is -95.51."""
    field = field_nv(tmp_path, [1e6], noise={"frequencies": [0.9e6, 1.1e6], "fa_db": [0, 0]})
    assert 20 * np.log10(field * 1e-3) == pytest.approx(-95.5, abs=0.02)


@pytest.mark.parametrize("row", VERTICALS, ids=lambda row: f"{row['height']}-{row['route']}-{row['frequency_hz']}")
def test_open_circuit_noise_of_a_vertical(check, row, tmp_path):
    """By the field, from the study's measures; by the gain, 4 k T0 fa R with R of the exported file. Both 2 %."""
    pytest.importorskip("skrf")
    freq_hz = float(row["frequency_hz"])
    antenna = {"model": "short-vertical", "height": row["height"], "radius": row["radius"]}
    antenna |= {"gap": 0.075, "ground_loss": 0, "stray": 0}
    tables = {"bands": {"frequencies": [freq_hz]}, "site": {"noise": row["noise_class"]}}
    path = write_study(tmp_path, antenna=antenna, **tables)
    (values,) = measured(path)
    emf = external_emf_nv(values)[0]
    if row["route"] == "gain":
        network = export(path, "antenna")
        resistance = network.z[at_band(network, freq_hz), 0, 0].real
        field = field_nv(tmp_path, [freq_hz], noise=row["noise_class"])
        emf = 1e9 * np.sqrt(4 * K_B * T0 * 10 ** (fa_db(field[0], freq_hz) / 10) * resistance)
    check(f"emf by the {row['route']}", emf, float(row["value_nv"]), rel=0.02, unit="nV/√Hz", against=BY_HAND)


def test_wave_tilt_at_a_wire(tmp_path):
    """A short level wire hears sqrt(n2 - 1)/n2 = 0.13889 of the vertical field over 13, 5 mS/m at 1.8 MHz, 1 %.

    Zenneck and Wait. The wire of 3 m, fed in its middle, has the triangular current of any short dipole: half its
    length counts.
    """
    wire = {"model": "ground-wire", "length": "3 m", "height": "5 cm", "coat_radius": "1 mm", "radius": "1 mm"}
    wire |= {"feed": "centre", "elevation": 1, "soil_permittivity": 13, "soil_conductivity": "0.005 S/m"}
    path = write_study(tmp_path, antenna=wire, bands={"frequencies": ["1.8M"]})
    (values,) = measured(path)
    assert effective_height(values) / 1.5 == pytest.approx(0.13889, rel=0.01)


def test_thermal_noise_of_a_bench_source(tmp_path):
    """50 ohm at 290 K make 0.894861 nV per root hertz of emf, sqrt(4 k T R), 0.2 %."""
    path = write_study(
        tmp_path,
        antenna={"model": "fixture", "source": "50", "dummy": "47p"},
        run={"temperature": "16.85", "units": 1},
        bands={"frequencies": ["1.8M", "7M"]},
    )
    (answer,) = answers(path, contributors=True)
    gain = 10 ** (answer.measures.curves[2] / 20)
    (own,) = (psd for name, psd in answer.contributions.items() if name.endswith("_src"))
    assert np.sqrt(own) / gain * 1e9 == pytest.approx(0.894861, rel=2e-3)


def test_emf_of_a_generator_of_0_dbm(tmp_path):
    """A generator that gives 0 dBm to 50 ohm has 0.447214 V, twice the matched load's, 0.1 %; 60 pF are -757.881 ohm.

    The generator's level at the receiver follows from the bench gain, its emf from the gain of the whole chain.
    """
    pytest.importorskip("skrf")
    source = {"source": "50", "dummy": "60p"}
    tables = {"receiver": {"impedance": "50"}, "fixture": {**source, "load": "50"}, "bands": {"frequencies": ["3.5M"]}}
    path = write_study(tmp_path, antenna={"model": "fixture", **source}, **tables)
    (values,) = measured(path)
    at_receiver = np.sqrt(1e-3 * 50) * 10 ** (values["gain_db"] / 20)
    assert at_receiver / 10 ** (values["system_gain_db"] / 20) == pytest.approx(0.447214, rel=1e-3)
    network = export(path, "antenna")
    assert network.z[at_band(network, 3.5e6), 0, 0] == pytest.approx(50 - 757.881j, rel=1e-3)
