"""Names of several lines or panels where room is short: never two that look alike.

Cut at its end, "pasture-dry, far end 350" is the same as "pasture-dry, open". So names that do not fit stand in a key
above the panels, with a letter at the line; rows and headings, which have no key, are cut so that they stay apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sim.plots import style

_LINE_IN = 0.155
_BELOW_IN = 0.08
_COLUMN_IN = 2.05
_WHOLE_IN = 4.2


@dataclass(frozen=True)
class Key:
    """What stands at each line, and the lines of a key that says what it means; none where the names fit.

    Attributes
    ----------
    labels : tuple of str
        One a line: its name, or a letter.
    entries : tuple of str
        "A  pasture-dry, far end 350", one a line, or nothing.
    """

    labels: tuple[str, ...]
    entries: tuple[str, ...] = ()

    @property
    def columns(self) -> int:
        """Two where every entry fits half the sheet."""
        return 2 if all(style.text_width_in(entry) <= _COLUMN_IN for entry in self.entries) else 1

    @property
    def height_in(self) -> float:
        """Room that the key needs above the first panel. [in]"""
        return -(-len(self.entries) // self.columns) * _LINE_IN + _BELOW_IN if self.entries else 0.0

    def draw(self, figure, inks_of: Sequence[str]) -> None:
        """Write the key at the top of a sheet, each entry in the ink of its line."""
        height, down = figure.get_figheight(), -(-len(self.entries) // self.columns)
        room = _COLUMN_IN if self.columns == 2 else _WHOLE_IN
        for place, (entry, ink) in enumerate(zip(self.entries, inks_of, strict=False)):
            column, line = divmod(place, down)
            figure.text(
                0.04 + 0.48 * column,
                1 - (0.05 + _LINE_IN * line) / height,
                style.shortened(entry, room),
                va="top",
                fontsize=style.SMALL_PT,
                color=ink,
            )


def keyed(names: Sequence[str], room_in: float) -> Key:
    """The names as they are if each fits, else letters and a key.

    Parameters
    ----------
    names : sequence of str
        One a line.
    room_in : float
        Beside the panel. [in]
    """
    if len(names) < 2 or all(style.text_width_in(name) <= room_in for name in names):
        return Key(tuple(style.shortened(name, room_in) for name in names))
    letters = tuple(chr(ord("A") + place) for place in range(len(names)))
    return Key(letters, tuple(f"{letter}  {name}" for letter, name in zip(letters, names, strict=True)))


def apart(names: Sequence[str], room_in: float, size_pt: float = style.SMALL_PT, bold: bool = False) -> list[str]:
    """The names cut to the room, at the end, else in the middle, else numbered: different names look different.

    Parameters
    ----------
    names : sequence of str
    room_in : float
        For each. [in]
    size_pt, bold
        Of the letters.
    """
    for cut in (style.shortened, _middle_out):
        found = [cut(name, room_in, size_pt, bold) for name in names]
        if len(set(found)) == len(set(names)):
            return found
    order = {name: f"{place}: " for place, name in enumerate(dict.fromkeys(names), start=1)}
    heads = [order[name] for name in names]
    left = [room_in - style.text_width_in(head, size_pt, bold) for head in heads]
    return [h + style.shortened(n, room, size_pt, bold) for h, n, room in zip(heads, names, left, strict=True)]


def _middle_out(name: str, room_in: float, size_pt: float, bold: bool) -> str:
    """The name with its middle left out where it would be wider than the room."""
    if style.text_width_in(name, size_pt, bold) <= room_in:
        return name
    kept = len(name) - 1
    while kept > 2:
        first, last = name[: kept // 2].rstrip(), name[len(name) - (kept - kept // 2) :].lstrip()
        if style.text_width_in(f"{first}…{last}", size_pt, bold) <= room_in:
            return f"{first}…{last}"
        kept -= 1
    return style.shortened(name, room_in, size_pt, bold)
