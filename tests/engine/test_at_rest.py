"""Several ways to an operating point: the first that leads there counts."""

import numpy as np
import pytest

from sim.deck.assemble import OPTIONS, SPARE_OPTIONS, assemble
from sim.deck.build import chain_of, unit_table, unit_values
from sim.engine.ngspice import UnitFailed
from sim.engine.sweep import at_rest
from sim.study.read import read_study
from tests.small_studies import write_study


class Stubborn:
    """Comes to rest only under some options."""

    def __init__(self, under: tuple[str, ...]):
        self.under, self.tried = under, []

    def load(self, lines, save):
        """Take a deck whose only line are its options."""
        self.tried.append(lines[0])

    def operating_point(self, nodes):
        """Rest, or say under which options it does not."""
        if self.tried[-1] not in self.under:
            raise UnitFailed(f"not with {self.tried[-1]}")
        return {"out": float(len(self.tried))}


def test_the_first_that_works_counts():
    """Ways are tried in turn, and no further than needed."""
    simulator = Stubborn(("b", "c"))
    assert at_rest(simulator, (("a",), ("b",), ("c",)), (), ("out",)) == {"out": 2.0}
    assert simulator.tried == ["a", "b"]


def test_what_the_first_said_is_the_reason():
    """Where none works, the unit fails with the reason of the first."""
    with pytest.raises(UnitFailed, match="not with a"):
        at_rest(Stubborn(()), (("a",), ("b",)), (), ("out",))


def test_catalogue_parts_have_one_way(tmp_path):
    """Only makers' models are given other options; a catalogue part's deck is what it was."""
    study = read_study(write_study(tmp_path))
    chain = chain_of(study)
    deck = assemble(chain, unit_values(chain, unit_table(study, chain, np.array([0])), 0, 0))
    assert deck.ways == (deck.lines,)
    assert OPTIONS in deck.lines
    assert OPTIONS not in SPARE_OPTIONS and len(set(SPARE_OPTIONS)) == 3
