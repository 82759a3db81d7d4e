"""Feedline of a study: one cable or sections, and bias tees."""

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, model_validator

from sim.errors import shown
from sim.quantity import QuantityError, parse_part
from sim.study.fields import MOST_VALUES, StudyTable, Text, filled, part_value, quantity, study_key

_LENGTH = quantity("m", 0, 3000, "Write a length from 0 to 3000 m.")


class Section(StudyTable):
    """One of several lengths of cable in series."""

    cable: Text = study_key("cable of this section, as in [feedline]", '"rg6-ccs"')
    length: _LENGTH = study_key("length of this section; the first begins at the amplifier", '"60 m"', "m")


class Tee(StudyTable):
    """Bias tees that put the supply onto the coax: a choke and a blocking capacitor."""

    at: Literal["both", "amplifier", "receiver"] = study_key(
        "at which ends of the feedline one stands", '"both"', default="both"
    )
    choke: part_value("H", 1e-7, 10, "Write 0.1 uH to 10 H.") = study_key(
        "inductance of the choke at the supply current", '"220u 20%"', "H", parse_part("220u", "H")
    )
    choke_capacitance: part_value("F", 0, 1e-6, "Write 0 to 1 uF.") = study_key(
        "capacitance across the choke, which makes its self-resonance", '"5p 30%"', "F", parse_part("5p", "F")
    )
    choke_loss: part_value("ohm", 1, 1e9, "Write 1 to 1G.") = study_key(
        "resistance across the choke that stands for its core, a noisy one", '"5k 20%"', "ohm", parse_part("5k", "ohm")
    )
    choke_resistance: part_value("ohm", 0, 1e4, "Write 0 to 10k.") = study_key(
        "DC resistance of the choke's winding at 20 °C", '"2 10%"', "ohm", parse_part("2", "ohm")
    )
    block: part_value("F", 1e-12, 1, "Write 1 pF to 1 F.") = study_key(
        "blocking capacitor in the signal's way", '"100n 10% X7R"', "F", parse_part("100n", "F")
    )


def _sections(values):
    example = 'Write, for example, [{cable = "rg6-ccs", length = "60 m"}, {cable = "rg58", length = "5 m"}].'
    filled(values, example)
    for value in values:
        if not isinstance(value, dict | Section):
            raise QuantityError(f"{shown(value)} is no section.", example)
    if len(values) > MOST_VALUES:
        raise QuantityError(f"there are {len(values)} sections.", f"Write at most {MOST_VALUES}.")
    return values


class Feedline(StudyTable):
    """From the amplifier to the receiver."""

    cable: Text = study_key(
        "cable that comes with the program (bandfloor list cables), or a record of your own beside the study",
        '"rg6-ccs"',
        default="rg6-ccs",
    )
    length: _LENGTH = study_key("length of the cable", '"120 m"', "m", 0.0)
    sections: Annotated[tuple[Section, ...], BeforeValidator(_sections)] | None = Field(
        default=None,
        description="instead of cable and length: lengths of cable in series, from the amplifier to the receiver",
    )
    power: Literal["coax", "separate"] = study_key(
        '"coax": the supply current flows through the feedline; "separate": through wires of its own',
        '"coax"',
        default="coax",
    )
    length_tolerance: quantity("m", 0, 100, "Write 0 to 100 m.") = study_key(
        "how far the length of a unit's own feedline may be off, either way", '"0.1 m"', "m", 0.0
    )
    velocity_tolerance: quantity("1", 0, 0.2, 'Write 0 to 20 %, for example "0.5 %".') = study_key(
        "how far the wave velocity of a unit's own feedline may be off, either way", '"0.5 %"', "1", 0.0
    )
    tee: Tee | None = Field(default=None, description="bias tees; none are counted without this table")

    @model_validator(mode="after")
    def _one_way(self):
        whole = sum(part.length for part in self.all_sections)
        if whole > 0 and self.length_tolerance >= whole:
            raise QuantityError(
                f"a length_tolerance of {self.length_tolerance:g} m is as long as the feedline of {whole:g} m.",
                "Write less than the length.",
            )
        if self.sections is not None and self.model_fields_set & {"cable", "length"}:
            raise QuantityError(
                "sections stand beside cable or length.", "Give sections, or one cable with its length."
            )
        if self.tee is not None and self.power != "coax":
            raise QuantityError(
                f'there is a bias tee, and power is "{self.power}".', 'Write power = "coax", or take the tee out.'
            )
        return self

    @property
    def unsaid(self) -> tuple[str, ...]:
        """Keys that say nothing: cable and length where there are sections."""
        return ("cable", "length") if self.sections is not None else ()

    @property
    def all_sections(self) -> tuple[Section, ...]:
        """The sections, or the one that cable and length make."""
        return self.sections or (Section(cable=self.cable, length=self.length),)
