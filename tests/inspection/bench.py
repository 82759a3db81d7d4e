"""A bench that shares nothing with the program but the exported deck: plain ngspice; errors are drawn here."""

import re

import numpy as np

from sim.cli import main
from sim.engine.ngspice import batch
from sim.measured.sweep import Sweep


def ngspice_sweep(study, unit: int, folder, change=None) -> Sweep:
    """Sweep of one unit by ``ngspice -b``, out of the netlist that `bandfloor export` writes.

    Parameters
    ----------
    study : Path
    unit : int
    folder : Path
    change : (str, float), optional
        Name of a part and the factor by which its value in the text is changed.
    """
    deck = folder / "unit.cir"
    assert main(["export", str(study), "netlist", "--unit", str(unit), "-o", str(deck)]) == 0
    text = deck.read_text(encoding="ascii")
    if change is not None:
        name, factor = change
        body, count = re.subn(
            rf"(?m)^({name} \S+ \S+ )(\S+)$", lambda card: f"{card[1]}{float(card[2]) * factor!r}", text
        )
        assert count == 1
        text = body
    head, _, tail = text.partition(".control")
    control = "\n.control\nset numdgt=12\nset wr_singlescale\nac dec 40 3e5 1.2e7\nwrdata seen v(bout)\nquit 0\n.endc"
    batch(head + control + tail.partition(".endc")[2], folder)
    rows = np.loadtxt(folder / "seen")
    return Sweep(f"unit-{unit:02d}", "by ngspice", rows[:, 0], rows[:, 1] + 1j * rows[:, 2], None)


def write_columns(sweep: Sweep, path, head: str = "") -> str:
    """A sweep as columns; the file's name."""
    lines = [f"# {head}"] if head else []
    lines.append("frequency_hz,gain_real,gain_imag")
    lines += [f"{f!r},{g.real!r},{g.imag!r}" for f, g in zip(sweep.freq_hz.tolist(), sweep.gain.tolist(), strict=True)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return str(path)


def measured(freq_hz, gain, rng, uncertainty_db: float = 0.05):
    """A gain with the errors of a measurement whose 95 % uncertainty is given: half common, half of each point."""
    sigma = uncertainty_db / 2 / np.sqrt(2) * np.log(10) / 20
    own = rng.standard_normal((2, len(freq_hz)))
    common = rng.standard_normal(2)
    delay = 0.05e-9 * rng.standard_normal()
    error = sigma * (own[0] + common[0]) + 1j * (sigma * (own[1] + common[1]) - 2 * np.pi * freq_hz * delay)
    return gain * np.exp(error)
