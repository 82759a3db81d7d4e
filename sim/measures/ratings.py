"""Ratings of an op-amp at rest: volts between its supply pins, input range, output swing, output current.

A unit's resting voltages are kept for every op-amp; each rating is one of them against a number of the record. What a
record does not hold, such as package thermal data, is no rating here.
"""

from dataclasses import dataclass

import numpy as np

from sim.deck.chain import Deck
from sim.opamp.catalogue import OpampRecord

NEAR_LIMIT_V = 0.1
"""An output this near to its swing limit is taken to be stuck there; own choice. [V]"""

RESTING = ("volts", "input_above", "input_below", "output_above", "output_below", "output_current")
"""What is kept of an op-amp at rest: between its supply pins; from the negative pin up to its lower input, from its
higher input up to the positive pin; the same of its output; out of or into its output. [V, A]"""


@dataclass(frozen=True)
class Rating:
    """One number of a data sheet that a resting op-amp must keep to.

    Attributes
    ----------
    name : str
        In a table.
    resting : str
        One of :data:`RESTING`.
    most : bool
        Whether it is the largest allowed, else the least.
    unit : str
    """

    name: str
    resting: str
    most: bool
    unit: str = "V"

    def limit(self, record: OpampRecord) -> float:
        """The number itself, as far as the record has it. [V, A]"""
        return {
            "volts": record.supply_max if self.most else record.supply_min,
            "input_above": record.cm_low,
            "input_below": record.cm_high,
            "output_above": record.headroom + NEAR_LIMIT_V,
            "output_below": record.headroom + NEAR_LIMIT_V,
            "output_current": record.iout,
        }[self.resting]

    @property
    def key(self) -> str:
        """Key of the record that holds it."""
        return {
            "volts": "supply_max_v" if self.most else "supply_min_v",
            "input_above": "vin_cm_low_headroom_v",
            "input_below": "vin_cm_high_headroom_v",
            "output_above": "output_swing_headroom_v",
            "output_below": "output_swing_headroom_v",
            "output_current": "iout_ma",
        }[self.resting]

    def excess(self, values: np.ndarray, limit: float) -> np.ndarray:
        """How far values lie beyond the limit, negative inside; same shape and unit."""
        return values - limit if self.most else limit - values


RATINGS = (
    Rating("supply, most", "volts", True),
    Rating("supply, least", "volts", False),
    Rating("input above negative supply", "input_above", False),
    Rating("input below positive supply", "input_below", False),
    Rating("output above negative supply", "output_above", False),
    Rating("output below positive supply", "output_below", False),
    Rating("output current at rest", "output_current", True, "A"),
)
"""All ratings, in the order of ratings.csv."""


def resting_volts(operating: dict, deck: Deck) -> np.ndarray:
    """Resting voltages and output current of every op-amp of a unit, shape (n_device, len(RESTING)). [V, A]

    Parameters
    ----------
    operating : dict of str to float
        Operating point by vector name. [V, A]
    deck : Deck

    Notes
    -----
    The output current is the drop at the macromodel's output resistance over that resistance; NaN where the model
    shows no such node.
    """
    found = []
    for device in deck.resting:
        # A node that is ground is not among the vectors.
        inp, inn, vcc, vee, out = (operating.get(pin, 0.0) for pin in device.pins)
        current = abs(operating[device.stage] - out) / device.rout if device.stage else float("nan")
        found.append((vcc - vee, min(inp, inn) - vee, vcc - max(inp, inn), out - vee, vcc - out, current))
    return np.array(found).reshape(-1, len(RESTING))


def input_reserve(resting: np.ndarray, deck: Deck) -> float:
    """Least distance of any input from the ends of its op-amp's common-mode range; infinite without op-amps. [V]

    Parameters
    ----------
    resting : ndarray, shape (n_device, len(RESTING))
    deck : Deck
    """
    limits = np.array([(device.cm_low, device.cm_high) for device in deck.resting]).reshape(-1, 2)
    return float(np.min(resting[:, 1:3] - limits, initial=np.inf))


def output_reserve(resting: np.ndarray, deck: Deck) -> float:
    """Least distance of any output from :data:`NEAR_LIMIT_V` before its swing ends; infinite without op-amps. [V]

    Parameters
    ----------
    resting : ndarray, shape (n_device, len(RESTING))
    deck : Deck
    """
    limits = np.array([device.headroom + NEAR_LIMIT_V for device in deck.resting]).reshape(-1, 1)
    return float(np.min(resting[:, 3:5] - limits, initial=np.inf))
