"""Chains for distortion: a circuit's body, an op-amp and a load, through a study's own path to a nominal unit."""

from dataclasses import dataclass, replace

import numpy as np

from sim.deck.build import chain_of, unit_table, unit_values
from sim.distortion.estimate import Carrier, Estimate, estimate
from sim.distortion.load import OutputLoad
from sim.distortion.two_tone import TwoTone, two_tone
from sim.engine.ngspice import Simulator
from sim.study.read import read_study
from tests.published.pipeline import IDEAL
from tests.small_studies import write_study


@dataclass(frozen=True)
class Stage:
    """One unit between an emf and a resistor."""

    simulator: Simulator
    chain: object
    values: object
    load_ohm: float

    def carriers(self, frequencies, output_v: float) -> tuple[Carrier, ...]:
        """Emfs that give the same peak volts at the output each, without bend and as long as nothing compresses."""
        probing = [Carrier(hertz, 1e-6) for hertz in frequencies]
        levels = estimate(self.simulator, self.chain, self.values, probing, self.load, ()).carriers
        return tuple(Carrier(level.frequency_hz, 1e-6 * output_v / level.output_v) for level in levels)

    @property
    def load(self) -> OutputLoad:
        """The resistor."""
        return OutputLoad(self.load_ohm)

    def estimated(self, carriers) -> Estimate:
        """All products."""
        return estimate(self.simulator, self.chain, self.values, carriers, self.load)

    def in_time(self, carriers) -> TwoTone:
        """All products by a transient."""
        return two_tone(self.simulator, self.chain, self.values, carriers, self.load_ohm)

    def bent(self, k2: float, k3: float) -> "Stage":
        """The same with another bend of every op-amp."""
        macros = tuple(replace(macro, k2=k2, k3=k3) for macro in self.values.macros)
        return replace(self, values=replace(self.values, macros=macros))


def stage_of(path, load_ohm: float, unit: int = 0, simulator: Simulator | None = None) -> Stage:
    """A unit of a study."""
    study = read_study(path)
    chain = chain_of(study)
    values = unit_values(chain, unit_table(study, chain, np.array([unit])), 0, unit)
    return Stage(simulator or Simulator(), chain, values, load_ohm)


def own_stage(folder, body: str, opamp: dict | str, load_ohm: float, supply: str = "12 V", dummy="1u") -> Stage:
    """The nominal unit of a circuit made for the test, behind a large capacitor from an ideal source."""
    (folder / "amp.cir").write_text(
        f"* a circuit of a test\n.subckt amplifier in out vcc gnd\n{body}.ends amplifier\n", encoding="ascii"
    )
    part = opamp
    if isinstance(opamp, dict):
        lines = [f"{key} = {_toml(value)}\n" for key, value in {**IDEAL, **opamp}.items()]
        (folder / "own.toml").write_text("".join(lines), encoding="utf-8")
        part = "own.toml"
    path = write_study(
        folder,
        amplifier={"circuit": "amp.cir", "opamp": part},
        antenna={"model": "fixture", "source": "0", "dummy": dummy},
        supply={"voltage": supply},
        run={"temperature": "25"},
    )
    return stage_of(path, load_ohm)


def _toml(value) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return f'"{value}"' if isinstance(value, str) else repr(value)


def dbc(found, carriers) -> float:
    """A product of a result, below its first carrier. [dB]"""
    product = next(product for product in found.products if product.carriers == carriers)
    return 20 * np.log10(product.output_v / found.carriers[0].output_v)


def noninverting(rf: str, rg: str) -> str:
    """Body of a non-inverting stage at half supply that drives the port itself.

    Capacitors are no larger than they must be: in a transient of short steps one of a farad leaves no digits.
    """
    return (
        "R1 vcc mid 10k ; 1%  half supply\nR2 mid gnd 10k ; 1%  half supply\nCm mid gnd 10u ; 1%  quiet\n"
        "Rb in mid 500 ; 1%  bias\nXamp in inv vcc gnd drv opamp\nXloop drv fbk probe\n"
        f"Rf fbk inv {rf} ; 1%  feedback\nRg inv low {rg} ; 1%  gain\nCg low mid 10u ; 1%  gain to half supply\n"
        "Co fbk out 10u ; 1%  blocks DC\n"
    )
