"""Cards of a netlist, and how each is taken apart into words. Judges nothing."""

import re
from dataclasses import dataclass

EQUALS = re.compile(r"\s*(?<![=<>!])=(?!=)\s*")


@dataclass(frozen=True)
class Card:
    """One card, continuation lines joined.

    Attributes
    ----------
    line : int
        Of its first line, from 1.
    keyword : str
        What it is: the element's letter, or the dotted word; lower case.
    tokens : tuple of str
        Words as written; blanks around "=" are taken out, braces and parentheses are not split.
    text : str
        What may be given to the simulator: no comment, single blanks, printable ASCII.
    comment : str
        What stands behind the semicolon of its first commented line.
    """

    line: int
    keyword: str
    tokens: tuple[str, ...]
    text: str
    comment: str


def split_card(line: int, code: str, comment: str) -> Card:
    """A card from its joined code; judges nothing."""
    text = " ".join(code.split())
    keyword = text.split()[0].lower() if text.startswith(".") else text[0].lower()
    return Card(line, keyword, split_words(text), text, comment)


def split_words(text: str) -> tuple[str, ...]:
    """Words of a card, "name=value" as one, braces and parentheses whole."""
    words, depth, current = [], 0, ""
    for character in EQUALS.sub("=", text):
        depth += (character in "({") - (character in ")}")
        if character == " " and depth <= 0:
            if current:
                words.append(current)
            current = ""
        else:
            current += character
    return (*words, current) if current else tuple(words)


def instance_words(card: Card) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Plain words and assignments of an X or .subckt card, without its first word and without "params:"."""
    words = [word for word in card.tokens[1:] if word.lower() != "params:"]
    return tuple(word for word in words if "=" not in word), tuple(word for word in words if "=" in word)


def assignments_of(card: Card) -> tuple[tuple[str, str], ...]:
    """Names (lower case) and values of a .param card; empty where it is not understood."""
    body = card.text.split(None, 1)[1] if len(card.tokens) > 1 else ""
    first, *pieces = re.split(r"(?:^|\s)([^\s=]+)\s*(?<![=<>!])=(?!=)\s*", f" {body}")
    if first.strip():
        return ()
    return tuple((name.lower(), value.strip()) for name, value in zip(pieces[::2], pieces[1::2], strict=True))


def plain_controls(tokens: tuple[str, ...]) -> tuple[str, ...]:
    """Words of an E or G card of the vendors' dialect, its pair of controls "(c,d)" as two words."""
    pair = re.fullmatch(r"\( ?([^\s(),]+) ?[, ] ?([^\s(),]+) ?\)", tokens[3]) if len(tokens) > 3 else None
    return (*tokens[:3], *pair.groups(), *tokens[4:]) if pair else tokens


MODEL_TYPES = {
    "r": ("r", "res"),
    "c": ("c", "cap"),
    "l": ("l", "ind"),
    "d": ("d",),
    "q": ("npn", "pnp"),
    "j": ("njf", "pjf"),
    "m": ("nmos", "pmos", "vdmos", "vdmosn", "vdmosp"),
    "s": ("sw", "vswitch"),
    "w": ("csw", "iswitch"),
}
"""Types of models for the elements of a letter."""

LETTER_OF_TYPE = {kind: letter for letter, kinds in MODEL_TYPES.items() for kind in kinds}
"""Letter of the elements for which a type of model is."""

_MODEL = re.compile(r"\.model (\S+) (?:ako ?: ?(\S+) )?([A-Za-z]+) ?(.*)", re.IGNORECASE)


def model_words(card: Card) -> tuple[str, str | None, str, str] | None:
    """Name, name of the model it begins from, type and parameters of a .model card; lower case but the last."""
    match = _MODEL.fullmatch(card.text)
    if match is None:
        return None
    name, parent, kind, body = match.groups()
    return name.lower(), parent.lower() if parent else None, kind.lower(), body.strip()


_FUNCTION = re.compile(r"\.func ([A-Za-z_]\w*) ?\(([^(){}]*)\) ?=? ?\{(.*)\}", re.IGNORECASE)


def function_words(card: Card) -> tuple[str, tuple[str, ...], str] | None:
    """Name, arguments and body of a .func card, lower case."""
    match = _FUNCTION.fullmatch(card.text)
    if match is None:
        return None
    arguments = tuple(word.strip().lower() for word in match[2].split(",") if word.strip())
    return match[1].lower(), arguments, match[3].lower()
