"""Whether the pins of a model are what they are said to be: it must follow, the right way round, on a sane current.

A follower at three voltages shows output, feedback and supply; a follower with its inputs exchanged has the same
resting point in a linear model, so with both inputs held the output must go up with the right one.
"""

from dataclasses import dataclass

from sim.deck.maker.file import MakerModel
from sim.deck.maker.pins import sensible_orders
from sim.engine.ngspice import Simulator, UnitFailed
from sim.measures.maker.fixtures import LIGHT_LOAD, follower, held, on_bench, split

LARGEST_ERROR = 0.05
"""A follower farther off than this does not follow: the largest offsets are some 10 mV. [V]"""
LARGEST_CURRENT = 0.3
"""No op-amp that one builds receive amplifiers with draws so much at rest; common practice, no source. [A]"""
LEAST_CURRENT = -1e-6
"""Supply current into the positive, out of the negative pin; a little less than nothing is rounding. [A]"""
OVERDRIVE = 0.1
"""Between the held inputs. [V]"""


@dataclass(frozen=True)
class Pinned:
    """What the follower said about one order of pins.

    Attributes
    ----------
    works : bool
    reason : str
        Why not, in words.
    iq_in, iq_out : float
        Into the positive and out of the negative supply pin. [A]
    """

    works: bool
    reason: str = ""
    iq_in: float = float("nan")
    iq_out: float = float("nan")


def pinned(simulator: Simulator, model: MakerModel, volts: float) -> Pinned:
    """Whether a model works as its pins say.

    Parameters
    ----------
    simulator : Simulator
    model : MakerModel
    volts : float
        Supply. [V]
    """
    rails = split(volts)
    found = Pinned(False, "it has no operating point as a follower")
    try:
        for at in (rails.middle, rails.middle - 0.1 * volts, rails.middle + 0.1 * volts):
            read = on_bench(simulator, model, rails, follower(at, LIGHT_LOAD))
            found = Pinned(True, "", -read["vz_cc#branch"], read["vz_ee#branch"])
            if abs(read["z_o"] - at) > LARGEST_ERROR:
                return Pinned(False, f"as a follower at {at:.3g} V its output is at {read['z_o']:.3g} V")
            for current, where in ((found.iq_in, "into the positive"), (found.iq_out, "out of the negative")):
                if not LEAST_CURRENT <= current <= LARGEST_CURRENT:
                    return Pinned(False, f"{1e3 * current:.3g} mA flow {where} supply pin at rest")
        output = []
        for half in (OVERDRIVE / 2, -OVERDRIVE / 2):
            around = held(rails.middle + half, rails.middle - half, LIGHT_LOAD)
            output.append(on_bench(simulator, model, rails, around)["z_o"])
    except UnitFailed as failed:
        return Pinned(False, f"it has no operating point ({failed})")
    if output[0] <= output[1] + OVERDRIVE:
        return Pinned(False, "its output does not go up with the input said to be not inverting")
    return found


@dataclass(frozen=True)
class PinProof:
    """The said order of pins, and which others would work.

    Attributes
    ----------
    said : Pinned
    others : tuple of tuple of str
        Roles of the ports, of each other order that works; only looked for where the said one does not.
    """

    said: Pinned
    others: tuple[tuple[str, ...], ...] = ()


def prove_pins(simulator: Simulator, model: MakerModel, volts: float) -> PinProof:
    """Try the said order, and all others where it does not work.

    Raises
    ------
    LibraryLost
    """
    said = pinned(simulator, model, volts)
    if said.works:
        return PinProof(said)
    orders = sensible_orders(model.pins.roles)[1:]
    working = tuple(roles for roles in orders if pinned(simulator, model.with_roles(roles, "trial"), volts).works)
    return PinProof(said, working)
