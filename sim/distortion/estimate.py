"""Products of any number of carriers from small-signal responses: an estimate, at a hundredth of a transient's cost.

Theory of operation
-------------------
Each op-amp has two places that bend: the tanh of its input stage and the output stage's k2, k3 (see
:mod:`sim.opamp.macromodel`). Around the operating point both are i = g v + c2 v² + c3 v³ with

    tanh: c2 = -I t s/V², c3 = I s (3 t² - 1)/(3 V³),   t = tanh(v0/V), s = 1 - t²,
    bend: c2 = 1 mS (k2 + 3 k3 v0), c3 = 1 mS k3,

v0 what is there at rest. The carriers' voltages at these places follow from the responses to the antenna's emf; each
product then is a current there, and the responses to such a current carry it to the output. Products of second order
that come back to a place mix with the carriers again and add to third order (Volterra series to third order).

Not covered: what the class-AB supply current does through the supply's impedance, compression (the third order's
effect on the carriers themselves), fifth order and up, clipping, slewing. Where the carriers together take
:data:`MOST_SLEW` of the slew rate or more, or reach a limit of output or input, the estimate says that it is not valid.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np

from sim.deck.chain import Chain, UnitValues
from sim.distortion.deck import Amp, DistortionDeck, distortion_deck
from sim.distortion.load import OutputLoad
from sim.distortion.mixes import SAME_HZ, Mix, mixes
from sim.distortion.responses import Responses, resting_controls
from sim.engine.ngspice import Simulator
from sim.opamp.macromodel import CLAMP_ROOM, input_stage

INPUT_STAGE, OUTPUT_BEND = "input stage", "output bend"
MOST_SLEW = 0.375
"""Share of the slew rate that all carriers together may take for the estimate to hold. What it leaves out grows with
the square of the share: held against transients, 2a - b comes out up to 0.9 dB too low here, 2a + b 1.1 dB, 3a
1.8 dB. [1]"""
_BEND_SIEMENS = 1e-3  # of the macromodel's source before its second pole


@dataclass(frozen=True)
class Carrier:
    """A carrier as an emf of the antenna.

    Attributes
    ----------
    frequency_hz : float
        [Hz]
    emf_v : float
        Peak. [V]
    """

    frequency_hz: float
    emf_v: float


@dataclass(frozen=True)
class CarrierLevel:
    """A carrier behind the amplifier; peak values.

    Attributes
    ----------
    frequency_hz : float
        [Hz]
    output_v, receiver_v : float
        At the amplifier's output, and at the receiver. [V]
    """

    frequency_hz: float
    output_v: float
    receiver_v: float


@dataclass(frozen=True)
class Share:
    """What one place makes of a product, alone and by direct mixing of the carriers.

    Attributes
    ----------
    device : str
        Op-amp.
    mechanism : str
        :data:`INPUT_STAGE` or :data:`OUTPUT_BEND`.
    output_v : float
        Peak at the amplifier's output. [V]
    """

    device: str
    mechanism: str
    output_v: float


@dataclass(frozen=True)
class Product:
    """One product; peak values.

    Attributes
    ----------
    order : int
        2 or 3.
    frequency_hz : float
        [Hz]
    carriers : tuple of (int, int)
        See :class:`sim.distortion.mixes.Mix`.
    output_v, receiver_v : float
        At the amplifier's output, and at the receiver. [V]
    shares : tuple of Share
        They add as phasors, so not to the whole.
    """

    order: int
    frequency_hz: float
    carriers: tuple[tuple[int, int], ...]
    output_v: float
    receiver_v: float
    shares: tuple[Share, ...]


@dataclass(frozen=True)
class Swing:
    """What one carrier asks of one op-amp.

    Attributes
    ----------
    device : str
    carrier : int
        Its position.
    output_v : float
        Peak at the output pin. [V]
    slew_share : float
        2π f times that over the slew rate. [1]
    """

    device: str
    carrier: int
    output_v: float
    slew_share: float


@dataclass(frozen=True)
class Limits:
    """How near all carriers together, crests on crests, bring one op-amp to its limits.

    Attributes
    ----------
    device : str
    slew_share : float
        Of the slew rate; of the input stage's linear range where that is more. [1]
    swing_share, current_share, input_share : float
        Of what is left between the resting voltage and the nearer end of the output swing, of the output current's
        limit, of the input range. [1]
    """

    device: str
    slew_share: float
    swing_share: float
    current_share: float
    input_share: float


@dataclass(frozen=True)
class Estimate:
    """What some carriers make in one unit. All products are estimates.

    Attributes
    ----------
    carriers : tuple of CarrierLevel
    products : tuple of Product
        In the order asked for.
    swings : tuple of Swing
    limits : tuple of Limits
        One for each op-amp.
    line_ohm : float
        Into which power at the output is stated. [Ω]
    remarks : tuple of (str, str)
        Op-amp, and what of it is not modelled.
    """

    carriers: tuple[CarrierLevel, ...]
    products: tuple[Product, ...]
    swings: tuple[Swing, ...]
    limits: tuple[Limits, ...]
    line_ohm: float
    remarks: tuple[tuple[str, str], ...]

    @property
    def invalid(self) -> tuple[str, ...]:
        """Why the estimate does not hold, in words; empty where it does."""
        said = []
        for limit in self.limits:
            if limit.slew_share >= MOST_SLEW:
                said.append(
                    f"{limit.device}: slew-limited, the estimate is not valid: the carriers take"
                    f" {100 * limit.slew_share:.0f} % of the slew rate, {100 * MOST_SLEW:g} % is the most"
                )
            for share, what in (
                (limit.swing_share, "output swing"),
                (limit.current_share, "output current"),
                (limit.input_share, "input range"),
            ):
                if share >= 1:
                    said.append(
                        f"{limit.device}: clips, the estimate is not valid: the carriers ask for {share:.2g} times"
                        f" the {what}"
                    )
        return tuple(said)

    @property
    def valid(self) -> bool:
        """Whether the estimate holds."""
        return not self.invalid

    def scale_to(self, share: float) -> float:
        """Factor on all carriers that brings the nearest limit of all op-amps to a share; 1 where nothing is asked for.

        Parameters
        ----------
        share : float
            [1]
        """
        nearest = max(
            (max(limit.slew_share, limit.swing_share, limit.current_share, limit.input_share) for limit in self.limits),
            default=0.0,
        )
        return share / nearest if 0 < nearest < math.inf else 1.0

    def products_of(self, order: int) -> tuple[Product, ...]:
        """Products of one order."""
        return tuple(product for product in self.products if product.order == order)


def estimate(
    simulator: Simulator,
    chain: Chain,
    values: UnitValues,
    carriers: Sequence[Carrier],
    load: OutputLoad,
    wanted: Sequence[Mix] | None = None,
) -> Estimate:
    """Products of some carriers at one unit's output and receiver.

    Parameters
    ----------
    simulator : Simulator
    chain : Chain
    values : UnitValues
        Its op-amps get the bend of their records.
    carriers : sequence of Carrier
    load : OutputLoad
    wanted : sequence of Mix, optional
        Products; default all of second and third order (:func:`sim.distortion.mixes.mixes`).

    Returns
    -------
    Estimate

    Raises
    ------
    UnitFailed
        The simulator gave no result that may be believed.
    LibraryLost
    """
    deck = distortion_deck(chain, values)
    frequencies = [carrier.frequency_hz for carrier in carriers]
    wanted = mixes(frequencies) if wanted is None else tuple(wanted)
    work = _Work(Responses(simulator, deck, load), deck, tuple(carriers))
    work.simulate(wanted)
    levels = []
    for carrier, reading in zip(carriers, work.readings, strict=True):
        share = work.responses.receiver_share(carrier.frequency_hz)
        levels.append(CarrierLevel(carrier.frequency_hz, abs(reading.output), abs(reading.output * share)))
    return Estimate(
        carriers=tuple(levels),
        products=tuple(work.product(mix) for mix in wanted),
        swings=work.swings(),
        limits=tuple(work.limits(number, amp) for number, amp in enumerate(deck.amps)),
        line_ohm=load.line_ohm,
        remarks=deck.remarks,
    )


@dataclass(frozen=True)
class _Place:
    """A place that bends: i = g v + square v² + cube v³."""

    device: str
    mechanism: str
    amp: int
    drive: str
    square: float
    cube: float

    def control(self, reading) -> complex:
        """What stands before it."""
        return (reading.error if self.mechanism == INPUT_STAGE else reading.swing)[self.amp]


class _Work:
    """One estimate being made: places, carriers' readings, and second-order voltages once each."""

    def __init__(self, responses: Responses, deck: DistortionDeck, carriers: tuple[Carrier, ...]):
        self.responses, self._amps, self._carriers = responses, deck.amps, carriers
        self._places = tuple(place for number, amp in enumerate(deck.amps) for place in _places(responses, number, amp))
        self._emf = deck.deck.source
        self.readings: tuple = ()
        self._second: dict[tuple, list[complex]] = {}

    def simulate(self, wanted: Sequence[Mix]) -> None:
        """Everything that the wanted products need."""
        hertz = [carrier.frequency_hz for carrier in self._carriers]
        self.responses.simulate((self._emf,), hertz)
        self.readings = tuple(
            _times(self.responses.at(self._emf, carrier.frequency_hz), carrier.emf_v) for carrier in self._carriers
        )
        needed = {mix.frequency_hz for mix in wanted}
        for mix in wanted:
            if mix.order == 3:
                needed |= {abs(self._hertz(pair)) for _, pair in _splits(mix.signed)}
        drives = [place.drive for place in self._places]
        self.responses.simulate(drives, [frequency for frequency in needed if frequency > SAME_HZ])

    def _hertz(self, signed) -> float:
        return sum(sign * self._carriers[index].frequency_hz for index, sign in signed)

    def _half(self, place: _Place, signed) -> complex:
        """Amplitude of exp(+jωt), or of exp(-jωt) where the sign is negative, before a place."""
        index, sign = signed
        phasor = place.control(self.readings[index]) / 2
        return phasor if sign > 0 else phasor.conjugate()

    def _response(self, place: _Place, hertz: float):
        """Reading for 1 A into a place at a frequency that may be negative."""
        found = self.responses.at(place.drive, abs(hertz))
        return found if hertz > 0 else type(found)(*(np.conj(value) for value in vars(found).values()))

    def _currents(self, pair) -> list[complex]:
        """Second-order current of each place at the sum of two signed carriers."""
        ways = 1 if pair[0] == pair[1] else 2
        return [ways * place.square * math.prod(self._half(place, s) for s in pair) for place in self._places]

    def _fed_back(self, pair) -> list[complex]:
        """Voltage before each place that all places make at the sum of two signed carriers."""
        pair = tuple(sorted(pair))
        if pair not in self._second:
            hertz, total = self._hertz(pair), [0j] * len(self._places)
            if abs(hertz) > SAME_HZ:
                for source, current in zip(self._places, self._currents(pair), strict=True):
                    if current != 0:
                        reading = self._response(source, hertz)
                        total = [
                            so_far + current * place.control(reading)
                            for so_far, place in zip(total, self._places, strict=True)
                        ]
            self._second[pair] = total
        return self._second[pair]

    def product(self, mix: Mix) -> Product:
        """One product at output and receiver."""
        signed = mix.signed
        if mix.order == 2:
            direct = self._currents(signed)
            again = [0j] * len(direct)
        else:
            ways = len(set(permutations(signed)))
            direct = [ways * place.cube * math.prod(self._half(place, s) for s in signed) for place in self._places]
            again = [0j] * len(direct)
            for single, pair in _splits(signed):
                back = self._fed_back(pair)
                again = [
                    so_far + 2 * place.square * self._half(place, single) * volts
                    for so_far, place, volts in zip(again, self._places, back, strict=True)
                ]
        output, shares = 0j, []
        for place, first, second in zip(self._places, direct, again, strict=True):
            carried = 2 * self.responses.at(place.drive, mix.frequency_hz).output
            output += carried * (first + second)
            shares.append(Share(place.device, place.mechanism, abs(carried * first)))
        far = self.responses.receiver_share(mix.frequency_hz)
        return Product(mix.order, mix.frequency_hz, mix.carriers, abs(output), abs(output * far), tuple(shares))

    def swings(self) -> tuple[Swing, ...]:
        """Each carrier at each op-amp."""
        found = []
        for number, amp in enumerate(self._amps):
            for index, (carrier, reading) in enumerate(zip(self._carriers, self.readings, strict=True)):
                volts = float(abs(reading.pins[number]))
                share = 2 * math.pi * carrier.frequency_hz * volts / amp.macro.slew
                found.append(Swing(amp.device, index, volts, share))
        return tuple(found)

    def limits(self, number: int, amp: Amp) -> Limits:
        """All carriers together at one op-amp."""

        def together(name: str) -> float:
            return float(sum(abs(getattr(reading, name)[number]) for reading in self.readings))

        rest, m = self.responses.resting_volts, amp.macro
        inp, _, vcc, vee, out = amp.pins
        high, low = rest(vcc), rest(vee)
        slew = sum(swing.slew_share for swing in self.swings() if swing.device == amp.device)
        ends = m.headroom + CLAMP_ROOM
        current = float(sum(abs(reading.swing[number] - reading.pins[number]) for reading in self.readings))
        at_rest = abs(rest(amp.bend_node) - rest(out))
        return Limits(
            device=amp.device,
            slew_share=max(slew, together("error") / input_stage(m).vlin),
            swing_share=_share(together("swing"), rest(amp.gain_node), low + ends, high - ends),
            current_share=_share(current, at_rest, -m.rout * m.iout, m.rout * m.iout),
            input_share=_share(together("input"), rest(inp), low + m.cm_low, high - m.cm_high),
        )


def _share(peak: float, at_rest: float, low: float, high: float) -> float:
    """A peak over what is left to the nearer end; infinite outside."""
    room = min(at_rest - low, high - at_rest)
    return peak / room if room > 0 else math.inf


def _times(reading, factor: float):
    return type(reading)(*(factor * value for value in vars(reading).values()))


def _splits(signed):
    """Ways to take one of three signed carriers away from the other two, each different one once."""
    found = {}
    for position, single in enumerate(signed):
        found[single] = tuple(sorted(signed[:position] + signed[position + 1 :]))
    return tuple(found.items())


def _places(responses: Responses, number: int, amp: Amp) -> tuple[_Place, _Place]:
    error, swing = resting_controls(responses, amp)
    stage, m = input_stage(amp.macro), amp.macro
    t = math.tanh(error / stage.vlin)
    s = 1 - t * t
    return (
        _Place(
            amp.device,
            INPUT_STAGE,
            number,
            f"iz_g{number}",
            -stage.imax * t * s / stage.vlin**2,
            stage.imax * s * (3 * t * t - 1) / (3 * stage.vlin**3),
        ),
        _Place(
            amp.device,
            OUTPUT_BEND,
            number,
            f"iz_b{number}",
            _BEND_SIEMENS * (m.k2 + 3 * m.k3 * swing),
            _BEND_SIEMENS * m.k3,
        ),
    )
