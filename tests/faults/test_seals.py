"""Seals: only what is whole and of the same inputs counts, whatever the times of files say."""

import json
import os
import time

import pytest

from sim.commands.run import SCRATCH, _scratch
from sim.steps.layout import mark_inputs
from sim.steps.seal import (
    FIGURES,
    MARK,
    REPORT,
    SAMPLED,
    SUMMARISED,
    is_complete,
    marked,
    outputs,
    renewed,
    seal,
    settle,
    standing,
    take_away_report,
)
from tests.conftest import ROOT, command
from tests.small_studies import write_study

CHUNKS = tuple(f"chunks/{i}-of-2{ending}" for i in (1, 2) for ending in (".npz", "-failures.csv"))


def _put(out, names):
    for name in names:
        (out / name).parent.mkdir(parents=True, exist_ok=True)
        (out / name).write_text(f"content of {name}", encoding="utf-8")
    return [out / name for name in names]


@pytest.fixture
def out(tmp_path):
    """A folder with a mark, its units drawn, and both chunks simulated: 13 and 12 runs."""
    _put(tmp_path, [f"logs/{MARK}"])
    (tmp_path / "logs" / MARK).write_text("one\n", encoding="ascii")
    seal(tmp_path, "sample", "one", _put(tmp_path, SAMPLED))
    seal(tmp_path, "simulate-1-of-2", "one", _put(tmp_path, CHUNKS[:2]), 13)
    seal(tmp_path, "simulate-2-of-2", "one", _put(tmp_path, CHUNKS[2:]), 12)
    return tmp_path


def _finish(out):
    for name in CHUNKS:
        (out / name).unlink()
    seal(out, "summarise", "one", _put(out, SUMMARISED), 25)
    seal(out, "figures", "one", _put(out, [FIGURES, "figures/a.svg"]))
    seal(out, "report", "one", _put(out, [REPORT]))


def _newer(one, other):
    return one.stat().st_mtime > other.stat().st_mtime


def test_files_named_here_are_those_of_the_pipeline():
    """What is sealed is what the rules of the Snakefile make."""
    text = (ROOT / "Snakefile").read_text(encoding="utf-8")
    for name in (*SAMPLED, *SUMMARISED, FIGURES, REPORT):
        assert f'OUT / "{name}"' in text, name


def test_what_is_kept_is_counted(out):
    """Runs of whole chunks of these inputs, then of the tables that were made of them; nothing of other inputs."""
    assert standing(out, "one").runs == 25
    assert standing(out, "two").runs == 0
    assert not standing(out, "one").complete
    (out / CHUNKS[0]).unlink()
    assert standing(out, "one").runs == 12
    _put(out, CHUNKS)
    _finish(out)
    assert standing(out, "one").runs == 25
    assert standing(out, "two").complete
    assert is_complete(out, "one")
    assert not is_complete(out, "two")


@pytest.mark.parametrize("shift_s", [-1e9, 0, 1e9])
def test_times_of_files_do_not_count(out, shift_s):
    """Whatever a clock did, what is sealed comes after the mark, in the order of the steps, all of it in the past."""
    for number, path in enumerate([*outputs(out), out / "logs" / MARK]):
        os.utime(path, (time.time() + shift_s, time.time() + shift_s - number))
    assert settle(out, "one") == []
    for name in SAMPLED:
        assert _newer(out / name, out / "logs" / MARK)
        assert _newer(out / CHUNKS[0], out / name)
    assert all(path.stat().st_mtime < time.time() for path in outputs(out))


def test_results_of_other_inputs_come_before_the_mark(out):
    """A study changed under results from the future: all of them are older than the mark, so they are made again."""
    for path in outputs(out):
        os.utime(path, (time.time() + 1e8, time.time() + 1e8))
    (out / "logs" / MARK).write_text("two\n", encoding="ascii")
    assert settle(out, "two") == []
    assert all(_newer(out / "logs" / MARK, path) for path in outputs(out))


@pytest.mark.parametrize("harm", ["short", "empty", "flipped"])
def test_a_damaged_file_is_removed(out, harm):
    """Cut short, emptied or one bit turned: the file goes, and what it was counted for, the other chunk stays."""
    path = out / CHUNKS[2]
    raw = path.read_bytes()
    path.write_bytes({"short": raw[:-3], "empty": b"", "flipped": bytes([raw[0] ^ 1]) + raw[1:]}[harm])
    assert settle(out, "one") == [CHUNKS[2]]
    assert not path.exists()
    assert standing(out, "one").runs == 13


def test_a_file_without_a_seal_is_made_again(out):
    """A step that was killed between its file and its seal has not finished it."""
    (out / "logs" / "simulate-1-of-2.seal").unlink()
    settle(out, "one")
    assert _newer(out / "logs" / MARK, out / CHUNKS[0])
    assert _newer(out / CHUNKS[2], out / "logs" / MARK)


@pytest.mark.parametrize("text", ["", "{", "[]", '{"mark": 1}', '{"mark": "one", "runs": "x", "files": {}}', "\x00"])
def test_a_damaged_seal_is_none(out, text):
    """Whatever stands in a seal that was cut short, the step is done again."""
    (out / "logs" / "simulate-1-of-2.seal").write_text(text, encoding="utf-8")
    assert standing(out, "one").runs == 12


@pytest.mark.parametrize("name", ["../other.txt", "chunks/../../other.txt", "notes.txt", "ABSOLUTE"])
def test_a_seal_that_names_other_files_is_none(out, name):
    """A folder of results may come from anybody: its seals cannot have files removed that no run makes."""
    other = out.parent / "other.txt"
    for path in (other, out / "notes.txt"):
        path.write_text("mine", encoding="utf-8")
    name = str(other) if name == "ABSOLUTE" else name
    text = json.dumps({"mark": "one", "runs": 5, "files": {name: [1, "0" * 64]}})
    (out / "logs" / "summarise.seal").write_text(text, encoding="utf-8")
    assert settle(out, "one") == []
    assert other.read_text(encoding="utf-8") == (out / "notes.txt").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("name", ["logs", "chunks", "figures"])
def test_a_folder_that_leads_elsewhere_is_refused(tmp_path, name):
    """A link in the results folder is not followed, and nothing behind it is taken away."""
    elsewhere, out = tmp_path / "elsewhere", tmp_path / "out"
    (elsewhere / "scratch").mkdir(parents=True)
    (elsewhere / "scratch" / "mine.txt").write_text("mine", encoding="utf-8")
    out.mkdir()
    (out / name).symlink_to(elsewhere)
    done = command("run", write_study(tmp_path, run={"units": 2}), "--out", out, folder=tmp_path)
    assert done.returncode == 1 and f"{out / name}: is a link to another place." in done.stderr
    assert [path.name for path in elsewhere.iterdir()] == ["scratch"] and (elsewhere / "scratch" / "mine.txt").is_file()


def test_a_scratch_folder_that_leads_elsewhere_is_unlinked(tmp_path):
    """What stands behind a link in the scratch folder's place is not cleared away with it."""
    elsewhere, out = tmp_path / "elsewhere", tmp_path / "out"
    elsewhere.mkdir()
    (elsewhere / "mine.txt").write_text("mine", encoding="utf-8")
    (out / "logs").mkdir(parents=True)
    (out / "logs" / SCRATCH).symlink_to(elsewhere)
    with _scratch(out) as own:
        assert own.is_dir() and not own.is_symlink()
    assert (elsewhere / "mine.txt").is_file() and not own.exists()


def test_complete_results_keep_their_times(out):
    """A run with nothing to do changes nothing."""
    _finish(out)
    before = {path: path.stat().st_mtime_ns for path in outputs(out)}
    assert settle(out, "one") == []
    assert {path: path.stat().st_mtime_ns for path in outputs(out)} == before


def test_leftovers_of_killed_steps_are_cleared_away(out):
    """Half-written files go; files of the user's own stay as they are."""
    half = _put(out, [".units.parquet.x1.part", "chunks/.1-of-2.npz.x2.part", "figures/.a.svg.x3.part"])
    (mine,) = _put(out, ["my notes.part"])
    os.utime(mine, (1e9, 1e9))
    settle(out, "one")
    assert not any(path.exists() for path in half)
    assert mine.stat().st_mtime == 1e9


def test_no_report_beside_tables_that_change(out):
    """The report goes first, so that one that is there is of the tables beside it."""
    _finish(out)
    take_away_report(out)
    assert not (out / REPORT).exists()
    assert not standing(out, "one").complete


def test_a_report_written_again_is_sealed_again(out):
    """An order puts its section into the report; that is no damage."""
    _finish(out)
    (out / REPORT).write_text("with an order", encoding="utf-8")
    renewed(out, "report", [out / REPORT])
    assert settle(out, "one") == []
    assert is_complete(out, "one")


def test_a_step_by_hand_seals_nothing(tmp_path):
    """Where no run marked the folder there is nothing to go on from."""
    seal(tmp_path, "sample", marked(tmp_path), _put(tmp_path, SAMPLED))
    assert not list(tmp_path.rglob("*.seal"))


def test_plain_snakemake_sees_no_file_of_the_future(tmp_path):
    """Marking the inputs brings files dated ahead into the past, and the mark with them."""
    out = tmp_path / "out"
    _put(out, SAMPLED)
    (study,) = _put(tmp_path, ["a.toml"])
    mark = mark_inputs(out, [str(study)])
    for path in (*outputs(out), out / "logs" / MARK):
        os.utime(path, (time.time() + 1e8, time.time() + 1e8))
    assert mark_inputs(out, [str(study)]) == mark
    assert all(path.stat().st_mtime < time.time() for path in (*outputs(out), out / "logs" / MARK))
