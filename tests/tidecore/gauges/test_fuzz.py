"""Whatever the file and whatever the hints: a record, or an error of tidecore's own that says what is wrong."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tidecore.gauges.samples import SAMPLES
from tidecore.errors import CoreError
from tidecore.gauges import formats, gauge_reader, read_gauge

TABLE = b'when (UTC),"level (m)",flag\n' + b"".join(
    b"2026-03-%02d %02d:30,%d.25,%d\n" % (1 + hour // 24, hour % 24, hour % 5, hour % 3) for hour in range(60)
)
HOURLY = (
    b"".join(b"2026,3,%d,%d,%d\n" % (1 + hour // 24, hour % 24, 900 + hour) for hour in range(40))
    + b"2026,4,1,0,-32767\n"
)
SAID = {"time": 0, "level": 1, "unit": "m", "zone": "UTC", "datum": "unknown"}

#: Anything that a JSON document may hold, and words that mean something.
WORDS = ["time", "level", "%Y", "days since 2026-01-01", "Europe/London", "unix", "mm", ",", "drop", "\t"]
SCALARS = st.none() | st.booleans() | st.integers(-3, 10**9) | st.just(10**400) | st.floats() | st.text(max_size=12)
ANYTHING = st.recursive(
    SCALARS | st.sampled_from(WORDS),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["year", "month", "day", "hour", "x"]), inner, max_size=4)
    ),
    max_leaves=6,
)
PIECES = st.binary(max_size=6) | st.sampled_from([b"\n", b",", b'"', b"e9", b"-"])
CHANGES = st.lists(
    st.tuples(st.integers(0, len(HOURLY)), st.integers(0, 6), PIECES),
    min_size=1,
    max_size=4,
)


def changed(content: bytes, changes: list[tuple[int, int, bytes]]) -> bytes:
    """Return ``content`` with some bytes cut out and others put in."""
    for place, cut, put in changes:
        content = content[:place] + put + content[place + cut :]
    return content


def read_or_refuse(content: bytes, name: str | None, hints: dict[str, Any]) -> bool:
    """Tell whether the content was read; any error but tidecore's own passes through and fails the test."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "record.csv"
        path.write_bytes(content)
        try:
            record = read_gauge(path, name, **hints)
        except CoreError:
            return False
    assert record.sizes["time"] == record.attrs["values"] + record.attrs["missing"] > 0
    return True


@given(changes=CHANGES)
def test_changed_tables(changes):
    read_or_refuse(changed(TABLE, changes), "csv", SAID)


@given(changes=CHANGES)
def test_changed_hourly_files(changes):
    read_or_refuse(changed(HOURLY, changes), None, {"datum": "unknown"})


@pytest.mark.parametrize("name", [None, *formats()])
@given(content=st.binary(max_size=200))
def test_any_bytes(name, content):
    read_or_refuse(content, name, SAID if name in (None, "csv") else {"datum": "unknown"})


@given(content=st.text(alphabet='0123456789-:,; \t"\n.#eT', max_size=120))
def test_any_text_that_looks_like_a_table(content):
    read_or_refuse(content.encode(), "csv", SAID)


@pytest.mark.parametrize("hint", [hint.name for hint in gauge_reader("csv").hints])
@settings(max_examples=40)
@given(value=ANYTHING)
def test_any_value_of_a_hint(hint, value):
    flags = {"flag": 2} if hint == "flag_bad" else {"flag_bad": 1} if hint == "flag" else {}
    read_or_refuse(TABLE, "csv", {**SAID, **flags, hint: value})


def test_the_unchanged_files_are_read():
    assert read_or_refuse(TABLE, None, SAID)
    assert read_or_refuse(HOURLY, None, {"datum": "unknown"})


#: A short record in each format that states things itself, and its hints.
TEXTS = {name: (sample(30).encode(), hints) for name, (sample, hints) in SAMPLES.items()}


@pytest.mark.parametrize("name", TEXTS)
def test_the_samples_are_recognised_and_read(name, tmp_path):
    content, hints = TEXTS[name]
    path = tmp_path / "record"
    path.write_bytes(content)
    assert read_gauge(path, **hints).attrs["format"] == name


@pytest.mark.parametrize("name", TEXTS)
@settings(max_examples=30)
@given(data=st.data())
def test_samples_cut_off_anywhere(name, data):
    content, hints = TEXTS[name]
    kept = content[: data.draw(st.integers(1, len(content) - 1))]
    for said in (name, None):
        read_or_refuse(kept, said, hints)


@pytest.mark.parametrize("name", TEXTS)
@settings(max_examples=30)
@given(data=st.data())
def test_changed_samples(name, data):
    content, hints = TEXTS[name]
    pieces = st.binary(max_size=6) | st.sampled_from(
        [b"\n", b",", b'"', b"e9", b"-", b"\t", b"<td>", b"{", b"\xc3\xa9"]
    )
    place = st.integers(0, len(content))
    changes = data.draw(st.lists(st.tuples(place, st.integers(0, 20), pieces), min_size=1, max_size=4))
    for said in (name, None):
        read_or_refuse(changed(content, changes), said, hints)


@pytest.mark.parametrize("name", TEXTS)
@settings(max_examples=30)
@given(data=st.data())
def test_any_hint_of_a_sample(name, data):
    content, hints = TEXTS[name]
    hint = data.draw(st.sampled_from([hint.name for hint in gauge_reader(name).hints]))
    read_or_refuse(content, name, {**hints, hint: data.draw(ANYTHING)})
