"""Every error that tidecore raises on purpose, with its data on it.

The tree::

    CoreError
    ├── InvalidInput            faults of a document or of arguments, all of them at once
    │   ├── InvalidSpan         end before start, or a span outside what can be computed
    │   ├── InvalidPosition     latitude or longitude out of range
    │   ├── InvalidRule         a species rule that contradicts itself
    │   ├── InvalidFilter       a filter that cannot be read, or compares what cannot be compared
    │   ├── InvalidConstituents amplitudes, phases or names that make no tide
    │   ├── DatumConflict       a datum that two sources state differently
    │   └── PartsDisagree       parts of one record that cannot be of one gauge
    ├── UnknownName             a name that is not in the list it is looked up in
    ├── DatumUnknown            a datum whose level is not known at a station
    ├── DatumsUnreliable        datums of a model from under a year of data, not asked for on purpose
    ├── RecordError             a gauge record that cannot be read
    │   ├── RecordNotRecognised no reader knows the file
    │   ├── RecordAmbiguous     more than one reader, or more than one reading, fits
    │   ├── RecordUnreadable    the file is not what the format says
    │   ├── RecordTooLarge      larger than the limit given
    │   └── HintMissing         the format leaves open what must be said (unit, zone, datum ...)
    ├── FitError                a record that cannot be fitted
    │   ├── RecordTooShort      fewer days or values than a fit needs
    │   ├── RecordConstant      a level that never moves
    │   └── UnfitNeighbour      a station from which nothing can be inferred for the record
    ├── SlackUndetermined       notes or a record that do not tell when the stream turns
    ├── ModelUnreadable         a stored model that is damaged or of another version
    └── OutsideEphemeris        a time for which no sun or moon position is known

No class here knows of HTTP. Each says what is wrong, where, and what would be right.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

#: Longer names than this are no slip of the finger.
_LONGEST_SLIP = 60
#: Most names of a closed list that an error tells.
_MOST_NAMES = 40


def one_of(names: Iterable[str], given: object = None, most: int | None = None) -> str:
    """Return in words that one of some names is expected; the one that ``given`` most likely means comes first.

    Parameters
    ----------
    names : iterable of str
        The names there are; of more than ``most``, how many more is said.
    given : object, optional
        What was given in their place.
    """
    known = list(names)
    near: list[str] = []
    if isinstance(given, str) and len(given) <= _LONGEST_SLIP:
        near = get_close_matches(given, known, 1) or [name for name in known if name.startswith(f"{given}_")][:1]
    others = [name for name in known if name not in near]
    start, told = (f"{near[0]}, or another of", others) if near and others else ("one of", known)
    return f"{start}: {_listed(told, most)}"


def _listed(names: Sequence[str], most: int | None) -> str:
    """Return names one after the other, and how many more there are than ``most``."""
    return ", ".join(names[:most]) + ("" if len(names[:most]) == len(names) else f" and {len(names[most:])} more")


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with an input.

    ``field`` is a dotted path into the input (``"prefer.2.weight"``), ``problem`` says what is wrong,
    ``expected`` what would be right.
    """

    field: str
    problem: str
    expected: str

    def __str__(self) -> str:
        """Say the fault in one line."""
        return f"{self.field}: {self.problem}; expected {self.expected}"


class CoreError(Exception):
    """Root of every error of tidecore; ``str()`` is a sentence for a person."""


class InvalidInput(CoreError):
    """One or more faults of an input, found together."""

    def __init__(self, faults: Sequence[Fault] | Fault) -> None:
        """Hold ``faults``; a single one may be given bare."""
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("; ".join(str(fault) for fault in self.faults))

    def __reduce__(self) -> tuple[type[InvalidInput], tuple[tuple[Fault, ...]]]:
        """Survive pickling between processes."""
        return type(self), (self.faults,)


class InvalidSpan(InvalidInput):
    """A span of time that ends before it starts, or lies outside what can be computed."""


class InvalidPosition(InvalidInput):
    """A latitude or longitude that is not on the globe."""


class InvalidRule(InvalidInput):
    """A species rule that contradicts itself or names what does not exist."""


class InvalidFilter(InvalidInput):
    """A filter that cannot be read, names what does not exist, or compares what cannot be compared."""

    def __init__(self, faults: Sequence[Fault] | Fault, position: int | None = None) -> None:
        """Hold ``faults``, and the ``position`` of the first of them: its character, counted from 1."""
        self.position = position
        super().__init__(faults)

    def __reduce__(self) -> tuple[type[InvalidFilter], tuple[tuple[Fault, ...], int | None]]:  # type: ignore[override]
        """Survive pickling between processes."""
        return type(self), (self.faults, self.position)


class InvalidConstituents(InvalidInput):
    """Constituents that do not make a tide (negative amplitude, NaN, a name twice)."""


class PartsDisagree(InvalidInput):
    """Parts of one record that overlap and differ, or lie at different places."""


class UnknownName(CoreError):
    """A name looked up in a closed list and not found there."""

    def __init__(self, kind: str, name: str, known: Sequence[str]) -> None:
        """``kind`` of thing, the ``name`` given, and the names that are ``known``."""
        self.kind, self.name, self.known = kind, name, tuple(known)
        super().__init__(f"unknown {kind} {name!r}; known: {_listed(self.known, _MOST_NAMES)}")

    @property
    def faults(self) -> tuple[Fault, ...]:
        """The same as a fault."""
        return (Fault(self.kind, f"{self.name!r} is not known", one_of(self.known, self.name, _MOST_NAMES)),)

    def __reduce__(self) -> tuple[type[UnknownName], tuple[str, str, tuple[str, ...]]]:
        """Survive pickling between processes."""
        return type(self), (self.kind, self.name, self.known)


class DatumConflict(InvalidInput):
    """A datum that two sources state at different levels."""

    def __init__(self, name: str, one: tuple[float, str], other: tuple[float, str]) -> None:
        """``name`` of the datum; level [m above the station's datum] and source of both statements."""
        self.name, self.one, self.other = name, one, other
        problem = f"{one[1]} states it at {one[0]:g} m, {other[1]} at {other[0]:g} m"
        super().__init__(Fault(f"datum_levels.{name}", problem, "one level of each datum"))

    def __reduce__(self) -> tuple[type[DatumConflict], tuple[str, tuple[float, str], tuple[float, str]]]:  # type: ignore[override]
        """Survive pickling between processes."""
        return type(self), (self.name, self.one, self.other)


class DatumUnknown(CoreError):
    """A datum that a station's levels cannot be told above, because nobody says where it is."""

    def __init__(self, name: str, known: Sequence[str]) -> None:
        """``name`` of the datum asked for, and those that are ``known``."""
        self.name, self.known = name, tuple(known)
        shown = ", ".join(self.known) or "none"
        super().__init__(f"the level of datum {name!r} is not known here; known: {shown}")

    @property
    def faults(self) -> tuple[Fault, ...]:
        """The same as a fault."""
        expected = one_of(self.known, self.name) if self.known else "no datum: the station's own is unknown"
        return (Fault("datum", f"is {self.name!r}, whose level is not known here", expected),)

    def __reduce__(self) -> tuple[type[DatumUnknown], tuple[str, tuple[str, ...]]]:
        """Survive pickling between processes."""
        return type(self), (self.name, self.known)


class DatumsUnreliable(CoreError):
    """Datums asked of a model that was fitted to less than a year."""

    def __init__(self, days: float, needed_days: float) -> None:
        """``days`` of data there are, and how many are needed."""
        self.days, self.needed_days = days, needed_days
        super().__init__(
            f"the model rests on {days:.0f} days of data; datums need {needed_days:.0f}, for the seasons are in them; "
            "ask with short_record to have them all the same, flagged"
        )

    def __reduce__(self) -> tuple[type[DatumsUnreliable], tuple[float, float]]:
        """Survive pickling between processes."""
        return type(self), (self.days, self.needed_days)


class RecordError(CoreError):
    """A gauge record that cannot be read as given."""


class RecordNotRecognised(RecordError):
    """No reader recognises the file; ``known`` lists the formats there are."""

    def __init__(self, known: Sequence[str], reason: str = "no reader recognises this file") -> None:
        """Hold the ``known`` formats and the ``reason``."""
        self.known, self.reason = tuple(known), reason
        super().__init__(f"{reason}; give format= one of: {', '.join(self.known)}")

    def __reduce__(self) -> tuple[type[RecordNotRecognised], tuple[tuple[str, ...], str]]:
        """Survive pickling between processes."""
        return type(self), (self.known, self.reason)


class RecordAmbiguous(RecordError):
    """A file that could be two things; ``candidates`` names them and ``hint`` what decides."""

    def __init__(self, what: str, candidates: Sequence[str], hint: str) -> None:
        """``what`` is ambiguous, between which ``candidates``, and the ``hint`` that settles it."""
        self.what, self.candidates, self.hint = what, tuple(candidates), hint
        super().__init__(f"{what} could be {' or '.join(self.candidates)}; say which with {hint}")

    def __reduce__(self) -> tuple[type[RecordAmbiguous], tuple[str, tuple[str, ...], str]]:
        """Survive pickling between processes."""
        return type(self), (self.what, self.candidates, self.hint)


class RecordUnreadable(RecordError):
    """A file that breaks its format: ``reason``, and the 1-based ``line`` where one is known."""

    def __init__(self, reason: str, line: int | None = None, expected: str = "") -> None:
        """Hold the ``reason``, the ``line`` and what was ``expected``."""
        self.reason, self.line, self.expected = reason, line, expected
        where = f"line {line}: " if line is not None else ""
        super().__init__(f"{where}{reason}" + (f"; expected {expected}" if expected else ""))

    def __reduce__(self) -> tuple[type[RecordUnreadable], tuple[str, int | None, str]]:
        """Survive pickling between processes."""
        return type(self), (self.reason, self.line, self.expected)


class RecordTooLarge(RecordError):
    """A file of more than ``limit`` bytes."""

    def __init__(self, size: int, limit: int) -> None:
        """``size`` and ``limit`` in bytes."""
        self.size, self.limit = size, limit
        super().__init__(f"the record has {size} bytes, more than the limit of {limit}")

    def __reduce__(self) -> tuple[type[RecordTooLarge], tuple[int, int]]:
        """Survive pickling between processes."""
        return type(self), (self.size, self.limit)


class PartUnreadable(RecordError):
    """A file of an archive that cannot be read as a part of the record."""

    def __init__(self, part: str, reason: str) -> None:
        """``part`` is the name of the file, and the ``reason`` what reading it said."""
        self.part, self.reason = part, reason
        super().__init__(f"{part!r} in the archive: {reason}")

    def __reduce__(self) -> tuple[type[PartUnreadable], tuple[str, str]]:
        """Survive pickling between processes."""
        return type(self), (self.part, self.reason)


class HintMissing(RecordError):
    """What the format leaves open and nobody said: ``hint`` is the argument, ``accepted`` its values.

    ``others`` are further hints that are to be given, each told like the first.
    """

    def __init__(
        self, hint: str, accepted: str, given: str | None = None, others: tuple[HintMissing, ...] = ()
    ) -> None:
        """``hint`` to give, what is ``accepted``, what was ``given`` if it was wrong, and ``others`` to give too."""
        self.hint, self.accepted, self.given, self.others = hint, accepted, given, others
        problem = "is not given" if given is None else f"cannot be {given!r}"
        super().__init__(". ".join((f"{hint} {problem}; give {accepted}", *map(str, others))))

    @property
    def faults(self) -> tuple[Fault, ...]:
        """The same as faults of the arguments."""
        problem = "is not given" if self.given is None else f"is {self.given!r}"
        of_others = (fault for other in self.others for fault in other.faults)
        return (Fault(self.hint, problem, self.accepted), *of_others)

    def __reduce__(self) -> tuple[type[HintMissing], tuple[str, str, str | None, tuple[HintMissing, ...]]]:
        """Survive pickling between processes."""
        return type(self), (self.hint, self.accepted, self.given, self.others)


class FitError(CoreError):
    """A record that cannot be fitted."""


class RecordTooShort(FitError):
    """Too few days or values for a fit."""

    def __init__(self, days: float, needed_days: float, values: int, needed_values: int) -> None:
        """``days`` and ``values`` there are, and how many are needed."""
        self.days, self.needed_days = days, needed_days
        self.values, self.needed_values = values, needed_values
        super().__init__(
            f"the record spans {days:.2f} days with {values} valid values; "
            f"a fit needs at least {needed_days:g} days and {needed_values} values"
        )

    def __reduce__(self) -> tuple[type[RecordTooShort], tuple[float, float, int, int]]:
        """Survive pickling between processes."""
        return type(self), (self.days, self.needed_days, self.values, self.needed_values)


class RecordOfTurns(FitError):
    """A record of high and low waters alone."""

    def __init__(self) -> None:
        """Say it; there is nothing to say besides."""
        super().__init__(
            "the record holds high and low waters alone, which do not tell a tide from its overtides; expected levels "
            "at even times, or the constituents to fit named one by one"
        )

    def __reduce__(self) -> tuple[type[RecordOfTurns], tuple[()]]:
        """Survive pickling between processes."""
        return type(self), ()


class RecordConstant(FitError):
    """A record whose level never moves."""

    def __init__(self, level: float) -> None:
        """``level`` in metres that every valid value has."""
        self.level = level
        super().__init__(f"every valid value of the record is {level:g} m; expected a level that moves")

    def __reduce__(self) -> tuple[type[RecordConstant], tuple[float]]:
        """Survive pickling between processes."""
        return type(self), (self.level,)


class SlackUndetermined(CoreError):
    """What is known of a stream does not tell when it turns."""

    def __init__(self, reason: str) -> None:
        """Hold the ``reason``."""
        self.reason = reason
        super().__init__(f"slack lags cannot be told: {reason}")

    def __reduce__(self) -> tuple[type[SlackUndetermined], tuple[str]]:
        """Survive pickling between processes."""
        return type(self), (self.reason,)


class UnfitNeighbour(FitError):
    """A neighbouring station from which nothing can be inferred for a record."""

    def __init__(self, station: str, problem: str, expected: str) -> None:
        """Name the ``station``, say the ``problem`` with it and what was ``expected``."""
        self.station, self.problem, self.expected = station, problem, expected
        named = f"the neighbour {station!r}" if station else "the neighbour"
        super().__init__(f"{named} {problem}; expected {expected}")

    def __reduce__(self) -> tuple[type[UnfitNeighbour], tuple[str, str, str]]:
        """Survive pickling between processes."""
        return type(self), (self.station, self.problem, self.expected)


class ModelUnreadable(CoreError):
    """A stored model that is damaged, or was written by a version that cannot be read."""

    def __init__(self, reason: str) -> None:
        """Hold the ``reason``."""
        self.reason = reason
        super().__init__(f"not a readable tide model: {reason}")

    def __reduce__(self) -> tuple[type[ModelUnreadable], tuple[str]]:
        """Survive pickling between processes."""
        return type(self), (self.reason,)


class OutsideEphemeris(CoreError):
    """A time outside the span for which sun and moon positions are known."""

    def __init__(self, start: str, end: str, asked: str) -> None:
        """First and last usable day, and the time ``asked``."""
        self.start, self.end, self.asked = start, end, asked
        super().__init__(f"sun and moon are known from {start} to {end}; asked for {asked}")

    def __reduce__(self) -> tuple[type[OutsideEphemeris], tuple[str, str, str]]:
        """Survive pickling between processes."""
        return type(self), (self.start, self.end, self.asked)
