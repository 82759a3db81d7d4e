"""Amplifiers drawn at random, each on a random line: decks for comparing verdicts with what the circuits do in time.

Own models and ranges (no source): a two-pole op-amp with a soft limiter as buffer with and without a capacitor, as
transimpedance stage; an amplifier whose output impedance is made active in a band; a field-effect follower with an
inductive antenna. Ranges are chosen so that about a quarter of the draws oscillates.
"""

import numpy as np

_OPAMP = """\
.subckt opa inp inn out A0=3000 GBW=200meg F2=400meg RO=20 CIN=2p VL=0.3
Cin inn 0 {CIN}
Rcm inn 0 1g
Bg 0 x I=1m*{VL}*tanh((V(inp)-V(inn))/{VL})
Rx x 0 {A0/1m}
Cx x 0 {1m/(2*3.14159265358979*GBW)}
Ey y 0 x 0 1
Ry y z 1k
Cz z 0 {1/(2*3.14159265358979*F2*1k)}
Ew w 0 z 0 1
Ro w out {RO}
.ends"""
_PROBE = ("Vprb prb_a prb_b dc 0 ac 0", "Iprb 0 prb_b dc 0 ac 0")
FAR_ENDS = (
    "Rfar far 0 1meg",
    "Rfar far 0 0.1",
    "Rfar far 0 75",
    "Rfar far 0 37.5",
    "Rfar far 0 150",
    "Cfar far 0 100p",
)
KINDS = 5


def _between(draw, low: float, high: float) -> float:
    """Evenly in the logarithm."""
    return float(np.exp(draw.uniform(np.log(low), np.log(high))))


def _line(draw) -> list[str]:
    """A line from node c0 to its far end; its loss as resistors at both ends."""
    z0 = float(draw.choice([50.0, 75.0]))
    length_m = _between(draw, 0.2, 300)
    delay_s = length_m / (draw.uniform(0.66, 0.88) * 299792458)
    # The loss of one frequency, 0.5 to 3 dB/100 m, plus connectors.
    loss_ohm = z0 * (draw.uniform(0.5, 3) * length_m / 100 / 8.686) / 2 + draw.uniform(0.01, 0.5)
    return [
        f"Ra1 c0 c1 {loss_ohm!r}",
        f"T1 c1 0 c2 0 z0={z0!r} td={delay_s!r}",
        f"Ra2 c2 far {loss_ohm!r}",
        str(draw.choice(FAR_ENDS)),
        "Rdc far 0 1meg",
    ]


def _opamp(draw, nodes: str, gbw_hz: float) -> str:
    second = gbw_hz * _between(draw, 0.25, 4)
    ohm, farad = _between(draw, 5, 80), _between(draw, 1e-12, 6e-12)
    return f"X1 {nodes} opa A0={_between(draw, 1e3, 1e5)!r} GBW={gbw_hz!r} F2={second!r} RO={ohm!r} CIN={farad!r}"


def _buffer(draw, capacitor: bool) -> list[str]:
    cards = [_OPAMP, "Vin in 0 0", _opamp(draw, "in prb_b out", _between(draw, 2e7, 3e8)), "Rfb out prb_a 1"]
    cards.append(f"Rback out c0 {_between(draw, 0.01, 75)!r}")
    return [*cards, f"CL out 0 {_between(draw, 5e-12, 2e-10)!r}"] if capacitor else cards


def _transimpedance(draw) -> list[str]:
    cards = [_OPAMP, "Vp vp 0 0", _opamp(draw, "vp sum out", _between(draw, 5e7, 5e8))]
    cards += [f"Rf sum prb_b {_between(draw, 2e3, 3e4)!r}", "Rw out prb_a 1"]
    cards += [f"Cf sum prb_b {_between(draw, 3e-14, 4e-12)!r}", f"Ca sum 0 {_between(draw, 1e-11, 1e-10)!r}"]
    return [*cards, f"Rback out c0 {_between(draw, 10, 75)!r}"]


def _active_impedance(draw) -> list[str]:
    """Output impedance of 75 ohm with a band in which a feedback of the current takes away up to 110 ohm."""
    freq, width = _between(draw, 1e6, 2e7), _between(draw, 0.5, 3)
    henry, farad = width * 50 / (2 * np.pi * freq), 1 / (2 * np.pi * freq * width * 50)
    taken = draw.uniform(20, 110)
    return [
        "Vs 0 k1 0",
        f"Bh h0 0 V=0.5*tanh(I(Vs)*{taken!r}/0.5)",
        f"Lb h0 h1 {henry!r}",
        f"Cb h1 h2 {farad!r}",
        "Rb h2 0 50",
        "Eb h3 0 h2 0 1",
        "Rp h3 prb_a 1",
        "Rq prb_b 0 1meg",
        "Ef k2 k1 prb_b 0 1",
        "R0 k2 c0 75",
    ]


def _follower(draw) -> list[str]:
    return [
        f"Rstop ant g {_between(draw, 1, 1000)!r}",
        f"Cgs g s {_between(draw, 2e-12, 8e-12)!r}",
        f"Cgd g 0 {_between(draw, 5e-13, 3e-12)!r}",
        "Rg g 0 1meg",
        f"B1 0 prb_a I={_between(draw, 3e-3, 2e-2)!r}*0.5*tanh(V(g,s)/0.5)",
        "Rsx prb_b s 1m",
        "Rs s 0 470",
        f"CL s 0 {_between(draw, 2e-12, 3e-11)!r}",
        f"La ant a1 {_between(draw, 5e-8, 5e-6)!r}",
        "Ra a1 a2 5",
        f"Ca a2 0 {_between(draw, 1e-11, 1e-10)!r}",
        f"Rback s c0 {_between(draw, 50, 500)!r}",
    ]


def random_amplifier(number: int) -> str:
    """Deck of one amplifier; the same for the same number, whatever else is drawn.

    Parameters
    ----------
    number : int
    """
    draw = np.random.Generator(np.random.Philox(key=[20261125, number]))
    kind = number % KINDS
    if kind < 2:
        cards = _buffer(draw, capacitor=kind == 1)
    else:
        cards = (_transimpedance, _active_impedance, _follower)[kind - 2](draw)
    return "\n".join([f"amplifier {number}", *_PROBE, *cards, *_line(draw), ".end", ""])
