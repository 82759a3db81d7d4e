"""What differs from unit to unit outside the amplifier: its feedline, its bias tees, its supply, the jig on the bench.

Each has a name under which it is drawn, kept in units.parquet and ranked as a driver: ``feedline.length`` [m],
``feedline.velocity`` [1, against the record's], ``feedline.tee.choke.amplifier`` and so on, ``supply.regulator``,
``fixture.dummy``, ``antenna.dummy``. Only what a study gives a tolerance, or words that bring one, is drawn: all else
costs nothing and is shared by all units.

A jig is one piece for all units measured on it, so it is drawn once a build: it shifts the gain of all its units alike
and spoils no match. Tees at the receiver stand indoors at 25 °C, those at the amplifier are as warm as the unit.
"""

from dataclasses import replace

import numpy as np

from sim.antenna.fixture import fixture
from sim.deck.chain import Drawn, Feed, Jig, OutsidePart
from sim.deck.clamp import leakage_at
from sim.deck.weather import CONNECTOR, CONTACT, supply_contact
from sim.feedline.route import DC_REFERENCE_C, Route
from sim.quantity import PartValue, Tolerance
from sim.sampling.draw import draw_for_build, draw_part
from sim.study.weather import weather_of

TEE_PARTS = {"choke": "H", "choke_capacitance": "F", "choke_loss": "ohm", "choke_resistance": "ohm", "block": "F"}
"""Parts of a bias tee, as a study and :class:`sim.feedline.tee.Tee` name them, and their units."""
_FEED_PARTS = {"regulator": "V", "dropout": "V", "extra_current": "A", "converter_power": "W"}


def outside_parts(study, route: Route) -> tuple[OutsidePart, ...]:
    """All that a study lets differ outside the amplifier.

    Parameters
    ----------
    study : Study
        Of one scenario.
    route : Route
        Its feedline as it was meant.
    """
    line, found = study.feedline, []
    if route.length > 0 and line.length_tolerance > 0:
        share = line.length_tolerance / route.length
        found.append(OutsidePart("feedline.length", PartValue(route.length, Tolerance(-share, share)), "m"))
    if route.length > 0 and line.velocity_tolerance > 0:
        share = line.velocity_tolerance
        found.append(OutsidePart("feedline.velocity", PartValue(1.0, Tolerance(-share, share)), "1"))
    for end, tee in (("amplifier", route.at_amplifier), ("receiver", route.at_receiver)):
        for key, unit in TEE_PARTS.items() if tee is not None else ():
            name, outdoors = f"feedline.tee.{key}.{end}", end == "amplifier"
            found.append(OutsidePart(name, getattr(line.tee, key), unit, outdoors=outdoors))
    for key, unit in _FEED_PARTS.items():
        value = getattr(study.supply, key)
        if value is not None:
            found.append(OutsidePart(f"supply.{key}", value, unit))
    found += supply_contact(study)
    jigs = [("fixture", study.fixture)] + [("antenna", study.antenna)] * (study.antenna.model == "fixture")
    for table, jig in jigs:
        found += [OutsidePart(f"{table}.{key}", getattr(jig, key), "F", of_build=True) for key in ("dummy", "stray")]
    return tuple(part for part in found if part.value.tolerance is not None or (part.value.words and not part.of_build))


def nominal_feed(study, route: Route, temperature_c: float = DC_REFERENCE_C) -> Feed:
    """The feed of a study with everything at its nominal value."""
    words, on_coax = study.supply, study.feedline.power == "coax"
    weather = weather_of(study)
    contact, leak = (weather.get(key) for key in ("contact_resistance", "connector_leak"))
    return Feed(
        resistance=route.supply_resistance(temperature_c) if on_coax else 0.0,
        regulator=None if words.regulator is None else words.regulator.value,
        dropout=words.known_dropout.value,
        efficiency=words.efficiency,
        extra_current=0.0 if words.extra_current is None else words.extra_current.value,
        power=0.0 if words.converter_power is None else words.converter_power.value,
        contact=0.0 if contact is None else contact.value,
        leak=leak.value if leak is not None and on_coax else None,
    )


def nominal_jig(study) -> Jig:
    """The bench's jig with its nominal values."""
    return Jig(study.fixture.dummy.value, study.fixture.stray.value)


def draw_outside(parts, seed: int, units: np.ndarray, build: int, temperature_c: np.ndarray) -> dict[str, np.ndarray]:
    """Drawn values of many units, one array a part, shape (n_unit,) each. [SI]

    Parameters
    ----------
    parts : sequence of OutsidePart
    seed : int
    units : int ndarray, shape (n_unit,)
        0 is nominal.
    build : int
        Units made together.
    temperature_c : ndarray, shape (n_unit,)
        Of the units. [°C]
    """
    return {
        part.name: draw_for_build(part.value, part.name, seed, units, build)
        if part.of_build
        else draw_part(part.value, part.name, seed, units, build, temperature_c if part.outdoors else None)
        for part in parts
    }


def unit_outside(chain, drawn: dict[str, float], temperature_c: float) -> Drawn:
    """What one unit has outside its amplifier.

    Parameters
    ----------
    chain : Chain
    drawn : dict of str to float
        Values of the unit by the names of ``chain.outside``, and of what weather puts in the supply's way. [SI]
    temperature_c : float
        [°C]

    Returns
    -------
    Drawn
        None in it where the unit has what all have.
    """
    route = _route(chain.route, drawn)
    feed = replace(
        chain.feed,
        resistance=route.supply_resistance(temperature_c) if chain.through_line else 0.0,
        **_feed(drawn),
        **_weather(chain.feed, drawn),
    )
    jig = {key: drawn[f"fixture.{key}"] for key in ("dummy", "stray") if f"fixture.{key}" in drawn}
    antenna = {key: drawn[f"antenna.{key}"] for key in ("dummy", "stray") if f"antenna.{key}" in drawn}
    inputs = 2 if chain.circuit.balanced else 1
    known = {"dummy": getattr(chain.antenna, "dummy", None), "stray": inputs * chain.antenna.shunt_capacitance}
    return Drawn(
        feed=feed,
        route=route if route is not chain.route else None,
        jig=replace(chain.jig, **jig) if jig else None,
        antenna=fixture(chain.antenna.source, **{**known, **antenna}, inputs=inputs) if antenna else None,
        clamp_leakage=tuple(
            (one.node, leakage_at(drawn.get(one.name, one.value.value), temperature_c)) for one in chain.clamp_leakages
        ),
    )


def _feed(drawn: dict[str, float]) -> dict[str, float]:
    names = {"converter_power": "power"}
    return {names.get(key, key): drawn[f"supply.{key}"] for key in _FEED_PARTS if f"supply.{key}" in drawn}


def _weather(feed: Feed, drawn: dict[str, float]) -> dict[str, float]:
    """What of a feed's contact and leak is the unit's own."""
    found = {"contact": drawn[CONTACT]} if CONTACT in drawn else {}
    return found | ({"leak": drawn[CONNECTOR]} if CONNECTOR in drawn and feed.leak is not None else {})


def _route(route: Route, drawn: dict[str, float]) -> Route:
    changes = {}
    for end in ("amplifier", "receiver"):
        own = {key: drawn[f"feedline.tee.{key}.{end}"] for key in TEE_PARTS if f"feedline.tee.{key}.{end}" in drawn}
        if own:
            changes[f"at_{end}"] = replace(getattr(route, f"at_{end}"), **own)
    if "feedline.length" in drawn:
        changes["stretch"] = drawn["feedline.length"] / route.length
    if "feedline.velocity" in drawn:
        changes["velocity"] = drawn["feedline.velocity"]
    return replace(route, **changes) if changes else route
