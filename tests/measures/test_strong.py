"""Strong carriers at a unit: room by hand calculation and in time, levels, intercepts."""

import math

import numpy as np
import pytest

from sim.deck.assemble import assemble
from sim.deck.build import chain_of, unit_table, unit_values
from sim.engine.ngspice import Simulator
from sim.measures.strong import LIMITS, dbm, intercept_tones
from sim.measures.unit import Item, UnitWorker
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from tests.small_studies import small_text

# An inverting stage whose gain is known: -R2/R1 = -2, in the middle of its supply, into 75 + 75 ohm.
STAGE = """* inverting stage
.subckt amplifier in out vcc gnd
Rg in gnd 1meg ; 1% thick-film
C1 in a 1u ; 1% C0G
R1 a sum 1k ; 1% thick-film
R2 sum fbk 2k ; 1% thick-film
Ra vcc mid 10k ; 1% thick-film
Rb mid gnd 10k ; 1% thick-film
Cm mid gnd 100u ; 1% C0G
Xamp mid sum vcc gnd drv opamp
Xloop drv fbk probe
Co fbk o1 100u ; 1% C0G
Ro o1 out 75 ; 1% thick-film
.ends amplifier
"""
SWING, CURRENT, SLEW, INPUT = range(4)
TABLES = {
    "amplifier": {"circuit": "stage.cir", "opamp": "OPA2822"},
    "antenna": {"model": "fixture", "source": "0", "dummy": "1u"},
    "feedline": {"cable": "rg6-ccs", "length": "0", "power": "separate"},
}


def _study(folder, carriers: str, **tables):
    (folder / "stage.cir").write_text(STAGE, encoding="ascii")
    path = folder / "study.toml"
    path.write_text(small_text(**{**TABLES, **tables}) + carriers, encoding="utf-8")
    return read_study(path)


def _carrier(kilohertz: float, emf: float, more: str = "") -> str:
    return f'[[strong]]\nfrequency = "{kilohertz}k"\nemf = "{emf!r} V"\n{more}\n'


def _nominal(study):
    return UnitWorker(scenarios(study), np.arange(1))(Item(0, 0, 0)).strong


def test_room_of_a_stage_with_known_gain(tmp_path):
    """One carrier, no modulation: 6 V less 1.1 V of headroom and the 50 mV in which it begins to clip, over its peak.

    Hand calculation: 2 kΩ beside 150 Ω load the 15 Ω output resistance; current through it is pin over 139.5 Ω.
    """
    strong = _nominal(_study(tmp_path, _carrier(100, 0.5, 'modulation = "none"')))
    pin, load = 2 * 0.5 * math.sqrt(2), 1 / (1 / 2e3 + 1 / 150)
    assert strong.reserve_db[SWING] == pytest.approx(20 * math.log10(4.85 / (pin * (1 + 15 / load))), abs=0.05)
    assert strong.reserve_db[CURRENT] == pytest.approx(20 * math.log10(0.09 / (pin / load)), abs=0.05)
    assert strong.receiver_dbm == pytest.approx([10 * math.log10(0.5**2 / 75 / 1e-3)], abs=0.05)


def test_carriers_add_in_voltage_and_modulation_doubles_them(tmp_path):
    """Two carriers of 0.2 and 0.3 V leave as much room as one of 0.5 V; full modulation takes 6.02 dB, 50 % 3.52 dB."""
    plain = 'modulation = "none"'
    one = _nominal(_study(tmp_path, _carrier(100, 0.5, plain))).reserve_db
    two = _nominal(_study(tmp_path, _carrier(100, 0.2, plain) + _carrier(101, 0.3, plain))).reserve_db
    full = _nominal(_study(tmp_path, _carrier(100, 0.5))).reserve_db
    half = _nominal(_study(tmp_path, _carrier(100, 0.5, 'depth = "50 %"'))).reserve_db
    assert two[:3] == pytest.approx(one[:3], abs=0.1)
    assert (one - full)[:3] == pytest.approx(20 * math.log10(2), abs=1e-6)
    assert (one - half)[:3] == pytest.approx(20 * math.log10(1.5), abs=1e-6)


def test_slew(tmp_path):
    """Slew rate over the sum of 2 π f V, at the gain node, where the load makes 9 % more (hand calculation)."""
    strong = _nominal(_study(tmp_path, _carrier(400, 0.3) + _carrier(900, 0.2)))
    [slew] = [unit_values(chain, unit_table(study, chain, np.arange(1)), 0, 0).macros[0].slew
              for study in [_study(tmp_path, _carrier(100, 1))] for chain in [chain_of(study)]]  # fmt: skip
    rate = sum(2 * math.pi * f * 2 * v * 2 * math.sqrt(2) for f, v in ((4e5, 0.3), (9e5, 0.2)))
    at_pin = 20 * math.log10(slew / rate)
    assert at_pin - 1.2 < strong.reserve_db[SLEW] < at_pin


def test_it_clips_where_the_room_ends(tmp_path):
    """In time, a carrier half a decibel below the end of its room stays a sine, and one as far above it is cut off."""
    study = _study(tmp_path, _carrier(20, 1.0, 'modulation = "none"'))
    strong = _nominal(study)
    assert LIMITS[int(strong.reserve_db.argmin())] == "output swing"
    end = float(10 ** (strong.reserve_db.min() / 20))
    chain = chain_of(study)
    lines = assemble(chain, unit_values(chain, unit_table(study, chain, np.arange(1)), 0, 0)).lines
    simulator = Simulator()
    third = []
    for emf in (end * 10 ** (-0.5 / 20), end * 10 ** (0.5 / 20)):
        sine = f"vz_emf z_emf 0 dc 0 sin(0 {emf * math.sqrt(2)!r} 20e3)"
        simulator.load([sine if line.startswith("vz_emf") else line for line in lines], ("drv", "time"))
        found = simulator.transient(1e-7, 4e-4, ("drv",))
        time = np.linspace(2e-4, 4e-4, 4096, endpoint=False)
        spectrum = np.abs(np.fft.rfft(np.interp(time, found["time"], found["drv"])))
        third.append(20 * math.log10(spectrum[12] / spectrum[4]))
    assert third[0] < -75 and third[1] > -45


def test_a_level_at_the_receiver_leads_back_to_the_emf(tmp_path):
    """A carrier given by its level is found there again, and does what the emf behind it does."""
    level = _nominal(_study(tmp_path, '[[strong]]\nfrequency = "100k"\nlevel = "-10 dBm"\n'))
    assert level.receiver_dbm == pytest.approx([-10.0], abs=1e-9)
    same = _nominal(_study(tmp_path, _carrier(100, math.sqrt(1e-4 * 75))))
    assert same.reserve_db[:3] == pytest.approx(level.reserve_db[:3], abs=0.05)


def test_intercepts_and_products_agree(tmp_path):
    """Products of two -10 dBm carriers on the intercept's own tones are P1 + P2 - OIP2 and 2 P1 + P2 - 2 OIP3.

    With a target of -115 dBm that asks for OIP2 of +95 dBm and OIP3 of +42.5 dBm.
    """
    band = 1.83e6
    low, high, first, second = intercept_tones(band)
    assert low + high == band and 2 * first - second == band
    assert (low / band, high / band) == pytest.approx((0.4, 0.6), abs=1e-6)
    bands = {"frequencies": [band]}
    volts = math.sqrt(1e-4 * 75)  # -10 dBm in 75 ohm, the stage's gain into its matched load being one
    for order, tones in ((0, (low, high)), (1, (first, second))):
        text = "".join(_carrier(hertz / 1e3, volts, 'modulation = "none"') for hertz in tones)
        strong = _nominal(_study(tmp_path, text, bands=bands))
        p1, p2 = strong.output_dbm
        assert p1 == pytest.approx(-10.0, abs=0.2)
        intercept = strong.intercept_dbm[order, 0]
        expected = (p1 + p2 - intercept, 2 * p1 + p2 - 2 * intercept)[order]
        # The product on the band is among those that were found there.
        assert np.abs(strong.product_dbm - expected).min() < 1e-3
        assert strong.fallen_dbm[order, 0] == pytest.approx(expected, abs=0.1)


def test_no_floor_where_nothing_is_modelled(tmp_path):
    """Without data of distortion the second order has no number; where a unit clips no product has one."""
    carriers = _carrier(700, 0.01) + _carrier(1130, 0.01)
    amplifier = {"circuit": "stage.cir", "opamp": "OPA810"}
    strong = _nominal(_study(tmp_path, carriers, amplifier=amplifier))
    assert np.isnan(strong.intercept_dbm[0]).all() and np.isfinite(strong.intercept_dbm[1]).all()
    assert np.isnan(strong.fallen_dbm[0]).all() and np.isfinite(strong.fallen_dbm[1]).all()
    clipped = _nominal(_study(tmp_path, _carrier(700, 3.0) + _carrier(1130, 3.0)))
    assert clipped.reserve_db.min() < 0
    assert np.isnan(clipped.product_dbm).all() and np.isnan(clipped.fallen_dbm).all()


def test_power_of_a_sine():
    """1 V peak in 50 Ω is 10 mW, +10 dBm."""
    assert dbm(1.0, 50.0) == pytest.approx(10.0)
