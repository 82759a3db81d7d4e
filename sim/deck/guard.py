"""Text from outside is judged card by card before the simulator sees it, against a list of what is allowed.

A SPICE deck is a program: ngspice runs commands from ``.control`` sections (also behind ``.end``), from comments that
begin with ``*#``, from a first line ``*ng_script``; other cards read or write files. No list of such tricks is ever
complete, so nothing is looked for: a line is refused unless it is one of the cards this module knows, spelt with
characters it knows. What is handed on is not the text but the cards, joined, stripped of comments and of surplus
blanks. Whoever writes a deck writes :attr:`Card.text` and never the file itself: what ngspice reads is then exactly
what was judged, whatever it would have made of line ends, comments and continuations.

What each card may say is in :mod:`sim.deck.grammar` and :mod:`sim.deck.expressions`, what cards may say together in
:mod:`sim.deck.structure`. Here: lines, characters, comments, continuation.

Not covered: whether a circuit makes sense, and how long it takes to simulate beyond a bound on its size.
"""

import math
import re
import unicodedata
from collections.abc import Iterator

from sim.deck.cards import Card, split_card
from sim.deck.expressions import CardSet, shown
from sim.deck.grammar import card_fault, keyword_fault
from sim.deck.structure import FaultAt, functions_of, names_around, sections, whole_faults
from sim.errors import Fault, GuardError

__all__ = ["Card", "CardSet", "read_cards"]

LARGEST_TEXT = 1_000_000
"""Longest text that is read. [characters]"""
LONGEST_LINE = 4_000
"""Longest line, and longest card with all its continuation lines. [characters]"""

MOST_FAULTS = 50
"""Faults that are told one by one."""

_LEFT_OUT = (".title", ".op", ".ac", ".dc", ".tran", ".noise", ".tf", ".pz", ".sens", ".disto", ".sp")
_COMMENT = re.compile(r";|(?<!\S)\$(?!\S)")
_COMMANDS_IN_COMMENTS = ("*#", "*ng_")
_IN_WORDS = {"\0": "a NUL", "\r": "a carriage return", "\v": "a vertical tab", "\f": "a form feed", "\x1b": "an escape"}


def read_cards(text: str, file: str, allow: CardSet) -> tuple[Card, ...]:
    """The cards of a text from outside; nothing else of it may be given to the simulator.

    Parameters
    ----------
    text : str
        As decoded from UTF-8.
    file : str
        Name for messages.
    allow : CardSet
        What kind of text it is. In a ``DECK`` the first line is a title, and analyses are left out (whoever judges a
        deck brings their own); ``.end`` ends it, and a model file.

    Returns
    -------
    tuple of Card
        In the order of the text, without title, analyses and ``.end``.

    Raises
    ------
    GuardError
        With all faults, in the order of the text.
    """
    if len(text) > LARGEST_TEXT:
        found = f"is longer than {LARGEST_TEXT} characters."
        raise GuardError(Fault(file, None, None, found, "Leave out what the circuit does not use."))
    faults: list[FaultAt] = []
    cards, ended = [], False
    for line, code, comment in _logical_lines(text, allow, faults):
        if ended:
            faults.append((line, None, "there is text after .end.", "Make .end the last line; ngspice would read on."))
            break
        fault = _character_fault(code)
        if fault:
            faults.append((line, None, *fault))
            continue
        card = split_card(line, code, comment)
        if allow is not CardSet.TEMPLATE and card.text.lower() == ".end":
            ended = True
        elif not (allow is CardSet.DECK and card.keyword in _LEFT_OUT):
            cards.append(card)
    if faults:
        # What could not be read may have defined what the rest needs: of the rest only what is never allowed is told.
        faults += [_at(card, fault) for card in cards if (fault := keyword_fault(card, allow))]
    else:
        faults += _card_faults(tuple(cards), allow)
    if faults:
        # A fault of the text as a whole stands last.
        faults.sort(key=lambda fault: math.inf if fault[0] is None else fault[0])
        more = len(faults) - MOST_FAULTS
        if more > 0:
            found = f"has {more} more faults."
            faults[MOST_FAULTS:] = [(None, None, found, "Correct those above first.")]
        raise GuardError(Fault(file, *fault) for fault in faults)
    return tuple(cards)


def _at(card: Card, fault: tuple[str, str]) -> FaultAt:
    return (card.line, None if card.keyword.startswith(".") else shown(card.tokens[0]), *fault)


def _card_faults(cards: tuple[Card, ...], allow: CardSet) -> list[FaultAt]:
    """Faults of the cards one by one; where there are none, of the cards together."""
    around, faults = sections(cards)
    # An expression's size is known only where no function calls itself.
    functions, bad_functions = functions_of(cards)
    faults += bad_functions
    if faults:
        return faults
    for card, names in zip(cards, names_around(cards, around, functions, allow), strict=True):
        fault = card_fault(card, names)
        if fault:
            faults.append(_at(card, fault))
    return faults or whole_faults(cards, around)


def _logical_lines(text: str, allow: CardSet, faults: list) -> Iterator[tuple[int, str, str]]:
    """Number, code and comment of each card, continuation lines joined, comment lines and sections left out."""
    pending: tuple[int, str, str] | None = None
    section: str | None = None
    for number, raw in enumerate(text.split("\n"), start=1):
        raw = raw.removesuffix("\r")
        strange = _strange_characters(raw)
        if strange:
            faults.append((number, None, f"there is {strange} in this line.", "Write printable characters only."))
            continue
        if len(raw) > LONGEST_LINE:
            faults.append((number, None, f"is longer than {LONGEST_LINE} characters.", "Continue it with + lines."))
            continue
        line = raw.replace("\t", " ").strip()
        if section is not None:
            # One message for a whole control section, not one for every line in it.
            section = None if line.lower().startswith(section) else section
            continue
        if line.startswith(("*", ";")):
            # A semicolon that begins a line becomes an asterisk in ngspice, before it looks for commands.
            if f"*{line[1:].lower()}".startswith(_COMMANDS_IN_COMMENTS):
                found = f'ngspice runs comments like "{shown(line)}".'
                faults.append((number, None, found, f"Write a blank behind the {line[0]}."))
            continue
        if number == 1 and line and allow is CardSet.TEMPLATE:
            # SPICE never reads the first line of a file: a card there would be one here and none in ngspice.
            found = f'SPICE takes "{shown(line)}" for a title, not for a card.'
            faults.append((1, None, found, "Begin the first line with * and say what the circuit is."))
            continue
        if number == 1 and allow is CardSet.DECK:
            if line.startswith((".", "+", "$", "#")):
                faults.append((1, None, f'"{shown(line)}" is no title.', "Write a title in the first line."))
            continue
        code, *comments = (piece.strip() for piece in _COMMENT.split(line, maxsplit=1))
        comment = "".join(comments)
        if not code:
            continue
        if code.startswith("+"):
            if pending is None:
                faults.append((number, None, "a continuation line has nothing before it.", "Join it to its card."))
                continue
            pending = (pending[0], f"{pending[1]} {code[1:].strip()}", pending[2] or comment)
            if len(pending[1]) > LONGEST_LINE:
                faults.append((pending[0], None, f"is longer than {LONGEST_LINE} characters.", "Use several cards."))
                pending = (pending[0], pending[1][:LONGEST_LINE], "")
            continue
        if pending is not None:
            yield pending
            pending = None
        if code.lower().startswith(".cont"):
            remedy = "Leave control sections out; the program runs its own analyses."
            faults.append((number, None, f'"{shown(code)}" opens a control section.', remedy))
            section = ".endc"
            continue
        pending = (number, code, comment)
    if pending is not None:
        yield pending


def _strange_characters(line: str) -> str | None:
    """The first character that is not there to be seen, in words."""
    if line.isascii() and line.isprintable():
        return None
    for character in line:
        if character != "\t" and unicodedata.category(character) in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"):
            return _IN_WORDS.get(character, f"the invisible character U+{ord(character):04X}")
    return None


def _character_fault(code: str) -> tuple[str, str] | None:
    for character in code:
        if not character.isascii():
            return (
                f'the character "{character}" (U+{ord(character):04X}) stands outside a comment.',
                "Write letters without accents, plain digits and blanks in cards.",
            )
        if character in "\"'`$\\#@~%![]":
            return (
                f"the character {character} is not used in cards.",
                "Write expressions in braces, and comments behind a semicolon.",
            )
    if "//" in code:
        return "ngspice takes // for the start of a comment.", "Write a semicolon before a comment."
    return None
