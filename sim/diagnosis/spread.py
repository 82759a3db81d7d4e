"""What makes one good unit differ from another, as independent variables of unit variance around the nominal unit."""

import math
from dataclasses import dataclass, replace

import numpy as np

from sim.antenna.fixture import fixture
from sim.deck.build import DIE_COLUMNS, SUPPLY_COLUMN, chain_of, unit_table, unit_values
from sim.deck.chain import Chain, UnitValues
from sim.diagnosis.bench import BenchSetup

BUILDS, OF_EACH = 60, 8
"""Builds and units of each, out of which the spreads are taken."""
BENCH_VARIABLES = ("bench.dummy", "bench.stray", "bench.source", "bench.load")
_ADDED = ("vos", "aol_db")
"""Columns that scatter around a number that may be zero or is in decibels; all others are of one sign."""
_SILENT = ("en", "en_corner", "inoise", "slew")
"""Columns that neither the sweep nor the operating point knows of."""


@dataclass(frozen=True)
class Variable:
    """Something that differs from unit to unit.

    Attributes
    ----------
    name : str
        A part, ``supply.voltage``, ``<device>.<die column>``, or of the bench.
    sigma : float
        Standard deviation: of its logarithm, or of itself where it may be zero.
    of_unit : float
        The same within a build.
    added : bool
        Whether it is added and not multiplied.
    """

    name: str
    sigma: float
    of_unit: float
    added: bool = False


@dataclass(frozen=True)
class Population:
    """The good units of a study on a bench.

    Attributes
    ----------
    chain : Chain
        With the bench's fixture for an antenna, and the supply at the unit.
    nominal : UnitValues
    variables : tuple of Variable
    bench : BenchSetup
    """

    chain: Chain
    nominal: UnitValues
    variables: tuple[Variable, ...]
    bench: BenchSetup

    def unit(self, z: dict[str, float]) -> UnitValues:
        """The unit at so many standard deviations of each variable; those not named are at nominal."""
        parts, supply, macros = dict(self.nominal.parts), self.nominal.supply_v, list(self.nominal.macros)
        devices = [device.name for device in self.chain.circuit.devices]
        for variable in self.variables:
            by = float(z.get(variable.name, 0.0)) * variable.sigma
            if by == 0 or variable.name in BENCH_VARIABLES:
                continue
            if variable.name in parts:
                parts[variable.name] *= math.exp(by)
            elif variable.name == SUPPLY_COLUMN:
                supply *= math.exp(by)
            else:
                device, _, column = variable.name.rpartition(".")
                macros[devices.index(device)] = _moved(macros[devices.index(device)], column, by, variable.added)
        return replace(self.nominal, parts=parts, supply_v=float(supply), macros=tuple(macros))

    def bench_at(self, z: dict[str, float]) -> BenchSetup:
        """The bench at so many standard deviations of its variables."""
        own = self.bench
        return replace(
            own,
            dummy=own.dummy * math.exp(z.get("bench.dummy", 0.0) * own.dummy_sigma),
            stray=max(own.stray + z.get("bench.stray", 0.0) * own.stray_sigma, 0.0),
            source=own.source * math.exp(z.get("bench.source", 0.0) * own.port_sigma),
            load=own.load * math.exp(z.get("bench.load", 0.0) * own.port_sigma),
        )


def _moved(macro, column: str, by: float, added: bool):
    if column == "cin":
        return replace(macro, cin_diff=macro.cin_diff * math.exp(by), cin_cm=macro.cin_cm * math.exp(by))
    value = getattr(macro, column)
    return replace(macro, **{column: float(value + by if added else value * math.exp(by))})


def population(study, bench: BenchSetup) -> Population:
    """The good units of a study, as they stand on a bench.

    Parameters
    ----------
    study : Study
        Of one scenario.
    bench : BenchSetup

    Notes
    -----
    Spreads are read off drawn units and not written down again: whatever the draws do (lots, temperature, dies) is in
    them. Supply and regulator are the study's, at the end of no line: the bench feeds the unit directly.
    """
    run = study.run.model_copy(update={"temperature": bench.temperature_c})
    study = study.model_copy(update={"run": run})
    chain = chain_of(study)
    feed = replace(chain.feed, resistance=0.0)
    on_bench = fixture(bench.source, bench.dummy, 0.0, inputs=2 if chain.circuit.balanced else 1)
    chain = replace(chain, antenna=on_bench, feed=feed, through_line=False, outside=())
    nominal = unit_values(chain, unit_table(study, chain, np.array([0])), 0, 0)
    size = run.build
    each = min(OF_EACH, size)
    units = np.array([1 + build * size + k for build in range(BUILDS) for k in range(each)])
    drawn = unit_table(study, chain, units)
    names = [part.name for part in chain.circuit.parts] + [SUPPLY_COLUMN]
    names += [
        f"{device.name}.{column}" for device in chain.circuit.devices for column in DIE_COLUMNS if column not in _SILENT
    ]
    found = []
    for name in names:
        added = name.rpartition(".")[2] in _ADDED
        if np.ptp(drawn[name]) == 0:
            continue  # without spread, and zero perhaps
        # Of one sign, as a bias current may flow out of its pin.
        column = drawn[name] if added else np.log(np.abs(drawn[name]))
        sigma = float(np.std(column))
        within = column.reshape(BUILDS, each)
        of_unit = float(np.sqrt(np.mean(np.var(within, axis=1, ddof=1)))) if each > 1 else sigma
        if sigma > 0:
            found.append(Variable(name, sigma, min(of_unit, sigma), added))
    found += [Variable(name, 1.0, 0.0, added=True) for name in BENCH_VARIABLES]
    return Population(chain, nominal, tuple(found), bench)
