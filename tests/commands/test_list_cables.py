"""What `bandfloor list cables` tells a builder."""

from sim.cli import main


def test_list_of_cables_says_by_what_and_how_far(capsys, monkeypatch):
    """Each cable with loop resistance, losses, model and range; 12.7 ohm and 1.07 dB are rg6-ccs's (37 um)."""
    monkeypatch.setenv("COLUMNS", "140")
    assert main(["list", "cables"]) == 0
    said = capsys.readouterr().out
    lines = {line.split()[0]: " ".join(line.split()) for line in said.splitlines() if line.strip()}
    assert lines["rg6-ccs"].startswith("rg6-ccs 75 Ω 12.7 Ω 1.07 dB 1.53 dB layered 0–1000 MHz 75 ohm, 18 AWG")
    assert " law 1–200 MHz " in lines["rg58"]
    assert "docs/own-cable.md" in said
