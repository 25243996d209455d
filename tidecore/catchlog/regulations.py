"""Regulations as an account has them on file: documents with area, source and date. None comes with the program."""

from __future__ import annotations

import datetime
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, ValidationInfo, field_validator

from tidecore.calendars import Season, WeeklyHours
from tidecore.calendars.patterns import CalendarDate
from tidecore.catchlog.moments import Count
from tidecore.catchlog.sizes import LONGEST_CM, LengthKind, same_species
from tidecore.documents import Document, Flaw, Name, Note, Number, fault, refuse
from tidecore.rules import Species

#: A rule older than this is stale [months].
STALE_AFTER_MONTHS = 12


class SizeLimit(Document):
    """The smallest and largest length that may be kept [cm], of one kind of length."""

    kind: LengthKind
    min_cm: Annotated[Number, Field(gt=0.0, le=LONGEST_CM)] | None = None
    max_cm: Annotated[Number | None, Field(gt=0.0, le=LONGEST_CM, validate_default=True)] = None

    @field_validator("max_cm")
    @classmethod
    def _of_something(cls, most: float | None, info: ValidationInfo) -> float | None:
        if "min_cm" in info.data:
            least = info.data["min_cm"]
            if least is None and most is None:
                raise fault("and min_cm are both missing", "one of the two, or both")
            if least is not None and most is not None and most < least:
                raise fault(f"is {most:g}, under min_cm {least:g}", "a length of min_cm or more")
        return most


class ClosedHours(Document):
    """When nobody may fish in a zone, by the clocks there; at no time where ``when`` is left out."""

    zone: Name
    when: WeeklyHours | None = None


def _kind_once(sizes: tuple[SizeLimit, ...]) -> tuple[SizeLimit, ...]:
    kinds = [size.kind for size in sizes]
    again = [place for place, kind in enumerate(kinds) if kind in kinds[:place]]
    refuse(sizes, [Flaw((place, "kind"), f"is {kinds[place]} again", "every kind of length once") for place in again])
    return sizes


class Regulation(Document):
    """One rule on file: for one species, or for all fishing in its area where ``species`` is left out.

    ``bag`` is how many an angler may keep on a local day. In ``release_only`` what is caught goes back; in ``banned``
    the species may not be fished for or kept, all year where ``always_banned``. Sizes and bags are of one species.
    """

    area: Name
    source: Name
    dated: CalendarDate
    species: Species | None = None
    sizes: Annotated[tuple[SizeLimit, ...], Field(max_length=4), AfterValidator(_kind_once)] = ()
    bag: Count | None = None
    release_only: Annotated[tuple[Season, ...], Field(max_length=12)] = ()
    banned: Annotated[tuple[Season, ...], Field(max_length=12)] = ()
    always_banned: bool = False
    no_fishing: Annotated[tuple[ClosedHours, ...], Field(max_length=50)] = ()
    most_rods: Count | None = None
    most_hooks: Count | None = None
    permit: Name | None = None
    gathering: Note = ""
    notes: Note = ""

    @field_validator("sizes", "bag")
    @classmethod
    def _of_a_species(cls, given: object, info: ValidationInfo) -> object:
        """Refuse a size or bag of nothing in particular."""
        if given not in ((), None) and info.data.get("species", True) is None:
            raise fault("is given of no species", "a species, or nothing")
        return given

    def concerns(self, species: Species) -> bool:
        """Return whether the rule is one of this species."""
        return self.species is not None and same_species(self.species, species)

    def stale_on(self, day: datetime.date) -> bool:
        """Return whether the rule is over 12 months old on a day."""
        dated = datetime.date.fromisoformat(self.dated)
        year, month = divmod(dated.year * 12 + dated.month - 1 + STALE_AFTER_MONTHS, 12)
        # 29 February is a year old on 28 February.
        last = min(dated.day, 28) if month == 1 else dated.day
        return day > datetime.date(year, month + 1, last)

    def closed_on(self, day: datetime.date) -> Literal["banned", "release_only"] | None:
        """Return what the season of a local day forbids, the ban before the lesser; None where it forbids nothing."""
        if self.always_banned or _in_season(self.banned, day):
            return "banned"
        return "release_only" if _in_season(self.release_only, day) else None


def _in_season(seasons: tuple[Season, ...], day: datetime.date) -> bool:
    return any(season.holds(day) for season in seasons)
