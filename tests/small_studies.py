"""Small studies for the tests: written from a few tables, read as any study, then simulated or exported."""

import json
from pathlib import Path

import numpy as np

from sim.cli import main
from sim.measures.panel import BANDED, SINGLE
from sim.measures.unit import Answer, Item, UnitWorker
from sim.study.read import read_study
from sim.study.scenarios import scenarios

VERTICAL = {"model": "short-vertical", "height": "7 m", "radius": "8 mm"}
BASE = {
    "title": "A small study for the tests",
    "amplifier": {"circuit": "transimpedance", "opamp": "OPA2822"},
    "antenna": VERTICAL,
}


def small_text(**tables) -> str:
    """A study of the 7 m vertical with these tables beside or in place of its own.

    Parameters
    ----------
    **tables
        Tables by name; inner dicts become tables below; `vary` is a dict of keys to values; None leaves a table out.
    """
    lines, vary = [], tables.pop("vary", {})
    for name, entry in {**BASE, **tables}.items():
        lines += [f"{name} = {_toml(entry)}"] if name == "title" else _table(name, entry)
    for key, values in vary.items():
        lines += ["[[vary]]", f"what = {_toml(key)}", f"values = {_toml(values)}"]
    return "\n".join(lines) + "\n"


def _table(name: str, entry: dict | None) -> list[str]:
    if entry is None:
        return []
    below = {key: value for key, value in entry.items() if isinstance(value, dict)}
    lines = [f"[{name}]", *(f"{key} = {_toml(value)}" for key, value in entry.items() if key not in below)]
    return lines + [line for key, value in below.items() for line in _table(f"{name}.{key}", value)]


def _toml(value) -> str:
    # Texts, numbers and lists of them are written alike in both languages.
    return json.dumps(value, ensure_ascii=False)


def write_study(folder, text: str | None = None, name: str = "study.toml", **tables) -> Path:
    """File of a study: the text given, or :func:`small_text` of the tables."""
    path = Path(folder) / name
    path.write_text(small_text(**tables) if text is None else text, encoding="utf-8")
    return path


def answers(path, contributors: bool = False) -> list[Answer]:
    """The nominal unit of every scenario, as the pipeline simulates and measures it."""
    every = scenarios(read_study(path))
    worker = UnitWorker(every, [0], contributors)
    return [worker(Item(scenario.number, 0, 0)) for scenario in every]


def measured(path) -> list[dict]:
    """Measures of the nominal unit in every scenario by name: an array over the bands, or one number."""
    found = []
    for answer in answers(path):
        named = dict(zip(BANDED, answer.measures.banded, strict=True))
        found.append({**named, **dict(zip(SINGLE, answer.measures.single, strict=True))})
    return found


def external_emf_nv(values: dict) -> np.ndarray:
    """Noise from outside as antenna emf: own noise referred to the emf, times the margin. [nV/√Hz]"""
    return values["input_noise_nv"] * 10 ** (values["noise_margin_db"] / 20)


def effective_height(values: dict) -> np.ndarray:
    """Antenna's emf per field: gain from the emf over gain from the field, both to the receiver. [m]"""
    return 10 ** (-(values["antenna_factor_db"] + values["system_gain_db"]) / 20)


def export(path, what: str, scenario: int = 0):
    """What `bandfloor export` writes: a deck as its text, a Touchstone file as scikit-rf reads it back."""
    ending = {"antenna": "s1p", "feedline": "s2p", "netlist": "cir"}[what]
    out = Path(path).with_name(f"exported-{scenario}.{ending}")
    assert main(["export", str(path), what, "--scenario", str(scenario), "-o", str(out)]) == 0
    if what == "netlist":
        return out.read_text(encoding="ascii")
    import skrf

    return skrf.Network(str(out))


def at_band(network, freq_hz: float) -> int:
    """Row of a file at one of its frequencies."""
    (row,) = np.flatnonzero(network.f == freq_hz)
    return int(row)
