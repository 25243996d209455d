"""Searches that go on side by side: what several of them ask of timelines is worked out in one go."""

from __future__ import annotations

from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from tidecore.units import AnyArray, IntArray

_Found = TypeVar("_Found")

#: Columns by factor.
Columns = dict[str, AnyArray]


@dataclass(frozen=True, slots=True, eq=False)
class Question:
    """Factors asked for at instants of an axis [microseconds]."""

    names: tuple[str, ...]
    times_us: IntArray


#: A search: it yields questions, is sent the columns, and returns what it found.
Search = Generator[Question, Columns, _Found]


#: Columns at instants, by the names of factors.
Ask = Callable[[IntArray, Sequence[str]], Columns]


def side_by_side(ask: Ask, searches: Sequence[Search[_Found]]) -> list[_Found]:
    """Return what the searches find, each round of their questions answered together.

    A factor costs a call more than an instant does: twelve rules that ask at once pay for one.
    """
    found: dict[int, _Found] = {}
    asked: dict[int, Question] = {}

    def proceed(k: int, columns: Columns | None) -> None:
        try:
            asked[k] = searches[k].send(columns)  # type: ignore[arg-type]
        except StopIteration as end:
            asked.pop(k, None)
            found[k] = end.value

    for k in range(len(searches)):
        proceed(k, None)
    while asked:
        answers = _answers(ask, asked)
        for k in list(asked):
            proceed(k, answers[k])
    return [found[k] for k in range(len(searches))]


def _answers(ask: Ask, asked: dict[int, Question]) -> dict[int, Columns]:
    """Return the columns that each question asks for; factors asked for by the same searches share a call."""
    askers: dict[str, list[int]] = {}
    for k, question in asked.items():
        for name in question.names:
            askers.setdefault(name, []).append(k)
    together: dict[tuple[int, ...], list[str]] = {}
    for name, who in askers.items():
        together.setdefault(tuple(who), []).append(name)
    answers: dict[int, Columns] = {k: {} for k in asked}
    for sharing, names in together.items():
        columns = ask(np.concatenate([asked[k].times_us for k in sharing]), names)
        first = 0
        for k in sharing:
            last = first + asked[k].times_us.size
            for name in names:
                answers[k][name] = columns[name][first:last]
            first = last
    return answers
