"""The same bits for any chunking, and for the same part beside any others."""

import numpy as np
import pytest

from sim.deck.build import chain_of, unit_table
from sim.measures.panel import BANDED
from sim.steps.layout import chunk_units
from sim.steps.simulate import simulate
from sim.study.read import read_study
from tests.conftest import ROOT, SMALL


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """The small study with a number of units that no chunking divides."""
    path = tmp_path_factory.mktemp("bits") / "study.toml"
    path.write_text(SMALL.replace("units = 24", "units = 13"), encoding="utf-8")
    return read_study(path)


def _together(study, chunks: int):
    parts = [simulate(study, f"{k}-of-{chunks}")[0] for k in range(1, chunks + 1)]
    return {
        key: np.concatenate([part[key] for part in parts], axis=1) for key in ("banded", "single", "curves", "misfit")
    }


def test_three_chunk_sizes_give_the_same_bits(study):
    """13 units in chunks of 13, about 4 and about 2 have bitwise equal results."""
    whole = _together(study, 1)
    one_input = [k for k, name in enumerate(BANDED) if name != "cmrr_db"]
    assert np.isfinite(whole["banded"][:, :, one_input]).all()
    for chunks in (3, 6):
        cut = _together(study, chunks)
        for key, values in whole.items():
            assert values.tobytes() == cut[key].tobytes(), (key, chunks)


def test_two_inputs_give_the_same_bits(tmp_path):
    """So have units of a balanced amplifier, whose bench is solved three equations at a time."""
    text = (ROOT / "studies" / "short-dipole.toml").read_text(encoding="utf-8")
    (tmp_path / "s.toml").write_text(text.replace("units = 300", "units = 4"), encoding="utf-8")
    found = read_study(tmp_path / "s.toml")
    whole, cut = _together(found, 1), _together(found, 2)
    assert np.isfinite(whole["banded"]).all()
    for key, values in whole.items():
        assert values.tobytes() == cut[key].tobytes(), key


@pytest.mark.parametrize(("units", "chunks"), [(1, 1), (7, 3), (100, 8), (5, 5)])
def test_chunks_cover_every_unit_once(units, chunks):
    """Unit 0 is in the first chunk and nobody is left out."""
    found = [unit for k in range(1, chunks + 1) for unit in chunk_units(f"{k}-of-{chunks}", units)]
    assert found == list(range(units + 1))


def test_a_part_added_moves_no_other_draw(study, tmp_path):
    """The circuit with one more resistor draws all other parts and dies as before."""
    from pathlib import Path

    from sim.paths import CIRCUITS

    text = (CIRCUITS / "amplifiers" / "transimpedance.cir").read_text(encoding="utf-8")
    more = text.replace("Ro    lin", "Rx    out  gnd  10k    ; 5% thick-film  one part more\nRo    lin")
    (tmp_path / "more.cir").write_text(more, encoding="utf-8")
    (tmp_path / "study.toml").write_text(SMALL.replace('"transimpedance"', '"more.cir"'), encoding="utf-8")
    other = read_study(Path(tmp_path / "study.toml"))
    units = np.arange(30)
    before = unit_table(study, chain_of(study), units)
    after = unit_table(other, chain_of(other), units)
    assert set(after) - set(before) == {"Rx"}
    for name, values in before.items():
        assert values.tobytes() == after[name].tobytes(), name
