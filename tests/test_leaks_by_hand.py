"""What a leak costs, against closed forms: an ideal virtual ground, and a charge amplifier of one pole on the bench.

Noise of a virtual ground referred to the antenna's emf, Z the antenna's impedance, R the leak (superposition):
e_n |1 + Z/R + Z/Z_f| and sqrt(4kT/R) |Z|. Figures without a mark beside them are by this, computed here.
"""

import numpy as np
import pytest

from sim.constants import K_B
from sim.measures.surroundings import curve_frequencies, site_noise
from sim.noise.density import snr_loss
from sim.study.read import read_study
from tests.small_studies import answers, measured, write_study

FREQ_HZ = 1.85e6
OPAMP = """\
part = "IDEAL"
technology = "invented"
channels = 1
package = "none"
source = "own calculation"
verified = true
core_seen = "all"
notes = "Invented: one pole, white noise."
gbw_hz = {gbw}
second_pole_hz = {second}
phase_margin_deg = 89
aol_dc_db = 120
rout_ol_ohm = 1
unity_gain_stable = true
min_stable_gain = 1
en_nv_rthz = 4.0
en_corner_hz = 1
in_pa_rthz = 1.0e-4
in_corner_hz = 1
rin_diff_ohm = 1.0e12
cin_diff_pf = 0.001
cin_cm_pf = 0.001
vos_max_mv = 0.5
ib_ua = 2.0e-6
vin_cm_low_headroom_v = 0
vin_cm_high_headroom_v = 0
slew_v_per_us = {slew}
output_swing_headroom_v = 0.1
iout_ma = 75
supply_min_v = 4.75
supply_max_v = 27
iq_ma_per_channel = 3.7
"""
CIRCUIT = """\
* charge amplifier of the hand calculation
.subckt amplifier in out vcc gnd
Rb in gnd {rb} ; 1%  path for direct current
Cc in sum {cc} ; 1%  coupling
Rf sum fbk {rf} ; 1%  feedback
Cf sum fbk {cf} ; 1%  feedback
R1 vcc mid 10k ; 1%  half supply
R2 mid gnd 10k ; 1%  half supply
Cm mid gnd 100u ; 1%  half supply
Xamp mid sum vcc gnd drv opamp
Xloop drv fbk probe
Co fbk lin 100n ; 1%  output
Ro lin out 75 ; 1%  output
.ends amplifier
"""


def study(folder, values, gbw, second, slew, freq_hz, **tables):
    """A study of that circuit."""
    (folder / "ideal.toml").write_text(OPAMP.format(gbw=gbw, second=second, slew=slew), encoding="ascii")
    (folder / "charge.cir").write_text(CIRCUIT.format(**values), encoding="ascii")
    return write_study(
        folder,
        amplifier={"circuit": "charge.cir", "opamp": "ideal.toml"},
        antenna={"model": "plain", "resistance": "1m", "capacitance": "62p", "effective_height": "3 m", "stray": "0"},
        receiver={"noise_figure": "0 dB"},
        feedline={"length": "0"},
        bands={"frequencies": [str(f) for f in freq_hz]},
        run={"temperature": "26.85"},  # 300 K, at which the record states its noise
        **tables,
    )


def test_signal_to_noise_lost_at_a_virtual_ground(tmp_path):
    """62 pF, 4 nV/√Hz, quiet rural at 1.85 MHz: leaks cost 0.04, 0.7, 3.5 and 10 dB; the closed form to 0.005 dB."""
    values = {"rb": "100meg", "cc": "1u", "rf": "100meg", "cf": "1p"}
    leaks = {"10k": 0.04, "1k": 0.7, "300": 3.5, "100": 10.2}  # rounded; the closed form below has the digits
    path = study(tmp_path, values, 5e10, 1e12, 1e5, [FREQ_HZ], vary={"weather.input_leak": ["none", *leaks]})
    dry, *wet = measured(path)
    field = site_noise(read_study(path)).field(np.array([FREQ_HZ]))[0]
    assert 3 * field == pytest.approx(18.5e-9, rel=0.01)  # 6.2 nV/m of the quiet rural class times 3 m (ITU-R P.372)
    z = 1 / (2j * np.pi * FREQ_HZ * 62e-12)
    z_f = 1 / (1 / 100e6 + 2j * np.pi * FREQ_HZ * 1e-12)

    def internal(ohm):
        thermal = 4 * K_B * 300 * (1 / ohm + 1 / 100e6 + 1 / 100e6) * abs(z) ** 2
        return (4e-9 * abs(1 + z / ohm + z / z_f)) ** 2 + thermal

    for (text, known), found in zip(leaks.items(), wet, strict=True):
        ohm = {"10k": 1e4, "1k": 1e3}.get(text) or float(text)
        by_hand = 10 * np.log10(((3 * field) ** 2 + internal(ohm)) / ((3 * field) ** 2 + internal(np.inf)))
        assert by_hand == pytest.approx(known, abs=0.1 if known > 1 else 0.03)
        lost = snr_loss(found["noise_margin_db"][0]) - snr_loss(dry["noise_margin_db"][0])
        assert lost == pytest.approx(by_hand, abs=0.005)
        # Noise on a dummy finds it first: at the receiver it grows by this, less what little gain is lost.
        louder = 20 * np.log10(found["output_noise_nv"][0] / dry["output_noise_nv"][0])
        louder += dry["system_gain_db"][0] - found["system_gain_db"][0]
        assert louder == pytest.approx(10 * np.log10(internal(ohm) / internal(np.inf)), abs=0.01)
        # An ideal virtual ground does not feel it: that is why a gain sweep does not find it there.
        assert found["gain_db"][0] == pytest.approx(dry["gain_db"][0], abs=0.3 if ohm < 1e3 else 0.04)


@pytest.mark.parametrize("leak", [1e4, 1e3])
def test_bench_gain_with_a_leak(tmp_path, leak):
    """47 pF dummy, 1 nF, 22 kΩ, 15 pF, 150 MHz of one pole, 75 Ω into 50 Ω: the deck is nodal equations; 0.02 dB."""
    freq_hz = [0.5e6, 1.85e6, 7.1e6]
    values = {"rb": "100meg", "cc": "1n", "rf": "22k", "cf": "15p"}
    path = study(tmp_path, values, 1.5e8, 1e12, 1e5, freq_hz, vary={"weather.input_leak": ["none", f"{leak:g}"]})
    for found, conductance in zip(measured(path), (0.0, 1 / leak), strict=True):
        by_hand = [20 * np.log10(abs(2 * bench_gain(f, 50.0, at_input=conductance))) for f in freq_hz]
        np.testing.assert_allclose(found["gain_db"], by_hand, atol=0.02)


def bench_gain(freq_hz, source, at_input=0.0, at_summing_node=0.0):
    """Output volts for 1 V of generator, by two nodal equations: input terminal, summing node; leaks in siemens."""
    s = 2j * np.pi * freq_hz
    gain = 2 * np.pi * 1.5e8 / s
    y_source, y_c, y_f = 1 / (source + 1 / (s * 47e-12)), s * 1e-9, 1 / 22e3 + s * 15e-12
    load = 1 / (75 + 1 / (s * 100e-9) + 50)
    nodes = np.array([[y_source + y_c + at_input, -y_c], [-y_c, y_c + y_f * (1 + gain) + at_summing_node]])
    _, summing = np.linalg.solve(nodes, np.array([y_source, 0]))
    return -gain * summing * 50 * load


@pytest.mark.parametrize(
    ("leak", "moves"),
    [(1e4, (-0.03, -0.06, -0.06)), (1e3, (-0.32, -0.57, -0.58))],  # nodal equations, computed here
)
def test_a_leak_hardly_moves_the_gain(leak, moves):
    """10 kΩ at the summing node moves the gain of that amplifier by 0.06 dB, 1 kΩ by 0.6 dB, which alone is seen."""
    for freq_hz, move in zip((0.5e6, 1.85e6, 7.1e6), moves, strict=True):
        dry, wet = (abs(bench_gain(freq_hz, 0.0, at_summing_node=y)) for y in (0.0, 1 / leak))
        assert 20 * np.log10(wet / dry) == pytest.approx(move, abs=0.01)


def test_thermal_noise_of_a_drain_resistor():
    """Beside 62 pF at 1.85 MHz: 100 kΩ 0.56, 1 MΩ 0.18 nV/√Hz of emf, far below 18.5 (hand calculation)."""
    reactance = 1 / (2 * np.pi * FREQ_HZ * 62e-12)
    for ohm, emf in ((100e3, 0.56e-9), (1e6, 0.18e-9)):
        assert np.sqrt(4 * K_B * 300 / ohm) * reactance == pytest.approx(emf, abs=0.005e-9)


def test_drain_resistor_in_the_circuit(tmp_path):
    """The circuit's own Rb is that resistor: in the deck it makes the same emf; 1 % (hand calculation)."""
    values = {"rb": "100k", "cc": "1u", "rf": "100meg", "cf": "1p"}
    [answer] = answers(study(tmp_path, values, 5e10, 1e12, 1e5, [FREQ_HZ]), contributors=True)
    freq_hz = curve_frequencies((FREQ_HZ,))
    emf = np.sqrt(answer.contributions["rb"] / 10 ** (answer.measures.curves[2] / 10))
    by_hand = np.sqrt(4 * K_B * 300 / 100e3) / (2 * np.pi * freq_hz * 62e-12)
    np.testing.assert_allclose(emf, by_hand, rtol=0.01)
    assert np.interp(FREQ_HZ, freq_hz, emf) == pytest.approx(0.56e-9, rel=0.02)
