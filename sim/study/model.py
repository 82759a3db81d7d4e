"""The study as frozen, typed models: every key, its unit, its default, an example, what it means.

The models hold SI numbers. Text such as "8.2p 5 %" is read on the way in; what is wrong with it is said by
:mod:`sim.quantity` and put in its place, with file and line, by :mod:`sim.study.read`. Help and the documentation of
keys are made from the fields by :mod:`sim.study.schema`.
"""

from functools import partial
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Discriminator, Field, Tag, model_validator

from sim.antenna.earth_line import SOILS
from sim.errors import nearest, shown
from sim.feedline.ends import WORDS as FAR_ENDS
from sim.noise.level import share_of
from sim.quantity import (
    Limit,
    PartValue,
    QuantityError,
    Tolerance,
    parse_limit,
    parse_part,
    parse_quantity,
    parse_span,
)
from sim.study.electrode import electrode, electrode_parts
from sim.study.lines import line_of
from sim.study.preferred import preferred_values

LOWEST_BAND_HZ, HIGHEST_BAND_HZ = 5e4, 6e7
LONGEST_TEXT = 200
MOST_VALUES = 1000
MOST_SOURCES = 40
"""Leads, and capacitances: a map of both has as many squared."""
ANTENNA_CASES = ("nominal", "removed", "shorted")
"""What may stand at the amplifier's input in the judging of antennas."""


def _number(text, unit: str, low: float, high: float, what: str) -> float:
    value = parse_quantity(text, unit)
    if not low <= value <= high:
        raise QuantityError(f"{shown(text)} is out of range.", what)
    return value


def _quantity(unit: str, low: float, high: float, what: str):
    return Annotated[float, BeforeValidator(partial(_number, unit=unit, low=low, high=high, what=what))]


def _drawn(value, unit: str, low: float, high: float, what: str) -> PartValue:
    part = value if isinstance(value, PartValue) else parse_part(value, unit)
    if not low <= part.value <= high:
        raise QuantityError(f"{shown(value)} is out of range.", what)
    return part


def _part(unit: str, low: float, high: float, what: str):
    """A value that may have a tolerance and words, as the parts of a circuit have."""
    return Annotated[PartValue, BeforeValidator(partial(_drawn, unit=unit, low=low, high=high, what=what))]


_SERIES = PartValue(0.0, Tolerance(-0.01, 0.01), ("thick-film",))


def _series(value) -> PartValue:
    what = 'Write 0.1 to 100k, for example "47" or "47 1% thick-film lot", or 0 for none.'
    part = value if isinstance(value, PartValue) else parse_part(value, "ohm", default=_SERIES)
    if part.value != 0 and not 0.1 <= part.value <= 1e5:
        raise QuantityError(f"{shown(value)} is out of range.", what)
    return part


def _whole(value, low: int, high: int, what: str) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise QuantityError(f"{shown(value)} is not a whole number.", what)
    if not low <= value <= high:
        raise QuantityError(f"{shown(value)} is out of range.", what)
    return value


def _whole_number(low: int, high: int, what: str):
    return Annotated[int, BeforeValidator(partial(_whole, low=low, high=high, what=what))]


def is_plain_text(value) -> bool:
    """Whether a value is one line of text, neither empty nor very long."""
    return isinstance(value, str) and bool(value.strip()) and value.isprintable() and len(value) <= LONGEST_TEXT


def _text(value) -> str:
    if not isinstance(value, str) or not value.strip():
        raise QuantityError(f"{shown(value)} is no text.", 'Write words in quotes: "…".')
    # Text goes into decks, tables and pages as it is, so it must not begin a line of its own there.
    if not is_plain_text(value):
        raise QuantityError(f"{shown(value)} is no plain line of text.", f"Write one line, up to {LONGEST_TEXT} signs.")
    return value


def _filled(values, what: str) -> None:
    if not isinstance(values, list | tuple):
        raise QuantityError(f"{shown(values)} is not a list.", what)
    if not values:
        raise QuantityError("the list is empty.", what)


def _frequencies(values) -> tuple[float, ...]:
    _filled(values, 'Write, for example, ["1.83M", "7.05M"].')
    what = 'Write frequencies between 50 kHz and 60 MHz, for example "1.83M".'
    read = tuple(_number(value, "Hz", LOWEST_BAND_HZ, HIGHEST_BAND_HZ, what) for value in values)
    if any(b <= a for a, b in zip(read, read[1:], strict=False)):
        raise QuantityError("the frequencies do not rise.", "Write each frequency once, lowest first.")
    if len(read) > MOST_VALUES:
        raise QuantityError(f"there are {len(read)} frequencies.", f"Write at most {MOST_VALUES}.")
    return read


def _levels(values) -> tuple[float, ...]:
    _filled(values, "Write, for example, [62, 55, 48].")
    return tuple(_number(value, "dB", -200, 300, "Write decibels between -200 and 300.") for value in values)


def _temperature(value) -> tuple[float, float]:
    # A pair is what this model itself holds, so that a study can be made from another one's values.
    try:
        low, high = value if isinstance(value, tuple) else parse_span(value, "degC")
    except QuantityError as error:
        remedy = 'Write degrees Celsius: one value, "20", or a range, "-10..35".'
        raise QuantityError(error.found, error.remedy if "downwards" in error.found else remedy) from error
    if low < -60 or high > 100:
        raise QuantityError(f"{shown(value)} is out of range.", "Write temperatures from -60 to 100 degrees Celsius.")
    return low, high


def _part_text(value) -> str:
    if isinstance(value, int | float) and not isinstance(value, bool):
        # A number of hundreds of digits is refused here, not shown.
        return repr(parse_quantity(value, "1"))
    return _text(value)


def _limit(value) -> Limit:
    return value if isinstance(value, Limit) else parse_limit(value)


def _values(values) -> tuple[str | int | float, ...]:
    example = 'Write, for example, values = ["0", "60 m", "120 m"].'
    if isinstance(values, str):
        values = preferred_values(values)
    _filled(values, example)
    if len(values) > MOST_VALUES:
        raise QuantityError(f"there are {len(values)} values.", f"Write at most {MOST_VALUES}.")
    seen: set[str | int | float] = set()
    for value in values:
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise QuantityError(f"{shown(value)} is no text and no number.", example)
        if value in seen:
            raise QuantityError(f"{shown(value)} is there twice.", "Write each value once.")
        seen.add(value)
    return tuple(values)


Text = Annotated[str, BeforeValidator(_text)]


class _Table(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)

    @property
    def unsaid(self) -> tuple[str, ...]:
        """Keys that are not written out, because others take their place."""
        return ()


def _field(description: str, example: str, unit: str = "", default: Any = ...):
    return Field(default=default, description=description, json_schema_extra={"unit": unit, "example": example})


class Amplifier(_Table):
    """The amplifier at the feedpoint."""

    circuit: Text = _field(
        "circuit that comes with the program (bandfloor list circuits), or a file of your own beside the study",
        '"transimpedance"',
    )
    opamp: Text = _field(
        "op-amp of the catalogue (bandfloor list opamps), or a record of your own beside the study", '"OPA810"'
    )
    series_input: Annotated[PartValue, BeforeValidator(_series)] | None = _field(
        "stopper resistor between antenna and circuit, as a part: value, tolerance, words; without them 1 % thick-film,"
        " 0: none",
        '"220 1%"',
        "ohm",
        None,
    )
    series_output: Annotated[PartValue, BeforeValidator(_series)] | None = _field(
        "resistor between circuit and feedline, likewise", '"47 1%"', "ohm", None
    )
    parts: dict[str, Annotated[str, BeforeValidator(_part_text)]] = _field(
        "part of the circuit that differs from the circuit's own: value, tolerance, words",
        '"8.2p 5% C0G lot"',
        default={},
    )


class ShortVertical(_Table):
    """A vertical over ground, short against the wavelength or up to 4.2 radian of height.

    Up to 1.6 radian a four-element network fitted to NEC-2, within 2 % of it; above, to 4.2 radian or 30 MHz, an open
    line, within 26 % in impedance and 1 dB in effective height of own moment-method runs.
    """

    model: Literal["short-vertical"] = _field("which antenna it is", '"short-vertical"')
    height: _quantity("m", 0.3, 30, "Write a height from 0.3 to 30 m.") = _field(
        "height of the conductor", '"7 m"', "m"
    )
    radius: _quantity("m", 1e-4, 0.2, "Write a radius from 0.1 mm to 0.2 m.") = _field(
        "radius of the conductor, half its diameter", '"8 mm"', "m"
    )
    gap: _quantity("m", 1e-3, 1, "Write a gap from 1 mm to 1 m.") = _field(
        "length of the insulator at its base", '"75 mm"', "m", 0.075
    )
    ground_loss: _quantity("ohm", 0, 1e4, "Write 0 to 10k.") = _field(
        "resistance of its ground connection, a noisy one", '"30"', "ohm", 30.0
    )
    lead: _quantity("H", 0, 1e-3, "Write 0 to 1 mH.") = _field(
        "inductance of the lead between antenna and amplifier, about 1 uH a metre", '"0.3 uH"', "H", 0.0
    )
    stray: _quantity("F", 0, 1e-9, "Write 0 to 1 nF.") = _field(
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


class Plain(_Table):
    """Resistors, capacitor and inductor in series: for sweeps of the source impedance."""

    model: Literal["plain"] = _field("which antenna it is", '"plain"')
    effective_height: _quantity("m", 1e-4, 1e4, "Write a height from 0.1 mm to 10 km.") = _field(
        "open-circuit voltage per total vertical field at the ground", '"2.9 m"', "m"
    )
    resistance: _quantity("ohm", 0, 1e6, "Write 0 to 1M.") = _field("loss resistance, a noisy one", '"30"', "ohm", 0.0)
    radiation: _quantity("ohm", 0, 1e6, "Write 0 to 1M.") = _field(
        "radiation resistance: noiseless, the site's noise stands for it", '"0.5"', "ohm", 0.0
    )
    capacitance: _quantity("F", 1e-14, 1e-3, "Write 0.01 pF to 1 mF.") | None = _field(
        "series capacitance; left out: none", '"62 pF"', "F", None
    )
    inductance: _quantity("H", 0, 1, "Write 0 to 1 H.") = _field("series inductance", '"1.2 uH"', "H", 0.0)
    stray: _quantity("F", 0, 1e-9, "Write 0 to 1 nF.") = _field(
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


class GroundWire(_Table):
    """A long wire, or a pair, on or just above the ground, fed at its end against an earth electrode, or in its middle.

    Line formulas of Carson, Sunde and Wise; compared with NEC-2 from 1.5 to 8 MHz. Pairs and earth rods are estimates.
    """

    model: Literal["ground-wire"] = _field("which antenna it is", '"ground-wire"')
    length: _quantity("m", 3, 1000, "Write a length from 3 to 1000 m.") = _field("whole length", '"120 m"', "m")
    radius: _quantity("m", 5e-5, 5e-3, "Write a radius from 0.05 to 5 mm.") = _field(
        "radius of the conductor", '"0.5 mm"', "m", 5e-4
    )
    coat_radius: _quantity("m", 5e-5, 0.02, "Write a radius from 0.05 to 20 mm.") = _field(
        "outer radius of the insulation; the conductor's for a bare wire", '"1.2 mm"', "m", 1.2e-3
    )
    coat_permittivity: _quantity("1", 1, 20, "Write 1 to 20.") = _field(
        "relative permittivity of the insulation", '"3.5"', "1", 3.5
    )
    height: _quantity("m", 5e-4, 2, "Write a height from 0.5 mm to 2 m.") = _field(
        "effective height of the axis above the soil: grass and unevenness count", '"20 mm"', "m", 0.02
    )
    wires: Literal[1, 2] = _field("1, or 2 for a pair joined at both ends", "2", default=1)
    spacing: _quantity("m", 1e-3, 5, "Write a distance from 1 mm to 5 m.") = _field(
        "distance between the wires of a pair, axis to axis", '"30 cm"', "m", 0.3
    )
    soil: Annotated[str, BeforeValidator(_soil)] = _field(
        "kind of soil: " + ", ".join(soil.name for soil in SOILS), '"average"', default="average"
    )
    soil_permittivity: _quantity("1", 1, 100, "Write 1 to 100.") | None = _field(
        "relative permittivity of the soil, in place of the kind's", '"13"', "1", None
    )
    soil_conductivity: _quantity("S/m", 1e-5, 10, 'Write 1e-5 to 10 S/m, for example "0.005 S/m".') | None = _field(
        "conductivity of the soil, in place of the kind's", '"0.005 S/m"', "S/m", None
    )
    far_end: Annotated[str | float, BeforeValidator(partial(electrode, least=1e-3, may_open=True))] = _field(
        '"open"; the resistance to earth at the far end, electrode included; "rod", "two rods", or "300 + rod"',
        '"300 + rod"',
        "ohm",
        "open",
    )
    feed: Literal["end", "centre"] = _field(
        '"end": against an earth electrode; "centre": in the middle, without one', '"end"', default="end"
    )
    ground_loss: Annotated[str | float, BeforeValidator(partial(electrode, least=0.0, may_open=False))] = _field(
        'electrode at the feed, a noisy one: resistance, "rod" or "two rods"; not used in the middle',
        '"50"',
        "ohm",
        50.0,
    )
    rod_length: _quantity("m", 0.1, 10, "Write a length from 0.1 to 10 m.") = _field(
        "length of an earth rod in the soil", '"1.5 m"', "m", 1.5
    )
    rod_radius: _quantity("m", 1e-3, 0.05, "Write a radius from 1 to 50 mm.") = _field(
        "radius of an earth rod", '"8 mm"', "m", 8e-3
    )
    rod_spacing: _quantity("m", 0.1, 100, "Write a distance from 0.1 to 100 m.") = _field(
        "distance between two earth rods", '"3 m"', "m", 3.0
    )
    azimuth: _quantity("1", -360, 360, "Write degrees from -360 to 360.") = _field(
        "arrival of the wanted signal, degrees from the direction in which the wire runs", '"0"', "1", 0.0
    )
    elevation: _quantity("1", 1, 89, "Write degrees from 1 to 89.") = _field(
        "arrival of the wanted signal, degrees above the horizon", '"20"', "1", 20.0
    )
    stray: _quantity("F", 0, 1e-9, "Write 0 to 1 nF.") = _field(
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


class ShortDipole(_Table):
    """A level dipole much shorter than half a wave, above soil; for an amplifier with two inputs."""

    model: Literal["short-dipole"] = _field("which antenna it is", '"short-dipole"')
    length: _quantity("m", 0.5, 60, "Write a length from 0.5 to 60 m.") = _field("tip to tip", '"10 m"', "m")
    radius: _quantity("m", 1e-4, 0.2, "Write a radius from 0.1 mm to 0.2 m.") = _field(
        "radius of the conductor, half its diameter", '"2 mm"', "m"
    )
    height: _quantity("m", 0.5, 1000, "Write a height from 0.5 to 1000 m.") = _field(
        "height of the wire above the soil", '"20 m"', "m"
    )
    gap: _quantity("m", 2e-3, 1, "Write a gap from 2 mm to 1 m.") = _field(
        "distance of the two legs in the middle", '"75 mm"', "m", 0.075
    )
    soil: Annotated[str, BeforeValidator(_soil)] = _field(
        "kind of soil: " + ", ".join(soil.name for soil in SOILS), '"average"', default="average"
    )
    soil_permittivity: _quantity("1", 1, 100, "Write 1 to 100.") | None = _field(
        "relative permittivity of the soil, in place of the kind's", '"13"', "1", None
    )
    soil_conductivity: _quantity("S/m", 1e-5, 10, 'Write 1e-5 to 10 S/m, for example "0.005 S/m".') | None = _field(
        "conductivity of the soil, in place of the kind's", '"0.005 S/m"', "S/m", None
    )
    azimuth: _quantity("1", -360, 360, "Write degrees from -360 to 360.") = _field(
        "arrival of the wanted signal, degrees from the direction of the wire", '"90"', "1", 90.0
    )
    elevation: _quantity("1", 1, 89, "Write degrees from 1 to 89.") = _field(
        "arrival of the wanted signal, degrees above the horizon", '"30"', "1", 30.0
    )
    stray: _quantity("F", 0, 1e-9, "Write 0 to 1 nF.") = _field(
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


class Measured(_Table):
    """An antenna of which the impedance stands in a file, measured or from another program."""

    model: Literal["measured"] = _field("which antenna it is", '"measured"')
    file: Text = _field(
        "file of its impedance beside the study: Touchstone (.s1p), or a table (.csv, docs/own-antenna.md)",
        '"vertical.s1p"',
    )
    state: Text | None = _field(
        "which rows of a table with a column state: vary it to compare them", '"wet"', default=None
    )
    effective_height: _quantity("m", 1e-4, 1e4, "Write a height from 0.1 mm to 10 km.") | None = _field(
        "open-circuit voltage per total vertical field at the ground, about half a short vertical's height; without it"
        " nothing is said about outside noise",
        '"3 m"',
        "m",
        None,
    )
    ground_loss: _quantity("ohm", 0, 1e4, "Write 0 to 10k.") | None = _field(
        "part of its resistance that is loss, a noisy one; left out: all that 40 (k h)² of the effective height h does"
        " not account for",
        '"10"',
        "ohm",
        None,
    )
    stray: _quantity("F", 0, 1e-9, "Write 0 to 1 nF.") = _field(
        "capacitance across its terminals that was not there when it was measured", '"3 pF"', "F", 0.0
    )


_DUMMY = _part("F", 1e-14, 1e-6, "Write 0.01 pF to 1 uF.")
_STRAY = _part("F", 0, 1e-9, "Write 0 to 1 nF.")
_JIG = "; its tolerance is drawn once a build, as one jig measures all its units"


class Fixture(_Table):
    """A bench source in place of an antenna: it receives no field, so there is no noise margin."""

    model: Literal["fixture"] = _field("which antenna it is", '"fixture"')
    source: _quantity("ohm", 0, 1e6, "Write 0 to 1M.") = _field("resistance of the source", '"50"', "ohm", 50.0)
    dummy: _DUMMY = _field(
        f"series capacitor, the dummy antenna; one in each leg before a circuit with two inputs{_JIG}",
        '"47p 1%"',
        "F",
        parse_part("47p", "F"),
    )
    stray: _STRAY = _field(
        "capacitance from the amplifier's input, or from each, to ground, of the fixture itself",
        '"1p 20%"',
        "F",
        parse_part(0, "F"),
    )


_LENGTH = _quantity("m", 0, 3000, "Write a length from 0 to 3000 m.")


class Section(_Table):
    """One of several lengths of cable in series."""

    cable: Text = _field("cable of this section, as in [feedline]", '"rg6-ccs"')
    length: _LENGTH = _field("length of this section; the first begins at the amplifier", '"60 m"', "m")


class Tee(_Table):
    """Bias tees that put the supply onto the coax: a choke and a blocking capacitor."""

    at: Literal["both", "amplifier", "receiver"] = _field(
        "at which ends of the feedline one stands", '"both"', default="both"
    )
    choke: _part("H", 1e-7, 10, "Write 0.1 uH to 10 H.") = _field(
        "inductance of the choke at the supply current", '"220u 20%"', "H", parse_part("220u", "H")
    )
    choke_capacitance: _part("F", 0, 1e-6, "Write 0 to 1 uF.") = _field(
        "capacitance across the choke, which makes its self-resonance", '"5p 30%"', "F", parse_part("5p", "F")
    )
    choke_loss: _part("ohm", 1, 1e9, "Write 1 to 1G.") = _field(
        "resistance across the choke that stands for its core, a noisy one", '"5k 20%"', "ohm", parse_part("5k", "ohm")
    )
    choke_resistance: _part("ohm", 0, 1e4, "Write 0 to 10k.") = _field(
        "DC resistance of the choke's winding at 20 °C", '"2 10%"', "ohm", parse_part("2", "ohm")
    )
    block: _part("F", 1e-12, 1, "Write 1 pF to 1 F.") = _field(
        "blocking capacitor in the signal's way", '"100n 10% X7R"', "F", parse_part("100n", "F")
    )


def _sections(values):
    example = 'Write, for example, [{cable = "rg6-ccs", length = "60 m"}, {cable = "rg58", length = "5 m"}].'
    _filled(values, example)
    for value in values:
        if not isinstance(value, dict | Section):
            raise QuantityError(f"{shown(value)} is no section.", example)
    if len(values) > MOST_VALUES:
        raise QuantityError(f"there are {len(values)} sections.", f"Write at most {MOST_VALUES}.")
    return values


class Feedline(_Table):
    """From the amplifier to the receiver."""

    cable: Text = _field(
        "cable that comes with the program (bandfloor list cables), or a record of your own beside the study",
        '"rg6-ccs"',
        default="rg6-ccs",
    )
    length: _LENGTH = _field("length of the cable", '"120 m"', "m", 0.0)
    sections: Annotated[tuple[Section, ...], BeforeValidator(_sections)] | None = Field(
        default=None,
        description="instead of cable and length: lengths of cable in series, from the amplifier to the receiver",
    )
    power: Literal["coax", "separate"] = _field(
        '"coax": the supply current flows through the feedline; "separate": through wires of its own',
        '"coax"',
        default="coax",
    )
    length_tolerance: _quantity("m", 0, 100, "Write 0 to 100 m.") = _field(
        "how far the length of a unit's own feedline may be off, either way", '"0.1 m"', "m", 0.0
    )
    velocity_tolerance: _quantity("1", 0, 0.2, 'Write 0 to 20 %, for example "0.5 %".') = _field(
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


class Supply(_Table):
    """The supply at the receiver's end, and what draws on it at the unit beside the amplifier."""

    voltage: _part("V", 1, 60, 'Write 1 to 60 V, for example "12 V 5%".') = _field(
        "voltage and its tolerance", '"12 V 5%"', "V", parse_part("12 V 5%", "V")
    )
    regulator: _part("V", 1, 60, 'Write 1 to 60 V, for example "8 V 2%".') | None = _field(
        "output of a regulator at the unit, which then feeds the amplifier", '"8 V 2%"', "V", None
    )
    dropout: _part("V", 0, 20, 'Write 0 to 20 V, for example "0.5 V".') | None = _field(
        "volts that the regulator needs above its output; left out: 0.5 V", '"0.5 V"', "V", None
    )
    efficiency: _quantity("1", 0.1, 1, 'Write 10 to 100 %, for example "85 %".') | None = _field(
        "of a switching regulator, which draws constant power; left out: a linear one, which passes the current on",
        '"85 %"',
        "1",
        None,
    )
    extra_current: _part("A", 0, 10, 'Write 0 to 10 A, for example "5 mA".') | None = _field(
        "constant current drawn at the unit beside the amplifier's: the regulator's own, a lamp, a relay",
        '"5 mA 20%"',
        "A",
        None,
    )
    converter_power: _part("W", 0, 100, 'Write 0 to 100 W, for example "0.6 W".') | None = _field(
        "constant power drawn at the unit beside the amplifier's, by a switching converter", '"0.6 W"', "W", None
    )

    @model_validator(mode="after")
    def _whose(self):
        for key in ("dropout", "efficiency"):
            if self.regulator is None and getattr(self, key) is not None:
                raise QuantityError(f"{key} belongs to a regulator, and there is none.", 'Add regulator = "8 V".')
        return self

    @property
    def known_dropout(self) -> PartValue:
        """The dropout, or what is usual; common practice, no source. [V]"""
        return self.dropout or PartValue(0.5, None)


class Receiver(_Table):
    """What the feedline ends in."""

    impedance: _quantity("ohm", 1, 1e5, "Write 1 to 100k.") = _field("input resistance", '"75"', "ohm", 75.0)
    noise_figure: _quantity("dB", 0, 60, "Write 0 to 60 dB.") = _field(
        "noise figure on its own impedance, with all that stands before it", '"12 dB"', "dB", 12.0
    )


class NoiseTable(_Table):
    """Noise that the builder measured: external noise figures, or field strengths in 1 Hz."""

    frequencies: Annotated[tuple[float, ...], BeforeValidator(_frequencies)] = _field(
        "frequencies of the measurements, with all bands between them", '["1.8M", "3.5M", "7M"]', "Hz"
    )
    fa_db: Annotated[tuple[float, ...], BeforeValidator(_levels)] | None = _field(
        "external noise figure above kT0", "[52, 44, 36]", "dB", None
    )
    field_dbuv_per_m: Annotated[tuple[float, ...], BeforeValidator(_levels)] | None = _field(
        "or field strength above 1 µV/m, in a bandwidth of 1 Hz", "[-38, -40, -42]", "dB", None
    )

    @model_validator(mode="after")
    def _one_column(self):
        given = [levels for levels in (self.fa_db, self.field_dbuv_per_m) if levels is not None]
        if len(given) != 1:
            raise QuantityError(
                f"{'both' if given else 'neither'} of fa_db and field_dbuv_per_m {'are' if given else 'is'} given.",
                "Give one of them.",
            )
        if len(given[0]) != len(self.frequencies):
            raise QuantityError(
                f"{len(self.frequencies)} frequencies stand beside {len(given[0])} level{'s' * (len(given[0]) > 1)}.",
                "Give one level for each frequency.",
            )
        if len(self.frequencies) < 2:
            raise QuantityError("there is one frequency.", "Give two or more, with all bands between them.")
        return self


def _level(value) -> str:
    remedy = 'Write "median", "lower-decile", "upper-decile", or a percentile from "1 %" to "99 %".'
    if not is_plain_text(value):
        raise QuantityError(f"{shown(value)} is no level of noise.", remedy)
    try:
        share_of(value)
    except ValueError:
        raise QuantityError(f"{shown(value)} is no level of noise.", remedy) from None
    return value


def _location(value) -> str:
    if value == "any":
        return value
    try:
        return _level(value)
    except QuantityError:
        remedy = 'Write "median", "lower-decile", "upper-decile", a percentile from "1 %" to "99 %", or "any".'
        raise QuantityError(f"{shown(value)} is no location.", remedy) from None


def _word_or_table(value) -> str:
    return "table" if isinstance(value, dict | NoiseTable) else "word"


class Site(_Table):
    """Where the antenna stands."""

    noise: Annotated[
        Annotated[Text, Tag("word")] | Annotated[NoiseTable, Tag("table")], Discriminator(_word_or_table)
    ] = _field(
        "class of noise of ITU-R P.372 (bandfloor list noise), or a table of your own measurements",
        '"quiet-rural"',
        default="quiet-rural",
    )
    level: Annotated[str, BeforeValidator(_level)] = _field(
        "how noisy the day is: median, lower-decile (a quiet day), upper-decile, or a percentile over time",
        '"lower-decile"',
        default="median",
    )
    location: Annotated[str, BeforeValidator(_location)] = _field(
        "how noisy the place is among those of its class: median, lower-decile, upper-decile or a percentile;"
        ' "any": the level is one of time and place together',
        '"any"',
        default="median",
    )
    fof2: _quantity("Hz", 1e6, 3e7, 'Write 1 to 30 MHz, for example "5M".') | None = _field(
        "critical frequency of the F2 layer, above which galactic noise is added; left out without it",
        '"5M"',
        "Hz",
        None,
    )
    atmospheric: Text | None = _field(
        "record of atmospheric noise that is added (bandfloor list noise); left out without it",
        '"50N-10E-january-noon"',
        default=None,
    )

    @model_validator(mode="after")
    def _one_noise_once(self):
        if isinstance(self.noise, NoiseTable):
            given = [
                key
                for key, is_given in (
                    ("level", self.level != "median"),
                    ("location", self.location != "median"),
                    ("fof2", self.fof2 is not None),
                    ("atmospheric", self.atmospheric is not None),
                )
                if is_given
            ]
            if given:
                raise QuantityError(
                    f"{given[0]} stands beside a table of measurements, which holds all noise and has no deciles.",
                    f"Take {' and '.join(given)} out, or name a class of noise.",
                )
        elif self.noise == "galactic" and self.fof2 is not None:
            raise QuantityError(
                "fof2 would add galactic noise to the noise class galactic.", "Take one of them out."
            )
        return self


def _names(values, what: str) -> tuple[str, ...]:
    _filled(values, what)
    if len(values) > MOST_VALUES:
        raise QuantityError(f"there are {len(values)} of them.", f"Write at most {MOST_VALUES}.")
    for number, value in enumerate(values):
        if value in values[:number]:
            raise QuantityError(f"{shown(value)} is there twice.", "Write each once.")
    return tuple(_text(value) for value in values)


def _cables(values) -> tuple[str, ...]:
    return _names(values, 'Write, for example, ["rg6-ccs", "rg58"].')


def _lengths(values) -> tuple[float, ...]:
    _filled(values, 'Write, for example, ["0.5 m", "5 m", "50 m"].')
    what = 'Write lengths from 1 cm to 3000 m, for example "0.5 m".'
    read = tuple(_number(value, "m", 0.01, 3000, what) for value in values)
    if len(read) > MOST_VALUES:
        raise QuantityError(f"there are {len(read)} lengths.", f"Write at most {MOST_VALUES}.")
    if any(b <= a for a, b in zip(read, read[1:], strict=False)):
        raise QuantityError("the lengths do not rise.", "Write each length once, shortest first.")
    return read


def _far_ends(values) -> tuple[str, ...]:
    known = f"Known: {', '.join(FAR_ENDS)}, or a Touchstone file beside the study that ends in .s1p."
    for value in (names := _names(values, 'Write, for example, ["open", "short", "matched"].')):
        if value not in FAR_ENDS and not value.lower().endswith(".s1p"):
            near = nearest(value, FAR_ENDS, 0.4)
            hint = f"Nearest: {near}. " if near else ""
            raise QuantityError(f"there is no far end {shown(value)}.", hint + known)
    return names


def _antennas(values) -> tuple[str, ...]:
    for value in (names := _names(values, 'Write, for example, ["nominal", "removed", "shorted"].')):
        if value not in ANTENNA_CASES:
            near = nearest(value, ANTENNA_CASES, 0.4)
            hint = f"Nearest: {near}. " if near else ""
            raise QuantityError(f"there is no antenna {shown(value)}.", f"{hint}Known: {', '.join(ANTENNA_CASES)}.")
    return names


def _rising(values, unit: str, low: float, high: float, example: str, what: str) -> tuple[float, ...]:
    _filled(values, example)
    read = tuple(_number(value, unit, low, high, what) for value in values)
    if len(read) > MOST_SOURCES:
        raise QuantityError(f"there are {len(read)} of them.", f"Write at most {MOST_SOURCES}.")
    if any(b <= a for a, b in zip(read, read[1:], strict=False)):
        raise QuantityError("the values do not rise.", "Write each value once, smallest first.")
    return read


def _leads(values) -> tuple[float, ...]:
    what = 'Write inductances from 1 nH to 1 mH, for example "1u".'
    return _rising(values, "H", 1e-9, 1e-3, 'Write, for example, ["0.1u", "1u", "5u"].', what)


def _shares(values) -> tuple[float, ...]:
    what = "Write shares of the antenna's own capacitance from 0.01 to 100, for example 1.2."
    return _rising(values, "", 0.01, 100, "Write, for example, [0.7, 1, 1.5].", what)


class Stability(_Table):
    """What else the amplifier must be stable with, beside its own line matched and open."""

    cables: Annotated[tuple[str, ...], BeforeValidator(_cables)] = _field(
        "cables (bandfloor list cables), or records of your own; the study's own feedline is always among them",
        '["rg6-ccs", "rg58"]',
        default=("rg6-ccs", "rg11-cu", "rg213"),
    )
    lengths: Annotated[tuple[float, ...], BeforeValidator(_lengths)] = _field(
        "lengths of each cable, shortest first", '["0.5 m", "5 m", "50 m"]', "m",
        (0.2, 0.29, 0.41, 0.6, 0.86, 1.2, 1.8, 2.6, 3.7, 5.3, 7.7, 11.0, 16.0, 23.0, 33.0, 47.0, 68.0, 97.0, 140.0)
        + (200.0,),
    )
    far_ends: Annotated[tuple[str, ...], BeforeValidator(_far_ends)] = _field(
        "what stands at the far end of each: open, short (0.1 ohm), matched, half or double the cable's impedance,"
        " unplugged (an open stub of 30 mm; also with the plug off at the amplifier), or a Touchstone file .s1p",
        '["open", "short", "unplugged"]',
        default=FAR_ENDS,
    )
    antennas: Annotated[tuple[str, ...], BeforeValidator(_antennas)] = _field(
        "what stands at the input: nominal (the study's antenna, with each lead and each capacitance), removed (nothing"
        " but its stray), shorted (the input terminals joined, also through each lead)",
        '["nominal", "removed", "shorted"]',
        default=ANTENNA_CASES,
    )
    leads: Annotated[tuple[float, ...], BeforeValidator(_leads)] = _field(
        "inductance of a lead between antenna and amplifier, smallest first; no lead is always among them",
        '["0.1u", "1u", "5u"]', "H", (1e-7, 2e-7, 5e-7, 1e-6, 2e-6, 5e-6),
    )
    capacitances: Annotated[tuple[float, ...], BeforeValidator(_shares)] = _field(
        "capacitance of the antenna as a share of its own, its impedance divided by that: dry and wet, a short piece"
        " and a longer wire; 1 is always among them",
        "[0.7, 1, 1.5]",
        default=(0.25, 0.5, 0.7, 0.85, 1.0, 1.2, 1.5, 2.0),
    )


class Bands(_Table):
    """Where measures are read."""

    frequencies: Annotated[tuple[float, ...], BeforeValidator(_frequencies)] = _field(
        "frequencies, lowest first", '["1.83M", "3.53M", "7.05M"]', "Hz", (1.83e6, 3.53e6, 7.05e6)
    )


class Run(_Table):
    """How the virtual build is done."""

    units: _whole_number(1, 10_000_000, "Write a whole number from 1 to 10000000.") = _field(
        "virtual builds; unit 0, the nominal one, comes on top", "1000", default=1000
    )
    seed: _whole_number(1, 2**63 - 1, "Write a whole number, 1 or more.") = _field(
        "start of the random numbers: the same seed gives the same units", "1", default=1
    )
    temperature: Annotated[tuple[float, float], BeforeValidator(_temperature)] = _field(
        "one value, or a range from which each unit's is drawn", '"-20..40"', "degC", (20.0, 20.0)
    )
    build: _whole_number(2, 100_000, "Write a whole number from 2 to 100000.") = _field(
        "amplifiers made together: they share their lots, and a match is judged among them", "16", default=16
    )


class Bench(_Table):
    """The analyser's set-up, at which gain and phase are read."""

    source: _quantity("ohm", 0.1, 1e6, "Write 0.1 to 1M.") = _field(
        "resistance of the sending port", '"50"', "ohm", 50.0
    )
    dummy: _DUMMY = _field(
        f"series capacitor, the dummy antenna; one in each leg before a circuit with two inputs{_JIG}",
        '"47p 1%"',
        "F",
        parse_part("47p", "F"),
    )
    stray: _STRAY = _field(
        "capacitance from the amplifier's input, or from each, to ground, of the fixture itself",
        '"1p 20%"',
        "F",
        parse_part(0, "F"),
    )
    load: _quantity("ohm", 0.1, 1e6, "Write 0.1 to 1M.") = _field(
        "resistance of the receiving port", '"50"', "ohm", 50.0
    )


class Vary(_Table):
    """One choice to compare; several make all combinations."""

    what: Text = _field("dotted key of what is varied", '"feedline.length"')
    values: Annotated[tuple[Any, ...], BeforeValidator(_values)] = _field(
        "what it takes in turn: a list, or the preferred values (IEC 60063, E3 to E96) of a span, \"E12 10p..1n\"",
        '["0", "60 m", "120 m"]',
    )


Antenna = Annotated[
    ShortVertical | ShortDipole | GroundWire | Plain | Measured | Fixture, Field(discriminator="model")
]


class Study(_Table):
    """One receiving chain, the choices to compare and the limits to keep."""

    title: Text = _field("what the report is called", '"Square of 7 m verticals"')
    amplifier: Amplifier
    antenna: Antenna
    feedline: Feedline = Feedline()
    supply: Supply = Supply()
    receiver: Receiver = Receiver()
    site: Site = Site()
    bands: Bands = Bands()
    run: Run = Run()
    fixture: Bench = Bench()
    stability: Stability | None = Field(default=None, description="feedlines and antennas to be stable with")
    vary: tuple[Vary, ...] = ()
    limits: dict[str, Annotated[Limit, BeforeValidator(_limit)]] = _field(
        "bound that a measure must keep at every band (bandfloor list measures)", '"10 +- 1"', default={}
    )
    file: str = Field(default="", exclude=True, description="the study's file, as it was named")
    folder: str = Field(default=".", exclude=True, description="the folder of that file")
    lines: dict[tuple, int] = Field(default={}, exclude=True, repr=False, description="at which line each key stands")

    def line_of(self, key: str) -> int | None:
        """Line of a dotted key in the study's file, or of what it stands in; None where neither is written."""
        return line_of(self.lines, tuple(key.split(".")))

    def __eq__(self, other) -> bool:
        """Two studies are equal if they ask the same, wherever they were read from."""
        return isinstance(other, Study) and self.model_dump() == other.model_dump()

    def __hash__(self) -> int:
        return hash((self.title, self.amplifier.circuit, self.amplifier.opamp))


ANTENNA_MODELS = {
    "short-vertical": ShortVertical,
    "short-dipole": ShortDipole,
    "ground-wire": GroundWire,
    "plain": Plain,
    "measured": Measured,
    "fixture": Fixture,
}
"""Models of antennas by name."""
SET_BY_READER = ("file", "folder", "lines")
"""Fields of a study that no file may set."""
