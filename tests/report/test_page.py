"""The report: opens with the answer, holds what it must, trusts no text, needs nothing beside it."""

import base64
import hashlib
import json
import math
import re
from html.parser import HTMLParser
from pathlib import Path

import pandas as pd
import pytest

from sim.plots import inks
from sim.plots.figures import write_figures
from sim.report import page as page_module
from sim.report.page import write_report
from tests.plots.invented import invented_run
from tests.plots.test_legible import contrast

VOID = {"meta", "br", "link", "img", "hr", "input"}


class Reader(HTMLParser):
    """Collects elements, attributes and visible text, and checks that elements close in order."""

    def __init__(self, text):
        super().__init__()
        self.open, self.tags, self.attributes, self.words = [], [], [], []
        self.feed(text)
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, name, value) for name, value in attrs]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, name, value) for name, value in attrs]

    def handle_endtag(self, tag):
        assert self.open and self.open[-1] == tag, (tag, self.open[-3:])
        self.open.pop()

    def handle_data(self, data):
        if data.strip() and self.open[-1:] not in (["style"], ["script"]):
            self.words.append(" ".join(data.split()))


def read(folder):
    """The report of a run's folder, parsed."""
    return Reader(write_report(folder).read_text(encoding="utf-8"))


def test_it_opens_with_the_verdict(one):
    """After the title the first thing in the page is the verdict's mark and sentence."""
    words = read(one).words
    start = words.index("✓")
    assert words[start + 1 : start + 3] == [
        "Limits met",
        "Invented verdict: quiet enough, stable, alike enough.",
    ]
    assert start <= 3


def test_it_has_every_section_in_order(four):
    """Choices, yields, pictures, drivers, nominal unit, failures, assumptions, cautions, provenance."""
    page = read(four)
    ids = [value for tag, name, value in page.attributes if tag == "section" and name == "id"]
    assert ids == [
        "scenarios",
        "yields",
        "pictures",
        "drivers",
        "nominal",
        "failures",
        "assumptions",
        "cautions",
        "provenance",
    ]
    text = " ".join(page.words)
    for must in (
        "Lightning",
        "height",
        "Mains",
        "Soldering",
        "Never transmit",
        "licensed electrician",
        "no stations near by",
        "ITU-R P.372",
        "Seed",
        "./bandfloor run study.toml",
        "timestep too small",
        "2 runs of 2 units failed.",
    ):
        assert must in text, must


def test_one_scenario_needs_no_comparison(one):
    """Without varied values there is no table of scenarios."""
    assert ("section", "id", "scenarios") not in read(one).attributes


def test_yields_come_with_limit_and_interval(one):
    """A limit's row shows measure, band, yield, interval, limit, nominal and the span of 90 % of units."""
    words = read(one).words
    at = words.index("Noise margin")
    assert words[at + 1 : at + 5] == ["1.83 MHz", "99.3 %", "97.3 … 100 %", "≥ 10 dB"]
    assert words[at + 5] == "15.50" and re.fullmatch(r"14\.\d\d … 16\.\d\d", words[at + 6])


def test_limits_not_met_are_marked_by_sign_and_words(tmp_path):
    """A failed study is told by its mark and words, and low yields carry a class of their own."""
    folder = invented_run(tmp_path, units=40, failed=10)
    answer = json.loads((folder / "answer.json").read_text())
    (folder / "answer.json").write_text(
        json.dumps({**answer, "passes": False, "verdict": ["Too few.", "Because."]})
    )
    page = read(folder)
    at = page.words.index("✗")
    assert page.words[at + 1 : at + 4] == ["Limits not met", "Too few.", "Because."]
    assert ("tr", "class", "low") in page.attributes


def test_a_study_without_limits_passes_no_judgement(tmp_path):
    """No limits: no stamp of success, and a hint how to set some."""
    folder = invented_run(tmp_path, units=40)
    summary = pd.read_csv(folder / "summary.csv")
    summary[["limit_low", "limit_high", "passed", "yield", "yield_low", "yield_high"]] = float("nan")
    summary.to_csv(folder / "summary.csv", index=False)
    study = (folder / "study.toml").read_text(encoding="utf-8")
    (folder / "study.toml").write_text(study.split("[limits]")[0], encoding="utf-8")
    words = read(folder).words
    assert "No limits set" in words and "Limits met" not in words and "[limits]" in words


@pytest.fixture(scope="module")
def hostile(tmp_path_factory):
    """A run in which every text from outside tries to become markup."""
    evil = '<script>alert(1)</script>"><img src=x onerror=alert(2)>--><svg onload=alert(3)>'
    folder = invented_run(tmp_path_factory.mktemp("hostile"), scenarios=2, units=40, title=evil)
    pd.DataFrame({"scenario": [1, 2], evil: [evil, "{{ 7 * 7 }}"]}).to_csv(
        folder / "scenarios.csv", index=False
    )
    pd.DataFrame({"scenario": [1], "unit": [3], "stage": [evil], "reason": [evil]}).to_csv(
        folder / "failures.csv", index=False
    )
    for table, column in (("drivers", "part"), ("contributors", "contributor")):
        rows = pd.read_csv(folder / f"{table}.csv")
        rows[column] = rows[column].replace({"Rf": evil})
        rows.to_csv(folder / f"{table}.csv", index=False)
    answer = json.loads((folder / "answer.json").read_text())
    (folder / "answer.json").write_text(json.dumps({**answer, "verdict": evil}))
    write_figures(folder)
    return folder


def test_texts_from_outside_stay_text(hostile):
    """No script but the page's own, image or handler appears, template marks stay, the title reads as written."""
    page = read(hostile)
    assert page.tags.count("script") == 1 and page.tags[-1] == "script"
    assert not {"img", "iframe", "object", "embed", "link", "foreignobject"} & set(page.tags)
    assert not [a for a in page.attributes if a[1].startswith("on")]
    assert "{{ 7 * 7 }}" in page.words and "49" not in page.words
    assert any(w.startswith("<script>alert(1)</script>") for w in page.words)


@pytest.mark.parametrize("run", ["one", "four", "hostile"])
def test_it_is_one_file_without_network(run, request):
    """No address, import or reference leads out of the page; scripts and loads are forbidden besides."""
    folder = request.getfixturevalue(run)
    text = write_report(folder).read_text(encoding="utf-8")
    assert not re.search(r"https?:|@import|url\((?!#)|src=(?!x)", text.replace("http://www.w3.org", ""))
    page = Reader(text)
    references = [
        v for _, name, v in page.attributes if name in ("href", "src", "xlink:href", "action", "data")
    ]
    assert references and all(v.startswith("#") for v in references)
    script = (Path(page_module.__file__).parent / "templates" / "page.js").read_text(encoding="utf-8")
    assert text.count("<script") == 1 and f"<script>{script}</script>" in text
    checksum = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    rules = next(v for tag, _, v in page.attributes if tag == "meta" and v.startswith("default-src"))
    assert rules == (
        f"default-src 'none'; script-src 'sha256-{checksum}'; style-src 'unsafe-inline'; base-uri 'none';"
        " form-action 'none'"
    )


@pytest.mark.parametrize("run", ["one", "four"])
def test_names_in_the_page_are_unique_and_known(run, request):
    """Figures keep their own ids: none occurs twice, and every reference has its target."""
    text = write_report(request.getfixturevalue(run)).read_text(encoding="utf-8")
    page = Reader(text)
    ids = [v for _, name, v in page.attributes if name == "id"]
    assert len(ids) == len(set(ids))
    wanted = {v[1:] for _, name, v in page.attributes if name == "href"} | set(
        re.findall(r"url\(#([^)]+)\)", text)
    )
    wanted |= {v for _, name, v in page.attributes if name == "aria-labelledby"}
    assert wanted <= set(ids)


def test_drawings_follow_the_theme(one):
    """No ink of the figures is left as a fixed colour; each is a colour of the page's style sheet."""
    text = write_report(one).read_text(encoding="utf-8")
    drawings = "".join(re.findall(r'<svg role="img".*?</svg>', text, flags=re.DOTALL))
    assert not set(re.findall(r"#[0-9a-f]{6}\b(?=[;\"])", drawings))
    for name in inks.NAMES:
        assert text.count(f"--fig-{name}:") == 2, name


def test_both_themes_have_contrast(one):
    """Text and drawing inks stand out from their ground in light and dark (WCAG 2.1: 4.5, shapes 3)."""
    css = write_report(one).read_text(encoding="utf-8").split("</style>")[0]
    light, dark = css.split("@media screen and (prefers-color-scheme: dark)")
    for theme in (light, dark):
        ink = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", theme.split("* {")[0]))
        for name in ("ink", "soft"):
            for ground in ("paper", "card", "wash", "good-wash", "bad-wash"):
                assert contrast(ink[name], ink[ground]) >= 4.5, (name, ground)
        for name, ground in (("good", "good-wash"), ("bad", "bad-wash"), ("bad", "card")):
            assert contrast(ink[name], ink[ground]) >= 4.5, (name, ground)
        for name in inks.NAMES:
            if name not in ("grid", "paper"):
                assert contrast(ink[f"fig-{name}"], ink["card"]) >= 3, name


def test_light_inks_of_page_and_figures_agree(one):
    """The page's light theme shows the figures as the files do."""
    css = write_report(one).read_text(encoding="utf-8").split("</style>")[0]
    light = dict(re.findall(r"--fig-([a-z]+): (#[0-9a-f]{6})", css.split("@media")[0]))
    assert light == inks.NAMES


def test_a_run_in_which_everything_failed_still_has_a_page(tmp_path):
    """No numbers at all: the page opens with the verdict, counts the units and lists the failures."""
    folder = invented_run(tmp_path, units=10, failed=10)
    for name in ("summary", "drivers"):
        table = pd.read_csv(folder / f"{name}.csv")
        table.iloc[:0].to_csv(folder / f"{name}.csv", index=False)
    words = read(folder).words
    assert "No unit gave numbers that could be held against the limits." in words
    assert "10 runs of 10 units failed. They count against every yield." in " ".join(words)
    assert words[words.index("Virtual units") + 1] == "10"


def test_same_folder_gives_the_same_page(one):
    """No clock in the page: written twice it is the same."""
    assert write_report(one).read_bytes() == write_report(one).read_bytes()


def test_every_figure_is_in_the_page_with_its_caption(four):
    """Each drawing has a role, a name that is read out, a heading and a caption."""
    page = read(four)
    labels = [v for tag, name, v in page.attributes if tag == "svg" and name == "aria-label"]
    assert len(labels) == page.tags.count("figure") == page.tags.count("figcaption") == 9
    assert all(labels)


def test_the_loss_stands_below_the_margin(one):
    """The table of the nominal unit says what each band's noise margin costs: 15.5 dB cost 0.12 dB."""
    words = read(one).words
    at = words.index("SNR loss, dB")
    margins = [float(text.split(" ")[0]) for text in words[at - 3 : at]]
    losses = [float(text) for text in words[at + 1 : at + 4]]
    assert margins[0] == 15.5
    # hand calculation, 10 log10(1 + 10^(-M/10))
    assert losses == pytest.approx([10 * math.log10(1 + 10 ** (-margin / 10)) for margin in margins], abs=0.006)
