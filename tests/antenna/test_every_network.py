"""Every antenna's network as it stands in the deck: passive, quiet where physics is quiet, good for a transient.

A study of each antenna is read, its cards are taken from it, and nothing that the models say about themselves is
believed: a nodal analysis of the cards, written here, and plain `ngspice -b` look at them. A new model joins by a line
in NETWORKS, with extremes of what a study allows.
"""

import itertools
import math
import shutil

import numpy as np
import pytest

from sim.constants import K_B, T0
from sim.deck.build import antenna_of
from sim.engine.ngspice import batch
from sim.study.read import read_study
from tests.small_studies import write_study

PROBED_HZ = np.unique(np.concatenate([np.geomspace(1e3, 1e9, 1501), np.geomspace(1e5, 6e7, 1501)]))
BANDS = ("1.83M", "3.53M", "7.05M")
LOWEST, HIGHEST = ("50k", "137k"), ("28M", "60M")


def wire(**given):
    """A wire on the ground, 120 m long unless said otherwise."""
    return {"model": "ground-wire", "length": "120 m", **given}


def vertical(height, radius, **given):
    """A short vertical."""
    return {"model": "short-vertical", "height": height, "radius": radius, **given}


def plain(**given):
    """A plain source of 1 m."""
    return {"model": "plain", "effective_height": 1, **given}


# Antenna table of a study, its bands, and the resistance that may make noise in the deck, in series with the rest. [Ω]
NETWORKS = [
    (vertical("7 m", "8 mm"), BANDS, 30),
    (vertical("0.3 m", "0.1 mm", gap="1 mm", ground_loss=0), HIGHEST, 0),
    (vertical("0.3 m", "30 mm", gap="60 mm", ground_loss="10k"), BANDS, 1e4),
    (vertical("30 m", "0.1 mm", gap="1 m"), LOWEST, 30),
    (vertical("30 m", "0.2 m", gap="1 mm", ground_loss="1m"), HIGHEST, 1e-3),
    (vertical("7 m", "8 mm", lead="1 uH"), BANDS, 30),
    (vertical("12 m", "20 mm"), ("7.05M", "10.1M", "14.1M"), 30),
    (wire(far_end="rod", ground_loss="two rods"), BANDS, "rod"),
    (wire(far_end="300 + rod", wires=2, spacing="30 cm"), BANDS, 50),
    ({"model": "short-dipole", "length": "10 m", "radius": "2 mm", "height": "20 m"}, BANDS, 0),
    ({"model": "short-dipole", "length": "20 m", "radius": "10 mm", "height": "6 m", "soil": "poor"}, BANDS, 0),
    (plain(resistance="30", radiation="5", capacitance="62 pF"), BANDS, 30),
    (plain(radiation="1M", inductance="1 H"), BANDS, 0),
    (plain(capacitance="0.01 pF", inductance="1 H"), LOWEST, 0),
    (plain(resistance="1M", capacitance="1 mF"), HIGHEST, 1e6),
    ({"model": "fixture", "source": "50", "dummy": "47 pF"}, BANDS, 50),
    ({"model": "fixture", "source": "0", "dummy": "0.01 pF"}, LOWEST, 0),
    ({"model": "fixture", "source": "1M", "dummy": "1 uF"}, HIGHEST, 1e6),
    *(
        (wire(soil=soil, far_end=far_end, height=height), BANDS, 50)
        for soil, far_end, height in itertools.product(
            ("poor", "pasture-dry", "average", "pasture-wet", "good"), ("open", "300"), ("20 mm", "1 m")
        )
    ),
    (wire(feed="centre", height="10 cm"), BANDS, 0),
    (wire(feed="centre", far_end="300", ground_loss="10k"), BANDS, 0),
    (wire(far_end="1m", ground_loss=0), BANDS, 0),
    (wire(far_end="1M", ground_loss="10k"), BANDS, 1e4),
    (wire(length="3 m", height="5 mm", ground_loss="50"), HIGHEST, 50),
    (wire(length="1000 m", far_end="300"), BANDS, 50),
    (wire(length="1000 m", soil="good"), ("1.83M", "1.9M"), 50),
    (wire(soil_permittivity=100, soil_conductivity="10 S/m", height="2 m", far_end="300"), ("1.83M", "3.53M"), 50),
    (wire(soil_permittivity=1, soil_conductivity="1e-5 S/m", far_end="500"), BANDS, 50),
    (wire(radius="5 mm", coat_radius="20 mm", coat_permittivity=20, height="20 mm"), BANDS, 50),
    (wire(radius="0.05 mm", coat_radius="0.05 mm", height="0.5 mm", far_end="300"), BANDS, 50),
]


def name(case):
    """A test's name: the antenna's table on one line."""
    return "-".join(f"{value}" for value in case[0].values()).replace(" ", "")


@pytest.fixture(params=NETWORKS, ids=name)
def network(request, tmp_path):
    """Antenna, cards of its deck between the nodes t and 0, bands, and its noisy resistance."""
    antenna, bands, noisy = request.param
    study = read_study(write_study(tmp_path, antenna=antenna, bands={"frequencies": bands}))
    source = antenna_of(study)
    return source, source.netlist("t", "0", "z_"), np.array(study.bands.frequencies), noisy


def noisy_ohms(noisy, cards, freq_hz):
    """Resistance that makes noise in series with the rest: given, or that of a rod's resistor beside its capacitor."""
    if noisy != "rod":
        return noisy
    r, c = (next(float(card.split()[3]) for card in cards if card.split()[0] == f"{kind}z__rod") for kind in "RC")
    return (1 / (1 / r + 2j * np.pi * np.asarray(freq_hz) * c)).real


def nodal_impedance(cards, freq_hz, top="t"):
    """Impedance between the node `top` and 0 of cards of R, L and C, by solving the node equations. [Ω, complex]"""
    words = [card.split() for card in cards]
    nodes = sorted({node for card in words for node in card[1:3]} - {"0"})
    place = {node: i for i, node in enumerate(nodes)}
    s = 2j * np.pi * np.asarray(freq_hz)
    matrix = np.zeros((len(s), len(nodes), len(nodes)), dtype=complex)
    for card in words:
        value, kind = float(card[3]), card[0][0].upper()
        admittance = {"R": 1 / value + 0 * s, "L": 1 / (s * value), "C": s * value}[kind]
        ends = [place.get(node) for node in card[1:3]]
        for one, other in itertools.product((0, 1), (0, 1)):
            if ends[one] is not None and ends[other] is not None:
                matrix[:, ends[one], ends[other]] += admittance * (1 if one == other else -1)
    current = np.zeros((len(s), len(nodes), 1), dtype=complex)
    current[:, place[top], 0] = 1.0
    return np.linalg.solve(matrix, current)[:, place[top], 0]


def test_nodal_analysis_of_a_known_circuit():
    """The node equations give R + 1/(jwC) and a resonant tank as by hand."""
    freq = np.array([1e6, 5e6])
    w = 2 * np.pi * freq
    cards = ("Ra t x 50", "Ca x 0 1e-9", "Cb t 0 1e-10", "Lb t 0 1e-5")
    by_hand = 1 / (1 / (50 + 1 / (1j * w * 1e-9)) + 1j * w * 1e-10 + 1 / (1j * w * 1e-5))
    assert nodal_impedance(cards, freq) == pytest.approx(by_hand, rel=1e-12)


def test_passive_from_1_khz_to_1_ghz(network):
    """All elements are positive and finite, Re Z is never below zero, and at the bands Z is what the model says."""
    antenna, cards, bands, _ = network
    values = [float(card.split()[3]) for card in cards]
    assert min(values) > 0 and math.isfinite(sum(values))
    z = nodal_impedance(cards, PROBED_HZ)
    # Solving rounds: elements of one network may lie eleven decades apart.
    assert np.min(z.real / np.abs(z)) > -1e-9
    assert nodal_impedance(cards, bands) == pytest.approx(antenna.impedance(bands), rel=1e-4)


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="no ngspice on PATH")
def test_sweep_noise_and_transient(network, tmp_path):
    """Plain ngspice finds the impedance, noise of the lossy resistor alone, and a sine that settles as swept."""
    _, cards, bands, noisy = network
    freq_hz = float(bands[0])
    swept_hz = np.linspace(bands[0], bands[-1], 3)
    z = nodal_impedance(cards, swept_hz)
    # A source as large as the antenna lets the sine settle, and is itself quiet.
    source = float(abs(z[0]))
    sweep, stop = f"lin 3 {freq_hz!r} {float(bands[-1])!r}", 40 / freq_hz
    lines = ["* one-port", *cards, f"V1 s 0 dc 0 ac 1 sin(0 1 {freq_hz!r})", f"Rs s t {source!r} noisy=0"]
    lines += [".temp 16.85", ".options reltol=1e-5", ".control", "set numdgt=12", "op"]
    lines += [f"ac {sweep}", "wrdata z.txt v(t)"]
    lines += [f"noise v(t) V1 {sweep}", "setplot noise1", "wrdata n.txt onoise_spectrum"]
    lines += [f"tran {1 / freq_hz / 100!r} {stop!r}", "wrdata t.txt v(t)", ".endc", ".end", ""]
    said = batch("\n".join(lines), tmp_path)
    assert (tmp_path / "t.txt").exists(), said
    swept = np.loadtxt(tmp_path / "z.txt")
    assert swept[:, 1] + 1j * swept[:, 2] == pytest.approx(z / (z + source), rel=1e-5)
    noise = np.loadtxt(tmp_path / "n.txt")[:, 1]
    share = np.abs(source / (source + z))
    ohms = noisy_ohms(noisy, cards, swept_hz)
    assert noise**2 == pytest.approx(4 * K_B * T0 * ohms * share**2, rel=1e-4, abs=1e-26)
    time, volts = np.loadtxt(tmp_path / "t.txt").T
    last = time > 0.75 * stop
    turn = 2 * np.pi * freq_hz * time[last]
    (sine, cosine), *_ = np.linalg.lstsq(np.stack([np.sin(turn), np.cos(turn)], 1), volts[last], rcond=None)
    assert abs(sine + 1j * cosine - (z / (z + source))[0]) < 0.01


def test_no_noise_beyond_physics(network):
    """Noise in the deck and noise of the losses beside it are together never more than 4 k T Re Z."""
    antenna, cards, bands, noisy = network
    together = 4 * K_B * T0 * noisy_ohms(noisy, cards, bands) + antenna.ambient_emf(bands, T0) ** 2
    assert np.all(together <= 4 * K_B * T0 * antenna.impedance(bands).real * (1 + 1e-9))
