"""A sweep as this bench would have seen it: other references converted, a pad in the way put back."""

from dataclasses import dataclass, replace

import numpy as np

from sim.diagnosis.bench import BenchSetup
from sim.errors import Fault, SweepError
from sim.measured.sweep import Sweep
from sim.measured.touchstone import TwoPort

SAME_OHM = 1e-6
"""Relative difference up to which two resistances are one."""


@dataclass(frozen=True)
class Ready:
    """A sweep between the ports of the bench.

    Attributes
    ----------
    sweep : Sweep
        Its gain is S21 between the bench's source and load.
    match : Sweep or None
        S22 against the bench's load in the place of the gain; None where it was not measured.
    converted : tuple of two float or None
        References of the file, where they were others.
    """

    sweep: Sweep
    match: Sweep | None
    converted: tuple[float, float] | None


def on_bench(sweep: Sweep, bench: BenchSetup, pad_db: float = 0.0) -> Ready:
    """A sweep between the ports of a bench.

    Parameters
    ----------
    sweep : Sweep
    bench : BenchSetup
    pad_db : float
        Loss in the way of the signal that the calibration did not take out. [dB]

    Raises
    ------
    SweepError
        The file has other reference resistances than the bench, and not all four parameters.
    """
    two_port, converted = sweep.two_port, None
    gain, match = sweep.gain, None
    if two_port is not None:
        ends = (bench.source, bench.load)
        known = _measured(two_port.s[:, 1, 1])
        s = two_port.s
        if not np.allclose(two_port.reference, ends, rtol=SAME_OHM):
            if not (known and _measured(two_port.s[:, 0, 0])):
                one, two = two_port.reference
                found = (
                    f"has the reference {one:g} ohm{'' if one == two else f' and {two:g} ohm'}, the bench"
                    f" {bench.source:g} and {bench.load:g} ohm, and without S11 and S22 it cannot be converted."
                )
                remedy = f"Write --source {one:g} --load {two:g} if those were the analyser's ports."
                raise SweepError(Fault(sweep.file, None, None, found, remedy))
            s, converted = two_port.between(*ends), two_port.reference
        gain = s[:, 1, 0]
        match = replace(sweep, gain=s[:, 1, 1]) if known else None
    return Ready(replace(sweep, gain=gain * 10 ** (pad_db / 20)), match, converted)


def _measured(s: np.ndarray) -> bool:
    """Whether a parameter was measured: analysers with one path write zeros or one number for what they did not see."""
    return bool(np.ptp(s.real) + np.ptp(s.imag) > 1e-9)


def as_two_port(sweep: Sweep, bench: BenchSetup) -> TwoPort:
    """All that a sweep holds, for keeping; parameters that were not measured are zero.

    Parameters
    ----------
    sweep : Sweep
    bench : BenchSetup
        Whose ports columns were measured between.
    """
    if sweep.two_port is not None:
        return sweep.two_port
    s = np.zeros((len(sweep.freq_hz), 2, 2), dtype=complex)
    s[:, 1, 0] = sweep.gain
    return TwoPort(sweep.freq_hz, s, (bench.source, bench.load))
