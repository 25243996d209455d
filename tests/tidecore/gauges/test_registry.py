"""Which reader a file is given to, and what no reader is given."""

from __future__ import annotations

import gzip
import pickle
import re
from typing import Any

import pytest

from tests.conftest import ROOT
from tidecore.errors import CoreError, HintMissing, RecordNotRecognised, RecordTooLarge, RecordUnreadable, UnknownName
from tidecore.gauges import MAX_BYTES, GaugeReader, formats, gauge_reader, read_gauge
from tidecore.gauges.registry import READERS

SAID: dict[str, Any] = {"unit": "m", "zone": "UTC", "datum": "unknown"}
PLAIN = "time,level\n2026-01-01 00:00,1.5\n2026-01-01 01:00,1.25\n"
PNG = b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + bytes(range(256)) * 40


def test_formats_are_named():
    assert formats() == (
        "csv", "uhslc-hourly", "cf-netcdf",
        "bodc", "dtf", "erddap-csv", "gesla-table", "ioc-table", "meds", "noaa-json",
    )  # fmt: skip


def test_the_guide_lists_every_format():
    guide = (ROOT / "openapi" / "guides" / "tides.md").read_text(encoding="utf-8")
    table = guide.partition("| format | what |")[2].partition("\n\n")[0]
    assert tuple(re.findall(r"^\| `([a-z-]+)` \| .*\| .*\| .*\|$", table, re.MULTILINE)) == formats()


@pytest.mark.parametrize("name", formats())
def test_every_reader_describes_itself(name):
    reader = gauge_reader(name)
    assert isinstance(reader, GaugeReader)
    assert (reader.name, bool(reader.title)) == (name, True)
    names = [hint.name for hint in reader.hints]
    assert len(names) == len(set(names))
    assert "datum" in names
    assert all(hint.accepted for hint in reader.hints)


@pytest.mark.parametrize("name", ["CSV", "csv ", "", "excel"])
def test_refuses_a_format_that_is_none(write, name):
    with pytest.raises(UnknownName, match=r"unknown gauge format .* known: csv, uhslc-hourly, cf-netcdf"):
        read_gauge(write(PLAIN), name)


def test_recognises_plain_csv(write):
    assert read_gauge(write(PLAIN, "no-suffix"), **SAID).attrs["format"] == "csv"


def test_a_hint_of_nobody_is_refused_by_name(write):
    with pytest.raises(UnknownName, match="'tide_gauge'"):
        read_gauge(write(PLAIN), tide_gauge="x", **SAID)


def test_all_hints_that_are_missing_or_wrong_are_told_at_once(write):
    with pytest.raises(HintMissing) as caught:
        read_gauge(write(PLAIN), "csv", zone="Atlantis/Harbour")
    told = [(one.field, one.problem) for one in caught.value.faults]
    assert told == [("datum", "is not given"), ("unit", "is not given"), ("zone", "is 'Atlantis/Harbour'")]
    assert re.fullmatch(r"datum is not given; .*\. unit is not given; .*\. zone cannot be .*", str(caught.value))
    again = pickle.loads(pickle.dumps(caught.value))
    assert (str(again), again.faults) == (str(caught.value), caught.value.faults)


def test_a_column_is_asked_for_beside_what_was_asked_before(write):
    with pytest.raises(HintMissing) as caught:
        read_gauge(write("when,a,b\n2026-01-01 00:00,1,2\n2026-01-01 01:00,3,4\n"), "csv")
    assert [one.field for one in caught.value.faults][:2] == ["datum", "time"]


def test_what_rests_on_an_assumed_hint_is_not_told(write):
    with pytest.raises(HintMissing) as caught:
        read_gauge(write(PLAIN + "2026-01-01 02:00\n"), "csv", unit="m", zone="UTC")
    assert [one.field for one in caught.value.faults] == ["datum"]


def test_a_hint_of_none_is_not_given(write):
    assert read_gauge(write(PLAIN), time_format=None, nonsense=None, **SAID).attrs["values"] == 2


@pytest.mark.parametrize(
    "content",
    [
        PNG,
        b"\x00" * 100,
        gzip.compress(PLAIN.encode(), mtime=0),
        PLAIN.encode("utf-16"),
        b"CDF",
        b"\x89HDF",
        bytes(range(1, 9)),
    ],
)
def test_refuses_binary_files_that_no_reader_knows(write, content):
    with pytest.raises((RecordNotRecognised, RecordUnreadable)) as caught:
        read_gauge(write(content), **SAID)
    if b"\x00" in content:
        assert isinstance(caught.value, RecordNotRecognised)
        assert "binary" in str(caught.value)
        assert caught.value.known == formats()


@pytest.mark.parametrize(
    "content",
    [
        '{"data": [1, 2]}\n',
        "<html><body>12 13</body></html>",
        "a word\n",
        "1\n2\n3\n",
        "[1, 2]\n",
        "one two\nthree four\n",
    ],
)
def test_refuses_text_that_is_no_table(write, content):
    with pytest.raises(RecordNotRecognised, match="no table of times and levels"):
        read_gauge(write(content), **SAID)


@pytest.mark.parametrize("name", [None, *formats()])
class TestBadFiles:
    """Whatever the format, said or not."""

    def refused(self, path, name, error=CoreError, **more) -> str:
        hints = SAID if name in (None, "csv") else {"datum": "unknown"}
        with pytest.raises(error) as caught:
            read_gauge(path, name, **hints, **more)
        return str(caught.value)

    def test_empty(self, write, name):
        assert self.refused(write(b""), name, RecordUnreadable).startswith("the file is empty")

    def test_blank(self, write, name):
        assert self.refused(write(b"\n \n\n"), name)

    def test_absent(self, tmp_path, name):
        assert "'nowhere.csv' is not a file" in self.refused(tmp_path / "nowhere.csv", name, RecordUnreadable)

    def test_folder(self, tmp_path, name):
        assert "is not a file" in self.refused(tmp_path, name, RecordUnreadable)

    def test_device(self, name):
        assert "is not a file" in self.refused("/dev/zero", name, RecordUnreadable)

    def test_path_that_is_none(self, name):
        assert "is not a file" in self.refused("a\0b", name, RecordUnreadable)

    def test_forbidden(self, write, name, monkeypatch):
        path = write(PLAIN)

        def forbid(*_: object, **__: object):
            raise PermissionError(13, "Permission denied")

        # Root may read everything, so the refusal of the system is played.
        monkeypatch.setattr(type(path), "open", forbid)
        assert "cannot be opened" in self.refused(path, name, RecordUnreadable)

    def test_binary(self, write, name):
        assert self.refused(write(PNG), name)

    def test_over_the_limit(self, write, name):
        assert "has 56 bytes, more than the limit of 55" in self.refused(
            write("x" * 56), name, RecordTooLarge, max_bytes=55
        )

    def test_sparse_file_over_the_limit_is_not_read(self, tmp_path, name):
        path = tmp_path / "sparse.csv"
        with path.open("wb") as stream:
            stream.truncate(MAX_BYTES + 1)
        assert f"has {MAX_BYTES + 1} bytes" in self.refused(path, name, RecordTooLarge)
        # A terabyte would not fit into memory: the size alone decides.
        with path.open("wb") as stream:
            stream.truncate(10**12)
        assert "more than the limit of 64000000" in self.refused(path, name, RecordTooLarge)


@pytest.mark.parametrize("name", [None, "csv"])
@pytest.mark.parametrize(
    ("content", "said"),
    [
        # Latin-1 in a comment, in a header after CRLF, a cut-off letter at the end, a lone surrogate, NUL far down.
        ("# h\xf6he\n".encode("latin-1") + PLAIN.encode(), "line 1: byte 3 is 0xF6, which is not UTF-8"),
        (b"# a\r\ntime,h\xe9\r\n2026-01-01 00:00,1\r\n", "line 2: byte 11 is 0xE9, which is not UTF-8"),
        (PLAIN.encode() + b"# \xe2\x82", "line 4: byte 56 is 0xE2, which is not UTF-8"),
        (PLAIN.encode() + b"# \xed\xa0\x80", "line 4: byte 56 is 0xED"),
        (b"0,1\n" * 20_000 + b"1,\x00\n", "line 20001: byte 80002 is 0x00, which no text file holds"),
    ],
)
def test_refuses_text_that_is_not_utf_8_and_says_where(write, content, said, name):
    with pytest.raises(RecordUnreadable, match=said):
        read_gauge(write(content), name, **SAID)


def test_readers_never_raise_while_they_recognise(write):
    from tidecore.gauges.source import Source

    for content in (PNG, b"\xff\xfe", b",", b"\n", b'"', b"CDF\x01", b"2026,1,1,0,1" * 9000, b'"a,b\n1,2\n'):
        source = Source("invented", content)
        for reader in READERS:
            assert int(reader.recognise(source)) in (0, 1, 2)
