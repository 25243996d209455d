"""What a caller says about a file that the file does not say itself, checked name by name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from tidecore.errors import HintMissing, UnknownName
from tidecore.units import metres_per


@dataclass(frozen=True, slots=True)
class Hint:
    """One hint a reader takes: its ``name`` and, in words that follow "give", what is ``accepted``."""

    name: str
    accepted: str


#: Largest whole number taken: beyond it, double precision has gaps.
_LARGEST = 2**53

#: Hints that mean the same to every reader that takes them.
UNIT = Hint("unit", "the unit of level: 'm', 'cm', 'mm' or 'ft'")
DATUM = Hint("datum", "the datum the levels are counted from, as 'LAT' or 'gauge zero'; 'unknown' is valid")
STATED_UNIT = Hint("unit", UNIT.accepted + "; the file states it, and both must agree")
STATED_ZONE = Hint("zone", "the zone of the clock; the file states it, and both must agree")
STATION = Hint("gauge", "which station is meant, by its name or number as the file has it")
VALID_RANGE = Hint("valid_range", "the lowest and highest level to believe, two numbers in the unit of the file")


@dataclass(frozen=True, slots=True)
class Hints:
    """The hints ``given`` to the reader ``reader``, which takes those ``declared``.

    A hint of None counts as not given. Every getter raises `HintMissing`, naming what is accepted, for a value
    of the wrong kind.
    """

    reader: str
    declared: tuple[Hint, ...]
    given: Mapping[str, object]

    def __post_init__(self) -> None:
        """Refuse a hint that the reader does not take."""
        names = tuple(hint.name for hint in self.declared)
        for name in self.given:
            if name not in names:
                raise UnknownName(f"hint of the reader {self.reader!r}", name, names)

    def value(self, name: str) -> object:
        """Return the raw value of the hint ``name``, None where it is not given."""
        return self.given.get(name)

    def missing(self, name: str) -> HintMissing:
        """Return the error that says the hint ``name`` must be given."""
        return HintMissing(name, self._accepted(name))

    def wrong(self, name: str, because: str = "") -> HintMissing:
        """Return the error that says the hint ``name`` cannot be what was given, ``because`` of what."""
        return HintMissing(name, self._accepted(name) + (f" ({because})" if because else ""), str(self.value(name)))

    def text(self, name: str) -> str | None:
        """Return a hint that is text, without blanks at its ends and never empty; None where not given."""
        value = self.value(name)
        if value is None:
            return None
        if not isinstance(value, str) or not value.strip():
            raise self.wrong(name)
        return value.strip()

    def require_text(self, name: str) -> str:
        """Return a hint that is text and must be given."""
        text = self.text(name)
        if text is None:
            raise self.missing(name)
        return text

    def boolean(self, name: str) -> bool | None:
        """Return a hint that is true or false; None where not given."""
        value = self.value(name)
        if value is not None and not isinstance(value, bool):
            raise self.wrong(name)
        return value

    def whole(self, name: str, default: int) -> int:
        """Return a hint that is a whole number of zero or more, or the ``default``."""
        value = self.value(name)
        if value is None:
            return default
        if not isinstance(value, int) or isinstance(value, bool) or value < 0:
            raise self.wrong(name)
        return value

    def listed(self, name: str) -> tuple[str | float, ...]:
        """Return a hint that is a number, a text or a list of such; empty where not given."""
        value = self.value(name)
        if value is None:
            return ()
        items = [value] if isinstance(value, str | int | float) else value
        if not isinstance(items, Sequence):
            raise self.wrong(name)
        for item in items:
            if isinstance(item, bool) or not isinstance(item, str | int | float):
                raise self.wrong(name)
            if isinstance(item, int) and abs(item) > _LARGEST:
                raise self.wrong(name, "no larger than double precision holds")
        return tuple(items)

    def interval(self, name: str) -> tuple[float, float] | None:
        """Return a hint of two numbers, the lower first; None where not given."""
        value = self.value(name)
        if value is None:
            return None
        numbers = self.listed(name)
        if len(numbers) != 2 or any(isinstance(number, str) for number in numbers):
            raise self.wrong(name)
        low, high = float(numbers[0]), float(numbers[1])
        if not low < high:
            raise self.wrong(name, "the lower first")
        return low, high

    def unit(self) -> str | None:
        """Return the hint ``unit`` once `tidecore.units.metres_per` knows it; None where not given."""
        unit = self.text("unit")
        if unit is not None:
            metres_per(unit)
        return unit

    def _accepted(self, name: str) -> str:
        """Return what is accepted for the hint ``name``."""
        return next(hint.accepted for hint in self.declared if hint.name == name)
