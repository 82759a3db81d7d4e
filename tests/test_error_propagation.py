"""Linear networks whose spread is known: the sampled spread is what error propagation says."""

import numpy as np
import pytest

from sim.measures.panel import BANDED
from sim.steps.simulate import simulate
from sim.study.read import read_study

UNITS = 600

# A voltage divider and a capacitor, driven through 1 uF: bench gain G = 2 V_out/V_gen with 50 ohm ports.
CIRCUIT = """\
* A divider with a capacitor: linear, so its spread is known
.subckt amplifier in out vcc gnd
Ra in  out 300  ; 5%  series
Rb out gnd 200  ; 1%  shunt
Ca out gnd 220p ; 5%  shunt
Rs vcc gnd 10k  ; 1%  gives the supply something to do
.ends amplifier
"""

STUDY = f"""\
title = "error propagation"
[amplifier]
circuit = "divider.cir"
opamp = "OPA2822"
[antenna]
model = "fixture"
source = "50"
dummy = "1u"
[bands]
frequencies = ["1M", "5M"]
[fixture]
dummy = "1u"
[run]
units = {UNITS}
"""


def _gain_db(ra, rb, ca, freq_hz):
    y_out = 1 / rb + 2j * np.pi * freq_hz * ca + 1 / 50
    z_source = 50 + 1 / (2j * np.pi * freq_hz * 1e-6)
    return 20 * np.log10(np.abs(2 / (1 + (ra + z_source) * y_out)))


@pytest.fixture(scope="module")
def gains(tmp_path_factory):
    """Bench gain of all units, shape (unit, band)."""
    folder = tmp_path_factory.mktemp("divider")
    (folder / "divider.cir").write_text(CIRCUIT, encoding="ascii")
    (folder / "study.toml").write_text(STUDY, encoding="utf-8")
    arrays, failures = simulate(read_study(folder / "study.toml"), "1-of-1")
    assert not failures
    return arrays["banded"][0, :, BANDED.index("gain_db")]


@pytest.mark.parametrize(("band", "freq_hz"), [(0, 1e6), (1, 5e6)])
def test_spread_of_a_linear_network(gains, band, freq_hz):
    """Standard deviation = root of the sum of (slope × t/√3)², within the sampling error of 600 units (4 sigma).

    Slopes by central differences of the closed form; a uniform deviation of ± t has the standard deviation t/√3.
    """
    nominal = (300.0, 200.0, 220e-12)
    assert gains[0, band] == pytest.approx(_gain_db(*nominal, freq_hz), abs=1e-6)
    variance = 0.0
    for position, tolerance in enumerate((0.05, 0.01, 0.05)):
        step = np.ones(3)
        step[position] = 1.001
        up = _gain_db(*(nominal * step), freq_hz)
        step[position] = 0.999
        down = _gain_db(*(nominal * step), freq_hz)
        variance += ((up - down) / 0.002 * tolerance) ** 2 / 3
    sampled = gains[1:, band].std(ddof=1)
    # Relative sampling error of a standard deviation is 1/√(2n) for a normal shape, less for a flatter one.
    assert sampled == pytest.approx(np.sqrt(variance), rel=4 / np.sqrt(2 * UNITS))
