"""The formats of files of rows; a new one is an entry here, and the module of its reader."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from service.imports.delimited import csv_decoder, cut_csv
from service.imports.geojson import cut_geojson, decode_feature
from service.imports.mapping import ColumnMapping
from service.imports.ndjson import cut_ndjson, decode_line
from service.imports.rows import Columns, Decode, Row, RowFile, each


@dataclass(frozen=True, slots=True)
class Format:
    """One format: the content type of its files, who cuts rows out of them, and who makes documents of these.

    Cutting goes along the file; documents are made of some rows at a time, by any process that is told the header.
    """

    media_type: str
    cut: Callable[[Path, Columns, ColumnMapping | None], RowFile]
    decoder: Callable[[Sequence[str], Columns, ColumnMapping | None], Decode]


#: Name of the format whose columns a mapping may lead to ours.
MAPPED = "csv"

#: Format by its name.
FORMATS: Mapping[str, Format] = {
    "ndjson": Format("application/x-ndjson", lambda path, *_: RowFile(cut_ndjson(path)), lambda *_: each(decode_line)),
    MAPPED: Format("text/csv", cut_csv, csv_decoder),
    "geojson": Format(
        "application/geo+json", lambda path, *_: RowFile(cut_geojson(path)), lambda *_: each(decode_feature)
    ),
}


def read_rows(file_format: str, path: Path, columns: Columns, mapping: ColumnMapping | None) -> Iterator[Row]:
    """Yield the rows of a file as documents; FileUnreadable where the file itself breaks."""
    found = FORMATS[file_format]
    file = found.cut(path, columns, mapping)
    decode = found.decoder(file.header, columns, mapping)
    for cut in file.cuts:
        yield from decode([cut])
