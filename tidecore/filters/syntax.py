"""From a filter as it is written to its tree: operators with arguments, as the JSON form of CQL2 has them."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from tidecore.filters.guard import (
    MOST_CHAINED,
    MOST_CHARACTERS,
    MOST_LEVELS,
    Piece,
    check_characters,
    check_json_levels,
    cut_text,
    refuse,
)

Language = Literal["cql2-text", "cql2-json"]
#: How a filter may be written.
LANGUAGES: tuple[Language, ...] = ("cql2-text", "cql2-json")
#: Deepest tree: chains of operators are levels of it too.
_MOST_DEPTH = 2 * (MOST_LEVELS + MOST_CHAINED)
_AT = re.compile(r"--> *[0-9]+:([0-9]+)")


@dataclass(frozen=True, slots=True)
class Written:
    """A filter as it was written: its language, its tree, and where the columns stand in a text, counted from 0."""

    language: Language
    tree: Any
    columns: Mapping[str, int] = field(default_factory=dict)


def read_filter(given: object, language: Language | None = None) -> Written:
    """Return a filter with its tree.

    Parameters
    ----------
    given : str or mapping
        CQL2 text, CQL2 JSON as text, or a document of CQL2 JSON.
    language : str, optional
        How a text is written; ``"cql2-text"`` unless given. A document is always ``"cql2-json"``.

    Raises
    ------
    InvalidFilter
        If it is too long, too deep, or no CQL2.
    """
    if language is not None and language not in LANGUAGES:
        raise refuse(f"is {ascii(language)[:60]}", f"one of: {', '.join(LANGUAGES)}", where="filter_lang")
    if isinstance(given, str):
        check_characters(given)
        return _read_json(given) if language == "cql2-json" else _read_text(given)
    if not isinstance(given, Mapping | bool):
        raise refuse("is neither a text nor an object", "CQL2 as text, or as a JSON object")
    if language == "cql2-text":
        raise refuse("is an object", "a text, as filter_lang says, or cql2-json there")
    _check_depth(given)
    # By its characters in JSON, so that a filter is as long in a document as in a query.
    return _read_json(_written(given))


def _written(document: object) -> str:
    try:
        text = json.dumps(document, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    except (TypeError, ValueError) as error:
        raise refuse(f"is no JSON ({error})", "a document of CQL2 JSON, numbers finite") from error
    if len(text) > MOST_CHARACTERS:
        raise refuse(f"has {len(text)} characters as JSON", f"at most {MOST_CHARACTERS}")
    return text


def _read_json(text: str) -> Written:
    check_json_levels(text)
    try:
        tree = json.loads(text, object_pairs_hook=_once, parse_constant=_no_constant)
    except json.JSONDecodeError as error:
        raise refuse(f"is no JSON: {error.msg}", "one JSON document", error.pos) from error
    _check_depth(tree)
    return Written("cql2-json", tree)


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Return an object, refused if it has a name twice."""
    found = dict(pairs)
    if len(found) != len(pairs):
        raise refuse("has an object with a name twice", "each name once")
    return found


def _no_constant(name: str) -> float:
    raise refuse(f"has {name}", "finite numbers")


def _read_text(text: str) -> Written:
    cut = cut_text(text)
    parse = _parser()
    # A piece may be named only by those that were closed after it, so each is whole when it is put in.
    trees: dict[str, Any] = {}
    for name, piece in cut.pieces.items():
        trees[name] = _put_in(_parsed(parse, piece, text), trees)
    _check_depth(trees[""])
    return Written("cql2-text", trees[""], cut.columns)


def _parser() -> Callable[[str], Any]:
    """Return the parser of CQL2 text."""
    import cql2

    def parse(text: str) -> Any:
        return cql2.parse_text(text).to_json()

    return parse


def _parsed(parse: Callable[[str], Any], piece: Piece, text: str) -> Any:
    try:
        return parse(piece.text)
    # The parser raises bare exceptions beside its own.
    except Exception as error:
        found = _AT.search(str(error))
        column = int(found[1]) - 1 if found else 0
        if column < len(piece.origins):
            at = piece.origins[column]
            said = f"cannot be read from {text[at : at + 20].strip()!a} on"
        else:
            at, said = piece.origins[-1], "ends too early, or cannot be read"
        raise refuse(said, "CQL2 text: an operator or an operand is missing, misspelt or too many", at) from error


def _put_in(tree: Any, trees: Mapping[str, Any]) -> Any:
    """Return a tree with the brackets that were cut out put in again."""
    if isinstance(tree, dict):
        if set(tree) == {"property"} and tree["property"] in trees:
            return trees[tree["property"]]
        return {key: _put_in(value, trees) for key, value in tree.items()}
    if isinstance(tree, list):
        return [_put_in(value, trees) for value in tree]
    return tree


def _check_depth(tree: Any) -> None:
    """Refuse a tree that is too deep to walk, without walking it deep."""
    level = [tree]
    for _ in range(_MOST_DEPTH):
        level = [
            below
            for one in level
            for below in (one.values() if isinstance(one, Mapping) else one if isinstance(one, list | tuple) else ())
        ]
        if not level:
            return
    raise refuse("is nested too deep", f"operators nested at most {_MOST_DEPTH // 2} deep")
