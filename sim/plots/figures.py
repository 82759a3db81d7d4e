"""All figures of a run: reads its tables, writes figures/*.svg and an index of what they show.

Reading and drawing cost more to load than the rest of the program; so both are loaded when a run asks for
its figures and not before.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

from sim.plots import words
from sim.tables import read_parquet_rows, replace_file

INDEX = "figures.json"


@dataclass(frozen=True)
class Figure:
    """One picture: its short name, its heading, what it shows, and the file relative to the run's folder."""

    name: str
    title: str
    caption: str
    file: str


@dataclass(frozen=True)
class _Tables:
    """What the pictures are drawn from; columns as in the results contract."""

    summary: object
    measures: object
    curves: object
    drivers: object
    contributors: object
    feedlines: object
    antennas: object
    arrays: tuple
    weather: object
    temperature: object
    shown: object
    bands_hz: tuple[float, ...]
    optima: tuple
    substitution: tuple = ()
    strong: tuple = ()
    products: object = None
    best: int | None = None


_MOST_TRADES = 4
_WITHIN = dict.fromkeys(("match_gain_db", "match_phase_deg", "match_system_phase_deg"), " within a build")


def write_figures(out_dir: Path) -> list[Figure]:
    """Draw every figure that the tables in a run's folder allow.

    Parameters
    ----------
    out_dir : Path
        Holds summary.csv, measures.parquet, curves.parquet, drivers.csv and scenarios.csv; contributors.csv
        (scenario, frequency_hz, contributor, density_nv) if the noise was split by contributor; stability.csv and
        antennas.csv if units were judged with feedlines and antennas.

    Returns
    -------
    figures : list of Figure
        In reading order; the same list is in figures/figures.json. Pictures without data are left out.

    Notes
    -----
    The bytes depend on the tables alone: no date, no random names.
    """
    from sim.plots import style

    tables = _read(out_dir)
    folder = out_dir / "figures"
    folder.mkdir(parents=True, exist_ok=True)
    # The index comes last and says that all pictures are there.
    (folder / INDEX).unlink(missing_ok=True)
    figures = []
    with style.drawing():
        for name, title, caption, drawn in _pictures(tables):
            file = f"figures/{name}.svg"
            style.save(drawn, out_dir / file)
            figures.append(Figure(name, title, caption, file))
    drawn_now = {Path(figure.file).name for figure in figures}
    for stale in sorted(folder.glob("*.svg")):
        if stale.name not in drawn_now:
            stale.unlink(missing_ok=True)
    text = json.dumps([asdict(f) for f in figures], indent=1, ensure_ascii=False) + "\n"
    with replace_file(folder / INDEX) as file:
        file.write(text.encode("utf-8"))
    return figures


def read_index(out_dir: Path) -> list[Figure]:
    """The figures that a run's folder holds, in reading order; empty where none were drawn."""
    index = out_dir / "figures" / INDEX
    if not index.is_file():
        return []
    figures = [Figure(**entry) for entry in json.loads(index.read_text(encoding="utf-8"))]
    return [f for f in figures if f.file == f"figures/{Path(f.file).name}"]


def _read(out_dir: Path) -> _Tables:
    import pandas as pd

    from sim.plots import choice, style

    summary = pd.read_csv(out_dir / "summary.csv")
    scenarios = pd.read_csv(out_dir / "scenarios.csv", dtype=str, keep_default_na=False)
    answer = _answer(out_dir)
    shown = choice.shown_scenarios(scenarios, summary, best=choice.best_of(answer))
    shown = choice.Shown(shown.numbers, tuple(style.drawable(n) for n in shown.names), shown.note)
    contributors = out_dir / "contributors.csv"
    split = pd.read_csv(contributors) if contributors.is_file() else None
    if split is not None:
        split["contributor"] = split["contributor"].map(style.drawable)
    drivers = pd.read_csv(out_dir / "drivers.csv")
    drivers["part"] = drivers["part"].map(style.drawable)
    return _Tables(
        summary=summary,
        measures=read_parquet_rows(
            out_dir / "measures.parquet",
            measure={*_spread_measures(summary), "stability_margin", "stable"},
            scenario=shown.numbers,
        ),
        curves=pd.read_parquet(out_dir / "curves.parquet"),
        drivers=drivers,
        contributors=split,
        feedlines=pd.read_csv(feedlines) if (feedlines := out_dir / "stability.csv").is_file() else None,
        antennas=pd.read_csv(antennas) if (antennas := out_dir / "antennas.csv").is_file() else None,
        arrays=_read_arrays(out_dir, answer, shown.numbers),
        weather=_weather_of(out_dir / "weather.csv"),
        temperature=pd.read_csv(path) if (path := out_dir / "temperature.csv").is_file() else None,
        shown=shown,
        bands_hz=choice.bands_of(summary),
        optima=tuple(answer.get("optima", ())),
        substitution=tuple(answer.get("substitution", ())),
        strong=tuple(answer.get("strong", ())),
        products=pd.read_csv(products) if (products := out_dir / "products.csv").is_file() else None,
        best=next(iter(answer.get("best", ())), None),
    )


def _read_arrays(out_dir: Path, answer: dict, shown: tuple[int, ...]) -> tuple:
    """What is drawn of an array: answer, measures and pattern of the first scenario shown, in its hardest direction."""
    import pandas as pd

    own = [entry for entry in answer.get("array", ()) if entry["scenario"] in shown]
    if not own:
        return ()
    entry = min(own, key=lambda one: shown.index(one["scenario"]))
    tables = [pd.read_csv(out_dir / name) for name in ("array.csv", "array_pattern.csv")]
    here = [
        t[(t["scenario"] == entry["scenario"]) & (t["direction_deg"] == entry["bearing_deg"])] for t in tables
    ]
    return entry, *here


def _weather_of(path: Path):
    import pandas as pd

    if not path.is_file():
        return None
    texts = ("weather", "key", "others", "found_by", "not_found_by", "found_among_sisters_by")
    return pd.read_csv(path, dtype=dict.fromkeys(texts, str)).fillna(dict.fromkeys(texts, ""))


def _answer(out_dir: Path) -> dict:
    answer = out_dir / "answer.json"
    return json.loads(answer.read_text(encoding="utf-8")) if answer.is_file() else {}


def _pictures(tables: _Tables) -> Iterator[tuple[str, str, str, object]]:
    """Name, heading, caption and drawing of each picture that has data."""
    makers: tuple[Callable, ...] = (
        _substitution,
        _trades,
        _noise_floor,
        _noise_margin,
        _array,
        _envelope,
        _spreads,
        _loop_margin,
        _feedline_map,
        _antenna_map,
        _weathering,
        _temperature,
        _strong,
        _drivers,
    )
    for maker in makers:
        for name, title, caption, drawn in maker(tables):
            if drawn is not None:
                yield name, title, " ".join(caption.split()), drawn


def _substitution(t: _Tables):
    from sim.plots.substitution import MOST_CANDIDATES, substitution

    if not t.substitution:
        return
    drawn = substitution(t.substitution)
    some = f" The first {MOST_CANDIDATES} are drawn." if len(t.substitution) > MOST_CANDIDATES else ""
    capacitor = (
        " A candidate that needs another capacitor is drawn with it."
        if any(one["kind"] == "capacitor" for one in t.substitution)
        else ""
    )
    yield (
        "substitution",
        f"Beside the old amplifiers: steps from {t.substitution[0]['reference']}",
        f"""With antenna and feedline, as an array feels it. Marks: the nominal unit with the candidate less that with
        {t.substitution[0]["reference"]}, a mark a band; strokes: 95 % of pairs of one new and one old unit of a build.
        Hatched: more than the array takes, {t.substitution[0]["array_takes"]}. Arrows: beyond the edge, with the
        number.{capacitor}{some}""",
        drawn,
    )


def _trades(t: _Tables):
    from sim.plots.trade import trade

    for place, one in enumerate(t.optima[:_MOST_TRADES], start=1):
        others = ", ".join(one["others"].values())
        parts = one["key"].startswith("amplifier.")
        hollow = "Hollow marks: values with which too few units keep every limit." if one["limited"] else ""
        best = (
            f"""Upright: {one["best"]["value"]}, the value that loses least signal to noise and keeps every limit.
        Grey: as good as that within {one["flat"]["within_db"]:g} dB."""
            if one["best"]
            else "No value keeps every limit."
        )
        heard = (t.summary["measure"] == "headroom_db").any()
        strong = "" if heard or not parts else "The study names no strong carriers, so headroom is not drawn."
        yield (
            f"trade-{place}",
            f"Which {one['name']} to take{f' with {others}' if others else ''}",
            f"""Lines: the nominal unit, a mark a value; shaded: nine units in ten. {best} {hollow} Hatched: outside a
        limit. {strong}""",
            trade(one, t.summary, t.optima),
        )


def _array(t: _Tables):
    from sim.plots.array_causes import array_causes
    from sim.plots.array_pattern import array_pattern

    if not t.arrays:
        return
    entry, measures, pattern = t.arrays
    names = dict(t.shown.items())
    whose = f" Drawn for {names[entry['scenario']]}." if len(names) > 1 or t.shown.note else ""
    where = f"Bearing {entry['bearing_deg']:g} degrees, of those of the study the one in which fewest arrays do."
    yield (
        "array_causes",
        f"Does the array null? {entry['wanted_db']:g} dB front to back asked",
        f"""What 95 % of {entry["arrays"]} arrays beat with one kind of error at a time, and with all; at the right end
        60 dB and more. Hatched: less than the study asks for. Trimmed: the gain of every unit set alike at the middle
        band. {where}{whose}""",
        array_causes(measures, entry["wanted_db"]),
    )
    yield (
        "array_pattern",
        "What the array hears around the horizon",
        f"""At the study's elevation. Solid: without errors; shaded: nine arrays in ten; dashed: 95 % of arrays hear
        less. Triangles: what is asked for, straight behind. {where}{whose}""",
        array_pattern(pattern, entry["wanted_db"]),
    )


def _low_limit(tables: _Tables, measure: str) -> float:
    lows = tables.summary.loc[tables.summary["measure"] == measure, "limit_low"].astype(float)
    lows = lows[lows > float("-inf")]
    return float(lows.iloc[0]) if len(lows) else float("nan")


def _note(tables: _Tables) -> str:
    return tables.shown.note


def _noise_floor(t: _Tables):
    from sim.plots.noise_floor import noise_floor

    if t.contributors is None or t.contributors.empty:
        return
    drawn = noise_floor(t.contributors, t.shown, t.bands_hz)
    deciles = "Shaded: from its lower to its upper decile." if _has_deciles(t.contributors) else ""
    yield (
        "noise_floor",
        "Is it quiet enough? Noise at the receiver",
        f"""Nominal unit. Thick solid line: what the antenna picks up from outside. {deciles} Thick dashed
        line: everything the chain adds, receiver included. The thin lines say where that comes from, loudest
        first. The chain is quiet enough where the solid line stands well above the dashed one. Dotted
        uprights: the study's bands, in MHz. {_note(t)}""",
        drawn,
    )


def _has_deciles(contributors) -> bool:
    from sim.columns import EXTERNAL_DECILES

    return bool(contributors["contributor"].isin(EXTERNAL_DECILES).any())


def _noise_margin(t: _Tables):
    from sim.plots.noise_margin import noise_margin

    limit = _low_limit(t, "noise_margin_db")
    drawn = noise_margin(t.curves, t.shown, t.bands_hz, limit)
    what = (
        "Shaded: nine units in ten. The dashed line is the margin that 95 % of the units beat."
        if len(t.shown.numbers) == 1
        else "Each line is the margin that 95 % of the units beat."
    )
    barred = " Hatched: below the study's limit." if limit == limit else ""
    yield (
        "noise_margin",
        "External over internal noise",
        f"{what}{barred} External noise at the level that the study asks for. {_note(t)}",
        drawn,
    )


def _envelope(t: _Tables):
    from sim.plots.envelope import envelope

    drawn = envelope(t.curves, t.shown, t.bands_hz)
    yield (
        "envelope",
        "Gain and phase on the bench",
        f"""Upper two panels: the nominal unit through the dummy antenna, as an analyser shows it. Below:
        how far the units stray from nominal; shaded where nine in ten lie, dashed where the last one
        lies, solid the median. {_note(t)}""",
        drawn,
    )


def _spread_measures(summary) -> list[str]:
    """Measures whose spread is drawn: those with limits, else the usual ones."""
    from sim.plots.choice import limited_rows

    limited = list(dict.fromkeys(summary.loc[limited_rows(summary), "measure"]))
    wanted = [m for m in limited if m != "stable"]  # a verdict has no spread; its count stands with the loop
    usual = ("gain_db", "noise_margin_db", "match_gain_db")
    return wanted or [m for m in usual if (summary["measure"] == m).any()]


def _spreads(t: _Tables):
    from sim.plots.spread import spread

    for measure in _spread_measures(t.summary):
        of_measure = t.summary[t.summary["measure"] == measure]
        unit = str(of_measure["unit_of_measure"].iloc[0])
        drawn, whole = spread(measure, t.measures, t.summary, t.shown, words.heading(measure, unit))
        limit = words.limit_text(
            float(of_measure["limit_low"].iloc[0]), float(of_measure["limit_high"].iloc[0]), unit
        )
        hatched = (
            f"Limit {limit}; hatched: outside it. At the right: the yield." if limit else "No limit set."
        )
        some = "" if whole else " For want of room only the band of lowest yield of each scenario is drawn."
        yield (
            f"spread-{measure}",
            f"{words.short_name(measure)} over the units",
            f"""Each row is a histogram over the units; upright stroke: median, diamond: nominal unit.
        {hatched}{some} {_note(t)}""",
            drawn,
        )


def _loop_margin(t: _Tables):
    from sim.plots.loop_margin import loop_margin

    limit = _low_limit(t, "stability_margin")
    drawn = loop_margin(t.curves, t.measures, t.shown, limit)
    barred = " Hatched: below the study's limit." if limit == limit else ""
    whole = "" if t.feedlines is None else " Unstable counts units that any feedline of the study makes oscillate."
    yield (
        "loop_margin",
        "Does it stay clear of oscillation?",
        f"""How near the loop gain comes to −1, the point of oscillation: at 1 the loop does nothing, at
        0 it oscillates. Whether a unit is stable is decided by counting encirclements, not by this
        distance.{barred} Matched line.{whole} {_note(t)}""",
        drawn,
    )


def _feedline_map(t: _Tables):
    from sim.plots.feedline_map import feedline_map

    if t.feedlines is None or t.feedlines.empty:
        return
    table = t.feedlines
    # The scenario that is worst off: most unstable cells, then the smallest margin.
    order = table.groupby("scenario").agg(bad=("unstable", "sum"), least=("margin_min", "min"))
    scenario = int(order.sort_values(["bad", "least"], ascending=[False, True], kind="stable").index[0])
    drawn, cables = feedline_map(table, scenario, _low_limit(t, "line_margin"))
    names = dict(t.shown.items())
    several = len(order) > 1
    whose = f" Drawn for the scenario that is worst off ({names.get(scenario, scenario)})." if several else ""
    left = table.loc[~table["cable"].isin([*cables, "own feedline"]), "cable"].unique()
    some = f" Left out for want of room: {', '.join(left)}." if len(left) else ""
    yield (
        "feedline_map",
        "Is it stable with any feedline?",
        f"""Every cable, length and far end of the study; each cell holds the least margin of all units. Far ends:
        Z0 is the cable's impedance, unplugged an open stub of 30 mm. Stable or not is decided by counting poles; a
        sign tells it, not the shade.{whose}{some} All numbers, and the study's own feedline, stand in
        stability.csv.""",
        drawn,
    )


def _antenna_map(t: _Tables):
    from sim.plots.antenna_map import antenna_map

    if t.antennas is None or t.antennas.empty:
        return
    # The scenario that is worst off: most unstable cells, then the smallest margin.
    order = t.antennas.groupby("scenario").agg(bad=("unstable", "sum"), least=("margin_min", "min"))
    scenario = int(order.sort_values(["bad", "least"], ascending=[False, True], kind="stable").index[0])
    names = dict(t.shown.items())
    several = len(order) > 1
    whose = f" Drawn for the scenario that is worst off ({names.get(scenario, scenario)})." if several else ""
    yield (
        "antenna_map",
        "Is it stable with any antenna?",
        f"""Capacitance of the antenna, and inductance of the lead between it and the amplifier; then no antenna at
        all, and the input shorted. Each cell holds the least margin of all units, the line matched. Stable or not is
        decided by counting poles; a sign tells it, not the shade.{whose} All numbers stand in antennas.csv.""",
        antenna_map(t.antennas, scenario, _low_limit(t, "antenna_margin")),
    )


def _weathering(t: _Tables):
    from sim.plots.weathering import leak_curves, weathering

    for place, (key, others) in enumerate([] if t.weather is None else leak_curves(t.weather)[:_MOST_TRADES], start=1):
        yield (
            f"weather-{place}",
            f"What finds the {key.replace('_', ' ')}{f' with {others}' if others else ''}",
            """The nominal unit beside itself when dry. Above: what it costs in signal to noise. Below: by how much
        each measurement moves, over the least change that is taken as found; hatched: not found. Noise on a dummy
        is heard at the receiver with the antenna's impedance in its place. What is less than a hundredth of a decibel,
        or a tenth of what is found, is not drawn.""",
            weathering(t.weather, key, others),
        )


def _temperature(t: _Tables):
    from sim.plots.temperature import temperature

    if t.temperature is None or t.temperature.empty:
        return
    names, sweeps = dict(t.shown.items()), list(dict.fromkeys(t.temperature["sweep"]))
    whose = f" Drawn for the first of {len(sweeps)} sweeps ({names.get(sweeps[0], sweeps[0])})." if sweeps[1:] else ""
    yield (
        "temperature",
        "What does temperature do?",
        f"""All boxes at one temperature. Gain and phase: mean of the units' own changes, the same units at every
        temperature; what all share no array feels, how far the shade is wide it does. Noise margin, stability and
        current: the nominal unit, whose parts keep their value, with its dies as warm as the box. Shaded: nine units
        in ten.{whose} How parts and dies follow temperature: an estimate.""",
        temperature(t.temperature, sweeps[0]),
    )


def _strong(t: _Tables):
    from sim.plots.strong import strong

    if t.products is None or not t.strong:
        return
    entry = next((one for one in t.strong if one["scenario"] == t.best), t.strong[0])
    name = dict(t.shown.items()).get(entry["scenario"])
    whose = f" Drawn for {name or 'one scenario'}." if len(t.strong) > 1 else ""
    yield (
        "strong",
        "What the broadcast stations do",
        f"""Above: carriers at the receiver, and their products at the bands, of the nominal unit; products are
        estimates, and those without a number are not drawn. A product matters where it stands above the thick
        stroke, the noise. Hollow marks: what the two strongest carriers would make if their product fell on the
        band itself. Below: how far each limit of an op-amp is away with all carriers in step and fully modulated;
        hatched: passed.{whose} All numbers stand in products.csv.""",
        strong(entry, t.products),
    )


def _drivers(t: _Tables):
    from sim.plots.drivers import drivers

    # With the same line for all units the match with feedline is that of the bench.
    lines = ("match_system_phase_deg",) * bool(t.drivers["part"].astype(str).str.startswith("feedline.").any())
    wanted = ("gain_db", "match_gain_db", "match_phase_deg", *lines, "noise_margin_db")
    titles = [(m, f"{words.short_name(m)}{_WITHIN.get(m, '')}: share of variance") for m in wanted]
    scenario, name = t.shown.numbers[0], t.shown.names[0]
    drawn = drivers(t.drivers, titles, scenario)
    whose = f" Drawn for the first scenario ({name})." if len(t.shown.numbers) > 1 or t.shown.note else ""
    yield (
        "drivers",
        "Which parts to spend on",
        f"""Share of the variance that each part causes, a marker a band, the largest in figures. Absolute
        gain and match are ranked apart: what a whole lot shares moves every unit alike and does not
        hurt a match. The row (rest) holds all smaller parts and what a straight line does not
        explain.{whose}""",
        drawn,
    )
