"""What makes a figure readable: no text upon text, nothing off the sheet, no line told by colour alone."""

import itertools

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from sim.plots import inks, style
from sim.plots.figures import write_figures
from tests.plots.invented import invented_run


def drawn(monkeypatch, folder):
    """The figures of a run, kept instead of written."""
    kept = {}
    monkeypatch.setattr(style, "save", lambda figure, path: kept.setdefault(path.stem, figure))
    write_figures(folder)
    return kept


def boxes(figure):
    """Text and outline of every visible text, in pixels, as laid out."""
    figure.set_dpi(300)  # coarse pixels would widen the letters
    renderer = FigureCanvasAgg(figure).get_renderer()
    figure.draw(renderer)
    unseen = set().union(*(_ticks_out_of_view(panel) for panel in figure.axes))
    texts = [t for t in figure.findobj(Text) if t.get_visible() and t.get_text().strip() and t not in unseen]
    inside = []
    for text in texts:
        # Annotation boxes would include their leader lines; the letters alone matter.
        box = Text.get_window_extent(text, renderer)
        inside.append((text.get_text(), box))
    return inside, figure.bbox


def _ticks_out_of_view(panel):
    out = set()
    for axis in (panel.xaxis, panel.yaxis):
        shown = {id(tick) for tick in axis._update_ticks()}
        for tick in (*axis.majorTicks, *axis.minorTicks):
            if id(tick) not in shown:
                out |= {tick.label1, tick.label2}
    return out


@pytest.mark.parametrize("scenarios", [1, 2, 4, 8])
def test_no_label_stands_on_another_or_off_the_sheet(scenarios, monkeypatch, tmp_path):
    """In every figure, for one to eight scenarios, texts keep clear of each other and within the sheet."""
    folder = invented_run(tmp_path, scenarios=scenarios, units=60)
    with style.drawing():
        for name, figure in drawn(monkeypatch, folder).items():
            found, sheet = boxes(figure)
            assert found
            for text, box in found:
                assert box.x0 >= sheet.x0 - 1 and box.x1 <= sheet.x1 + 1, (name, text)
                assert box.y0 >= sheet.y0 - 1 and box.y1 <= sheet.y1 + 1, (name, text)
            for (a, first), (b, second) in itertools.combinations(found, 2):
                wide = min(first.x1, second.x1) - max(first.x0, second.x0)
                high = min(first.y1, second.y1) - max(first.y0, second.y0)
                # Boxes include the line's leading: letters touch only where both overlap by more.
                assert wide < 2 or high < 8, (name, a, b)


def test_long_names_are_cut_not_spilled(monkeypatch, tmp_path):
    """A scenario with a very long name keeps within the sheet."""
    import pandas as pd

    folder = invented_run(tmp_path, scenarios=3, units=40)
    long = [f"circuits/of-my-own/really-long-amplifier-name-{i}.cir" for i in range(3)]
    pd.DataFrame({"scenario": [1, 2, 3], "amplifier.circuit": long}).to_csv(
        folder / "scenarios.csv", index=False
    )
    with style.drawing():
        for name, figure in drawn(monkeypatch, folder).items():
            found, sheet = boxes(figure)
            for text, box in found:
                assert box.x0 >= sheet.x0 - 1 and box.x1 <= sheet.x1 + 1, (name, text)


def test_lines_differ_in_more_than_ink():
    """No two line families share a dash pattern or a marker."""
    assert len({str(f.dash) for f in style.FAMILIES}) == len(style.FAMILIES) >= 8
    assert len({f.marker for f in style.FAMILIES}) == len(style.FAMILIES)


def test_inks_stand_out_from_paper():
    """Inks of small text have a contrast of at least 4.5 to the paper (WCAG 2.1, 1.4.3)."""
    for name, ink in inks.NAMES.items():
        if name not in ("grid", "paper", "steel", "forbidden"):
            assert contrast(ink, inks.PAPER) >= 4.5, name
    # Shapes and lines without words need 3 (WCAG 2.1, 1.4.11).
    assert contrast(inks.STEEL, inks.PAPER) >= 3 and contrast(inks.FORBIDDEN, inks.PAPER) >= 3


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, WCAG 2.1 definition of relative luminance."""
    levels = sorted((_luminance(one), _luminance(other)))
    return (levels[1] + 0.05) / (levels[0] + 0.05)


def _luminance(ink: str) -> float:
    channels = [int(ink[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
