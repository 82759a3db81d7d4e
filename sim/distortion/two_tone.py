"""Two tones into a unit's deck in time: what the estimate is held against.

The tones have a large common divisor, whose reciprocal is the period of everything. They rise smoothly over some
periods, so that coupling capacitors are not charged by their beginning; then the output must repeat itself from one
period to the next, and one period exactly is transformed, outside the simulator. Trapezoidal rule, relative tolerance
1e-6, a period in 4096 steps or more.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.deck.chain import Chain, UnitValues
from sim.distortion.deck import distortion_deck, with_load
from sim.distortion.estimate import Carrier, CarrierLevel, Estimate
from sim.distortion.mixes import Mix, mixes
from sim.engine.ngspice import Simulator, UnitFailed

STEPS = 4096
"""Of a period, at least."""
STEPS_A_CYCLE = 200
"""Of the higher tone, at least."""
RISE, REST = 4, 2
"""Periods over which the tones rise, and further ones before the first that is looked at."""
MORE = (0, 4, 16)
"""Further periods of rest, tried one after another until the output repeats itself."""
MOST_PERIODS_A_CYCLE = 60
"""Cycles of the higher tone in a period, at most: beyond, a transient would take too long."""
REPEATS_DB = 0.25
"""How much two periods may differ in any product that stands above the floor. [dB]"""
FLOOR = 1e-7
"""Products below this share of the larger tone are rounding. [1]"""
_TOLERANCE = ".options reltol=1e-6"


@dataclass(frozen=True)
class TransientProduct:
    """One product read from a transient.

    Attributes
    ----------
    order : int
    frequency_hz : float
        [Hz]
    carriers : tuple of (int, int)
        See :class:`sim.distortion.mixes.Mix`.
    output_v : float
        Peak at the amplifier's output. [V]
    """

    order: int
    frequency_hz: float
    carriers: tuple[tuple[int, int], ...]
    output_v: float


@dataclass(frozen=True)
class TwoTone:
    """What two tones make in time.

    Attributes
    ----------
    carriers : tuple of CarrierLevel
        Into a resistor; the receiver's volts are the output's.
    products : tuple of TransientProduct
    repeats_db : float
        Largest difference of a product between the last two periods, of those above the floor. [dB]
    load_ohm : float
        [Ω]
    time_s, volts : ndarray, shape (n,)
        The last period of the output. [s, V]
    """

    carriers: tuple[CarrierLevel, ...]
    products: tuple[TransientProduct, ...]
    repeats_db: float
    load_ohm: float
    time_s: np.ndarray
    volts: np.ndarray


@dataclass(frozen=True)
class Difference:
    """How far an estimate is from a transient; NaN where there is nothing above the transient's floor. [dB]

    Attributes
    ----------
    second_db, third_db : float
        Estimate less transient of the product of that order at which they differ most.
    """

    second_db: float
    third_db: float


def period_of(frequencies_hz: Sequence[float]) -> float:
    """Period of a sum of tones that are whole hertz. [s]

    Parameters
    ----------
    frequencies_hz : sequence of float
        [Hz]

    Raises
    ------
    ValueError
        Their common divisor is too small for a transient.
    """
    divisor = math.gcd(*(round(hertz) for hertz in frequencies_hz))
    if divisor == 0 or max(frequencies_hz) / divisor > MOST_PERIODS_A_CYCLE:
        shown = ", ".join(f"{hertz:.0f}" for hertz in frequencies_hz)
        raise ValueError(
            f"tones of {shown} Hz have the common divisor {divisor} Hz; a transient needs a {MOST_PERIODS_A_CYCLE}th"
            " of the highest or more, see near_tones()"
        )
    return 1 / divisor


def near_tones(first_hz: float, second_hz: float, cycles: int = 20) -> tuple[float, float]:
    """Two tones near the wanted ones with a common divisor that a transient can bear.

    Parameters
    ----------
    first_hz, second_hz : float
        [Hz]
    cycles : int
        Of the higher tone in a period, at most.

    Returns
    -------
    tones : (float, float)
        Whole multiples n, m of one divisor, the larger multiple at most `cycles`, n/m nearest to the wanted ratio, the
        higher tone as wanted to a hertz or `cycles`. [Hz]
    """
    low, high = sorted((first_hz, second_hz))
    best = min(
        ((n, m) for m in range(2, cycles + 1) for n in range(1, m) if math.gcd(n, m) == 1),
        key=lambda pair: (abs(pair[0] / pair[1] - low / high), pair[1]),
    )
    divisor = max(round(high / best[1]), 1)
    tones = float(best[0] * divisor), float(best[1] * divisor)
    return tones if first_hz <= second_hz else tones[::-1]


def two_tone(
    simulator: Simulator, chain: Chain, values: UnitValues, tones: Sequence[Carrier], load_ohm: float
) -> TwoTone:
    """Products of two tones (or one, or three) at one unit's output, in time.

    Parameters
    ----------
    simulator : Simulator
    chain : Chain
    values : UnitValues
        Its op-amps get the bend of their records.
    tones : sequence of Carrier
        Of a common divisor, see :func:`near_tones`.
    load_ohm : float
        At the output, in place of the line. [Ω]

    Returns
    -------
    TwoTone
        All products of second and third order.

    Raises
    ------
    ValueError
        See :func:`period_of`.
    UnitFailed
        No result that may be believed: the output never repeats itself.
    LibraryLost
    """
    frequencies = [tone.frequency_hz for tone in tones]
    period = period_of(frequencies)
    deck = distortion_deck(chain, values)
    output = deck.deck.output
    lines = with_load(_driven(deck.lines, deck.deck.source, tones, RISE * period), output, load_ohm)
    steps = max(STEPS, math.ceil(STEPS_A_CYCLE * max(frequencies) * period))
    every, name = mixes(frequencies), f"v({output})"
    for more in MORE:
        simulator.load(lines, (name, "time"))
        stop = (RISE + REST + more + 2) * period
        found = simulator.transient(period / steps, stop, (name,))
        simulator.forget()
        time_s, before, last = _periods(found["time"], found[name], stop, period, steps)
        first, second = _spectrum(before), _spectrum(last)
        repeats = _repeats(every, frequencies, first, second, period)
        if repeats <= REPEATS_DB:
            break
    else:
        raise UnitFailed(f"two tones: the output does not repeat itself from period to period ({repeats:.1f} dB)")
    levels = [float(abs(second[round(hertz * period)])) for hertz in frequencies]
    return TwoTone(
        carriers=tuple(CarrierLevel(hertz, volts, volts) for hertz, volts in zip(frequencies, levels, strict=True)),
        products=tuple(
            TransientProduct(
                mix.order, mix.frequency_hz, mix.carriers, float(abs(second[round(mix.frequency_hz * period)]))
            )
            for mix in every
            if _alone(mix, every, frequencies)
        ),
        repeats_db=repeats,
        load_ohm=float(load_ohm),
        time_s=time_s,
        volts=last,
    )


def difference(estimate: Estimate, transient: TwoTone) -> Difference:
    """The estimate's own error: how far it is from a transient of the same unit, tones and load.

    Parameters
    ----------
    estimate : Estimate
    transient : TwoTone
    """
    estimated = {product.carriers: product.output_v for product in estimate.products}
    least = FLOOR * max(level.output_v for level in transient.carriers)
    worst = {2: math.nan, 3: math.nan}
    for product in transient.products:
        if product.output_v < least or product.carriers not in estimated:
            continue
        found = 20 * math.log10(max(estimated[product.carriers], 1e-300) / product.output_v)
        if not abs(found) <= abs(worst[product.order]):
            worst[product.order] = found
    return Difference(worst[2], worst[3])


def _driven(lines, source: str, tones: Sequence[Carrier], rise_s: float) -> tuple[str, ...]:
    """Deck lines with the tones in the emf's place."""
    # 0.5 (1 - cos) over the rise, then 1.
    ramp = f"(0.5-0.5*cos({math.pi / rise_s!r}*min(time,{rise_s!r})))"
    waves = "+".join(f"{tone.emf_v!r}*sin({2 * math.pi * tone.frequency_hz!r}*time)" for tone in tones)
    found = []
    for line in lines:
        words = line.split()
        if words[0] == source:
            found += [f"{source} {words[1]} z_tones dc 0", f"bz_tones z_tones {words[2]} v={ramp}*({waves})"]
        elif line == ".end":
            found += [_TOLERANCE, line]
        else:
            found.append(line)
    return tuple(found)


def _periods(time_s, volts, stop: float, period: float, steps: int):
    """The last two periods on even steps. The simulator's own are not quite even; between them a cubic is exact."""
    from scipy.interpolate import CubicSpline

    begin = stop - 2 * period
    kept = time_s >= begin - 20 * period / steps
    # Two of the simulator's points may lie so close that a cubic between them means nothing.
    kept[1:] &= np.diff(time_s) > 1e-6 * period / steps
    curve = CubicSpline(time_s[kept], volts[kept])
    even = begin + np.arange(2 * steps) * (period / steps)
    before, last = curve(even).reshape(2, steps)
    # A coupling capacitor that still charges is a straight line within a period, and would look like a low product.
    line = (last - before).mean() * np.arange(steps) / steps
    return even[steps:], before - line, last - line


def _spectrum(volts: np.ndarray) -> np.ndarray:
    """Peak phasors at the multiples of the period's reciprocal."""
    return 2 * np.fft.rfft(volts) / len(volts)


def _alone(mix: Mix, every: Sequence[Mix], frequencies) -> bool:
    """Whether nothing else falls on a product: then a transient can tell it."""
    same = [other for other in every if round(other.frequency_hz) == round(mix.frequency_hz)]
    return len(same) == 1 and round(mix.frequency_hz) not in [round(hertz) for hertz in frequencies]


def _repeats(every, frequencies, first, second, period: float) -> float:
    """Largest change of any product or tone between two periods. [dB]"""
    bins = [round(hertz * period) for hertz in (*frequencies, *(mix.frequency_hz for mix in every))]
    largest = max(abs(second[round(hertz * period)]) for hertz in frequencies)
    watched = [index for index in bins if abs(second[index]) > FLOOR * largest]
    return max(
        (abs(20 * math.log10(max(abs(first[index]), 1e-300) / abs(second[index]))) for index in watched), default=0.0
    )
