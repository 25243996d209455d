"""Parts of a record in a ZIP archive: read like files, and nothing else is."""

from __future__ import annotations

import contextlib
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tidecore.errors import CoreError, HintMissing, PartUnreadable, RecordTooLarge, RecordUnreadable
from tidecore.gauges import read_gauge, read_gauge_parts

HINTS: dict[str, Any] = {"unit": "m", "datum": "gauge zero", "time": "time", "level": "level"}


def rows(start: str, hours: int) -> bytes:
    times = np.datetime64(start, "h") + np.arange(hours)
    lines = (f"{time}:00Z,{2 + np.sin(k / 2):.3f}\n" for k, time in enumerate(times.astype(str)))
    return ("time,level\n" + "".join(lines)).encode()


def archive(folder: Path, files: Mapping[str, bytes]) -> Path:
    path = folder / "parts.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as written:
        for name, data in files.items():
            written.writestr(name, data)
    return path


def test_every_file_is_a_part_as_if_read_by_itself(tmp_path):
    files = {
        "b/late.csv": rows("2021-01-01", 60),
        "a/early.csv": rows("2011-01-01", 48),
        "../sly.csv": rows("2016", 24),
    }
    parts = read_gauge_parts(archive(tmp_path, files), "csv", **HINTS)
    assert [part.sizes["time"] for part in parts] == [24, 48, 60]
    alone = tmp_path / "early.csv"
    alone.write_bytes(files["a/early.csv"])
    read = read_gauge(alone, "csv", **HINTS)
    assert parts[1]["sea_level"].equals(read["sea_level"])
    assert parts[1].attrs["source_sha256"] == read.attrs["source_sha256"]
    assert {path.name for path in tmp_path.iterdir()} == {"parts.zip", "early.csv"}


def test_a_file_that_is_no_archive_is_the_one_part(tmp_path):
    path = tmp_path / "one.csv"
    path.write_bytes(rows("2021-01-01", 30))
    (part,) = read_gauge_parts(path, "csv", **HINTS)
    assert part.identical(read_gauge(path, "csv", **HINTS))


def test_the_file_at_fault_is_named(tmp_path):
    path = archive(tmp_path, {"good.csv": rows("2021-01-01", 30), "torn.csv": rows("2022-01-01", 30)[:-3] + b"x\n"})
    with pytest.raises(PartUnreadable, match=r"'torn\.csv' in the archive: line"):
        read_gauge_parts(path, "csv", **HINTS)


def test_an_archive_is_not_unpacked_beyond_the_limit(tmp_path):
    path = archive(tmp_path, {f"{k}.csv": b"0" * 1_000_000 for k in range(5)})
    assert path.stat().st_size < 10_000
    with pytest.raises(RecordTooLarge) as caught:
        read_gauge_parts(path, "csv", max_bytes=100_000, **HINTS)
    assert (caught.value.size, caught.value.limit) == (5_000_000, 100_000)


@pytest.mark.parametrize(
    ("files", "says"),
    [({}, "0 files"), ({"empty.csv": b""}, "empty"), ({f"{k}": b"x" for k in range(201)}, "201 files")],
)
def test_what_makes_no_record(tmp_path, files, says):
    with pytest.raises(RecordUnreadable, match=says):
        read_gauge_parts(archive(tmp_path, files), "csv", **HINTS)


@pytest.mark.parametrize("keep", [30, 200, -30])
def test_an_archive_cut_off(tmp_path, keep):
    path = archive(tmp_path, {"a.csv": rows("2021-01-01", 300)})
    path.write_bytes(path.read_bytes()[:keep])
    with pytest.raises(RecordUnreadable, match="archive is broken"):
        read_gauge_parts(path, "csv", **HINTS)


def test_an_encrypted_file_is_refused(tmp_path):
    path = archive(tmp_path, {"a.csv": rows("2021-01-01", 30)})
    data = bytearray(path.read_bytes())
    # The flag in the local header and in the directory.
    data[6] |= 1
    data[data.index(b"PK\x01\x02") + 8] |= 1
    path.write_bytes(bytes(data))
    with pytest.raises(RecordUnreadable, match="encrypted"):
        read_gauge_parts(path, "csv", **HINTS)


def test_no_changed_byte_makes_an_error_of_another_kind(tmp_path):
    path = archive(tmp_path, {"a.csv": rows("2021-01-01", 30)})
    whole = path.read_bytes()
    random = np.random.default_rng(20261128)
    for place in random.integers(0, len(whole), 150):
        data = bytearray(whole)
        data[place] ^= int(random.integers(1, 256))
        path.write_bytes(bytes(data))
        with contextlib.suppress(CoreError):
            read_gauge_parts(path, "csv", **HINTS)


def test_hints_that_parts_need_are_asked_for_as_of_one_file(tmp_path):
    files = {"a.csv": rows("2021-01-01", 30), "b.csv": rows("2022-01-01", 30)}
    with pytest.raises(HintMissing) as caught:
        read_gauge_parts(archive(tmp_path, files), "csv", unit="m")
    assert caught.value.faults[0].field == "datum"
