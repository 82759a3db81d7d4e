"""The figures as files: which, readable, and the same every time."""

import json
import re
import subprocess
import sys
import xml.etree.ElementTree as ET

import pandas as pd
import pytest

from sim.plots import figures, style
from sim.plots.figures import read_index, write_figures
from tests.plots.invented import invented_run

ALL = [
    "noise_floor",
    "noise_margin",
    "envelope",
    "spread-gain_db",
    "spread-noise_margin_db",
    "spread-match_gain_db",
    "spread-stability_margin",
    "loop_margin",
    "drivers",
]


@pytest.mark.parametrize("run", ["one", "four"])
def test_every_picture_is_a_well_formed_drawing(run, request):
    """One SVG for each picture and each limited measure, in reading order, and the index names them all."""
    folder = request.getfixturevalue(run)
    listed = read_index(folder)
    assert [figure.name for figure in listed] == ALL
    assert {p.name for p in (folder / "figures").glob("*.svg")} == {f"{name}.svg" for name in ALL}
    for figure in listed:
        root = ET.parse(folder / figure.file).getroot()
        assert root.tag == "{http://www.w3.org/2000/svg}svg"
        assert figure.caption and "\n" not in figure.caption


def test_same_tables_give_the_same_bytes(one, tmp_path):
    """No date, no random names: a second drawing of equal tables is equal byte for byte."""
    again = invented_run(tmp_path)
    write_figures(again)
    for figure in read_index(one):
        assert (one / figure.file).read_bytes() == (again / figure.file).read_bytes(), figure.name


def test_text_does_not_depend_on_installed_fonts(four):
    """Letters are stored as outlines, so there is no text element to be set in another font."""
    for figure in read_index(four):
        svg = (four / figure.file).read_text(encoding="utf-8")
        assert "<text" not in svg and "<use" in svg


def test_pictures_that_lost_their_data_are_removed(tmp_path):
    """A second drawing without a table leaves no stale picture behind."""
    folder = invented_run(tmp_path, units=40)
    write_figures(folder)
    (folder / "contributors.csv").unlink()
    summary = pd.read_csv(folder / "summary.csv")
    summary.loc[summary["measure"] == "gain_db", ["limit_low", "limit_high"]] = float("nan")
    summary.to_csv(folder / "summary.csv", index=False)
    names = [figure.name for figure in write_figures(folder)]
    assert names == [n for n in ALL if n not in ("noise_floor", "spread-gain_db")]
    assert {p.stem for p in (folder / "figures").glob("*.svg")} == set(names)


def test_without_limits_the_usual_measures_are_spread(tmp_path):
    """A study without limits still shows how gain, noise margin and match are spread."""
    folder = invented_run(tmp_path, units=40)
    summary = pd.read_csv(folder / "summary.csv")
    summary[["limit_low", "limit_high", "yield"]] = float("nan")
    summary.to_csv(folder / "summary.csv", index=False)
    drawn = {figure.name: figure for figure in write_figures(folder)}
    assert {"spread-gain_db", "spread-noise_margin_db", "spread-match_gain_db"} <= set(drawn)
    assert "No limit set." in drawn["spread-gain_db"].caption


def test_empty_tables_draw_nothing(tmp_path):
    """A run whose units all failed gives no pictures and no error."""
    folder = invented_run(tmp_path, units=10)
    for name in ("measures", "curves"):
        table = pd.read_parquet(folder / f"{name}.parquet")
        table.iloc[:0].to_parquet(folder / f"{name}.parquet")
    for name in ("summary", "drivers", "contributors"):
        table = pd.read_csv(folder / f"{name}.csv")
        table.iloc[:0].to_csv(folder / f"{name}.csv", index=False)
    assert write_figures(folder) == []


def test_more_scenarios_than_fit_are_said(tmp_path):
    """With nine scenarios, eight are drawn and every caption that shows scenarios says so."""
    folder = invented_run(tmp_path, scenarios=9, units=40)
    drawn = {figure.name: figure for figure in write_figures(folder)}
    said = "8 of 9 scenarios are drawn: the first and the 7 with the lowest yield."
    assert all(said in drawn[n].caption for n in ("noise_floor", "noise_margin", "spread-noise_margin_db"))


def test_names_from_outside_are_drawn_as_they_are(tmp_path):
    """Dollar signs, tags and letters the font lacks neither fail nor become formulas."""
    folder = invented_run(tmp_path, scenarios=2, units=40)
    scenarios = pd.DataFrame({"scenario": [1, 2], "amplifier.opamp": ["$x^2_{", "<b>--!>\u4e2d\n"]})
    scenarios.to_csv(folder / "scenarios.csv", index=False)
    assert len(write_figures(folder)) == len(ALL)
    assert style.drawable("a\n\u4e2d$") == "a □$"


def test_the_index_never_points_outside_its_folder(tmp_path):
    """An index that was tampered with cannot make the report read another file."""
    (tmp_path / "figures").mkdir()
    entry = {"name": "x", "title": "x", "caption": "x", "file": "figures/../../secret.svg"}
    (tmp_path / "figures" / figures.INDEX).write_text(json.dumps([entry]))
    assert read_index(tmp_path) == []


def test_loading_the_modules_does_not_load_the_plotting_library():
    """The command line stays quick: figures and report load heavy packages only when they work."""
    code = (
        "import sys, sim.plots.figures, sim.report.page;"
        "print(sorted({'matplotlib', 'pandas', 'jinja2'} & {m.split('.')[0] for m in sys.modules}))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_figures_have_units_on_their_axes(four, monkeypatch):
    """Every frequency axis speaks in Hz, and each panel's heading carries a unit or names a pure number."""
    seen = {}
    monkeypatch.setattr(style, "save", lambda figure, path: seen.setdefault(path.stem, figure))
    write_figures(four)
    for name in ("noise_floor", "noise_margin", "envelope", "loop_margin"):
        panel = seen[name].axes[0]
        ticks = panel.get_xticks()
        words = [panel.xaxis.get_major_formatter()(t, None) for t in ticks]
        assert words and all(re.fullmatch(r"[0-9.]+ [kMG]?Hz", w) for w in words)
    heads = {name: " ".join(_texts(figure)) for name, figure in seen.items()}
    assert "nV/√Hz" in heads["noise_floor"] and "dB" in heads["noise_margin"]
    assert "dB" in heads["envelope"] and "degrees" in heads["envelope"] and "100 %" in heads["drivers"]
    assert "Stability margin" in heads["spread-stability_margin"] and "dB" in heads["spread-gain_db"]


def _texts(figure):
    from matplotlib.text import Text

    return [t.get_text() for t in figure.findobj(Text) if t.get_text()]
