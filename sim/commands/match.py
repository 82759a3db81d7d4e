"""bandfloor match: which measured units belong together, and which goes where."""

import argparse
import json
import textwrap
from dataclasses import asdict, dataclass

import numpy as np

from sim.errors import Fault, StudyError, SweepError
from sim.quantity import QuantityError, format_quantity, parse_quantity

_WIDTH = 100
_POINTS = 16
NEPER_DB = 20 / np.log(10)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of ``bandfloor match``."""
    parser.add_argument(
        "sweeps", metavar="SWEEP", nargs="+", help="sweeps of all units, .s2p or .csv, one set-up, one day"
    )
    parser.add_argument("--pick", type=int, metavar="N", help="units of a set; left out: those of the study's array")
    parser.add_argument("--arrays", type=int, default=1, metavar="K", help="sets to choose together (default: 1)")
    parser.add_argument("--study", metavar="STUDY", help="study: its bands, and its [array] for places and spares")
    parser.add_argument(
        "--repeatability",
        metavar="DB",
        help='rms difference between two measurements of one unit, such as "0.02 dB"; an equal error in phase is 0.13'
        " degrees. Sets that differ by less are tied, and of those the one with the best spares is taken",
    )
    parser.add_argument("--json", action="store_true", help="print the answer alone on standard output, for programs")
    parser.epilog = (
        "A set is scored by the rms deviation of its units from the set's own mean, gain and phase together, over the\n"
        "bands of the study or sixteen frequencies of the sweeps. What all have in common counts nothing. Measure all\n"
        "units through the same dummy antenna. To learn the repeatability, take one unit off and measure it five times."
    )


@dataclass(frozen=True)
class Placed:
    """One unit of a set.

    Attributes
    ----------
    unit, file : str
    gain_db, phase_deg : float
        Largest deviation from the set's mean over the frequencies, with its sign. [dB], [degree]
    place : tuple of two float or None
        East and north, where the study has an array. [m]
    spare : str or None
        Unit that replaces it best.
    """

    unit: str
    file: str
    gain_db: float
    phase_deg: float
    place: tuple[float, float] | None
    spare: str | None


def act(given) -> int:
    """Choose, place, print."""
    from sim.measured.sweep import read_sweeps

    study = _study(given.study)
    table = study.array if study else None
    pick = _counts(given, table)
    repeatability = _repeatability(given.repeatability)
    sweeps = read_sweeps(given.sweeps)
    _alike(sweeps)
    freq_hz = np.asarray(study.bands.frequencies) if study else _common(sweeps)
    gains = np.array([sweep.gain_at(freq_hz) for sweep in sweeps])
    answer = matched(sweeps, freq_hz, gains, pick, given.arrays, repeatability, study)
    if given.json:
        print(json.dumps(answer, indent=1, ensure_ascii=False, allow_nan=False))
    else:
        print("\n" + describe(answer))
    return 0


def _study(name: str | None):
    if name is None:
        return None
    from sim.study.read import read_study
    from sim.study.scenarios import scenarios

    return scenarios(read_study(name))[0].study


def _refuse(key: str, found: str, remedy: str) -> StudyError:
    return StudyError(Fault("bandfloor match", None, key, found, remedy))


def _counts(given, table) -> int:
    elements = len(table.positions) if table else None
    pick = given.pick if given.pick is not None else elements
    if pick is None:
        raise _refuse("--pick", "is missing.", "Write --pick N, or name a study with a table [array].")
    if pick < 2:
        raise _refuse("--pick", f"is {pick}.", "Write 2 or more.")
    if elements is not None and pick != elements:
        found = f"is {pick}, and the array of the study has {elements} elements."
        raise _refuse("--pick", found, f"Write --pick {elements}, or leave it out.")
    if given.arrays < 1:
        raise _refuse("--arrays", f"is {given.arrays}.", "Write 1 or more.")
    if given.arrays * pick > len(given.sweeps):
        found = f"needs {given.arrays} × {pick} units, and there are sweeps of {len(given.sweeps)}."
        raise _refuse("--pick", found, "Name more sweeps, or ask for fewer units.")
    return pick


def _repeatability(text: str | None) -> float:
    """Relative rms error of gain and phase together. [1]"""
    if text is None:
        return 0.0
    try:
        level = parse_quantity(text, "dB")
    except QuantityError as error:
        raise _refuse("--repeatability", error.found, 'Write decibels, for example "0.02 dB".') from error
    if not 0 <= level <= 3:
        raise _refuse("--repeatability", f"{text} is out of range.", "Write 0 to 3 dB.")
    return float(np.sqrt(2) * level / NEPER_DB)


def _alike(sweeps) -> None:
    """Refuse sweeps that are not of different units on one set-up."""
    names = [sweep.name for sweep in sweeps]
    for number, sweep in enumerate(sweeps):
        if sweep.name in names[:number]:
            found = "has the name of another sweep."
            raise SweepError(Fault(sweep.file, None, None, found, "Name each file after its unit, each unit once."))
    references = {sweep.two_port.reference for sweep in sweeps if sweep.two_port}
    if len(references) > 1:
        two_ports = [sweep for sweep in sweeps if sweep.two_port]
        odd = next(sweep for sweep in two_ports if sweep.two_port.reference != two_ports[0].two_port.reference)
        found = f"has the reference {odd.two_port.reference[0]:g} ohm, and others have another."
        raise SweepError(Fault(odd.file, None, None, found, "Measure all units on one set-up."))


def _common(sweeps) -> np.ndarray:
    """Frequencies that all sweeps reach. [Hz]"""
    low, high = max(sweep.freq_hz[0] for sweep in sweeps), min(sweep.freq_hz[-1] for sweep in sweeps)
    if low >= high:
        late = max(sweeps, key=lambda sweep: sweep.freq_hz[0])
        found = f"begins at {low / 1e6:.4g} MHz, where another has ended."
        raise SweepError(Fault(late.file, None, None, found, "Sweep all units over the same range."))
    return np.geomspace(low, high, _POINTS)


def matched(sweeps, freq_hz, gains, pick: int, arrays: int, repeatability: float, study=None) -> dict:
    """The answer for programs.

    Parameters
    ----------
    sweeps : sequence of Sweep
    freq_hz : ndarray, shape (n_freq,)
        [Hz]
    gains : complex ndarray, shape (n_unit, n_freq)
    pick, arrays : int
        Units of a set, sets.
    repeatability : float
        Rms error of one measurement, relative. [1]
    study : Study, optional
        With its bands as `freq_hz`; with ``array`` units are given places.

    Returns
    -------
    answer : dict
        sets (each: units, rms_gain_db, rms_phase_deg, score, places_exact, expected), exact, bound, tied, left_over,
        frequencies_hz, repeatability.
    """
    from sim.array.choose import choose

    choice = choose(gains, pick, arrays, repeatability)
    taken = {unit for one in choice.sets for unit in one}
    others = [unit for unit in range(len(sweeps)) if unit not in taken]
    table = study.array if study else None
    return {
        "sets": [
            _one_set(sweeps, gains, list(members), value, others, study if table else None, repeatability)
            for members, value in zip(choice.sets, choice.scores, strict=True)
        ],
        "exact": choice.exact,
        "bound": choice.bound,
        "tied": choice.tied,
        "left_over": [sweeps[unit].name for unit in others],
        "frequencies_hz": [float(f) for f in freq_hz],
        "repeatability": repeatability,
        "array": table is not None,
    }


def _one_set(sweeps, gains, members, value, others, study, repeatability) -> dict:
    from sim.array.choose import replaced

    exact, expected = None, []
    if study is None:
        best = [unit for unit, _ in replaced(gains, members, others)]
        places = [None] * len(members)
    else:
        from sim.array.place import expected as expect
        from sim.array.place import placed, sectors, spares

        every = sectors(study.array, study.bands.frequencies)
        order, exact = placed(every, gains[members])
        members = [members[unit] for unit in order]
        best = [unit for unit, _ in spares(every, gains, members, others)]
        places = list(study.array.positions)
        found = expect(study, gains[members], _turns(study), repeatability)
        expected = [asdict(one) for one in found]
    ratio = gains[members] / gains[members].mean(axis=0)
    level, turn = 20 * np.log10(np.abs(ratio)), np.rad2deg(np.angle(ratio))
    return {
        "units": [
            asdict(
                Placed(
                    unit=sweeps[unit].name,
                    file=sweeps[unit].file,
                    gain_db=_widest(level[row]),
                    phase_deg=_widest(turn[row]),
                    place=places[row],
                    spare=sweeps[best[row]].name if best else None,
                )
            )
            for row, unit in enumerate(members)
        ],
        "rms_gain_db": float(np.sqrt(np.mean(level**2))),
        "rms_phase_deg": float(np.sqrt(np.mean(turn**2))),
        "score": float(value),
        "places_exact": exact,
        "expected": expected,
    }


def _widest(values: np.ndarray) -> float:
    return float(values[np.abs(values).argmax()])


def _turns(study) -> np.ndarray:
    """Phase of the study's feedline at the bands, the mean of its sections. [rad/m]"""
    from sim.deck.build import route_of
    from sim.feedline.line import characteristic

    bands, route = np.asarray(study.bands.frequencies), route_of(study)
    whole = sum(part.length for part in route.sections)
    if whole == 0:
        return np.zeros(len(bands))
    return sum(part.length * characteristic(part.cable, bands)[0].imag for part in route.sections) / whole


def describe(answer: dict) -> str:
    """The answer in words and tables, the choice first.

    Parameters
    ----------
    answer : dict
        From :func:`matched`.
    """
    lines = []
    for number, one in enumerate(answer["sets"], start=1):
        names = ", ".join(sorted((unit["unit"] for unit in one["units"]), key=str))
        head = f"Set {number}" if len(answer["sets"]) > 1 else "Take"
        lines += _wrapped(
            f"{head}: {names}. They differ by {one['rms_gain_db']:.3f} dB and {one['rms_phase_deg']:.2f}° rms."
        )
        lines += ["", *_table(one, answer["array"]), ""]
        lines += _told(one)
    lines += _wrapped(_sureness(answer))
    if answer["left_over"]:
        lines += _wrapped(f"Left over, as spares: {', '.join(answer['left_over'])}.")
    if not answer["repeatability"]:
        lines += _wrapped(
            "The repeatability was not given, so a difference that is only the measurement's may have decided: take one"
            " unit off, measure it five times, and add --repeatability."
        )
    return "\n".join(lines)


def _table(one: dict, array: bool) -> list[str]:
    heads = ["unit", "gain, dB", "phase, °"] + ["east, m", "north, m"] * array + ["best spare"]
    rows = [
        [
            unit["unit"],
            f"{unit['gain_db']:+.3f}",
            f"{unit['phase_deg']:+.2f}",
            *([f"{metres:g}" for metres in unit["place"]] if array else []),
            unit["spare"] or "–",
        ]
        for unit in one["units"]
    ]
    return _columns(heads, rows)


def _columns(heads: list[str], rows: list[list[str]]) -> list[str]:
    widths = [max(map(len, column)) for column in zip(heads, *rows, strict=True)]
    return [
        "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in (heads, *rows)
    ]


def _told(one: dict) -> list[str]:
    if not one["expected"]:
        return []
    heads = ["front to back, dB", "bearing", "these units alone", "median", "95 % beat"]
    rows = [
        [
            format_quantity(entry["frequency_hz"], "Hz"),
            f"{entry['bearing_deg']:g}°",
            f"{entry['measured_db']:.1f}" if entry["measured_db"] < _DEEP_DB else f"> {_DEEP_DB:g}",
            f"{entry['p50_db']:.1f}",
            f"{entry['p05_db']:.1f}",
        ]
        for entry in one["expected"]
    ]
    how = "all orders were tried" if one["places_exact"] else "orders were improved by swaps from several starts"
    return [
        *_columns(heads, rows),
        "",
        *_wrapped(
            "Median and 95 %: antennas, places and feedlines drawn as the study says, beside these units. Places are"
            f" those that leave least in the rear sectors of all bands and directions; {how}."
        ),
        "",
    ]


_DEEP_DB = 60.0


def _sureness(answer: dict) -> str:
    if answer["exact"]:
        if answer["tied"] > 1:
            return (
                f"All sets were tried: {answer['tied']} are equally good within the repeatability, and this one has the"
                " best spares."
            )
        return "No other choice is better: all sets were tried."
    worst = max(one["score"] for one in answer["sets"])
    return (
        f"Not all sets were tried: a score of {worst:.4f} was found (rms, relative), and none can be below"
        f" {answer['bound']:.4f}."
    )


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, subsequent_indent="  ")
