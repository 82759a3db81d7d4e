"""What may be changed about an amplifier to make it stable: one thing at a time, as the keys of its study.

Which part of a circuit compensates its loop is not known from its name, so every part is tried in both directions, and
what helps is followed in finer steps.
"""

from dataclasses import dataclass

from sim.deck.chain import Chain
from sim.deck.part import RANGES, UNITS
from sim.opamp.catalogue import OpampRecord, list_opamps, load_opamp
from sim.opamp.doubts import principal_told
from sim.opamp.unrated import is_unrated
from sim.study.model import Study
from sim.study.preferred import steps_from
from sim.study.scenarios import Scenario, changed

OUTPUT_OHMS = ("10", "15", "22", "33", "47", "68", "100")
INPUT_OHMS = ("22", "47", "100", "220", "470", "1000")
"""Series resistors that are tried, E6 and E3. More than 100 ohm before a line of 75 leave little of the signal."""
FIRST_STEP = 6
"""Steps of E12 of the first try of each part: a factor of about three. Common practice, no source."""
FARTHER = (8, 10, 12)
"""Steps of E12 that are tried beyond it: up to a factor of ten."""


@dataclass(frozen=True)
class Change:
    """One thing done differently.

    Attributes
    ----------
    ladder : str
        What is changed and in which direction; changes of one ladder are told from each other by their size alone.
    key : str
        Dotted key of the study.
    value : str
        As a study writes it.
    number : float
        The same. [Ω, F, H; for an op-amp its gain-bandwidth product in Hz]
    unit : str
        Of it.
    was : str
        What it replaces; empty for nothing.
    size : float
        How large a change it is; compares within a ladder.
    note : str
        What must be known about it; empty for nothing.
    """

    ladder: str
    key: str
    value: str
    number: float
    unit: str
    was: str
    size: float
    note: str = ""


def first_round(study: Study, chain: Chain) -> tuple[Change, ...]:
    """Every change of the first round: series resistors, each part up and down, op-amps that fit.

    Parameters
    ----------
    study : Study
        Of one scenario.
    chain : Chain
        Of the same.
    """
    found = _series("series_output", OUTPUT_OHMS, study.amplifier.series_output)
    if not chain.circuit.balanced:
        found += _series("series_input", INPUT_OHMS, study.amplifier.series_input)
    for part in chain.circuit.parts:
        if not part.element:
            found += [change for up in (True, False) for change in _steps(part, up, (FIRST_STEP,))]
    return (*found, *_opamps(study, chain))


def second_round(chain: Chain, ladders: dict[str, bool]) -> tuple[Change, ...]:
    """Smaller changes of parts where the first one mended, larger ones where it helped and was not enough.

    Parameters
    ----------
    chain : Chain
    ladders : dict of str to bool
        Ladder by ladder, whether its first change mended.
    """
    found = []
    for part in chain.circuit.parts:
        for up in (True, False):
            mended = ladders.get(_ladder(part, up))
            if mended is not None:
                found += _steps(part, up, tuple(range(1, FIRST_STEP)) if mended else FARTHER)
    return tuple(found)


def with_change(study: Study, change: Change) -> Scenario:
    """The scenario's study with one change made, as a builder would write it."""
    return changed(study, change.key, change.value)


def _series(name: str, ohms, own) -> list[Change]:
    present = own.value if own is not None else 0.0
    was = f"{present:g}" if present else ""
    return [
        Change(name, f"amplifier.{name}", text, float(text), "ohm", was, float(text) - present)
        for text in ohms
        if float(text) > present
    ]


def _ladder(part, up: bool) -> str:
    return f"{part.name} {'up' if up else 'down'}"


def _steps(part, up: bool, places) -> list[Change]:
    low, high = RANGES[part.kind]
    value = part.value.value
    steps = steps_from(value, up, max(places))
    return [
        Change(
            _ladder(part, up),
            f"amplifier.parts.{part.name}",
            text,
            number,
            UNITS[part.kind],
            f"{value:g}",
            max(number / value, value / number),
        )
        for number, text in (steps[place - 1] for place in places)
        if low <= number <= high
    ]


def _opamps(study: Study, chain: Chain) -> list[Change]:
    """Op-amps of the catalogue that bear the supply and are stable at the gain that the present one is stable at."""
    if not chain.opamps or is_unrated(chain.opamps[0]):
        return []
    own, found = chain.opamps[0], []
    volts = (study.supply.regulator or study.supply.voltage).value
    for name in list_opamps():
        record = load_opamp(name)
        if record.part == own.part or not _fits(record, own, volts) or record.gbw_hz == own.gbw_hz:
            continue
        ladder = "slower op-amp" if record.gbw_hz < own.gbw_hz else "faster op-amp"
        ratio = max(record.gbw_hz / own.gbw_hz, own.gbw_hz / record.gbw_hz)
        note = principal_told(record, "stability")
        found.append(Change(ladder, "amplifier.opamp", name, record.gbw_hz, "Hz", study.amplifier.opamp, ratio, note))
    return found


def _fits(record: OpampRecord, own: OpampRecord, volts: float) -> bool:
    return (
        record.supply_min <= volts <= record.supply_max
        and record.min_stable_gain <= max(1.0, own.min_stable_gain)
        and record.current_feedback == own.current_feedback
    )
