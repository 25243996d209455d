"""Clock times of a stated zone -> UTC, refusing what the zone leaves open."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from tidecore.errors import HintMissing, RecordAmbiguous, RecordUnreadable
from tidecore.gauges.civil import Lines, refuse_outside_span
from tidecore.timebase import US_PER_DAY, US_PER_HOUR, US_PER_MINUTE, US_PER_SECOND
from tidecore.units import BoolArray, IntArray

ACCEPTED = (
    "the zone of the clock: 'UTC', an offset as '+01:00' or 'UTC-5' (positive east of Greenwich), "
    "or an IANA name as 'Europe/London'"
)
AMBIGUOUS_TIMES = ("earlier", "later", "drop")

#: Stands for "no offset written" in columns of offsets.
NO_OFFSET: int = np.iinfo(np.int64).min

_OFFSET = re.compile(r"(?:UTC|GMT)?\s*([+-])\s*([0-9]{1,2})(?::?([0-9]{2}))?", re.IGNORECASE)
_UTC = ("utc", "gmt", "z", "zulu")
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def parse_offset(text: str) -> int | None:
    """Return the offset from UTC that ``text`` states [microseconds, positive east], None if it states none.

    ``"UTC-5"`` and ``"GMT-5"`` are five hours behind UTC, as people write it; the IANA name ``"Etc/GMT+5"`` means
    the same with the other sign and is left to `Zone`. Abbreviations such as EST or CET are no offsets.

    Examples
    --------
    >>> parse_offset("UTC+05:30") / 3.6e9
    5.5
    """
    stripped = text.strip()
    if stripped.lower() in _UTC:
        return 0
    match = _OFFSET.fullmatch(stripped)
    if match is None:
        return None
    sign, hours, minutes = match.groups()
    offset_us = int(hours) * US_PER_HOUR + int(minutes or 0) * US_PER_MINUTE
    if int(minutes or 0) > 59 or offset_us > 14 * US_PER_HOUR:
        return None
    return -offset_us if sign == "-" else offset_us


@dataclass(frozen=True, slots=True)
class Zone:
    """A clock: of a fixed offset from UTC, or of an IANA zone whose offset moves.

    Attributes
    ----------
    name : str
        As it was given.
    offset_us : int or None
        Fixed offset [microseconds, positive east]; None for an IANA zone.
    """

    name: str
    offset_us: int | None

    @classmethod
    def parse(cls, name: str) -> Zone:
        """Return the zone called ``name``; raises `HintMissing` if there is none."""
        offset_us = parse_offset(name)
        if offset_us is None:
            if "/" not in name:
                raise HintMissing("zone", ACCEPTED, name)
            try:
                ZoneInfo(name)
            except (ZoneInfoNotFoundError, ValueError, OSError) as error:
                raise HintMissing("zone", ACCEPTED, name) from error
        return cls(name, offset_us)

    def to_utc(self, local_us: IntArray, lines: Lines, ambiguous: str | None) -> tuple[IntArray, BoolArray | None]:
        """Return clock times as UTC, and which of them the clock shows twice (None if none can be).

        Parameters
        ----------
        local_us : int64 array, shape (n,)
            Times on this clock [microseconds since 1970-01-01T00:00].
        lines : integers
            Line of the file of each, for errors.
        ambiguous : str or None
            What a time means that the clock shows twice in autumn: the ``"earlier"`` or the ``"later"`` instant;
            ``"drop"`` leaves it to the caller to drop it; None refuses it.

        Raises
        ------
        RecordAmbiguous
            For the first time that the clock shows twice, if ``ambiguous`` is None.
        RecordUnreadable
            For the first time that the clock jumps over in spring.
        """
        refuse_outside_span(local_us, lines)
        if self.offset_us is not None:
            return local_us - self.offset_us, None
        if not local_us.size:
            return local_us, None
        starts, offsets = _segments(ZoneInfo(self.name), int(local_us.min()), int(local_us.max()))
        segment = np.searchsorted(starts + offsets, local_us, side="right") - 1
        utc = local_us - offsets[segment]
        skipped = utc >= np.append(starts[1:], np.iinfo(np.int64).max)[segment]
        if skipped.any():
            first = int(np.argmax(skipped))
            raise RecordUnreadable(
                f"the clock of {self.name} jumps over {_shown(local_us[first])}",
                int(lines[first]),
                "a time that the clock shows; a record without summer time needs a fixed zone=",
            )
        earlier = local_us - offsets[np.maximum(segment - 1, 0)]
        twice = (segment > 0) & (earlier < starts[segment])
        if twice.any() and ambiguous is None:
            first = int(np.argmax(twice))
            raise RecordAmbiguous(
                f"line {lines[first]}: {_shown(local_us[first])}, which the clock of {self.name} shows twice,",
                [f"{_shown(earlier[first])}Z", f"{_shown(utc[first])}Z"],
                "ambiguous_times='earlier', 'later' or 'drop', or a fixed zone=",
            )
        return (np.where(twice, earlier, utc) if ambiguous == "earlier" else utc), twice


@dataclass(frozen=True, slots=True)
class Instants:
    """Times of a record in UTC, and how they were found.

    Attributes
    ----------
    times_us : int64 array, shape (n,)
        Microseconds since 1970-01-01T00:00Z.
    kept : bool array, shape (n,), or None
        Rows to keep, where some are to be dropped because summer time shows them twice.
    zone : str
        The zone, in words for the attributes of the record.
    offset_h : float or None
        Offset of the clock from UTC [h, positive east], None where it moves.
    shown_twice : int
        Rows whose time the clock shows twice.
    """

    times_us: IntArray
    kept: BoolArray | None
    zone: str
    offset_h: float | None
    shown_twice: int = 0


def resolve_zone(
    local_us: IntArray, offsets_us: IntArray, lines: Lines, zone: str | None, ambiguous: str | None
) -> Instants:
    """Return clock times as instants, by the offsets that the file states or else by the ``zone`` given.

    Parameters
    ----------
    local_us, offsets_us : int64 array, shape (n,)
        Times on the clock of the file, and the offset stated for each, `NO_OFFSET` where none is [microseconds].
    lines : integers
        Line of the file of each, for errors.
    zone : str or None
        What the caller says about the clock.
    ambiguous : str or None
        As for `Zone.to_utc`.

    Raises
    ------
    HintMissing
        If neither file nor caller state a zone, or the one given is none.
    RecordAmbiguous
        If both do and differ, or as `Zone.to_utc`.
    RecordUnreadable
        If the file states an offset for some rows and not for others, or as `Zone.to_utc`.
    """
    given = None if zone is None else Zone.parse(zone)
    unstated = offsets_us == NO_OFFSET
    if unstated.all():
        if given is None:
            raise HintMissing("zone", ACCEPTED)
        times_us, twice = given.to_utc(local_us, lines, ambiguous)
        offset_h = None if given.offset_us is None else given.offset_us / US_PER_HOUR
        kept = ~twice if twice is not None and ambiguous == "drop" else None
        return Instants(times_us, kept, given.name, offset_h, 0 if twice is None else int(twice.sum()))
    if unstated.any():
        first = int(np.argmax(unstated))
        raise RecordUnreadable("the time has no offset, where others have", int(lines[first]), "one in every row")
    offset_us = int(offsets_us[0])
    constant = bool((offsets_us == offset_us).all())
    stated = (
        ("UTC" if offset_us == 0 else f"UTC{offset_us / US_PER_HOUR:+g} h") if constant else "an offset in each row"
    )
    if given is not None and not (constant and given.offset_us == offset_us):
        candidates = [f"{stated} (the file)", f"{given.name} (zone=)"]
        raise RecordAmbiguous("the zone of the clock", candidates, "a zone= that agrees with the file, or none")
    return Instants(
        local_us - offsets_us, None, f"{stated}, stated by the file", offset_us / US_PER_HOUR if constant else None
    )


def _segments(zone: ZoneInfo, first_us: int, last_us: int) -> tuple[IntArray, IntArray]:
    """Return starts [microseconds, UTC] and offsets of the spans of one offset that cover first to last.

    The zone is asked every twelve hours and every change in between found to the second.
    """

    def offset_at(second: int) -> int:
        offset = (_EPOCH + timedelta(seconds=second)).astimezone(zone).utcoffset()
        return 0 if offset is None else round(offset.total_seconds())

    begin, end = (first_us - 2 * US_PER_DAY) // US_PER_SECOND, (last_us + 2 * US_PER_DAY) // US_PER_SECOND
    starts, offsets = [begin], [offset_at(begin)]
    for right in range(begin + 43_200, end + 43_200, 43_200):
        after = offset_at(right)
        if after != offsets[-1]:
            low, high = right - 43_200, right
            while high - low > 1:
                middle = (low + high) // 2
                low, high = (low, middle) if offset_at(middle) == after else (middle, high)
            starts.append(high)
            offsets.append(after)
    return np.array(starts) * US_PER_SECOND, np.array(offsets) * US_PER_SECOND


def _shown(ticks: np.int64) -> str:
    """Return microseconds since 1970 as text to the minute or finer."""
    text = str(np.datetime64(int(ticks), "us"))
    return text.removesuffix(".000000").removesuffix(":00")
