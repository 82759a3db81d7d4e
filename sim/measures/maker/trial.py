"""A model on the bench, in a process of its own with bounds on time and memory, so that it can harm nothing."""

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass

from sim.deck.maker.file import MakerModel
from sim.engine.isolate import Failed, isolated
from sim.engine.ngspice import Simulator, UnitFailed
from sim.errors import Fault, GuardError
from sim.measures.maker.findings import Findings, findings
from sim.measures.maker.prove import PinProof, prove_pins
from sim.measures.maker.readings import GROUPS, SHARES_OF_SUPPLY, Conditions, Readings, read_group
from sim.opamp.catalogue import OpampRecord

PATIENCE_S = 20.0
"""Longest that one group of readings may take; an op-amp needs a second for all of them. [s]"""
MEMORY = 2_000_000_000
"""Address space of the process beyond what it has at its start. [byte]"""
DEFAULT_VOLTS = 10.0
"""Supply where neither study nor record says one. [V]"""


@dataclass(frozen=True)
class Trial:
    """A model whose pins were proved, and what the bench says of it.

    Attributes
    ----------
    model : MakerModel
    proof : PinProof
    findings : Findings
    seconds : float
        Of an AC sweep of 200 points. [s]
    volts : float
        Supply of the bench. [V]
    """

    model: MakerModel
    proof: PinProof
    findings: Findings
    seconds: float
    volts: float


class _Maker:
    """Makes the worker inside the child; a class, since a spawned child can only receive named things."""

    def __init__(self, model: MakerModel, conditions: Conditions):
        self._model, self._conditions = model, conditions

    def __call__(self) -> Callable:
        _bound_memory()
        simulator = Simulator()
        read = Readings()

        def work(item: str):
            try:
                if item == "pins":
                    return prove_pins(simulator, self._model, self._conditions.volts)
                return read_group(simulator, self._model, self._conditions, item, read)
            except MemoryError:
                raise UnitFailed("it needs more memory than any op-amp's model") from None

        return work


def _bound_memory() -> None:
    if sys.platform != "linux":
        # Elsewhere there is no such bound; the one on time remains.
        return
    import resource

    with open("/proc/self/statm", encoding="ascii") as file:
        present = int(file.read().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (present + MEMORY, present + MEMORY))


def bench_conditions(record: OpampRecord | None, volts: float | None) -> Conditions:
    """Supply voltages and noise gain for a model.

    Parameters
    ----------
    record : OpampRecord or None
        Of the part; its supply range is walked through.
    volts : float or None
        At which it is to be used; None: the middle of the record's range, else :data:`DEFAULT_VOLTS`. [V]
    """
    if record is None:
        volts = volts or DEFAULT_VOLTS
        return Conditions(volts, tuple(share * volts for share in SHARES_OF_SUPPLY))
    low, high = record.supply_min, record.supply_max
    volts = min(max(volts, low), high) if volts else (low + high) / 2
    return Conditions(volts, tuple(low + k / 4 * (high - low) for k in range(5)), record.min_stable_gain)


def prove(model: MakerModel, record: OpampRecord | None, volts: float | None) -> PinProof:
    """Load a model in a process of its own and prove its pins.

    Raises
    ------
    GuardError
        It does not load, does not come to rest, or its pins are others than said.
    """
    conditions = bench_conditions(record, volts)
    ((_, proof),) = isolated(_Maker(model, conditions), ["pins"], PATIENCE_S)
    _refuse(model, proof)
    return proof


def try_model(model: MakerModel, record: OpampRecord | None, volts: float | None) -> Trial:
    """The whole bench.

    Parameters
    ----------
    model : MakerModel
    record : OpampRecord or None
        What to compare it with.
    volts : float or None
        Supply at which it is to be used. [V]

    Raises
    ------
    GuardError
        As :func:`prove`.
    """
    conditions = bench_conditions(record, volts)
    proof = prove(model, record, volts)
    read = Readings()
    for index, answer in isolated(_Maker(model, conditions), list(GROUPS), PATIENCE_S):
        if isinstance(answer, Failed):
            read.failed[list(GROUPS)[index]] = answer.reason
            continue
        read.values |= answer.values
        read.failed |= answer.failed
        read.contributors = answer.contributors or read.contributors
        read.seconds = answer.seconds if math.isfinite(answer.seconds) else read.seconds
    return Trial(model, proof, findings(model, read, record), read.seconds, conditions.volts)


def _refuse(model: MakerModel, proof: PinProof | Failed) -> None:
    source, name = model.source, model.subcircuit
    line = next(each.line for each in source.top.inner.values() if each.shown_name == name)

    def refuse(found: str, remedy: str) -> None:
        raise GuardError(Fault(source.file, line, name, found, remedy))

    said = ", ".join(f"{port} = {role}" for port, role in zip(model.ports, model.pins.roles, strict=True))
    if isinstance(proof, Failed):
        why = {"lost": "ended the simulator", "crash": "ended the simulator", "stuck": "kept the simulator busy"}
        refuse(
            f"the model {why.get(proof.stage, 'failed')}: {proof.reason}.",
            "Leave out what it needs in vain, ask its maker for a plain SPICE model, or use the catalogue's record.",
        )
    if proof.said.works:
        return
    if not proof.others:
        refuse(
            f"with its pins as said ({said}; from {model.pins.reason}) {proof.said.reason}, and it works in no order.",
            "Look at the file's comments for further pins or a supply that it needs; ask for another model.",
        )
    orders = " or ".join(f'pins = "{" ".join(roles)}"' for roles in proof.others[:3])
    refuse(
        f"the pins are not as said ({said}; from {model.pins.reason}): {proof.said.reason}.",
        f"It works with {orders}; compare that with the file and write it into [amplifier.model], or behind --pins.",
    )
