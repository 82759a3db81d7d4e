"""bandfloor judge: is this deck stable, and by how much? For any deck that carries a probe."""

import argparse
import json
import textwrap
from pathlib import Path

import numpy as np

from sim.deck.guard import LARGEST_TEXT
from sim.errors import Fault, GuardError, shown
from sim.quantity import format_quantity

_WIDTH = 100


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of ``bandfloor judge``."""
    parser.add_argument("deck", metavar="DECK", help="SPICE deck (.cir) that carries one or more probes")
    parser.add_argument(
        "--lines", action="store_true", help="judge it on every feedline, too: three cables, 0.2 to 300 m, six far ends"
    )
    parser.add_argument(
        "--output",
        metavar="NODE",
        help="node at which the feedline is connected, with a resistor to ground in its place (default: out)",
    )
    parser.add_argument("--out", metavar="DIR", help="folder for pictures: locus round −1, and what a kick does")
    parser.add_argument("--json", action="store_true", help="print the answer alone on standard output, for programs")
    parser.epilog = (
        "A probe is two sources in the wire behind an active device, before its feedback branches off:\n"
        "  Vprb driving_node receiving_node dc 0 ac 0\n"
        "  Iprb 0 receiving_node dc 0 ac 0\n"
        "Several probes: Vprb1 and Iprb1, Vprb2 and Iprb2 … How to place them: docs/judge-a-deck.md.\n"
        "The deck holds no analyses of its own (they are left out), no control section and no files. Its sources\n"
        "rest at their DC value. An unresolved verdict counts as not stable."
    )


def act(given) -> int:
    """Judge the deck and print the answer."""
    from sim.stability.deck import read_deck
    from sim.stability.trial import try_deck

    if given.output is not None and not given.lines:
        found = f"names the node of a feedline, {shown(given.output)}, and no feedline is asked for."
        raise GuardError(Fault("bandfloor judge", None, "--output", found, "Add --lines, or take it out."))
    deck = read_deck(_text(given.deck), given.deck)
    lines = None
    if given.lines:
        from sim.stability.deck_lines import try_on_lines

        lines = try_on_lines(deck, given.output or "out")
    trial = try_deck(deck)
    pictures = _pictures(trial, lines, given) if given.out else []
    if given.json:
        found = answer(trial, given.deck) | ({"lines": answer_lines(lines)} if lines else {})
        print(json.dumps(found, indent=1, ensure_ascii=False, allow_nan=False))
        return 0
    print(f"\n{describe(trial, given.deck, lines)}")
    for path in pictures:
        print(f"Picture: {path}")
    return 0


def _text(name: str) -> str:
    try:
        path = Path(name)
        if path.is_dir():
            raise GuardError(Fault(name, None, None, "is a folder.", "Name the deck's file (.cir)."))
        if path.exists() and not path.is_file():
            raise GuardError(Fault(name, None, None, "is no plain file.", "Name the deck's file (.cir)."))
        with open(path, "rb") as file:
            raw = file.read(4 * LARGEST_TEXT + 1)
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or str(error)).lower()
        raise GuardError(Fault(name, None, None, f"cannot be read: {reason}.", "Name an existing deck.")) from error
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise GuardError(Fault(name, line, None, "is not UTF-8 text.", "Save the file as UTF-8.")) from error


def answer(trial, name: str) -> dict:
    """The answer for programs.

    Parameters
    ----------
    trial : Trial
    name : str
        Of the deck, as the user gave it.
    """
    verdict, worst, kick = trial.verdict, trial.verdict.worst, trial.kick
    return {
        "deck": name,
        "stable": trial.stable,
        "unresolved": bool(trial.doubts),
        "doubts": list(trial.doubts),
        "encirclements": [probe.loop.encirclements for probe in verdict.probes],
        "open_poles": [probe.loop.open_poles for probe in verdict.probes],
        "unstable_poles": verdict.unstable_poles,
        "stability_margin": worst.loop.margin,
        "margin_frequency_hz": worst.loop.margin_freq_hz,
        "phase_margin_deg": worst.loop.phase_margin_deg,
        "gain_margin_db": worst.loop.gain_margin_db,
        "worst_probe": worst.probe.name,
        "probes": [
            {
                "name": probe.probe.name,
                "stability_margin": probe.loop.margin,
                "margin_frequency_hz": probe.loop.margin_freq_hz,
                "phase_margin_deg": probe.loop.phase_margin_deg,
                "gain_margin_db": probe.loop.gain_margin_db,
            }
            for probe in verdict.probes
        ],
        "poles": [list(pole) for pole in verdict.poles],
        "after_a_kick": kick.ending.value if kick else None,
    }


def answer_lines(lines) -> list[dict]:
    """Every load of the map for programs, the worst first.

    Parameters
    ----------
    lines : DeckOnLines
    """
    found = lines.found
    return [
        {
            "cable": lines.loads[i].line.name,
            "length_m": float(lines.loads[i].line.length),
            "far_end": lines.loads[i].end_name,
            "stable": bool(found.stable[i]),
            "unresolved": not found.resolved[i],
            "unstable_poles": int(found.unstable[i]),
            "stability_margin": float(found.margin[i]),
            "margin_frequency_hz": float(found.freq_hz[i]),
        }
        for i in lines.order
    ]


def describe(trial, name: str, lines=None) -> str:
    """The answer in words, the verdict first.

    Parameters
    ----------
    trial : Trial
    name : str
        Of the deck, as the user gave it.
    lines : DeckOnLines, optional
        On every feedline.
    """
    verdict, worst = trial.verdict, trial.verdict.worst
    parts = [_opening(trial)]
    parts += [f"Doubt: {doubt}." for doubt in trial.doubts]
    for growth, freq in verdict.poles:
        parts.append(_pole(growth, freq))
    loop = worst.loop
    where = f" (probe {worst.probe.name}, the worst of {len(verdict.probes)})" if len(verdict.probes) > 1 else ""
    parts.append(
        f"Stability margin, the smallest distance of the locus from −1: {loop.margin:.3f} at"
        f" {format_quantity(loop.margin_freq_hz, 'Hz', 3)}{where}. Phase margin"
        f" {_angle(loop.phase_margin_deg)}, gain margin {_gain(loop.gain_margin_db)}."
    )
    for probe in verdict.probes:
        parts.append(
            f"Probe {probe.probe.name}: {_turns(probe.loop.encirclements)} round −1; the network opened there has"
            f" {_poles(probe.loop.open_poles)}, so the closed one has {_poles(probe.loop.unstable_poles)}."
        )
    parts.append(_in_time(trial))
    parts += _cautions(trial, lines)
    if lines is not None:
        # What it does in the field comes before how it was found out.
        opening, *worst = _on_lines(lines)
        parts = [parts[0], opening, *worst, *parts[1:]]
    return "\n".join([name, "", *(textwrap.fill(part, _WIDTH, subsequent_indent="  ") for part in parts)])


def _opening(trial) -> str:
    verdict = trial.verdict
    if trial.doubts:
        return "Unresolved, which counts as not stable: the ways of judging it do not agree, or could not be finished."
    if not verdict.stable:
        real = all(freq == 0 for _, freq in verdict.poles)
        what = "It runs away to one side and stays there." if real else "It oscillates."
        return f"Not stable: {_poles(verdict.unstable_poles)} in the right half plane. {what}"
    if verdict.worst.loop.margin < _THIN:
        return f"Stable, but thinly: no pole in the right half plane, and less than {_THIN:g} from −1."
    return "Stable: no pole in the right half plane; turns of the locus and poles agree."


_THIN = 0.5


def _pole(growth: float, freq: float) -> str:
    if freq == 0:
        return f"Real pole in the right half plane: grows {_fold(growth)} without ringing."
    return f"Pair of poles in the right half plane at {format_quantity(freq, 'Hz', 4)}: grows {_fold(growth)}."


def _fold(growth: float) -> str:
    return f"by the factor e in {format_quantity(1 / (6.283185307179586 * growth), 's', 3)}"


def _poles(count: int) -> str:
    return "no unstable pole" if count == 0 else f"{count} unstable pole{'s' * (count > 1)}"


def _turns(count: int) -> str:
    if count == 0:
        return "no net turn"
    way = "counter-clockwise" if count > 0 else "clockwise"
    return f"{abs(count)} {way} turn{'s' * (abs(count) > 1)}"


def _angle(degrees: float) -> str:
    return "none (the loop gain never passes one)" if abs(degrees) >= 180 else f"{degrees:.1f}°".replace("-", "−")


def _gain(gain_db: float) -> str:
    return "above 60 dB" if gain_db >= 60 else f"{gain_db:.1f} dB".replace("-", "−")


def _in_time(trial) -> str:
    kick = trial.kick
    if kick is None:
        return f"In time: not tested, the transient analysis failed ({trial.kick_failure})."
    ending = {
        "settles": "the ringing dies away",
        "undecided": "it neither clearly grows nor clearly dies away in the time watched",
        "grows": "it grows",
        "limit cycle": "it goes on oscillating",
        "latched": "it stays at another voltage",
    }[kick.ending.value]
    cycles = kick.time_s[-1] * trial.verdict.test_hz
    return (
        f"In time: after a kick of about a millivolt at every node {ending} within {cycles:.0f} cycles of"
        f" {format_quantity(trial.verdict.test_hz, 'Hz', 3)} (node {kick.node})."
    )


WORST = 5
"""Loads of the map that are told one by one."""


def _on_lines(lines) -> list[str]:
    found, total = lines.found, len(lines.loads)
    bad = total - int(found.stable.sum())
    where = f"in place of the {format_quantity(lines.load_ohm, 'ohm')} at {lines.node}"
    if bad:
        opening = f"On feedlines: not stable with {bad} of {total} {where}."
    else:
        opening = f"On feedlines: stable with all {total} {where}; the smallest margin is {found.margin.min():.3f}."
    if found.unconditional:
        opening += " Its output resistance is positive everywhere, so no passive line can make it oscillate."
    parts = [opening, "The worst:"]
    for i in lines.order[:WORST]:
        load = lines.loads[i]
        line = f"{format_quantity(load.line.length, 'm')} of {load.line.name}" if load.line.length else load.line.name
        verdict = "oscillates" if found.unstable[i] else f"margin {found.margin[i]:.3f}"
        verdict = verdict if found.resolved[i] else "unresolved"
        near = found.turn_hz[i] if found.unstable[i] and np.isfinite(found.turn_hz[i]) else found.freq_hz[i]
        parts.append(f"  {line}, far end {load.end_name}: {verdict} near {format_quantity(near, 'Hz', 3)}")
    return parts


def _cautions(trial, lines) -> list[str]:
    verdict, found = trial.verdict, []
    if trial.stable and any(probe.loop.gain_margin_db < 0 for probe in verdict.probes):
        found.append(
            "Caution: stable only while the gain stays high enough; in overload or while the supply comes up it may"
            " oscillate."
        )
    if not trial.stable and not trial.doubts and all(p.loop.encirclements == 0 for p in verdict.probes):
        found.append(
            "Caution: no locus shows it, since the network is unstable already with the probe's loop opened. Another"
            " loop inside it does it; probe that one too."
        )
    if verdict.lines and verdict.any_line:
        found.append("No passive line or far end in place of the deck's can make it oscillate: it gives power to none.")
    elif not verdict.lines and lines is None:
        found.append("Judged as it stands, with the loads in the deck; it says nothing of other lines and antennas.")
    return found


def _pictures(trial, lines, given) -> list[Path]:
    from sim.plots.judged import draw_judged

    return draw_judged(trial, Path(given.deck).stem, Path(given.out), lines)
