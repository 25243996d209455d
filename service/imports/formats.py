"""The formats of files of rows; a new one is an entry here, and the module of its reader."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from service.imports.delimited import read_csv
from service.imports.geojson import read_geojson
from service.imports.mapping import ColumnMapping
from service.imports.ndjson import read_ndjson
from service.imports.rows import Columns, Reader, Row


@dataclass(frozen=True, slots=True)
class Format:
    """One format: the content type of its files, and who reads them."""

    media_type: str
    read: Reader


#: Name of the format whose columns a mapping may lead to ours.
MAPPED = "csv"

#: Format by its name.
FORMATS: Mapping[str, Format] = {
    "ndjson": Format("application/x-ndjson", read_ndjson),
    "csv": Format("text/csv", read_csv),
    "geojson": Format("application/geo+json", read_geojson),
}


def read_rows(file_format: str, path: Path, columns: Columns, mapping: ColumnMapping | None) -> Iterator[Row]:
    """Yield the rows of a file; FileUnreadable where the file itself breaks."""
    if mapping is None:
        return FORMATS[file_format].read(path, columns)
    assert file_format == MAPPED, "only an import of CSV is taken with a mapping"
    return read_csv(path, columns, mapping)
