"""What a study says about a maker's SPICE model that stands in for a record of the catalogue."""

from pathlib import Path

from sim.study.fields import StudyTable, Text, study_key

MODEL_ENDINGS = (".lib", ".mod", ".sub", ".cir", ".txt")
"""Of makers' model files."""


class MakerWords(StudyTable):
    """How to read a maker's model file, where opamp names one."""

    subcircuit: Text | None = study_key(
        "subcircuit of the file; left out: the only one that no other uses", '"TESTAMP-A"', default=None
    )
    pins: Text | None = study_key(
        "what the subcircuit's pins are, in the file's order, out of: inp inn vcc vee out; again: tied to the first of"
        " that name; gnd: tied to ground; nc: left open. Left out: names and comments of the file are asked",
        '"inp inn vcc vee out"',
        default=None,
    )
    like: Text | None = study_key(
        "record of the same part, of the catalogue or your own: for its supply range, gain and limits, which no model"
        " tells, and to compare the model with",
        '"OPA2822"',
        default=None,
    )


def is_model_file(opamp: str) -> bool:
    """Whether a study's op-amp is a maker's model file."""
    return Path(opamp).suffix.lower() in MODEL_ENDINGS
