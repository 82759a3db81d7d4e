"""A study file read and checked as a whole.

All faults of a file are reported at once, each with its line, its key, what was found and what would do: those of
single keys, those between keys, and those of values to vary, each of which is tried in the study. Circuits and records
that a study names are looked for, but read elsewhere.
"""

import itertools
import math
import tomllib
from dataclasses import replace
from functools import partial
from pathlib import Path

from pydantic import ValidationError

from sim.columns import MEASURES
from sim.errors import Fault, StudyError, nearest, shown
from sim.noise.atmospheric import atmospheric_records
from sim.noise.external import CLASSES
from sim.quantity import QuantityError, format_quantity, parse_part
from sim.study.antennas import ANTENNA_MODELS
from sim.study.choices import FIXED, PARTS, UNITS_OF_PARTS, every_key, model_at, variable_keys, with_choice
from sim.study.fields import MOST_VALUES, is_plain_text
from sim.study.files import file_text, measured_fault, name_fault, one_port_fault, syntax_fault
from sim.study.lines import key_lines, line_of
from sim.study.model import SET_BY_READER, Bands, NoiseTable, Study
from sim.study.preferred import preferred_values
from sim.study.write import study_text

__all__ = ["MOST_SCENARIOS", "read_study", "study_text"]

MOST_SCENARIOS = 9_999
"""Scenarios that one study may make."""
_LINE_MEASURES = ("line_margin", "antenna_margin")
_CARRIER_MEASURES = ("headroom_db", "product_margin_db")
_FIELD_MEASURES = ("noise_margin_db", "noise_rise_db", "antenna_factor_db")


def read_study(path, units: int | None = None) -> Study:
    """Read and check a study file.

    Parameters
    ----------
    path : path-like
    units : int, optional
        Number of units instead of the study's own.

    Returns
    -------
    Study
        With ``file``, ``folder`` and ``lines`` set. All its scenarios are sound.

    Raises
    ------
    StudyError
        With all faults of the file.
    """
    name = str(path)
    text = file_text(Path(path), name)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise StudyError(syntax_fault(error, text, name)) from error
    except RecursionError:
        raise StudyError(Fault(name, None, None, "is nested too deeply.", "Write plain tables and lists.")) from None
    except ValueError as error:  # a whole number of thousands of digits
        raise StudyError(Fault(name, None, None, "holds a number that is much too long.", "Shorten it.")) from error
    if units is not None and isinstance(data.setdefault("run", {}), dict):
        data["run"]["units"] = units
    lines = key_lines(text)
    checked = _Check(data, Path(path).resolve().parent)
    checked.all()
    if checked.found:
        faults = [Fault(name, line_of(lines, path), _dotted(path, note), *said) for path, note, *said in checked.found]
        if units is not None:  # not the number that stands in the file
            said = "It was given as --units, not in the study."
            faults = [
                replace(fault, line=None, remedy=f"{fault.remedy} {said}") if fault.key == "run.units" else fault
                for fault in faults
            ]
        raise StudyError(sorted(dict.fromkeys(faults), key=lambda fault: fault.line or 0))
    place = {"file": name, "folder": str(checked.folder), "lines": lines}
    return checked.study.model_copy(update=place)


def _dotted(path: tuple, note: str) -> str:
    words = ".".join(str(word + 1) if isinstance(word, int) else word for word in path)
    return shown(words)[1:-1] + (f" ({note})" if note else "")


def _spanned(values):
    """The list that a span of preferred values stands for; anything else, and a span that is none, as it is."""
    if not isinstance(values, str):
        return values
    try:
        return list(preferred_values(values))
    except QuantityError:
        return values  # said with the single keys


class _Check:
    """A study's data on their way to a checked study."""

    def __init__(self, data: dict, folder: Path):
        self.data, self.folder = data, folder
        self.study: Study | None = None
        # Path of the key, a note beside it, what was found, what would do.
        self.found: list[tuple[tuple, str, str, str]] = []

    def all(self) -> None:
        """Check everything, whatever has been found before."""
        self.keys()
        self.across_keys()
        self._limits()
        self._vary()

    def keys(self) -> None:
        """Check every key by itself."""
        own = {key: value for key, value in self.data.items() if key not in SET_BY_READER}
        for key in SET_BY_READER:
            if key in self.data:
                self._unknown((key,))
        try:
            self.study = Study.model_validate(own)
        except ValidationError as error:
            for problem in error.errors(include_url=False):
                self._problem(problem)

    def across_keys(self) -> None:
        """Check what the models cannot: names of files, parts, the reach of a table of noise."""
        self._names()
        self._parts()
        self._noise()
        self._array()
        self._strong()

    def fault(self, path: tuple, found: str, remedy: str, note: str = "") -> None:
        self.found.append((path, note, found, remedy))

    def at(self, *path):
        """What stands at a path; None where nothing does."""
        here = self.data
        for word in path:
            try:
                here = here[word]
            except (KeyError, IndexError, TypeError):
                return None
        return here

    # ------------------------------------------------------------------ single keys

    def _problem(self, problem: dict) -> None:
        """Put a fault that the models found into our words."""
        path = tuple(problem["loc"])
        if path[0] == "antenna" and path[1:2] and path[1] in ANTENNA_MODELS:
            path = ("antenna", *path[2:])
        elif path[:2] == ("site", "noise"):
            path = (*path[:2], *path[3:])
        cause = problem.get("ctx", {}).get("error")
        kind, given = problem["type"], shown(problem["input"])
        name = shown(".".join(str(word) for word in path))[1:-1]
        if isinstance(cause, QuantityError):
            self.fault(path, cause.found, cause.remedy)
        elif kind == "extra_forbidden":
            self._unknown(path)
        elif kind == "missing":
            self.fault(path, "is missing.", self._example(path))
        elif kind in ("union_tag_invalid", "union_tag_not_found"):
            model = self.at(*path, "model")
            near = nearest(model, ANTENNA_MODELS, 0.4) if isinstance(model, str) else None
            self.fault(
                (*path, "model"),
                "is missing." if model is None else f"there is no antenna model {shown(model)}.",
                f"{f'Nearest: {near}. ' if near else ''}Known: {', '.join(ANTENNA_MODELS)}.",
            )
        elif kind == "literal_error":
            self.fault(path, f"is {given}.", f"Write {problem['ctx']['expected']}.".replace("'", '"'))
        elif kind in ("model_type", "dict_type", "model_attributes_type"):
            self.fault(path, f"is {given}, not a table.", f"Write it as a table: [{name}].")
        elif kind == "tuple_type":
            self.fault(path, f"is {given}, not a list of tables.", f"Write each as a table: [[{name}]].")
        else:
            self.fault(path, f"is {given}: {problem['msg']}.", self._example(path))

    def _unknown(self, path: tuple) -> None:
        model = model_at(self.data, path[:-1])
        known = [key for key in (model.model_fields if model else ()) if model is not Study or key not in SET_BY_READER]
        elsewhere = [key for key in every_key(self.data) if key.endswith(f".{path[-1]}")]
        others = [name for name, other in ANTENNA_MODELS.items() if path[-1] in other.model_fields]
        if path[0] == "antenna" and others:
            tables = [key.partition(".")[0] for key in elsewhere if not key.startswith("antenna.")]
            hint = f" It is a key of [{tables[0]}] too." if tables else ""
            remedy = f"Antenna models that have it: {', '.join(others)}.{hint}"
            self.fault(path, "is not a key of this antenna.", remedy)
            return
        if len(elsewhere) == 1 and nearest(path[-1], known, 0.85) is None:
            self.fault(path, "is not a key here.", f"It is a key of [{elsewhere[0].partition('.')[0]}].")
            return
        near = nearest(path[-1], known)
        self.fault(path, "is not a key.", f"Nearest known key: {near}. Known: {', '.join(known)}.")

    def _example(self, path: tuple) -> str:
        model = model_at(self.data, path[:-1])
        field = model.model_fields.get(path[-1]) if model else None
        extra = field.json_schema_extra if field else None
        if not isinstance(extra, dict):
            return f"Add a table [{'.'.join(map(str, path))}]."
        return f"Write, for example, {path[-1]} = {extra['example']}: {field.description}."

    # ------------------------------------------------------------------ between keys

    def _names(self) -> None:
        for table, key in (("amplifier", "circuit"), ("amplifier", "opamp"), ("feedline", "cable")):
            name = self.at(table, key)
            self._name((table, key), key, name)
        like = self.at("amplifier", "model", "like")
        self._name(("amplifier", "model", "like"), "opamp", like)
        for key, faults in (("cables", partial(name_fault, "cable")), ("far_ends", one_port_fault)):
            names = self.at("stability", key)
            for name in names if isinstance(names, list) else ():
                said = faults(name, self.folder) if is_plain_text(name) else None
                if said:
                    self.fault(("stability", key), *said)
        sections = self.at("feedline", "sections")
        for number in range(len(sections) if isinstance(sections, list) else 0):
            path = ("feedline", "sections", number, "cable")
            self._name(path, "cable", self.at(*path))
        if self.at("antenna", "model") == "measured" and is_plain_text(self.at("antenna", "file")):
            said = measured_fault(self.at("antenna", "file"), self.folder)
            if said:
                self.fault(("antenna", "file"), *said)

    def _name(self, path: tuple, key: str, name) -> None:
        said = name_fault(key, name, self.folder) if is_plain_text(name) else None
        if said:
            self.fault(path, *said)

    def _parts(self) -> None:
        parts = self.at(*PARTS)
        for name, text in parts.items() if isinstance(parts, dict) else ():
            if isinstance(text, bool) or not (isinstance(text, int | float) or is_plain_text(text)):
                continue  # said with the single keys
            unit = UNITS_OF_PARTS.get(name[:1].lower())
            if unit is None:
                self.fault((*PARTS, name), "is no part.", "Names of parts begin with R, C or L.")
                continue
            try:
                if parse_part(text, unit).value <= 0:
                    raise QuantityError(f"{shown(text)} is not above zero.", "Write a value above zero.")
            except QuantityError as error:
                self.fault((*PARTS, name), error.found, error.remedy)

    def _noise(self) -> None:
        noise = self.at("site", "noise")
        if is_plain_text(noise):
            names = [known.name for known in CLASSES]
            if noise not in names:
                near = nearest(noise, names, 0.3)
                hint = f"Nearest: {near}. " if near else ""
                self.fault(
                    ("site", "noise"), f"there is no noise class {shown(noise)}.", f"{hint}Known: {', '.join(names)}."
                )
        try:
            bands = Bands.model_validate(self.data.get("bands", {})).frequencies
        except ValidationError:
            return  # said with the single keys
        self._atmospheric(bands)
        if not isinstance(noise, dict):
            return
        try:
            reach = NoiseTable.model_validate(noise).frequencies
        except ValidationError:
            return  # said with the single keys
        for band in bands:
            if not reach[0] <= band <= reach[-1]:
                self.fault(
                    ("site", "noise", "frequencies"),
                    f"the table does not reach the band {format_quantity(band, 'Hz')}.",
                    "Measure that far, or leave the band out; nothing is extrapolated.",
                )

    def _atmospheric(self, bands: tuple[float, ...]) -> None:
        """Check the record of atmospheric noise by name, and that it reaches the bands."""
        name, at = self.at("site", "atmospheric"), ("site", "atmospheric")
        if not is_plain_text(name):
            return  # absent, or said with the single keys
        records = {record.name: record for record in atmospheric_records()}
        if name not in records:
            near = nearest(name, tuple(records), 0.3)
            remedy = f"{f'Nearest: {near}. ' if near else ''}All of them: bandfloor list noise."
            self.fault(at, f"there is no record of atmospheric noise {shown(name)}.", remedy)
            return
        for band in bands:
            if not records[name].reaches(band):
                remedy = "Leave the record or the band out; nothing is extrapolated."
                self.fault(at, f"the record does not reach the band {format_quantity(band, 'Hz')}.", remedy)

    def _array(self) -> None:
        """Check that a build is enough for an array."""
        if self.study is None or self.study.array is None:
            return
        count = len(self.study.array.positions)
        for key in ("build", "units"):
            if getattr(self.study.run, key) < count:
                found = f"an array of {count} elements needs {count} amplifiers at least, and {key} is less."
                remedy = f"Write {key} = {count} or more: an array is made of units of one build."
                self.fault(("run", key), found, remedy)

    def _strong(self) -> None:
        """Refuse fields for an antenna that is not said to receive one, and levels that several chains would share."""
        entries = self.at("strong")
        antenna = self.at("antenna", "model")
        deaf = antenna == "fixture" or (antenna == "measured" and self.at("antenna", "effective_height") is None)
        vary = self.at("vary")
        varied = [entry.get("what") for entry in vary if isinstance(entry, dict)] if isinstance(vary, list) else []
        chains = [what for what in varied if isinstance(what, str) and not what.startswith("site.")]
        for number, entry in enumerate(entries if isinstance(entries, list) else ()):
            for key in ("field", "power") if isinstance(entry, dict) and deaf else ():
                if key in entry:
                    remedy = 'Write its open-circuit voltage, emf = "1.2 V", or its level at the receiver.'
                    found = "needs an antenna whose effective height is known; this one receives no field."
                    self.fault(("strong", number, key), found, remedy)
            if isinstance(entry, dict) and "level" in entry and chains:
                self.fault(
                    ("strong", number, "level"),
                    f"was measured with one chain, and {shown(chains[0])} is varied.",
                    'Write emf = "…": the answer of this study without [[vary]] names it for each carrier.',
                )

    def _limits(self) -> None:
        limits = self.at("limits")
        for name in limits if isinstance(limits, dict) else ():
            if name not in MEASURES:
                remedy = f"Nearest: {nearest(name, MEASURES)}. All of them: bandfloor list measures."
                self.fault(("limits", name), "is not a measure.", remedy)
            elif not MEASURES[name].available:
                remedy = "Take the limit out; it would be a promise that nobody checks."
                self.fault(("limits", name), "is a measure that this version does not compute.", remedy)
            elif name in _LINE_MEASURES and self.at("stability") is None:
                remedy = "Add a table [stability], an empty one for its defaults, or take the limit out."
                self.fault(("limits", name), "needs feedlines and antennas to be judged with.", remedy)
            elif name in _CARRIER_MEASURES and not self.at("strong"):
                remedy = "Add a table [[strong]] for each station near by, or take the limit out."
                self.fault(("limits", name), "needs strong carriers to be judged with.", remedy)
            elif self.at("antenna", "model") == "fixture" and name in _FIELD_MEASURES:
                remedy = "Choose an antenna, or take the limit out."
                self.fault(("limits", name), "cannot be kept: a fixture receives no field.", remedy)

    # ------------------------------------------------------------------ values to vary

    def _vary(self) -> None:
        varied: list[tuple[int, str, list]] = []
        entries = self.at("vary")
        for number, entry in enumerate(entries if isinstance(entries, list) else ()):
            what, values = (entry.get("what"), entry.get("values")) if isinstance(entry, dict) else (None, None)
            values = _spanned(values)
            if isinstance(what, str) and self._may_vary(number, what, [name for _, name, _ in varied]):
                if isinstance(values, list) and len(values) <= MOST_VALUES:
                    varied.append((number, what, values))
        count = math.prod(len(values) for _, _, values in varied)
        if count > MOST_SCENARIOS:
            self.fault(("vary",), f"makes {count} scenarios.", f"Write at most {MOST_SCENARIOS}.")
            return
        before = {(path, found) for path, _, found, _ in self.found}
        sound = [(number, what, self._sound(number, what, values, before, varied)) for number, what, values in varied]
        if self.study is not None:
            self._together(sound)

    def _may_vary(self, number: int, what: str, already: list[str]) -> bool:
        at = ("vary", number, "what")
        known = variable_keys(self.data)
        words = tuple(what.split("."))
        if what in already:
            self.fault(at, f"{shown(what)} is varied twice.", "Put all its values into one list.")
        elif what in known or (words[:-1] == PARTS and words[-1]):
            return True
        elif what in FIXED or words[0] in ("title", "strong", "vary", "limits"):
            self.fault(
                at, f"{shown(what)} cannot be varied.", "Write a study for each; this key is one for all scenarios."
            )
        elif any(key.startswith(f"{what}.") for key in known):
            first = next(key for key in known if key.startswith(f"{what}."))
            self.fault(at, f"{shown(what)} is a whole table.", f"Name one key of it, for example {first}.")
        elif is_plain_text(what):
            near = nearest(what, (*known, *(key.split(".")[1] for key in known)), 0.6)
            hint = next((key for key in known if near and key.endswith(near)), None)
            remedy = f"Nearest known key: {hint}." if hint else "Write a dotted key, for example feedline.length."
            self.fault(at, f"{shown(what)} is not a key that can be varied.", remedy)
        return False

    def _sound(self, number: int, what: str, values: list, before: set, varied: list) -> list[tuple[int, object]]:
        """Try every value in the study; say what is new about it, and keep those that may stand."""
        sound = []
        alone = {key: entry for key, entry in self.data.items() if key != "vary"}
        spanned = isinstance(self.at("vary", number, "values"), str)
        table = what.partition(".")[0]
        beside = [(key, given) for _, key, given in varied if key != what and key.partition(".")[0] == table]
        for place, value in enumerate(values):
            if isinstance(value, bool) or not isinstance(value, str | int | float):
                continue  # said with the single keys
            data = with_choice(alone, what, value)
            news = self._news(data, before)
            # What stands in the table may be varied too, and then never stands beside this value.
            if news and beside and any(not self._news(other, before) for other in _with_each(data, beside)):
                news = []
            for found, remedy in news:
                said = found if shown(value) in found else f"{shown(value)}: {found}"
                self.fault(("vary", number, "values", place), said, remedy, what)
            if not news:
                sound.append((place, value))
            elif spanned:
                break  # its neighbours would say the same, nearly a hundred times a decade
        return sound

    def _news(self, data: dict, before: set) -> list[tuple[str, str]]:
        """What is found in other data and not in the study's own: faults and remedies."""
        trial = _Check(data, self.folder)
        trial.keys()
        trial.across_keys()
        return [(found, remedy) for path, _, found, remedy in trial.found if (path, found) not in before]

    def _together(self, varied: list[tuple[int, str, list]]) -> None:
        """Try all values of keys that depend on each other: the models check one table at a time."""
        tables = {what.partition(".")[0] for _, what, _ in varied}
        for table in sorted(tables):
            group = [entry for entry in varied if entry[1].partition(".")[0] == table]
            if len(group) < 2:
                continue
            for chosen in itertools.product(*(values for _, _, values in group)):
                data = {key: entry for key, entry in self.data.items() if key != "vary"}
                for (_, what, _), (_, value) in zip(group, chosen, strict=True):
                    data = with_choice(data, what, value)
                trial = _Check(data, self.folder)
                trial.keys()
                if trial.found:
                    with_others = ", ".join(
                        f"{what} = {shown(value)}" for (_, what, _), (_, value) in zip(group[:-1], chosen, strict=False)
                    )
                    _, _, found, remedy = trial.found[0]
                    at = ("vary", group[-1][0], "values", chosen[-1][0])
                    self.fault(at, f"together with {with_others}: {found}", remedy, group[-1][1])
                    break


def _with_each(data: dict, varied: list[tuple[str, list]]):
    """The data with every combination of values of other keys in place."""
    for chosen in itertools.product(*(values for _, values in varied)):
        here = data
        for (what, _), value in zip(varied, chosen, strict=True):
            here = with_choice(here, what, value)
        yield here
