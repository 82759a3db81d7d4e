"""Which pin is which: names, comments, custom, and what is refused."""

import pytest

from sim.deck.maker.file import choose, parse_model_file, read_model_file
from sim.deck.maker.pins import ROLES, guessed_pins, sensible_orders
from sim.errors import GuardError, RecordError
from tests.conftest import ROOT

MODELS = ROOT / "tests" / "opamp" / "models"


@pytest.mark.parametrize(
    ("ports", "roles"),
    [
        ("INP INN VCC VEE OUT", ROLES),
        ("IN- IN+ V- V+ OUT", ("inn", "inp", "vee", "vcc", "out")),
        ("+IN -IN VDD VSS VOUT", ROLES),
        ("OUT NINV INV VS+ VS-", ("out", "inp", "inn", "vcc", "vee")),
    ],
)
def test_by_name(ports, roles):
    """Names that makers use for pins are known, in any order."""
    found = guessed_pins(tuple(ports.split()), ())
    assert (found.roles, found.reason) == (roles, "names of the ports")


def test_by_comments():
    """A block of comments with one line a pin, or one line that lists them, says which number is which."""
    block = (
        " connections:   inverting input",
        "               |   non-inverting input",
        "               |   |   output",
        "               |   |   |   negative supply",
        "               |   |   |   |   positive supply",
        "               |   |   |   |   |",
    )
    assert guessed_pins(tuple("12345"), block).roles == ("inn", "inp", "out", "vee", "vcc")
    line = ("PIN ORDER: OUT IN- IN+ V- V+",)
    assert guessed_pins(tuple("12345"), line).roles == ("out", "inn", "inp", "vee", "vcc")


def test_by_custom():
    """Five ports of which nothing is said are taken in the customary order, and that is said; six are not guessed."""
    found = guessed_pins(tuple("12345"), ("an op-amp",))
    assert found.roles == ROLES
    assert found.reason.startswith("custom")
    assert guessed_pins(tuple("123456"), ()) is None


def test_orders():
    """All 120 orders are tried, each once, the said one first; a tied pin stays where it is."""
    orders = sensible_orders((*ROLES, "vcc"))
    assert len(orders) == len(set(orders)) == 120
    assert orders[0] == (*ROLES, "vcc")
    assert all(order[5] == "vcc" for order in orders)


def _six() -> str:
    return """* six pins, of which one switches it off
.SUBCKT SIX INP INN VCC VEE OUT SD
R1 INP INN 1MEG
E1 OUT VEE VALUE={IF(V(SD,VEE)>2, 1E5*V(INP,INN), 0)}
R2 VCC VEE 10K
.ENDS
"""


def test_a_sixth_pin_must_be_named():
    """What a further pin is tied to is for the builder to say; the message shows how."""
    source = parse_model_file(_six(), "six.lib")
    with pytest.raises(RecordError) as caught:
        choose(source)
    assert "nothing says which pin is which of INP INN VCC VEE OUT SD" in str(caught.value)
    assert "(an enable pin to vcc)" in str(caught.value)
    lines = choose(source, None, "inp inn vcc vee out vcc").flat("x", ("p", "n", "c", "e", "o"), 27.0).lines
    assert lines[1].startswith("bx_e1 o e v=ternary_fcn(((v(c)-v(e))>2.0)")
    with pytest.raises(GuardError, match="nothing is connected to sd"):
        choose(source, None, "inp inn vcc vee out nc").flat("x", ("p", "n", "c", "e", "o"), 27.0)


@pytest.mark.parametrize(
    ("pins", "said"),
    [
        ("inp inn vcc vee out", "5 pins are named, and it has 6"),
        ("inp inn vcc vee out shutdown", '"shutdown" is no pin'),
        ("inp inn vcc vee vcc vcc", "the pin out is not among"),
    ],
)
def test_pins_that_cannot_be(pins, said):
    """Too few words, unknown ones and missing pins are named."""
    with pytest.raises(RecordError) as caught:
        choose(parse_model_file(_six(), "six.lib"), None, pins)
    assert said in str(caught.value)


def test_which_subcircuit():
    """The one that no other uses is the op-amp; of several the builder names one."""
    assert choose(read_model_file(MODELS / "full.lib", "full.lib")).subcircuit == "TESTAMP-A"
    two = _six() + _six().replace("SUBCKT SIX", "SUBCKT SIXB")
    with pytest.raises(RecordError, match="holds 2 models"):
        choose(parse_model_file(two, "two.lib"))
    with pytest.raises(RecordError, match="It has: SIX, SIXB"):
        choose(parse_model_file(two, "two.lib"), "SIXC")
    assert choose(parse_model_file(two, "two.lib"), "sixb", "inp inn vcc vee out vcc").subcircuit == "SIXB"
