"""Small decks around one op-amp model: follower, open loop, both inputs held."""

from dataclasses import dataclass

from sim.deck.assemble import OPTIONS, SPARE_OPTIONS
from sim.deck.maker.file import MakerModel
from sim.engine.ngspice import Simulator
from sim.engine.sweep import at_rest

PINS = ("z_p", "z_n", "z_cc", "z_ee", "z_o")
"""Nodes of inp, inn, vcc, vee, out in every deck of the bench."""
DEVICE = "xamp"
TEMPERATURE_C = 27.0
LIGHT_LOAD = 1e5
RATED_LOAD = 1e3
"""Load at which gain and swing are read, as most data sheets do; common practice, no source. [Ω]"""
PIN_CURRENTS = ("vz_cc#branch", "vz_ee#branch", "vz_in#branch", "vz_fb#branch")


@dataclass(frozen=True)
class Rails:
    """Supply of the bench against ground: `high`, `low` [V]."""

    high: float
    low: float

    @property
    def middle(self) -> float:
        """[V]"""
        return (self.high + self.low) / 2

    @property
    def volts(self) -> float:
        """Between the rails. [V]"""
        return self.high - self.low


def split(volts: float) -> Rails:
    """Half of the supply above ground, half below."""
    return Rails(volts / 2, -volts / 2)


def deck(model: MakerModel, rails: Rails, around: tuple[str, ...]) -> tuple[str, ...]:
    """A whole deck: supplies, what is around, the model.

    Parameters
    ----------
    model : MakerModel
    rails : Rails
    around : tuple of str
        Cards on the nodes of :data:`PINS`; ``z_m`` is the middle of the supply.
    """
    return (
        "* bench of an op-amp model",
        f".temp {TEMPERATURE_C!r}",
        f".options tnom={TEMPERATURE_C!r}",
        OPTIONS,
        f"vz_cc z_cc 0 dc {rails.high!r} ac 0",
        f"vz_ee z_ee 0 dc {rails.low!r} ac 0",
        f"vz_m z_m 0 dc {rails.middle!r}",
        *around,
        *model.flat(DEVICE, PINS, TEMPERATURE_C).lines,
        ".end",
    )


def on_bench(simulator: Simulator, model: MakerModel, rails: Rails, around: tuple[str, ...]) -> dict[str, float]:
    """Load a deck of the bench under the first options that bring it to rest.

    Returns
    -------
    operating : dict of str to float
        Output, and current of the sources at both supply pins. [V, A]

    Raises
    ------
    UnitFailed
        There is no operating point.
    """
    lines = deck(model, rails, around)
    ways = (lines, *(tuple(other if line == OPTIONS else line for line in lines) for other in SPARE_OPTIONS))
    return at_rest(simulator, ways, (), ("z_o", "vz_cc#branch", "vz_ee#branch"))


def follower(at: float, load: float | None = None) -> tuple[str, ...]:
    """Output wired to the inverting input; the other one held at a voltage. [V, Ω]"""
    cards = (f"vz_in z_p 0 dc {at!r} ac 0", "vz_fb z_n z_o dc 0.0")
    return cards if load is None else (*cards, f"rz_l z_o z_m {load!r} noisy=0")


def amplifier(at: float, gain: float) -> tuple[str, ...]:
    """Not inverting, of a given gain, about the middle of the supply."""
    return (
        f"vz_in z_p 0 dc {at!r} ac 0",
        f"rz_f z_o z_n {1e3 * (gain - 1)!r} noisy=0" if gain > 1 else "rz_f z_o z_n 1.0 noisy=0",
        "rz_g z_n z_m 1000.0 noisy=0" if gain > 1 else "rz_g z_n z_m 1e12 noisy=0",
        f"rz_l z_o z_m {LIGHT_LOAD!r} noisy=0",
    )


def open_loop(at: float, load: float | None) -> tuple[str, ...]:
    """A follower at rest, and no feedback at any frequency: a coil of 1e12 H, a capacitor of 1e6 F."""
    cards = (
        f"vz_in z_p 0 dc {at!r} ac 0",
        "lz_fb z_o z_n 1e12",
        "cz_n z_n z_d 1e6",
        f"vz_d z_d 0 dc {at!r} ac 0",
        "iz_o 0 z_o dc 0 ac 0",
    )
    return cards if load is None else (*cards, f"rz_l z_o z_m {load!r} noisy=0")


def held(inp: float, inn: float, load: float) -> tuple[str, ...]:
    """Both inputs at voltages of their own. [V, Ω]"""
    return (f"vz_in z_p 0 dc {inp!r}", f"vz_fb z_n 0 dc {inn!r}", f"rz_l z_o z_m {load!r} noisy=0")
