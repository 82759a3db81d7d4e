"""At which line of a TOML file each key stands; the standard reader does not say."""

import re

_TABLE = re.compile(r"\s*\[\s*([^\[\]]+?)\s*\]\s*(#.*)?$")
_ARRAY = re.compile(r"\s*\[\[\s*([^\[\]]+?)\s*\]\]\s*(#.*)?$")
_KEY = re.compile(
    r"""\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*'))*)\s*=(.*)$"""
)
_QUOTES = ('"""', "'''")


def _words(dotted: str) -> tuple[str, ...]:
    return tuple(word.strip().strip("\"'") for word in re.findall(r""""[^"]*"|'[^']*'|[^.\s]+""", dotted))


def key_lines(text: str) -> dict[tuple, int]:
    """Line of every key and table of a valid TOML text.

    Parameters
    ----------
    text : str

    Returns
    -------
    lines : dict
        From the path of a key, for example ``("vary", 0, "what")``, to its line, counted from 1.
    """
    found: dict[tuple, int] = {}
    counts: dict[tuple, int] = {}
    table: tuple = ()
    depth, quote = 0, None
    for number, line in enumerate(text.splitlines(), start=1):
        if quote is not None:
            if quote in line:
                quote = None
            continue
        if depth > 0:
            depth += _brackets(line)
            continue
        if match := _ARRAY.match(line):
            path = _words(match[1])
            counts[path] = counts.get(path, -1) + 1
            table = (*path, counts[path])
            found[table] = number
            found.setdefault(path, number)
        elif match := _TABLE.match(line):
            table = _inside(_words(match[1]), counts)
            found.setdefault(table, number)
        elif match := _KEY.match(line):
            path = (*table, *_words(match[1]))
            for length in range(len(table) + 1, len(path) + 1):
                found.setdefault(path[:length], number)
            value = match[2]
            for mark in _QUOTES:
                if value.count(mark) == 1:
                    quote = mark
            if quote is None:
                depth = max(0, _brackets(value))
    return found


def _inside(path: tuple, counts: dict[tuple, int]) -> tuple:
    """A table below an array of tables belongs to the array's latest element."""
    full: tuple = ()
    for word in path:
        full = (*full, word)
        if full in counts:
            full = (*full, counts[full])
    return full


def _brackets(text: str) -> int:
    """Brackets opened and not closed, strings and comments left out."""
    bare = re.sub(r'"(?:\\.|[^"\\])*"|\'[^\']*\'', "", text).split("#")[0]
    return bare.count("[") + bare.count("{") - bare.count("]") - bare.count("}")


def line_of(lines: dict[tuple, int], path: tuple) -> int | None:
    """Line of a path, or of the closest thing above it that has one."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return None
