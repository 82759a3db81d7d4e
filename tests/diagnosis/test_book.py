"""Faults that were simulated once are read the next time; whatever else lies in their file is not."""

import numpy as np
import pytest

import sim.diagnosis.book as book_module
from sim.diagnosis.bench import bench_of
from sim.diagnosis.book import open_book


def _file(folder):
    return next(folder.glob("faults-*.npz"))


def test_the_second_opening_simulates_nothing(transimpedance, monkeypatch):
    """Responses and sensitivities come out of the file, to the last bit."""
    transimpedance.book.prepare(("good", "Cf=100pF"))

    def refuse(*words):
        raise AssertionError("simulated again")

    monkeypatch.setattr(book_module, "simulate", refuse)
    study = transimpedance.study
    again = open_book(study, bench_of(study), transimpedance.folder)
    assert again.keys == transimpedance.book.keys
    places = np.arange(len(again.freq_hz))
    for key in ("good", "Cf=100pF"):
        new, old = again.hypothesis(key, places), transimpedance.book.hypothesis(key, places)
        assert np.array_equal(new.gain, old.gain)
        assert np.array_equal(new.columns, old.columns)


def test_another_bench_is_another_file(transimpedance):
    """What was simulated with one dummy capacitor is not taken for another."""
    study = transimpedance.study
    people = book_module.population(study, bench_of(study, dummy=33e-12))
    other = object.__new__(book_module.FaultBook)
    other.people, other.faults = people, transimpedance.book.faults
    assert f"faults-{other._digest()}.npz" != _file(transimpedance.folder).name


@pytest.mark.parametrize("content", [b"", b"not an archive", "objects"])
def test_a_damaged_file_is_made_anew(transimpedance, tmp_path, content, monkeypatch):
    """Rubbish, and pickled objects, which could run commands, are not read: the faults are simulated again."""
    path = tmp_path / _file(transimpedance.folder).name
    if content == "objects":
        with np.load(_file(transimpedance.folder)) as arrays:
            held = dict(arrays)
        with path.open("wb") as file:
            np.savez(file, **{**held, "failed": np.array([{"a": 1}], dtype=object)})
    else:
        path.write_bytes(content)
    asked = []
    simulate = book_module.simulate

    def counted(people, items):
        asked.append(len(items))
        return simulate(people, items)

    monkeypatch.setattr(book_module, "simulate", counted)
    study = transimpedance.study
    again = open_book(study, bench_of(study), tmp_path)
    assert sum(asked) > len(again.faults)
    assert np.array_equal(again.nominal("good").gain, transimpedance.book.nominal("good").gain)
