"""Hostile inputs: honest files of every kind that the program reads, spoilt by what their own language knows.

A file is spoilt by a few steps, each three whole numbers: what to do, where, with what. So hypothesis can draw and
shrink them, and the same numbers give the same file anywhere.
"""

import math
import os
import re
from dataclasses import dataclass
from pathlib import Path

from hypothesis import strategies as st

from tests.hostile.words import LINES, WORDS
from tests.small_studies import small_text

ROOT = Path(__file__).resolve().parents[2]
LARGEST = 3_000_000
"""Characters at which a spoilt file is cut. [1]"""

_STUDIES = tuple(sorted((ROOT / "studies").glob("*.toml")))
_CIRCUITS = tuple(sorted((ROOT / "circuits" / "amplifiers").glob("*.cir")))
_MODELS = tuple(path for path in sorted((ROOT / "tests" / "opamp" / "models").glob("*.*")) if path.is_file())
_BENCH = {"fixture": {"dummy": "47p"}, "run": {"units": 24, "build": 8}, "limits": {"stable": "> 0.5"}}


@dataclass(frozen=True)
class Kind:
    """A kind of file.

    Attributes
    ----------
    language : str
        Key of :data:`WORDS` and :data:`LINES`.
    name : str
        Of the file that is spoilt, in the study's folder.
    texts : tuple of str
        Honest ones to begin with.
    commands : tuple of tuple of str
        What reads it; OUT stands for the folder that may be written.
    others : tuple of (str, str)
        Names and texts of the honest files beside it.
    """

    language: str
    name: str
    texts: tuple[str, ...]
    commands: tuple[tuple[str, ...], ...]
    others: tuple[tuple[str, str], ...] = ()


def _read(paths) -> tuple[str, ...]:
    return tuple(path.read_text(encoding="utf-8") for path in paths)


def _study(**tables) -> tuple[str, str]:
    return "study.toml", small_text(**tables)


def _starter() -> str:
    """The starter with every commented key at work: most of them at once."""
    text = (ROOT / "sim" / "study" / "starter.toml").read_text(encoding="utf-8")
    return re.sub(r"(?m)^# *(\[*[\w.]+\]*(?: = .*)?)$", r"\1", text)


def _whip(mhz: float) -> complex:
    """Reflection of a whip of 100 pF and 8 ohm, in 50 ohm."""
    impedance = complex(8.0, -1e6 / (2 * math.pi * mhz * 100))
    return (impedance - 50) / (impedance + 50)


_S1P = "! a vertical\n# MHz S RI R 50\n" + "".join(
    f"{mhz:.2f} {_whip(mhz).real:.5f} {_whip(mhz).imag:.5f}\n" for mhz in (0.5 + 0.25 * k for k in range(60))
)
_S1P_2 = "[Version] 2.0\n# Hz S RI R 75\n[Number of Ports] 1\n[Number of Frequencies] 11\n[Reference] 50\n" + (
    "[Network Data]\n"
    + "".join(f"{mhz}e6 {_whip(mhz).real:.5f} {_whip(mhz).imag:.5f}\n" for mhz in range(1, 12))
    + "[End]\n"
)
_S2P = "! swept 2026-11-25\n# MHz S MA R 50\n" + "".join(
    f"{0.25 + 0.25 * k:.2f} 0.9 {-k} 0.7 {-2 * k} 0.001 0 0.2 {k}\n" for k in range(50)
)
_S2P_2 = (
    "[Version] 2.0\n# Hz S RI R 50\n[Number of Ports] 2\n[Two-Port Data Order] 12_21\n[Number of Frequencies] 2\n"
    "[Reference] 50 75\n[Matrix Format] Full\n[Network Data]\n"
    "4e5 0.1 0 0 0 0.7 0 0.1 0\n1.1e7 0.1 0 0 0 0.7 0 0.1 0\n[End]\n"
)
_NOISE = _S2P + "! noise\n1 3.0 0.2 10 0.4\n8 3.1 0.2 12 0.4\n"
_COLUMNS = "# remark\nfrequency_mhz,gain_db,phase_deg\n" + "".join(
    f"{0.25 + 0.25 * k:.2f},{-3 - 0.01 * k:.3f},{-2 * k}\n" for k in range(50)
)
_IMPEDANCE = (ROOT / "studies" / "measured-antenna.csv").read_text(encoding="utf-8")
_PRICES = (
    'currency = "EUR"\n[piece]\nboard = 12.5\nCf = 0.2\nRf = {"1 %" = 0.05, "0.1 %" = 0.4}\n[metre]\nrg6-ccs = 0.6\n'
)


_BANDS = {"frequencies": ["1.8M", "3.5M", "7M"]}


def _measured(name: str, **words: str) -> tuple[str, str]:
    return _study(antenna={"model": "measured", "file": name, **words}, bands=_BANDS)


_AMPLIFIER = {"circuit": "transimpedance", "opamp": "OPA2822"}
_INSPECT = ("inspect", "own.s2p", "--study", "study.toml", "--out", "OUT/i")

KINDS = {
    "study": Kind(
        "toml",
        "study.toml",
        (*_read(_STUDIES), _starter()),
        (
            ("check", "study.toml"),
            ("export", "study.toml", "netlist", "-o", "OUT/a.cir", "--unit", "3"),
            ("export", "study.toml", "antenna", "-o", "OUT/a.s1p"),
            ("export", "study.toml", "feedline", "-o", "OUT/a.s2p"),
        ),
        (("measured-antenna.csv", _IMPEDANCE),),
    ),
    "circuit": Kind(
        "spice",
        "own.cir",
        _read(_CIRCUITS),
        (("check", "study.toml"), ("export", "study.toml", "netlist", "-o", "OUT/a.cir")),
        (_study(amplifier={**_AMPLIFIER, "circuit": "own.cir"}),),
    ),
    "op-amp": Kind(
        "toml",
        "own.toml",
        _read(sorted((ROOT / "circuits" / "opamps").glob("*.toml"))[:8]),
        (("check", "study.toml"), ("export", "study.toml", "netlist", "-o", "OUT/a.cir"), ("list", "opamps")),
        (_study(amplifier={**_AMPLIFIER, "opamp": "own.toml"}),),
    ),
    "cable": Kind(
        "toml",
        "own.toml",
        _read(sorted((ROOT / "circuits" / "feedlines").glob("*.toml"))),
        (("check", "study.toml"), ("export", "study.toml", "feedline", "-o", "OUT/a.s2p")),
        (_study(feedline={"cable": "own.toml", "length": "80 m"}),),
    ),
    "maker's model": Kind(
        "spice",
        "own.lib",
        _read(_MODELS),
        (("try", "own.lib"), ("try", "own.lib", "--pins", "inp inn vcc vee out"), ("check", "study.toml")),
        (_study(amplifier={**_AMPLIFIER, "opamp": "own.lib"}),),
    ),
    "deck": Kind(
        "spice",
        "own.cir",
        _read(sorted((ROOT / "circuits" / "decks").glob("*.cir"))),
        (("judge", "own.cir"), ("judge", "own.cir", "--lines", "--out", "OUT/j")),
    ),
    "antenna table": Kind(
        "columns", "own.csv", (_IMPEDANCE,), (("check", "study.toml"),), (_measured("own.csv", state="dry"),)
    ),
    "antenna Touchstone": Kind(
        "touchstone",
        "own.s1p",
        (_S1P, _S1P_2),
        (("check", "study.toml"), ("export", "study.toml", "antenna", "-o", "OUT/a.s1p")),
        (_measured("own.s1p", effective_height="3 m"),),
    ),
    "far end": Kind(
        "touchstone",
        "own.s1p",
        (_S1P, _S1P_2),
        (("check", "study.toml"),),
        (_study(stability={"cables": ["rg58"], "lengths": ["5 m"], "far_ends": ["own.s1p"]}),),
    ),
    "sweep": Kind(
        "touchstone",
        "own.s2p",
        (_S2P, _S2P_2, _NOISE),
        (("match", "own.s2p", "b.s2p", "c.csv", "--pick", "2"), _INSPECT),
        (("b.s2p", _S2P), ("c.csv", _COLUMNS), _study(**_BENCH)),
    ),
    "sweep in columns": Kind(
        "columns",
        "own.csv",
        (_COLUMNS,),
        (
            ("match", "own.csv", "b.s2p", "c.csv", "--pick", "2", "--json"),
            ("inspect", "own.csv", "--study", "study.toml", "--out", "OUT/i"),
        ),
        (("b.s2p", _S2P), ("c.csv", _COLUMNS), _study(**_BENCH)),
    ),
    "prices": Kind(
        "toml",
        "prices.toml",
        (_PRICES,),
        (("order", "study.toml", "--build", "4", "--prices", "prices.toml", "--out", "OUT/o"),),
        (_study(**_BENCH),),
    ),
    "unit record": Kind(
        "touchstone",
        "units/unit-07/2026-11-25.s2p",
        (_S2P, "! bench: dummy 4.7e-11 F, source 50.0 ohm, load 75.0 ohm, pad 0.0 dB\n" + _S2P_2),
        ((*_INSPECT, "--record", "units", "--serial", "unit-07"), (*_INSPECT, "--record", "units", "--serial", "8")),
        (("own.s2p", _S2P), _study(**_BENCH)),
    ),
}
"""Every kind of file that the program reads."""

_TOKEN = re.compile(r'"[^"\n]*"|[-+]?\d[\w.+-]*|[A-Za-z_][\w.-]*|[\[\]{}=,;#!()*]')
STEPS = ("word", "swap", "line", "drop", "twice", "cut", "repeat", "sign", "bytes", "nest")
SIGNS = (
    "\0",
    "\r",
    "\v",
    "\f",
    "\x1b[31m",
    "\u202e",
    "\u2028",
    "\u200b",
    "\ufeff",
    "\u00a0",
    "\ud83d\udca9",
    "ﬁ",
    "µ",
    "Ω",
)
SIGNS += ("١", "𝟏", "е", "∕", "；", "\\", "`", "$", "\t", "'", '"', "\n", "\r\n", "{", "[", "(", "%", "\x7f", "\x85")
BYTES = (b"\xff\xfe", b"\xc3\x28", b"\xed\xa0\x80", b"\x80", b"\0" * 9, b"\xef\xbb\xbf", b"\xf4\x90\x80\x80", b"\r")
DEPTHS = (5, 50, 500, 5_000, 50_000)


def spoilt(kind: Kind, first: int, steps) -> bytes:
    """A spoilt file.

    Parameters
    ----------
    kind : Kind
    first : int
        Which honest text to begin with.
    steps : sequence of (str, int, int)
        What to do, where, with what.
    """
    text, raw = kind.texts[first % len(kind.texts)], []
    for step, place, what in steps:
        if step == "bytes":
            raw.append((place, BYTES[what % len(BYTES)]))
        else:
            text = _step(text, kind, step, place, what)[:LARGEST]
    made = text.encode("utf-8", "surrogatepass")
    for place, piece in raw:
        at = place * 31 % (len(made) + 1)
        made = made[:at] + piece + made[at:]
    return made


def _step(text: str, kind: Kind, step: str, place: int, what: int) -> str:
    words, lines = WORDS[kind.language], LINES[kind.language]
    if step in ("word", "swap"):
        found = [match.span() for match in _TOKEN.finditer(text)]
        if not found:
            return text
        start, end = found[place % len(found)]
        if step == "word":
            return text[:start] + words[what % len(words)] + text[end:]
        other = found[what % len(found)]
        (a, b), (c, d) = sorted(((start, end), other))
        return text if a == c else text[:a] + text[c:d] + text[b:c] + text[a:b] + text[d:]
    rows = text.split("\n")
    at = place % len(rows)
    if step == "line":
        rows.insert(at, lines[what % len(lines)])
    elif step == "drop":
        del rows[at : at + 1 + what % 4]
    elif step == "twice":
        rows.insert(what % len(rows), rows[at])
    elif step == "cut":
        return text[: place * 7 % (len(text) + 1)]
    elif step == "repeat":
        rows[at : at + 1] = [rows[at]] * DEPTHS[what % (len(DEPTHS) - 1)]
    elif step == "sign":
        row, sign = rows[at], SIGNS[what % len(SIGNS)]
        near = what * 13 % (len(row) + 1)
        rows[at] = row[:near] + sign + row[near:]
    else:
        depth, (opening, closing) = DEPTHS[what % len(DEPTHS)], ("[]", "{}", "()", '""')[place % 4]
        rows[at] = f"{rows[at]}{opening * depth}1{closing * depth * (what % 2)}"
    return "\n".join(rows)


def steps(most: int = 4):
    """Strategy of what is done to a file."""
    number = st.integers(0, 9_999)
    return st.lists(st.tuples(st.sampled_from(STEPS), number, number), min_size=1, max_size=most)


def lay_out(kind: Kind, raw: bytes, folder: Path) -> None:
    """Write the spoilt file and the honest ones beside it; the traps of the folder stay.

    Parameters
    ----------
    kind : Kind
    raw : bytes
    folder : Path
        Of the study.
    """
    for name, content in (*((name, text.encode()) for name, text in kind.others), (kind.name, raw)):
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)


def set_traps(folder: Path) -> None:
    """Links out of the folder, devices and pipes, which the words of every language name.

    Parameters
    ----------
    folder : Path
        Of the study; a file named secret lies beside it.
    """
    secret = folder.parent / "secret"
    secret.write_text("# MHz S RI R 50\n1 0 0\n", encoding="ascii")
    for ending in ("cir", "toml", "csv", "s1p", "s2p", "lib"):
        (folder.parent / f"outside.{ending}").write_text("a secret\n", encoding="ascii")
        (folder / f"link.{ending}").symlink_to(folder.parent / f"outside.{ending}")
        (folder / f"device.{ending}").symlink_to("/dev/zero")
        (folder / f"loop.{ending}").symlink_to(folder / f"loop.{ending}")
        os.mkfifo(folder / f"pipe.{ending}")
        (folder / f"folder.{ending}").mkdir()
    (folder / "up").symlink_to(folder.parent)
