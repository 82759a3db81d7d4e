"""Check the study, write it out with every default, draw the units, write the nominal deck."""

import argparse
from pathlib import Path

import numpy as np

from sim.constants import T0
from sim.deck.build import chain_of, unit_table, unit_values
from sim.deck.clamp import LEAKAGE
from sim.deck.plain import Bench, FarEnd, plain_deck
from sim.engine.leash import end_with_pipeline
from sim.measures.panel import receiver_noise_psd
from sim.steps.maker import try_models, write_models
from sim.steps.seal import SAMPLED, marked, seal, take_away_report
from sim.study.read import read_study, study_text
from sim.study.scenarios import scenarios
from sim.tables import replace_file, write_csv, write_parquet


def netlist_text(study, unit: int, scenario_number: int = 0) -> str:
    """Deck of one unit of one scenario that plain ngspice runs and measures by itself.

    Parameters
    ----------
    study : Study
        Of the scenario.
    unit : int
        0 is nominal.
    scenario_number : int
        Only for the title.
    """
    chain = chain_of(study)
    values = unit_values(chain, unit_table(study, chain, np.array([unit])), 0, unit)
    bands = np.asarray(study.bands.frequencies)
    line = (values.outside.route or chain.route).chain_matrix(bands)
    jig = values.outside.jig or chain.jig
    receiver = study.receiver
    psd = receiver_noise_psd(receiver.impedance, 10 ** (receiver.noise_figure / 10))
    # Lines and soil are at 290 K whatever the unit's temperature, here as in the measures.
    ambient = chain.antenna.ambient_emf(bands, T0) ** 2
    ends = tuple(
        FarEnd(float(f), line[i], T0, receiver.impedance, psd, float(ambient[i]))
        for i, f in enumerate(bands)
    )
    bench = Bench(study.fixture.source, jig.dummy, study.fixture.load, jig.stray)
    title = f"{study.title}: unit {unit}, scenario {scenario_number}"
    return plain_deck(chain, values, bench, ends, title)


def _only_varied(every, units: np.ndarray, drawn) -> dict[str, np.ndarray]:
    """What only some scenarios put around the circuit, as the first of them draws it; only what has a spread."""
    found = {}
    for scenario in every:
        chain = chain_of(scenario.study)
        named = {part.name: part.value for part in chain.circuit.parts if part.element}
        named |= {part.name: part.value for part in chain.outside if part.name.startswith(("weather.", LEAKAGE))}
        new = [name for name, value in named.items() if value.tolerance and name not in drawn and name not in found]
        if new:
            table = unit_table(scenario.study, chain, units)
            found |= {name: table[name] for name in new}
    return found


def main(argv=None) -> None:
    """Command line of this step."""
    parser = argparse.ArgumentParser(prog="python -m sim.steps.sample", description=__doc__)
    parser.add_argument("study", help="study file")
    parser.add_argument("--units", type=int, help="number of units instead of the study's own")
    parser.add_argument("--out", required=True, help="results folder")
    given = parser.parse_args(argv)
    end_with_pipeline()
    out = Path(given.out)
    mark = marked(out)
    study = read_study(given.study, units=given.units)
    chain = chain_of(study)
    units = np.arange(study.run.units + 1)
    drawn = unit_table(study, chain, units)
    every = scenarios(study)
    drawn |= _only_varied(every, units, drawn)
    take_away_report(out)
    with replace_file(out / "study.toml") as file:
        file.write(study_text(study).encode())
    write_parquet({"unit": units, **drawn}, out / "units.parquet", "units.parquet")
    write_csv(
        [{"scenario": scenario.number, **dict(scenario.values)} for scenario in every],
        out / "scenarios.csv",
        "scenarios.csv",
    )
    with replace_file(out / "netlist.cir") as file:
        file.write(netlist_text(every[0].study, 0).encode())
    trials = try_models(every)
    write_models(trials, out)
    seal(out, "sample", mark, [out / name for name in SAMPLED])
    print(f"{study.run.units} units of {len(drawn)} drawn values, {len(every)} scenarios")


if __name__ == "__main__":
    main()
