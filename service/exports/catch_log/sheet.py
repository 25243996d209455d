"""CSV for spreadsheets: a row a catch with its trip beside it, a row a row of a diary.

By RFC 4180 in UTF-8. Instants are ISO 8601 with Z, dates are those of the clocks at the mark, numbers are plain, and
text that would be taken for a formula is guarded (`formulas`). A trip without a catch has one row, whose columns of a
catch are empty. The columns of a catch, and all of a diary row, have the names by which imports take them back.
"""

from __future__ import annotations

import csv
import io
import zoneinfo
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

import orjson

from service.exports.catch_log.things import Logged
from service.exports.formulas import guarded
from tidecore.catchlog import Deployment, effort_is_on_record, effort_of

MEDIA_TYPE = "text/csv"

#: Rows that are joined before they are sent.
_AT_ONCE = 200

_CATCH: tuple[str, ...] = (
    "at", "precision_min", "deployment", "species.scientific_name", "species.fao_code", "species.local_name",
    "length.cm", "length.kind", "length.precision_cm", "weight.grams", "weight.how", "hook_position", "fate",
    "condition", "notes",
)  # fmt: skip
_TRIP: tuple[str, ...] = (
    "start", "end", "time_precision_min", "purpose", "drawn_peg", "place", "party", "others_rods", "others_fish",
    "sea_seen", "clarity_seen", "weed_seen", "why_left", "outcome", "why_not", "notes",
)  # fmt: skip
_DEPLOYMENT: tuple[str, ...] = ("rod", "method", "start", "end", "reach.metres", "reach.known")
_TOTALS: tuple[str, ...] = ("rods", "raw_rod_hours", "bait_on_hours", "bites", "catches")

#: Columns of a row a catch; those of the mark's name come last, where they are asked for.
TRIP_COLUMNS: tuple[str, ...] = (
    "client_ref", "trip", *_CATCH, "at_date_local", "trip_id", "trip_version", "trip_mark", "trip_date_local",
    *(f"trip_{name}" for name in (*_TRIP[:6], "target", *_TRIP[6:], *_TOTALS)),
    *(f"deployment_{name.replace('.', '_')}" for name in _DEPLOYMENT),
)  # fmt: skip
DIARY_COLUMNS: tuple[str, ...] = (
    "client_ref", "date", "mark", "hours.from", "hours.to", "tide.event", "tide.from_h", "tide.to_h", "tide.which",
    "rods", "caught", "outcome", "why_not", "notes",
)  # fmt: skip
_NAME = "mark_name"

Cells = Sequence[str]


def trip_sheet(trips: Iterable[Logged], names: bool) -> Iterator[bytes]:
    """Yield the sheet of trips piece by piece; with ``names`` marks are named."""
    return _sheet((*TRIP_COLUMNS, *((_NAME,) if names else ())), _each(trips, _trip_rows, names))


def diary_sheet(rows: Iterable[Logged], names: bool) -> Iterator[bytes]:
    """Yield the sheet of diary rows piece by piece; with ``names`` marks are named."""
    return _sheet((*DIARY_COLUMNS, *((_NAME,) if names else ())), _each(rows, _diary_rows, names))


def _each(things: Iterable[Logged], rows_of: Callable[[Logged], Iterator[Cells]], names: bool) -> Iterator[Cells]:
    for one in things:
        ending = (guarded(one.mark.name),) if names else ()
        for cells in rows_of(one):
            yield (*cells, *ending)


def _sheet(header: Cells, rows: Iterable[Cells]) -> Iterator[bytes]:
    written = io.StringIO(newline="")
    writer = csv.writer(written, lineterminator="\r\n")
    writer.writerow(header)
    for number, cells in enumerate(rows, 1):
        writer.writerow(cells)
        if number % _AT_ONCE == 0:
            yield _taken(written)
    yield _taken(written)


def _taken(written: io.StringIO) -> bytes:
    """Return what was written, and forget it."""
    content = written.getvalue().encode()
    written.seek(0)
    written.truncate()
    return content


def _trip_rows(one: Logged) -> Iterator[Cells]:
    record, zone = one.document, zoneinfo.ZoneInfo(one.mark.time_zone)
    trip, deployments = record["trip"], {each["ref"]: each for each in record["deployments"]}
    of_trip = [
        one.key, str(one.version), guarded(one.mark.reference), _day(trip["start"], zone),
        *(cell(trip[name]) for name in _TRIP[:6]),
        guarded("; ".join(each["scientific_name"] for each in trip["target"])),
        *(cell(trip[name]) for name in _TRIP[6:]),
        *_totals(record),
    ]  # fmt: skip
    caught: Sequence[Mapping[str, Any] | None] = record["catches"] or (None,)
    for fish in caught:
        of_fish = [""] * len(_CATCH) if fish is None else [cell(inside(fish, name)) for name in _CATCH]
        reference, day = ("", "") if fish is None else (guarded(fish["ref"]), _day(fish["at"], zone))
        rod = deployments.get(fish["deployment"]) if fish is not None else None
        of_rod = [cell(None if rod is None else inside(rod, name)) for name in _DEPLOYMENT]
        yield (reference, guarded(one.reference), *of_fish, day, *of_trip, *of_rod)


def _totals(record: Mapping[str, Any]) -> Cells:
    """Return rods, their hours and hours of bait in the water where these are known, bites and catches."""
    deployments = [Deployment.model_validate(each) for each in record["deployments"]]
    effort = effort_of(deployments)
    known = effort_is_on_record(record["trip"]["outcome"], len(deployments))
    rods = len({each.rod for each in deployments})
    return (
        str(rods),
        cell(round(effort.raw_rod_h, 4) if known else None),
        cell(round(effort.bait_on_h, 4) if known and effort.bait_on_known else None),
        str(len(record["bites"])),
        str(len(record["catches"])),
    )


def _diary_rows(one: Logged) -> Iterator[Cells]:
    row = {**one.document, "client_ref": one.reference, "mark": one.mark.reference}
    row["caught"] = orjson.dumps(row["caught"]).decode() if row["caught"] else None
    yield [cell(inside(row, name)) for name in DIARY_COLUMNS]


def inside(document: Mapping[str, Any], path: str) -> Any:
    """Return what lies at a dotted path, None where nothing does."""
    outer, _, inner = path.partition(".")
    value = document[outer]
    return value if not inner or value is None else value[inner]


def cell(value: str | int | float | None) -> str:
    """Return a value as the text of a cell: nothing for None, a guarded text, a number without an exponent."""
    if value is None:
        return ""
    if isinstance(value, str):
        return guarded(value)
    text = repr(value)
    return format(Decimal(text), "f") if "e" in text else text


def _day(moment: str, zone: zoneinfo.ZoneInfo) -> str:
    return datetime.fromisoformat(moment).astimezone(zone).date().isoformat()
