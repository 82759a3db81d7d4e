"""How the amplifier gets its volts: the line's resistance, what else draws on it at the unit, a regulator.

    supply ── R of line and chokes ──┬── line ──┬── regulator ── vcc of the amplifier
                                 constant   constant
                                 current    power

A corroded contact stands between line and unit, water in the connector across the line before it, see
:mod:`sim.deck.weather`.

A linear regulator passes its load's current on and gives its output as long as the line has the dropout more; below, it
gives the line less the dropout. A switching one of efficiency n draws the constant power V_out I/n from the line.

A constant power P behind R meets V² - V_s V + P R = 0: (V_s + sqrt(V_s² - 4 P R))/2 is the stable point, with the
minus sign the other one, at which a feed starts badly or collapses; above P = V_s²/(4 R) there is none. Limiting the
current to that at V_s/2, which lies between the two, leaves the simulator the upper one alone. At signal frequencies
the converter's input is taken as a constant current, as an input capacitor makes it.

Not covered: start-up, a regulator's noise, ripple and finite bandwidth, the converter's own interference.
"""

from dataclasses import dataclass

from sim.deck.chain import Feed

_LEAST_RESISTANCE = 1e-4
"""Keeps the supply's current readable where there is no line. [Ω]"""


@dataclass(frozen=True)
class FeedCards:
    """Cards of a feed and what to read.

    Attributes
    ----------
    lines : tuple of str
    node : str
        Where the feed ends: at the amplifier, before a regulator.
    current : str
        Vector of the amplifier's current; empty where the supply's own is that.
    """

    lines: tuple[str, ...]
    node: str
    current: str = ""


def feed_cards(feed: Feed, supply_v: float, pin: str = "vcc", mark: str = "z_") -> FeedCards:
    """The feed of one unit as cards.

    Parameters
    ----------
    feed : Feed
    supply_v : float
        [V]
    pin : str
        The amplifier's supply node.
    mark : str
        Begins the names of elements (after the type letter) and nodes.

    Returns
    -------
    FeedCards
        The current out of the supply is ``v<mark>sup#branch`` with the minus sign.
    """
    sup, line = f"{mark}sup", f"{mark}line"
    lines = [f"v{mark}sup {sup} 0 dc {supply_v!r}"]
    if not feed.loaded:
        return FeedCards((*lines, *_way(feed, sup, pin, mark)), pin)
    lines += _way(feed, sup, line, mark)
    amplifier, passed = f"i(v{mark}amp)", "0"
    if feed.regulator is None:
        lines.append(f"v{mark}amp {line} {pin} dc 0")
        passed = amplifier
    else:
        most = f"v({line})-({feed.dropout!r})"
        lines += [
            f"b{mark}reg {mark}reg 0 v=max(min({feed.regulator!r},{most}),0)",
            f"v{mark}amp {mark}reg {pin} dc 0",
        ]
        if feed.efficiency is None:
            lines.append(f"f{mark}reg {line} 0 v{mark}amp 1")
            passed = amplifier
    if feed.extra_current:
        lines.append(f"i{mark}extra {line} 0 dc {feed.extra_current!r}")
    power = [repr(feed.power)] if feed.power else []
    if feed.regulator is not None and feed.efficiency is not None:
        power.append(f"v({mark}reg)*{amplifier}/{feed.efficiency!r}")
    if power:
        # Behind 1 gigaohm and 1 farad only what stands still is seen.
        volts, ohms = feed.thevenin(supply_v)
        half = f"0.5*({volts!r}-{max(ohms, _LEAST_RESISTANCE)!r}*({passed}+({feed.extra_current!r})))"
        lines += [
            f"r{mark}ctl {line} {mark}ctl 1e9 noisy=0",
            f"c{mark}ctl {mark}ctl 0 1",
            f"b{mark}con {line} 0 i=({'+'.join(power)})/max(max(v({mark}ctl),{half}),0.1)",
        ]
    return FeedCards(tuple(lines), line, f"v{mark}amp#branch")


def _way(feed: Feed, begin: str, end: str, mark: str) -> list[str]:
    """Resistance from supply to unit; with water in the connector that leaks behind the line and before the contact."""
    if feed.leak is None:
        return [f"r{mark}feed {begin} {end} {max(feed.resistance + feed.contact, _LEAST_RESISTANCE)!r} noisy=0"]
    wet = f"{mark}wet"
    return [
        f"r{mark}feed {begin} {wet} {max(feed.resistance, _LEAST_RESISTANCE)!r} noisy=0",
        f"r{mark}leak {wet} 0 {feed.leak!r} noisy=0",
        f"r{mark}contact {wet} {end} {max(feed.contact, _LEAST_RESISTANCE)!r} noisy=0",
    ]


def carried_power(feed: Feed, supply_v: float, other_a: float) -> float:
    """The largest constant power that reaches the unit, V²/(4 R) of what other currents leave.

    Parameters
    ----------
    feed : Feed
    supply_v : float
        [V]
    other_a : float
        Currents through the line beside the converter's. [A]

    Returns
    -------
    power : float
        [W]
    """
    volts, ohms = feed.thevenin(supply_v)
    ohms = max(ohms, _LEAST_RESISTANCE)
    return max(volts - ohms * other_a, 0.0) ** 2 / (4 * ohms)
