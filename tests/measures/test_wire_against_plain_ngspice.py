"""A wire on the ground through the whole chain, against the exported deck in plain ngspice."""

import numpy as np
import pytest

from sim.constants import K_B, T0
from sim.engine.ngspice import batch
from sim.measures.panel import BANDED
from sim.measures.unit import Item, UnitWorker
from sim.steps.sample import netlist_text
from sim.study.read import read_study
from sim.study.scenarios import scenarios
from tests.conftest import ROOT

EVERY = scenarios(read_study(ROOT / "studies" / "ground-wire.toml"))


@pytest.mark.parametrize("number", [1, 2, 4])
def test_units_agree_with_plain_ngspice(number, tmp_path):
    """Gain, phase and output noise, the soil's own noise in it, are what `ngspice -b` prints (outside check)."""
    worker = UnitWorker(EVERY, np.arange(3))
    for unit in (0, 2):
        found = worker(Item(number, unit, unit)).measures
        path = tmp_path / f"unit{unit}.cir"
        path.write_text(netlist_text(EVERY[number].study, unit, number), encoding="ascii")
        printed = printed_values(path.read_text(encoding="ascii"), tmp_path)
        for band in range(3):
            at = {name: found.banded[BANDED.index(name), band] for name in ("gain_db", "phase_deg", "output_noise_nv")}
            assert printed[f"gain_db_{band + 1}"] == pytest.approx(at["gain_db"], abs=1e-3)
            assert (printed[f"phase_deg_{band + 1}"] - at["phase_deg"] + 180) % 360 - 180 == pytest.approx(0, abs=1e-2)
            ratio = printed[f"output_noise_nv_{band + 1}"] / at["output_noise_nv"]
            assert 20 * np.log10(ratio) == pytest.approx(0, abs=5e-3)


def test_soil_noise_is_a_contributor():
    """The soil's noise at the receiver is 4 k T (Re Z - sky) times the chain's gain, and stands among the sources."""
    worker = UnitWorker(EVERY, np.arange(1), contributors=True)
    answer = worker(Item(0, 0, 0))
    freq = worker._prepared[0].around.read_hz[3:]
    wire = worker._prepared[0].chain.antenna
    resistance = wire.network.impedance(freq).real - wire.sky_resistance(freq)
    gain = 10 ** (answer.measures.curves[2] / 10)
    assert answer.contributions["antenna_ambient"] == pytest.approx(4 * K_B * T0 * resistance * gain, rel=1e-6)
    assert answer.contributions["antenna_ambient"].min() > 0


def printed_values(deck, folder) -> dict:
    """What the deck's measurements print, by name."""
    out = batch(deck, folder).lower()
    return {
        words[0]: float(words[2])
        for words in (row.split() for row in out.splitlines())
        if len(words) >= 3 and words[1] == "=" and words[0].startswith(("gain_db", "phase_deg", "output_noise"))
    }
