"""A feedline without loss, the same for the count and for the simulator: what a kick in time is held against.

The simulator's own line has no loss. A line whose loss is put into resistors at its ends is another network, which at
small margins gives other verdicts. So the loss is taken out of the load, the poles of that load are counted, and that
load is kicked. Bias tees stay as they are, element by element.
"""

from dataclasses import dataclass, replace

import numpy as np

from sim.constants import C0
from sim.feedline.cable import Cable
from sim.feedline.ends import STUB_M, STUB_VELOCITY, OnePort, end_impedance
from sim.feedline.tee import Tee
from sim.stability.family import Load
from sim.stability.unit_kick import OPEN_OHM

_JOINT_OHM = 1e-3
"""In series at each end of a line: the simulator refuses loops of sources. [Ω]"""
_BLEEDER_OHM = 1e8
_BREAKS = 10.0
"""Change of slope, as a share of the larger slope, from which on the simulator's line puts a corner into the time grid.
Its own value of 1 takes every turning point of a wave for one, and a kick twenty times as long; above 2 none is."""
_REFERENCE = 50.0
"""Of a far end's reflection. [Ω]"""


@dataclass(frozen=True)
class LosslessLoad:
    """A load whose cables have no loss.

    Attributes
    ----------
    load : Load
        As the study names it; its far end is a word.
    """

    load: Load

    def __post_init__(self):
        if not can_be_kicked(self.load):
            raise ValueError("a measured far end has no elements")

    @property
    def delay_s(self) -> float:
        """One way, all sections together. [s]"""
        return sum(self.delays_s)

    @property
    def delays_s(self) -> tuple[float, ...]:
        """One way, of each section. [s]"""
        return tuple(_delay(section) for section in self.load.line.sections)

    @property
    def echoes(self) -> bool:
        """Whether anything comes back; one line that ends in its own impedance sends nothing."""
        line = self.load.line
        return self.load.end != "matched" or line.at_receiver is not None or len(line.sections) > 1

    @property
    def cards(self) -> tuple[str, ...]:
        """Elements from the node ``out`` on, in place of the reference load."""
        line, node, found = self.load.line, "out", []
        if line.at_amplifier is not None:
            found += [f"cz_lnear out z_lnear {line.at_amplifier.block!r}", *_choke(line.at_amplifier, "z_lnear")]
            # Between two blocking capacitors a node would have no way to ground.
            found.append(f"rz_lnear out 0 {_BLEEDER_OHM!r}")
            node = "z_lnear"
        for number, section in enumerate(line.sections):
            a, b, after = (f"z_l{number}{side}" for side in "abc")
            found += [
                f"rz_l{number}a {node} {a} {_JOINT_OHM!r}",
                f"tz_l{number} {a} 0 {b} 0 z0={section.cable.z0!r} td={_delay(section)!r} rel={_BREAKS!r}",
                f"rz_l{number}b {b} {after} {_JOINT_OHM!r}",
            ]
            node = after
        if self.load.end == "unplugged":
            # 30 mm are a capacitance up to some hundred megahertz; as a line they would set the simulator's step.
            return (*found, f"cz_lstub {node} 0 {self._stub!r}", f"rz_load {node} 0 {OPEN_OHM!r}")
        if line.at_receiver is not None:
            found += [*_choke(line.at_receiver, node), f"cz_lfar {node} z_lfar {line.at_receiver.block!r}"]
            node = "z_lfar"
        return (*found, f"rz_load {node} 0 {self._ohm!r}")

    def counted(self, freq_hz: np.ndarray) -> Load:
        """The same network as a load of the map.

        Parameters
        ----------
        freq_hz : ndarray, shape (n_freq,)
            On which an unplugged connector's reflection is to be exact. [Hz]
        """
        line = self.load.line
        admittance = np.full(2, 1 / self._ohm, dtype=complex)
        known_hz = freq_hz[[0, -1]]
        if self.load.end == "unplugged":
            known_hz = freq_hz
            admittance = 1 / OPEN_OHM + 2j * np.pi * freq_hz * self._stub
        reflection = (1 - _REFERENCE * admittance) / (1 + _REFERENCE * admittance)
        end = OnePort(self.load.end, tuple(known_hz.tolist()), tuple(reflection.tolist()), _REFERENCE)
        sections = tuple(replace(section, cable=_without_loss(section.cable)) for section in line.sections)
        far = None if self.load.end == "unplugged" else line.at_receiver
        return Load(replace(line, sections=sections, at_receiver=far), _without_loss(self.load.cable), end)

    @property
    def _stub(self) -> float:
        return STUB_M / (STUB_VELOCITY * C0 * self.load.line.z0)

    @property
    def _ohm(self) -> float:
        if self.load.end == "unplugged":
            return OPEN_OHM
        found = float(end_impedance(self.load.end, self.load.line.z0, None, np.array([1.0]))[0].real)
        return found if np.isfinite(found) else OPEN_OHM


def can_be_kicked(load: Load) -> bool:
    """Whether a load can be made of elements: a far end known only from a file cannot."""
    return isinstance(load.end, str)


def _without_loss(cable: Cable) -> Cable:
    """The law with nothing in it: a real impedance and a pure delay."""
    return replace(cable, model="law", k0=0.0, k1=0.0, k2=0.0)


def _delay(section) -> float:
    return section.length / (section.cable.velocity_factor * C0)


def _choke(tee: Tee, node: str) -> list[str]:
    """(R + L) || C || Rp from a node to ground, named after it."""
    cards, far = [], "0"
    if tee.choke_resistance > 0:
        far = f"{node}w"
        cards.append(f"r{node}w {far} 0 {tee.choke_resistance!r}")
    cards.append(f"l{node} {node} {far} {tee.choke!r}")
    if tee.choke_capacitance > 0:
        cards.append(f"c{node}p {node} 0 {tee.choke_capacitance!r}")
    if np.isfinite(tee.choke_loss):
        cards.append(f"r{node}p {node} 0 {tee.choke_loss!r}")
    return cards
