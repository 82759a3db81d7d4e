"""What a model does on the bench, as numbers in SI units; each reading is a small deck of its own."""

import math
import time
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from sim.constants import K_B
from sim.deck.maker.file import MakerModel
from sim.engine.ngspice import Simulator, UnitFailed
from sim.measures.maker.fixtures import (
    DEVICE,
    LIGHT_LOAD,
    PIN_CURRENTS,
    PINS,
    RATED_LOAD,
    TEMPERATURE_C,
    Rails,
    amplifier,
    follower,
    held,
    on_bench,
    open_loop,
    split,
)
from sim.measures.maker.tones import two_tones

SOURCE_OHMS = 1.0
"""Makes some noise of its own, since the simulator's answer to none at all is an error; taken off again. [Ω]"""
CURRENT_NOISE_OHMS = 1e5
NOISE_HZ = (1e3, 1e5, 1e6)
CONTRIBUTORS = 5
SHARES_OF_SUPPLY = (0.8, 0.9, 1.0, 1.1, 1.2)
"""Supplies at which it must have an operating point where no record says what it is made for. [1]"""


@dataclass(frozen=True)
class Conditions:
    """How the bench is set up.

    Attributes
    ----------
    volts : float
        Supply. [V]
    supplies : tuple of float
        At which it must have an operating point. [V]
    noise_gain : float
        Lowest at which it is called stable. [1]
    """

    volts: float
    supplies: tuple[float, ...]
    noise_gain: float = 1.0


@dataclass
class Readings:
    """What was read, by name; NaN where it could not be, and then why.

    Attributes
    ----------
    values : dict of str to float
        [SI]
    failed : dict of str to str
        Reason by group of readings.
    contributors : tuple of (str, float)
        Largest sources of the model's own noise at 100 kHz, follower: name, share of its power.
    seconds : float
        Of an AC sweep of 200 points. [s]
    """

    values: dict[str, float] = field(default_factory=dict)
    failed: dict[str, str] = field(default_factory=dict)
    contributors: tuple[tuple[str, float], ...] = ()
    seconds: float = math.nan

    def __getitem__(self, name: str) -> float:
        return self.values.get(name, math.nan)


def read_group(
    simulator: Simulator, model: MakerModel, conditions: Conditions, name: str, before: Readings
) -> Readings:
    """One group of readings of a model.

    Parameters
    ----------
    simulator : Simulator
    model : MakerModel
        Its pins proved.
    conditions : Conditions
    name : str
        Of :data:`GROUPS`.
    before : Readings
        Of the groups before; what is read is added.

    Returns
    -------
    Readings
        `before`.

    Raises
    ------
    LibraryLost
    """
    try:
        GROUPS[name](simulator, model, conditions, before)
    except UnitFailed as failed:
        before.failed[name] = str(failed)
    return before


def _loads(simulator: Simulator, model: MakerModel, conditions: Conditions, found: Readings) -> None:
    """Operating points over supplies, as a follower and at a gain of 10, single supply and split."""
    good, count = 0, 0
    for volts in conditions.supplies:
        for rails in (split(volts), Rails(volts, 0.0)):
            for around in (follower(rails.middle), amplifier(rails.middle, 10.0)):
                count += 1
                try:
                    good += abs(on_bench(simulator, model, rails, around)["z_o"] - rails.middle) < 0.5 * volts
                except UnitFailed:
                    continue
    found.values |= {"operating_points": float(good), "operating_points_tried": float(count)}


def _currents(simulator: Simulator, model: MakerModel, conditions: Conditions, found: Readings) -> None:
    """Currents at rest and under load, bias currents, offset; what returns through ground."""
    volts = conditions.volts
    rails = split(volts)
    on_bench(simulator, model, rails, follower(rails.middle))
    read = simulator.operating_point(("z_o", *PIN_CURRENTS))
    into = {name: -read[f"vz_{name}#branch"] for name in ("cc", "ee", "in")}
    into["n"] = read["vz_fb#branch"]
    # Into the positive, out of the negative pin; out of a pin that nothing else is connected to flows none.
    found.values |= {
        "iq": into["cc"],
        "iq_out": -into["ee"],
        "bias_inp": into["in"],
        "bias_inn": -into["n"],
        "offset": read["z_o"] - rails.middle,
        "ground_current": abs(into["cc"] + into["ee"] + into["in"]),
    }
    on_bench(simulator, model, Rails(volts, 0.0), follower(volts / 2))
    single = simulator.operating_point(("z_o", "vz_cc#branch"))
    found.values["single_supply_offset"] = single["z_o"] - volts / 2
    found.values["iq_single"] = -single["vz_cc#branch"]
    load = min(5e-3, volts / 4 / 100)
    around = (*follower(rails.middle), f"iz_l z_o 0 dc {load!r}")
    on_bench(simulator, model, rails, around)
    loaded = simulator.operating_point(("z_o", "vz_cc#branch", "vz_ee#branch"))
    found.values["load_share"] = (-loaded["vz_cc#branch"] - into["cc"]) / load


def _gain(simulator: Simulator, model: MakerModel, conditions: Conditions, found: Readings) -> None:
    """Open-loop gain, gain-bandwidth, phase margin, open-loop output impedance."""
    rails = split(conditions.volts)
    on_bench(simulator, model, rails, open_loop(rails.middle, RATED_LOAD))
    simulator.excite(("vz_d", "iz_o"), "vz_d")
    swept = simulator.ac("dec 20 0.01 1e10", ("z_o", "z_n", "z_p"))
    freq, gain = swept["frequency"], swept["z_o"] / (swept["z_p"] - swept["z_n"])
    size = np.abs(gain)
    found.values["aol"] = float(size[0])
    for name, at in (("gbw", 1e6), ("gbw_10m", 1e7)):
        found.values[name] = float(np.exp(np.interp(math.log(at), np.log(freq), np.log(size)))) * at
    if not np.interp(math.log(1e6), np.log(freq), size) > 2:
        # A slow part: there its gain is below one, and the product is read where it is one.
        found.values["gbw"] = _crossing(freq, size, 1.0)
    crossing = _crossing(freq, size, conditions.noise_gain)
    phase = np.unwrap(np.angle(gain))
    found.values["phase_margin_deg"] = 180 + math.degrees(float(np.interp(math.log(crossing), np.log(freq), phase)))
    on_bench(simulator, model, rails, open_loop(rails.middle, None))
    simulator.excite(("vz_d", "iz_o"), "iz_o")
    found.values["rout"] = float(abs(simulator.ac("lin 1 1e6 1e6", ("z_o",))["z_o"][0]))


def _crossing(freq, size, level: float) -> float:
    """Highest frequency at which a gain falls through a level; NaN where it does not. [Hz]"""
    below = np.flatnonzero((size[:-1] >= level) & (size[1:] < level))
    if not below.size:
        return math.nan
    i = below[-1]
    share = math.log(size[i] / level) / math.log(size[i] / size[i + 1])
    return float(freq[i] * (freq[i + 1] / freq[i]) ** share)


def _input_noise(simulator, model, rails, ohms: float, at: float, contributors: bool = False):
    """Noise of a follower referred to its source, the 1 Ω of the source taken off [V²/Hz], and shares of it."""
    around = (
        f"vz_in z_s 0 dc {rails.middle!r} ac 0",
        f"rz_s z_s z_t {SOURCE_OHMS!r}",
        f"rz_h z_t z_p {ohms!r} noisy=0",
        "vz_fb z_n z_o dc 0.0",
        f"rz_l z_o z_m {LIGHT_LOAD!r} noisy=0",
    )
    on_bench(simulator, model, rails, around)
    simulator.excite(("vz_in",), "vz_in")
    gain = abs(simulator.ac(f"lin 1 {at!r} {at!r}", ("z_o",))["z_o"][0])
    read = simulator.noise("z_o", "vz_in", f"lin 2 {at!r} {1.001 * at!r}", contributors)
    psd = float(read["onoise_spectrum"][0]) ** 2 / gain**2
    kelvin = TEMPERATURE_C + 273.15
    psd = max(psd - 4 * K_B * kelvin * SOURCE_OHMS, 0.0)
    parts = {
        name.removeprefix("onoise_"): float(np.real(d[0])) ** 2 / gain**2 for name, d in read.items() if "_" in name
    }
    return psd, parts


def _noise(simulator: Simulator, model: MakerModel, conditions: Conditions, found: Readings) -> None:
    """Voltage noise at three frequencies, current noise at 100 kHz, and what makes it."""
    rails = split(conditions.volts)
    for name, at in zip(("en_1k", "en_100k", "en_1m"), NOISE_HZ, strict=True):
        psd, parts = _input_noise(simulator, model, rails, 1e-3, at, at == 1e5)
        found.values[name] = math.sqrt(psd)
        if at == 1e5:
            own = {line.split()[0] for line in model.flat(DEVICE, PINS, TEMPERATURE_C).lines}
            shares = [(part, float(value / psd)) for part, value in parts.items() if part in own and psd > 0]
            shares.sort(key=lambda pair: (-pair[1], pair[0]))
            found.contributors = tuple(
                (part[1:].removeprefix(f"{DEVICE}_"), share) for part, share in shares[:CONTRIBUTORS] if share > 0.01
            )
    with_ohms, _ = _input_noise(simulator, model, rails, CURRENT_NOISE_OHMS, 1e5)
    found.values["in_100k"] = math.sqrt(max(with_ohms - found.values["en_100k"] ** 2, 0.0)) / CURRENT_NOISE_OHMS


def _capacitance(simulator: Simulator, model: MakerModel, conditions: Conditions, found: Readings) -> None:
    """Capacitance of the input that does not invert: both inputs driven alike, and by itself."""
    rails = split(conditions.volts)
    at = 1e5
    both = (
        f"vz_in z_p 0 dc {rails.middle!r} ac 1",
        "lz_fb z_o z_n 1e12",
        "cz_n z_n z_d 1e6",
        f"vz_d z_d 0 dc {rails.middle!r} ac",
    )
    for name, other in (("cin_common", 1), ("cin_total", 0)):
        on_bench(simulator, model, rails, (*both[:3], f"{both[3]} {other}"))
        current = -simulator.ac(f"lin 1 {at!r} {at!r}", ("vz_in#branch",))["vz_in#branch"][0]
        found.values[name] = float(current.imag / (2 * math.pi * at))
        found.values[f"{name}_siemens"] = float(current.real)


def _swing(simulator: Simulator, model: MakerModel, conditions: Conditions, found: Readings) -> None:
    """How near the output comes to the rails, lightly loaded and with 1 kΩ."""
    rails = split(conditions.volts)
    for word, load in (("light", LIGHT_LOAD), ("loaded", RATED_LOAD)):
        ends = []
        for half in (0.25, -0.25):
            on_bench(simulator, model, rails, held(rails.middle + half, rails.middle - half, load))
            ends.append(simulator.operating_point(("z_o",))["z_o"])
        found.values[f"headroom_high_{word}"] = rails.high - ends[0]
        found.values[f"headroom_low_{word}"] = ends[1] - rails.low


def _range(simulator: Simulator, model: MakerModel, conditions: Conditions, found: Readings) -> None:
    """Over what voltages a follower follows, at 41 points from rail to rail."""
    rails = split(conditions.volts)
    on_bench(simulator, model, rails, follower(rails.middle, LIGHT_LOAD))
    offset = found["offset"] if math.isfinite(found["offset"]) else 0.0
    good = []
    for at in np.linspace(rails.low, rails.high, 41):
        simulator.command(f"alter vz_in dc = {float(at)!r}")
        try:
            out = simulator.operating_point(("z_o",))["z_o"]
        except UnitFailed:
            continue
        if abs(out - at - offset) < max(0.01, 0.005 * rails.volts):
            good.append(float(at))
    if not good:
        raise UnitFailed("it follows nowhere")
    found.values["follows_low"] = min(good) - rails.low
    found.values["follows_high"] = rails.high - max(good)


def _slew(simulator: Simulator, model: MakerModel, conditions: Conditions, found: Readings) -> None:
    """Slope of the output between 20 and 80 % of a step of a third of the supply, 3 V at most."""
    rails = split(conditions.volts)
    gain, size = max(1.0, conditions.noise_gain), min(3.0, rails.volts / 3)
    for span in (1e-7, 1e-6, 1e-5, 1e-4, 1e-3):
        low, high = rails.middle - size / 2 / gain, rails.middle + size / 2 / gain
        edge = span / 1000
        around = list(amplifier(low, gain))
        around[0] = (
            f"vz_in z_p 0 dc {low!r} pulse({low!r} {high!r} {span / 20!r} {edge!r} {edge!r} {span!r} {3 * span!r})"
        )
        on_bench(simulator, model, rails, tuple(around))
        read = simulator.transient(span / 400, span, ("z_o",))
        when, out = read["time"], read["z_o"]
        first, last = out[0], out[0] + size
        if out[-1] < first + 0.9 * size:
            continue
        at = [float(when[np.argmax(out >= first + share * (last - first))]) for share in (0.2, 0.8)]
        if at[1] > at[0]:
            found.values["slew"] = 0.6 * size / (at[1] - at[0])
        return
    raise UnitFailed("its output does not arrive within 1 ms")


def _rejection(simulator: Simulator, model: MakerModel, conditions: Conditions, found: Readings) -> None:
    """How little of either supply comes out of a follower at 1 MHz."""
    rails = split(conditions.volts)
    on_bench(simulator, model, rails, follower(rails.middle, LIGHT_LOAD))
    for name, source in (("psrr_high_db", "vz_cc"), ("psrr_low_db", "vz_ee")):
        simulator.excite(("vz_cc", "vz_ee"), source)
        out = abs(simulator.ac("lin 1 1e6 1e6", ("z_o",))["z_o"][0])
        found.values[name] = -20 * math.log10(max(out, 1e-15))


def _distortion(simulator: Simulator, model: MakerModel, conditions: Conditions, found: Readings) -> None:
    gbw, slew = found["gbw"], found["slew"]
    second, third = two_tones(simulator, model, split(conditions.volts), max(conditions.noise_gain, 1.0), gbw, slew)
    found.values |= {"im2_dbc": second, "im3_dbc": third}


def _time(simulator: Simulator, model: MakerModel, conditions: Conditions, found: Readings) -> None:
    rails = split(conditions.volts)
    on_bench(simulator, model, rails, follower(rails.middle, RATED_LOAD))
    simulator.excite(("vz_in",), "vz_in")
    begin = time.perf_counter()
    simulator.ac("lin 200 5e5 3e7", ("z_o",))
    found.seconds = time.perf_counter() - begin


GROUPS: dict[str, Callable] = {
    "operating point": _loads,
    "currents": _currents,
    "gain": _gain,
    "noise": _noise,
    "input capacitance": _capacitance,
    "swing": _swing,
    "input range": _range,
    "slew": _slew,
    "supply rejection": _rejection,
    "distortion": _distortion,
    "time": _time,
}
"""Groups of readings in the order in which they are made."""
