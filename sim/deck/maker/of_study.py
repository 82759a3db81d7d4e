"""The maker's model and the record that a study names."""

from pathlib import Path

from sim.deck.maker.file import MakerModel, choose, read_model_file
from sim.opamp.catalogue import OpampRecord, load_opamp
from sim.opamp.unrated import unrated
from sim.study.maker import MakerWords, is_model_file


def model_of(study) -> MakerModel | None:
    """The study's model; None where its op-amp is a record.

    Raises
    ------
    InputError
        The file cannot be used.
    """
    name, words = study.amplifier.opamp, study.amplifier.model or MakerWords()
    if not is_model_file(name):
        return None
    return choose(read_model_file(Path(study.folder) / name, name), words.subcircuit, words.pins)


def like_of(study) -> OpampRecord | None:
    """The record of the same part that the study names beside its model; None without one.

    Raises
    ------
    RecordError
        It cannot be read.
    """
    words = study.amplifier.model
    if words is None or words.like is None or not is_model_file(study.amplifier.opamp):
        return None
    return load_opamp(words.like, study.folder)


def record_of(study) -> OpampRecord:
    """The record that stands for the study's op-amp in all that decks do not tell: ratings, stable gain.

    Raises
    ------
    InputError
    """
    model = model_of(study)
    if model is None:
        return load_opamp(study.amplifier.opamp, study.folder)
    return like_of(study) or unrated(model.subcircuit)
