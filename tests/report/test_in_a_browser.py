"""The report as a browser shows it: nothing fetched, nothing broken, usable by keyboard and by ear, at three widths."""

from importlib.util import find_spec
from pathlib import Path

import pytest

from sim.report.page import write_report
from tests.report import browser as chromium

WIDTHS = (400, 900, 1400)
AXE = Path(found.origin).parent / "axe.min.js" if (found := find_spec("axe_core_python")) else None

pytestmark = [
    pytest.mark.skipif(chromium.program() is None, reason="no Chromium on this machine"),
    pytest.mark.skipif(AXE is None, reason="axe-core-python is not installed"),
]


@pytest.fixture(scope="module")
def tab(tmp_path_factory):
    """A browser for the tests of this module."""
    one = chromium.Browser(tmp_path_factory.mktemp("profile"))
    yield one
    one.close()


@pytest.fixture(scope="module", params=["one", "four"])
def page(request):
    """The report of a run with one and with four scenarios."""
    return write_report(request.getfixturevalue(request.param))


@pytest.mark.parametrize("width", WIDTHS)
def test_it_loads_alone_and_fits(tab, page, width):
    """Nothing but the file is asked for, the console stays empty, and the page is no wider than the window."""
    tab.open(page, width)
    assert tab.asked == [page.as_uri()]
    assert tab.console == []
    assert tab.run("innerWidth") == width
    assert tab.run("document.querySelectorAll('details').forEach(d => d.open = true)") is None
    assert tab.run("document.documentElement.scrollWidth") <= width


# What stands within a drawing is outlines, hidden from readers by its role and slow to walk: only the drawing itself,
# its role and its name are looked at.
LOOK = """document.querySelectorAll("svg[role=img]").forEach(drawn => drawn.replaceChildren());
    axe.run({runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"]}).then(r =>
    ({bad: r.violations.map(v => [v.id, v.nodes.slice(0, 3).map(n => [n.html.slice(0, 200), n.failureSummary])]),
      passed: r.passes.map(v => v.id)}))"""


# Two of the six run each time; the others, seconds each, with -m slow, as CI asks for.
VIEWS = [
    pytest.param(width, scheme, marks=[] if (width, scheme) in ((400, "dark"), (1400, "light")) else pytest.mark.slow)
    for width in WIDTHS
    for scheme in ("light", "dark")
]


@pytest.mark.parametrize(("width", "scheme"), VIEWS)
def test_axe_finds_nothing(tab, page, width, scheme):
    """No violation of axe-core's rules for WCAG 2 A and AA and of its best practice, with all that is folded open."""
    tab.open(page, width, scheme)
    tab.run(AXE.read_text(encoding="utf-8") + ";0")
    tab.run("document.querySelectorAll('details').forEach(d => d.open = true)")
    found = tab.run(LOOK)
    assert found["bad"] == []
    # That it looked at all: these rules had something to judge.
    assert {"color-contrast", "region", "heading-order", "document-title", "svg-img-alt"} <= set(found["passed"])


def test_axe_would_find_it(tab, page, tmp_path):
    """The check is none that cannot fail: soft text made softer, and a heading left out, are found."""
    text = page.read_text(encoding="utf-8").replace("--soft: #56606a", "--soft: #c0c0c0")
    spoilt = tmp_path / "spoilt.html"
    spoilt.write_text(text.replace("<h1>", "<h6>").replace("</h1>", "</h6>"), encoding="utf-8")
    tab.open(spoilt)
    tab.run(AXE.read_text(encoding="utf-8") + ";0")
    found = [rule for rule, _ in tab.run(LOOK)["bad"]]
    assert {"color-contrast", "page-has-heading-one"} <= set(found)


def test_every_anchor_leads_somewhere_that_shows(tab, page):
    """Links lead to ids that are there once, and following one opens what hides its target."""
    tab.open(page)
    ids = tab.run("[...document.querySelectorAll('[id]')].map(e => e.id)")
    assert len(ids) == len(set(ids))
    links = tab.run("[...document.querySelectorAll('a')].map(a => a.getAttribute('href'))")
    assert len(links) > 5 and {link[1:] for link in links} <= set(ids) and all(link[0] == "#" for link in links)
    hidden = tab.run("document.querySelector('details:not([open]) figure').id")
    shows = tab.run(f"""new Promise(done => {{ location.hash = "{hidden}"; setTimeout(() =>
        done(document.getElementById("{hidden}").checkVisibility()), 100); }})""")
    assert shows is True


COLUMN = """[...document.querySelectorAll('#nominal table')].map(t =>
    [...t.tBodies[0].rows].map(r => r.cells[0].textContent))[0]"""


def test_tables_sort_by_keyboard(tab, page):
    """Enter on a heading's button sorts upwards, Space then downwards, again as written; aria-sort says which."""
    tab.open(page)
    written = tab.run(COLUMN)
    tab.run("document.querySelector('#nominal thead button').focus()")
    state = "document.querySelector('#nominal thead th').getAttribute('aria-sort')"
    tab.press("Enter", "\r")
    up = tab.run(COLUMN)
    assert tab.run(state) == "ascending" and up == sorted(written, key=str.casefold) != written
    tab.press(" ", " ")
    assert tab.run(state) == "descending" and tab.run(COLUMN) == up[::-1]
    tab.press("Enter", "\r")
    assert tab.run(state) is None and tab.run(COLUMN) == written


SORTED = ["−3 dB", "820 mV", "1.2 V", "<4.7 V", "12.5 (0.3) V", "1 kHz", "2 MHz", "–"]


def test_numbers_sort_as_numbers_with_units(tab, page, tmp_path):
    """Signs, prefixes of units and spreads are understood; what has no number stands last, either way."""
    text = page.read_text(encoding="utf-8")
    shuffled = [SORTED[place] for place in (7, 3, 0, 6, 2, 5, 1, 4)]
    rows = "".join(f"<tr><th>x</th><td>{cell.replace('<', '&lt;')}</td></tr>" for cell in shuffled)
    table = f'<table class="sorts" id="mine"><thead><tr><th>a</th><th>b</th></tr></thead><tbody>{rows}</tbody></table>'
    own = tmp_path / "own.html"
    own.write_text(text.replace("</main>", table + "</main>"), encoding="utf-8")
    tab.open(own)
    cells = "[...document.querySelectorAll('#mine td')].map(c => c.textContent)"
    tab.run("document.querySelectorAll('#mine button')[1].click()")
    assert tab.run(cells) == SORTED
    tab.run("document.querySelectorAll('#mine button')[1].click()")
    assert tab.run(cells) == [*SORTED[-2::-1], "–"]


def test_the_first_tab_skips_to_the_answer(tab, page):
    """The first stop of the keyboard is the link to the answer, and it can then be seen."""
    tab.open(page)
    tab.press("Tab")
    assert tab.run("document.activeElement.getAttribute('href')") == "#answer"
    assert tab.run("document.activeElement.getBoundingClientRect().left") >= 0


def test_the_verdict_is_on_the_first_screen(tab, page):
    """At every width the verdict stands within the first 900 pixels."""
    for width in WIDTHS:
        tab.open(page, width)
        assert tab.run("document.querySelector('.verdict').getBoundingClientRect().bottom") < 900


def test_without_scripts_nothing_is_missing(tab, page):
    """With scripts off no heading is a dead button, and every table's words are there."""
    tab.open(page, scripts=False)
    assert tab.run("document.querySelectorAll('thead button').length") == 0
    bare = tab.run("document.querySelector('main').textContent.replace(/\\s+/g, ' ')")
    tab.open(page)
    assert tab.run("document.querySelectorAll('thead button').length") > 5
    assert tab.run("document.querySelector('main').textContent.replace(/\\s+/g, ' ')") == bare


def test_paper_is_light_and_unfolded(tab, page):
    """Printed from the dark scheme the ground is white, what was folded shows, and links of the screen are gone."""
    tab.open(page, scheme="dark")
    tab.look("dark", "print")
    assert tab.run("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert tab.run("document.querySelector('.contents').checkVisibility()") is False
    folded = "[...document.querySelectorAll('details:not([open]) figure')].map(e => e.checkVisibility())"
    shown = tab.run(folded)
    assert shown and all(shown)
    assert tab.paper().startswith(b"%PDF")
    tab.look("light", "screen")


def test_a_foreign_script_does_not_run(tab, page, tmp_path):
    """Were a text to get through as markup, the page's own rules would still keep it from running or fetching."""
    text = page.read_text(encoding="utf-8")
    evil = '<script>window.hit = 1</script><img src="https://localhost:9/x.png" onerror="window.hit = 2">'
    spoilt = tmp_path / "spoilt.html"
    spoilt.write_text(text.replace("</main>", evil + "</main>"), encoding="utf-8")
    tab.open(spoilt)
    assert tab.run("window.hit") is None
    assert len(tab.console) >= 2 and all("Content Security Policy" in line for line in tab.console)
