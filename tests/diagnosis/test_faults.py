"""The list of single faults, and what each makes of a unit's deck."""

import pytest

from sim.deck.circuit import list_circuits, read_circuit
from sim.diagnosis.bench import bench_of
from sim.diagnosis.faults import GOOD, single_faults
from sim.diagnosis.spread import population
from sim.diagnosis.wrong import faulty_deck
from sim.study.read import read_study
from tests.small_studies import write_study


@pytest.fixture(scope="module")
def people(tmp_path_factory):
    """Good units of the charge amplifier."""
    study = read_study(str(write_study(tmp_path_factory.mktemp("faults"))))
    return population(study, bench_of(study))


def _cards(people, key: str) -> dict[str, list[str]]:
    fault = next(fault for fault in single_faults(people.chain.circuit) if fault.key == key)
    lines = faulty_deck(people.chain, people.nominal, fault).lines
    return {line.split()[0]: line.split()[1:] for line in lines}


@pytest.mark.parametrize("name", list_circuits())
def test_every_part_has_every_fault(name):
    """Open, shorted, ten times, a tenth, dry; every other value of the bill; and no fault under two keys or twice."""
    circuit = read_circuit(name)
    faults = single_faults(circuit)
    keys = [fault.key for fault in faults]
    assert keys[0] == GOOD.key
    assert len(set(keys)) == len(keys)
    assert len({fault.words for fault in faults}) == len(faults)
    for part in circuit.parts:
        assert {f"{part.name}:open", f"{part.name}:short", f"{part.name}:dry100"} <= set(keys)
        ratios = {round(f.scale[0][1], 6) for f in faults if [name for name, _ in f.scale] == [part.name]}
        others = {round(o.value.value / part.value.value, 6) for o in circuit.parts if o.kind == part.kind}
        assert ratios >= ({10.0, 0.1} | others) - {1.0}


def test_words_name_the_mistake(people):
    """A builder reads what was fitted and what should have been."""
    words = {fault.key: fault.words for fault in single_faults(people.chain.circuit)}
    assert words["Cf=100pF"] == "Cf is 100 pF instead of 10 pF"
    assert words["Cc<>Cf"] == "Cc and Cf are swapped"
    assert words["dummy+5%"] == "the bench's dummy capacitor is 5 % above its value"


def test_wrong_values_and_swaps_are_in_the_deck(people):
    """Another value keeps the deviation that was drawn; swapped parts have each other's values."""
    good, wrong, swapped = (_cards(people, key) for key in ("good", "Cf=100pF", "Cc<>Cf"))
    assert float(wrong["cf"][2]) == pytest.approx(10 * float(good["cf"][2]))
    assert float(swapped["cf"][2]) == pytest.approx(1e-9)
    assert float(swapped["cc"][2]) == pytest.approx(10e-12)


def test_joints_bridges_and_leaks_are_in_the_deck(people):
    """A dry joint stands in series, a bridge between pins, a leak from the input to ground."""
    dry, bridge, leak = (_cards(people, key) for key in ("Cf:dry100", "Xamp:inn-out", "leak:in:1000"))
    assert dry["cf"][1] == dry["rz_fault0"][0] != "fbk"
    assert dry["rz_fault0"][1:] == ["fbk", "100.0"]
    assert bridge["rz_fault0"] == ["sum", "drv", "0.01"]
    assert leak["rz_fault0"] == ["in", "0", "1000.0"]


def test_op_amps_are_slow_dead_and_reversed(people):
    """A third of the gain-bandwidth is three times the capacitor; reversed inputs change places and it latches."""
    good, slow, reversed_ = (_cards(people, key) for key in ("good", "op0:slow", "op0:reversed-low"))
    assert float(slow["cxamp_1a"][2]) == pytest.approx(3 * float(good["cxamp_1a"][2]))
    assert good["cxamp_id"][:2] == ["mid", "sum"]
    assert reversed_["cxamp_id"][:2] == ["sum", "mid"]
    assert reversed_[".nodeset"][0] == "v(drv)=0.0"


def test_the_good_unit_is_untouched(people):
    """Without a fault the deck is the one that the deck builder writes."""
    assert not any(name.startswith("rz_fault") for name in _cards(people, "good"))
