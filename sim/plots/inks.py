"""The few inks all figures are drawn with, by name, so that a page can swap them for its dark theme.

Kept apart from the drawing code: the report reads the names and need not load the plotting library.
Colour is never the only mark: each line also has a dash pattern, a marker or a label of its own.
"""

INK = "#1d2329"
SOFT = "#59636d"
GRID = "#d8dde1"
PAPER = "#fefefe"
BLUE = "#0b5ea6"
RUST = "#b8480c"
GREEN = "#1a7d5a"
PLUM = "#85499b"
OCHRE = "#8f6c06"
STEEL = "#4b7f9e"
FORBIDDEN = "#a8554a"

NAMES = {
    "ink": INK,
    "soft": SOFT,
    "grid": GRID,
    "paper": PAPER,
    "blue": BLUE,
    "rust": RUST,
    "green": GREEN,
    "plum": PLUM,
    "ochre": OCHRE,
    "steel": STEEL,
    "forbidden": FORBIDDEN,
}
