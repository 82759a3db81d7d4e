"""The study as frozen, typed models: every key, its unit, its default, what it means.

The models hold SI numbers. Text such as "8.2p 5 %" is read on the way in; what is wrong with it is said by
:mod:`sim.quantity` and put in its place, with file and line, by :mod:`sim.study.read`.
"""

from functools import partial
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from sim.quantity import Limit, PartValue, QuantityError, parse_limit, parse_part, parse_quantity, parse_span

LOWEST_BAND_HZ, HIGHEST_BAND_HZ = 5e4, 6e7


def _number(text, unit: str, low: float, high: float, low_included: bool = True, what: str = "") -> float:
    value = parse_quantity(text, unit)
    above = value >= low if low_included else value > low
    if not (above and value <= high):
        raise QuantityError(f'"{text}" is out of range.', what)
    return value


def _quantity(unit: str, low: float, high: float, what: str, low_included: bool = True):
    return BeforeValidator(partial(_number, unit=unit, low=low, high=high, low_included=low_included, what=what))


def _whole(value, low: int, high: int, what: str) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise QuantityError(f"{value!r} is not what is needed here.", what)
    return value


def _text(value) -> str:
    if not isinstance(value, str) or not value.strip():
        raise QuantityError(f"{value!r} is no text.", 'Write words in quotes, for example "…".')
    return value


def _frequencies(values) -> tuple[float, ...]:
    if not isinstance(values, list | tuple) or not values:
        raise QuantityError(f"{values!r} is no list of frequencies.", 'Write, for example, ["1.83M", "7.05M"].')
    what = 'Write frequencies between 50 kHz and 60 MHz, for example "1.83M".'
    read = tuple(_number(v, unit="Hz", low=LOWEST_BAND_HZ, high=HIGHEST_BAND_HZ, what=what) for v in values)
    if any(b <= a for a, b in zip(read, read[1:], strict=False)):
        raise QuantityError("the frequencies do not rise.", "Write each frequency once, lowest first.")
    return read


def _levels(values) -> tuple[float, ...]:
    if not isinstance(values, list | tuple) or not values:
        raise QuantityError(f"{values!r} is no list of levels.", "Write, for example, [62, 55, 48].")
    return tuple(parse_quantity(value, "dB") for value in values)


def _temperature(text) -> tuple[float, float]:
    low, high = parse_span(text, "degC")
    if low < -60 or high > 100:
        raise QuantityError(f'"{text}" is out of range.', "Write temperatures between -60 and 100 degrees Celsius.")
    return low, high


def _supply(text) -> PartValue:
    value = parse_part(text, "V")
    if not 1 <= value.value <= 60:
        raise QuantityError(f'"{text}" is out of range.', 'Write a voltage between 1 and 60 V, for example "12 V 5%".')
    return value


def _part_text(value) -> str:
    if isinstance(value, int | float) and not isinstance(value, bool):
        return repr(value)
    return _text(value)


def _limit(text) -> Limit:
    return text if isinstance(text, Limit) else parse_limit(text)


def _values(values) -> tuple[Any, ...]:
    if not isinstance(values, list | tuple) or not values:
        raise QuantityError(f"{values!r} is no list of values.", 'Write, for example, values = ["0", "60 m", "120 m"].')
    if len(values) > 1000:
        raise QuantityError(f"there are {len(values)} values.", "Write at most 1000.")
    return tuple(values)


Text = Annotated[str, BeforeValidator(_text)]


class _Table(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)


def _field(description: str, unit: str = "", default: Any = ...):
    return Field(default=default, description=description, json_schema_extra={"unit": unit})


class Amplifier(_Table):
    """The amplifier at the feedpoint."""

    circuit: Text = _field("name of a circuit that comes with the program, or a path relative to the study")
    opamp: Text = _field("part of the catalogue, or a path to a record of your own")
    parts: dict[str, Annotated[str, BeforeValidator(_part_text)]] = _field(
        "parts that differ from the circuit's own: value, tolerance, words", default={}
    )


class ShortVertical(_Table):
    """A vertical much shorter than a quarter wave."""

    model: Literal["short-vertical"]
    height: Annotated[float, _quantity("m", 0.3, 30, "Write a height from 0.3 to 30 m.")] = _field(
        "of the conductor", "m"
    )
    radius: Annotated[float, _quantity("m", 1e-4, 0.2, "Write a radius from 0.1 mm to 0.2 m.")] = _field(
        "of the conductor", "m"
    )
    gap: Annotated[float, _quantity("m", 1e-3, 1, "Write a gap from 1 mm to 1 m.")] = _field(
        "of the insulator at its base", "m", 0.075
    )
    ground_loss: Annotated[float, _quantity("ohm", 0, 1e4, "Write 0 to 10k.")] = _field(
        "resistance of its ground connection", "ohm", 30.0
    )
    stray: Annotated[float, _quantity("F", 0, 1e-9, "Write 0 to 1 nF.")] = _field(
        "capacitance of box, clamp and connector across its terminals", "F", 3e-12
    )

    @model_validator(mode="after")
    def _slender(self):
        if self.height < 10 * self.radius:
            raise QuantityError(
                f"a height of {self.height:g} m with a radius of {self.radius:g} m is no slender vertical.",
                "The height must be at least ten times the radius.",
            )
        return self


class Fixture(_Table):
    """A bench source in place of an antenna: it receives no field, so there is no noise margin."""

    model: Literal["fixture"]
    source: Annotated[float, _quantity("ohm", 0, 1e6, "Write 0 to 1M.")] = _field(
        "resistance of the source", "ohm", 50.0
    )
    dummy: Annotated[float, _quantity("F", 0, 1e-6, "Write up to 1 uF.", False)] = _field(
        "series capacitor, the dummy antenna", "F", 47e-12
    )


class Feedline(_Table):
    """From the amplifier to the receiver."""

    cable: Text = _field(
        "name of a cable that comes with the program, or a path to a record of your own", "", "rg6-ccs"
    )
    length: Annotated[float, _quantity("m", 0, 3000, "Write a length from 0 to 3000 m.")] = _field("", "m", 0.0)
    power: Literal["coax", "separate"] = _field(
        "whether the supply current flows through the feedline or its own wires", "", "coax"
    )


class Supply(_Table):
    """The supply at the receiver's end."""

    voltage: Annotated[PartValue, BeforeValidator(_supply)] = _field(
        "with its tolerance", "V", parse_part("12 V 5%", "V")
    )


class Receiver(_Table):
    """What the feedline ends in."""

    impedance: Annotated[float, _quantity("ohm", 1, 1e5, "Write 1 to 100k.")] = _field("input resistance", "ohm", 75.0)
    noise_figure: Annotated[float, _quantity("dB", 0, 60, "Write 0 to 60 dB.")] = _field(
        "on its own impedance", "dB", 12.0
    )


class NoiseTable(_Table):
    """Noise that the builder measured: external noise figures, or field strengths in 1 Hz."""

    frequencies: Annotated[tuple[float, ...], BeforeValidator(_frequencies)] = _field("", "Hz")
    fa_db: Annotated[tuple[float, ...], BeforeValidator(_levels)] | None = _field(
        "external noise figure above kT0", "dB", None
    )
    field_dbuv_per_m: Annotated[tuple[float, ...], BeforeValidator(_levels)] | None = _field(
        "field strength in a bandwidth of 1 Hz, above 1 µV/m", "dB", None
    )

    @model_validator(mode="after")
    def _one_column(self):
        given = [levels for levels in (self.fa_db, self.field_dbuv_per_m) if levels is not None]
        if len(given) != 1:
            raise QuantityError(
                f"{'both' if given else 'neither'} fa_db and field_dbuv_per_m are given.", "Give one of them."
            )
        if len(given[0]) != len(self.frequencies):
            raise QuantityError(
                f"there are {len(given[0])} levels for {len(self.frequencies)} frequencies.",
                "Give one level a frequency.",
            )
        if len(self.frequencies) < 2:
            raise QuantityError("there is one frequency.", "Give two or more, with all bands between them.")
        return self


class Site(_Table):
    """Where the antenna stands."""

    noise: Text | NoiseTable = _field(
        "class of man-made noise of ITU-R P.372 (city, residential, rural, quiet-rural), or a table of your own",
        "",
        "quiet-rural",
    )


class Bands(_Table):
    """Where measures are read."""

    frequencies: Annotated[tuple[float, ...], BeforeValidator(_frequencies)] = _field(
        "", "Hz", (1.83e6, 3.53e6, 7.05e6)
    )


class Run(_Table):
    """How the virtual build is done."""

    units: Annotated[
        int, BeforeValidator(partial(_whole, low=1, high=10_000_000, what="Write a whole number from 1."))
    ] = _field("virtual units; unit 0, the nominal one, comes on top", "", 1000)
    seed: Annotated[
        int, BeforeValidator(partial(_whole, low=0, high=2**63 - 1, what="Write a whole number, 0 or more."))
    ] = _field("any whole number; the same seed gives the same units", "", 1)
    temperature: Annotated[tuple[float, float], BeforeValidator(_temperature)] = _field(
        "one value, or a range from which each unit's is drawn", "degC", (20.0, 20.0)
    )
    build: Annotated[
        int, BeforeValidator(partial(_whole, low=2, high=100_000, what="Write a whole number from 2."))
    ] = _field("amplifiers made together: they share their lots, and a match is judged among them", "", 16)


class Bench(_Table):
    """The analyser's set-up, at which gain and phase are read."""

    source: Annotated[float, _quantity("ohm", 0.1, 1e6, "Write 0.1 to 1M.")] = _field("sending port", "ohm", 50.0)
    dummy: Annotated[float, _quantity("F", 0, 1e-6, "Write up to 1 uF.", False)] = _field(
        "series capacitor, the dummy antenna", "F", 47e-12
    )
    load: Annotated[float, _quantity("ohm", 0.1, 1e6, "Write 0.1 to 1M.")] = _field("receiving port", "ohm", 50.0)


class Vary(_Table):
    """One choice to compare; several make all combinations."""

    what: Text = _field("dotted key of what is varied, for example feedline.length")
    values: Annotated[tuple[Any, ...], BeforeValidator(_values)] = _field("what it takes in turn")


Antenna = Annotated[ShortVertical | Fixture, Field(discriminator="model")]


class Study(_Table):
    """One receiving chain, the choices to compare and the limits to keep."""

    title: Text = _field("what the report is called")
    amplifier: Amplifier
    antenna: Antenna
    feedline: Feedline = Feedline()
    supply: Supply = Supply()
    receiver: Receiver = Receiver()
    site: Site = Site()
    bands: Bands = Bands()
    run: Run = Run()
    fixture: Bench = Bench()
    vary: tuple[Vary, ...] = ()
    limits: dict[str, Annotated[Limit, BeforeValidator(_limit)]] = _field(
        "measure = bound, kept at every band", default={}
    )
    file: str = Field(default="", exclude=True, description="the study's file, as it was named")
    folder: str = Field(default=".", exclude=True, description="the folder of that file")
    raw: dict[str, Any] = Field(default={}, exclude=True, repr=False, description="the file's data as it was read")

    def __eq__(self, other) -> bool:
        """Two studies are equal if they ask the same, wherever they were read from."""
        return isinstance(other, Study) and self.model_dump() == other.model_dump()

    def __hash__(self) -> int:
        return hash((self.title, self.file))


ANTENNA_MODELS = {"short-vertical": ShortVertical, "fixture": Fixture}
SET_BY_READER = ("file", "folder", "raw")
