"""What the operating point says: supply at the unit, its current, its output at rest."""

from dataclasses import dataclass

from sim.deck.chain import Deck


@dataclass(frozen=True)
class Rest:
    """A unit at rest.

    Attributes
    ----------
    supply_v : float
        At the circuit's supply pin, after the feedline's drop. [V]
    current_ma : float
        Drawn from the supply. [mA]
    output_dc_v : float
        Output pin of the last op-amp. [V]
    """

    supply_v: float
    current_ma: float
    output_dc_v: float


def rest(operating: dict, deck: Deck) -> Rest:
    """Read supply and output off an operating point (vector names as in :attr:`Deck.operating`)."""
    last_output = deck.operating_output
    return Rest(
        supply_v=operating["vcc"],
        # The library counts current into the source as positive.
        current_ma=-operating["vz_sup#branch"] * 1e3,
        output_dc_v=operating[last_output] if last_output else float("nan"),
    )
