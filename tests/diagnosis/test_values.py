"""A part of a value that is not on the bill: found, with the value, off the bench that shares only the deck."""

import numpy as np
import pytest

from sim.diagnosis.diagnose import diagnose


@pytest.mark.parametrize(
    ("which", "part", "shown", "value"),
    [
        ("transimpedance", "Cf", "22pF", 22e-12),
        ("transimpedance", "Cf", "6.8pF", 6.8e-12),
        ("transimpedance", "Co", "2.2nF", 2.2e-9),
        ("follower", "Ro", "39Ω", 39.0),
    ],
)
def test_a_wrong_reel_is_named(which, part, shown, value, request):
    """Value and part come out within 10 %; what is on the bill is not blamed for it."""
    one = request.getfixturevalue(which)
    found = diagnose(one.study, one.sweep(f"{part}={shown}", 6, np.random.default_rng(11)), book=one.book)
    assert found.verdict == "another value", found.told()
    named = {other.part: other.value for other in found.values}
    assert named[part] == pytest.approx(value, rel=0.1)
    assert found.told()[0].startswith("No fault of the list explains this sweep, but a part of another value does: ")
    told = found.as_dict()
    assert told["groups"] == [] and [entry["part"] for entry in told["other_values"]] == list(named)


def test_a_value_may_fit_better_than_the_list(transimpedance):
    """Where faults of the list would do, a value that is a thousand times likelier is told beside them."""
    one = transimpedance
    found = diagnose(one.study, one.sweep("Cc=220pF", 6, np.random.default_rng(11)), book=one.book)
    assert found.verdict == "fault" and found.values[0].part == "Cc"
    assert any(told.startswith("A part of another value would fit better: Cc is about 2") for told in found.told())


def test_a_fault_of_the_list_needs_no_other_value(follower):
    """A fault that is on the list and fits is not joined by values of other parts."""
    found = diagnose(follower.study, follower.sweep("Cc:open", 3, np.random.default_rng(2)), book=follower.book)
    assert found.verdict == "fault" and found.values == ()
