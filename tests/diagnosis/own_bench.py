"""A bench of its own: faults put into exported netlists by editing their text, swept by plain ``ngspice -b``.

It shares nothing with the diagnosis but the exported deck: how a part is opened, shorted, swapped or joined dry, what
a dead op-amp is, the analyser's noise and its errors are all written down here a second time.
"""

import math
import re
import subprocess
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sim.measured.sweep import Sweep

PINS = {
    "transimpedance": {"inp": "mid", "inn": "sum", "vcc": "sup", "vee": "0", "out": "drv"},
    "voltage-follower": {"inp": "hi", "inn": "inv", "vcc": "sup", "vee": "0", "out": "drv"},
}
LEAST_SUPPLY = 4.0  # below it neither op-amp of the two studies works; their data sheets say 4.75 V [V]
# The active cards of an op-amp; what is left of it without them are its capacitances and its input resistance.
ACTIVE = ("bxamp_1", "gxamp_4", "rxamp_4", "bxamp_5", "ixamp_q", "ixamp_bp", "ixamp_bn")
_PREFIX = {"": 1.0, "p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "k": 1e3, "M": 1e6}


@dataclass
class Netlist:
    """Cards of the amplifier, and of the bench around it."""

    head: list[str]
    cards: dict[str, list[str]]
    bench: dict[str, list[str]]
    start: str = ""


def parsed(text: str) -> Netlist:
    """The amplifier and its bench out of an exported deck; antenna, line and receiver are left behind."""
    lines = text.splitlines()
    first = next(i for i, line in enumerate(lines) if line.startswith(".subckt"))
    last = next(i for i, line in enumerate(lines) if line.startswith(".ends"))
    stop = next(i for i, line in enumerate(lines) if line.startswith("vemf"))
    cards = [line for line in lines[first + 1 : last] if not line.startswith(".")]
    models = [line for line in lines[first + 1 : last] if line.startswith(".")]
    bench = [line for line in lines[last + 1 : stop] if line and line[0] not in "*."]
    return Netlist(
        head=[*lines[:first], lines[first], *models],
        cards={line.split()[0]: line.split() for line in cards},
        bench={line.split()[0]: line.split() for line in bench},
    )


def _number(shown: str) -> float:
    match = re.fullmatch(r"([\d.]+)([pnumkM]?)[ΩF]", shown)
    return float(match[1]) * _PREFIX[match[2]]


def with_fault(net: Netlist, key: str, circuit: str, nominal: dict[str, float], rng) -> None:
    """Put a fault into a netlist, by its name."""
    pins, cards = PINS[circuit], net.cards
    if key == "good":
        return
    if match := re.fullmatch(r"dummy([+-]\d+)%", key):
        net.bench["cbench"][3] = repr(float(net.bench["cbench"][3]) * (1 + int(match[1]) / 100))
    elif match := re.fullmatch(r"leak:in:(\d+)", key):
        cards["rdirt"] = ["rdirt", "in", "0", match[1]]
    elif match := re.fullmatch(r"Xamp:(\w+)-(\w+)(?::\w+)?", key):
        cards["rbridge"] = ["rbridge", pins[match[1]], pins[match[2]], "2e-3"]
    elif match := re.fullmatch(r"op0:(.+)", key):
        _spoil(net, match[1], pins)
    elif match := re.fullmatch(r"(\w+)<>(\w+)", key):
        a, b = match[1].lower(), match[2].lower()
        cards[a][3], cards[b][3] = cards[b][3], cards[a][3]
    elif match := re.fullmatch(r"(\w+):(open|short|dry\d+)", key):
        _spoil_part(cards, match[1].lower(), match[2], rng)
    else:
        name, shown = key.split("=")
        card = cards[name.lower()]
        card[3] = repr(float(card[3]) / nominal[name] * _number(shown))


def _spoil_part(cards, name: str, how: str, rng) -> None:
    _, a, b, _ = cards[name]
    if how == "short":
        cards["rblob"] = ["rblob", a, b, "5e-3"]
    elif how.startswith("dry"):
        cards[name][2] = "joint"
        cards["rjoint"] = ["rjoint", "joint", b, how.removeprefix("dry")]
    else:
        del cards[name]
        cards["cpads"] = ["cpads", a, b, repr(0.1e-12 * 2 ** rng.uniform(-1, 1))]
        if name[0] == "r":
            cards["rboard"] = ["rboard", a, b, "5e10"]


def _spoil(net: Netlist, how: str, pins) -> None:
    cards = net.cards
    if how == "slow":
        for name in ("cxamp_1a", "cxamp_1b"):
            cards[name][3] = repr(3 * float(cards[name][3]))
    elif how == "dead":
        cards.pop("bxamp_1")
        for name in ("rxamp_1a", "rxamp_1b"):
            cards[name][3] = "1e4"
    elif how == "off":
        for name in ACTIVE:
            cards.pop(name)
    else:
        a, b = pins["inp"], pins["inn"]
        for name in [name for name in cards if "xamp_" in name and name != "bxamp_2"]:
            text = " ".join(cards[name])
            for old, new in ((a, "\0"), (b, a), ("\0", b)):
                text = re.sub(rf"(?<![\w]){re.escape(old)}(?![\w])", new, text)
            cards[name] = text.split(" ")
        volts = "12" if how.endswith("high") else "0"
        nodes = (pins["out"], "xamp_g", "xamp_p")
        net.start = ".nodeset " + " ".join(f"v(xbench.{node})={volts}" for node in nodes)


def _deck(net: Netlist) -> str:
    control = [
        ".control",
        "op",
        "print v(xbench.sup)",
        "ac dec 37 4e5 1.2e7",
        "wrdata sweep.data v(bout)",
        "quit 0",
        ".endc",
        ".end",
    ]
    cards = [" ".join(card) for card in net.cards.values()]
    bench = [" ".join(card) for card in net.bench.values()]
    return "\n".join([*net.head, *cards, ".ends", *bench, net.start, *control]) + "\n"


def swept(net: Netlist, folder: Path) -> tuple[np.ndarray, np.ndarray]:
    """Frequencies and S21 of a netlist; an op-amp that is left without supply is taken out and swept again."""
    freq_hz, gain, supply = _run(net, folder)
    if supply < LEAST_SUPPLY and "bxamp_1" in net.cards:
        for name in ACTIVE:
            net.cards.pop(name)
        freq_hz, gain, _ = _run(net, folder)
    return freq_hz, gain


def _run(net: Netlist, folder: Path):
    (folder / "own.cir").write_text(_deck(net), encoding="ascii")
    data = folder / "sweep.data"
    data.unlink(missing_ok=True)
    done = subprocess.run(
        ["ngspice", "-b", "own.cir"], cwd=folder, capture_output=True, text=True, timeout=60, check=False
    )
    assert data.is_file(), done.stdout[-2000:] + done.stderr[-2000:]
    supply = float(re.search(r"v\(xbench\.sup\) = (\S+)", done.stdout)[1])
    table = np.loadtxt(data)
    return table[:, 0], table[:, 1] + 1j * table[:, 2], supply


def analysed(net: Netlist, folder: Path, rng, name: str = "own", bench_rng=None) -> Sweep:
    """A sweep as an analyser shows it: ports, dummy and path a little off, noise, and its floor.

    Sweeps with equal `bench_rng` are made on one bench.
    """
    noise, rng = rng, bench_rng or rng
    for card, place, sigma in (("rbench", 3, 0.005), ("cbench", 3, 0.005), ("rbload", 3, 0.005)):
        net.bench[card][place] = repr(float(net.bench[card][place]) * (1 + sigma * rng.normal()))
    net.bench["cjig"] = ["cjig", "bin", "0", repr(abs(0.2e-12 * rng.normal()))]
    freq_hz, gain = swept(net, folder)
    n, rng = len(freq_hz), noise
    level = 10 ** ((0.02 * rng.normal() + 0.02 * rng.normal(size=n)) / 20)
    turn = np.deg2rad(0.15 * rng.normal(size=n)) - 2 * math.pi * freq_hz * 0.05e-9 * rng.normal()
    floor = 10 ** (-85 / 20) * (rng.normal(size=n) + 1j * rng.normal(size=n)) / math.sqrt(2)
    return Sweep(name, f"{name}.s2p", freq_hz, gain * level * np.exp(1j * turn) + floor, None)
