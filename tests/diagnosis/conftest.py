"""The two demo circuits with their faults simulated once, and sweeps of them off a bench of the tests' own."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from sim.diagnosis.bench import bench_of
from sim.diagnosis.book import FaultBook, open_book
from sim.measured.sweep import Sweep
from sim.steps.sample import netlist_text
from sim.study.model import Study
from sim.study.read import read_study
from tests.diagnosis.own_bench import analysed, parsed, with_fault
from tests.small_studies import write_study

OPAMPS = {"transimpedance": "OPA2822", "voltage-follower": "OPA810"}


@dataclass
class Built:
    """A study, its faults, and where its units are swept."""

    study: Study
    book: FaultBook
    folder: Path
    circuit: str

    def sweep(self, key: str, unit: int, rng: np.random.Generator, bench_rng=None) -> Sweep:
        """A unit with a fault, swept on the tests' own bench; with equal `bench_rng` on the same one."""
        net = parsed(netlist_text(self.study, unit))
        nominal = {part.name: part.value.value for part in self.book.people.chain.circuit.parts}
        with_fault(net, key, self.circuit, nominal, rng)
        return analysed(net, self.folder, rng, f"{self.circuit}-{unit}", bench_rng)


def built(folder: Path, circuit: str) -> Built:
    """One of the demo circuits, with the tolerances of its file and a room of 15 to 30 degrees."""
    path = write_study(
        folder,
        amplifier={"circuit": circuit, "opamp": OPAMPS[circuit]},
        feedline={"length": "0"},
        run={"temperature": "15..30", "units": 10},
        supply={"voltage": "12 V 3%"},
    )
    study = read_study(str(path))
    return Built(study, open_book(study, bench_of(study), folder), folder, circuit)


@pytest.fixture(scope="session")
def transimpedance(tmp_path_factory) -> Built:
    """The charge amplifier."""
    return built(tmp_path_factory.mktemp("transimpedance"), "transimpedance")


@pytest.fixture(scope="session")
def follower(tmp_path_factory) -> Built:
    """The voltage follower."""
    return built(tmp_path_factory.mktemp("follower"), "voltage-follower")
