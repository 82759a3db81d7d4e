"""The bench fixture: dummy capacitor and generator resistance."""

import math
import shutil
import subprocess

import numpy as np
import pytest

from sim.antenna.fixture import fixture


def test_impedance_of_the_dummy():
    """50 ohm and 60 pF are 50 - 757.881j ohm at 3.5 MHz."""
    assert fixture(50.0, 60e-12).impedance(3.5e6) == pytest.approx(
        50 - 757.881j, rel=1e-6
    )  # hand calculation, 1/(w C)


def test_a_bench_receives_no_field():
    """The effective height is NaN at every frequency, all of which are valid."""
    antenna = fixture()
    assert np.isnan(antenna.effective_height([1e6, 2e6])).all()
    assert antenna.valid([1.0, 1e9]).all()
    assert antenna.shunt_capacitance == 0.0


@pytest.mark.parametrize(("source", "dummy"), [(-1.0, 47e-12), (50.0, 0.0), (50.0, math.nan)])
def test_meaningless_values_are_refused(source, dummy):
    """A negative resistance and a capacitor that is not above zero raise ValueError."""
    with pytest.raises(ValueError, match="a fixture needs"):
        fixture(source, dummy)


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="no ngspice on PATH")
@pytest.mark.parametrize("source", [50.0, 0.0])
def test_cards_have_the_impedance(tmp_path, source):
    """An AC run of the cards in ngspice gives impedance() to 1e-6, with and without generator resistance."""
    antenna = fixture(source, 47e-12)
    deck = ["* fixture", "Vx a 0 dc 0 ac 1", *antenna.netlist("a", "0", "gen"), ".control", "set numdgt=15"]
    deck += ["ac dec 10 10k 100meg", "let z = -1/i(vx)", "wrdata z.txt z", ".endc", ".end", ""]
    (tmp_path / "deck.cir").write_text("\n".join(deck), encoding="utf-8")
    subprocess.run(["ngspice", "-b", "deck.cir"], cwd=tmp_path, capture_output=True, timeout=60, check=False)
    table = np.loadtxt(tmp_path / "z.txt")
    ours = antenna.impedance(table[:, 0])
    assert np.max(np.abs(table[:, 1] + 1j * table[:, 2] - ours) / np.abs(ours)) < 1e-6
