"""Names where room is short: different names look different."""

import pytest

from sim.plots import names, style

LONG = ("pasture-dry, far_end 350", "pasture-dry, far_end 400", "pasture-dry, open", "average, open")


def test_names_that_fit_stay():
    """Short names stand at their lines, without a key."""
    key = names.keyed(("a", "b"), 1.0)
    assert key.labels == ("a", "b") and key.entries == () and key.height_in == 0


def test_names_that_do_not_fit_get_letters():
    """One name too long gives all of them letters, and the key holds every name whole."""
    key = names.keyed(LONG, 0.9)
    assert key.labels == ("A", "B", "C", "D")
    assert key.entries == tuple(f"{letter}  {name}" for letter, name in zip("ABCD", LONG, strict=True))
    assert key.columns == 2 and names.keyed((*LONG, "x" * 60), 0.9).columns == 1
    assert key.height_in < names.keyed((*LONG, "x" * 60), 0.9).height_in


@pytest.mark.parametrize(
    "wanted",
    [
        LONG,
        ("circuits/amplifier-one.cir", "circuits/amplifier-two.cir"),
        ("x" * 40 + "a" + "y" * 40, "x" * 40 + "b" + "y" * 40),
        ("same", "same", "another that is much too long to stand here"),
    ],
)
@pytest.mark.parametrize("room_in", [0.6, 0.9, 1.4])
def test_cut_names_stay_apart(wanted, room_in):
    """However they are cut, names fit, and as many are different as were before."""
    found = names.apart(wanted, room_in)
    assert len(set(found)) == len(set(wanted)) and len(found) == len(wanted)
    assert all(style.text_width_in(name) <= room_in + 1e-9 for name in found)
