"""A run outside a model's range says so wherever its answer is read; and what a margin costs, through such a run."""

import json
import re

import pytest

from sim.cli import main
from tests.conftest import command
from tests.small_studies import measured, write_study

# 14.2 MHz lies above the range in which the wire was compared with NEC-2, 3.53 MHz within it.
BANDS = [3.53e6, 14.2e6]
WIRE = {"model": "ground-wire", "length": "60 m", "far_end": "300", "height": "10 cm"}
OUTSIDE = "14.2 MHz lies outside the range in which the antenna model ground-wire was checked (1.5 MHz to 8 MHz)."
# SNR lost at a margin M, 10 log10(1 + 10^(-M/10)), hand calculation: 10 dB and 6 dB. [dB, dB]
LOSSES = {10.0: 0.413927, 6.0: 0.973228}


def noise_of(levels):
    """A builder's own table: one level below each band's neighbourhood."""
    edges = [band * side for band in BANDS for side in (0.95, 1.05)]
    return {"frequencies": edges, "fa_db": [level for level in levels for _ in (0, 1)]}


@pytest.fixture(scope="module")
def outside(tmp_path_factory):
    """Folder of results, and what the terminal said, of a study whose noise makes margins of 10 and 6 dB."""
    folder = tmp_path_factory.mktemp("outside")
    tables = {"antenna": WIRE, "bands": {"frequencies": BANDS}, "run": {"units": 4, "build": 4}}
    (first,) = measured(write_study(folder, **tables, site={"noise": noise_of([60, 60])}))
    # Noise from outside rises decibel by decibel with the table.
    levels = [60 + wanted - found for wanted, found in zip(LOSSES, first["noise_margin_db"], strict=True)]
    path = write_study(folder, name="outside.toml", **tables, site={"noise": noise_of(levels)})
    done = command("run", path, folder=folder)
    assert done.returncode == 0, done.stderr
    return folder / "results" / "outside", done.stdout


def test_terminal_answer_and_report_warn(outside):
    """The band outside is named in the terminal, in answer.json and on the page; the band inside is not."""
    results, terminal = outside
    answer = json.loads((results / "answer.json").read_text(encoding="utf-8"))
    page = re.sub(r"<[^>]+>", " ", (results / "report.html").read_text(encoding="utf-8"))
    assert any(OUTSIDE in caution for caution in answer["cautions"])
    for text in (terminal, page):
        words = " ".join(text.split())
        assert OUTSIDE in words
        assert "3.53 MHz lies outside" not in words


def test_check_warns_before_anything_is_run(tmp_path, capsys, monkeypatch):
    """`bandfloor check` says the same."""
    monkeypatch.setenv("COLUMNS", "120")
    assert main(["check", str(write_study(tmp_path, antenna=WIRE, bands={"frequencies": BANDS}))]) == 0
    words = " ".join(capsys.readouterr().out.split())
    assert OUTSIDE in words
    assert "3.53 MHz lies outside" not in words


def test_what_a_margin_costs(outside):
    """Beside margins of 10 and 6 dB the answer states 0.414 and 0.973 dB of signal to noise lost, 0.005 dB."""
    results, _ = outside
    losses = json.loads((results / "answer.json").read_text(encoding="utf-8"))["snr_loss"]
    assert [entry["frequency_hz"] for entry in losses] == BANDS
    assert [entry["noise_margin_db"] for entry in losses] == pytest.approx(list(LOSSES), abs=1e-6)
    assert [entry["snr_loss_db"] for entry in losses] == pytest.approx(list(LOSSES.values()), abs=0.005)
