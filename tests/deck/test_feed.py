"""The way of the supply to the amplifier in the simulator, against Ohm's law and the quadratic of a constant power."""

from types import SimpleNamespace

import numpy as np
import pytest

from sim.deck.chain import Feed
from sim.deck.feed import carried_power, feed_cards
from sim.engine.ngspice import Simulator
from sim.feedline.line import both_voltages_at_constant_power
from sim.measures.supply import OutOfRating, check_feed


@pytest.fixture(scope="module")
def simulator():
    """One loaded library for all decks of this file."""
    return Simulator()


def at_rest(simulator, feed, supply_v, load="r_load vcc 0 1e9"):
    """Operating point of a feed with a load: its end's volts, the pin's volts, the supply's current."""
    cards = feed_cards(feed, supply_v)
    simulator.load(("feed", *cards.lines, load, ".end"))
    names = dict.fromkeys(("vcc", cards.node, "vz_sup#branch", *([cards.current] if cards.current else [])))
    found = simulator.operating_point(tuple(names))
    return found, cards, (found[cards.node], found["vcc"], -found["vz_sup#branch"])


def test_both_solutions_of_a_constant_power():
    """0.6 W behind 39.95 ohm of 12 V: 9.468 V and 2.532 V, sum 12 V, product P R (hand calculation); 0.91 W: none."""
    upper, lower = both_voltages_at_constant_power(12.0, 0.6, 39.95)
    assert (upper, lower) == (pytest.approx(9.468, rel=1e-3), pytest.approx(2.532, rel=1e-3))
    assert upper + lower == pytest.approx(12.0) and upper * lower == pytest.approx(0.6 * 39.95)
    assert np.isnan(both_voltages_at_constant_power(12.0, 0.91, 39.95)).all()


# 12 V, 39.95 ohm, so at most 0.9011 W; with 20 mA beside it 11.201 V and 0.7851 W are left (hand calculation).
@pytest.mark.parametrize(
    ("power", "extra", "volts"),
    [(0.6, 0.0, 9.4684), (0.1, 0.0, 11.6573), (0.9, 0.0, 6.2121), (0.6, 0.02, 8.3200), (0.78, 0.02, 6.0528)],
)
def test_the_simulator_finds_the_upper_point(simulator, power, extra, volts):
    """Also near the limit, where the upper point lies close to half the supply, and beside another current."""
    found, cards, (line, pin, _) = at_rest(simulator, Feed(39.95, power=power, extra_current=extra), 12.0)
    assert line == pytest.approx(volts, abs=2e-4) and pin == pytest.approx(line)
    check_feed(found, SimpleNamespace(feed_current=cards.current), Feed(39.95, power=power, extra_current=extra), 12.0)


@pytest.mark.parametrize(("power", "extra"), [(0.91, 0.0), (3.0, 0.0), (0.79, 0.02)])
def test_more_than_the_line_carries_is_refused(simulator, power, extra):
    """Above V²/(4 R) there is no point to rest at, and the unit says so instead of giving one."""
    feed = Feed(39.95, power=power, extra_current=extra)
    found, cards, _ = at_rest(simulator, feed, 12.0)
    with pytest.raises(OutOfRating, match="reaches it through 40 Ω|reaches it through 39.9 Ω"):
        check_feed(found, SimpleNamespace(feed_current=cards.current), feed, 12.0)


def test_carried_power():
    """144/(4 * 39.95) = 0.9011 W; 0.7851 W beside 20 mA (hand calculation)."""
    assert carried_power(Feed(39.95), 12.0, 0.0) == pytest.approx(0.9011, abs=1e-4)
    assert carried_power(Feed(39.95), 12.0, 0.02) == pytest.approx(0.7851, abs=1e-4)
    assert carried_power(Feed(39.95), 12.0, 0.4) == 0


# A load of 80 ohm: 100 mA at 8 V.
@pytest.mark.parametrize(
    ("supply_v", "line", "pin"),
    [(12.0, 10.0, 8.0), (10.5, 8.5, 8.0), (10.0, 8.1, 7.6), (5.0, 4.1, 3.6)],
)
def test_linear_regulator(simulator, supply_v, line, pin):
    """Behind 20 ohm: 8 V while the line has 8.5 V, then 0.5 V less than the line; it passes its current on."""
    # In dropout V = V_s - 20 (V - 0.5)/80, so V = (V_s + 0.125)/1.25 (hand calculation).
    _, _, found = at_rest(simulator, Feed(20.0, regulator=8.0, dropout=0.5), supply_v, "r_load vcc 0 80")
    assert found == (pytest.approx(line), pytest.approx(pin), pytest.approx(pin / 80))


def test_switching_regulator(simulator):
    """0.8 W at 85 %: 0.9412 W behind 20 ohm of 12 V rest at 10.1445 V (quadratic, by hand); V I is that power."""
    feed = Feed(20.0, regulator=8.0, dropout=0.5, efficiency=0.85)
    _, _, (line, pin, current) = at_rest(simulator, feed, 12.0, "r_load vcc 0 80")
    assert (line, pin) == (pytest.approx(10.1445, abs=1e-4), pytest.approx(8.0))
    assert line * current == pytest.approx(0.8 / 0.85)


def test_a_converter_is_a_constant_current_for_signals(simulator):
    """1 A into the line meets the feed's 40 ohm and no negative resistance of the converter."""
    cards = feed_cards(Feed(40.0, power=0.6), 12.0)
    simulator.load(("feed", *cards.lines, "r_load vcc 0 1e9", "i_ac 0 vcc dc 0 ac 1", ".end"))
    assert simulator.ac("dec 2 10.0 1e6", ("vcc",))["vcc"] == pytest.approx(40.0, rel=1e-5)


def test_a_plain_feed_is_a_resistor():
    """Without anything beside the amplifier there is one resistor, as short a deck as before."""
    assert feed_cards(Feed(0.0), 12.0).lines == ("vz_sup z_sup 0 dc 12.0", "rz_feed z_sup vcc 0.0001 noisy=0")
