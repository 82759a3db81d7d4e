"""Noise of a feedline through a study, and the line as a network in plain ngspice against its chain matrix.

Sources: noise figure of a matched lossy line, F = 1 + (L - 1) T/290 (IEEE definition; tests/data/line-theory). The
network is another model of the same line: short lossless T elements of ngspice, with lumps of resistors and coils
between them for the conductors' loss (a Foster form, least squares that cannot be negative). What such a network
reached against the chain matrix over 1 to 30 MHz, in ngspice 39 with 3 m elements, is the bound here: 0.13 dB at 30 m,
0.16 dB at 100 m and 0.26 dB at 300 m for the voltage at matched, open, short and mixed loads.
"""

import csv
from dataclasses import replace

import numpy as np
import pytest

from sim.constants import C0, K_B, T0
from sim.engine.ngspice import batch
from sim.feedline.cable import list_cables, load_cable
from sim.feedline.line import chain_matrix, characteristic, matched_loss, through_line
from tests.checks import Against, Standing
from tests.conftest import ROOT
from tests.small_studies import export, measured, write_study

AGAINST = Against("noise of feedlines through a study", "noise figure of a matched line is its loss", Standing.HAND)
NETWORK = Against("feedlines", "the line as T elements and lumps, plain `ngspice -b`", Standing.PROGRAM)
WAYS = ("study", "its deck in plain ngspice")
THROUGH = """\
* Nothing but a wire, so that what is seen is the feedline
.subckt amplifier in out vcc gnd
Rin in  out 1u ; 1%  a wire
Rb  vcc gnd 10k ; 1%  draws a little from the supply
.ends amplifier
"""
# All loss half in series and half in shunt at the frequency that is read: a line of real impedance.
REAL = """\
name = "real"
description = "real impedance at one frequency"
model = "law"
z0 = {{value = 75, unit = "ohm", source = "closed form", status = "test"}}
velocity_factor = {{value = 0.84, unit = "1", source = "closed form", status = "test"}}
r_inner = {{value = 0, unit = "ohm/m", source = "closed form", status = "test"}}
r_shield = {{value = 0, unit = "ohm/m", source = "closed form", status = "test"}}
k0 = {{value = {half}, unit = "dB/100m", source = "closed form", status = "test"}}
k1 = {{value = 0, unit = "dB/100m at 1 MHz", source = "closed form", status = "test"}}
k2 = {{value = {half}, unit = "dB/100m at 1 MHz", source = "closed form", status = "test"}}
"""


def rows(name):
    """Rows of a table of line theory."""
    lines = (ROOT / "tests" / "data" / "line-theory" / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if line[0] != "#"))


@pytest.fixture
def noise_figure_db(tmp_path):
    """Noise figure of a cable between a source and the receiver, by the study and by its deck in plain ngspice."""

    def figures(cable, length, freq_hz, source):
        (tmp_path / "wire.cir").write_text(THROUGH, encoding="ascii")
        antenna = {"model": "plain", "effective_height": 1, "resistance": source.real}
        if source.imag < 0:
            antenna["capacitance"] = -1 / (2 * np.pi * freq_hz * source.imag)
        path = write_study(
            tmp_path,
            amplifier={"circuit": "wire.cir", "opamp": "OPA2822"},
            antenna=antenna,
            feedline={"cable": cable, "length": length},
            receiver={"impedance": 75, "noise_figure": "0"},
            run={"temperature": "16.85", "units": 1},
            bands={"frequencies": [freq_hz]},
        )
        (values,) = measured(path)
        said = batch(export(path, "netlist"), tmp_path)
        (printed,) = (float(line.split("=")[1].split()[0]) for line in said.splitlines() if "output_noise" in line)
        gain = 10 ** (values["system_gain_db"][0] / 20)
        own = np.sqrt(4 * K_B * T0 * source.real) * 1e9
        return [20 * np.log10(noise / gain / own) for noise in (values["output_noise_nv"][0], printed)]

    return figures


@pytest.mark.parametrize("row", rows("line_noise.csv"), ids=lambda row: f"{row['loss_db']}-{row['temperature_k']}")
def test_noise_figure_of_a_matched_line(check, noise_figure_db, tmp_path, row):
    """At 290 K a matched line has its loss as noise figure within 0.001 dB, in the study and in its deck.

    The row at 313 K says what a study cannot: its lines are at 290 K. Its share, (L - 1) T, is checked against the
    noise that the study finds at 290 K.
    """
    loss_db, temperature = float(row["loss_db"]), float(row["temperature_k"])
    (tmp_path / "real.toml").write_text(REAL.format(half=loss_db / 2), encoding="utf-8")
    for way, found_db in zip(WAYS, noise_figure_db("real.toml", 100, 1e6, 75 + 0j), strict=True):
        at_row = 10 * np.log10(1 + (10 ** (found_db / 10) - 1) * temperature / T0)
        check(f"noise figure, {way}", at_row, float(row["noise_figure_db"]), abs=0.001, unit="dB")


@pytest.mark.parametrize("name", list_cables())
@pytest.mark.parametrize("freq_hz", [1.8e6, 1e7])
def test_every_matched_cable_has_its_loss_as_noise_figure(check, noise_figure_db, name, freq_hz):
    """Driven from its own impedance, 100 m of a cable have their loss as noise figure, within 0.001 dB."""
    cable, freq = load_cable(name), np.array([freq_hz])
    _, zc = characteristic(cable, freq)
    expected = matched_loss(cable, 100.0, freq)[0]
    for way, found_db in zip(WAYS, noise_figure_db(name, 100, freq_hz, zc[0]), strict=True):
        check(f"noise figure, {way}", found_db, expected, abs=0.001, unit="dB")


ELEMENT_M, SWEEP = 3.0, "lin 59 1e6 30e6"
LOADS = {
    "matched": ("Rload far 0 75 noisy=0", lambda w: 75 + 0 * w),
    "open": ("Rload far 0 1e9 noisy=0", lambda w: 1e9 + 0 * w),
    "short": ("Rload far 0 1e-3 noisy=0", lambda w: 1e-3 + 0 * w),
    "coil": ("Rload far x 22 noisy=0\nLload x 0 1u", lambda w: 22 + 1e-6j * w),
    "mixed": ("Rload far 0 300 noisy=0\nCload far 0 120p", lambda w: 1 / (1 / 300 + 120e-12j * w)),
}


def lumps(cable):
    """R0, then (R, L) of parallel pairs in series: the internal impedance of a metre of cable. [Ω/m, H/m]"""
    from scipy.optimize import nnls

    freq = np.geomspace(0.3e6, 50e6, 120)
    s = 2j * np.pi * freq
    gamma, zc = characteristic(cable, freq)
    inner = gamma * zc - s * cable.z0 / (cable.velocity_factor * C0)
    corners = 2 * np.pi * np.geomspace(0.5e6, 120e6, 6)
    columns = np.stack([np.ones_like(s), *(s / (s + corner) for corner in corners)], axis=1) / np.abs(inner)[:, None]
    wanted = inner / np.abs(inner)
    found, _ = nnls(np.concatenate([columns.real, columns.imag]), np.concatenate([wanted.real, wanted.imag]))
    pairs = zip(found[1:], corners, strict=True)
    return float(found[0]), [(float(r), float(r / corner)) for r, corner in pairs if r > 0]


def network_deck(cable, length, load, control):
    """A deck of T elements with lumps between them, from a 75 ohm source of 1 V to a load."""
    count = round(length / ELEMENT_M)
    step = length / count
    first, pairs = lumps(cable)
    gamma, zc = characteristic(cable, np.array([5e6]))
    leak = float((gamma / zc).real[0]) * step
    cards = ["* a line as a network", "V1 emf 0 dc 0 ac 1", "Rs emf s 75"]
    # Half an element at each end puts every lump in the middle of what it stands for.
    delays = [(0.5 if k in (0, count) else 1.0) * step / (cable.velocity_factor * C0) for k in range(count + 1)]
    for k in range(count):
        cards += [f"T{k} {f'n{k}' if k else 's'} 0 m{k}_0 0 z0={cable.z0} td={delays[k]!r}"]
        nodes = [f"m{k}_{j}" for j in range(len(pairs) + 1)] + [f"n{k + 1}"]
        cards.append(f"R{k} {nodes[0]} {nodes[1]} {first * step!r}")
        for j, (r, inductance) in enumerate(pairs, start=1):
            cards += [f"R{k}_{j} {nodes[j]} {nodes[j + 1]} {r * step!r}"]
            cards += [f"L{k}_{j} {nodes[j]} {nodes[j + 1]} {inductance * step!r}"]
        cards.append(f"R{k}_g n{k + 1} 0 {1 / leak!r}")
    cards += [f"T{count} n{count} 0 far 0 z0={cable.z0} td={delays[-1]!r}", load]
    cards += [".temp 16.85", ".control", "set numdgt=12", *control, ".endc", ".end", ""]
    return "\n".join(cards)


@pytest.mark.parametrize("name", ["rg6-ccs-20um", "rg6-cu"])
@pytest.mark.parametrize(("length", "bound_db"), [(30, 0.13), (100, 0.16), (300, 0.26)])
def test_line_as_a_network_against_the_chain_matrix(check, tmp_path, name, length, bound_db):
    """From 1 to 30 MHz the voltage at five loads is that of the chain matrix, within what such a network reaches."""
    cable = replace(load_cable(name), model="layered")
    worst = {}
    for kind, (cards, impedance) in LOADS.items():
        batch(network_deck(cable, length, cards, [f"ac {SWEEP}", "wrdata v.txt v(far)"]), tmp_path)
        freq, re, im = np.loadtxt(tmp_path / "v.txt").T
        matrix, load = chain_matrix(cable, length, freq), impedance(2 * np.pi * freq)
        a, b, c, d = (matrix[:, i, j] for i in (0, 1) for j in (0, 1))
        expected = load / (a * load + b + 75 * (c * load + d))
        worst[kind] = np.max(np.abs(20 * np.log10(np.abs((re + 1j * im) / expected))))
    for kind, apart in worst.items():
        check(f"voltage, {kind}", apart, 0, abs=bound_db, unit="dB", against=NETWORK)


@pytest.mark.parametrize("name", ["rg6-ccs-20um", "rg6-cu"])
def test_noise_of_the_line_as_a_network(check, tmp_path, name):
    """Noise of 100 m behind a 75 ohm resistor, all at 290 K: ngspice's sum over the network's resistors, 0.02 dB."""
    cable = replace(load_cable(name), model="layered")
    control = [f"noise v(far) V1 {SWEEP}", "setplot noise1", "wrdata n.txt onoise_spectrum"]
    batch(network_deck(cable, 100, LOADS["matched"][0], control), tmp_path)
    freq, density = np.loadtxt(tmp_path / "n.txt").T
    source = np.full_like(freq, 75.0)
    _, z_far, psd = through_line(chain_matrix(cable, 100, freq), source + 0j, source + 0j, 4 * K_B * T0 * source)
    ours = np.sqrt(psd) * np.abs(75 / (75 + z_far))
    check("noise", 20 * np.log10(ours / density), 0, abs=0.02, unit="dB", against=NETWORK)
