"""Faults in decks written by hand, with an op-amp of four controlled sources: no line of them is the program's."""

import subprocess
from pathlib import Path

import numpy as np
import pytest

from sim.diagnosis.diagnose import diagnose
from sim.measured.sweep import Sweep

DECKS = Path(__file__).resolve().parent.parent / "circuits" / "faults"


def _swept(name: str, folder: Path) -> Sweep:
    subprocess.run(["ngspice", "-b", DECKS / name], cwd=folder, capture_output=True, timeout=60, check=True)
    table = np.loadtxt(folder / "sweep.data")
    return Sweep(name, name, table[:, 0], table[:, 1] + 1j * table[:, 2], None)


@pytest.mark.parametrize(
    ("deck", "key"),
    [
        ("transimpedance-swapped.cir", "Cc<>Cf"),
        ("transimpedance-slow.cir", "op0:slow"),
        ("transimpedance-output-1n.cir", "Co=1nF"),
        ("follower-bias-10k.cir", "Rg=10kΩ"),
        ("follower-stopper-1k.cir", "Rin=1kΩ"),
    ],
)
def test_a_fault_by_hand_is_in_the_first_group(deck, key, tmp_path, request):
    """The fault that was written into the deck is named first, or beside what looks the same."""
    one = request.getfixturevalue("transimpedance" if deck.startswith("trans") else "follower")
    found = diagnose(one.study, _swept(deck, tmp_path), book=one.book)
    assert found.verdict == "fault"
    assert key in [member.key for member in found.groups[0].members]


@pytest.mark.parametrize("deck", ["transimpedance-good.cir", "follower-good.cir"])
def test_a_good_deck_by_hand_is_good(deck, tmp_path, request):
    """Nothing is found wrong with what is right, though another hand wrote its op-amp."""
    one = request.getfixturevalue("transimpedance" if deck.startswith("trans") else "follower")
    assert diagnose(one.study, _swept(deck, tmp_path), book=one.book).verdict == "good"
