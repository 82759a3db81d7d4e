"""What an inspection found, in words that fit on one screen, and as plain numbers for programs."""

import math
from dataclasses import asdict, dataclass

from sim.inspection.cloud import Cloud
from sim.inspection.drift import Drift
from sim.inspection.mask import INNER, OUTER
from sim.inspection.verdict import BAD, GOOD, UNKNOWN, Inspection, Worst
from sim.quantity import format_quantity

MOST_BANDS = 5


@dataclass(frozen=True)
class Told:
    """All that is said about one sweep.

    Attributes
    ----------
    unit : str
    file : str
    title : str
        Of the study.
    scenario : int
    uncertainty_db : float
        Of the measurement, 95 %. [dB]
    cloud : Cloud
    found : Inspection
    drift : Drift or None
    diagnosis : object or None
        With ``told()`` and ``as_dict()``.
    converted : tuple of two float or None
        Reference resistances of the file, where they were others than the bench's. [Ω]
    kept : str or None
        Where the sweep was put into the records.
    pictures : tuple of str
    cautions : tuple of str
    """

    unit: str
    file: str
    title: str
    scenario: int
    uncertainty_db: float
    cloud: Cloud
    found: Inspection
    drift: Drift | None
    diagnosis: object
    converted: tuple[float, float] | None
    kept: str | None
    pictures: tuple[str, ...]
    cautions: tuple[str, ...]


def paragraphs(told: Told) -> list[str]:
    """The answer as paragraphs, verdict first; lines that begin with two spaces are a table's.

    Parameters
    ----------
    told : Told
    """
    found, lines = told.found, []
    lines.append(f"{told.unit}: {found.verdict}. {_head(found)}".rstrip())
    if found.worst is not None:
        lines.append(_farthest(found.worst))
    lines += found.reasons
    if found.match is not None:
        lines.append(
            f"Output match: {'within' if found.match.inside else 'outside'} the mask, farthest at"
            f" {format_quantity(found.match.freq_hz, 'Hz', 3)} with {found.match.distance:.1f} of"
            f" {found.match.allowed:.1f} standard deviations."
        )
    lines += _batch(found)
    lines += _drift(told.drift)
    if told.diagnosis is not None and told.diagnosis.verdict == "good":
        lines += [
            "",
            "Weighed as a whole, with every tolerance at its likeliest value, the curve still passes: it is a"
            " unit at the edge, and no fault is named.",
        ]
    elif told.diagnosis is not None:
        lines += ["", *(["If the set-up was right:"] if found.verdict == UNKNOWN else []), *told.diagnosis.told()]
    if found.verdict == GOOD:
        lines.append(
            "A sweep does not show leakage, noise or what the supply does: current, DC volts and noise belong to it."
        )
    lines += ["", _mask(told)]
    lines += [f"Caution: {line}" for line in told.cautions]
    lines += [f"Kept: {told.kept}"] * (told.kept is not None)
    lines += [f"Picture: {path}" for path in told.pictures]
    return lines


def _head(found: Inspection) -> str:
    if found.worst is None:
        return ""
    if found.verdict == GOOD:
        edge = ""
        if found.worst.distance > found.worst.usual:
            edge = f", but near its edge: {100 * (1 - INNER):.0f} in 100 good units lie as far out"
        return f"Gain and phase are within the mask at all {found.points} frequencies compared{edge}."
    if found.worst.inside:
        return f"Gain and phase are within the mask at all {found.points} frequencies compared, but:"
    return "Gain and phase leave the mask of good units."


def _farthest(worst: Worst) -> str:
    return (
        f"Farthest at {format_quantity(worst.freq_hz, 'Hz', 3)}: {worst.gain_db:+.2f} dB and {worst.phase_deg:+.1f}°"
        f" from the middle of the good units, {worst.distance:.1f} standard deviations together;"
        f" {100 * OUTER:.0f} in 100 good units keep {worst.allowed:.1f} everywhere."
    )


def _batch(found: Inspection) -> list[str]:
    if found.batch is None:
        return []
    lines = [
        f"Against {found.batch.count} earlier sweeps (difference from their mean, and z-score; of so many boards, 95 %"
        f" of all lie within z ±{found.batch.limit_z:.1f}, with 95 % confidence):"
    ]
    for score in found.batch.scores[:MOST_BANDS]:
        lines.append(
            f"  {format_quantity(score.freq_hz, 'Hz', 3):>9}  {score.gain_db:+.3f} dB, z {score.gain_z:+.1f}"
            f"   {score.phase_deg:+.2f}°, z {score.phase_z:+.1f}"
        )
    if not found.batch.right and found.verdict == GOOD:
        lines.append("The middle of the earlier sweeps is outside the mask: look at the bench they were made on.")
    return lines


def _drift(drift: Drift | None) -> list[str]:
    if drift is None:
        return []
    last = drift.changes[-1]
    at = max(
        range(len(last.freq_hz)),
        key=lambda i: max(abs(last.gain_db[i]) / drift.gain_limit_db, abs(last.phase_deg[i]) / drift.phase_limit_deg),
    )
    lead = "Changed" if drift.moved else "No change"
    told = (
        f"{lead} since its first record of {drift.since.isoformat()}: {last.gain_db[at]:+.2f} dB and"
        f" {last.phase_deg[at]:+.1f}° at {format_quantity(last.freq_hz[at], 'Hz', 3)}; two sweeps of one unit differ by"
        f" up to {drift.gain_limit_db:.2f} dB and {drift.phase_limit_deg:.1f}° (3 sigma of the stated uncertainty)."
    )
    if drift.other_bench:
        told += " That record was made with another dummy or other ports, so the change may be theirs."
    return [told]


def _mask(told: Told) -> str:
    bench, cloud = told.cloud.bench, told.cloud
    low, high = bench.temperature_c
    stray, delay = 2e12 * bench.stray_sigma, 2e9 * bench.delay_sigma_s
    ends = f"{bench.source:g} ohm" if bench.source == bench.load else f"{bench.source:g} and {bench.load:g} ohm"
    text = (
        f"Mask: what {len(cloud.gain)} drawn units of scenario {told.scenario} keep in 99 of 100 cases, each of another"
        f" build, at {low:g} to {high:g} °C, through {format_quantity(bench.dummy, 'F', 3)} ±"
        f" {200 * bench.dummy_sigma:.2g} % (2 sigma) between {ends}; ports ± {200 * bench.port_sigma:.2g} %, stray"
        f" ± {stray:.2g} pF and delay ± {delay:.2g} ns are estimates; measurement"
        f" ± {told.uncertainty_db:g} dB and {57.3 / 8.686 * told.uncertainty_db:.2g}° (95 %)."
    )
    if cloud.failed:
        text += f" {cloud.failed} units did not simulate and are not in it."
    if math.isnan(cloud.oscillates_hz):
        text += " Whether the nominal unit is stable on this bench could not be told."
    if told.converted:
        one, two = told.converted
        text += f" The file's reference of {one:g}{'' if one == two else f' and {two:g}'} ohm was converted."
    return text


def as_dict(told: Told) -> dict:
    """The answer for programs: plain numbers, texts, lists and tables.

    Parameters
    ----------
    told : Told
    """
    found, drift, bench = told.found, told.drift, told.cloud.bench
    return {
        "unit": told.unit,
        "file": told.file,
        "verdict": found.verdict,
        "good": True if found.verdict == GOOD else (False if found.verdict == BAD else None),
        "reasons": list(found.reasons),
        "frequencies_compared": found.points,
        "worst": _worst(found.worst, ("gain_db", "phase_deg")),
        "output_match": _worst(found.match, ("real", "imaginary")),
        "scatter_db": found.noise_db,
        "setup": found.setup,
        "batch": None
        if found.batch is None
        else {
            "sweeps": found.batch.count,
            "inside_the_mask": found.batch.right,
            "limit_z": found.batch.limit_z,
            "scores": [asdict(score) for score in found.batch.scores],
        },
        "drift": None
        if drift is None
        else {
            "since": drift.since.isoformat(),
            "changed": drift.moved,
            "gain_limit_db": drift.gain_limit_db,
            "phase_limit_deg": drift.phase_limit_deg,
            "other_bench": drift.other_bench,
            "changes": [{**asdict(change), "date": change.date.isoformat()} for change in drift.changes],
        },
        "diagnosis": None if told.diagnosis is None else told.diagnosis.as_dict(),
        "mask": {
            "units": len(told.cloud.gain),
            "not_simulated": told.cloud.failed,
            "scenario": told.scenario,
            "bench": asdict(bench),
            "uncertainty_db": told.uncertainty_db,
        },
        "converted_from_ohm": None if told.converted is None else list(told.converted),
        "kept": told.kept,
        "pictures": list(told.pictures),
        "cautions": list(told.cautions),
    }


def _worst(worst: Worst | None, names: tuple[str, str]) -> dict | None:
    if worst is None:
        return None
    return {
        "frequency_hz": worst.freq_hz,
        names[0]: worst.gain_db,
        names[1]: worst.phase_deg,
        "distance": worst.distance,
        "allowed": worst.allowed,
        "usual": worst.usual,
        "inside": worst.inside,
    }
