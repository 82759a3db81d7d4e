"""How faults are said, and that errors keep them."""

import pickle
from datetime import date

import pytest

from sim import errors
from sim.errors import BandfloorError, CircuitError, Fault, InputError, StudyError, nearest, shown

TOLERANCE = Fault(
    "studies/low.toml",
    14,
    "amplifier.parts.Cf",
    'tolerance "5" has no unit.',
    'Write a percentage ("5 %") or an absolute spread ("0.25 pF").',
)
BARE = Fault("low.toml", None, None, "is a folder.", "Name the study's file.")


def test_a_fault_says_where_what_and_what_would_do():
    """File, line and key stand before the colon, the remedy on a line of its own."""
    assert str(TOLERANCE) == (
        'studies/low.toml, line 14, amplifier.parts.Cf: tolerance "5" has no unit.\n'
        '  Write a percentage ("5 %") or an absolute spread ("0.25 pF").'
    )


def test_what_is_not_known_is_left_out():
    """Without line and key the file alone stands before the colon."""
    assert str(BARE) == "low.toml: is a folder.\n  Name the study's file."


def test_an_error_says_all_its_faults():
    """Every fault is there, in order, one below the other."""
    error = StudyError([TOLERANCE, BARE])
    assert error.faults == (TOLERANCE, BARE)
    assert str(error) == f"{TOLERANCE}\n{BARE}"


def test_one_fault_need_not_be_a_list():
    """A single fault makes an error of one fault."""
    assert CircuitError(BARE).faults == (BARE,)


def test_faults_of_a_generator_are_kept():
    """What can be walked once only is not lost between message and faults."""
    error = InputError(fault for fault in (BARE, TOLERANCE))
    assert error.faults == (BARE, TOLERANCE)
    assert str(error) == f"{BARE}\n{TOLERANCE}"


def test_errors_cross_processes_whole():
    """A worker's error arrives with its kind and its faults."""
    error = pickle.loads(pickle.dumps(StudyError([TOLERANCE, BARE])))
    assert type(error) is StudyError
    assert error.faults == (TOLERANCE, BARE)
    assert str(error) == f"{TOLERANCE}\n{BARE}"


@pytest.mark.parametrize("name", ["StudyError", "CircuitError", "GuardError", "RecordError", "SweepError"])
def test_bad_input_is_one_family(name):
    """The command line tells bad input (exit code 2) from everything else by one class."""
    assert issubclass(getattr(errors, name), InputError)


@pytest.mark.parametrize("name", ["SetupError", "EngineError"])
def test_other_errors_are_no_bad_input(name):
    """What is not the input's fault does not get its exit code."""
    assert issubclass(getattr(errors, name), BandfloorError)
    assert not issubclass(getattr(errors, name), InputError)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("120 V", '"120 V"'),
        ("a\nb\x00", '"a\\u000ab\\u0000"'),
        ("\x1b[31m", '"\\u001b[31m"'),
        ("x" * 61, '"' + "x" * 60 + '…"'),
        (True, "true"),
        (7, "7"),
        (-1.5, "-1.5"),
        (10**5000, "a number of more than 60 digits"),
        (float("nan"), "nan"),
        (date(2024, 1, 31), "2024-01-31"),
        ([1, 2], "a list"),
        ({"a": 1}, "a table"),
    ],
    ids=lambda value: type(value).__name__,
)
def test_values_are_shown_on_one_line(value, text):
    """No value breaks a message, reaches the terminal's controls, or fills the screen."""
    assert shown(value) == text


def test_a_deep_table_can_be_shown():
    """A table nested deeper than Python's stack is said in two words."""
    deep = {}
    for _ in range(100_000):
        deep = {"a": deep}
    assert shown(deep) == "a table"


@pytest.mark.parametrize(
    ("word", "cutoff", "near"),
    [
        ("opa810", 0.9, "OPA810"),
        ("LM-358", 0.8, "LM358"),
        ("OPA81O", 0.0, "OPA810"),
        ("zzz", 0.3, None),
        ("zzz", 0.0, "OPA810"),
        ("", 0.1, None),
    ],
)
def test_nearest_ignores_case(word, cutoff, near):
    """Upper and lower case do not count, and below the least likeness nothing is proposed."""
    assert nearest(word, ["OPA810", "LM358"], cutoff) == near
