"""Which pin of a maker's subcircuit is which: what its names say, and what its comments say.

By custom the order is + input, - input, + supply, - supply, output, but nothing makes a file keep it. What is found
here is a guess with its reason; :mod:`sim.measures.maker.prove` proves it.
"""

import itertools
import re
from dataclasses import dataclass

ROLES = ("inp", "inn", "vcc", "vee", "out")
"""The pins of an op-amp, as circuits give them."""
TIES = ("gnd", "nc")
"""What else a port may be: tied to ground, or left open."""

_NAMES = {
    "inp": "inp in+ +in inplus vin+ vinp nonin noninv ninv nip ip pin plus + ino+ in_p 1in+ ina+",
    "inn": "inn in- -in inm inminus vin- vinn vinm inv invin nin minus - in_n in_m 1in- ina-",
    "vcc": "vcc v+ +v vs+ +vs vp+ vdd vpos vplus vsp vccp vcc+ avdd vps",
    "vee": "vee v- -v vs- -vs vn- vss vneg vminus vsn vccn vcc- vee- avss vms",
    "out": "out vout output o vo out1 1out outa",
}
_ROLE_OF_NAME = {name: role for role, names in _NAMES.items() for name in names.split()}

_PHRASES = (
    ("inp", r"non.?inv|positive\s+input|\+\s*in|in\w*\s*\+|input\s*\(?\+"),
    ("inn", r"inverting|negative\s+input|-\s*in|in\w*\s*-|input\s*\(?-"),
    ("vcc", r"(positive|pos\.?|\+)\s*(power\s*)?(supply|rail)|v\s*\+|\+\s*v|vcc|vdd|vs\s*\+"),
    ("vee", r"(negative|neg\.?|-)\s*(power\s*)?(supply|rail)|v\s*-|-\s*v|vee|vss|vs\s*-"),
    ("out", r"out"),
)


@dataclass(frozen=True)
class Pins:
    """What each port of a subcircuit is.

    Attributes
    ----------
    roles : tuple of str
        One for each port: of :data:`ROLES` (a second time: tied to that pin) or :data:`TIES`.
    reason : str
        Where that comes from, as said to people.
    """

    roles: tuple[str, ...]
    reason: str


def guessed_pins(ports: tuple[str, ...], comments: tuple[str, ...]) -> Pins | None:
    """What the ports of a subcircuit most likely are; None where nothing is said and there are not five.

    Parameters
    ----------
    ports : tuple of str
        As written.
    comments : tuple of str
        Comment lines above and just below the ``.subckt`` line, without their asterisk.
    """
    named = [_ROLE_OF_NAME.get(port.lower()) for port in ports]
    if set(ROLES) <= set(named) and len([role for role in named if role]) == len(ROLES) == len(ports):
        return Pins(tuple(named), "names of the ports")
    said = _from_comments(len(ports), comments)
    if said is not None:
        return Pins(said, "comments above the subcircuit")
    if len(ports) == len(ROLES):
        return Pins(ROLES, "custom: + input, - input, + supply, - supply, output")
    return None


def _role_of_phrase(phrase: str) -> str | None:
    return next((role for role, pattern in _PHRASES if re.search(pattern, phrase, re.IGNORECASE)), None)


def _from_comments(count: int, comments: tuple[str, ...]) -> tuple[str, ...] | None:
    """Roles of a block of comments with one line a port, or of one line that lists them."""
    phrases = [
        re.sub(r"[*|:;\s]+", " ", re.sub(r"(?i)connections?|pin\s*out|pins?|order|node", " ", line)).strip()
        for line in comments
    ]
    roles = [_role_of_phrase(phrase) for phrase in phrases if re.search(r"[A-Za-z+-]", phrase)]
    for start in range(len(roles) - count, -1, -1):
        block = roles[start : start + count]
        if set(block) == set(ROLES) and count == len(ROLES):
            return tuple(block)
    for phrase in phrases:
        words = [_ROLE_OF_NAME.get(word.lower()) for word in phrase.replace(",", " ").split()]
        if len(words) == count == len(ROLES) and set(words) == set(ROLES):
            return tuple(words)
    return None


def sensible_orders(roles: tuple[str, ...]) -> tuple[tuple[str, ...], ...]:
    """All orders of the five pins on the same ports, the given one first; what is tied stays."""
    first = [roles.index(role) for role in ROLES]
    found = [roles]
    for order in itertools.permutations(ROLES):
        trial = list(roles)
        for place, role in zip(first, order, strict=True):
            trial[place] = role
        if tuple(trial) not in found:
            found.append(tuple(trial))
    return tuple(found)
