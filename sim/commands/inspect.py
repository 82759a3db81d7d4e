"""bandfloor inspect: is this built unit right, what is wrong with it, and has it changed?"""

import argparse
import datetime
import json
import textwrap
from dataclasses import dataclass
from pathlib import Path

from sim.errors import Fault, StudyError, SweepError
from sim.quantity import PartValue, QuantityError, parse_part, parse_quantity, parse_span

_WIDTH = 100
_FEWEST_UNITS, _MOST_UNITS = 100, 20_000
UNCERTAINTY_DB = 0.05
"""Uncertainty of a sweep where none is given, 95 %: a calibrated hobby analyser (common practice, no source). [dB]"""
_TEMPERATURE = "15..30"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of ``bandfloor inspect``."""
    parser.add_argument(
        "sweep", metavar="SWEEP", help="sweep of one unit, .s2p or .csv (docs/bench.md: how to measure)"
    )
    parser.add_argument("--study", metavar="STUDY", required=True, help="study of the unit (.toml)")
    parser.add_argument("--scenario", type=int, default=0, metavar="N", help="its scenario (default: 0)")
    parser.add_argument("--units", type=int, default=500, metavar="N", help="good units of the mask (default: 500)")
    parser.add_argument("--dummy", metavar="C", help='dummy as measured, "47.3p 1%%" (default: [fixture] of the study)')
    parser.add_argument("--source", metavar="OHM", help="the analyser's sending port (default: [fixture])")
    parser.add_argument("--load", metavar="OHM", help="its receiving port (default: [fixture])")
    parser.add_argument(
        "--pad", metavar="DB", help="loss of pads and adapters in the way that the calibration did not take out"
    )
    parser.add_argument(
        "--uncertainty",
        metavar="DB",
        help=f"of the sweep, 95 %%, phase alike (default: {UNCERTAINTY_DB} dB and 0.33 degrees; an estimate)",
    )
    parser.add_argument(
        "--temperature", metavar="C..C", help=f'of the room in degrees C (default: "{_TEMPERATURE}"; an estimate)'
    )
    parser.add_argument(
        "--against", metavar="SWEEP", nargs="+", default=[], help="earlier sweeps of other units, same bench"
    )
    parser.add_argument("--record", metavar="FOLDER", help="records, one folder a unit: compare, then keep this sweep")
    parser.add_argument("--serial", metavar="NAME", help="the unit's name in the records (default: the file's)")
    parser.add_argument(
        "--date", metavar="DATE", help="of the sweep, 2026-11-25 (default: in the file's head, or today)"
    )
    parser.add_argument(
        "--no-diagnosis", action="store_true", help="do not look for the fault of a unit that is not good"
    )
    parser.add_argument("--out", metavar="DIR", help="for pictures (default: results/<name of the study>/inspect)")
    parser.add_argument("--json", action="store_true", help="print the answer alone on standard output, for programs")
    parser.epilog = (
        "The first sweep of a study simulates good units, and the first bad one all single faults; both are kept for\n"
        "the next. With three earlier sweeps or more (--against, or the first records of other units) z-scores are\n"
        "given, and what all share is told from the fault of one."
    )


def act(given) -> int:
    """Inspect, keep, draw, print."""
    told = _inspected(given)
    if given.json:
        from sim.inspection.told import as_dict

        print(json.dumps(as_dict(told), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        print("\n" + describe(told))
    return 0


def describe(told) -> str:
    """The answer in words, on one screen.

    Parameters
    ----------
    told : Told
    """
    from sim.inspection.told import paragraphs

    lines = []
    for text in paragraphs(told):
        whole = not text or text.startswith(("  ", "Picture: ", "Kept: "))
        lines += [text] if whole else textwrap.wrap(text, _WIDTH, subsequent_indent="  ")
    return "\n".join(lines)


def _inspected(given):
    from sim.inspection.cloud import good_units
    from sim.inspection.drift import drift
    from sim.inspection.ready import on_bench
    from sim.inspection.records import keep, sweep_date, unit_name
    from sim.inspection.told import Told
    from sim.inspection.verdict import inspect
    from sim.measured.sweep import read_sweep
    from sim.steps.layout import default_out

    study = _study(given)
    setup = _setup(given, study)
    sweep = read_sweep(given.sweep)
    ready = on_bench(sweep, setup.bench, setup.pad_db)
    unit = unit_name(given.serial or sweep.name)
    date = _date(given.date) or sweep_date(given.sweep, datetime.date.today())
    earlier = [on_bench(one, setup.bench, setup.pad_db) for one in _earlier(given)]
    book = _records(given, unit, setup.bench)
    # Sweeps that are named belong to this set-up by the user's word, records by their date.
    same_setup = len(earlier) + sum(record.date == date for record, _ in book.others)
    earlier += [own for _, own in book.others]
    out = Path(given.out) if given.out else default_out(given.study) / "inspect"
    cloud = good_units(study, setup.bench, given.units, out)
    found = inspect(cloud, ready, study.bands.frequencies, tuple(earlier), same_setup)
    changed = drift(book.own, ready, date, setup.bench, study.bands.frequencies)
    cautions, diagnosis = list(book.cautions), None
    if found.diagnosable and not given.no_diagnosis:
        diagnosis, more = _diagnosis(study, ready, earlier, setup.bench, out)
        cautions += more
    kept = None
    if given.record:
        kept = str(keep(Path(given.record), unit, sweep, date, setup.bench, setup.pad_db))
    return Told(
        unit=unit,
        file=given.sweep,
        title=study.title,
        scenario=given.scenario,
        uncertainty_db=setup.uncertainty_db,
        cloud=cloud,
        found=found,
        drift=changed,
        diagnosis=diagnosis,
        converted=ready.converted,
        kept=kept,
        pictures=tuple(_pictures(found, cloud, changed, study.bands.frequencies, out, unit)),
        cautions=tuple(cautions),
    )


def _refuse(key: str, found: str, remedy: str) -> StudyError:
    return StudyError(Fault("bandfloor inspect", None, key, found, remedy))


def _study(given):
    from sim.study.read import read_study
    from sim.study.scenarios import scenarios

    every = scenarios(read_study(given.study))
    if not 0 <= given.scenario < len(every):
        remedy = f"Name 0 to {len(every) - 1}; bandfloor check lists them."
        raise _refuse("--scenario", f"there is no scenario {given.scenario}.", remedy)
    if not _FEWEST_UNITS <= given.units <= _MOST_UNITS:
        remedy = f"Write {_FEWEST_UNITS} to {_MOST_UNITS}: fewer say nothing of 99 in 100."
        raise _refuse("--units", f"is {given.units}.", remedy)
    return every[given.scenario].study


@dataclass(frozen=True)
class _Setup:
    bench: object
    pad_db: float
    uncertainty_db: float


def _setup(given, study) -> _Setup:
    """The bench of the study, with what the command line knows better."""
    from sim.diagnosis.bench import DUMMY_SIGMA, bench_of
    from sim.diagnosis.fit import NEPER_DB

    known = {}
    if given.dummy is not None:
        part = _part(given.dummy)
        own = study.fixture.model_copy(update={"dummy": part})
        told = bench_of(study.model_copy(update={"fixture": own}))
        known |= {"dummy": told.dummy, "dummy_sigma": told.dummy_sigma or DUMMY_SIGMA}
    for key in ("source", "load"):
        if getattr(given, key) is not None:
            example = f'Write ohms, for example "{"75" if key == "load" else "50"}".'
            known[key] = _number(f"--{key}", getattr(given, key), "ohm", 0.1, 1e6, example)
    uncertainty = UNCERTAINTY_DB
    if given.uncertainty is not None:
        example = 'Write 0.005 to 1 dB, for example "0.05 dB".'
        uncertainty = _number("--uncertainty", given.uncertainty, "dB", 0.005, 1.0, example)
    # Half of the variance is each point's own, half is common to all: calibration, drift, plugs. An estimate.
    sigma = uncertainty / 2 / 2**0.5
    known |= {"gain_sigma_db": sigma, "level_sigma_db": sigma, "phase_sigma_deg": sigma / NEPER_DB * 57.29577951308232}
    known["temperature_c"] = _span(given.temperature or _TEMPERATURE)
    pad = 0.0
    if given.pad is not None:
        pad = _number("--pad", given.pad, "dB", 0.0, 60.0, 'Write 0 to 60 dB, for example "5.72 dB".')
    return _Setup(bench_of(study, **known), pad, uncertainty)


def _number(key: str, text: str, unit: str, low: float, high: float, remedy: str) -> float:
    try:
        value = parse_quantity(text, unit)
    except QuantityError as error:
        raise _refuse(key, error.found, remedy) from error
    if not low <= value <= high:
        raise _refuse(key, f"{text} is out of range.", remedy)
    return value


def _part(text: str) -> PartValue:
    remedy = 'Write the capacitance as measured and how well it is known, for example "47.3p 1%".'
    try:
        part = parse_part(text, "F")
    except QuantityError as error:
        raise _refuse("--dummy", error.found, remedy) from error
    if not 1e-13 <= part.value <= 1e-6:
        raise _refuse("--dummy", f"{text} is out of range.", remedy)
    return part


def _span(text: str) -> tuple[float, float]:
    remedy = 'Write degrees C, for example "18..24".'
    try:
        low, high = parse_span(text, "degC")
    except QuantityError as error:
        raise _refuse("--temperature", error.found, remedy) from error
    if not -40 <= low <= high <= 85:
        raise _refuse("--temperature", f"{text} is out of range.", remedy)
    return low, high


def _date(text: str | None) -> datetime.date | None:
    if text is None:
        return None
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        raise _refuse("--date", f'"{text[:20]}" is no date.', "Write year, month and day: 2026-11-25.") from None


def _earlier(given) -> list:
    """Earlier sweeps of other units."""
    from sim.measured.sweep import read_sweeps

    sweeps = read_sweeps(given.against)
    own = Path(given.sweep)
    for sweep in sweeps:
        if Path(sweep.file).samefile(own):
            found = "is the sweep that is to be inspected."
            raise SweepError(Fault(sweep.file, None, "--against", found, "Name sweeps of other units."))
    return sweeps


@dataclass(frozen=True)
class _Book:
    """What the records hold: the unit's own sweeps, the first of all others, each with its form for this bench."""

    own: list
    others: list
    cautions: tuple[str, ...]


def _records(given, unit: str, bench) -> _Book:
    from sim.inspection.ready import on_bench
    from sim.inspection.records import first_records, unit_records

    if not given.record:
        return _Book([], [], ())
    folder = Path(given.record)
    if folder.exists() and not folder.is_dir():
        raise _refuse("--record", f"{given.record} is no folder.", "Name a folder; it is made where there is none.")
    own, wrong = unit_records(folder, unit)
    others, more = first_records(folder, unit)
    wrong += more
    ready = []
    for records in (own, others):
        kept = []
        for record in records:
            try:
                kept.append((record, on_bench(record.sweep, bench, record.pad_db)))
            except SweepError as error:
                wrong += [f"{fault.file}: {fault.found}" for fault in error.faults]
        ready.append(kept)
    return _Book(ready[0], ready[1], tuple(f"left out, {line}" for line in wrong))


def _diagnosis(study, ready, earlier, bench, out: Path):
    """What is wrong, or why that cannot be said."""
    from sim.diagnosis.diagnose import diagnose

    batch, cautions = [], []
    try:
        batch = [one.sweep for one in earlier]
        return diagnose(study, ready.sweep, batch, bench=bench, folder=out), cautions
    except SweepError as error:
        return None, [f"no fault was looked for: {fault.file} {fault.found}" for fault in error.faults]


def _pictures(found, cloud, changed, bands_hz, out: Path, unit: str) -> list[str]:
    from sim.plots import style
    from sim.plots.inspected import inspected

    paths = []
    with style.drawing():
        figures = [(f"{unit}.svg", inspected(found, cloud, bands_hz))]
        if changed is not None:
            from sim.plots.drifted import drifted

            figures.append((f"{unit}-drift.svg", drifted(changed)))
        for name, figure in figures:
            if figure is not None:
                out.mkdir(parents=True, exist_ok=True)
                style.save(figure, out / name)
                paths.append(str(out / name))
    return paths
