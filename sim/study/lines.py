"""At which line of a TOML file each key stands; the standard reader does not say.

A scanner of its own, for texts that the standard reader has accepted: it follows keys, tables, arrays and strings and
looks at no value. Elements of arrays have lines too, so that one bad value among many can be pointed at.
"""

import re
import tomllib

_BLANK = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_KEY = re.compile(r"""[A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|'[^'\n]*'""")
# Long strings first: """ begins like "".
_STRING = re.compile(
    r'"""(?:[^"\\]|\\.|"{1,2}(?!"))*"{3,5}' r"|'''(?:[^']|'{1,2}(?!'))*'{3,5}" r'|"(?:[^"\\\n]|\\.)*"' r"|'[^'\n]*'",
    re.DOTALL,
)
_PLAIN = re.compile(r"[^,\]}#\n]*")


def key_lines(text: str) -> dict[tuple, int]:
    """Line of every key, table and element of a valid TOML text.

    Parameters
    ----------
    text : str
        Accepted by :mod:`tomllib`.

    Returns
    -------
    lines : dict
        From the path of a key, for example ``("vary", 0, "what")``, to its line, counted from 1. A table that is
        written in several places has the line of the first.
    """
    return _Scanner(text).lines()


def line_of(lines: dict[tuple, int], path: tuple) -> int | None:
    """Line of a path, or of the closest thing above it that has one.

    Parameters
    ----------
    lines : dict
        From :func:`key_lines`.
    path : tuple
        Keys, and places in lists counted from 0.
    """
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return None


class _Scanner:
    def __init__(self, text: str):
        self.text = text
        self.place = 0
        self.counted, self.line = 0, 1
        self.found: dict[tuple, int] = {}
        self.last_element: dict[tuple, int] = {}

    def lines(self) -> dict[tuple, int]:
        table: tuple = ()
        self._skip(_BLANK)
        while self.place < len(self.text):
            if self.text.startswith("[[", self.place):
                table = self._header(2)
            elif self.text[self.place] == "[":
                table = self._header(1)
            else:
                self._assignment(table)
            self._skip(_BLANK)
        return self.found

    def _skip(self, pattern: re.Pattern) -> str:
        match = pattern.match(self.text, self.place)
        self.place = match.end()
        return match[0]

    def _note(self, path: tuple, known: int = 0) -> None:
        """Keep the present line for a path and what leads to it, from the known part on."""
        self.line += self.text.count("\n", self.counted, self.place)
        self.counted = self.place
        for length in range(known + 1, len(path) + 1):
            self.found.setdefault(path[:length], self.line)

    def _dotted(self) -> tuple[str, ...]:
        words = []
        while True:
            self._skip(_SPACE)
            word = self._skip(_KEY)
            words.append(tomllib.loads(f"key = {word}")["key"] if word[0] in "\"'" else word)
            self._skip(_SPACE)
            if not self.text.startswith(".", self.place):
                return tuple(words)
            self.place += 1

    def _header(self, brackets: int) -> tuple:
        """A line [a.b] or [[a.b]]; what lies below an array of tables belongs to its latest element."""
        self.place += brackets
        words = self._dotted()
        path: tuple = ()
        for word in words[:-1]:
            path = self._latest((*path, word))
        path = (*path, words[-1])
        if brackets == 2:
            self._note(path)
            self.last_element[path] = self.last_element.get(path, -1) + 1
        path = self._latest(path)
        self._note(path)
        self.place += brackets
        return path

    def _latest(self, path: tuple) -> tuple:
        return (*path, self.last_element[path]) if path in self.last_element else path

    def _assignment(self, table: tuple) -> None:
        path = (*table, *self._dotted())
        self._note(path, len(table))
        self.place += 1  # the equals sign
        self._value(path)

    def _value(self, path: tuple) -> None:
        # Lists and inline tables in one function: as deep as the standard reader goes, this goes too.
        self._skip(_SPACE)
        opening = self.text[self.place]
        if opening in "\"'":
            self._skip(_STRING)
        elif opening == "[":
            self.place += 1
            self._skip(_BLANK)
            number = 0
            while self.text[self.place] != "]":
                self._note((*path, number), len(path))
                self._value((*path, number))
                number += 1
                self._separator()
            self.place += 1
        elif opening == "{":
            self.place += 1
            self._skip(_BLANK)
            while self.text[self.place] != "}":
                key = (*path, *self._dotted())
                self._note(key, len(path))
                self.place += 1
                self._value(key)
                self._separator()
            self.place += 1
        else:
            self._skip(_PLAIN)

    def _separator(self) -> None:
        self._skip(_BLANK)
        if self.text[self.place] == ",":
            self.place += 1
            self._skip(_BLANK)
