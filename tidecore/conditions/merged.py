"""Several issues as one: at each instant the newest that is valid and has a value."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property, reduce
from itertools import groupby
from typing import Any, TypeVar

import numpy as np

from tidecore.conditions.basis import Basis, Clock, basis_of, said_in_utc, sentences_of
from tidecore.conditions.issue import ConditionIssue
from tidecore.conditions.moments import ticks
from tidecore.conditions.pieces import Pieces
from tidecore.conditions.variables import PEAK_PERIODS, PERIOD_NAMES, VARIABLE_BY_NAME, VARIABLES
from tidecore.conditions.warning import OfficialWarning
from tidecore.errors import UnknownName
from tidecore.timebase import US_PER_HOUR, TimeSpan
from tidecore.units import AnyArray, IntArray

#: What belongs to the issue that a value is from: the variable it is looked up by.
_OF_THE_ISSUE = {"waves_at": "wave_height_m", "wave_period_kind": "wave_period_s"}
#: Every name that `Conditions.at` knows.
CONDITION_NAMES = (*VARIABLE_BY_NAME, *PERIOD_NAMES, *_OF_THE_ISSUE)
#: What follows from past seas looks back no further than this [days]; issues that end earlier change nothing.
LOOK_BACK_DAYS = 19
_BASES_KEPT = 256
_KEPT = 64
T = TypeVar("T")


# No slots: pieces are kept once they are made. Nothing that can be seen ever changes.
@dataclass(frozen=True, eq=False)
class Conditions:
    """What is known of sea and air at a mark, from several issues; made by `Conditions.of`, and it pickles.

    Parameters
    ----------
    issues : tuple of ConditionIssue
        In the order in which they go before each other.
    warnings : tuple of OfficialWarning
        The official warnings, oldest first.

    Notes
    -----
    At each instant that issue counts which has a value there and is valid, an observation before a forecast, then the
    one issued last. Between the times of an issue a number is linear where they lie at most 3 h apart (6 h for
    temperatures and pressure), a direction along the shorter arc, and what was seen holds for the time of its
    variable; elsewhere nothing is known. The order in which issues are given changes nothing, and an issue changes
    no value before its first time.
    """

    issues: tuple[ConditionIssue, ...]
    warnings: tuple[OfficialWarning, ...] = ()
    _made: dict[str, Pieces] = field(default_factory=dict, init=False, repr=False)
    _bases: dict[tuple[str, int, int], Basis] = field(default_factory=dict, init=False, repr=False)
    _kept: dict[Hashable, Any] = field(default_factory=dict, init=False, repr=False)

    @classmethod
    def of(cls, issues: Iterable[ConditionIssue], warnings: Iterable[OfficialWarning] = ()) -> Conditions:
        """Return what several issues, and several warnings, say together; in any order."""
        ranked = _ranked(issues)
        told = sorted(warnings, key=lambda one: (one.sent, one.sender, one.identifier, one.block))
        return cls(tuple(ranked), tuple(told))

    @cached_property
    def _times(self) -> tuple[IntArray, ...]:
        """The times of each issue [microseconds since 1970]."""
        return tuple(np.array([ticks(moment) for moment in issue.times], dtype=np.int64) for issue in self.issues)

    def once(self, key: Hashable, make: Callable[[], T]) -> T:
        """Return what is made of these conditions alone and ``key``, worked out when it is first asked for."""
        found = self._kept.get(key)
        if found is None:
            found = make()
            if len(self._kept) >= _KEPT:
                self._kept.clear()
            self._kept[key] = found
        kept: T = found
        return kept

    def pieces(self, name: str) -> Pieces:
        """Return a variable, or a period by its kind, as straight pieces; of a category, the place of its value.

        Raises
        ------
        UnknownName
            If there is no such variable.
        """
        if name not in self._made:
            if name not in VARIABLE_BY_NAME and name not in PERIOD_NAMES:
                raise UnknownName("variable", name, (*VARIABLE_BY_NAME, *PERIOD_NAMES))
            given = (_pieces_of(issue, self._times[place], place, name) for place, issue in enumerate(self.issues))
            nothing = Pieces.none(name in VARIABLE_BY_NAME and VARIABLE_BY_NAME[name].kind == "direction")
            self._made[name] = reduce(Pieces.before, given, nothing)
        return self._made[name]

    def at(self, name: str, times_us: IntArray) -> AnyArray:
        """Return a quantity at instants.

        Parameters
        ----------
        name : str
            One of `CONDITION_NAMES`: a variable; ``wave_peak_period_s``, ``wave_energy_period_s`` or
            ``wave_zero_crossing_period_s``, worked out from the period given for a sea with a single peak; or
            ``waves_at`` or ``wave_period_kind`` of the issue that the waves are from.
        times_us : int64 array, shape ``(n,)``
            Instants [microseconds since 1970], in any order.

        Returns
        -------
        array, shape ``(n,)``
            float64, NaN where unknown; of categories text, empty where unknown.
        """
        if name in _OF_THE_ISSUE:
            owners = self.pieces(_OF_THE_ISSUE[name]).owners(times_us)
            return np.array([*(getattr(issue, name) or "" for issue in self.issues), ""])[owners]
        pieces = self.pieces(name)
        variable = VARIABLE_BY_NAME.get(name)
        if variable is None or variable.kind != "category":
            return pieces.at(times_us)
        codes = np.nan_to_num(pieces.at(times_us), nan=-1.0).astype(np.int64)
        return np.array([*variable.categories, ""])[codes]

    def breaks_us(self, name: str, start_us: int, end_us: int) -> IntArray:
        """Return the instants in ``[start_us, end_us]`` from which a quantity has jumped or turned a corner."""
        breaks = self.pieces(_OF_THE_ISSUE.get(name, name)).breaks_us()
        return breaks[(breaks >= start_us) & (breaks <= end_us)]

    def basis(self, name: str, span: TimeSpan) -> Basis:
        """Return what a quantity rests on over a span: issues and their age, gaps, where it ends."""
        key = name, span.start_us, span.end_us
        found = self._bases.get(key)
        if found is None:
            found = basis_of(name, self.pieces(_OF_THE_ISSUE.get(name, name)), self.issues, span)
            # Marks of one area ask the same of it, term by term.
            if len(self._bases) >= _BASES_KEPT:
                self._bases.clear()
            self._bases[key] = found
        return found

    def sentences(
        self, span: TimeSpan, names: Sequence[str] | None = None, clock: Clock = said_in_utc
    ) -> tuple[str, ...]:
        """Return what is not known over a span, or rests on old or far-reaching issues, in words.

        Of the variables ``names``; unless given, of every one but those seen that some issue gives. ``clock`` says
        instants.
        """
        wanted = names
        if wanted is None:
            wanted = [one.name for one in VARIABLES if one.kind != "category" and len(self.pieces(one.name))]
        return sentences_of([self.basis(name, span) for name in wanted], clock)


def _ranked(issues: Iterable[ConditionIssue]) -> list[ConditionIssue]:
    """Return issues in the order in which they go before each other; only equal ones may change places."""

    def rank(issue: ConditionIssue) -> tuple[bool, int, str]:
        return issue.kind == "forecast", -ticks(issue.issued_at), issue.source

    found: list[ConditionIssue] = []
    for _, alike in groupby(sorted(issues, key=rank), key=rank):
        tied = list(alike)
        found += sorted(tied, key=lambda issue: issue.model_dump_json()) if len(tied) > 1 else tied
    return found


def _pieces_of(issue: ConditionIssue, times: IntArray, place: int, name: str) -> Pieces:
    """Return one variable of one issue."""
    factor = 1.0
    kind = PERIOD_NAMES.get(name)
    if kind is not None:
        name = "wave_period_s"
        # The ratios are exact for the kind that was given, and those of the assumption for another.
        factor = 1.0 if issue.wave_period_kind == kind else PEAK_PERIODS[issue.wave_period_kind or "peak"]
        factor = factor if issue.wave_period_kind == kind else factor / PEAK_PERIODS[kind]
    variable = VARIABLE_BY_NAME[name]
    column = getattr(issue.values, name)
    if column is None:
        return Pieces.none(variable.kind == "direction")
    # An issue without an end of its own is valid as long as it has values.
    last_us = np.iinfo(np.int64).max - 1 if issue.valid_until is None else ticks(issue.valid_until)
    longest_us = round(variable.longest_gap_h * US_PER_HOUR)
    if variable.kind == "category":
        codes = {value: float(code) for code, value in enumerate(variable.categories)}
        column = tuple(None if value is None else codes[value] for value in column)
    values = np.array([np.nan if value is None else value for value in column], dtype=np.float64) * factor
    known = ~np.isnan(values)
    if variable.kind == "category":
        return Pieces.held(times[known], values[known], longest_us, last_us, place)
    return Pieces.joined(times[known], values[known], longest_us, last_us, place, variable.kind == "direction")
