"""A circuit file, an op-amp record and a study, taken through the program's own path to a unit's responses."""

from dataclasses import dataclass, replace

import numpy as np

from sim.deck.assemble import assemble
from sim.deck.build import chain_of, unit_table, unit_values
from sim.engine.ngspice import Simulator
from sim.engine.sweep import SweepPlan, plan_for, run_unit
from sim.measures.panel import unit_measures
from sim.measures.rational import Barycentric, choose_support, fit_weights
from sim.measures.supply import rest
from sim.measures.surroundings import reader, surroundings
from sim.measures.terminate import Responses
from sim.study.read import read_study

# An op-amp of one pole, without input current, capacitance or noise to speak of; overridden test by test.
IDEAL = {
    "part": "IDEAL",
    "technology": "single pole, for closed forms",
    "channels": 1,
    "package": "none",
    "source": "invented for closed forms",
    "verified": True,
    "core_seen": "6/6",
    "notes": "",
    "gbw_hz": 1e8,
    "second_pole_hz": 1e12,
    "phase_margin_deg": 90,
    "aol_dc_db": 120,
    "rout_ol_ohm": 1e-2,
    "unity_gain_stable": True,
    "min_stable_gain": 1,
    "en_nv_rthz": 0.1,
    "en_corner_hz": 1e-3,
    "in_pa_rthz": 1e-9,
    "in_corner_hz": 1e-3,
    "rin_diff_ohm": 1e12,
    "cin_diff_pf": 1e-6,
    "cin_cm_pf": 1e-6,
    "vos_max_mv": 0,
    "ib_ua": 0,
    "vin_cm_low_headroom_v": 0,
    "vin_cm_high_headroom_v": 0,
    "slew_v_per_us": 1000,
    "output_swing_headroom_v": 0.1,
    "iout_ma": 1000,
    "supply_min_v": 3,
    "supply_max_v": 30,
    "iq_ma_per_channel": 5,
}

SUPPLY = """\
R1 vcc mid 10k ; 1%  half supply
R2 mid gnd 10k ; 1%  half supply
Cm mid gnd 1m  ; 1%  quiet
"""


def transimpedance(rf: str, cf: str) -> str:
    """Body of a transimpedance stage whose op-amp drives the port itself."""
    feedback = f"Rf in fbk {rf} ; 1%  feedback\n" + (f"Cf in fbk {cf} ; 1%  feedback\n" if cf else "")
    return SUPPLY + feedback + ("Xamp mid in vcc gnd drv opamp\nXloop drv fbk probe\nCo fbk out 1 ; 1%  blocks DC\n")


def noninverting(rf: str, rg: str) -> str:
    """Body of a non-inverting stage biased at half supply; with an empty `rg` a follower."""
    ground = f"Rg inv low {rg} ; 1%  gain\nCg low mid 1 ; 1%  gain to half supply\n" if rg else ""
    return SUPPLY + (
        "Rb in mid 20k ; 1%  bias\nXamp in inv vcc gnd drv opamp\nXloop drv fbk probe\n"
        f"Rf fbk inv {rf} ; 1%  feedback\n{ground}Co fbk out 1 ; 1%  blocks DC\n"
    )


@dataclass(frozen=True)
class Bench:
    """One nominal unit's responses on any frequencies."""

    study: object
    deck: object
    run: object
    chain: object
    support: np.ndarray
    weights: np.ndarray

    def at(self, freq_hz) -> Responses:
        """All responses at given frequencies. [Hz]"""
        freq_hz = np.asarray(freq_hz, dtype=float)
        s = 2j * np.pi * self.run.freq_hz
        drives, reads, samples = self.run.values.shape
        values = Barycentric(s, self.support, 2j * np.pi * freq_hz)(
            self.run.values.reshape(drives * reads, samples), self.weights
        )
        return Responses(freq_hz, values.reshape(drives, reads, -1), 0.0, 75.0)

    def transimpedance(self, freq_hz) -> np.ndarray:
        """Output voltage per current that the series capacitor would push into a short. [Ω]"""
        return self.at(freq_hz).values[-1, 2] * self.chain.antenna.impedance(freq_hz)


def bench(
    tmp_path, body: str, opamp: dict | str, source: str, dummy: str, celsius="26.85", noise=(3e5, 3e7), points=24
) -> Bench:
    """Write the files, read them back through the program and simulate the nominal unit."""
    (tmp_path / "amp.cir").write_text(
        f"* a circuit for a closed form\n.subckt amplifier in out vcc gnd\n{body}.ends amplifier\n", encoding="ascii"
    )
    part = opamp
    if isinstance(opamp, dict):
        record = {**IDEAL, **opamp}
        (tmp_path / "own.toml").write_text(
            "".join(f"{key} = {_toml(value)}\n" for key, value in record.items()), encoding="utf-8"
        )
        part = "own.toml"
    (tmp_path / "study.toml").write_text(
        f"""title = "closed form"
[amplifier]
circuit = "amp.cir"
opamp = "{part}"
[antenna]
model = "fixture"
source = "{source}"
dummy = "{dummy}"
[run]
temperature = "{celsius}"
""",
        encoding="utf-8",
    )
    study = read_study(tmp_path / "study.toml")
    chain = chain_of(study)
    plan = plan_for(study.bands.frequencies, [record.gbw_hz for record in chain.opamps], chain.antenna.sharpness)
    plan = replace(plan, points=16, noise_low_hz=noise[0], noise_high_hz=noise[1], noise_points=points)
    deck = assemble(chain, unit_values(chain, unit_table(study, chain, np.array([0])), 0, 0))
    run = run_unit(Simulator(), deck, plan)
    s = 2j * np.pi * run.freq_hz
    flat = run.values.reshape(-1, len(run.freq_hz))
    support = choose_support(s, flat)
    weights, misfit = fit_weights(s, flat, support)
    # An ideal op-amp has poles ten decades apart; the probe current then carries fewer digits than in a real circuit.
    assert misfit < 2e-5
    return Bench(study, deck, run, chain, support, weights)


def measures(found: Bench) -> tuple:
    """The unit's measures as the pipeline computes them: (banded, single) arrays."""
    around = surroundings(found.study, found.chain, found.run.freq_hz, SweepPlan().high_hz)
    at_rest = rest(found.run.operating, found.deck)
    result = unit_measures(found.run, at_rest, around, reader(found.run, at_rest, around))
    return result.banded, result.single


def _toml(value) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return f'"{value}"' if isinstance(value, str) else repr(value)
