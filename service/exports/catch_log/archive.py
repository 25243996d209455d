"""The Darwin Core archive: three files of tab-separated text, what their columns are, and about the whole.

By the Darwin Core text guide (https://dwc.tdwg.org/text/): ``meta.xml`` says which term each column is, ``eml.xml``
is the metadata in EML 2.1.1. Nothing of the clock is in it: the same log gives the same bytes.
"""

from __future__ import annotations

import hashlib
import shutil
import tempfile
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import IO
from xml.sax.saxutils import escape, quoteattr

from service.exports.catch_log.darwin_core import (
    EVENT,
    EVENT_TERMS,
    MEASUREMENT,
    MEASUREMENT_TERMS,
    OCCURRENCE,
    OCCURRENCE_TERMS,
    TERMS,
    TripRows,
    trip_rows,
)
from service.exports.catch_log.things import Logged

MEDIA_TYPE = "application/zip"

#: File -> its kind of row and its columns; the first file is the core.
FILES = {
    "event.txt": (EVENT, EVENT_TERMS),
    "occurrence.txt": (OCCURRENCE, OCCURRENCE_TERMS),
    "measurement.txt": (MEASUREMENT, MEASUREMENT_TERMS),
}
#: What of a file is held in memory before it goes to the disk [bytes].
_IN_MEMORY = 4 * 1024 * 1024
_PIECE = 64 * 1024
_LONG_AGO = (1980, 1, 1, 0, 0, 0)
#: What ends a field or a line, and so may stand in none.
_BREAKS = str.maketrans("\t\r\n", "   ")


@dataclass(slots=True)
class _Extent:
    """What the trips cover: days, degrees, and when one of them was last changed; and a hash of all that is told."""

    days: list[str] = field(default_factory=list)
    latitudes: list[float] = field(default_factory=list)
    longitudes: list[float] = field(default_factory=list)
    changed: datetime | None = None
    told: hashlib._Hash = field(default_factory=hashlib.sha256)

    def add(self, one: Logged, rows: TripRows) -> None:
        for known, value in (
            (self.latitudes, rows.cell.latitude), (self.longitudes, rows.cell.longitude),
        ):  # fmt: skip
            known[:] = [min([*known, value]), max([*known, value])]
        self.days[:] = [min([*self.days, rows.day]), max([*self.days, rows.day])]
        self.changed = one.updated_at if self.changed is None else max(self.changed, one.updated_at)


def trip_archive(trips: Iterable[Logged], grid_km: float, names: bool) -> Iterator[bytes]:
    """Yield the archive of trips piece by piece, on a grid of ``grid_km``; with ``names`` marks are named."""
    extent = _Extent()
    with tempfile.SpooledTemporaryFile(_IN_MEMORY) as zipped:
        with zipfile.ZipFile(zipped, "w", zipfile.ZIP_DEFLATED) as archive:
            _add(archive, "meta.xml", _meta().encode())
            _add_files(archive, trips, grid_km, names, extent)
            _add(archive, "eml.xml", _eml(extent, grid_km).encode())
        zipped.seek(0)
        while piece := zipped.read(_PIECE):
            yield piece


def _add_files(archive: zipfile.ZipFile, trips: Iterable[Logged], grid_km: float, names: bool, extent: _Extent) -> None:
    """Write the files of rows: events at once, those of the extensions once all events are in."""
    first, *others = FILES
    with tempfile.SpooledTemporaryFile(_IN_MEMORY) as caught, tempfile.SpooledTemporaryFile(_IN_MEMORY) as measured:
        kept: dict[str, IO[bytes]] = dict(zip(others, (caught, measured), strict=True))
        for name, file in kept.items():
            file.write(_line(FILES[name][1]))
        with archive.open(_entry(first), "w") as events:
            events.write(_line(FILES[first][1]))
            for one in trips:
                rows = trip_rows(one, grid_km, names)
                extent.add(one, rows)
                written = [_line(rows.event), *(b"".join(map(_line, found)) for found in (
                    rows.occurrences, rows.measurements
                ))]  # fmt: skip
                for file, content in zip((events, *kept.values()), written, strict=True):
                    file.write(content)
                    extent.told.update(content)
        for name, file in kept.items():
            file.seek(0)
            with archive.open(_entry(name), "w") as member:
                shutil.copyfileobj(file, member)


def _line(cells: Sequence[str]) -> bytes:
    return ("\t".join(cell.translate(_BREAKS) for cell in cells) + "\n").encode()


def _entry(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, _LONG_AGO)
    entry.compress_type = zipfile.ZIP_DEFLATED
    return entry


def _add(archive: zipfile.ZipFile, name: str, content: bytes) -> None:
    archive.writestr(_entry(name), content)


def _meta() -> str:
    parts = []
    for place, (name, (row_type, terms)) in enumerate(FILES.items()):
        element, key = ("core", "id") if place == 0 else ("extension", "coreid")
        # The id of an event is a term of the core; in the extensions it only says to which event a row belongs.
        fields = [
            f'    <field index="{index}" term={quoteattr(TERMS + term)}/>'
            for index, term in enumerate(terms)
            if index or place == 0
        ]
        parts += [
            f'  <{element} encoding="UTF-8" fieldsTerminatedBy="\\t" linesTerminatedBy="\\n" fieldsEnclosedBy=""'
            f' ignoreHeaderLines="1" rowType={quoteattr(row_type)}>',
            f"    <files><location>{name}</location></files>",
            f'    <{key} index="0"/>',
            *fields,
            f"  </{element}>",
        ]
    head = '<?xml version="1.0" encoding="UTF-8"?>\n<archive xmlns="http://rs.tdwg.org/dwc/text/" metadata="eml.xml">'
    return "\n".join([head, *parts, "</archive>", ""])


def _eml(extent: _Extent, grid_km: float) -> str:
    """Return the metadata; who keeps the log is not in it, and whoever gives the archive away may say so."""
    party = "<positionName>keeper of the log</positionName>"
    published = "" if extent.changed is None else f"    <pubDate>{extent.changed.date().isoformat()}</pubDate>\n"
    abstract = (
        "Trips of one account, fished from the shore with rod and line: effort in rod-hours, catches with their "
        "measurements, and target species that were not caught, as absences. Blanks are events without a catch."
    )
    rights = "All rights are with the keeper of the log; ask before use."
    method = (
        "Each trip is written down by the angler. The sample size is the time that rods were in use, in rod-hours. "
        f"Positions are the middles of the cells of a grid of {grid_km:g} km."
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<eml:eml xmlns:eml="eml://ecoinformatics.org/eml-2.1.1" '
        f'packageId="log-{extent.told.hexdigest()}" system="https://eml.ecoinformatics.org" scope="system" '
        'xml:lang="en">\n'
        "  <dataset>\n"
        "    <title>Catch log of an angler on the shore</title>\n"
        f"    <creator>{party}</creator>\n"
        f"    <metadataProvider>{party}</metadataProvider>\n"
        f"{published}"
        "    <language>en</language>\n"
        f"    <abstract><para>{escape(abstract)}</para></abstract>\n"
        f"    <intellectualRights><para>{escape(rights)}</para></intellectualRights>\n"
        f"{_coverage(extent, grid_km)}"
        f"    <contact>{party}</contact>\n"
        "    <methods>\n"
        f"      <methodStep><description><para>{escape(method)}</para></description></methodStep>\n"
        "    </methods>\n"
        "  </dataset>\n"
        "</eml:eml>\n"
    )


def _coverage(extent: _Extent, grid_km: float) -> str:
    if not extent.days:
        return ""
    bounds = (*extent.longitudes, *reversed(extent.latitudes))
    names = ("westBoundingCoordinate", "eastBoundingCoordinate", "northBoundingCoordinate", "southBoundingCoordinate")
    sides = "".join(f"<{name}>{value:.5f}</{name}>" for name, value in zip(names, bounds, strict=True))
    first, last = (f"<calendarDate>{day}</calendarDate>" for day in extent.days)
    return (
        "    <coverage>\n"
        "      <geographicCoverage>"
        f"<geographicDescription>middles of cells of a grid of {grid_km:g} km</geographicDescription>"
        f"<boundingCoordinates>{sides}</boundingCoordinates></geographicCoverage>\n"
        f"      <temporalCoverage><rangeOfDates><beginDate>{first}</beginDate><endDate>{last}</endDate></rangeOfDates>"
        "</temporalCoverage>\n"
        "    </coverage>\n"
    )
