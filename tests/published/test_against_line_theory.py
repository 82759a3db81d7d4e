"""Feedlines against closed forms and against scikit-rf.

Sources: telegraph equations in closed form (any transmission-line text), c = 299792458 m/s; scikit-rf 2.2.0
`DistributedCircuit` and `DefinedGammaZ0`, an independent code; own earlier computation of the layered
conductor by other code, of which the radius and metal of the shield were not recorded (0.4 % of loss, 0.05 dB
of S21). Values in tests/data/line-theory and tests/data/own-calculations.
"""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sim.constants import C0, K_B, T0
from sim.feedline.cable import list_cables, load_cable, with_cladding
from sim.feedline.line import (
    both_voltages_at_constant_power,
    chain_matrix,
    characteristic,
    input_impedance,
    loop_resistance,
    matched_loss,
    through_line,
)
from tests.checks import Against, Standing

AGAINST = Against("feedlines", "closed forms of the telegraph equations", Standing.HAND)
LAYERED = Against("feedlines", "layered conductor by other code", Standing.OTHER_CODE)
SKRF = Against("feedlines", "scikit-rf", Standing.PROGRAM)
DATA = Path(__file__).parents[1] / "data"
FREQ = np.geomspace(0.1e6, 60e6, 61)


def rows(name):
    """Rows of a table below tests/data."""
    lines = (DATA / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if line[0] != "#"))


def uniform_matrix(gamma, zc, length):
    """Chain matrix of a line of given constants, by hand."""
    cosh, sinh = np.cosh(gamma * length), np.sinh(gamma * length)
    return np.array([[[cosh, zc * sinh], [sinh / zc, cosh]]])


@pytest.mark.parametrize("row", rows("line-theory/input_impedance.csv"), ids=lambda r: f"{r['z0']}-load-{r['load']}")
def test_input_impedance(check, row):
    """The impedance seen into a line of real Z0 agrees with the closed form: loaded, open and shorted."""
    freq, z0, length = float(row["frequency_hz"]), float(row["z0"]), float(row["length_m"])
    alpha = float(row["loss_db_per_100m"]) / (100 * 20 / np.log(10))
    gamma = alpha + 2j * np.pi * freq / (float(row["velocity_factor"]) * C0)
    seen = input_impedance(uniform_matrix(gamma, z0, length), float(row["load"]))[0]
    expected = float(row["re"]) + 1j * float(row["im"])
    check("input impedance", complex(seen), expected, rel=0.005, unit="ohm")
    assert abs(seen - expected) < 2e-5 * abs(expected)  # today: the print's last digit


def s21_db(abcd, z):
    """Insertion gain between equal real terminations. [dB]"""
    a, b, c, d = abcd[..., 0, 0], abcd[..., 0, 1], abcd[..., 1, 0], abcd[..., 1, 1]
    return 20 * np.log10(np.abs(2 / (a + b / z + c * z + d)))


@pytest.mark.parametrize("row", rows("line-theory/transmission.csv"), ids=lambda r: f"{r['cable']}-{r['frequency_hz']}")
def test_transmission_of_layered_cables(check, row):
    """S21 of 100 m between 75 ohm, for clad steel and for solid copper as a layered conductor."""
    cable = replace(load_cable(row["cable"]), model="layered")
    abcd = chain_matrix(cable, 100.0, np.array([float(row["frequency_hz"])]))
    ours = s21_db(abcd, 75.0)[0]
    check("S21 of 100 m", ours, float(row["s21_db"]), abs=0.05, unit="dB", against=LAYERED)


@pytest.mark.parametrize(
    "row",
    rows("own-calculations/layered_conductor.csv"),
    ids=lambda r: f"{r['cable']}-{r['cladding_um']}um-{r['frequency_hz']}",
)
def test_loss_of_layered_conductor(check, row):
    """Loss of copper-clad steel from 0.5 to 100 MHz for four thicknesses of copper."""
    cable = with_cladding(load_cable(row["cable"]), float(row["cladding_um"]) * 1e-6)
    loss = matched_loss(cable, 100.0, np.array([float(row["frequency_hz"])]))
    value = float(row["loss_db_per_100m"])
    check("loss of 100 m", loss[0], value, rel=0.004, unit="dB", against=LAYERED)


@pytest.mark.parametrize("name", list_cables())
def test_chain_matrix_equals_scikit_rf_by_gamma(check, name):
    """For every cable the chain matrix equals scikit-rf's line of the same gamma and impedance."""
    skrf = pytest.importorskip("skrf")
    cable = load_cable(name)
    gamma, zc = characteristic(cable, FREQ)
    medium = skrf.media.DefinedGammaZ0(skrf.Frequency.from_f(FREQ, unit="hz"), z0=zc, gamma=gamma)
    network = medium.line(130.0, "m")
    network.renormalize(75.0)
    ours = chain_matrix(cable, 130.0, FREQ)
    scale = np.array([[1.0, 75.0], [1 / 75.0, 1.0]])
    scale = scale * np.max(np.abs(ours) / scale)
    check("chain matrix over its largest", ours / scale, network.a / scale, abs=1e-9, against=SKRF)


@pytest.mark.parametrize("name", ["rg58", "rg213", "rg6-cu"])
def test_law_equals_scikit_rf_by_distributed_elements(check, name):
    """The attenuation law's R, L, G and C, written out by hand, give the same line in scikit-rf."""
    skrf = pytest.importorskip("skrf")
    cable = load_cable(name)
    omega, mega = 2 * np.pi * FREQ, FREQ / 1e6
    neper = 100 * 20 / np.log(10)
    skin = 2 * cable.z0 * cable.k1 * np.sqrt(mega) / neper
    medium = skrf.media.DistributedCircuit(
        skrf.Frequency.from_f(FREQ, unit="hz"),
        C=1 / (cable.z0 * cable.velocity_factor * C0),
        L=cable.z0 / (cable.velocity_factor * C0) + skin / omega,
        R=2 * cable.z0 * cable.k0 / neper + skin,
        G=2 * cable.k2 * mega / (neper * cable.z0),
    )
    network = medium.line(100.0, "m")
    network.renormalize(cable.z0)
    ours = chain_matrix(cable, 100.0, FREQ)
    scale = np.array([[1.0, cable.z0], [1 / cable.z0, 1.0]])
    scale = scale * np.max(np.abs(ours) / scale)
    check("chain matrix over its largest", ours / scale, network.a / scale, abs=1e-9, against=SKRF)


@pytest.mark.parametrize(
    "row", rows("line-theory/line_noise.csv"), ids=lambda r: f"{r['loss_db']}-{r['temperature_k']}"
)
def test_noise_figure_of_a_matched_line(check, row):
    """A matched line at its own temperature has F = 1 + (L - 1) T/290, to a thousandth of a dB."""
    loss_db, temperature = float(row["loss_db"]), float(row["temperature_k"])
    abcd = uniform_matrix(loss_db / (20 / np.log(10)) / 37.0 + 1j * 0.2, 75.0, 37.0)
    source = np.array([4 * K_B * T0 * 75.0])
    emf, z_far, noise = through_line(abcd, np.array([1.0 + 0j]), np.array([75.0 + 0j]), source, temperature)
    gain = np.abs(emf) ** 2 * 75.0 / z_far.real
    figure_db = 10 * np.log10(noise[0] * 75.0 / z_far.real[0] / (source[0] * gain[0]))
    check("noise figure", figure_db, float(row["noise_figure_db"]), abs=0.001, unit="dB")


@pytest.mark.parametrize("name", list_cables())
def test_matched_lossy_line_has_its_loss_as_noise_figure(check, name):
    """Driven from its own impedance at 290 K, every cable has its loss as noise figure, to 0.001 dB."""
    cable, freq = load_cable(name), FREQ[FREQ > 1e6]
    _, zc = characteristic(cable, freq)
    abcd = chain_matrix(cable, 300.0, freq)
    source = 4 * K_B * T0 * zc.real
    emf, z_far, noise = through_line(abcd, np.ones_like(zc), zc, source)
    available = np.abs(emf) ** 2 * zc.real / z_far.real
    figure_db = 10 * np.log10(noise / z_far.real * zc.real / source / available)
    check("noise figure less loss", figure_db, matched_loss(cable, 300.0, freq), abs=0.001, unit="dB")


@pytest.mark.parametrize(
    "row", rows("line-theory/dc_drop.csv"), ids=lambda r: f"{r['cable']}-{r['length_m']}-{r['load']}"
)
def test_dc_drop(check, row):
    """Loop resistance and the amplifier's supply at 12 V agree with the hand calculation."""
    cable, length = load_cable(row["cable"]), float(row["length_m"])
    loop = loop_resistance(cable, length)
    check("loop resistance", loop, float(row["loop_per_100m"]) * length / 100, rel=0.001, unit="ohm")
    load, ohms = float(row["load"]), loop + float(row["chokes"])
    constant_current = row["load_kind"] == "current"
    volts = 12.0 - load * ohms if constant_current else both_voltages_at_constant_power(12.0, load, ohms)[0]
    check("volts at the amplifier", volts, float(row["voltage"]), rel=0.001, unit="V")
