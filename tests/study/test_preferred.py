"""Preferred values and spans of them, against the tables of IEC 60063."""

import pytest

from sim.quantity import QuantityError, parse_quantity
from sim.study.preferred import SERIES, nearest_value, preferred_values
from tests.checks import NOT_AT_HAND, Against, Standing

# IEC 60063:2015, as reprinted in secondary tables.
AGAINST = Against("preferred values", "IEC 60063:2015", Standing.STANDARD, NOT_AT_HAND)
E24 = "100 110 120 130 150 160 180 200 220 240 270 300 330 360 390 430 470 510 560 620 680 750 820 910"
E96 = (
    "100 102 105 107 110 113 115 118 121 124 127 130 133 137 140 143 147 150 154 158 162 165 169 174"
    " 178 182 187 191 196 200 205 210 215 221 226 232 237 243 249 255 261 267 274 280 287 294 301 309"
    " 316 324 332 340 348 357 365 374 383 392 402 412 422 432 442 453 464 475 487 499 511 523 536 549"
    " 562 576 590 604 619 634 649 665 681 698 715 732 750 768 787 806 825 845 866 887 909 931 953 976"
)


def test_series_are_those_of_the_standard(check):
    """E24 and E96 hold the values of the standard (IEC 60063:2015), the coarser ones every other of the next."""
    for name, text in (("E24", E24), ("E96", E96)):
        check(f"values of {name}", SERIES[name], [int(word) for word in text.split()], case="all")
    assert SERIES["E12"] == SERIES["E24"][::2] and SERIES["E6"] == SERIES["E12"][::2]
    assert SERIES["E3"] == SERIES["E6"][::2] == (100, 220, 470) and SERIES["E48"] == SERIES["E96"][::2]
    assert SERIES["E96"] == SERIES["E192"][::2] and len(set(SERIES["E192"])) == 192 and 920 in SERIES["E192"]


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("E12 10p..27p", ["10p", "12p", "15p", "18p", "22p", "27p"]),
        ("E6 680 p .. 2.2 n", ["680p", "1n", "1.5n", "2.2n"]),
        ("E12 11p..16p", ["12p", "15p"]),
        ("E3 1k..1k", ["1k"]),
        ("E3 10uH..100uH", ["10 uH", "22 uH", "47 uH", "100 uH"]),
        ("E96 95..103", ["95.3", "97.6", "100", "102"]),
        # Half a metre or half a farad: never "510m", which would be half a kilometre of wire.
        ("E24 0.5..0.6", ["0.51", "0.56"]),
        ("E3 1 m..10 m", ["1m", "2.2m", "4.7m", "10m"]),
    ],
)
def test_a_span_is_its_values(text, values):
    """Both ends count where they belong to the series, and every value is written as an engineer writes it."""
    assert list(preferred_values(text)) == values


@pytest.mark.parametrize("series", sorted(SERIES))
def test_written_values_read_back(series):
    """Over twelve decades every value of a series, read as a capacitance, is the series' number times a decade."""
    found = [parse_quantity(text, "F") for text in preferred_values(f"{series} 1p..1")]
    assert found == [float(f"{step}e{decade}") for decade in range(-14, -2) for step in SERIES[series]] + [1.0]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("E12", "is no list and no span"),
        ("10p..1n", "is no list and no span"),
        ("E5 10p..1n", "no series"),
        ("E384 10p..1n", "no series"),
        ("E12 1n..10p", "runs downwards"),
        ("E12 0..10p", "is no end of a span"),
        ("E12 -1p..10p", "is no end of a span"),
        ("E12 1p..10kHz", "is no end of a span"),
        ("E12 4k7..10k", "is no end of a span"),
        ("E12 13p..14p", "holds no value of E12"),
        ("E12 1f..1", "more than 12 decades"),
        ("E12 1m..1", "different units"),
        ("E12 1uF..1mH", "different units"),
        ("E12 nan..1", "is no end of a span"),
        ("E12 " + "1" * 100 + "..2", "is no list"),
    ],
)
def test_what_is_no_span_is_refused(text, said):
    """The message says what is wrong with it."""
    with pytest.raises(QuantityError, match=said):
        preferred_values(text)


@pytest.mark.parametrize(
    ("value", "series", "nearest"),
    [  # nearest by ratio among the values of IEC 60063, hand calculation
        (2718.28, "E96", 2740),
        (3141.6, "E24", 3000),
        (5000, "E96", 4990),
        (1234, "E12", 1200),
        (9.9e-12, "E12", 10e-12),
        (1.01e-9, "E6", 1e-9),
        (9.95, "E96", 10.0),
        (4700, "E96", 4750),
    ],
)
def test_nearest_value(value, series, nearest):
    """The nearest preferred value is chosen by ratio, and the next decade's first one may be it."""
    assert nearest_value(value, series) == pytest.approx(nearest, rel=1e-12, abs=0)
