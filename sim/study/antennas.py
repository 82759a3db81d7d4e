"""Antennas of a study: every model with its keys."""

from functools import partial
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, model_validator

from sim.antenna.earth_line import SOILS
from sim.errors import nearest, shown
from sim.quantity import QuantityError, parse_part
from sim.study.electrode import electrode, electrode_parts
from sim.study.fields import StudyTable, Text, part_value, quantity, study_key


class ShortVertical(StudyTable):
    """A vertical over ground, short against the wavelength or up to 4.2 radian of height.

    Up to 1.6 radian a four-element network fitted to NEC-2, within 2 % of it; above, to 4.2 radian or 30 MHz, an open
    line, within 26 % in impedance and 1 dB in effective height of own moment-method runs.
    """

    model: Literal["short-vertical"] = study_key("which antenna it is", '"short-vertical"')
    height: quantity("m", 0.3, 30, "Write a height from 0.3 to 30 m.") = study_key(
        "height of the conductor", '"7 m"', "m"
    )
    radius: quantity("m", 1e-4, 0.2, "Write a radius from 0.1 mm to 0.2 m.") = study_key(
        "radius of the conductor, half its diameter", '"8 mm"', "m"
    )
    gap: quantity("m", 1e-3, 1, "Write a gap from 1 mm to 1 m.") = study_key(
        "length of the insulator at its base", '"75 mm"', "m", 0.075
    )
    ground_loss: quantity("ohm", 0, 1e4, "Write 0 to 10k.") = study_key(
        "resistance of its ground connection, a noisy one", '"30"', "ohm", 30.0
    )
    lead: quantity("H", 0, 1e-3, "Write 0 to 1 mH.") = study_key(
        "inductance of the lead between antenna and amplifier, about 1 uH a metre", '"0.3 uH"', "H", 0.0
    )
    stray: quantity("F", 0, 1e-9, "Write 0 to 1 nF.") = study_key(
        "capacitance of box, clamp and connector across its terminals", '"3 pF"', "F", 3e-12
    )

    @model_validator(mode="after")
    def _slender(self):
        if self.height < 10 * self.radius:
            raise QuantityError(
                f"a height of {self.height:g} m with a radius of {self.radius:g} m is no slender vertical.",
                "The height must be at least ten times the radius.",
            )
        return self


class Plain(StudyTable):
    """Resistors, capacitor and inductor in series: for sweeps of the source impedance."""

    model: Literal["plain"] = study_key("which antenna it is", '"plain"')
    effective_height: quantity("m", 1e-4, 1e4, "Write a height from 0.1 mm to 10 km.") = study_key(
        "open-circuit voltage per total vertical field at the ground", '"2.9 m"', "m"
    )
    resistance: quantity("ohm", 0, 1e6, "Write 0 to 1M.") = study_key(
        "loss resistance, a noisy one", '"30"', "ohm", 0.0
    )
    radiation: quantity("ohm", 0, 1e6, "Write 0 to 1M.") = study_key(
        "radiation resistance: noiseless, the site's noise stands for it", '"0.5"', "ohm", 0.0
    )
    capacitance: quantity("F", 1e-14, 1e-3, "Write 0.01 pF to 1 mF.") | None = study_key(
        "series capacitance; left out: none", '"62 pF"', "F", None
    )
    inductance: quantity("H", 0, 1, "Write 0 to 1 H.") = study_key("series inductance", '"1.2 uH"', "H", 0.0)
    stray: quantity("F", 0, 1e-9, "Write 0 to 1 nF.") = study_key(
        "capacitance of box, clamp and connector across its terminals", '"3 pF"', "F", 0.0
    )

    @model_validator(mode="after")
    def _something(self):
        if self.capacitance is None and self.resistance + self.radiation + self.inductance == 0:
            raise QuantityError(
                "the source has no resistance, capacitance or inductance.",
                'Give it one or more, for example capacitance = "62 pF".',
            )
        return self


def _soil(value) -> str:
    names = [soil.name for soil in SOILS]
    if not isinstance(value, str) or value not in names:
        near = nearest(value, names, 0.4) if isinstance(value, str) else None
        raise QuantityError(
            f"there is no soil {shown(value)}.", f"{f'Nearest: {near}. ' if near else ''}Known: {', '.join(names)}."
        )
    return value


class GroundWire(StudyTable):
    """A long wire, or a pair, on or just above the ground, fed at its end against an earth electrode, or in its middle.

    Line formulas of Carson, Sunde and Wise; compared with NEC-2 from 1.5 to 8 MHz. Pairs and earth rods are estimates.
    """

    model: Literal["ground-wire"] = study_key("which antenna it is", '"ground-wire"')
    length: quantity("m", 3, 1000, "Write a length from 3 to 1000 m.") = study_key("whole length", '"120 m"', "m")
    radius: quantity("m", 5e-5, 5e-3, "Write a radius from 0.05 to 5 mm.") = study_key(
        "radius of the conductor", '"0.5 mm"', "m", 5e-4
    )
    coat_radius: quantity("m", 5e-5, 0.02, "Write a radius from 0.05 to 20 mm.") = study_key(
        "outer radius of the insulation; the conductor's for a bare wire", '"1.2 mm"', "m", 1.2e-3
    )
    coat_permittivity: quantity("1", 1, 20, "Write 1 to 20.") = study_key(
        "relative permittivity of the insulation", '"3.5"', "1", 3.5
    )
    height: quantity("m", 5e-4, 2, "Write a height from 0.5 mm to 2 m.") = study_key(
        "effective height of the axis above the soil: grass and unevenness count", '"20 mm"', "m", 0.02
    )
    wires: Literal[1, 2] = study_key("1, or 2 for a pair joined at both ends", "2", default=1)
    spacing: quantity("m", 1e-3, 5, "Write a distance from 1 mm to 5 m.") = study_key(
        "distance between the wires of a pair, axis to axis", '"30 cm"', "m", 0.3
    )
    soil: Annotated[str, BeforeValidator(_soil)] = study_key(
        "kind of soil: " + ", ".join(soil.name for soil in SOILS), '"average"', default="average"
    )
    soil_permittivity: quantity("1", 1, 100, "Write 1 to 100.") | None = study_key(
        "relative permittivity of the soil, in place of the kind's", '"13"', "1", None
    )
    soil_conductivity: quantity("S/m", 1e-5, 10, 'Write 1e-5 to 10 S/m, for example "0.005 S/m".') | None = study_key(
        "conductivity of the soil, in place of the kind's", '"0.005 S/m"', "S/m", None
    )
    far_end: Annotated[str | float, BeforeValidator(partial(electrode, least=1e-3, may_open=True))] = study_key(
        '"open"; the resistance to earth at the far end, electrode included; "rod", "two rods", or "300 + rod"',
        '"300 + rod"',
        "ohm",
        "open",
    )
    feed: Literal["end", "centre"] = study_key(
        '"end": against an earth electrode; "centre": in the middle, without one', '"end"', default="end"
    )
    ground_loss: Annotated[str | float, BeforeValidator(partial(electrode, least=0.0, may_open=False))] = study_key(
        'electrode at the feed, a noisy one: resistance, "rod" or "two rods"; not used in the middle',
        '"50"',
        "ohm",
        50.0,
    )
    rod_length: quantity("m", 0.1, 10, "Write a length from 0.1 to 10 m.") = study_key(
        "length of an earth rod in the soil", '"1.5 m"', "m", 1.5
    )
    rod_radius: quantity("m", 1e-3, 0.05, "Write a radius from 1 to 50 mm.") = study_key(
        "radius of an earth rod", '"8 mm"', "m", 8e-3
    )
    rod_spacing: quantity("m", 0.1, 100, "Write a distance from 0.1 to 100 m.") = study_key(
        "distance between two earth rods", '"3 m"', "m", 3.0
    )
    azimuth: quantity("1", -360, 360, "Write degrees from -360 to 360.") = study_key(
        "arrival of the wanted signal, degrees from the direction in which the wire runs", '"0"', "1", 0.0
    )
    elevation: quantity("1", 1, 89, "Write degrees from 1 to 89.") = study_key(
        "arrival of the wanted signal, degrees above the horizon", '"20"', "1", 20.0
    )
    stray: quantity("F", 0, 1e-9, "Write 0 to 1 nF.") = study_key(
        "capacitance of box, clamp and connector across its terminals", '"3 pF"', "F", 3e-12
    )

    @model_validator(mode="after")
    def _wire(self):
        if not self.radius <= self.coat_radius <= self.height < self.length / 4:
            raise QuantityError(
                f"a radius of {self.radius * 1e3:g} mm, insulation of {self.coat_radius * 1e3:g} mm and a height"
                f" of {self.height * 1e3:g} mm do not fit.",
                "The insulation's radius must be at least the conductor's, the height of the axis at least both.",
            )
        if self.wires == 2 and self.spacing < 2 * self.coat_radius:
            raise QuantityError(
                f"a spacing of {self.spacing * 1e3:g} mm is less than two insulated wires side by side.",
                f"Write at least {2e3 * self.coat_radius:g} mm.",
            )
        rods = max(electrode_parts(self.far_end)[1], electrode_parts(self.ground_loss)[1])
        if rods and (self.rod_length < 4 * self.rod_radius or self.rod_spacing <= 2 * self.rod_radius):
            raise QuantityError(
                f"earth rods of {self.rod_length:g} m with a radius of {self.rod_radius * 1e3:g} mm,"
                f" {self.rod_spacing:g} m apart, do not fit.",
                "A rod must be longer than four radii, and two must not touch.",
            )
        return self


class ShortDipole(StudyTable):
    """A level dipole much shorter than half a wave, above soil; for an amplifier with two inputs."""

    model: Literal["short-dipole"] = study_key("which antenna it is", '"short-dipole"')
    length: quantity("m", 0.5, 60, "Write a length from 0.5 to 60 m.") = study_key("tip to tip", '"10 m"', "m")
    radius: quantity("m", 1e-4, 0.2, "Write a radius from 0.1 mm to 0.2 m.") = study_key(
        "radius of the conductor, half its diameter", '"2 mm"', "m"
    )
    height: quantity("m", 0.5, 1000, "Write a height from 0.5 to 1000 m.") = study_key(
        "height of the wire above the soil", '"20 m"', "m"
    )
    gap: quantity("m", 2e-3, 1, "Write a gap from 2 mm to 1 m.") = study_key(
        "distance of the two legs in the middle", '"75 mm"', "m", 0.075
    )
    soil: Annotated[str, BeforeValidator(_soil)] = study_key(
        "kind of soil: " + ", ".join(soil.name for soil in SOILS), '"average"', default="average"
    )
    soil_permittivity: quantity("1", 1, 100, "Write 1 to 100.") | None = study_key(
        "relative permittivity of the soil, in place of the kind's", '"13"', "1", None
    )
    soil_conductivity: quantity("S/m", 1e-5, 10, 'Write 1e-5 to 10 S/m, for example "0.005 S/m".') | None = study_key(
        "conductivity of the soil, in place of the kind's", '"0.005 S/m"', "S/m", None
    )
    azimuth: quantity("1", -360, 360, "Write degrees from -360 to 360.") = study_key(
        "arrival of the wanted signal, degrees from the direction of the wire", '"90"', "1", 90.0
    )
    elevation: quantity("1", 1, 89, "Write degrees from 1 to 89.") = study_key(
        "arrival of the wanted signal, degrees above the horizon", '"30"', "1", 30.0
    )
    stray: quantity("F", 0, 1e-9, "Write 0 to 1 nF.") = study_key(
        "capacitance of box, clamp and connector from each leg to ground", '"3 pF"', "F", 3e-12
    )

    @model_validator(mode="after")
    def _dipole(self):
        if self.length < 20 * self.radius or self.height < 20 * self.radius or self.gap > self.length / 10:
            raise QuantityError(
                f"a length of {self.length:g} m, a radius of {self.radius:g} m, a gap of {self.gap:g} m and a height"
                f" of {self.height:g} m do not fit.",
                "Length and height must be at least twenty times the radius, the gap at most a tenth of the length.",
            )
        return self


class Measured(StudyTable):
    """An antenna of which the impedance stands in a file, measured or from another program."""

    model: Literal["measured"] = study_key("which antenna it is", '"measured"')
    file: Text = study_key(
        "file of its impedance beside the study: Touchstone (.s1p), or a table (.csv, docs/own-antenna.md)",
        '"vertical.s1p"',
    )
    state: Text | None = study_key(
        "which rows of a table with a column state: vary it to compare them", '"wet"', default=None
    )
    effective_height: quantity("m", 1e-4, 1e4, "Write a height from 0.1 mm to 10 km.") | None = study_key(
        "open-circuit voltage per total vertical field at the ground, about half a short vertical's height; without it"
        " nothing is said about outside noise",
        '"3 m"',
        "m",
        None,
    )
    ground_loss: quantity("ohm", 0, 1e4, "Write 0 to 10k.") | None = study_key(
        "part of its resistance that is loss, a noisy one; left out: all that 40 (k h)² of the effective height h does"
        " not account for",
        '"10"',
        "ohm",
        None,
    )
    stray: quantity("F", 0, 1e-9, "Write 0 to 1 nF.") = study_key(
        "capacitance across its terminals that was not there when it was measured", '"3 pF"', "F", 0.0
    )


DUMMY = part_value("F", 1e-14, 1e-6, "Write 0.01 pF to 1 uF.")
STRAY = part_value("F", 0, 1e-9, "Write 0 to 1 nF.")
_JIG = "; its tolerance is drawn once a build, as one jig measures all its units"


def dummy_key():
    """Key of a bench's dummy antenna."""
    said = f"series capacitor, the dummy antenna; one in each leg before a circuit with two inputs{_JIG}"
    return study_key(said, '"47p 1%"', "F", parse_part("47p", "F"))


def stray_key():
    """Key of a bench's own stray."""
    said = "capacitance from the amplifier's input, or from each, to ground, of the fixture itself"
    return study_key(said, '"1p 20%"', "F", parse_part(0, "F"))


class Fixture(StudyTable):
    """A bench source in place of an antenna: it receives no field, so there is no noise margin."""

    model: Literal["fixture"] = study_key("which antenna it is", '"fixture"')
    source: quantity("ohm", 0, 1e6, "Write 0 to 1M.") = study_key("resistance of the source", '"50"', "ohm", 50.0)
    dummy: DUMMY = dummy_key()
    stray: STRAY = stray_key()


Antenna = Annotated[ShortVertical | ShortDipole | GroundWire | Plain | Measured | Fixture, Field(discriminator="model")]

ANTENNA_MODELS = {
    "short-vertical": ShortVertical,
    "short-dipole": ShortDipole,
    "ground-wire": GroundWire,
    "plain": Plain,
    "measured": Measured,
    "fixture": Fixture,
}
"""Models of antennas by name."""
