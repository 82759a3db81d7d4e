"""The table [stability] of a study, from its words to the answer."""

import json

import numpy as np
import pytest

from sim.errors import InputError
from sim.feedline.ends import OnePort, end_impedance
from sim.measures.panel import SINGLE
from sim.stability.judged import study_loads
from sim.steps.simulate import simulate
from sim.steps.summarise import main as summarise
from sim.study.read import read_study
from sim.tables import read_csv, read_parquet, write_csv
from tests.conftest import SMALL

TABLE = """
[stability]
cables = ["rg6-cu", "rg213"]
lengths = ["0.5 m", "2 m", "30 m"]
far_ends = ["open", "short", "matched", "unplugged"]
"""


def study_with(folder, table, text=SMALL, units=5):
    """The small study with another table."""
    path = folder / "study.toml"
    path.write_text(text.replace("units = 24", f"units = {units}") + table, encoding="utf-8")
    return read_study(path)


def lines_of(arrays):
    """The arrays about feedlines."""
    return {name: values for name, values in arrays.items() if name.startswith("lines_")}


def test_without_the_table_nothing_changes(tmp_path):
    """All numbers are the same bits with and without other feedlines, which add theirs; `stable` may differ."""
    plain, _ = simulate(study_with(tmp_path, ""), "1-of-1")
    more, _ = simulate(study_with(tmp_path, TABLE), "1-of-1")
    assert not lines_of(plain)
    for name in ("banded", "curves", "misfit"):
        assert plain[name].tobytes() == more[name].tobytes()
    others = [i for i, name in enumerate(SINGLE) if name != "stable"]
    assert plain["single"][..., others].tobytes() == more["single"][..., others].tobytes()
    assert np.isfinite(more["lines_margin"][:, :, :26]).all()


def test_any_chunks_give_the_same_bits(tmp_path):
    """The map is the same bits in chunks of six, three and two units."""
    study = study_with(tmp_path, TABLE)
    whole = lines_of(simulate(study, "1-of-1")[0])
    for chunks in (2, 3):
        parts = [lines_of(simulate(study, f"{k}-of-{chunks}")[0]) for k in range(1, chunks + 1)]
        for name, values in whole.items():
            assert np.concatenate([part[name] for part in parts], axis=1).tobytes() == values.tobytes()


BAD = """
title = "An op-amp from the drawer with nothing before the line"
[amplifier]
circuit = "transimpedance"
opamp = "NE5532"
[amplifier.parts]
Ro = "4.7"
[antenna]
model = "short-vertical"
height = "7 m"
radius = "8 mm"
[run]
units = 24
[limits]
stable = "> 0.5"
line_margin = "> 0.3"
"""


def test_a_bad_design_is_caught_in_words(tmp_path):
    """Matched and open the amplifier is stable; the table finds the shorted lines, counts units and names them."""
    study = study_with(tmp_path, TABLE, BAD, units=3)
    arrays, failures = simulate(study, "1-of-1")
    out = tmp_path / "out"
    np.savez(tmp_path / "chunk.npz", **arrays)
    write_csv(failures, tmp_path / "failures.csv", "failures.csv")
    study_file = str(tmp_path / "study.toml")
    chunks = ["--chunks", str(tmp_path / "chunk.npz"), "--failures", str(tmp_path / "failures.csv")]
    summarise([study_file, "--out", str(out), *chunks])
    table = read_csv(out / "stability.csv")
    assert len(table) == 2 * (3 * 4 + 1)
    short = table[(table["far_end"] == "short") & (table["length_m"] == 0.5)]
    assert (short["unstable"] == 3).all() and (short["units"] == 3).all()
    assert (table.loc[table["far_end"] == "matched", "unstable"] == 0).all()
    answer = json.loads((out / "answer.json").read_text(encoding="utf-8"))
    [entry] = answer["feedlines"]
    assert entry["stable"] is False and entry["unstable_units"] == 3 and entry["least_resistance"] < 0
    assert "not all units are stable" in " ".join(answer["verdict"])
    told = " ".join(answer["tried"])
    assert "Stable with every feedline: no, 3 of 3 units oscillate" in told
    assert "0.5 m of rg6-cu with the far end shorted: 3 of 3 units oscillate near" in told
    assert answer["passes"] is False
    measures = read_parquet(out / "measures.parquet")
    stable = measures.loc[measures["measure"] == "stable", "value"]
    assert (stable == 0).all()
    margin = measures.loc[measures["measure"] == "line_margin", "value"].to_numpy()
    assert margin == pytest.approx(arrays["lines_margin"][0].min(axis=1), rel=1e-6)


def test_a_measured_filter_at_the_far_end(tmp_path):
    """A Touchstone file stands for its impedance between its points and holds at its ends (hand calculation)."""
    (tmp_path / "filter.s1p").write_text("# MHz S RI R 50\n1 0 0\n2 0.5 0\n4 0 0.5\n", encoding="ascii")
    loads = study_loads(study_with(tmp_path, '[stability]\nfar_ends = ["filter.s1p"]\n'))
    end = loads[0].end
    assert isinstance(end, OnePort) and loads[0].end_name == "filter.s1p"
    z = end_impedance(end, 75.0, None, np.array([1e5, 1.5e6, 2e6, 1e9]))
    assert z == pytest.approx([50, 50 * 1.25 / 0.75, 150, 50 * (1 + 0.5j) / (1 - 0.5j)])


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("# MHz S RI R 50\n1 0 0\n2 1.2 0\n", "reflects more than it gets"),
        ("no numbers at all\n", "is not three numbers"),
        ("# MHz S RI R 50\n1 0 0\n", "fewer than two frequencies"),
    ],
)
def test_a_bad_file_is_refused(tmp_path, text, found):
    """A file that is no passive one-port is named, with what is wrong in it."""
    (tmp_path / "filter.s1p").write_text(text, encoding="ascii")
    study = study_with(tmp_path, '[stability]\nfar_ends = ["filter.s1p"]\n')
    with pytest.raises(InputError, match=found) as caught:
        study_loads(study)
    assert "filter.s1p" in str(caught.value)
