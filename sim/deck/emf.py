"""The antenna's side of a deck: what stands before one input, or before two.

Before two inputs the emf drives both legs against each other through an ideal transformer with a centre tap (sources
that follow each other, noiseless), so that the emf's current is the one that flows from leg to leg:

    in_p o--[ leg ]--vz_leg_p--( + emf/2 )--+--( - emf/2 )--vz_leg_n--[ leg ]--o in_n
                                       z_centre
                                            |
                                   [ centre to ground ]

The source vz_leg_p is a drive of its own, an emf in one leg alone. That is half an emf between the legs and half a one
in both alike, so the common mode is twice the difference; driven by itself it would give nothing but rounding on equal
halves. A follower makes the voltage between the terminals one that can be read.
"""

from sim.antenna.source import AntennaSource
from sim.deck.chain import RESERVED

LEG_DRIVE = "vz_leg_p"
"""Emf in the leg at in_p alone, its plus at the terminal."""
BALANCED_READS = ("in_p", f"{LEG_DRIVE}#branch")
"""Read last, of a circuit with two inputs: voltage at in_p, current into that source."""


def emf_cards(antenna: AntennaSource, balanced: bool, terminal: str = "in") -> list[str]:
    """Cards of the antenna with its emf ``vz_emf`` and its stray.

    Parameters
    ----------
    antenna : AntennaSource
        A BalancedSource where there are two inputs.
    balanced : bool
    terminal : str
        Node of the antenna's terminal before one input.
    """
    if not balanced:
        lines = ["vz_emf z_emf 0 dc 0 ac 0", *antenna.netlist(terminal, "z_emf", RESERVED)]
        if antenna.shunt_capacitance > 0:
            lines.append(f"cz_stray {terminal} 0 {antenna.shunt_capacitance!r}")
        return lines
    return [
        "vz_emf z_emf 0 dc 0 ac 0",
        "ez_p z_half_p z_centre z_emf 0 0.5",
        "ez_n z_half_n z_centre z_emf 0 -0.5",
        f"{LEG_DRIVE} z_foot_p z_half_p dc 0 ac 0",
        "vz_leg_n z_foot_n z_half_n dc 0",
        f"fz_p z_emf 0 {LEG_DRIVE} -0.5",
        "fz_n z_emf 0 vz_leg_n 0.5",
        *leg_cards(antenna, ("in_p", "in_n"), ("z_foot_p", "z_foot_n"), "z_centre", RESERVED),
        "ez_in z_in 0 in_p in_n 1",
    ]


def leg_cards(antenna, terminals, feet, centre: str, prefix: str) -> list[str]:
    """Both legs, what is between centre and ground, and the stray of both terminals.

    Parameters
    ----------
    antenna : BalancedSource
    terminals, feet : (str, str)
        Nodes at the amplifier, and where the legs end, in_p's first.
    centre : str
        Node where they meet.
    prefix : str
        Begins the names of elements, after the type letter, and of inner nodes.
    """
    lines = []
    for terminal, foot, side in zip(terminals, feet, "pn", strict=True):
        lines += antenna.leg(terminal, foot, f"{prefix}{side}")
        if antenna.shunt_capacitance > 0:
            # Across the terminals they are in series.
            lines.append(f"C{prefix}{side}_stray {terminal} 0 {2 * antenna.shunt_capacitance!r}")
    return [*lines, *antenna.centre_to_ground(centre, "0", f"{prefix}c")]
