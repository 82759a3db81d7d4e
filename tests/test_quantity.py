"""Quantities, parts, limits and spans as engineers write them."""

import math
import pickle

import numpy as np
import pytest

from sim.quantity import (
    WORDS,
    Limit,
    PartValue,
    QuantityError,
    Tolerance,
    db,
    db_power,
    format_quantity,
    from_db,
    from_db_power,
    parse_limit,
    parse_part,
    parse_quantity,
    parse_span,
    parse_tolerance_and_words,
)

# ---------------------------------------------------------------------- numbers


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("10k", "ohm", 10e3),
        ("10 kΩ", "ohm", 10e3),
        ("10 k\N{OHM SIGN}", "ohm", 10e3),
        ("10kohm", "ohm", 10e3),
        ("75", "ohm", 75.0),
        ("75 ohm", "ohm", 75.0),
        ("75R", "ohm", 75.0),
        ("1meg", "ohm", 1e6),
        ("1 MΩ", "ohm", 1e6),
        ("20m", "ohm", 20e-3),
        ("8.2p", "F", 8.2e-12),
        ("0.25 pF", "F", 0.25e-12),
        (".5n", "F", 0.5e-9),
        ("100 nF", "F", 100e-9),
        ("1 \N{MICRO SIGN}F", "F", 1e-6),
        ("1 \N{GREEK SMALL LETTER MU}F", "F", 1e-6),
        ("5 fF", "F", 5e-15),
        ("2 F", "F", 2.0),
        ("220u", "H", 220e-6),
        ("1.83M", "Hz", 1.83e6),
        ("7050 kHz", "Hz", 7050e3),
        ("1.5 GHz", "Hz", 1.5e9),
        ("1.83m", "Hz", 1.83e-3),
        ("120 m", "m", 120.0),
        ("120m", "m", 120.0),
        ("8 mm", "m", 8e-3),
        ("2 km", "m", 2e3),
        ("12 V", "V", 12.0),
        ("500 mV", "V", 0.5),
        ("20 mA", "A", 20e-3),
        ("290 K", "K", 290.0),
        ("12 dB", "dB", 12.0),
        ("-20 °C", "degC", -20.0),
        ("-20 C", "degC", -20.0),
        ("50 ns", "s", 50e-9),
        ("5 mS/m", "S/m", 5e-3),
        ("5%", "1", 0.05),
        ("3", "1", 3.0),
        ("3 m", "1", 3e-3),
        ("  12   dB ", "dB", 12.0),
        ("1e3", "ohm", 1e3),
        ("1.5E-12", "F", 1.5e-12),
        ("+7", "m", 7.0),
        (7, "m", 7.0),
        (0.5, "m", 0.5),
    ],
)
def test_quantities(text, unit, value):
    """Prefix, unit, blanks and signs are read, to the last bit of the same decimal number."""
    assert parse_quantity(text, unit) == value


@pytest.mark.parametrize("unit", ["ohm", "F", "Hz", "m"])
def test_prefixes_do_not_round(unit):
    """For every prefix: 8.2p is 8.2e-12 and not 8.2 times a rounded 1e-12."""
    for prefix, power in {"p": -12, "n": -9, "u": -6, "k": 3, "M": 6, "G": 9}.items():
        for number in ("8.2", "1.83", "4.7", "0.1", "3.3e1"):
            assert parse_quantity(f"{number}{prefix}", unit) == float(f"{float(number)}e{power}")


@pytest.mark.parametrize(
    ("text", "unit", "message"),
    [
        ("120 ohm", "m", '"120 ohm" is not in m. Write a length, for example "120 m" or "8 mm".'),
        ("120 V", "ohm", '"120 V" is not in ohm. Write ohms, for example "10k" or "75 ohm".'),
        ("12 dBm", "dB", '"12 dBm" is not in dB. Write decibels, for example "12 dB".'),
        ("12 mdB", "dB", '"12 mdB" is not in dB. Write decibels, for example "12 dB".'),
        ("5%", "F", '"5%" is not in F. Write farads, for example "8.2p" or "100 nF".'),
        ("5 pp", "F", '"5 pp" is not in F. Write farads, for example "8.2p" or "100 nF".'),
        ("20 F", "degC", '"20 F" is not in degrees Celsius. Write a temperature in degrees Celsius, for example "20".'),
        ("3 V", "1", '"3 V" is not in a plain number. Write a number.'),
        ("ten", "m", '"ten" is no quantity. Write a length, for example "120 m" or "8 mm".'),
        ("", "V", '"" is no quantity. Write a voltage, for example "12 V".'),
        ("--7", "m", '"--7" is no quantity. Write a length, for example "120 m" or "8 mm".'),
        ("nan", "A", '"nan" is no quantity. Write a current, for example "20 mA".'),
        ("1e999", "s", '"1e999" is not a finite number. Write a time, for example "50 ns".'),
        ("1e99999", "K", '"1e99999" is not in K. Write a temperature, for example "290 K".'),
        (math.inf, "H", 'inf is not a finite number. Write henries, for example "220u" or "1 uH".'),
        (
            10**400,
            "S/m",
            'a number of more than 60 digits is not a finite number. Write a conductivity, for example "5 mS/m".',
        ),
        (True, "Hz", 'true is no quantity. Write a frequency, for example "1.83M" or "7050 kHz".'),
        (None, "V", 'None is no quantity. Write a voltage, for example "12 V".'),
        (["1"], "V", 'a list is no quantity. Write a voltage, for example "12 V".'),
        ("1,83M", "Hz", '"1,83M" is not in Hz. Decimals take a point: "1.83M".'),
        ("4k7", "ohm", '"4k7" is not in ohm. Write "4.7k".'),
        ("4R7", "ohm", '"4R7" is not in ohm. Write "4.7".'),
        ("4x7", "ohm", '"4x7" is not in ohm. Write ohms, for example "10k" or "75 ohm".'),
    ],
)
def test_what_is_no_quantity(text, unit, message):
    """What was found and what would do are said."""
    with pytest.raises(QuantityError) as caught:
        parse_quantity(text, unit)
    assert str(caught.value) == message


@pytest.mark.parametrize("text", ["1" * 200_000 + "x", "1 " + " " * 200_000 + "x", "." * 200_000, "1e" + "9" * 200_000])
def test_long_nonsense_is_refused_at_once(text):
    """No text makes the reader think for long; the message stays short."""
    for read in (lambda t: parse_quantity(t, "F"), lambda t: parse_part(t, "F"), parse_limit):
        with pytest.raises(QuantityError) as caught:
            read(text)
        assert len(str(caught.value)) < 250


def test_errors_can_be_sent_between_processes():
    """Pickling keeps both halves of the message."""
    error = pickle.loads(pickle.dumps(QuantityError("found.", "remedy.")))
    assert (error.found, error.remedy, str(error)) == ("found.", "remedy.", "found. remedy.")


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (8.2e-12, "F", "8.2 pF"),
        (10e3, "ohm", "10 kΩ"),
        (75.0, "ohm", "75 Ω"),
        (1.83e6, "Hz", "1.83 MHz"),
        (8e-3, "m", "8 mm"),
        (120.0, "m", "120 m"),
        (0.0, "m", "0 m"),
        (12.0, "dB", "12 dB"),
        (-20.0, "degC", "-20 °C"),
        (0.05, "1", "0.05"),
        (0.005, "S/m", "0.005 S/m"),
        (math.nan, "F", "–"),
        (math.inf, "F", "–"),
        (None, "F", "–"),
    ],
)
def test_quantities_are_shown_as_engineers_write_them(value, unit, text):
    """Prefix, unit, no zeros at the end; a dash for what is not there."""
    assert format_quantity(value, unit) == text


def test_digits():
    """Significant digits are as asked for."""
    assert format_quantity(1.23456e-12, "F") == "1.235 pF"
    assert format_quantity(1.23456e-12, "F", 3) == "1.23 pF"
    assert format_quantity(12.3456, "dB", 3) == "12.3 dB"


def test_shown_quantities_read_back():
    """What is shown is read as the value shown, for numbers of four digits of every size."""
    random = np.random.default_rng(4)
    for mantissa, power in zip(random.integers(1000, 9999, 300), random.integers(-15, 6, 300), strict=True):
        value = float(f"{mantissa}e{power}")
        for unit in ("F", "ohm", "Hz"):
            assert parse_quantity(format_quantity(value, unit), unit) == value


# ---------------------------------------------------------------------- parts


@pytest.mark.parametrize(
    ("text", "value", "low", "high", "words"),
    [
        ("8.2p 5% C0G lot", 8.2e-12, -0.05, 0.05, ("c0g", "lot")),
        ("8.2p 5 % C0G lot", 8.2e-12, -0.05, 0.05, ("c0g", "lot")),
        ("8.2 pF ±5% NP0", 8.2e-12, -0.05, 0.05, ("c0g",)),
        ("8.2p +-5% COG", 8.2e-12, -0.05, 0.05, ("c0g",)),
        ("8.2p +/-5%", 8.2e-12, -0.05, 0.05, ()),
        ("8.2p C0G 5%", 8.2e-12, -0.05, 0.05, ("c0g",)),
        ("10p 0.25p", 10e-12, -0.025, 0.025, ()),
        ("10p 0.25 pF mica normal", 10e-12, -0.025, 0.025, ("mica", "normal")),
        ("10p ±0.25 pF", 10e-12, -0.025, 0.025, ()),
        ("10u -20%/+80% electrolytic", 10e-6, -0.2, 0.8, ("electrolytic",)),
        ("10u -20 % / +80 %", 10e-6, -0.2, 0.8, ()),
        ("10u -20/+80%", 10e-6, -0.2, 0.8, ()),
        ("10u +80%/-20%", 10e-6, -0.2, 0.8, ()),
        ("10u 0%", 10e-6, 0.0, 0.0, ()),
        ("10u 0.5%", 10e-6, -0.005, 0.005, ()),
    ],
)
def test_parts(text, value, low, high, words):
    """Value, tolerance and words, with absolute spreads as a share of the value."""
    part = parse_part(text, "F")
    assert (part.value, part.words) == (value, words)
    assert (part.tolerance.low, part.tolerance.high) == pytest.approx((low, high), rel=1e-15, abs=0)


@pytest.mark.parametrize("text", ["10p", "10p lot", 10e-12, "10 pF lot"])
def test_parts_without_tolerance(text):
    """No tolerance is no tolerance of zero."""
    part = parse_part(text, "F")
    assert (part.value, part.tolerance) == (10e-12, None)


def test_a_word_behind_a_bare_number_is_no_unit():
    """Ten of one lot are no lots."""
    assert parse_part("10 lot", "ohm") == PartValue(10.0, None, ("lot",))
    assert parse_part("12 V 5%", "V") == PartValue(12.0, Tolerance(-0.05, 0.05), ())


def test_what_is_left_out_stays_the_default():
    """Tolerance and words each come from the default where the text has none."""
    default = PartValue(1.0, Tolerance(-0.1, 0.1), ("thick-film", "lot"))
    assert parse_part("2k", "ohm", default) == PartValue(2e3, default.tolerance, default.words)
    assert parse_part(2000, "ohm", default) == PartValue(2e3, default.tolerance, default.words)
    assert parse_part("2k 0%", "ohm", default) == PartValue(2e3, Tolerance(-0.0, 0.0), default.words)
    assert parse_part("2k thin-film", "ohm", default) == PartValue(2e3, default.tolerance, ("thin-film",))


@pytest.mark.parametrize("word", WORDS)
def test_every_word_is_known_in_any_case(word):
    """Each word of the list is read, however it is written."""
    assert parse_tolerance_and_words(word.upper(), 1.0, "F") == (None, (word,))


def test_an_inductor_may_be_wound_on_a_ferrite():
    """These two kinds go together; a word said twice is one."""
    assert parse_part("10u 10% wound ferrite wound", "H").words == ("wound", "ferrite")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("8.2p 5", 'tolerance "5" has no unit. Write a percentage ("5 %") or an absolute spread ("0.25 pF").'),
        ("8.2p 5 C0G", 'tolerance "5" has no unit. Write a percentage ("5 %") or an absolute spread ("0.25 pF").'),
        ("8.2p 0.1V", '"0.1V" is no tolerance. Write a percentage ("5 %") or an absolute spread ("0.25 pF").'),
        ("8.2p 1.2.3%", '"1.2.3%" is no tolerance. Write a percentage ("5 %") or an absolute spread ("0.25 pF").'),
        ("8.2p -5%", 'tolerance "-5%" has one side. Write "5 %", or both sides with their signs: "-20%/+80%".'),
        ("8.2p 5% 3%", '"3%" is one number too many. Write value, tolerance and words: "8.2p 5% C0G lot".'),
        ("8.2p 5% 0.2p", '"0.2p" is one number too many. Write value, tolerance and words: "8.2p 5% C0G lot".'),
        ("8.2p 100%", 'tolerance "100%" reaches zero. Write less than 100 %, or less than the value itself.'),
        ("8.2p 9p", 'tolerance "9p" reaches zero. Write less than 100 %, or less than the value itself.'),
        (
            "8.2p -100%/+80%",
            'tolerance "-100%/+80%" reaches zero. Write less than 100 %, or less than the value itself.',
        ),
        ("0 0.1p", 'a value of 0 has no tolerance. Write farads, for example "8.2p" or "100 nF".'),
        ("8.2p 5% filn", f'"filn" is not a word for a part. Nearest: film. Known: {", ".join(WORDS)}.'),
        ("8.2p x7r c0g", '"x7r" and "c0g" are two kinds for one part. Keep one of them.'),
        ("8.2p uniform normal", '"uniform" and "normal" are two shapes for one part. Keep one of them.'),
        ("5 %", '"5 %" has no value. Write the value first: "8.2p 5%".'),
        ("-20%/+80% lot", '"-20%/+80% lot" has no value. Write the value first: "8.2p 5%".'),
        ("", '"" is no quantity. Write farads, for example "8.2p" or "100 nF".'),
        ("8.2 kV 5%", '"8.2 kV" is not in F. Write farads, for example "8.2p" or "100 nF".'),
        ("lot", '"lot" is no quantity. Write farads, for example "8.2p" or "100 nF".'),
    ],
)
def test_what_is_no_part(text, message):
    """Every half-written part is refused with the whole message."""
    with pytest.raises(QuantityError) as caught:
        parse_part(text, "F")
    assert str(caught.value) == message


def test_tolerances_are_shown_short():
    """Both sides at once where they are alike."""
    assert str(Tolerance(-0.05, 0.05)) == "±5 %"
    assert str(Tolerance(-0.2, 0.8)) == "-20 %/+80 %"


# ---------------------------------------------------------------------- limits and spans


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("> 10", 10, math.inf),
        (">10", 10, math.inf),
        (">= -3.5", -3.5, math.inf),
        ("< 3", -math.inf, 3),
        ("<= 3", -math.inf, 3),
        ("10 +- 1", 9, 11),
        ("10.7 +- 0.6", 10.1, 11.3),
        ("0 ± .2", -0.2, 0.2),
        ("-1 +/- 0.5", -1.5, -0.5),
        ("8..12", 8, 12),
        ("-1 .. 1", -1, 1),
        ("5..5", 5, 5),
    ],
)
def test_limits(text, low, high):
    """All four ways of writing a bound, with decimal ends that are exact."""
    assert parse_limit(text) == Limit(low, high)


@pytest.mark.parametrize("text", ["10", 10, "> ten", "> 10 dB", "> inf", "> nan", "10 +- -1", "", None, "> 1e999"])
def test_what_is_no_limit(text):
    """A bound of another form, or of no number, is refused."""
    with pytest.raises(QuantityError) as caught:
        parse_limit(text)
    shown = f'"{text}"' if isinstance(text, str) else str(text)
    assert str(caught.value) == f'{shown} is no limit. Write "> 10", "< 3", "10 +- 1" or "8..12", without a unit.'


def test_a_limit_must_leave_something():
    """Ends the wrong way round are said to be that."""
    with pytest.raises(QuantityError) as caught:
        parse_limit("12..8")
    assert str(caught.value) == '"12..8" leaves nothing between its ends. Write the lower end first.'


def test_limits_hold_at_their_ends_and_never_for_nan():
    """A value on the bound passes, one that is not there does not."""
    values = np.array([8, 7.999, 12, 12.001, np.nan, np.inf])
    assert Limit(8, 12).holds(values).tolist() == [True, False, True, False, False, False]
    assert Limit(8, math.inf).holds(values).tolist() == [True, False, True, True, False, True]
    assert not Limit(-math.inf, math.inf).holds(np.nan)


def test_limits_are_shown_as_written():
    """An open side is shown by its sign."""
    assert [str(parse_limit(text)) for text in ("> 10", "< 3", "10 +- 1")] == ["> 10", "< 3", "9..11"]


@pytest.mark.parametrize(
    ("text", "span"),
    [
        ("-20..40", (-20, 40)),
        ("20", (20, 20)),
        (20, (20, 20)),
        ("-20 °C .. 40 °C", (-20, 40)),
        ("-40..-20", (-40, -20)),
    ],
)
def test_spans(text, span):
    """Two ends, or one value for both."""
    assert parse_span(text, "degC") == span


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("40..-20", '"40..-20" runs downwards. Write the lower end first.'),
        ("-20..", '"" is no quantity. Write a temperature in degrees Celsius, for example "20".'),
        ("warm", '"warm" is no quantity. Write a temperature in degrees Celsius, for example "20".'),
    ],
)
def test_what_is_no_span(text, message):
    """Half a range, or one that runs downwards, is refused."""
    with pytest.raises(QuantityError) as caught:
        parse_span(text, "degC")
    assert str(caught.value) == message


# ---------------------------------------------------------------------- decibels


def test_decibels():
    """20 log10 of amplitudes, whatever their phase; 10 log10 of powers; and back."""
    assert db(np.array([10, -10, 10j])) == pytest.approx([20, 20, 20])
    assert db_power(100.0) == pytest.approx(20)
    assert from_db([20, -20]) == pytest.approx([10, 0.1])
    assert from_db_power(30) == pytest.approx(1000)
    assert db(from_db(7.3)) == pytest.approx(7.3)
    assert db_power(from_db_power(7.3)) == pytest.approx(7.3)
