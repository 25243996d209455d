"""CSV by RFC 4180: CRLF, a header row, UTF-8; unknown is empty, instants are RFC 3339.

Text that a spreadsheet would take for a formula gets an apostrophe before it; numbers are never touched.
"""

from __future__ import annotations

import csv
import io
import zoneinfo
from collections.abc import Iterable, Sequence
from itertools import chain

import numpy as np

from service.exports.formulas import guarded
from service.exports.instants import write_instants
from service.exports.series import Column, Export, Series, SeriesSet, Table, rounded

MEDIA_TYPE = "text/csv"


def table_csv(table: Table, zone: zoneinfo.ZoneInfo | None = None) -> Export:
    """Return a table as CSV; its instants carry the offsets of ``zone``."""
    header = [column.field for column in table.columns]
    return _export(table.name, header, zip(*(_cells(column, zone) for column in table.columns), strict=True))


def series_csv(found: SeriesSet, zone: zoneinfo.ZoneInfo | None = None) -> Export:
    """Return series as CSV, one below the other: what each rests on, the instant, the columns."""
    first = found.series[0]
    header = [*first.about, "time", *(column.field for column in first.columns)]
    return _export(found.name, header, chain.from_iterable(_rows(one, zone) for one in found.series))


def _rows(series: Series, zone: zoneinfo.ZoneInfo | None) -> Iterable[Sequence[str]]:
    count = series.times.size
    about = [[_plain(value)] * count for value in series.about.values()]
    times = _instants(series.times, zone)
    return zip(*about, times, *(_cells(column, zone) for column in series.columns), strict=True)


def _export(name: str, header: Sequence[str], rows: Iterable[Sequence[str]]) -> Export:
    written = io.StringIO(newline="")
    writer = csv.writer(written, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows(rows)
    return Export(written.getvalue().encode(), MEDIA_TYPE, f"{name}.csv")


def _cells(column: Column, zone: zoneinfo.ZoneInfo | None) -> list[str]:
    if column.kind == "number":
        # Always all decimals: the text of a double may be 1e-05, which not every reader takes.
        form = f"%.{column.decimals}f"
        return ["" if value != value else form % value for value in rounded(column.values, column.decimals).tolist()]
    if column.kind == "boolean":
        texts = ("false", "true", "")
        return [texts[value] for value in np.asarray(column.values, dtype=np.int8).tolist()]
    if column.kind == "time":
        return _instants(column.values, zone)
    return [_plain(value) for value in column.values.tolist()]


def _instants(times: np.ndarray[tuple[int, ...], np.dtype[np.datetime64]], zone: zoneinfo.ZoneInfo | None) -> list[str]:
    return ["" if text is None else text for text in write_instants(times, zone)]


def _plain(value: str | int | bool) -> str:
    """Return a value as the text of a cell, guarded where it is text."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return guarded(value) if isinstance(value, str) else str(value)
