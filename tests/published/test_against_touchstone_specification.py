"""Two-ports of the Touchstone File Format Specification, version 2.0, IBIS Open Forum 2009.

Its two-port examples, 11 to 13, 17 and 18, are in tests/data with their numbers as scikit-rf's own tests of the format
hold them; the document itself was not at hand. What has no two-port example there is composed after its rules, and said
to be so.
"""

import numpy as np
import pytest

from sim.measured.touchstone import TwoPort, read_two_port, two_port_text
from tests.checks import NOT_AT_HAND, Against, Standing
from tests.conftest import ROOT

AGAINST = Against("two-port Touchstone files", "Touchstone 2.0 (IBIS 2009), examples", Standing.STANDARD, NOT_AT_HAND)
FOLDER = ROOT / "tests" / "data" / "touchstone-2.0-ibis-2009"


def _example(name: str) -> TwoPort:
    return read_two_port((FOLDER / name).read_text(encoding="ascii"))


def _polar(magnitude, degrees) -> np.ndarray:
    return np.asarray(magnitude) * np.exp(1j * np.deg2rad(degrees))


HYBRID = _polar([[0.95, 0.04], [3.57, 0.66]], [[-26, 76], [157, -14]])  # examples 11 and 12
AMPLIFIER = _polar(  # examples 17 and 18
    [[[0.95, 0.04], [3.57, 0.66]], [[0.60, 0.14], [1.30, 0.56]]],
    [[[-26, 76], [157, -14]], [[-144, 40], [40, -85]]],
)


@pytest.mark.parametrize("name", ["example-11.s2p", "example-12.ts"])
def test_hybrid_parameters(check, name):
    """Examples 11 and 12: one hybrid matrix before and in version 2, the same because its reference is 1 ohm."""
    found = _example(name)
    (h11, h12), (h21, h22) = HYBRID
    # Textbook conversion for a reference of 1 ohm.
    total = (h11 + 1) * (h22 + 1) - h12 * h21
    expected = [
        [((h11 - 1) * (h22 + 1) - h12 * h21) / total, 2 * h12 / total],
        [-2 * h21 / total, ((1 + h11) * (1 - h22) + h12 * h21) / total],
    ]
    assert found.freq_hz.tolist() == [2e3] and found.reference == (1.0, 1.0)
    check("S of the hybrid matrix", found.s[0], np.array(expected), rel=1e-12)


def test_three_frequencies(check):
    """Example 13: real and imaginary parts in the order 11, 21, 12, 22."""
    found = _example("example-13.s2p")
    np.testing.assert_allclose(found.freq_hz, [1e9, 2e9, 10e9])
    same = [0.3926 - 0.1211j, 0.3517 - 0.3054j, 0.3419 + 0.3336j]
    across = [-0.0003 - 0.0021j, -0.0096 - 0.0298j, -0.0134 + 0.0379j]
    for row, column, expected in ((0, 0, same), (1, 1, same), (0, 1, across), (1, 0, across)):
        check(f"S{row + 1}{column + 1}", found.s[:, row, column], np.array(expected), rel=1e-12, case="example 13")


@pytest.mark.parametrize(("name", "reference"), [("example-17.ts", (50.0, 25.0)), ("example-18.s2p", (50.0, 50.0))])
def test_noise_data_are_passed_over(check, name, reference):
    """Examples 17 and 18: two frequencies of parameters, noise data behind them, and the defaults of a bare option."""
    found = _example(name)
    np.testing.assert_allclose(found.freq_hz, [2e9, 22e9])
    check("S beside noise data", found.s, AMPLIFIER, rel=1e-12)
    assert found.reference == reference


RULES = """\
! own, after the rules for [Two-Port Data Order] and for a [Reference] that goes on in the next line
[Version] 2.0
# GHz S MA R 50
[Number of Ports] 2
[Two-Port Data Order] {order}
[Number of Frequencies] 2
[Reference] 50
25.0
[Network Data]
2 .95 -26 {first} .66 -14
22 .60 -144 {second} .56 -85
[End]
"""


@pytest.mark.parametrize(
    ("order", "first", "second"),
    [("21_12", "3.57 157 .04 76", "1.30 40 .14 40"), ("12_21", ".04 76 3.57 157", ".14 40 1.30 40")],
)
def test_both_orders(order, first, second):
    """Example 17's numbers in either order, the references in two lines."""
    found = read_two_port(RULES.format(order=order, first=first, second=second))
    np.testing.assert_allclose(found.s, AMPLIFIER)
    assert found.reference == (50.0, 25.0)


@pytest.mark.parametrize("reference", [(50.0, 50.0), (50.0, 25.0)])
def test_written_and_read_back(reference):
    """A two-port is read back as it was written, in version 1 or, with unequal references, in version 2."""
    two_port = TwoPort(np.array([2e9, 22e9]), AMPLIFIER, reference)
    text = two_port_text(two_port, "a head")
    assert text.startswith("!") and ("[Version] 2.0" in text) == (reference[0] != reference[1])
    found = read_two_port(text)
    np.testing.assert_allclose(found.s, AMPLIFIER, rtol=1e-15)
    assert found.reference == reference and np.array_equal(found.freq_hz, two_port.freq_hz)
