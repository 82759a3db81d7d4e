"""Measures of a drawn unit against scikit-rf, fed with S-parameters that plain ``ngspice -b`` measured at real ports.

Outside the project: the simulator's batch mode on a deck with two 75 ohm generators, scikit-rf (renormalisation,
cascade, chain matrix, stability factor K), and the definitions

    mu = (1 - |S11|^2)/(|S22 - S11* D| + |S12 S21|)   Edwards and Sinsky, IEEE Trans. MTT 40 (1992) 2303 (from memory)
    antenna factor = E/V                              so -20 log10(effective height times gain)

The program itself goes another way: currents into a loaded deck, a rational fit, Thevenin sources.
"""

import numpy as np
import pytest
import skrf

from sim.deck.assemble import assemble
from sim.deck.build import chain_of, unit_table, unit_values
from sim.engine.ngspice import batch
from sim.feedline.cable import load_cable
from sim.feedline.line import characteristic
from sim.measures.panel import BANDED, MU_HIGH_HZ, MU_LOW_HZ, SINGLE
from sim.measures.unit import Item, UnitWorker
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from tests.checks import FROM_MEMORY, Against, Standing

AGAINST = Against("a drawn unit as a two-port", "plain `ngspice -b` at ports, scikit-rf", Standing.PROGRAM)
MU = Against(
    "a drawn unit as a two-port", "mu (Edwards and Sinsky 1992), plain `ngspice -b`", Standing.PROGRAM, FROM_MEMORY
)
PORT = 75.0
UNIT = 3
STUDY = """\
title = "A drawn unit as a two-port"
[amplifier]
circuit = "{circuit}"
opamp = "{opamp}"
[antenna]
model = "short-vertical"
height = "7 m"
radius = "8 mm"
[feedline]
length = "{length}"
[receiver]
impedance = "50"
[run]
units = 4
temperature = "-10..35"
"""


class _Unit:
    """One drawn unit: what the program says of it, and how to measure it from outside."""

    def __init__(self, folder, circuit, opamp, length):
        file = folder / "study.toml"
        file.write_text(STUDY.format(circuit=circuit, opamp=opamp, length=length), encoding="utf-8")
        every = scenarios(read_study(file))
        self.study, self.folder = every[0].study, folder
        self.chain = chain_of(self.study)
        self.values = unit_values(self.chain, unit_table(self.study, self.chain, np.array([UNIT])), 0, UNIT)
        measures = UnitWorker(every, [UNIT])(Item(0, 0, UNIT)).measures
        self.banded = dict(zip(BANDED, measures.banded, strict=True))
        self.single = dict(zip(SINGLE, measures.single, strict=True))

    def two_port(self, sweep: str) -> skrf.Network:
        """S-parameters by two runs of plain ngspice; `sweep` as the simulator wants it."""
        antenna = self.chain.antenna.netlist("in", "z_emf", "z_")
        around = ("cz_stray", "vz_emf", "rz_load", "iz_out", "iz_p", ".end")
        body = [
            line
            for line in assemble(self.chain, self.values).lines[1:]
            if line not in antenna and not line.lower().startswith(around)
        ]
        columns = []
        for one, two in ((2, 0), (0, 2)):
            # Big capacitors keep the ports out of the operating point.
            deck = ["two-port", *body]
            for port, node, level in (("1", "in", one), ("2", "out", two)):
                deck += [f"vp{port} p{port} 0 dc 0 ac {level}", f"cp{port} p{port} q{port} 1"]
                deck += [f"rp{port} q{port} {node} {PORT}", f"rq{port} q{port} 0 1e9"]
            out = self.folder / "two-port.txt"
            vectors = "real(v(in)) imag(v(in)) real(v(out)) imag(v(out))"
            deck += [".control", f"ac {sweep}", "set wr_singlescale", "set numdgt=14", f"wrdata {out} {vectors}"]
            batch("\n".join([*deck, "quit 0", ".endc", ".end"]) + "\n", self.folder)
            columns.append(np.atleast_2d(np.loadtxt(out)))
        s = np.empty((len(columns[0]), 2, 2), complex)
        for port, table in enumerate(columns):
            s[:, 0, port], s[:, 1, port] = table[:, 1] + 1j * table[:, 2], table[:, 3] + 1j * table[:, 4]
            s[:, port, port] -= 1
        return skrf.Network(f=columns[0][:, 0], f_unit="hz", s=s, z0=PORT)


@pytest.fixture(
    scope="module",
    params=[("transimpedance", "OPA2822", "120 m"), ("voltage-follower", "OPA810", "0")],
    ids=["transimpedance", "voltage-follower"],
)
def unit(request, tmp_path_factory):
    """A drawn unit of each circuit that comes with the program."""
    return _Unit(tmp_path_factory.mktemp("two-port"), *request.param)


def test_stability_factors(check, unit):
    """Mu at both ports, smallest over the stated range; K above one just where mu is."""
    network = unit.two_port(f"dec 60 {MU_LOW_HZ} {MU_HIGH_HZ}")
    s11, s12, s21, s22 = (network.s[:, i, j] for i, j in ((0, 0), (0, 1), (1, 0), (1, 1)))
    determinant, way = s11 * s22 - s12 * s21, np.abs(s12 * s21)
    load = (1 - np.abs(s11) ** 2) / (np.abs(s22 - s11.conj() * determinant) + way)
    source = (1 - np.abs(s22) ** 2) / (np.abs(s11 - s22.conj() * determinant) + way)
    # The program looks at 16 points a decade, so its smallest value may lie a little beside.
    check("mu, load", unit.single["mu_load"], load.min(), rel=0.01, against=MU)
    check("mu, source", unit.single["mu_source"], source.min(), rel=0.01, against=MU)
    inside = np.abs(determinant) < 1
    assert np.array_equal(load[inside] > 1, network.stability[inside] > 1)


def test_output_match_bench_and_system(check, unit):
    """Return loss with the antenna on, S21 through the dummy, antenna to receiver and antenna factor, band by band."""
    antenna, bench = unit.chain.antenna, unit.study.fixture
    cable = load_cable(unit.study.feedline.cable, unit.study.folder)
    for k, band in enumerate(unit.study.bands.frequencies):
        network = unit.two_port(f"lin 1 {band!r} {band!r}")
        omega, at = 2 * np.pi * band, np.array([band])
        own = antenna.impedance(at)[0]
        with_stray = 1 / (1 / own + 1j * omega * antenna.shunt_capacitance)
        reflection = skrf.Network(
            f=network.f, f_unit="hz", z0=PORT, s=np.reshape((with_stray - PORT) / (with_stray + PORT), (1, 1, 1))
        )
        looking_back = network.flipped() ** reflection
        loss = -20 * np.log10(abs(looking_back.s[0, 0, 0]))
        ours = {name: values[k] for name, values in unit.banded.items()}
        case = f"{unit.chain.circuit.name}, {band / 1e6:g} MHz"
        check("output match", ours["output_match_db"], loss, abs=1e-4, unit="dB", case=case)

        at_50 = network.copy()
        at_50.renormalize(bench.source)
        dummy = skrf.media.DefinedGammaZ0(at_50.frequency, z0=bench.source).capacitor(bench.dummy.value)
        s21 = (dummy**at_50).s[0, 1, 0]
        check("bench gain", ours["gain_db"], 20 * np.log10(abs(s21)), abs=1e-6, unit="dB", case=case)
        turned = unit.banded["phase_deg"][k] - np.rad2deg(np.angle(s21))
        check("bench phase, ours less theirs", (turned + 180) % 360 - 180, 0, abs=1e-5, unit="degree", case=case)

        gamma, zc = (value[0] for value in characteristic(cable, at))
        length = unit.study.feedline.length
        line = np.array(
            [
                [np.cosh(gamma * length), zc * np.sinh(gamma * length)],
                [np.sinh(gamma * length) / zc, np.cosh(gamma * length)],
            ]
        )
        before = np.array([[1, own], [0, 1]]) @ np.array([[1, 0], [1j * omega * antenna.shunt_capacitance, 1]])
        whole = before @ skrf.network.s2a(network.s, PORT)[0] @ line
        gain = abs(1 / (whole[0, 0] + whole[0, 1] / unit.study.receiver.impedance))
        check("gain to the receiver", ours["system_gain_db"], 20 * np.log10(gain), abs=1e-6, unit="dB", case=case)
        factor = -20 * np.log10(antenna.effective_height(at)[0] * gain)
        check("antenna factor", ours["antenna_factor_db"], factor, abs=1e-6, unit="dB/m", case=case)


def test_supply_follows_ohms_law(unit):
    """Volts at the unit are the supply less current times both conductors of the line, copper as warm as the unit."""
    warm = 1 + 0.0039 * (unit.values.temperature_c - 20)
    drop = unit.chain.feed_resistance * warm * unit.single["current_ma"] * 1e-3
    assert unit.single["supply_v"] == pytest.approx(unit.values.supply_v - drop, abs=1e-5)
