"""Mistakes in the set-up that look like a fault of the unit: each is tried before a unit is called bad."""

from dataclasses import dataclass, replace

from sim.diagnosis.bench import BenchSetup

OTHER_DUMMIES = (10e-12, 22e-12, 47e-12, 100e-12, 470e-12)
"""What lies in the drawer beside the right dummy; common practice, no source. [F]"""
PADS_DB = (3.0, 5.72, 6.0, 10.0, 20.0)
"""Pads that are forgotten in the way; 5.72 dB is the least-loss pad from 50 to 75 ohm (textbook). [dB]"""
DUMMY_STEP = 0.02
"""Change of the dummy by which its effect is learned. [1]"""


@dataclass(frozen=True)
class Setup:
    """One mistake.

    Attributes
    ----------
    key : str
        ``load``, ``source``, ``dummy`` (another one) or ``step`` (a small change, whose size is fitted).
    words : str
        What it is, to continue "as if …".
    bench : BenchSetup
    """

    key: str
    words: str
    bench: BenchSetup


def wrong_setups(bench: BenchSetup) -> tuple[Setup, ...]:
    """Mistakes that a bench may have.

    Parameters
    ----------
    bench : BenchSetup
    """
    found = [Setup("step", "the dummy were off", replace(bench, dummy=bench.dummy * (1 + DUMMY_STEP)))]
    for ohm in (50.0, 75.0):
        if abs(bench.load - ohm) > 1:
            words = f"the analyser's input were {ohm:g} ohm and not {bench.load:g}"
            found.append(Setup("load", words, replace(bench, load=ohm)))
        if abs(bench.source - ohm) > 1:
            words = f"the analyser's output were {ohm:g} ohm and not {bench.source:g}"
            found.append(Setup("source", words, replace(bench, source=ohm)))
    for farad in OTHER_DUMMIES:
        if not 0.8 < farad / bench.dummy < 1.25:
            words = f"the dummy were {1e12 * farad:g} pF and not {1e12 * bench.dummy:.3g}"
            found.append(Setup("dummy", words, replace(bench, dummy=farad)))
    return tuple(found)
