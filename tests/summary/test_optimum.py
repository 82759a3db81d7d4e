"""The best value of a choice: which it is, how flat, and what ends the stretch."""

import math

import pytest

from sim.study.swept import Swept
from sim.summary.optimum import optima, spoken, told

KEY = "amplifier.parts.Cc"
VALUES = ("10p", "22p", "47p", "100p", "220p")
SWEPT = (Swept(KEY, {n: number for n, number in enumerate((10e-12, 22e-12, 47e-12, 100e-12, 220e-12))}),)


def entries(passes=(True,) * 5, others=None, first=0):
    """The answer's scenarios, one a value; those outside miss the stability margin."""
    worst = {"measure": "stability_margin", "frequency_hz": None}
    return [
        {
            "scenario": first + n,
            "values": {**(others or {}), KEY: VALUES[n]},
            "passes": keep,
            "yield": None if keep is None else 1.0 if keep else 0.1 * n,
            "worst": None if keep else worst,
        }
        for n, keep in enumerate(passes)
    ]


def losses(lost, first=0):
    """Losses at two bands, the upper one always 0.05 dB smaller."""
    return [
        {"scenario": first + n, "frequency_hz": f, "snr_loss_db": value - less}
        for n, value in enumerate(lost)
        for f, less in ((1.83e6, 0.0), (7.05e6, 0.05))
    ]


def test_the_least_loss_among_those_that_keep_the_limits():
    """22p to 100p lie within 0.1 dB of the best; 10p costs more, and 220p, the least of all, is not stable enough."""
    [one] = optima(SWEPT, entries((True, True, True, True, False)), losses((0.9, 0.39, 0.30, 0.33, 0.2)))
    assert one["best"] == {"scenario": 2, "value": "47p", "snr_loss_db": 0.30, "frequency_hz": 1.83e6}
    assert (one["flat"]["from"], one["flat"]["to"]) == ("22p", "100p") and one["end"] is None
    assert one["flat"]["most_db"] == pytest.approx(0.09)
    assert one["below"]["value"] == "10p" and one["below"]["because"] == "loss"
    assert one["above"]["value"] == "220p" and one["above"]["measure"] == "stability_margin"
    assert told([one])[:2] == [
        "Best Cc: 47p, which of the values that keep every limit costs the least signal to noise, 0.30 dB at 1.83 MHz.",
        "It is flat: 22p to 100p cost at most 0.09 dB more and keep every limit; 10p costs more; 220p misses the limit"
        " of stability margin.",
    ]


def test_a_flat_stretch_ends_at_the_first_gap():
    """A value as good as the best does not count beyond one that misses a limit."""
    [one] = optima(SWEPT, entries((True, False, True, True, True)), losses((0.30, 0.30, 0.31, 0.30, 0.29)))
    assert one["flat"]["scenarios"] == [2, 3, 4] and one["end"] == "largest" and one["above"] is None
    assert one["below"]["value"] == "22p"
    assert "it is the largest value tried" in told([one])[0]


def test_a_sharp_optimum():
    """Neighbours more than 0.1 dB away leave the best alone, and the answer says so."""
    [one] = optima(SWEPT, entries(), losses((0.9, 0.7, 0.3, 0.41, 0.8)))
    assert one["flat"]["scenarios"] == [2] and one["flat"]["most_db"] == 0
    assert told([one])[1].startswith("It is sharp: no value next to it comes within 0.1 dB of that and keeps")


def test_no_value_keeps_the_limits():
    """Then none is best, and the one with the highest yield is named as the nearest."""
    [one] = optima(SWEPT, entries((False,) * 5), losses((0.5, 0.4, 0.3, 0.2, 0.1)))
    assert one["best"] is None and one["flat"] is None and one["nearest"]["value"] == "220p"
    assert told([one]) == [
        "Best Cc: none, as no value keeps every limit; nearest is 220p with 40.0 % of units."
    ]


def test_without_limits_every_value_counts():
    """A study that sets no limits has an optimum, and nothing is said of keeping."""
    [one] = optima(SWEPT, entries((None,) * 5), losses((0.5, 0.4, 0.3, 0.2, 0.1)))
    assert one["best"]["value"] == "220p" and one["keeps"] == [True] * 5
    assert "limit" not in " ".join(told([one])[:2])


def test_one_optimum_for_each_combination_of_the_others():
    """A dry and a wet soil have their own best capacitors, in words with their own names."""
    both = entries(others={"antenna.soil": "dry"}) + entries(others={"antenna.soil": "wet"}, first=5)
    swept = (Swept(KEY, {n: SWEPT[0].numbers[n % 5] for n in range(10)}),)
    found = optima(swept, both, losses((5, 4, 3, 2, 1)) + losses((1, 2, 3, 4, 5), first=5))
    assert [(one["others"]["antenna.soil"], one["best"]["value"]) for one in found] == [("dry", "220p"), ("wet", "10p")]
    assert told(found)[0].startswith("Best Cc with dry: 220p, which")


def test_values_are_judged_in_order_of_their_numbers():
    """A list that is not written in order has neighbours by number all the same."""
    shuffled = [entries()[n] for n in (3, 0, 4, 2, 1)]
    [one] = optima(SWEPT, shuffled, losses((0.5, 0.4, 0.3, 0.2, 0.1)))
    assert one["values"] == list(VALUES) and one["flat"]["from"] == "100p"


def test_a_value_without_a_number_is_left_out():
    """Where the nominal unit failed there is no loss, and a bench source has none at all."""
    [one] = optima(SWEPT, entries(), losses((0.5, 0.4, 0.3, 0.2)))
    assert one["values"] == list(VALUES[:4]) and one["best"]["value"] == "100p"
    assert optima(SWEPT, entries(), []) == []


def test_strong_signals_are_not_passed_over_in_silence():
    """What is said of a part's best value says that headroom is not in it, as long as it is not computed."""
    found = optima(SWEPT, entries(), losses((0.5, 0.4, 0.3, 0.2, 0.1)))
    assert "no say in the best value" in told(found)[-1]
    assert not any("no say" in sentence for sentence in told(found, strong=True))


def test_losses_are_those_of_the_noise_equation():
    """Margins of 3, 6, 10 and 20 dB cost 1.76, 0.97, 0.41 and 0.04 dB (noise equation of ITU-R P.372, by hand)."""
    from sim.noise.density import snr_loss

    for margin, lost in ((3, 1.764), (6, 0.973), (10, 0.414), (20, 0.043)):
        assert math.isclose(snr_loss(margin), lost, abs_tol=6e-4)


@pytest.mark.parametrize(
    ("key", "words"),
    [
        (KEY, "Cc"),
        ("feedline.length", "feedline length"),
        ("feedline.tee.choke_loss", "feedline tee choke loss"),
    ],
)
def test_keys_as_people_say_them(key, words):
    """Parts by their name alone, other keys with their table."""
    assert spoken(key) == words
