"""Linear responses of a distortion deck at chosen frequencies, behind any load.

Drives: the antenna's emf, a current into the output, and at each op-amp a current into its gain node and one into its
bend. Each is simulated once a frequency with the reference load; another load is a current into the output besides,
-(Y - Y0) times the output's voltage, so its responses follow without approximation.
"""

import math
from dataclasses import dataclass

import numpy as np

from sim.deck.chain import REFERENCE_LOAD
from sim.distortion.deck import Amp, DistortionDeck
from sim.distortion.load import OutputLoad
from sim.engine.ngspice import Simulator

RASTER = 60
"""Points a wanted frequency, at most, for one sweep over a raster to be worth its while."""
_OUT = "iz_out"


def _tenth(hertz: float) -> float:
    return round(hertz, 1)


def _sweeps(wanted: list[float]):
    """Linear sweeps that hit all frequencies: first, last, points, and (index, frequency) of what is wanted.

    Each run solves the operating point again, which costs as much as a hundred frequencies. Broadcast carriers stand on
    a raster, and so do their products: then one sweep over the raster has them all.
    """
    tenths = [round(10 * hertz) for hertz in wanted]
    step = math.gcd(*(tenth - tenths[0] for tenth in tenths))
    points = (tenths[-1] - tenths[0]) // step + 1 if step else 1
    # Of a linear sweep of two points the simulator makes only one.
    if points < 3 or points > RASTER * len(wanted):
        return [(hertz, hertz, 1, ((0, hertz),)) for hertz in wanted]
    picked = tuple(
        ((tenth - tenths[0]) // step if step else 0, hertz) for tenth, hertz in zip(tenths, wanted, strict=True)
    )
    return [(wanted[0], wanted[-1], points, picked)]


@dataclass(frozen=True)
class Reading:
    """Voltages at one frequency.

    Attributes
    ----------
    error, swing : complex ndarray, shape (n_amp,)
        What each input stage sees, and each gain node's voltage over the middle of the rails. [V]
    pins : complex ndarray, shape (n_amp,)
        At each op-amp's output. [V]
    input : complex ndarray, shape (n_amp,)
        At each op-amp's non-inverting input. [V]
    output : complex
        At the amplifier's output. [V]
    """

    error: np.ndarray
    swing: np.ndarray
    pins: np.ndarray
    input: np.ndarray
    output: complex

    def plus(self, other: "Reading", factor: complex) -> "Reading":
        """The sum with another reading times a factor."""
        return Reading(*(getattr(self, name) + factor * getattr(other, name) for name in vars(self)))


class Responses:
    """Responses of one deck, each frequency simulated once.

    Parameters
    ----------
    simulator : Simulator
    deck : DistortionDeck
    load : OutputLoad
    """

    def __init__(self, simulator: Simulator, deck: DistortionDeck, load: OutputLoad):
        self._simulator, self._deck, self._load = simulator, deck, load
        self._raw: dict[tuple[str, float], Reading] = {}
        self._loaded: dict[tuple[str, float], Reading] = {}
        self._ends: dict[float, tuple[complex, complex]] = {}
        nodes = dict.fromkeys(node for amp in deck.amps for node in (*amp.pins, *_inner(amp)) if node != "0")
        self._names = tuple(f"v({node})" for node in dict.fromkeys((*nodes, deck.deck.output)))
        self._drives = (_OUT, deck.deck.source, *(f"iz_{kind}{n}" for n in range(len(deck.amps)) for kind in "gb"))
        simulator.load(deck.lines, self._names)
        self.resting = simulator.operating_point(self._names)

    def resting_volts(self, node: str) -> float:
        """Operating point of a node of an op-amp. [V]"""
        return 0.0 if node == "0" else self.resting[f"v({node})"]

    def simulate(self, drives, frequencies_hz) -> None:
        """Simulate what is not yet known.

        Parameters
        ----------
        drives : sequence of str
            The current into the output is always one of them.
        frequencies_hz : iterable of float
            [Hz]

        Raises
        ------
        UnitFailed
        LibraryLost
        """
        wanted = sorted({_tenth(hertz) for hertz in frequencies_hz})
        new = np.array([hertz for hertz in wanted if hertz not in self._ends])
        if len(new):
            ends = zip(self._load.admittance(new).tolist(), self._load.share(new).tolist(), strict=True)
            self._ends |= dict(zip(new.tolist(), ends, strict=True))
        for drive in dict.fromkeys((_OUT, *drives)):
            missing = [hertz for hertz in wanted if (drive, hertz) not in self._raw]
            if not missing:
                continue
            self._simulator.excite(self._drives, drive)
            for first, last, points, picked in _sweeps(missing):
                found = self._simulator.ac(f"lin {points} {first!r} {last!r}", self._names, points)
                for index, hertz in picked:
                    volts = {name: complex(found[name][index]) for name in self._names}
                    self._raw[drive, hertz] = self._reading(volts)
            self._simulator.forget()

    def _reading(self, volts: dict[str, complex]) -> Reading:
        def at(node: str) -> complex:
            return 0j if node == "0" else volts[f"v({node})"]

        rows = [_controls(amp, at) for amp in self._deck.amps]
        columns = np.array(rows, dtype=complex).reshape(-1, 4).T
        return Reading(*columns, at(self._deck.deck.output))

    def at(self, drive: str, hertz: float) -> Reading:
        """Response to one drive behind the load, for 1 V or 1 A.

        Parameters
        ----------
        drive : str
        hertz : float
            One that was simulated. [Hz]
        """
        hertz = _tenth(hertz)
        if (drive, hertz) not in self._loaded:
            raw, into_output = self._raw[drive, hertz], self._raw[_OUT, hertz]
            more = self._ends[hertz][0] - 1 / REFERENCE_LOAD
            output = raw.output / (1 + into_output.output * more)
            self._loaded[drive, hertz] = raw.plus(into_output, -more * output)
        return self._loaded[drive, hertz]

    def receiver_share(self, hertz: float) -> complex:
        """Receiver's voltage over the output's, at a frequency that was simulated."""
        return self._ends[_tenth(hertz)][1]


def _inner(amp: Amp) -> tuple[str, ...]:
    return amp.gain_node, amp.bend_node, amp.noise_node


def _controls(amp: Amp, at) -> tuple[complex, complex, complex, complex]:
    """What drives the input stage's tanh and the output stage's bend, voltage at output pin and plus input."""
    inp, inn, vcc, vee, out = amp.pins
    error = at(inp) - at(inn) + at(amp.noise_node)
    return error, at(amp.gain_node) - (at(vcc) + at(vee)) / 2, at(out), at(inp)


def resting_controls(responses: Responses, amp: Amp) -> tuple[float, float]:
    """Error voltage and gain node's swing at rest. [V]

    Parameters
    ----------
    responses : Responses
    amp : Amp
    """
    error, swing, _, _ = _controls(amp, responses.resting_volts)
    return error, swing
