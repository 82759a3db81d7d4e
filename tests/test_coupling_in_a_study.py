"""A coupling capacitor swept over preferred values, from the study to the answer, the picture and the page."""

import json

import numpy as np
import pytest

from sim.tables import read_csv
from tests.conftest import command

STUDY = """\
title = "Coupling capacitor"
[amplifier]
circuit = "transimpedance"
opamp = "OPA2822"
[amplifier.parts]
Cc = "1n 2% C0G"
[antenna]
model = "short-vertical"
height = "7 m"
radius = "8 mm"
[bands]
frequencies = ["1.83M", "3.53M", "7.05M"]
[run]
units = 6
[[vary]]
what = "amplifier.parts.Cc"
values = "E3 47p..1n"
[limits]
system_gain_db = "> 4"
noise_margin_db = "> 10"
stable = "> 0.5"
"""
CAPACITORS = (47e-12, 100e-12, 220e-12, 470e-12, 1e-9)


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    """Results folder of the sweep, and what the terminal said."""
    folder = tmp_path_factory.mktemp("coupling")
    (folder / "sweep.toml").write_text(STUDY, encoding="utf-8")
    done = command("run", "sweep.toml", "--out", "out", folder=folder)
    assert done.returncode == 0, done.stderr
    return folder / "out", done.stdout


def test_gain_follows_the_capacitive_divider(swept):
    """A charge amplifier's gain goes with the dummy and Cc in series: 47 pF·Cc/(47 pF + Cc) (closed form, by hand).

    Above the corners, at 3.53 MHz; stray and the op-amp's finite gain change the step from value to value by 0.1 dB.
    """
    summary = read_csv(swept[0] / "summary.csv")
    rows = summary[(summary["measure"] == "gain_db") & np.isclose(summary["frequency_hz"], 3.53e6)]
    gain = rows.sort_values("scenario")["nominal"].to_numpy()
    series = np.array([47e-12 * cc / (47e-12 + cc) for cc in CAPACITORS])
    np.testing.assert_allclose(np.diff(gain), np.diff(20 * np.log10(series)), atol=0.1)


def test_the_answer_names_the_best(swept):
    """The optimum is the least loss of those that keep every limit, and stands in answer, terminal and page."""
    out, said = swept
    answer = json.loads((out / "answer.json").read_text(encoding="utf-8"))
    [one] = answer["optima"]
    assert one["numbers"] == list(CAPACITORS) and one["values"] == ["47p", "100p", "220p", "470p", "1n"]
    passing = set(answer["passing"])
    assert 0 not in passing and {1, 2, 3, 4} >= passing and passing
    worst = {n: max(e["snr_loss_db"] for e in answer["snr_loss"] if e["scenario"] == n) for n in passing}
    assert one["best"]["scenario"] == min(worst, key=worst.get)
    assert answer["best"][0] == one["best"]["scenario"]
    page = (out / "report.html").read_text(encoding="utf-8")
    assert "Best Cc: 1n, which of the values" in said and "Best Cc: 1n, which of the values" in page
    assert "have no say in the best value" in " ".join(said.split())
    assert (out / "figures" / "trade-1.svg").is_file() and 'id="figure-trade-1"' in page


def test_the_noise_rise_is_what_the_margin_makes_of_it(swept):
    """Connected over disconnected noise is 1 + margin in power (noise equation of ITU-R P.372), and it is said."""
    out, said = swept
    answer = json.loads((out / "answer.json").read_text(encoding="utf-8"))
    margins = {(e["scenario"], e["frequency_hz"]): e["noise_margin_db"] for e in answer["snr_loss"]}
    assert len(answer["noise_rise"]) == len(margins) == 15
    for entry in answer["noise_rise"]:
        margin = margins[entry["scenario"], entry["frequency_hz"]]
        assert entry["noise_rise_db"] == pytest.approx(10 * np.log10(1 + 10 ** (margin / 10)), abs=1e-6)
        assert entry["p05_db"] <= entry["p95_db"]
    assert "plug the antenna in, and the noise must rise by" in " ".join(said.split())
    assert "quiet-rural noise at its median" in " ".join(said.split())


def test_the_page_has_the_loss_beside_the_margin(swept):
    """Every choice's row shows what its smallest margin costs, as the answer has it."""
    out, _ = swept
    answer = json.loads((out / "answer.json").read_text(encoding="utf-8"))
    page = (out / "report.html").read_text(encoding="utf-8")
    table = page[page.index('id="scenarios"') :]
    table = table[: table.index("</table>")]
    assert "SNR loss, dB" in table
    for number in range(5):
        worst = max(entry["snr_loss_db"] for entry in answer["snr_loss"] if entry["scenario"] == number)
        assert f">{worst:.2f}<" in table
