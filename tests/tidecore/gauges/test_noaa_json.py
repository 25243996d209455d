"""NOAA JSON."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from tests.tidecore.gauges.samples import noaa, noaa_document
from tidecore.errors import HintMissing, RecordAmbiguous, RecordNotRecognised, RecordUnreadable
from tidecore.gauges import read_gauge

SAID: dict[str, Any] = {"unit": "ft", "zone": "UTC", "datum": "MLLW"}


def value(minute: int, level: str = "1.5", flags: str = "0,0,0,0", quality: str = "v") -> dict[str, str]:
    """Return one row."""
    return {"t": f"2026-03-01 00:{minute:02}", "v": level, "s": "0.01", "f": flags, "q": quality}


def answer(*rows: dict[str, Any], name: str = "data") -> str:
    """Return a document of rows."""
    return json.dumps({"metadata": {"id": "42", "name": "Tarrowick", "lat": "50.1", "lon": "-5.5"}, name: list(rows)})


def test_reads_levels_and_says_where_they_are_from(write):
    record = read_gauge(write(answer(value(0), value(6, "-2.25"))), **SAID)
    names = ("format", "product", "unit_given", "zone_given", "datum", "station", "latitude", "longitude")
    assert [record.attrs[name] for name in names] == [
        "noaa-json", "water level", "ft", "UTC", "MLLW", "Tarrowick (42)", 50.1, -5.5,
    ]  # fmt: skip
    assert record["sea_level"].values.tolist() == pytest.approx([1.5 * 0.3048, -2.25 * 0.3048])


def test_flags_become_qualities(write):
    rows = [
        value(0), value(6, quality="p"), value(12, flags="3,0,0,0", quality="p"), value(18, flags="1,0,0,0"),
        value(24, flags="0,1,0,0"), value(30, flags="0,0,1,0", quality="p"), value(36, flags="0,0,0,1"), value(42, ""),
    ]  # fmt: skip
    record = read_gauge(write(answer(*rows)), **SAID)
    assert record["quality"].values.tolist() == [1, 2, 2, 3, 3, 3, 3, 9]
    assert np.isnan(record["sea_level"].values[7])


@pytest.mark.parametrize("hint", ["unit", "zone", "datum"])
def test_states_nothing_itself(write, hint):
    with pytest.raises(HintMissing, match=f"{hint} is not given"):
        read_gauge(write(noaa(24)), **{**SAID, hint: None})


def test_predictions_are_a_record_of_their_own_product(write):
    text = '{ "predictions" : [\n{"t":"2026-03-01 00:00", "v":"0.905"},{"t":"2026-03-01 01:00", "v":"0.951"}]}\n'
    record = read_gauge(write(text), **SAID)
    assert (record.attrs["product"], record["quality"].values.tolist()) == ("predictions", [2, 2])


def test_high_and_low_waters_are_refused(write):
    text = '{"predictions":[{"t":"2026-03-01 00:12", "v":"0.905", "type":"L"}]}'
    with pytest.raises(RecordUnreadable, match="the answer holds high and low waters alone"):
        read_gauge(write(text), **SAID)


@pytest.mark.parametrize("hints", [{}, SAID])
def test_an_error_is_refused_in_its_own_words(write, hints):
    text = '{"error": {"message":"No data was found. This product may not be offered."}}'
    with pytest.raises(RecordUnreadable, match=r"an error that NOAA answered: 'No data was found\. This product"):
        read_gauge(write(text), **hints)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('{"units": "feet", "HarmonicConstituents": [{"name": "M2"}]}', "published constituents, which are no record"),
        ('{"units": "feet", "HarmonicConstituents": []}', "published constituents, which are no record"),
        ('{"count": 1, "units": null, "stations": [{"id": "42"}]}', "metadata of stations"),
    ],
)
def test_other_documents_are_refused_by_what_they_are(write, text, said):
    with pytest.raises(RecordUnreadable, match=said):
        read_gauge(write(text), **SAID)


def test_local_times_need_a_zone_that_knows_summer_time(write):
    document = noaa_document(2)
    document["data"] = [{"t": "2026-11-01 01:30", "v": "1.0"}, {"t": "2026-11-01 02:30", "v": "2.0"}]
    path = write(json.dumps(document))
    local = {**SAID, "zone": "America/New_York"}
    with pytest.raises(RecordAmbiguous, match="ambiguous_times"):
        read_gauge(path, **local)
    record = read_gauge(path, **local, ambiguous_times="earlier")
    assert str(record["time"].values[0])[:16] == "2026-11-01T05:30"
    assert record.attrs["times_shown_twice"] == 1
    assert read_gauge(path, **local, ambiguous_times="drop").attrs["rows"] == 1
    with pytest.raises(HintMissing, match="ambiguous_times cannot be 'both'"):
        read_gauge(path, **local, ambiguous_times="both")
    # A clock that skips this hour never showed it.
    document["data"] = [{"t": "2026-03-08 02:30", "v": "1.0"}]
    with pytest.raises(RecordUnreadable, match=r"^row 1: "):
        read_gauge(write(json.dumps(document)), **local)


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ([value(0), value(6, "x")], "^row 2: the level is 'x'"),
        ([value(0), value(66)], "^row 2: the minute is 66"),
        ([value(0), {**value(6), "t": "03/01/2026"}], "^row 2: the time is '03/01/2026'"),
        ([value(0), value(6, quality="z")], "^row 2: the quality is 'z'"),
        ([value(0), value(6, flags="0,0")], "^row 2: the flags are '0,0'"),
        ([value(0), {**value(6), "v": 1.5}], "a row is .*expected t, v, f and q that are texts"),
        ([value(0), {"t": "2026-03-01 00:06"}], "'data' is no list of rows"),
        ([value(0), value(6, "999")], "the level is 999 ft, "),
    ],
)
def test_refuses_broken_rows_and_says_where(write, rows, said):
    with pytest.raises(RecordUnreadable, match=said):
        read_gauge(write(answer(*rows)), **SAID)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (answer(value(0))[:-5], "the document breaks off or is no JSON at column"),
        ("[" * 100_000, "the document cannot be read"),
        ("[1, 2]", "the document is no object"),
        ("{}", "the document holds nothing; expected 'data' or 'predictions'"),
        ('{"data": []}', "'data' holds no row"),
        ('{"data": 5}', "'data' is no list of rows"),
        ('{"data": [], "predictions": []}', "the document holds 'data', 'predictions'"),
        ('{"data": [' + "9" * 5000 + "]}", "the document cannot be read"),
        ('{"error": "gone"}', "an error that NOAA answered: 'gone'"),
    ],
)
def test_refuses_other_json(write, text, said):
    with pytest.raises(RecordUnreadable, match=said):
        read_gauge(write(text), "noaa-json", **SAID)


def test_other_json_is_not_recognised(write):
    with pytest.raises(RecordNotRecognised):
        read_gauge(write('{"data": [{"time": "2026-03-01 00:00", "value": 1}]}'), **SAID)


def test_duplicates_and_disorder_are_counted(write):
    record = read_gauge(write(answer(value(6), value(0), value(6, flags="0,0,1,0"))), **SAID)
    assert (record.attrs["duplicates"], record.attrs["unsorted"]) == (1, 1)
    assert record["quality"].values.tolist() == [1, 3]
