"""The study's own text, and the files that it names."""

import re
import tomllib
from pathlib import Path

from sim.errors import Fault, StudyError, nearest, shown
from sim.paths import CIRCUITS
from sim.study.maker import MODEL_ENDINGS, is_model_file

LARGEST_FILE = 200_000
"""Bytes of the largest study that is read; one is a page or two."""
MOST_DOTS = 2_000
"""In one line; the standard reader takes minutes over a key of ten thousand words."""

# Key of a study: folder of what comes along, ending of the builder's own, word of `bandfloor list`.
_KINDS = {
    "circuit": ("amplifiers", ".cir", "circuits"),
    "opamp": ("opamps", ".toml", "opamps"),
    "cable": ("feedlines", ".toml", "cables"),
}
_MEASURED = (".s1p", ".csv")


def file_text(path: Path, name: str) -> str:
    """Text of a study file.

    Parameters
    ----------
    path : Path
    name : str
        For messages.

    Raises
    ------
    StudyError
        There is no such file, it is no plain file, too large or not UTF-8.
    """
    raw = _bytes(path, name)
    if len(raw) > LARGEST_FILE:
        raise StudyError(
            Fault(name, None, None, "is larger than 200 kB.", "A study is a short text: is this the file?")
        )
    try:
        # Some editors put a mark before the first character; it is not part of the text.
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise StudyError(
            Fault(name, line, None, "is not UTF-8 text.", "Save the file as UTF-8 in your editor.")
        ) from error
    for number, line in enumerate(text.split("\n"), start=1):
        if line.count(".") > MOST_DOTS:
            raise StudyError(Fault(name, number, None, f"holds more than {MOST_DOTS} dots.", "Write shorter lines."))
    return text


def _bytes(path: Path, name: str) -> bytes:
    try:
        if not name:  # else it would be the folder that the command is given in
            raise StudyError(Fault('""', None, None, "is no file name.", "Name the study's file (.toml)."))
        if path.is_dir():
            raise StudyError(Fault(name, None, None, "is a folder.", "Name the study's file (.toml)."))
        if path.exists() and not path.is_file():
            raise StudyError(Fault(name, None, None, "is no plain file.", "Name the study's file (.toml)."))
        with open(path, "rb") as file:
            return file.read(LARGEST_FILE + 1)
    except OSError as error:
        remedy = "Name an existing study file, or make one: bandfloor new FILE."
        reason = (error.strerror or str(error)).lower()
        raise StudyError(Fault(name, None, None, f"cannot be read: {reason}.", remedy)) from error
    except ValueError as error:  # a NUL in the name
        raise StudyError(
            Fault(shown(name), None, None, "is no file name.", "Name the study's file (.toml).")
        ) from error


_REMEDIES = (
    ("twice", "Keep one of them."),
    ("Unclosed", "Close it."),
    ("Unterminated", "Close the quotes."),
)


def syntax_fault(error: tomllib.TOMLDecodeError, text: str, name: str) -> Fault:
    """What the standard reader says of a text, as a fault with its line.

    Parameters
    ----------
    error : tomllib.TOMLDecodeError
    text : str
        What was read.
    name : str
        Of the file, for messages.
    """
    said = str(error)
    match = re.search(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$", said)
    reason = said[: match.start()] if match else said
    reason = reason.replace("Cannot overwrite a value", "a key is there twice")
    # Names of tables come as Python tuples.
    reason = re.sub(r"\('([^()]*?)',?\)", lambda names: "[" + names[1].replace("', '", ".") + "]", reason)
    line = int(match[1]) if match and match[1] else len(text.rstrip().split("\n"))
    column = f", column {match[2]}" if match and match[2] else ""
    remedy = next((remedy for word, remedy in _REMEDIES if word in reason), None)
    lines = text.split("\n")
    if remedy is None and line <= len(lines) and any(sign in lines[line - 1].partition("#")[0] for sign in "“”„‘’«»"):
        remedy = 'Write straight quotes, ", in place of the curved ones that text programs put in.'
    return Fault(
        name,
        line,
        None,
        f"is not valid TOML{column}: {reason[:1].lower()}{reason[1:]}.",
        remedy or 'Text and quantities stand in quotes (length = "120 m"), tables in brackets ([amplifier]).',
    )


def one_port_fault(name: str, folder: Path) -> tuple[str, str] | None:
    """What is wrong with the name of a far end's Touchstone file; None where nothing is, or where it is no file.

    Parameters
    ----------
    name : str
    folder : Path
        The study's folder; files outside are not read.

    Returns
    -------
    found, remedy : str
    """
    return _file_fault(name, folder, ".s1p") if name.lower().endswith(".s1p") else None


def name_fault(key: str, name: str, folder: Path) -> tuple[str, str] | None:
    """What is wrong with the name of a circuit, an op-amp or a cable; None where nothing is.

    Parameters
    ----------
    key : str
        circuit, opamp or cable.
    name : str
        One that comes with the program, or a path from the study's folder.
    folder : Path
        The study's folder; files outside are not read.

    Returns
    -------
    found, remedy : str
    """
    kind, ending, listed = _KINDS[key]
    own = name.endswith(ending) or (key == "opamp" and is_model_file(name))
    if not ("/" in name or "\\" in name or own):
        known = [path.name.removesuffix(ending) for path in (CIRCUITS / kind).glob(f"*{ending}")]
        if name in known:
            return None
        near = nearest(name, sorted(known), 0.3)
        hint = f"Nearest: {near}. " if near else ""
        return (
            f"there is no {'op-amp' if key == 'opamp' else key} {shown(name)}.",
            f"{hint}All of them: bandfloor list {listed}; or name a file of your own that ends in {ending}.",
        )
    if key == "opamp" and is_model_file(name):
        return _file_fault(name, folder, " or ".join(MODEL_ENDINGS))
    return _own_fault(name, (ending,), folder)


def measured_fault(name: str, folder: Path) -> tuple[str, str] | None:
    """What is wrong with the name of a measured antenna's file; None where nothing is.

    Parameters
    ----------
    name : str
        A path from the study's folder.
    folder : Path
        The study's folder; files outside are not read.

    Returns
    -------
    found, remedy : str
    """
    return _own_fault(name, _MEASURED, folder)


def _own_fault(name: str, endings: tuple[str, ...], folder: Path) -> tuple[str, str] | None:
    ending = " or ".join(endings)
    if not name.endswith(endings):
        return f"{shown(name)} does not end in {ending}.", f"Name a file of your own that ends in {ending}."
    return _file_fault(name, folder, ending)


def _file_fault(name: str, folder: Path, ending: str) -> tuple[str, str] | None:
    """What is wrong with a file of the builder's own."""
    try:
        path = (folder / name).resolve()
        inside, exists = path.is_relative_to(folder.resolve()), path.is_file()
    except (OSError, ValueError, RuntimeError):
        return f"{shown(name)} is no file name.", "Name a file in the study's folder."
    if not inside:
        return f"{shown(name)} lies outside the study's folder.", "Put the file beside the study, or below it."
    if not exists:
        return f"there is no file {shown(name)} in the study's folder.", f"Name an existing file that ends in {ending}."
    return None
