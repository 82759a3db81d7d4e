"""The study as frozen, typed models: every key, its unit, its default, an example, what it means.

The models hold SI numbers. Text such as "8.2p 5 %" is read on the way in; what is wrong with it is said by
:mod:`sim.quantity` and put in its place, with file and line, by :mod:`sim.study.read`. Help and the documentation of
keys are made from the fields by :mod:`sim.study.schema`.
"""

from typing import Annotated, Any

from pydantic import BeforeValidator, Discriminator, Field, Tag, model_validator

from sim.errors import shown
from sim.noise.level import share_of
from sim.quantity import Limit, PartValue, QuantityError, parse_limit, parse_part, parse_quantity, parse_span
from sim.study.antennas import DUMMY, STRAY, Antenna, dummy_key, stray_key
from sim.study.array import Array
from sim.study.clamp import (
    CLAMP_CAPACITANCE,
    CLAMP_GRADING,
    CLAMP_LEAKAGE,
    clamp_capacitance_key,
    clamp_grading_key,
    clamp_leakage_key,
)
from sim.study.feedline import Feedline
from sim.study.fields import (
    MOST_VALUES,
    StudyTable,
    Text,
    filled,
    is_plain_text,
    number_in,
    part_value,
    plain_text,
    quantity,
    series_value,
    study_key,
    whole_number,
)
from sim.study.lines import line_of
from sim.study.maker import MakerWords
from sim.study.preferred import preferred_values
from sim.study.stability import Stability
from sim.study.strong import Strong, strong_entries
from sim.study.weather import Weather

LOWEST_BAND_HZ, HIGHEST_BAND_HZ = 5e4, 6e7


def _frequencies(values) -> tuple[float, ...]:
    filled(values, 'Write, for example, ["1.83M", "7.05M"].')
    what = 'Write frequencies between 50 kHz and 60 MHz, for example "1.83M".'
    read = tuple(number_in(value, "Hz", LOWEST_BAND_HZ, HIGHEST_BAND_HZ, what) for value in values)
    if any(b <= a for a, b in zip(read, read[1:], strict=False)):
        raise QuantityError("the frequencies do not rise.", "Write each frequency once, lowest first.")
    if len(read) > MOST_VALUES:
        raise QuantityError(f"there are {len(read)} frequencies.", f"Write at most {MOST_VALUES}.")
    return read


def _levels(values) -> tuple[float, ...]:
    filled(values, "Write, for example, [62, 55, 48].")
    return tuple(number_in(value, "dB", -200, 300, "Write decibels between -200 and 300.") for value in values)


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
    return plain_text(value)


def _limit(value) -> Limit:
    return value if isinstance(value, Limit) else parse_limit(value)


def _values(values) -> tuple[str | int | float, ...]:
    example = 'Write, for example, values = ["0", "60 m", "120 m"].'
    if isinstance(values, str):
        values = preferred_values(values)
    filled(values, example)
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


class Amplifier(StudyTable):
    """The amplifier at the feedpoint."""

    circuit: Text = study_key(
        "circuit that comes with the program (bandfloor list circuits), or a file of your own beside the study",
        '"transimpedance"',
    )
    opamp: Text = study_key(
        "op-amp of the catalogue (bandfloor list opamps), or beside the study: a record of your own (.toml), a maker's"
        " SPICE model (.lib .mod .sub .cir .txt)",
        '"OPA810"',
    )
    model: MakerWords | None = Field(default=None, description="how to read a maker's model file")
    series_input: Annotated[PartValue, BeforeValidator(series_value)] | None = study_key(
        "stopper resistor between antenna and circuit, as a part: value, tolerance, words; without them 1 % thick-film,"
        " 0: none",
        '"220 1%"',
        "ohm",
        None,
    )
    series_output: Annotated[PartValue, BeforeValidator(series_value)] | None = study_key(
        "resistor between circuit and feedline, likewise", '"47 1%"', "ohm", None
    )
    clamp_capacitance: CLAMP_CAPACITANCE = clamp_capacitance_key()
    clamp_leakage: CLAMP_LEAKAGE = clamp_leakage_key()
    clamp_grading: CLAMP_GRADING = clamp_grading_key()
    parts: dict[str, Annotated[str, BeforeValidator(_part_text)]] = study_key(
        "part of the circuit that differs from the circuit's own: value, tolerance, words",
        '"8.2p 5% C0G lot"',
        default={},
    )


class Supply(StudyTable):
    """The supply at the receiver's end, and what draws on it at the unit beside the amplifier."""

    voltage: part_value("V", 1, 60, 'Write 1 to 60 V, for example "12 V 5%".') = study_key(
        "voltage and its tolerance", '"12 V 5%"', "V", parse_part("12 V 5%", "V")
    )
    regulator: part_value("V", 1, 60, 'Write 1 to 60 V, for example "8 V 2%".') | None = study_key(
        "output of a regulator at the unit, which then feeds the amplifier", '"8 V 2%"', "V", None
    )
    dropout: part_value("V", 0, 20, 'Write 0 to 20 V, for example "0.5 V".') | None = study_key(
        "volts that the regulator needs above its output; left out: 0.5 V", '"0.5 V"', "V", None
    )
    efficiency: quantity("1", 0.1, 1, 'Write 10 to 100 %, for example "85 %".') | None = study_key(
        "of a switching regulator, which draws constant power; left out: a linear one, which passes the current on",
        '"85 %"',
        "1",
        None,
    )
    extra_current: part_value("A", 0, 10, 'Write 0 to 10 A, for example "5 mA".') | None = study_key(
        "constant current drawn at the unit beside the amplifier's: the regulator's own, a lamp, a relay",
        '"5 mA 20%"',
        "A",
        None,
    )
    converter_power: part_value("W", 0, 100, 'Write 0 to 100 W, for example "0.6 W".') | None = study_key(
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


class Receiver(StudyTable):
    """What the feedline ends in."""

    impedance: quantity("ohm", 1, 1e5, "Write 1 to 100k.") = study_key("input resistance", '"75"', "ohm", 75.0)
    noise_figure: quantity("dB", 0, 60, "Write 0 to 60 dB.") = study_key(
        "noise figure on its own impedance, with all that stands before it", '"12 dB"', "dB", 12.0
    )
    bandwidth: quantity("Hz", 1, 1e5, 'Write 1 Hz to 100 kHz, for example "500".') = study_key(
        "bandwidth in which products of strong carriers are held against the band's noise", '"500"', "Hz", 500.0
    )


class NoiseTable(StudyTable):
    """Noise that the builder measured: external noise figures, or field strengths in 1 Hz."""

    frequencies: Annotated[tuple[float, ...], BeforeValidator(_frequencies)] = study_key(
        "frequencies of the measurements, with all bands between them", '["1.8M", "3.5M", "7M"]', "Hz"
    )
    fa_db: Annotated[tuple[float, ...], BeforeValidator(_levels)] | None = study_key(
        "external noise figure above kT0", "[52, 44, 36]", "dB", None
    )
    field_dbuv_per_m: Annotated[tuple[float, ...], BeforeValidator(_levels)] | None = study_key(
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


class Site(StudyTable):
    """Where the antenna stands."""

    noise: Annotated[
        Annotated[Text, Tag("word")] | Annotated[NoiseTable, Tag("table")], Discriminator(_word_or_table)
    ] = study_key(
        "class of noise of ITU-R P.372 (bandfloor list noise), or a table of your own measurements",
        '"quiet-rural"',
        default="quiet-rural",
    )
    level: Annotated[str, BeforeValidator(_level)] = study_key(
        "how noisy the day is: median, lower-decile (a quiet day), upper-decile, or a percentile over time",
        '"lower-decile"',
        default="median",
    )
    location: Annotated[str, BeforeValidator(_location)] = study_key(
        "how noisy the place is among those of its class: median, lower-decile, upper-decile or a percentile;"
        ' "any": the level is one of time and place together',
        '"any"',
        default="median",
    )
    fof2: quantity("Hz", 1e6, 3e7, 'Write 1 to 30 MHz, for example "5M".') | None = study_key(
        "critical frequency of the F2 layer, above which galactic noise is added; left out without it",
        '"5M"',
        "Hz",
        None,
    )
    atmospheric: Text | None = study_key(
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
            raise QuantityError("fof2 would add galactic noise to the noise class galactic.", "Take one of them out.")
        return self


class Bands(StudyTable):
    """Where measures are read."""

    frequencies: Annotated[tuple[float, ...], BeforeValidator(_frequencies)] = study_key(
        "frequencies, lowest first", '["1.83M", "3.53M", "7.05M"]', "Hz", (1.83e6, 3.53e6, 7.05e6)
    )


class Run(StudyTable):
    """How the virtual build is done."""

    units: whole_number(1, 10_000_000, "Write a whole number from 1 to 10000000.") = study_key(
        "virtual builds; unit 0, the nominal one, comes on top", "1000", default=1000
    )
    seed: whole_number(1, 2**63 - 1, "Write a whole number, 1 or more.") = study_key(
        "start of the random numbers: the same seed gives the same units", "1", default=1
    )
    temperature: Annotated[tuple[float, float], BeforeValidator(_temperature)] = study_key(
        "one value, or a range from which each unit's is drawn", '"-20..40"', "degC", (20.0, 20.0)
    )
    sun: quantity("K", 0, 80, "Write 0 to 80 K.") = study_key(
        "how much warmer the sun makes one box of a build than its sisters; told where run.temperature is varied",
        '"20 K"',
        "K",
        20.0,
    )
    years: quantity("1", 0, 100, "Write 0 to 100 years.") = study_key(
        "years since the capacitors were soldered: those of X7R lose 2.5 % a decade of time from 1000 hours on, about"
        " 5 % in ten years; all other parts are taken not to age",
        '"10"',
        "1",
        0.0,
    )
    build: whole_number(2, 100_000, "Write a whole number from 2 to 100000.") = study_key(
        "amplifiers made together: they share their lots, and a match is judged among them", "16", default=16
    )


class Bench(StudyTable):
    """The analyser's set-up, at which gain and phase are read."""

    source: quantity("ohm", 0.1, 1e6, "Write 0.1 to 1M.") = study_key(
        "resistance of the sending port", '"50"', "ohm", 50.0
    )
    dummy: DUMMY = dummy_key()
    stray: STRAY = stray_key()
    load: quantity("ohm", 0.1, 1e6, "Write 0.1 to 1M.") = study_key(
        "resistance of the receiving port", '"50"', "ohm", 50.0
    )


class Vary(StudyTable):
    """One choice to compare; several make all combinations."""

    what: Text = study_key("dotted key of what is varied", '"feedline.length"')
    values: Annotated[tuple[Any, ...], BeforeValidator(_values)] = study_key(
        'what it takes in turn: a list, or the preferred values (IEC 60063, E3 to E192) of a span, "E12 10p..1n"',
        '["0", "60 m", "120 m"]',
    )


class Study(StudyTable):
    """One receiving chain, the choices to compare and the limits to keep."""

    title: Text = study_key("what the report is called", '"Square of 7 m verticals"')
    amplifier: Amplifier
    antenna: Antenna
    feedline: Feedline = Feedline()
    supply: Supply = Supply()
    weather: Weather | None = Field(default=None, description="what water, dirt and corrosion do to the unit")
    receiver: Receiver = Receiver()
    site: Site = Site()
    bands: Bands = Bands()
    run: Run = Run()
    fixture: Bench = Bench()
    stability: Stability | None = Field(default=None, description="feedlines and antennas to be stable with")
    array: Array | None = Field(default=None, description="elements that are combined, and what they shall reject")
    strong: Annotated[tuple[Strong, ...], BeforeValidator(strong_entries)] = ()
    vary: tuple[Vary, ...] = ()
    limits: dict[str, Annotated[Limit, BeforeValidator(_limit)]] = study_key(
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


SET_BY_READER = ("file", "folder", "lines")
"""Fields of a study that no file may set."""
