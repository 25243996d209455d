"""What a filter must be before any parser sees it: short, printable, shallow, made of known words.

The parser of the text form takes time that doubles with every bracket around a mistake, and stack with every level. So
a text is cut at its brackets first, and each piece, in which none are left but those of functions and lists of single
words, is parsed alone: the time is then that of its length.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from tidecore.errors import Fault, InvalidFilter

#: Most characters of a filter, in either form.
MOST_CHARACTERS = 2_000
#: Deepest brackets of a text, and deepest tree of operators.
MOST_LEVELS = 24
#: Most operators that follow each other without AND or OR between them; each is a level to the parser.
MOST_CHAINED = 60
#: What may stand before an opening bracket and make a function or a literal of it.
CALLS = frozenset(
    "casei accenti timestamp date interval t_after t_before t_contains t_disjoint t_during t_equals t_finishedby "
    "t_finishes t_intersects t_meets t_metby t_overlappedby t_overlaps t_startedby t_starts".split()
)
#: Begins the name that stands for a bracket that was cut out; no column is called so.
CUT = "#"

_KEYWORDS = frozenset("and or not in like between is null div true false".split())
_RESETS = frozenset({"and", "or", ",", "("})
_OPERATORS = frozenset({"=", "<", ">", "<=", ">=", "<>", "!=", "+", "-", "*", "/", "%", "^"})
_TOKEN = re.compile(
    r"""(?P<space>[ \t\r\n]+)
    |(?P<text>'(?:[^']|'')*')
    |(?P<quoted>"[^"]*")
    |(?P<number>[0-9]+(?:\.[0-9]*)?(?:[eE][+-]?[0-9]+)?)
    |(?P<word>[^\W\d][\w.:]*)
    |(?P<sign><=|>=|<>|!=|[-=<>+*/%^(),])""",
    re.VERBOSE,
)
_Kind = Literal["whole", "group", "call", "list"]


@dataclass(frozen=True, slots=True)
class Token:
    """A word, number, text or sign of a filter; ``start`` is its first character, counted from 0."""

    kind: str
    text: str
    start: int


@dataclass(slots=True)
class Piece:
    """Text with no brackets inside brackets, the place in the filter of each character, and how many tokens it has."""

    text: str = ""
    origins: list[int] = field(default_factory=list)
    count: int = 0

    def add(self, text: str, start: int, *, moved: bool = False) -> None:
        """Append ``text``; all of it comes from ``start`` if it was ``moved`` there, else from there on."""
        self.text += text
        self.origins += [start] * len(text) if moved else range(start, start + len(text))
        self.count += not text.isspace()

    def append(self, other: Piece) -> None:
        """Append another piece."""
        self.text += other.text
        self.origins += other.origins
        self.count += other.count


@dataclass(slots=True)
class _Bracket:
    """A bracket that is open, and what is between its commas; the whole is one too."""

    kind: _Kind
    start: int
    items: list[Piece] = field(default_factory=lambda: [Piece()])


@dataclass(frozen=True, slots=True)
class Cut:
    """A text cut at its brackets: the ``pieces`` by the names that stand for them, the whole by the empty name.

    ``columns`` has the place of each name of a column, counted from 0.
    """

    pieces: Mapping[str, Piece]
    columns: Mapping[str, int]


def refuse(problem: str, expected: str, at: int | None = None, where: str = "filter") -> InvalidFilter:
    """Return the error for what is wrong at character ``at``, counted from 0."""
    said = problem if at is None else f"{problem}, at character {at + 1}"
    return InvalidFilter(Fault(where, said, expected), None if at is None else at + 1)


def check_characters(text: str) -> None:
    """Refuse a filter that is empty, too long, or holds what no filter does; InvalidFilter says what and where."""
    if len(text) > MOST_CHARACTERS:
        raise refuse(f"has {len(text)} characters", f"at most {MOST_CHARACTERS}")
    for place, character in enumerate(text):
        if "\ud800" <= character <= "\udfff":
            raise refuse("holds half a surrogate pair", "text in Unicode", place)
        if (character < " " and character not in "\t\r\n") or "\x7f" <= character <= "\x9f":
            raise refuse(f"holds the control character U+{ord(character):04X}", "text without any", place)
    if not text.strip():
        raise refuse("is empty", "an expression, as flow_strength > 0.4 AND direction = 'ebb'")


def check_json_levels(text: str) -> None:
    """Refuse JSON whose lists and objects are nested too deep; InvalidFilter says where."""
    # An operator is an object and a list of arguments.
    most, level, inside, escaped = 2 * MOST_LEVELS + 2, 0, False, False
    for place, character in enumerate(text):
        if inside:
            inside = escaped or character != '"'
            escaped = character == "\\" and not escaped
        elif character == '"':
            inside = True
        elif character in "[{":
            level += 1
            if level > most:
                raise refuse("is nested too deep", f"at most {most} levels of lists and objects", place)
        elif character in "]}":
            level -= 1


def cut_text(text: str) -> Cut:
    """Return a text that has passed `check_characters` cut at its brackets.

    Raises
    ------
    InvalidFilter
        If a character means nothing, a text or a bracket is left open, brackets or chains of operators go too deep,
        a number is none, or a function is called that there is not; with the place.
    """
    tokens = _tokens(text)
    _check_chains(tokens)
    pieces: dict[str, Piece] = {}
    opened = [_Bracket("whole", 0)]
    columns: dict[str, int] = {}
    before: Token | None = None
    for token in tokens:
        if token.text == "(":
            if len(opened) > MOST_LEVELS:
                raise refuse("has brackets nested too deep", f"at most {MOST_LEVELS} levels", token.start)
            opened.append(_Bracket(_kind_of_bracket(before), token.start))
        elif token.text == ")":
            if len(opened) == 1:
                raise refuse("closes a bracket that is not open", "brackets in pairs", token.start)
            _close(opened.pop(), opened[-1].items[-1], token.start, pieces)
        elif token.text == ",":
            if opened[-1].kind in ("whole", "group"):
                raise refuse("has a comma outside a list", "a list after IN or a function alone", token.start)
            opened[-1].items.append(Piece())
        else:
            opened[-1].items[-1].add(token.text if token.kind != "space" else " " * len(token.text), token.start)
            name = _column_of(token)
            if name is not None:
                columns.setdefault(name, token.start)
        before = before if token.kind == "space" else token
    if len(opened) > 1:
        raise refuse("leaves a bracket open", "brackets in pairs", opened[-1].start)
    pieces[""] = opened[0].items[0]
    return Cut(pieces, columns)


def _close(bracket: _Bracket, around: Piece, end: int, pieces: dict[str, Piece]) -> None:
    """Close a bracket: what is in it is cut out, but single words, numbers and texts of a list or a function."""
    if bracket.kind == "group":
        _cut_out(bracket.items[0], around, bracket.start, pieces)
        return
    around.add("(", bracket.start)
    for place, item in enumerate(bracket.items):
        if place:
            around.add(",", item.origins[0] if item.origins else end)
        if item.count > 1:
            _cut_out(item, around, item.origins[0], pieces)
        else:
            around.append(item)
    around.add(")", end)


def _cut_out(piece: Piece, around: Piece, start: int, pieces: dict[str, Piece]) -> None:
    name = f"{CUT}{len(pieces)}"
    pieces[name] = piece
    if not piece.text.strip():
        raise refuse("has nothing between two brackets", "an expression", start)
    # Blanks, for two names beside each other would be one with a quotation mark in it.
    around.add(f' "{name}" ', start, moved=True)


def _tokens(text: str) -> list[Token]:
    """Return the tokens of a text, blanks among them."""
    found, place = [], 0
    while place < len(text):
        match = _TOKEN.match(text, place)
        if match is None:
            if text[place] in "'\"":
                raise refuse("leaves a text open", "the quotation mark that ends it", place)
            raise refuse(f"has {text[place]!a}, which means nothing", "CQL2 text", place)
        kind = str(match.lastgroup)
        found.append(Token(kind, match[0], place))
        if kind == "number" and not math.isfinite(float(match[0])):
            raise refuse(f"has the number {match[0][:40]}", "a number that a double holds", place)
        place = match.end()
    return found


def _check_chains(tokens: list[Token]) -> None:
    chained = 0
    for token in tokens:
        word = token.text.lower()
        if word in _RESETS:
            chained = 0
        elif token.text in _OPERATORS or (token.kind == "word" and word in _KEYWORDS - {"true", "false", "null"}):
            chained += 1
            if chained > MOST_CHAINED:
                raise refuse("has too many operators in a row", f"at most {MOST_CHAINED}", token.start)


def _kind_of_bracket(before: Token | None) -> _Kind:
    """Return what a bracket is by what stands before it."""
    if before is None or before.kind not in ("word", "quoted"):
        return "group"
    word = before.text.lower()
    if word == "in":
        return "list"
    if word in CALLS:
        return "call"
    if before.kind == "word" and word in _KEYWORDS:
        return "group"
    known = ", ".join(sorted(name.upper() for name in CALLS))
    raise refuse(
        f"calls {ascii(before.text)[:60]}, and there is no such function here", f"one of: {known}", before.start
    )


def _column_of(token: Token) -> str | None:
    """Return the name of a column that a token may be; names of functions are among them."""
    if token.kind == "quoted":
        if token.text[1:].startswith(CUT):
            raise refuse(f"names {ascii(token.text)[:60]}", "the name of a column", token.start)
        return token.text[1:-1]
    if token.kind == "word" and token.text.lower() not in _KEYWORDS:
        return token.text
    return None
