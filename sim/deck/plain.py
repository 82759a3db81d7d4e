"""A unit's whole chain as a deck that plain ngspice runs and measures by itself.

It holds the amplifier on the bench once, and once a band with antenna, line and receiver behind it. A line is exact at
one frequency as a pi of three admittances; its thermal noise, 4kT Re(Y) at its two ends (a passive reciprocal network
at one temperature), comes from two noise resistors through real gains, because Re(Y) is real and symmetric and so has
a real Cholesky factor. So the deck shares no formula with the program's own way to the receiver, which works with
Thevenin sources.

An amplifier with two inputs stands there twice more: with the antenna's emf between its legs, and with the same emf in
both alike; their outputs compared are its common-mode rejection.
"""

import math
from dataclasses import dataclass

import numpy as np

from sim.constants import K_B
from sim.deck.assemble import OPTIONS, assemble
from sim.deck.chain import REFERENCE_LOAD, RESERVED, Chain, UnitValues
from sim.deck.clamp import leakage_cards
from sim.deck.emf import emf_cards, leg_cards
from sim.deck.feed import feed_cards


@dataclass(frozen=True)
class Bench:
    """Port resistances [Ω], dummy capacitor and stray behind it [F] of the analyser's set-up."""

    source: float
    dummy: float
    load: float
    stray: float = 0.0


@dataclass(frozen=True)
class FarEnd:
    """What follows the amplifier at one band.

    Attributes
    ----------
    freq_hz : float
    chain_matrix : complex ndarray, shape (2, 2)
        Of the line, amplifier to receiver.
    line_temperature : float
        [K]
    receiver : float
        [Ω]
    receiver_psd : float
        [V²/Hz]
    ambient_psd : float
        Thermal noise of the antenna's losses that are noiseless in its network, as emf. [V²/Hz]
    """

    freq_hz: float
    chain_matrix: np.ndarray
    line_temperature: float
    receiver: float
    receiver_psd: float
    ambient_psd: float = 0.0


def plain_deck(chain: Chain, unit: UnitValues, bench: Bench, ends: tuple[FarEnd, ...], title: str) -> str:
    """Text of a deck that prints ``gain_db_k``, ``phase_deg_k`` and ``output_noise_nv_k`` for every band k from 1.

    With two inputs it prints ``cmrr_db_k``, too.

    Parameters
    ----------
    chain : Chain
    unit : UnitValues
    bench : Bench
    ends : tuple of FarEnd
        One a band.
    title : str
        First line; letters and digits of the study's own title are shown, nothing else.
    """
    deck = assemble(chain, unit)
    circuit, balanced = chain.circuit, chain.circuit.balanced
    leakage = leakage_cards(unit.outside.clamp_leakage, unit.temperature_c)
    added = (*(f"{part.element} " for part in circuit.parts if part.element), *leakage)
    body = [
        line
        for line in deck.lines
        if line.startswith(added) or (line[0] not in "*." and not line.lower().startswith(("vz_", "iz_", "rz_")))
    ]
    antenna = unit.outside.antenna or chain.antenna
    around = (*emf_cards(antenna, balanced, circuit.input), *feed_cards(unit.outside.feed, unit.supply_v).lines)
    body = [line for line in body if line not in around]
    own = tuple(card.text for card in chain.circuit.others)
    models = [line for line in deck.lines if line.startswith(".") and (line.startswith(".model") or line in own)]
    # Probes become plain wires: zero-volt sources.
    wires = [line.replace(" ac 0", "") for line in deck.lines if line.startswith("vz_p")]
    lines = [
        "* " + "".join(c for c in title if c.isascii() and c.isprintable()),
        "* Run as it is: ngspice -b THIS_FILE. Every band has a copy of the amplifier with its line and receiver.",
        *(line for line in deck.lines if line.startswith((".temp", ".options tnom"))),
        OPTIONS,
        f".subckt amplifier {'in_p in_n' if balanced else circuit.input} {circuit.output} vcc",
        *models,
        *body,
        *wires,
        ".ends amplifier",
        "",
        "* ---- bench: generator, dummy antenna, amplifier, analyser's input",
        f"vbench gen 0 dc 0 ac {2 * math.sqrt(bench.source / bench.load)!r}",
        *_bench(bench, balanced),
        f"rbload bout 0 {bench.load!r} noisy=0",
        *feed_cards(unit.outside.feed, unit.supply_v, "bvcc", "b_").lines,
        "",
        "vemf emf 0 dc 0 ac 1",
        *(_rejection(chain, unit) if balanced else ()),
    ]
    for k, end in enumerate(ends, start=1):
        lines += _band(chain, unit, end, k)
    return "\n".join([*lines, *_control(ends, balanced), ".end"]) + "\n"


def _band(chain, unit, end, k) -> list[str]:
    a, b, d = end.chain_matrix[0, 0], end.chain_matrix[0, 1], end.chain_matrix[1, 1]
    lines = ["", f"* ---- band {k}: {end.freq_hz!r} Hz; exact at this frequency only"]
    emf = "emf"
    if end.ambient_psd > 0:
        emf = f"emf{k}"
        scale = math.sqrt(end.ambient_psd / (4 * K_B * (unit.temperature_c + 273.15) * 1e3))
        lines += [f"rnant{k} nant{k} 0 1e3", f"eant{k} {emf} emf nant{k} 0 {scale!r}"]
    antenna = unit.outside.antenna or chain.antenna
    if chain.circuit.balanced:
        lines += _legs(antenna, str(k), (emf, 0.5), (emf, -0.5))
        inputs = f"inp{k} inn{k}"
    else:
        lines += antenna.netlist(f"in{k}", emf, f"{RESERVED}{k}_")
        if antenna.shunt_capacitance > 0:
            lines.append(f"cstray{k} in{k} 0 {antenna.shunt_capacitance!r}")
        inputs = f"in{k}"
    lines += [
        f"xamp{k} {inputs} out{k} vcc{k} amplifier",
        *feed_cards(unit.outside.feed, unit.supply_v, f"vcc{k}", f"f{k}_").lines,
    ]
    far = f"out{k}"
    if b != 0:
        far = f"far{k}"
        y11, y22, y12 = complex(d / b), complex(a / b), complex(-1 / b)
        omega = 2 * math.pi * end.freq_hz
        for name, n1, n2, y in (
            ("a", f"out{k}", "0", y11 + y12),
            ("b", far, "0", y22 + y12),
            ("s", f"out{k}", far, -y12),
        ):
            lines.append(f"gline{name}{k} {n1} {n2} {n1} {n2} {y.real!r}")
            if y.imag > 0:
                lines.append(f"cline{name}{k} {n1} {n2} {y.imag / omega!r}")
            elif y.imag < 0:
                lines.append(f"lline{name}{k} {n1} {n2} {-1 / (omega * y.imag)!r}")
        # Thermal noise of the line: two independent noise voltages of 1 kΩ resistors, turned into currents.
        scale = math.sqrt(4 * K_B * end.line_temperature / (4 * K_B * (unit.temperature_c + 273.15) * 1e3))
        g11, g22, g12 = y11.real, y22.real, y12.real
        first = math.sqrt(max(g11, 0.0))
        cross = g12 / first if first else 0.0
        second = math.sqrt(max(g22 - cross * cross, 0.0))
        lines += [
            f"rn{k}1 n{k}1 0 1e3",
            f"rn{k}2 n{k}2 0 1e3",
            f"gn{k}1 0 out{k} n{k}1 0 {scale * first!r}",
            f"gn{k}2 0 {far} n{k}1 0 {scale * cross!r}",
            f"gn{k}3 0 {far} n{k}2 0 {scale * second!r}",
        ]
    noise = math.sqrt(end.receiver_psd / (4 * K_B * (unit.temperature_c + 273.15) * 1e3))
    lines += [
        f"rrx{k} {far} 0 {end.receiver!r} noisy=0",
        f"rnrx{k} nrx{k} 0 1e3",
        f"erx{k} rx{k} {far} nrx{k} 0 {noise!r}",
        f"rrxo{k} rx{k} 0 1e12 noisy=0",
    ]
    return lines


def _bench(bench: Bench, balanced: bool) -> list[str]:
    """From the generator to the amplifier: a dummy antenna; or a balun with an earthed tap, and one in each leg."""
    if not balanced:
        return [
            f"rbench gen dummy {bench.source!r}",
            f"cbench dummy bin {bench.dummy!r}",
            *([f"cbstray bin 0 {bench.stray!r}"] if bench.stray > 0 else []),
            "xbench bin bout bvcc amplifier",
        ]
    lines = []
    for side, half in (("p", 0.5), ("n", -0.5)):
        lines += [
            f"ebench{side} gen{side} 0 gen 0 {half!r}",
            f"rbench{side} gen{side} dummy{side} {bench.source / 2!r}",
            f"cbench{side} dummy{side} bin{side} {bench.dummy!r}",
            *([f"cbstray{side} bin{side} 0 {bench.stray!r}"] if bench.stray > 0 else []),
        ]
    return [*lines, "xbench binp binn bout bvcc amplifier"]


def _legs(antenna, mark: str, p: tuple[str, float], n: tuple[str, float]) -> list[str]:
    """Both legs of an antenna with an emf in each: a share of the voltage of a node."""
    lines = []
    for side, (node, share) in (("p", p), ("n", n)):
        lines.append(f"eleg{side}{mark} foot{side}{mark} mid{mark} {node} 0 {share!r}")
    feet = (f"footp{mark}", f"footn{mark}")
    return [*lines, *leg_cards(antenna, (f"inp{mark}", f"inn{mark}"), feet, f"mid{mark}", f"{RESERVED}{mark}_")]


def _rejection(chain, unit) -> list[str]:
    """Two amplifiers on the supply's feed: emf between the legs, and the same in both."""
    antenna = unit.outside.antenna or chain.antenna
    lines = ["", "* ---- common-mode rejection: emf between the legs (d), the same emf in both (c)"]
    for mark, shares in (("d", (0.5, -0.5)), ("c", (1.0, 1.0))):
        lines += [
            *_legs(antenna, mark, *(("emf", share) for share in shares)),
            f"xamp{mark} inp{mark} inn{mark} out{mark} vcc{mark} amplifier",
            f"rload{mark} out{mark} 0 {REFERENCE_LOAD!r} noisy=0",
            *feed_cards(unit.outside.feed, unit.supply_v, f"vcc{mark}", f"f{mark}_").lines,
        ]
    return lines


def _control(ends, balanced: bool) -> list[str]:
    lines = ["", ".control", "set numdgt=9", "set units=degrees"]
    for k, end in enumerate(ends, start=1):
        # A measurement needs neighbours; the middle of three points is the band itself.
        sweep = f"lin 3 {end.freq_hz * (1 - 1e-6)!r} {end.freq_hz * (1 + 1e-6)!r}"
        at = f"at={end.freq_hz!r}"
        lines += [
            f"noise v(rx{k}) vemf {sweep}",
            "setplot previous",
            f"set spectrum{k} = $curplot",
            f"ac {sweep}",
            "let gain = vdb(bout)",
            "let phase = vp(bout)",
            f"let density = {{$spectrum{k}}}.onoise_spectrum * 1e9",
            f"meas ac gain_db_{k} find gain {at}",
            f"meas ac phase_deg_{k} find phase {at}",
            f"meas ac output_noise_nv_{k} find density {at}",
        ]
        if balanced:
            lines += ["let rejection = vdb(outd) - vdb(outc)", f"meas ac cmrr_db_{k} find rejection {at}"]
    # Without it the simulator looks for analyses of its own, finds none and ends with status 1.
    return [*lines, "quit 0", ".endc"]
