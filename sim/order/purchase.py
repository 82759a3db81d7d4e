"""What to buy for so many boards: each part once, with value, grade, pieces and whether one lot is needed."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from sim.deck.build import unit_table
from sim.deck.chain import Chain
from sim.deck.part import UNITS, Part
from sim.order.boards import MATCHED, measured
from sim.order.grades import grade_words, kind_of
from sim.order.mark import DRIVES
from sim.order.simulated import Builds
from sim.order.spares import attrition
from sim.quantity import format_quantity
from sim.study.preferred import nearest_value
from sim.summary.collect import Response
from sim.summary.drivers import drivers_table

ALWAYS = ("gain_db", "match_gain_db", "match_phase_deg", "noise_margin_db")
"""Measures of which drivers are told, whatever the study limits."""
_SERIES = ("series_input", "series_output")
_FINE_GRADE = 0.02
_SAME = 1e-3


@dataclass(frozen=True)
class Item:
    """One line of the purchase table.

    Attributes
    ----------
    names : tuple of str
        Parts that are the same thing, or the device and its op-amp's designation.
    sort : str
        part, op-amp, tee or cable.
    purpose : str
    value : float
        Of a part, length of a cable; NaN for an op-amp. [Ω, F, H, m]
    unit : str
    preferred : float
        Nearest preferred value of its series; the value itself where that is one, NaN where there is no series. [SI]
    grade, kind : str
    per_board : int
        Pieces; packages of an op-amp, where each board has its own; of a cable each unit has one.
    soldered, attrition, life : int
        Pieces that are built in, that are lost on the way, that are kept for later.
    one_lot : bool
        Whether all pieces must come from one lot.
    why : str
        Why so.
    shares : dict of str to float
        Of the variance of a measure, largest over the bands; NaN where nothing is known. [1]
    """

    names: tuple[str, ...]
    sort: str
    purpose: str
    value: float
    unit: str
    preferred: float
    grade: str
    kind: str
    per_board: int
    soldered: int
    attrition: int
    life: int
    one_lot: bool
    why: str
    shares: dict[str, float]

    @property
    def pieces(self) -> int:
        """To buy altogether."""
        return self.soldered + self.attrition + self.life

    @property
    def is_preferred(self) -> bool:
        """Whether its value is one that is stocked, as far as the series tells."""
        return math.isnan(self.preferred) or abs(self.preferred / self.value - 1) < _SAME

    @property
    def value_words(self) -> str:
        """Its value as people say it; of an op-amp its designation."""
        return self.names[-1] if self.sort == "op-amp" else format_quantity(self.value, self.unit)


def driver_shares(builds: Builds, scenario, chain: Chain, measures: Sequence[str]) -> dict[str, dict[str, float]]:
    """Share of each measure's variance that each drawn value causes, the largest over the bands.

    Parameters
    ----------
    builds : Builds
        Of the scenario, whose study has the builds' stride and number.
    scenario : Scenario
    chain : Chain
    measures : sequence of str

    Returns
    -------
    shares : dict of measure to dict of part to float
        Dies of an op-amp summed under the device's name; no entry for a measure that does not vary.
    """
    units = np.concatenate([[0], builds.units.ravel()])
    drawn = unit_table(scenario.study, chain, units)
    responses = []
    for measure in measures:
        known = MATCHED.get(measure, (measure,))[0]
        if known not in builds.values or known not in builds.nominal:
            continue
        values = measured(builds, measure, builds.boards).reshape(len(units) - 1, -1)
        own = np.zeros(values.shape[1]) if measure in MATCHED else builds.nominal[measure]
        bands = builds.bands_hz if values.shape[1] == len(builds.bands_hz) else (math.nan,) * values.shape[1]
        for column, band in enumerate(bands):
            responses.append(Response(measure, band, np.concatenate([[own[column]], values[:, column]])))
    table = drivers_table(0, responses, drawn, units, builds.stride)
    devices = [device.name for device in chain.circuit.devices]
    found: dict[str, dict[str, float]] = {}
    for (measure, _), rows in table.groupby(["measure", "frequency_hz"], sort=False, dropna=False):
        here: dict[str, float] = {}
        for part, share in zip(rows["part"], rows["share"], strict=True):
            name = next((device for device in devices if part.startswith(f"{device}.")), part)
            here[name] = here.get(name, 0.0) + float(share)
        for name, share in here.items():
            own = found.setdefault(measure, {})
            own[name] = max(own.get(name, 0.0), share)
    return found


def driving_parts(shares: Mapping[str, Mapping[str, float]], chain: Chain) -> tuple[Part, ...]:
    """Parts of the circuit that drive a measure, the one with the largest share first.

    Parameters
    ----------
    shares : mapping
        See :func:`driver_shares`.
    chain : Chain
    """
    largest = {
        part.name: max((own.get(part.name, 0.0) for own in shares.values()), default=0.0)
        for part in bought_parts(chain)
    }
    driving = [part for part in bought_parts(chain) if largest[part.name] >= DRIVES]
    return tuple(sorted(driving, key=lambda part: -largest[part.name]))


def bought_parts(chain: Chain) -> tuple[Part, ...]:
    """Parts that are soldered in: those of the circuit's file, and the study's resistors before and behind it."""
    return tuple(part for part in chain.circuit.parts if part.line > 0 or part.name in _SERIES)


def preferred_for(kind: str, letter: str, tolerance: float, value: float) -> float:
    """The nearest value that is stocked.

    Parameters
    ----------
    kind : str
        Word for what the part is made of.
    letter : str
        R, C or L.
    tolerance : float
        As a share of the value. [1]
    value : float
        [SI]

    Notes
    -----
    Values of IEC 60063. Resistors of 2 % and better are stocked in E96 and E24, coarser ones in E24; C0G, film and mica
    capacitors in E24, others and inductors in E12: common practice, no source.
    """
    if letter == "R":
        series = ("E24", "E96") if tolerance <= _FINE_GRADE * (1 + _SAME) else ("E24",)
    else:
        series = ("E24",) if letter == "C" and kind in ("c0g", "film", "mica") else ("E12",)
    near = [nearest_value(value, name) for name in series]
    return min(near, key=lambda step: abs(math.log(step / value)))


def purchase(
    study,
    chain: Chain,
    boards: int,
    in_service: int,
    shares: Mapping[str, Mapping[str, float]],
    life: int = 0,
) -> tuple[Item, ...]:
    """The purchase table: parts of the circuit, op-amps, bias tees, cables.

    Parameters
    ----------
    study : Study
        Of the scenario.
    chain : Chain
        The same.
    boards : int
        To build.
    in_service : int
        Units with a feedline.
    shares : mapping
        See :func:`driver_shares`.
    life : int
        Boards to be replaced in later years: op-amps and what must come from one lot are bought now for them.
    """
    groups: dict[tuple, list[Part]] = {}
    for part in bought_parts(chain):
        groups.setdefault((part.kind, part.value), []).append(part)
    items = [_part_item(group, boards, shares, life) for group in groups.values()]
    items += _opamp_items(chain, boards, shares, life)
    items += _tee_items(study, in_service, shares)
    for section in study.feedline.all_sections if in_service else ():
        if section.length > 0:
            items.append(_cable_item(study, section, in_service, shares))
    return tuple(items)


def _shares_of(names: Sequence[str], shares) -> dict[str, float]:
    return {measure: sum(max(own.get(name, 0.0), 0.0) for name in names) for measure, own in shares.items()}


def _lot(drawn_as_lot: bool, own: Mapping[str, float]) -> tuple[bool, str]:
    """Whether all pieces must come from one lot, and why."""
    drives = max((share for measure, share in own.items() if measure in MATCHED), default=0.0)
    if drives >= DRIVES:
        said = f"makes {100 * drives:.0f} % of the spread of a match"
        return True, said if drawn_as_lot else f"{said}; drawn without a lot, and one lot is likely to be better"
    if drawn_as_lot:
        return True, "counted as one lot by the study; matters little for the match"
    return False, ""


def _part_item(group: Sequence[Part], boards: int, shares, life: int) -> Item:
    first, names = group[0], tuple(part.name for part in group)
    tolerance = first.value.tolerance
    own = _shares_of(names, shares)
    one_lot, why = _lot("lot" in first.value.words, own)
    soldered = boards * len(group)
    spread = 1.0 if tolerance is None else max(-tolerance.low, tolerance.high)
    return Item(
        names=names,
        sort="part",
        purpose="; ".join(dict.fromkeys(part.purpose for part in group if part.purpose)),
        value=first.value.value,
        unit=UNITS[first.kind],
        preferred=preferred_for(kind_of(first), first.kind, spread, first.value.value),
        grade=grade_words(first),
        kind=kind_of(first),
        per_board=len(group),
        soldered=soldered,
        attrition=attrition(soldered),
        life=life * len(group) if one_lot else 0,
        one_lot=one_lot,
        why=why,
        shares=own,
    )


def _opamp_items(chain: Chain, boards: int, shares, life: int) -> list[Item]:
    """Op-amps by packages; a package serves one board, whatever halves of it are left over."""
    sorts: dict[str, list] = {}
    for device, record in zip(chain.circuit.devices, chain.opamps, strict=True):
        sorts.setdefault(record.part, []).append((device.name, record))
    items = []
    for designation, devices in sorts.items():
        record = devices[0][1]
        each = math.ceil(len(devices) / record.channels)
        own = _shares_of([name for name, _ in devices], shares)
        unused = each * record.channels - len(devices)
        of = "one op-amp" if record.channels == 1 else f"{record.channels} op-amps"
        spare = f", {unused} of them unused" if unused else ""
        drives = max((share for measure, share in own.items() if measure in MATCHED), default=0.0)
        makes = f"; their dies make {100 * drives:.0f} % of the spread of a match" if drives >= DRIVES else ""
        items.append(
            Item(
                names=(*(name for name, _ in devices), designation),
                sort="op-amp",
                purpose=f"{of} a package{spare}; {record.package}",
                value=math.nan,
                unit="1",
                preferred=math.nan,
                grade="",
                kind=record.technology,
                per_board=each,
                soldered=boards * each,
                attrition=attrition(boards * each),
                life=life * each,
                one_lot=True,
                why=f"one date code: a later lot or another source means matching anew{makes}",
                shares=own,
            )
        )
    return items


def _tee_items(study, in_service: int, shares) -> list[Item]:
    tee = study.feedline.tee
    if tee is None or not in_service:
        return []
    ends = ("amplifier", "receiver") if tee.at == "both" else (tee.at,)
    items = []
    for key, letter, what in (("choke", "L", "choke"), ("block", "C", "blocking capacitor")):
        value = getattr(tee, key)
        names = tuple(f"feedline.tee.{key}.{end}" for end in ends)
        kind = next((word for word in value.words if word != "lot"), "")
        own = _shares_of(names, shares)
        one_lot, why = _lot("lot" in value.words, own)
        soldered = in_service * len(ends)
        items.append(
            Item(
                names=names,
                sort="tee",
                purpose=f"{what} of a bias tee",
                value=value.value,
                unit=UNITS[letter],
                preferred=preferred_for(kind, letter, 1.0, value.value),
                grade=str(value.tolerance or "").removeprefix("±"),
                kind=kind,
                per_board=len(ends),
                soldered=soldered,
                attrition=attrition(soldered),
                life=0,
                one_lot=one_lot,
                why=why,
                shares=own,
            )
        )
    return items


def _cable_item(study, section, in_service: int, shares) -> Item:
    line = study.feedline
    names = ("feedline.length", "feedline.velocity")
    cut = f", cut within {format_quantity(line.length_tolerance, 'm')}" if line.length_tolerance else ""
    return Item(
        names=(section.cable,),
        sort="cable",
        purpose=f"feedline, {in_service} pieces of {format_quantity(section.length, 'm')}{cut}",
        value=section.length,
        unit="m",
        preferred=math.nan,
        grade="",
        kind="",
        per_board=1,
        soldered=in_service,
        attrition=0,
        life=0,
        one_lot=line.velocity_tolerance == 0,
        why="one reel: the study takes all lines to be of one velocity" if line.velocity_tolerance == 0 else "",
        shares=_shares_of(names, shares),
    )
