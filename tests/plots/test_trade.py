"""The picture of a swept choice: what it shows, and that it can be read."""

import itertools
import json

import numpy as np
import pandas as pd
import pytest

from sim.plots import choice, style, trade
from sim.plots.figures import write_figures
from sim.study.swept import Swept
from sim.summary.entries import losses
from sim.summary.optimum import optima
from tests.plots.invented import invented_run
from tests.plots.test_legible import boxes

KEY = "amplifier.parts.Cc"


def run(folder, values, numbers):
    """An invented run of a sweep, with the optimum that the answer would name."""
    invented_run(folder, scenarios=len(values), units=60)
    table = pd.DataFrame({"scenario": range(1, len(values) + 1), KEY: values})
    table.to_csv(folder / "scenarios.csv", index=False)
    summary = pd.read_csv(folder / "summary.csv")
    entries = [
        {"scenario": n, "values": {KEY: value}, "passes": n > 1, "yield": 0.5 if n == 1 else 1.0, "worst": None}
        for n, value in enumerate(values, start=1)
    ]
    found = optima((Swept(KEY, dict(zip(table["scenario"], numbers, strict=True))),), entries, losses(summary))
    answer = json.loads((folder / "answer.json").read_text()) | {"optima": found}
    (folder / "answer.json").write_text(json.dumps(answer))
    return found, summary


SWEEPS = (
    (["10p", "47p", "220p", "1n", "4.7n"], [1e-11, 4.7e-11, 2.2e-10, 1e-9, 4.7e-9]),
    (["10p", "11p", "12p"], [1e-11, 1.1e-11, 1.2e-11]),
    ([f"{n} kohm 1% thick-film" for n in range(10, 34)], [1e3 * n for n in range(10, 34)]),
    (["0", "30 m", "400 m"], [0, 30, 400]),
)


@pytest.mark.parametrize(("values", "numbers"), SWEEPS)
def test_it_can_be_read(values, numbers, tmp_path, monkeypatch):
    """Whatever is swept, texts keep clear of each other and within the sheet."""
    run(tmp_path, values, numbers)
    kept = {}
    monkeypatch.setattr(style, "save", lambda figure, path: kept.setdefault(path.stem, figure))
    with style.drawing():
        write_figures(tmp_path)
        found, sheet = boxes(kept["trade-1"])
    for text, box in found:
        assert box.x0 >= sheet.x0 - 1 and box.x1 <= sheet.x1 + 1, text
        assert box.y0 >= sheet.y0 - 1 and box.y1 <= sheet.y1 + 1, text
    for (a, first), (b, second) in itertools.combinations(found, 2):
        wide = min(first.x1, second.x1) - max(first.x0, second.x0)
        high = min(first.y1, second.y1) - max(first.y0, second.y0)
        assert wide < 2 or high < 8, (a, b)


def test_what_is_drawn(tmp_path):
    """Gain, noise margin, the loss that follows from it and stability, each at its own values; limits are in view."""
    [one], summary = run(tmp_path, *SWEEPS[0])
    with style.drawing():
        panels = trade.trade(one, summary, [one]).axes
    titles = [panel.get_title(loc="left") for panel in panels]
    assert titles == [
        "System gain, dB",
        "Bench gain, dB",
        "Noise margin, dB",
        "Loss of signal to noise, dB",
        "Stability margin",
    ]
    assert [panel.get_xscale() for panel in panels] == ["log"] * 5
    margin, loss = panels[2], panels[3]
    low, high = margin.get_ylim()
    assert low < 10 < high
    rows = summary[(summary["measure"] == "noise_margin_db") & np.isclose(summary["frequency_hz"], 1.83e6)]
    nominal = rows.sort_values("scenario")["nominal"].to_numpy()
    drawn = [line.get_ydata() for line in loss.lines if len(line.get_ydata()) == 5]
    # Loss of signal to noise from the margin: noise equation of ITU-R P.372.
    np.testing.assert_allclose(drawn[0], 10 * np.log10(1 + 10 ** (-nominal / 10)))


def test_values_without_best_are_drawn_all_the_same(tmp_path):
    """Where no value keeps every limit the picture has no mark and still shows why."""
    [one], summary = run(tmp_path, *SWEEPS[0])
    none = one | {"best": None, "flat": None, "keeps": [False] * 5}
    with style.drawing():
        texts = [text.get_text() for text in trade.trade(none, summary).axes[0].texts]
    assert not any(text.startswith("best") for text in texts)


def test_the_best_is_among_the_scenarios_that_are_drawn(tmp_path):
    """Of many values the pictures keep the first, the best and the worst ones, and say so."""
    [one], summary = run(tmp_path, *SWEEPS[2])
    table = pd.read_csv(tmp_path / "scenarios.csv", dtype=str)
    best = choice.best_of({"optima": [one]})
    shown = choice.shown_scenarios(table, summary, best=best)
    assert len(shown.numbers) == 8 and best[0] in shown.numbers and "the best" in shown.note


@pytest.mark.parametrize(
    ("text", "short"),
    [("56p 2% C0G", "56p"), ("30 m", "30 m"), ("10 kohm 1%", "10 kohm"), ("0", "0"), ("75 lot", "75")],
)
def test_ticks_name_values_alone(text, short):
    """Tolerance and words do not belong to a tick."""
    assert trade.value_text(text) == short
