"""Noise margin of a whole chain against a worked example by hand.

Outside the project: a 6 m vertical of 10 mm radius, base segment 0.1 m; open-circuit noise is the field of ITU-R P.372
equation (7) times the effective height, worked out apart from this program to three digits:
18.3, 13.9, 11.0, 10.4 nV per root hertz on a quiet rural site at 1.8, 3.5, 7, 10 MHz. Against an amplifier of 4 nV
referred to the antenna that is a margin of 13.2, 10.8, 8.8, 8.3 dB; on a rural site 27.0, 24.9, 23.2, 22.8 dB.
"""

import numpy as np
import pytest

from tests.checks import Against, Standing
from tests.small_studies import measured, write_study

AGAINST = Against("noise margin of a chain", "worked example, ITU-R P.372 field by hand", Standing.HAND)
AMPLIFIER_NV = 4.0


@pytest.mark.parametrize(
    ("site", "margins_db"),
    [("quiet-rural", (13.2, 10.8, 8.8, 8.3)), ("rural", (27.0, 24.9, 23.2, 22.8))],
)
def test_margin_of_the_worked_example(check, site, margins_db, tmp_path):
    """The chain's own margin, moved from its own noise at the antenna to 4 nV, is the hand-calculated one."""
    antenna = {"model": "short-vertical", "height": "6 m", "radius": "10 mm"}
    bands = {"frequencies": ["1.8M", "3.5M", "7M", "10M"]}
    (banded,) = measured(write_study(tmp_path, antenna=antenna, site={"noise": site}, bands=bands))
    moved = banded["noise_margin_db"] + 20 * np.log10(banded["input_noise_nv"] / AMPLIFIER_NV)
    check("noise margin", moved, margins_db, abs=0.06, unit="dB")
    # One is the other seen from the receiver: power of both over power of our own.
    rise = 10 * np.log10(1 + 10 ** (banded["noise_margin_db"] / 10))
    assert banded["noise_rise_db"] == pytest.approx(rise, abs=1e-9)
