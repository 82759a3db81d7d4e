"""The page a run ends in: one HTML file that opens with the answer and needs nothing beside it.

No font, no picture, no script from elsewhere: the drawings stand in the page, and the one script that it carries is
known to the browser by its checksum, so that no other runs and nothing is ever fetched. All text passes the
template's escaping, since titles, part names and engine messages come from outside.
"""

from __future__ import annotations

import base64
import hashlib
import json
import platform
import tomllib
from collections.abc import Mapping
from importlib import metadata
from pathlib import Path

from sim.plots.figures import read_index
from sim.report.contents import sections
from sim.report.deciding import split
from sim.report.model import Fact, Page, Picture, YieldGrid
from sim.report.order import order_section
from sim.tables import replace_file

REPORT = "report.html"
_TEMPLATES = Path(__file__).resolve().parent / "templates"
_PACKAGES = ("bandfloor", "numpy", "scipy", "pandas", "PySpice", "matplotlib")


def write_report(out_dir: Path) -> Path:
    """Write report.html from the tables, the answer and the figures in a run's folder.

    Parameters
    ----------
    out_dir : Path
        Holds study.toml, answer.json, summary.csv, drivers.csv, failures.csv, scenarios.csv, and figures/ if
        they were drawn.

    Returns
    -------
    path : Path
        The page. Its bytes depend on those files and the versions installed, not on the time.
    """
    from sim.report.resting import with_resting

    answer = json.loads((out_dir / "answer.json").read_text(encoding="utf-8"))
    page = with_resting(compose(out_dir), answer)
    path = out_dir / REPORT
    text = render(page)
    with replace_file(path) as file:
        file.write(text.encode("utf-8"))
    return path


def render(page: Page) -> str:
    """The page as HTML, everything in it escaped but the drawings."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    env = Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )
    env.filters["drawing"] = Markup
    env.filters["sections"] = sections
    script = (_TEMPLATES / "page.js").read_text(encoding="utf-8")
    return env.get_template("page.html.j2").render(page=page, script=script, policy=policy(script))


def policy(script: str) -> str:
    """What a browser may load for the page: nothing; it may run this one script, and the page's own styles."""
    checksum = base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode("ascii")
    return (
        f"default-src 'none'; script-src 'sha256-{checksum}'; style-src 'unsafe-inline';"
        " base-uri 'none'; form-action 'none'"
    )


def compose(out_dir: Path) -> Page:
    """Read a run's folder and choose what the page says."""
    import pandas as pd

    from sim.plots import choice
    from sim.report import assumptions, tables
    from sim.report.arrays import phasing_table, spread_table
    from sim.report.bench import bench_table
    from sim.report.mending import mending_table
    from sim.report.ratings import ratings_table
    from sim.report.sheet import bench_sheet
    from sim.report.strong import products_table
    from sim.report.substitution import substitution_section
    from sim.report.temperature import temperature_tables
    from sim.report.weathering import weather_table
    from sim.summary.names import scenario_names

    study = tomllib.loads((out_dir / "study.toml").read_text(encoding="utf-8"))
    answer = json.loads((out_dir / "answer.json").read_text(encoding="utf-8"))
    summary = pd.read_csv(out_dir / "summary.csv")
    drivers = pd.read_csv(out_dir / "drivers.csv")
    failures = pd.read_csv(out_dir / "failures.csv")
    scenarios = pd.read_csv(out_dir / "scenarios.csv", dtype=str, keep_default_na=False)
    names = scenario_names(scenarios)
    shown = choice.shown_scenarios(scenarios, summary, best=choice.best_of(answer))
    bands_hz = choice.bands_of(summary)
    limited = set(summary.loc[choice.limited_rows(summary), "measure"])
    limits_set = bool(limited or study.get("limits"))
    first = min(names)
    whose = f"First scenario: {names[first]}." if len(names) > 1 else ""
    lists, at_band = tables.driver_lists(drivers, summary, first, bands_hz)
    banded, single = tables.nominal_tables(summary, first, bands_hz)
    lost, lost_text = tables.failure_table(failures)
    temperature, drift, temperature_note = temperature_tables(out_dir, names)
    state, stamp = _stamp(answer, limits_set)
    products, products_note = products_table(out_dir, answer, names)
    title = str(study.get("title", "")) or "Untitled study"
    first_figures, rest_figures = split(_pictures(out_dir), _hardest(summary))
    return Page(
        title=title,
        state=state,
        stamp=stamp,
        verdict=_sentences(answer),
        facts=_facts(study, summary, names, failures, tables),
        warnings=tuple(map(str, answer.get("cautions", ()))),
        scenarios=tables.scenario_table(summary, scenarios, names),
        tried=tuple(map(str, answer.get("tried", ()))),
        mending=mending_table(answer, names),
        phasing=phasing_table(answer, shown.numbers[0]),
        arrays=spread_table(answer, names),
        substitution=substitution_section(answer),
        weathering=tuple(map(str, answer.get("weathering", ()))),
        weather=weather_table(out_dir, names),
        ratings=ratings_table(out_dir / "ratings.csv", names),
        temperature=temperature,
        temperature_note=temperature_note,
        drift=drift,
        products=products,
        products_note=products_note,
        yields=tables.yield_rows(summary, first) if len(names) == 1 else (),
        yield_grid=tables.yield_grid(summary, shown) if len(names) > 1 else YieldGrid(),
        limits_set=limits_set,
        yields_note=shown.note.replace("drawn", "listed"),
        figures=(*first_figures, *rest_figures),
        deciding=len(first_figures),
        drivers=lists,
        drivers_note=f"{at_band} {whose}".strip(),
        order=order_section(out_dir),
        nominal_bands=banded,
        nominal_single=single,
        nominal_note=whose,
        sheet=bench_sheet(out_dir, study, shown.numbers[0], names),
        failures=lost,
        failures_text=lost_text,
        unseen=tuple(map(str, answer.get("unseen", ()))),
        modelled=assumptions.modelled(study, _has_opamp(out_dir)),
        left_out=assumptions.left_out(
            set(summary["measure"]), any(m.startswith("match_") for m in limited), study
        ),
        bench=bench_table(out_dir),
        provenance=_provenance(study, title),
        commands=("./bandfloor run study.toml", "ngspice -b netlist.cir     # the nominal unit alone"),
    )


def _has_opamp(out_dir: Path) -> bool:
    """Whether the units of a run have an op-amp: then its drawn values stand beside those of the parts."""
    import pyarrow.parquet

    path = out_dir / "units.parquet"
    # A maker's model is drawn nowhere; its bench tells that it was there.
    if not path.is_file() or (out_dir / "model.csv").is_file():
        return True
    return any(name.endswith(".gbw") for name in pyarrow.parquet.read_schema(path).names)


def _sentences(answer: Mapping) -> tuple[str, ...]:
    verdict = answer["verdict"]
    return (verdict,) if isinstance(verdict, str) else tuple(str(s) for s in verdict)


def _stamp(answer: Mapping, limited: bool) -> tuple[str, str]:
    """Mark and words over the verdict: never colour alone."""
    if not limited:
        return "open", "No limits set"
    if answer["passes"]:
        return "met", "Limits met"
    entries, passing = answer.get("scenarios", ()), answer.get("passing", ())
    if answer.get("array") and not passing and all(entry["passes"] for entry in entries):
        return "missed", "Limits met, but the array does not null"
    if passing and len(entries) > len(passing):
        return "met", f"Limits met by {len(passing)} of {len(entries)} choices"
    return "missed", "Limits not met"


def _facts(study: Mapping, summary, names: Mapping[int, str], failures, tables) -> tuple[Fact, ...]:
    from sim.plots import choice, words

    units = summary["units"].max() if len(summary) else study.get("run", {}).get("units", 0)
    facts = [Fact("Virtual units", f"{int(units):,}".replace(",", "\u202f"))]
    if len(names) > 1:
        facts.append(Fact("Scenarios", str(len(names))))
    limited = summary[choice.limited_rows(summary)]
    if len(limited):
        worst = limited.loc[limited["yield"].idxmin()]
        where = tables.limit_name(worst)
        if len(names) > 1:
            where += f", {names[int(worst['scenario'])]}"
        facts.append(Fact("Hardest limit", f"{where}: {words.percent(worst['yield'])} pass"))
    facts.append(Fact("Did not simulate", str(failures["unit"].nunique()) if len(failures) else "none"))
    return tuple(facts)


def _hardest(summary) -> str:
    """Measure of the limit that fewest units keep; empty where all keep all."""
    from sim.plots import choice

    limited = summary[choice.limited_rows(summary)]
    missed = limited[limited["yield"] < 1]
    return "" if missed.empty else str(missed.loc[missed["yield"].idxmin(), "measure"])


def _pictures(out_dir: Path) -> tuple[Picture, ...]:
    from sim.report.drawing import inlined

    pictures = []
    for figure in read_index(out_dir):
        svg = (out_dir / figure.file).read_text(encoding="utf-8")
        pictures.append(
            Picture(figure.name, figure.title, figure.caption, inlined(svg, figure.name, figure.title))
        )
    return tuple(pictures)


def _provenance(study: Mapping, title: str) -> tuple[Fact, ...]:
    run = study.get("run", {})
    facts = [
        Fact("Study", title),
        Fact("Seed", str(run.get("seed", "–"))),
        Fact("Units", str(run.get("units", "–"))),
    ]
    if "temperature" in run:
        facts.append(Fact("Temperature", f"{run['temperature']} °C"))
    versions = [f"Python {platform.python_version()}"]
    for package in _PACKAGES:
        try:
            versions.append(f"{package} {metadata.version(package)}")
        except metadata.PackageNotFoundError:  # a plain checkout that is not installed
            continue
    facts.append(Fact("Versions", ", ".join(versions)))
    return tuple(facts)
