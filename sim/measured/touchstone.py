"""Touchstone files; the only module that uses scikit-rf."""

import io
import re
from dataclasses import dataclass
from dataclasses import field as dataclass_field

import numpy as np

from sim.errors import shown

REFERENCE = 75.0
"""Reference resistance of files that are written. [Ω]"""


def one_port_scattering(impedance, reference: float = REFERENCE) -> np.ndarray:
    """Reflection of a one-port, (Z − R)/(Z + R).

    Parameters
    ----------
    impedance : complex ndarray, shape (n_freq,)
        [Ω]
    reference : float
        [Ω]

    Returns
    -------
    s : complex ndarray, shape (n_freq, 1, 1)
    """
    impedance = np.asarray(impedance, dtype=complex)
    return ((impedance - reference) / (impedance + reference))[:, None, None]


def two_port_scattering(abcd, reference: float = REFERENCE) -> np.ndarray:
    """Scattering matrix of a reciprocal two-port's chain matrix (textbook conversion, one reference at both ports).

    Parameters
    ----------
    abcd : complex ndarray, shape (n_freq, 2, 2)
        [[1, Ω], [S, 1]], AD − BC = 1. Were it computed, it would be lost in the digits of a long line.
    reference : float
        [Ω]

    Returns
    -------
    s : complex ndarray, shape (n_freq, 2, 2)
        Port 1 is the left side of the chain matrix.
    """
    a, b, c, d = abcd[:, 0, 0], abcd[:, 0, 1] / reference, abcd[:, 1, 0] * reference, abcd[:, 1, 1]
    total = a + b + c + d
    rows = [[a + b - c - d, 2 * np.ones_like(a)], [2 * np.ones_like(a), -a + b - c + d]]
    return np.stack([np.stack([value / total for value in row], -1) for row in rows], -2)


def touchstone_text(freq_hz, s, comments: str = "", reference: float = REFERENCE) -> str:
    """A scattering matrix as the text of a Touchstone file, real and imaginary parts with all their digits.

    Parameters
    ----------
    freq_hz : ndarray, shape (n_freq,)
        Rising. [Hz]
    s : complex ndarray, shape (n_freq, n, n)
    comments : str
        Lines for the head of the file; what is not ASCII is left out.
    reference : float
        [Ω]
    """
    # Imported here: it takes a second, which only writing such a file should cost.
    import skrf

    network = skrf.Network(
        frequency=skrf.Frequency.from_f(np.asarray(freq_hz, dtype=float), unit="hz"),
        s=s,
        z0=reference,
        comments=comments.encode("ascii", "ignore").decode("ascii"),
    )
    number = "{:.17g}"
    return network.write_touchstone(
        "text",
        return_string=True,
        skrf_comment=False,
        form="ri",
        format_spec_A=number,
        format_spec_B=number,
        format_spec_freq=number,
    )


def two_port_text(two_port, comments: str = "") -> str:
    """A two-port as the text of a Touchstone file: version 1, or 2.0 where its ports have unequal references.

    Parameters
    ----------
    two_port : TwoPort
    comments : str
        Lines for the head of the file; what is not ASCII is left out.
    """
    one, two = two_port.reference
    if one == two:
        return touchstone_text(two_port.freq_hz, two_port.s, comments, one)
    lines = [f"! {line}" for line in comments.encode("ascii", "ignore").decode("ascii").splitlines()]
    lines += ["[Version] 2.0", f"# Hz S RI R {one!r}", "[Number of Ports] 2", "[Two-Port Data Order] 21_12"]
    lines += [f"[Number of Frequencies] {len(two_port.freq_hz)}", f"[Reference] {one!r} {two!r}", "[Network Data]"]
    for freq, s in zip(two_port.freq_hz.tolist(), two_port.s, strict=True):
        values = (complex(s[row]) for row in ((0, 0), (1, 0), (0, 1), (1, 1)))
        lines.append(" ".join([repr(freq), *(f"{value.real!r} {value.imag!r}" for value in values)]))
    return "\n".join([*lines, "[End]"]) + "\n"


_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_OPTIONS = re.compile(rf"#(\s+([kmg]?hz|[syz]|ri|ma|db|r\s+{_NUMBER}))*\s*", re.IGNORECASE)
_DATA = re.compile(rf"{_NUMBER}\s+{_NUMBER}\s+{_NUMBER}")
_KEYWORDS = re.compile(
    r"\[version\]\s+(1\.0|1\.1|2\.0|2\.1)|\[number of ports\]\s+1|\[number of frequencies\]\s+\d{1,7}|"
    rf"\[reference\]\s+{_NUMBER}|\[matrix format\]\s+full|\[network data\]|\[end\]",
    re.IGNORECASE,
)


def read_one_port(text: str) -> tuple[np.ndarray, np.ndarray]:
    """Impedance out of the text of a one-port Touchstone file, version 1.0 to 2.1.

    Parameters
    ----------
    text : str
        S, Z or Y; real and imaginary parts, magnitude or decibels and degrees; any real reference resistance.

    Returns
    -------
    freq_hz : ndarray, shape (n_freq,)
        As in the file. [Hz]
    impedance : complex ndarray, shape (n_freq,)
        Not finite where the file says open circuit. [Ω]

    Raises
    ------
    ValueError
        With line number, what was found and what would do as its arguments.

    Notes
    -----
    Every line is held against what a one-port may contain before the library sees it: it would wait for ever for a
    number that is not there, and it takes comments for data. Values are taken as the library has them before it makes
    them scattering parameters, because scikit-rf 2.2.0 multiplies normalised admittances of version 1 by the reference
    where it ought to divide (Touchstone File Format Specification, version 2.0: y = Y R).
    """
    plain, data = _plain_lines(text)
    if not data:
        raise ValueError(None, "holds no line of data.", "Export the sweep once more as a one-port, .s1p.")
    from skrf.io.touchstone import Touchstone  # by its module: skrf.io is the standard io in old versions

    file = io.StringIO("\n".join(plain) + "\n")
    file.name = "file.s1p"
    try:
        read = Touchstone(file)
    except (ValueError, IndexError, KeyError, TypeError) as error:
        raise ValueError(
            None, f"cannot be read: {error}.", "Export the sweep once more as a one-port, .s1p."
        ) from error
    values, reference = read.s_flat[:, 0], float(np.real(np.ravel(read.resistance)[0]))
    if not reference > 0:
        raise ValueError(None, f"has a reference of {reference:g} ohm.", "Write a resistance above zero behind R.")
    normalised = reference if read.version.startswith("1") else 1.0
    with np.errstate(divide="ignore", invalid="ignore"):
        if read.parameter == "s":
            impedance = reference * (1 + values) / (1 - values)
        elif read.parameter == "z":
            impedance = values * normalised
        else:
            impedance = normalised / values
    return np.asarray(read.f, dtype=float), impedance


def _plain_lines(text: str) -> tuple[list[str], int]:
    """Lines of a file without comments, all of a known kind, and how many of them are data."""
    kept, data, options, promised = [], 0, 0, None
    for number, line in enumerate(text.splitlines(), start=1):
        line = " ".join(line.partition("!")[0].split())
        if not line:
            continue
        if line.startswith("#"):
            options += 1
            if not _OPTIONS.fullmatch(line):
                raise ValueError(
                    number, f"{shown(line)} is no option line of a one-port.", 'Write, for example, "# MHz S RI R 50".'
                )
            line = _all_options(line)
        elif line.startswith("["):
            if not _KEYWORDS.fullmatch(line):
                raise ValueError(
                    number,
                    f"{shown(line)} is not known in a one-port.",
                    "Export the sweep as Touchstone 1.1, one port.",
                )
            word = line.lower()
            promised = int(word.split()[-1]) if word.startswith("[number of frequencies]") else promised
            # What 1.1 has beside 1.0 does not touch a one-port, and the library knows no normalised data of 1.1.
            line = "[Version] 1.0" if word == "[version] 1.1" else line
        elif _DATA.fullmatch(line):
            if not options:
                raise ValueError(
                    number, "stands before any option line.", 'Begin with, for example, "# MHz S RI R 50".'
                )
            data += 1
        else:
            raise ValueError(
                number,
                f"{shown(line)} is not three numbers.",
                "A one-port has a frequency and a pair of values a line.",
            )
        kept.append(line)
    if options > 1:
        raise ValueError(None, "has two option lines.", "Keep the first.")
    if promised is not None and promised != data:
        found = f"promises {promised} frequencies and holds {data}."
        raise ValueError(None, found, "Export the sweep once more: the file was cut off, or changed by hand.")
    return kept, data


def _all_options(line: str) -> str:
    """An option line with all its parts in the order that the library expects; what is left out is the standard's."""
    words = _option_words(line, ("s", "y", "z"))
    return f"# {words.unit} {words.parameter} {words.form} r {words.reference[0]!r}"


@dataclass(frozen=True)
class TwoPort:
    """A two-port out of a file.

    Attributes
    ----------
    freq_hz : ndarray, shape (n_freq,)
        Rising. [Hz]
    s : complex ndarray, shape (n_freq, 2, 2)
        In the reference resistances of the file.
    reference : tuple of two float
        Of port 1 and port 2. [Ω]
    """

    freq_hz: np.ndarray
    s: np.ndarray
    reference: tuple[float, float]

    def between(self, source: float, load: float) -> np.ndarray:
        """Scattering parameters between other resistances, shape (n_freq, 2, 2).

        Parameters
        ----------
        source, load : float
            At port 1 and port 2. [Ω]
        """
        import skrf

        count = len(self.freq_hz)
        ends = [np.tile(np.array(pair, dtype=complex), (count, 1)) for pair in (self.reference, (source, load))]
        return skrf.network.renormalize_s(self.s, *ends)


MOST_POINTS = 200_000
"""Frequencies of the largest file that is read."""
_TWO_PORT_OPTIONS = re.compile(rf"#(\s+([kmg]?hz|[syzhg]|ri|ma|db|r(\s+{_NUMBER}){{1,2}}))*\s*", re.IGNORECASE)
_TWO_PORT_KEYWORDS = re.compile(
    r"\[version\]\s+(?P<version>1\.0|1\.1|2\.0|2\.1)|\[number of ports\]\s+2|"
    r"\[number of frequencies\]\s+(?P<count>\d{1,7})|"
    r"\[number of noise frequencies\]\s+\d{1,7}|\[two-port data order\]\s+(?P<order>12_21|21_12)|"
    rf"\[reference\](?P<reference>(\s+{_NUMBER}){{0,2}})|\[matrix format\]\s+(?P<matrix>full|lower|upper)|"
    r"\[network data\]|\[noise data\]|\[end\]",
    re.IGNORECASE,
)
_NUMBERS = re.compile(rf"{_NUMBER}(\s+{_NUMBER})*")
_NUMBERS_NOISE = 5  # in a line of noise data


@dataclass
class _Draft:
    """What has been read of a two-port file so far."""

    options: str | None = None
    version: str = "1.0"
    promised: int | None = None
    order: str | None = None
    matrix: str = "full"
    reference: list[float] | None = None
    waits_for_reference: bool = False
    in_noise: bool = False
    numbers: list[float] = dataclass_field(default_factory=list)

    @property
    def width(self) -> int:
        """Numbers that belong to one frequency."""
        return 9 if self.matrix == "full" else 7


def read_two_port(text: str) -> TwoPort:
    """A two-port out of the text of a Touchstone file, version 1.0 to 2.1.

    Parameters
    ----------
    text : str
        S, Z, Y, H or G; real and imaginary parts, magnitude or decibels and degrees; real reference resistances, one
        or one a port. Noise data at the end are passed over.

    Raises
    ------
    ValueError
        With line number, what was found and what would do as its arguments.

    Notes
    -----
    Lines are held against what a two-port may contain, then handed to scikit-rf as plain ones. Z, Y, H and G are
    turned into scattering parameters here: in versions 1 they are normalised to the reference (Touchstone File Format
    Specification, version 2.0), and scikit-rf 2.2.0 multiplies all of them by it.
    """
    draft = _two_port_lines(text)
    words = _option_words(draft.options, _TWO_PORT_PARAMETERS)
    reference = draft.reference or words.reference
    if len(reference) == 1:
        reference = reference * 2
    again = "Export the sweep once more as a two-port, .s2p."
    if not all(resistance > 0 for resistance in reference):
        raise ValueError(None, f"has a reference of {min(reference):g} ohm.", "Write a resistance above zero behind R.")
    if words.parameter != "s" and reference[0] != reference[1]:
        raise ValueError(None, "has other than scattering parameters with unequal references.", again)
    rows = np.array(draft.numbers).reshape(-1, draft.width)
    if draft.promised is not None and draft.promised != len(rows):
        raise ValueError(None, f"promises {draft.promised} frequencies and holds {len(rows)}.", again)
    if np.any(np.diff(rows[:, 0]) <= 0):
        raise ValueError(None, "has frequencies that do not rise.", "Sort them, each once.")
    import skrf
    from skrf.io.touchstone import Touchstone  # by its module: skrf.io is the standard io in old versions

    new = draft.version.startswith("2")
    # In version 2 the order is a keyword; before, a two-port holds 11, 21, 12, 22.
    order = draft.order or "21_12"
    lines = [f"[Version] {2.0 if new else 1.0}", f"# {words.unit} S {words.form} R {reference[0]!r}"]
    if new:
        lines += ["[Number of Ports] 2", f"[Two-Port Data Order] {order}", f"[Matrix Format] {draft.matrix}"]
        lines += ["[Network Data]"]
    lines += [" ".join(map(repr, row)) for row in rows.tolist()]
    file = io.StringIO("\n".join(lines) + "\n")
    file.name = "file.s2p"
    try:
        read = Touchstone(file)
    except (ValueError, IndexError, KeyError, TypeError) as error:
        raise ValueError(None, f"cannot be read: {error}.", again) from error
    values = np.asarray(read.s, dtype=complex)
    if words.parameter != "s":
        scale = 1.0 if new else reference[0]
        sizes = {
            "z": [[scale, scale], [scale, scale]],
            "y": [[1 / scale, 1 / scale], [1 / scale, 1 / scale]],
            "h": [[scale, 1], [1, 1 / scale]],
            "g": [[1 / scale, 1], [1, scale]],
        }[words.parameter]
        values = getattr(skrf.network, f"{words.parameter}2s")(values * np.array(sizes), reference[0])
    if not np.all(np.isfinite(values)):
        raise ValueError(None, "holds parameters that are no two-port.", again)
    return TwoPort(np.asarray(read.f, dtype=float), values, (reference[0], reference[1]))


_TWO_PORT_PARAMETERS = ("s", "y", "z", "h", "g")


@dataclass(frozen=True)
class _Options:
    unit: str
    parameter: str
    form: str
    reference: list[float]


def _option_words(line: str, parameters) -> _Options:
    """Parts of an option line; what is left out is the standard's."""
    words = line[1:].lower().split()
    place = words.index("r") if "r" in words else len(words)
    given = []
    for word in words[place + 1 :]:
        if not re.fullmatch(_NUMBER, word):
            break
        given.append(float(word))
    return _Options(
        unit=next((word for word in words if word.endswith("hz")), "ghz"),
        parameter=next((word for word in words if word in parameters), "s"),
        form=next((word for word in words if word in ("ri", "ma", "db")), "ma"),
        reference=given or [50.0],
    )


def _two_port_lines(text: str) -> _Draft:
    """Take a file apart, every line of a known kind."""
    draft = _Draft()
    for number, line in enumerate(text.splitlines(), start=1):
        line = " ".join(line.partition("!")[0].split())
        if not line:
            continue
        if line.lower().startswith("[begin information]"):
            raise ValueError(number, "has a section of information.", "Take it out: it says nothing about the sweep.")
        if line.startswith("#"):
            if draft.options is not None:
                raise ValueError(number, "is a second option line.", "Keep the first.")
            if not _TWO_PORT_OPTIONS.fullmatch(line):
                remedy = 'Write, for example, "# MHz S DB R 50".'
                raise ValueError(number, f"{shown(line)} is no option line of a two-port.", remedy)
            draft.options = line
        elif line.startswith("["):
            _two_port_keyword(draft, number, line)
        elif _NUMBERS.fullmatch(line):
            _two_port_numbers(draft, number, [float(word) for word in line.split()])
        else:
            raise ValueError(number, f"{shown(line)} is no line of numbers.", "A two-port has nine a frequency.")
    if not draft.numbers:
        raise ValueError(None, "holds no line of data.", "Export the sweep once more as a two-port, .s2p.")
    if len(draft.numbers) % draft.width:
        found = f"ends with {len(draft.numbers) % draft.width} of the {draft.width} numbers of a frequency."
        raise ValueError(None, found, "Export the sweep once more: the file was cut off, or is no two-port.")
    return draft


def _two_port_keyword(draft: _Draft, number: int, line: str) -> None:
    match = _TWO_PORT_KEYWORDS.fullmatch(line)
    if match is None:
        raise ValueError(number, f"{shown(line)} is not known in a two-port.", "Export the sweep as Touchstone 1.0.")
    said = match.groupdict()
    draft.version = said["version"] or draft.version
    draft.order = (said["order"] or draft.order or "").lower() or None
    draft.matrix = (said["matrix"] or draft.matrix).lower()
    draft.promised = int(said["count"]) if said["count"] else draft.promised
    if said["reference"] is not None:
        draft.reference = [float(word) for word in said["reference"].split()]
    draft.waits_for_reference = said["reference"] is not None and len(draft.reference) < 2
    draft.in_noise = draft.in_noise or line.lower().startswith("[noise data]")


def _two_port_numbers(draft: _Draft, number: int, values: list[float]) -> None:
    if draft.options is None:
        raise ValueError(number, "stands before any option line.", 'Begin with, for example, "# MHz S DB R 50".')
    if draft.waits_for_reference:
        draft.reference += values  # resistances may go on in the next lines
        draft.waits_for_reference = len(draft.reference) < 2
        return
    whole = len(draft.numbers) % draft.width == 0
    # Before version 2 noise data begin where the frequency falls back (specification, version 1.1).
    if whole and draft.numbers and len(values) == _NUMBERS_NOISE and values[0] <= draft.numbers[-draft.width]:
        draft.in_noise = True
    if draft.in_noise:
        return
    draft.numbers += values
    if len(draft.numbers) > draft.width * MOST_POINTS:
        raise ValueError(number, f"is the end of {MOST_POINTS} frequencies.", "Export fewer points.")
