"""What a run takes into account and what it leaves out, said from its study and its measures."""

from __future__ import annotations

from collections.abc import Mapping

from sim.distortion.estimate import MOST_SLEW
from sim.quantity import QuantityError, format_quantity, parse_quantity
from sim.study.maker import is_model_file

_ANTENNAS = {
    "short-vertical": "a short vertical over ground, as a four-element network in closed form, with a "
    "resistance for the ground's loss",
    "short-dipole": "a level dipole above soil, both legs as networks in closed form, its resistance from the plane "
    "waves that the soil returns; outside noise is reckoned as an equally bright sky, right within 4 dB",
    "ground-wire": "a wire on the ground, as a lossy line fitted by a passive network; soil values are estimates, "
    "changing by season, and outside noise is reckoned as an equally bright sky, right within 4 dB",
    "plain": "resistors, capacitor and inductor in series, with an effective height, as the builder gave them",
    "measured": "the impedance in the builder's file, as a passive network fitted to it; what it hears, and how "
    "much of its resistance is loss, follows from the effective height that was given",
    "fixture": "the bench fixture: a source behind a dummy capacitor, no field",
}


def modelled(study: Mapping, has_opamp: bool = True) -> tuple[str, ...]:
    """What was calculated and how, a line each.

    Parameters
    ----------
    study : mapping
        The run's study.toml, as read.
    has_opamp : bool
        Whether the circuit holds an op-amp at all; without one the study's op-amp stands nowhere.
    """

    def said(key: str, unit: str = "") -> str:
        return _value(study, key, unit)

    model = str(_table(study, "antenna").get("model", ""))
    lines = [
        f"Antenna: {_ANTENNAS.get(model, model)}. {_ground(model)}",
        f"Amplifier: circuit {said('amplifier.circuit')} in SPICE, {_devices(said('amplifier.opamp'), has_opamp)}",
        "Parts: drawn from their tolerance. Parts marked as one lot share most of their deviation within a "
        "build; how much is an assumption.",
        f"Feedline: {_feedline(study)}{_line_spread(study)} as a lossy line with its own "
        "thermal noise, and its resistance in the supply where it carries the power.",
        *_tee_lines(study),
        *_feed_lines(study),
        *_temperature_lines(study),
        f"Receiver: {said('receiver.impedance', 'ohm')} input, noise figure "
        f"{said('receiver.noise_figure', 'dB')}.",
        *_two_inputs(model),
        *_clamp_and_weather(study),
        *_stability_lines(study),
        *_array_lines(study),
        *_strong_lines(study),
        "Yields: 95 % intervals after Clopper and Pearson. They cover the luck of the draw, not errors "
        "of the models.",
    ]
    if model != "fixture":
        lines.insert(5, _noise_line(study))
    return tuple(lines)


def _devices(opamp: str, has_opamp: bool) -> str:
    if not has_opamp:
        return "without an op-amp; its devices are those of the circuit file, alike in all units."
    if is_model_file(opamp):
        return (
            f"op-amp as the maker's SPICE model in {opamp}, the same die in all units; what it does on the bench, and"
            " what it lacks, is in model.csv."
        )
    return (
        f"op-amp {opamp} as a macromodel of typical figures; those that nobody read in a data sheet, if any, stand in"
        " the next table. How dies differ is common practice, no maker's figure."
    )


def _ground(model: str) -> str:
    if model == "measured":
        return "The site's ground is in the file as it was on that day."
    return "An estimate; the site's ground is not measured."


def _two_inputs(model: str) -> list[str]:
    """What bench and common mode are, for the antenna that has two legs."""
    if model != "short-dipole":
        return []
    return [
        "Bench: an ideal balun with an earthed centre tap, one dummy capacitor in each leg.",
        "Common mode: the same emf in both legs, each behind its own capacitance, which together are the wire's "
        "against the soil. The amplifier's ground is taken as the soil: no mast, no feedline screen.",
    ]


def _feedline(study: Mapping) -> str:
    sections = _table(study, "feedline").get("sections")
    if sections:
        return ", ".join(f"{_with_unit(part.get('length', ''), 'm')} of {part.get('cable', '')}" for part in sections)
    return f"{_value(study, 'feedline.length', 'm')} of {_value(study, 'feedline.cable')}"


def _line_spread(study: Mapping) -> str:
    """How lines differ from unit to unit."""
    spread = []
    for key, what, unit in (("length_tolerance", "length", "m"), ("velocity_tolerance", "velocity", "1")):
        share = parse_quantity(_table(study, "feedline").get(key, "0"), unit)
        if share > 0:
            spread.append(f"{what} ±{format_quantity(share, 'm') if unit == 'm' else f'{100 * share:.3g} %'}")
    return f", {' and '.join(spread)} from unit to unit," if spread else ""


def _tee_lines(study: Mapping) -> list[str]:
    if not _table(study, "feedline").get("tee"):
        return []
    return [
        "Bias tee: choke and blocking capacitor, drawn for each end of each unit where they have a tolerance, with the "
        f"noise of the choke's loss and its resistance in the supply. {_tee_and_stability(study)}"
    ]


def _tee_and_stability(study: Mapping) -> str:
    if study.get("stability") is None:
        return "Stability is judged on a resistive load and on none, without the tee."
    return "With its nominal parts it stands in the way of every feedline that stability is judged with."


def _array_lines(study: Mapping) -> list[str]:
    """What an array is made of and where its errors come from; none without the table."""
    table = study.get("array")
    if not isinstance(table, Mapping):
        return []
    ground = "a perfect ground" if "conductivity" not in table else "flat soil, by its plane-wave reflection"
    return [
        f"Array: {len(table.get('positions', ()))} short verticals over {ground}, {table.get('front_to_back', '')} "
        f"front to back asked at {table.get('elevation', '')} degrees. Arrays are units of one build, one after "
        "another, each at its own drawn temperature; antennas differ by "
        f"±{_value(study, 'array.antenna_tolerance')} as a factor on the signal, which holds for a current input, "
        f"places by ±{_value(study, 'array.position_tolerance', 'm')}. Noise comes from all of the sky alike. Left "
        "out: coupling, errors and losses of combiner and delay lines."
    ]


def _stability_lines(study: Mapping) -> list[str]:
    known = "Stability: bilateral loop gain, judged by counting encirclements of −1, with the line matched and "
    if study.get("stability") is None:
        return [known + "with its far end open."]
    words = _table(study, "stability")
    cables, lengths = words.get("cables", ()), [_with_unit(length, "m") for length in words.get("lengths", ())]
    spread = f"{len(lengths)} lengths from {lengths[0]} to {lengths[-1]}" if len(lengths) > 1 else ", ".join(lengths)
    return [
        known + "with its far end open; and with other feedlines as lossy lines at 290 K: the study's own and "
        f"{', '.join(cables)}, {spread}, at the far end {', '.join(words.get('far_ends', ()))}. Margins "
        "are found to 3 %; poles are counted.",
        f"Antennas for stability: {', '.join(words.get('antennas', ()))}; capacitance times "
        f"{', '.join(f'{share:g}' for share in words.get('capacitances', ()))}, with all of the antenna's impedance "
        f"divided by that; leads of {', '.join(_with_unit(lead, 'H') for lead in words.get('leads', ()))}. The "
        "ranges are an engineering choice, no source. Both ends together: the hardest antennas on every feedline.",
        "Proof in time: some units are kicked in the time domain on lines without loss, the only ones the simulator "
        "has, and poles are counted on the same lines. A slow growth shows only if the time watched is long enough.",
    ]


def _says(study: Mapping, table: str, begin: str = "") -> bool:
    """Whether a study has a key of a table, one that begins so, or varies it."""
    varied = (str(entry.get("what", "")) for entry in study.get("vary", ()))
    own = (f"{table}.{key}" for key in _table(study, table))
    return any(what.startswith(f"{table}.{begin}") for what in (*own, *varied))


def _clamp_and_weather(study: Mapping) -> list[str]:
    """What is taken of a surge clamp and of weather, where the study has them."""
    lines = []
    if _says(study, "amplifier", "clamp_"):
        lines.append(
            "Surge clamp: its capacitance at each unit's draw, bent by its volts where a grading is given, and its "
            "leakage with shot noise, doubled every 10 K (common practice, no source). How it breaks down and what it "
            "lets through is not modelled. No clamp survives a direct stroke: bond, fit arrestors and disconnect as "
            "your local codes say."
        )
    if _says(study, "weather"):
        lines.append(
            "Weather: films of moisture and a corroded contact as resistors, as warm as the unit and with its thermal "
            "noise. Real films change by the hour and have capacitance; real contacts are junctions that crackle and "
            "mix strong stations."
        )
    return lines


def _temperature_lines(study: Mapping) -> list[str]:
    """What follows temperature and how, where a study has more than one."""
    varied = any(entry.get("what") == "run.temperature" for entry in study.get("vary", ()))
    if not varied and ".." not in str(_table(study, "run").get("temperature", "")):
        return []
    return [
        "Temperature: parts by the limits of their kind; gain-bandwidth and slew rate −0.2 %/K, quiescent current +0.15"
        " %/K, bias current of FET inputs doubling every 10 K, thermal noise and the op-amps' white noise as the root "
        "of the absolute temperature. Limits of data sheets and common practice: estimates. Open-loop gain, output "
        "resistance, feedline and antenna stay as they are."
    ]


def _strong_lines(study: Mapping) -> list[str]:
    """What the numbers of strong carriers rest on; nothing without any."""
    stations = study.get("strong", ())
    if not stations:
        return []
    far = any("power" in one for one in stations)
    field = (
        " A field follows from power and distance as of a short vertical over perfect ground, 300 mV/m at 1 km for"
        " 1 kW: an upper estimate."
    )
    return [
        f"Strong carriers: {len(stations)} of them, as emf of the antenna by its effective height at their frequencies,"
        f" or as given.{field * far} For the room their peaks are added, each fully modulated; limits are those of the"
        " op-amp's data sheet, its supply at rest.",
        "Products: an estimate from small-signal responses, the op-amp's input stage, and one data sheet point of"
        " distortion for the bend of its output stage; of carriers without modulation, those that fall within 5 % of a"
        f" band. Where carriers clip or take {100 * MOST_SLEW:.3g} % of the slew rate there is no number.",
    ]


def _feed_lines(study: Mapping) -> list[str]:
    """Supply and bench, as far as the study goes into them."""
    lines = []
    if (_table(study, "feedline").get("power") or "coax") == "coax":
        lines.append(
            "Supply: line and chokes with the resistance of copper at each unit's temperature, as the cable is taken "
            "to be as warm as the unit. A unit that gets less than op-amp, circuit or regulator needs counts as failed."
        )
    supply = _table(study, "supply")
    if supply.get("regulator") or supply.get("converter_power"):
        lines.append(
            "Regulator and converter: ideal at signal frequencies, without noise or interference of their own; of the "
            "two resting points of a constant power the upper one is taken."
        )
    if any("%" in str(_table(study, "fixture").get(key, "")) for key in ("dummy", "stray")):
        lines.append(
            "Bench: one jig for all units of a build, drawn anew for the next. It shifts their gain alike and spoils "
            "no match."
        )
    return lines


def _noise_line(study: Mapping) -> str:
    if not isinstance(_table(study, "site").get("noise", ""), str):
        return "Outside noise: the builder's own table, taken as it is."
    level = _value(study, "site.level") or "median"
    where = _value(study, "site.location") or "median"
    at_place = f", at a place that is the {where} of its class,"
    place = {"median": "", "any": " of time and place together"}.get(where, at_place)
    surveyed = (
        "from surveys of the 1960s and 70s. One site differs from another by 5 to 10 dB either way: measure yours."
    )
    if (level, place) == ("median", ""):
        said = f"a median of ITU-R P.372 {surveyed}"
    else:
        said = f"{level}{place} after the deciles of ITU-R P.372, {surveyed}"
    added, absent = [], []
    for key, unit, has, has_not in (
        ("site.fof2", "Hz", "galactic noise above {}", "galactic noise"),
        ("site.atmospheric", "", "atmospheric noise {}", "atmospheric noise"),
    ):
        value = _value(study, key, unit)
        added.append(has.format(value)) if value else absent.append(has_not)
    more = f" Added as power, at the same percentile: {' and '.join(added)}." if added else ""
    less = f" Left out: {' and '.join(absent)}." if absent else ""
    return f"Outside noise: {_value(study, 'site.noise')}, {said}{more}{less}"


def _value(study: Mapping, key: str, unit: str = "") -> str:
    """A value of the study with its unit, or all that are compared where the study varies it."""
    table, name = key.split(".")
    values = [_table(study, table).get(name, "")]
    for entry in study.get("vary", ()):
        if entry.get("what") == key:
            values = list(entry.get("values", ()))
    return " / ".join(_with_unit(value, unit) for value in values if value != "")


def _with_unit(value, unit: str) -> str:
    if not unit:
        return str(value)
    try:
        return format_quantity(parse_quantity(value, unit), unit)
    except QuantityError:  # a spelling of its own, such as one word for several values
        return str(value)


def left_out(measures: set[str], match_limited: bool, study: Mapping | None = None) -> tuple[str, ...]:
    """What the answer does not cover, a line each.

    Parameters
    ----------
    measures : set of str
        Names of the measures the run has.
    match_limited : bool
        True where the study holds the units to a match.
    study : mapping, optional
        The run's study.toml, as read, for what its site leaves out.
    """
    lines = []
    if not measures & {"oip2_dbm", "oip3_dbm", "headroom_db"}:
        lines.append(
            "Strong signals: the study names no stations near by (tables [[strong]]), so overload and intermodulation"
            " are not judged."
        )
    elif "headroom_db" in measures:
        lines.append(
            "Intermodulation of anything but op-amps: protection diodes, X7R capacitors, ferrites, corroded contacts,"
            " the receiver itself."
        )
    if (study or {}).get("stability") is None:
        lines.append(
            "Other feedlines: stability is judged on the study's line, matched and open. A table [stability] in the "
            "study judges other lengths, cables and far ends."
        )
    lines += [
        *_other_hours(study or {}),
        "What the feedline picks up on its screen, ripple of the supply, and noise sources in the house.",
        "Layout: stray coupling and ground paths of the board beyond what the circuit file states.",
        *_water(study or {}),
        "Mistakes in building: every virtual unit has the right part in the right place.",
    ]
    if match_limited:
        line = _table(study or {}, "feedline")
        zero = ("", "0", "0 m")
        drawn = [key for key in ("length_tolerance", "velocity_tolerance") if str(line.get(key, "")) not in zero]
        lines.append(
            "Match: amplifiers and feedlines. Antennas and ground systems of an array differ too."
            if drawn
            else "Match: amplifiers only. Antennas, ground systems and cables of an array differ too."
        )
    return tuple(lines)


def _water(study: Mapping) -> tuple[str, ...]:
    if _says(study, "weather"):
        return ("Age: drift of parts and of op-amps over the years.",)
    return (
        "Age, water and dirt: leakage at the input shows in noise long before it shows in gain. A table [weather] in "
        "the study tries it.",
    )


def _other_hours(study: Mapping) -> tuple[str, ...]:
    """What other days and nights bring, as far as the study does not ask for them."""
    quiet = ""
    if (_value(study, "site.level") or "median") == "median":
        quiet = "outside noise is a median. On a quiet winter day it is several decibels lower"
    night = "" if _value(study, "site.atmospheric") else "at night lightning far away makes it much higher"
    if not (quiet or night):
        return ()
    if not quiet:
        return (f"Other hours: {night}.",)
    return (f"The quietest hours: {quiet}{'; ' if night else ''}{night}.",)


def _table(study: Mapping, key: str) -> Mapping:
    value = study.get(key, {})
    return value if isinstance(value, Mapping) else {}
