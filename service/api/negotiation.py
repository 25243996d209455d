"""Which form of an answer a caller wants: the Accept header of RFC 9110, section 12.5.1."""

from __future__ import annotations

import re
import zoneinfo
from collections.abc import Awaitable, Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import Request
from fastapi.responses import Response, StreamingResponse

from service.api.conditional import VARY_SERIES, declare_conditional
from service.errors import NotAcceptable
from service.exports import contact_note, coveragejson, delimited, geojson, icalendar, netcdf, tide_chart
from service.exports.catch_log import archive, lines
from service.exports.mark_chart import PNG_TYPE
from service.exports.month_sheet import MEDIA_TYPE as HTML_TYPE
from service.exports.month_sheet import STYLE_HASH
from service.exports.series import Export, SeriesSet, Table

JSON = "application/json"
CSV = delimited.MEDIA_TYPE
COVERAGEJSON = coveragejson.MEDIA_TYPE
NETCDF = netcdf.MEDIA_TYPE
SVG = tide_chart.MEDIA_TYPE
PNG = PNG_TYPE
HTML = HTML_TYPE
GEOJSON = geojson.MEDIA_TYPE
TEXT = contact_note.MEDIA_TYPE
ICALENDAR = icalendar.MEDIA_TYPE
NDJSON = lines.MEDIA_TYPE
ARCHIVE = archive.MEDIA_TYPE

#: What a range may say beside the type of a form, and still mean it.
_SAID_ANYWAY: Mapping[str, frozenset[tuple[str, str]]] = {
    JSON: frozenset({("charset", "utf-8")}),
    CSV: frozenset({("charset", "utf-8"), ("header", "present")}),
    TEXT: frozenset({("charset", "utf-8")}),
    HTML: frozenset({("charset", "utf-8")}),
    ICALENDAR: frozenset({("charset", "utf-8"), ("method", "publish")}),
}
#: A page that is one file: its own style, no script, nothing from elsewhere.
_PAGE_POLICY = (
    f"default-src 'none'; style-src {STYLE_HASH}; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
#: What is sent as Content-Type where that says more than the media type.
_SENT_AS: Mapping[str, str] = {CSV: "text/csv; charset=utf-8; header=present"}

_TOKEN = r"[!#$%&'*+\-.^_`|~0-9A-Za-z]+"
_PARAMETER = re.compile(rf'[ \t]*;[ \t]*(?:({_TOKEN})=({_TOKEN}|"(?:[^"\\]|\\.)*"))?')
_RANGE = re.compile(rf"({_TOKEN})/({_TOKEN})")
_WEIGHT = re.compile(r"0(\.[0-9]{0,3})?|1(\.0{0,3})?")
#: Members of the list, with commas inside quotes left alone.
_MEMBER = re.compile(r'(?:[^,"]|"(?:[^"\\]|\\.)*")+')


@dataclass(frozen=True, slots=True)
class MediaRange:
    """One member of an Accept header; ``*`` stands for any type or subtype."""

    main: str
    sub: str
    parameters: frozenset[tuple[str, str]]
    weight: float

    def specificity(self, media_type: str) -> int:
        """Return how closely the range names a media type, which may have parameters: -1 where it does not at all."""
        named, said = _split(media_type)
        main, _, sub = named.partition("/")
        if (self.main, self.sub) == ("*", "*"):
            return 0
        if self.main != main or self.sub not in (sub, "*"):
            return -1
        if self.sub == "*":
            return 1
        wanted = self.parameters - _SAID_ANYWAY.get(named, frozenset())
        return 2 + len(wanted) if wanted <= said else -1


def read_accept(header: str) -> list[MediaRange]:
    """Return the media ranges of an Accept header; a member that is none is left out, as if it had not been sent."""
    found = (_read_range(member.strip(" \t")) for member in _MEMBER.findall(header))
    return [one for one in found if one is not None]


def quality(ranges: Sequence[MediaRange], media_type: str) -> float:
    """Return how much a media type is wanted, 0 to 1: by the range that names it most closely."""
    closest = max(ranges, key=lambda one: one.specificity(media_type), default=None)
    return closest.weight if closest is not None and closest.specificity(media_type) >= 0 else 0.0


def choose(header: str | None, offered: Sequence[str]) -> str:
    """Return the media type to answer with: the most wanted, of equals the one named more closely, then the first.

    Raises
    ------
    NotAcceptable
        If the header takes none of ``offered``.
    """
    if header is None or not header.strip():
        return offered[0]
    ranges = read_accept(header)

    def merit(media_type: str) -> tuple[float, int]:
        return quality(ranges, media_type), max((one.specificity(media_type) for one in ranges), default=-1)

    best = max(offered, key=merit)
    if merit(best)[0] <= 0.0:
        raise NotAcceptable(header, offered)
    return best


def negotiated(*offered: str) -> Callable[[Request], Awaitable[str]]:
    """Return a dependency that gives the media type to answer with."""

    async def form_of(request: Request) -> str:
        given = request.headers.getlist("accept")
        return choose(", ".join(given) if given else None, offered)

    return form_of


def write_series(form: str, found: SeriesSet, zone: zoneinfo.ZoneInfo | None) -> Response:
    """Return series in a form other than JSON."""
    if form == CSV:
        return _send(delimited.series_csv(found, zone))
    return _send(coveragejson.series_coverages(found, zone) if form == COVERAGEJSON else netcdf.series_netcdf(found))


def write_table(found: Table, zone: zoneinfo.ZoneInfo | None) -> Response:
    """Return a table as CSV."""
    return _send(delimited.table_csv(found, zone))


def write_chart(chart: Export) -> Response:
    """Return a chart, to be shown and not saved."""
    shown = {"Content-Disposition": f'inline; filename="{chart.file_name}"'}
    return Response(chart.content, 200, shown, chart.media_type)


def write_page(page: Export) -> Response:
    """Return a page of HTML, to be shown; nothing in it runs, and nothing is fetched for it."""
    shown = {
        "Content-Disposition": f'inline; filename="{page.file_name}"',
        "Content-Security-Policy": _PAGE_POLICY,
    }
    return Response(page.content, 200, shown, f"{page.media_type}; charset=utf-8")


def write_text(text: str) -> Response:
    """Return an answer in words."""
    return Response(text, 200, None, "text/plain; charset=utf-8")


def write_file(export: Export) -> Response:
    """Return a file to be saved."""
    return _send(export)


def write_stream(pieces: Iterator[bytes], media_type: str, file_name: str) -> Response:
    """Return a file to be saved that is sent piece by piece, as it is made."""
    headers = {"Content-Disposition": f'attachment; filename="{file_name}"'}
    return StreamingResponse(pieces, 200, headers, _SENT_AS.get(media_type, media_type))


def offer_only(*forms: str) -> dict[int | str, dict[str, Any]]:
    """Return the declaration of forms none of which is JSON, and of 304."""
    declared = declare_conditional(VARY_SERIES)
    declared[200] |= {"content": {form: _declared(form, None) for form in forms}}
    return declared


def offer(csv_example: str | None, *others: str, etag: bool = True) -> dict[int | str, dict[str, Any]]:
    """Return the declaration of the forms beside JSON: CSV as in the example, and ``others``; and of 304.

    Without an example CSV is not among them.
    """
    declared = declare_conditional(VARY_SERIES) if etag else {200: {}}
    forms = others if csv_example is None else (CSV, *others)
    declared[200] |= {"content": {form: _declared(form, csv_example) for form in forms}}
    return declared


def _declared(form: str, csv_example: str | None) -> dict[str, Any]:
    if form == SVG:
        return {"schema": {"type": "string", "description": "A chart in SVG 1.1 with title and desc."}}
    if form == PNG:
        return {"schema": {"type": "string", "format": "binary", "description": "The chart, 2000 pixels wide."}}
    if form == NETCDF:
        return {"schema": {"type": "string", "format": "binary", "description": "NetCDF-3, CF-1.11, timeSeries."}}
    if form == HTML:
        return {"schema": {"type": "string", "description": "A page of HTML with its own style and no script, UTF-8."}}
    if form == TEXT:
        return {"schema": {"type": "string", "description": "The same in words, UTF-8, to be read as it stands."}}
    if form == ICALENDAR:
        return {"schema": {"type": "string", "description": "RFC 5545: events with alarms, in UTC; UTF-8."}}
    if form == NDJSON:
        return {"schema": {"type": "string", "description": "One JSON object a line, as the import takes it back."}}
    if form == ARCHIVE:
        described = "A Darwin Core archive: events, occurrences and measurements, meta.xml and eml.xml."
        return {"schema": {"type": "string", "format": "binary", "description": described}}
    if form == COVERAGEJSON:
        return {"schema": {"$ref": "#/components/schemas/CoverageCollection"}}
    described = "RFC 4180, header row, UTF-8; unknown is empty. Text that looks like a formula begins with '."
    return {"schema": {"type": "string", "description": described}, "example": csv_example}


def _send(export: Export) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{export.file_name}"'}
    return Response(export.content, 200, headers, _SENT_AS.get(export.media_type, export.media_type))


def _read_range(member: str) -> MediaRange | None:
    named = _RANGE.match(member)
    if named is None or (named[1] == "*" and named[2] != "*"):
        return None
    parameters, weight, place = [], 1.0, named.end()
    while place < len(member):
        found = _PARAMETER.match(member, place)
        if found is None:
            return None
        place = found.end()
        if found[1] is None:
            continue
        name, value = found[1].lower(), _unquoted(found[2])
        if name != "q":
            parameters.append((name, value.lower()))
        elif _WEIGHT.fullmatch(value):
            weight = float(value)
        else:
            return None
    return MediaRange(named[1].lower(), named[2].lower(), frozenset(parameters), weight)


def _split(media_type: str) -> tuple[str, frozenset[tuple[str, str]]]:
    found = _read_range(media_type)
    if found is None:
        raise ValueError(f"{media_type!r} is no media type")
    return f"{found.main}/{found.sub}", found.parameters


def _unquoted(value: str) -> str:
    return re.sub(r"\\(.)", r"\1", value[1:-1]) if value.startswith('"') else value
