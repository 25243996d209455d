"""Where a mark lies and what is known of it: positions, marks, and how a document is checked whole.

A document (a mark here, a species rule in its own room) is a frozen pydantic model with one door,
``Document.parse``: what is wrong with it comes back as faults with dotted paths, all of them at once.
"""

from __future__ import annotations

import re
import zoneinfo
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, Strict, ValidationError, model_validator
from pydantic_core import ErrorDetails, PydanticCustomError

from tidecore.errors import Fault, InvalidInput, InvalidPosition

#: More faults of one document than this are counted, not listed.
MOST_FAULTS = 100
#: Largest slack lag [minutes].
LONGEST_LAG_MIN = 240.0
#: Largest difference of time between a place and its station [minutes].
LONGEST_DIFFERENCE_MIN = 720.0
#: Heights of springs and neaps nearer than this [m] make no line.
LEAST_STEP_M = 0.01

MarkKind = Literal["open_beach", "estuary", "rock_ledge", "pier_or_wall", "harbour"]
Bed = Literal[
    "clean_sand",
    "sand_with_bars_and_gutters",
    "mud",
    "shingle",
    "shingle_to_sand",
    "broken_or_mixed",
    "rough_rock_and_kelp",
    "mussel",
    "eelgrass",
    "structure",
    "channel_edge",
]

#: Control characters but tab and line feed, and halves of surrogate pairs.
_NO_TEXT = re.compile("[\\x00-\\x08\\x0b-\\x1f\\x7f\\ud800-\\udfff]")
#: A fixed offset from UTC.
_FIXED_ZONE = re.compile(r"[+-](?:(?:0\d|1[0-3]):[0-5]\d|14:00)")
_ZONE_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_+-]*(/[A-Za-z0-9_+-]+)*")
#: Names that a zone folder may hold beside the zones themselves.
_NO_ZONES = ("localtime", "posixrules", "Factory", "posix", "right")


def fault(problem: str, expected: str) -> PydanticCustomError:
    """Return the error that a validator of a document raises: what is wrong, and what would be right."""
    return PydanticCustomError("fault", "{problem}; expected {expected}", {"problem": problem, "expected": expected})


def _plain_text(text: str) -> str:
    """Refuse what cannot be stored or shown: control characters and halves of surrogate pairs."""
    found = _NO_TEXT.search(text)
    if found is not None:
        raise fault(f"holds the character U+{ord(found[0]):04X}", "text without control characters or lone surrogates")
    return text


def _one_line(text: str) -> str:
    if not text.strip() or "\n" in text or "\t" in text:
        raise fault(f"is {_shown(text)}", "one line of text, not blank")
    return text


#: A finite number; text and booleans are not taken for one.
Number = Annotated[float, Strict(), Field(allow_inf_nan=False)]
#: One line that names something.
Name = Annotated[str, Field(min_length=1, max_length=120), AfterValidator(_plain_text), AfterValidator(_one_line)]
#: Free text.
Note = Annotated[str, Field(max_length=4000), AfterValidator(_plain_text)]


def _known_zone(name: str) -> str:
    """Refuse a name that zoneinfo cannot load."""
    expected = "a time zone of the IANA database, as 'Etc/UTC'"
    if not _ZONE_NAME.fullmatch(name) or name.split("/")[0] in _NO_ZONES:
        raise fault(f"is {_shown(name)}", expected)
    try:
        zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise fault(f"is {_shown(name)}, which is no known zone", expected) from error
    return name


def _shown(value: object) -> str:
    """Return a value as short plain text."""
    text = ascii(value)
    return text if len(text) <= 60 else text[:57] + "..."


class Document(BaseModel):
    """A frozen document of an account: unknown fields are refused, numbers are finite."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, validate_by_name=True)

    #: What `parse` raises.
    refusal: ClassVar[type[InvalidInput]] = InvalidInput
    #: Fields that hold one of several kinds of document; the kind is no step of a fault's path.
    kinded: ClassVar[frozenset[str]] = frozenset()

    @classmethod
    def parse(cls, document: object) -> Self:
        """Return the document checked.

        Parameters
        ----------
        document : mapping
            Plain data, as JSON gives it.

        Raises
        ------
        InvalidInput
            (or the class named by ``refusal``) with every fault there is, at most 100 listed.
        """
        if not isinstance(document, Mapping | cls):
            raise cls.refusal(Fault("document", f"is {_shown(document)}", "a JSON object"))
        try:
            return cls.model_validate(document)
        except ValidationError as error:
            raise cls.refusal(tuple(_faults(error, cls.kinded))) from error

    def to_document(self) -> dict[str, Any]:
        """Return the plain data that `parse` takes back to an equal document."""
        return self.model_dump(mode="json", by_alias=True)


def _faults(error: ValidationError, kinded: frozenset[str]) -> Iterator[Fault]:
    details = error.errors(include_url=False, include_context=True)
    for detail in details[:MOST_FAULTS]:
        yield _fault_of(detail, kinded)
    if len(details) > MOST_FAULTS:
        yield Fault("document", f"has {len(details) - MOST_FAULTS} more faults", "fewer")


def _fault_of(detail: ErrorDetails, kinded: frozenset[str]) -> Fault:
    """Say one finding of pydantic in our words."""
    path = ("", *detail["loc"])
    steps = (part for before, part in pairwise(path) if before not in kinded)
    field = ".".join(_field_name(part) for part in steps) or "document"
    context, kind = detail.get("ctx", {}), detail["type"]
    if kind == "fault":
        return Fault(field, str(context["problem"]), str(context["expected"]))
    if kind == "missing":
        return Fault(field, "is missing", "a value")
    if kind == "extra_forbidden":
        return Fault(field, "is not a field of this document", "no such field")
    if kind.startswith("union_tag"):
        return Fault(
            f"{field}.kind", "is missing or unknown", f"one of {context.get('expected_tags', 'the kinds known')}"
        )
    message = detail["msg"].removeprefix("Input should be ")
    return Fault(field, f"is {_shown(detail['input'])}", message[:1].lower() + message[1:])


def _field_name(part: int | str) -> str:
    """Return one step of a path, short and printable however the field was called."""
    text = str(part)
    return text if text.isidentifier() or text.isdecimal() else _shown(text)


@dataclass(frozen=True, slots=True)
class Position:
    """A point on the globe: geodetic ``latitude`` and ``longitude`` [degrees, north and east positive]."""

    latitude: float
    longitude: float

    def __post_init__(self) -> None:
        """Refuse what is not on the globe.

        Raises
        ------
        InvalidPosition
            With a fault for each coordinate that is out of range or no number.
        """
        limits = (("latitude", self.latitude, 90.0), ("longitude", self.longitude, 180.0))
        faults = [
            Fault(name, f"is {value!r}", f"a number from -{limit:g} to {limit:g} degrees")
            for name, value, limit in limits
            if not -limit <= value <= limit
        ]
        if faults:
            raise InvalidPosition(faults)


class MarkLags(Document):
    """Minutes after the mark's own primary high and low water at which the stream turns."""

    after_hw_min: Annotated[Number, Field(ge=-LONGEST_LAG_MIN, le=LONGEST_LAG_MIN)]
    after_lw_min: Annotated[Number, Field(ge=-LONGEST_LAG_MIN, le=LONGEST_LAG_MIN)]


class ClockDifference(Document):
    """How much later than at the station [minutes] a water comes that is there at an hour of the standard zone."""

    clock_h: Annotated[Number, Field(ge=0.0, lt=24.0)]
    later_min: Annotated[Number, Field(ge=-LONGEST_DIFFERENCE_MIN, le=LONGEST_DIFFERENCE_MIN)]


class HeightDifference(Document):
    """How much higher than at the station [m] a water comes that has a height there."""

    station_height_m: Annotated[Number, Field(ge=-100.0, le=100.0)]
    higher_m: Annotated[Number, Field(ge=-100.0, le=100.0)]


class HeightDifferences(Document):
    """Differences at springs and at neaps; between them they are linear in the station's height."""

    kind: Literal["differences"]
    springs: HeightDifference
    neaps: HeightDifference

    @model_validator(mode="after")
    def _are_apart(self) -> Self:
        springs, neaps = self.springs.station_height_m, self.neaps.station_height_m
        if abs(springs - neaps) < LEAST_STEP_M:
            expected = f"heights of the station at springs and neaps at least {LEAST_STEP_M:g} m apart, or a ratio"
            raise fault(f"has springs at {springs:g} m and neaps at {neaps:g} m", expected)
        return self


class HeightRatio(Document):
    """One ratio: height at the place over height at the station, both above their datums."""

    kind: Literal["ratio"]
    ratio: Annotated[Number, Field(gt=0.0, le=20.0)]


def _ascending_hours(times: tuple[ClockDifference, ...]) -> tuple[ClockDifference, ...]:
    hours = [one.clock_h for one in times]
    if any(later <= earlier for earlier, later in pairwise(hours)):
        raise fault(f"has the hours {', '.join(f'{hour:g}' for hour in hours)}", "every hour once, in ascending order")
    return times


class WaterOffsets(Document):
    """What sets the high (low) waters of a place apart from those of its station; heights alike where none is said."""

    times: Annotated[tuple[ClockDifference, ...], Field(min_length=1, max_length=24), AfterValidator(_ascending_hours)]
    heights: Annotated[HeightDifferences | HeightRatio, Field(discriminator="kind")] | None = None


def _fixed_zone(text: str) -> str:
    if not _FIXED_ZONE.fullmatch(text):
        expected = "the standard zone of the station's tables as an offset from UTC, as '+01:00'; never summer time"
        raise fault(f"is {_shown(text)}", expected)
    return text


class MarkOffsets(Document):
    """The tide of a place by that of its station, as tables of secondary ports state it.

    Differences of time go by the hour that a clock in ``standard_zone`` shows at the station's own high (low) water,
    linear between the hours of the table and on from the last to the first. ``datum`` is what heights at the place are
    above; that of the station unless given.
    """

    kinded: ClassVar[frozenset[str]] = frozenset({"heights"})

    standard_zone: Annotated[str, AfterValidator(_fixed_zone)]
    high_water: WaterOffsets
    low_water: WaterOffsets
    datum: Name | None = None

    @property
    def zone_min(self) -> int:
        """Offset of the standard zone from UTC [minutes], east positive."""
        sign = -1 if self.standard_zone[0] == "-" else 1
        return sign * (60 * int(self.standard_zone[1:3]) + int(self.standard_zone[4:6]))


class StreamRates(Document):
    """Peak speeds of the stream at mean springs and mean neaps [m/s], and by what those between are scaled.

    ``range``: linear in the range of the tide, as tide tables do. ``root_of_range``: linear in its square root, as the
    speed in a hydraulic strait goes by the root of the head.
    """

    spring_flood_m_per_s: Annotated[Number, Field(gt=0.0, le=12.0)]
    spring_ebb_m_per_s: Annotated[Number, Field(gt=0.0, le=12.0)]
    neap_flood_m_per_s: Annotated[Number, Field(ge=0.0, le=12.0)]
    neap_ebb_m_per_s: Annotated[Number, Field(ge=0.0, le=12.0)]
    scaled_by: Literal["range", "root_of_range"] = "range"


class Mark(Document):
    """A fishing spot: where it is, which station's tide it follows, and what is known of its stream and ground.

    ``slack_lags`` of a mark where nobody knows when the stream turns are left out: its flow is then a proxy and
    ``flow_reliable`` is false. ``station`` is a reference that whoever keeps the stations understands. ``offsets`` of a
    mark that has the tide of its station are left out.
    """

    kinded: ClassVar[frozenset[str]] = MarkOffsets.kinded

    name: Name
    latitude: Annotated[Number, Field(ge=-90.0, le=90.0)]
    longitude: Annotated[Number, Field(ge=-180.0, le=180.0)]
    time_zone: Annotated[str, Field(min_length=1, max_length=64), AfterValidator(_known_zone)]
    station: Name
    kind: MarkKind
    beds: Annotated[tuple[Bed, ...], Field(max_length=11)] = ()
    offsets: MarkOffsets | None = None
    slack_lags: MarkLags | None = None
    stream_rates: StreamRates | None = None
    notes: Note = ""

    @property
    def position(self) -> Position:
        """The mark's position."""
        return Position(self.latitude, self.longitude)

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        """The mark's time zone."""
        return zoneinfo.ZoneInfo(self.time_zone)

    def datum_of(self, station_datum: str) -> str:
        """Return what heights at the mark are above: the datum that its offsets state, or else the station's."""
        return station_datum if self.offsets is None else self.offsets.datum or station_datum

    @property
    def flow_reliable(self) -> bool:
        """Whether it is known when the stream turns here."""
        return self.slack_lags is not None
