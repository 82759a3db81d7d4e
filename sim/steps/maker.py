"""A maker's op-amp model in a run: on the bench before its first unit, and what of that is said beside the results."""

import json
import math
from pathlib import Path

from sim.deck.chain import Chain
from sim.deck.maker.of_study import like_of, model_of
from sim.measures.maker.findings import lack_words
from sim.measures.maker.trial import Trial, try_model
from sim.opamp.unrated import is_unrated
from sim.study.maker import is_model_file
from sim.tables import replace_file, write_csv

MODEL_TABLE = "model.csv"
LABEL = "noise"
BESIDE_THE_VERDICT = ("noise", "supply current", "ground")
"""What a model lacks that makes a verdict look better than it is."""
_SAID = Path("logs") / "model.json"


def noise_names(chain: Chain) -> dict[str, str]:
    """What the noise sources inside a maker's model are called, by name in the deck; empty without such a model."""
    if chain.maker is None:
        return {}
    return {
        line.split()[0]: f"{device.name} {LABEL}"
        for device in chain.circuit.devices
        for line in chain.maker.flat(device.name, device.nodes, 27.0).lines
        if not line.startswith(".")
    }


def study_volts(study) -> float:
    """Supply on which the study's op-amp stands, drops left out. [V]"""
    return (study.supply.regulator or study.supply.voltage).value


def try_models(every) -> tuple[Trial, ...]:
    """Every maker's model of a study on the bench, each once.

    Parameters
    ----------
    every : sequence of Scenario

    Raises
    ------
    InputError
        A model cannot be used.
    """
    found: dict[tuple, Trial] = {}
    for scenario in every:
        model = model_of(scenario.study)
        if model is not None:
            like, volts = like_of(scenario.study), study_volts(scenario.study)
            key = (model, like, volts)
            if key not in found:
                found[key] = try_model(model, like, volts)
    return tuple(found.values())


def model_rows(trials: tuple[Trial, ...]) -> list[dict]:
    """Rows of model.csv."""
    return [
        {
            "file": trial.model.source.file,
            "subcircuit": trial.model.subcircuit,
            "supply_v": trial.volts,
            "finding": row.what,
            "measured": row.measured,
            "unit": row.unit,
            "expected": row.expected,
            "verdict": row.verdict,
        }
        for trial in trials
        for row in trial.findings.rows
    ]


def write_models(trials: tuple[Trial, ...], out: Path) -> None:
    """Write model.csv, and in logs/model.json what is said of it; without a model nothing, and no older table stays."""
    table, said = Path(out) / MODEL_TABLE, Path(out) / _SAID
    if not trials:
        table.unlink(missing_ok=True)
        said.unlink(missing_ok=True)
        return
    write_csv(model_rows(trials), table, MODEL_TABLE)
    with replace_file(said) as file:
        file.write(json.dumps([_opening(trials), _cautions(trials)], indent=1, ensure_ascii=False).encode())


def bench_said(every, out: Path) -> tuple[list[str], list[str]]:
    """Sentences for the answer's opening, and cautions, as :func:`write_models` left them; none without a model.

    Parameters
    ----------
    every : sequence of Scenario
    out : Path
        Results folder.
    """
    if not any(is_model_file(scenario.study.amplifier.opamp) for scenario in every):
        return [], []
    opening, said = json.loads((Path(out) / _SAID).read_text(encoding="utf-8"))
    return opening, said


def _opening(trials: tuple[Trial, ...]) -> list[str]:
    """What must stand beside the verdict itself."""
    return [
        f"Mind the model of {trial.model.subcircuit}: {lack_words(lack)}."
        for trial in trials
        for lack in trial.findings.lacks
        if lack in BESIDE_THE_VERDICT
    ]


def _cautions(trials: tuple[Trial, ...]) -> list[str]:
    """What else the bench found that a reader of the results must know."""
    said = []
    for trial in trials:
        name, found = trial.model.subcircuit, trial.findings
        said += [
            f"{name} ({trial.model.source.file}): {lack_words(lack)}."
            for lack in found.lacks
            if lack not in BESIDE_THE_VERDICT
        ]
        rows = [row for row in found.rows if row.verdict == "differs" and math.isfinite(row.expected)]
        listed = "; ".join(f"{row.what} {row.measured:.3g} {row.unit} against {row.expected:.3g}" for row in rows)
        said += [f"{name} ({trial.model.source.file}) differs from the record of the part: {listed}."] if rows else []
    return said


def unused_words(every) -> list[str]:
    """A sentence where a study says how to read a maker's file and names none.

    Parameters
    ----------
    every : sequence of Scenario
    """
    words = [scenario.study.amplifier for scenario in every]
    if words[0].model is None or any(is_model_file(one.opamp) for one in words):
        return []
    return [f"[amplifier.model] says how to read a maker's file, and {words[0].opamp} is none: left aside."]


def static_cautions(chain: Chain) -> list[str]:
    """What is to be said of a maker's model before it is run, a sentence each."""
    model = chain.maker
    if model is None:
        return []
    name = model.subcircuit
    said = [
        f"{name} is a maker's model ({model.source.file}): the same die in all units, since how dies differ is not in"
        " it. Spread of gain, phase and noise between units is that of the other parts alone."
    ]
    if chain.opamps and is_unrated(chain.opamps[0]):
        said.append(
            f"{name}: supply range, output and input limits and the lowest stable gain are not checked, since no model"
            ' tells them. Name the record of the part: [amplifier.model] like = "…".'
        )
    return said
