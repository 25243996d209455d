"""IOC tables."""

from __future__ import annotations

from typing import Any

import pytest

from tests.tidecore.gauges.samples import ioc
from tidecore.errors import HintMissing, RecordAmbiguous, RecordUnreadable, UnknownName
from tidecore.gauges import read_gauge

FILE = ioc(3)
TWO = ioc(3, ("prs(m)", "rad(m)"))


def test_reads_what_the_page_states(write):
    record = read_gauge(write(FILE), datum="unknown")
    names = ("format", "unit_given", "utc_offset_h", "station", "variable", "rows")
    assert [record.attrs[name] for name in names] == ["ioc-table", "m", 0.0, "Tarrowick, Inv.", "rad(m)", 3]
    assert record["quality"].values.tolist() == [2, 2, 2]
    assert str(record["time"].values[2])[:19] == "2026-03-01T02:00:00"


def test_seconds_are_left_as_they_are(write):
    record = read_gauge(write(FILE.replace("01:00:00", "00:00:45")), datum="unknown")
    assert [str(time)[11:19] for time in record["time"].values] == ["00:00:00", "00:00:45", "02:00:00"]


def test_an_empty_cell_is_missing(write):
    for cell in ("", "&nbsp;", " "):
        text = ioc(3).replace(
            "</td></tr></table>", "</td></tr><tr><td>2026-03-01 05:00:00</td><td>" + cell + "</td></tr></table>"
        )
        assert read_gauge(write(text), datum="unknown")["quality"].values.tolist() == [2, 2, 2, 9]


def test_several_sensors_need_a_word(write):
    with pytest.raises(RecordAmbiguous, match=r"the sea level could be prs\(m\) or rad\(m\); say which with level="):
        read_gauge(write(TWO), datum="unknown")
    for name in ("prs", "prs(m)"):
        assert read_gauge(write(TWO), datum="unknown", level=name).attrs["variable"] == "prs(m)"
    with pytest.raises(UnknownName, match="'enc'"):
        read_gauge(write(TWO), datum="unknown", level="enc")


def test_a_battery_is_no_level(write):
    text = ioc(3, ("rad(m)", "bat(V)"))
    assert read_gauge(write(text), datum="unknown").attrs["variable"] == "rad(m)"
    with pytest.raises(RecordUnreadable, match=r"the column 'bat\(V\)' has no unit of length"):
        read_gauge(write(text), datum="unknown", level="bat")
    with pytest.raises(RecordUnreadable, match="expected a sensor with a unit"):
        read_gauge(write(ioc(3, ("bat(V)",))), datum="unknown")


def test_datum_must_be_said_and_hints_agree(write):
    with pytest.raises(HintMissing, match=r"datum is not given; give .*zero of the sensor"):
        read_gauge(write(FILE))
    contradicting: list[dict[str, Any]] = [{"unit": "ft"}, {"zone": "UTC+1"}]
    for hints in contradicting:
        with pytest.raises(RecordAmbiguous):
            read_gauge(write(FILE), datum="unknown", **hints)
    assert read_gauge(write(FILE), datum="unknown", unit="m", zone="UTC").attrs["rows"] == 3


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("</table>", "", "no end of its table; expected one whole table; the page may be cut off"),
        ("</table>", "</table><table></table>", "the page has 2 tables"),
        ("2026-03-01 01:00:00", "2026-03-01 25:00:00", "^row 2: the hour is 25"),
        ("2026-03-01 01:00:00", "01.03.2026", "^row 2: the time is '01.03.2026'"),
        ("2026-03-01 01:00:00</td>", "2026-03-01 01:00:00</td><td>1</td>", "^row 2: the row has 3 cells; expected 2"),
        ("2026-03-01 01:00:00</td><td>", "2026-03-01 01:00:00</td><td>?", "^row 2: the level is '\\?"),
        ("2026-03-01 01:00:00", "2026-03-01 01:00:00Z", "^row 1: the time has no offset"),
    ],
)
def test_refuses_what_breaks_the_format(write, old, new, said):
    assert old in FILE
    with pytest.raises(RecordUnreadable, match=said):
        read_gauge(write(FILE.replace(old, new)), datum="unknown")


def test_refuses_a_page_without_rows(write):
    with pytest.raises(RecordUnreadable, match="no row below its names"):
        read_gauge(write(ioc(0)), datum="unknown")
    with pytest.raises(RecordUnreadable, match="states no zone"):
        read_gauge(write(FILE.replace("Time (UTC)", "Time (local)")), "ioc-table", datum="unknown")
    with pytest.raises(RecordUnreadable, match="does not begin with its names"):
        read_gauge(write("<table><tr><td>NO DATA</td></tr></table>"), "ioc-table", datum="unknown")
    with pytest.raises(RecordUnreadable, match="the page has 0 tables"):
        read_gauge(write("<p>NO DATA</p>"), "ioc-table", datum="unknown")


def test_the_export_as_csv_is_plain_csv(write):
    # The order of its dates is nowhere said, and 9/10/20 is either.
    text = "\ufeffTime (UTC),prs(m)\r\n9/10/26 21:32,0.573\r\n9/10/26 21:37,0.553\r\n"
    with pytest.raises(HintMissing, match=r"time_format is not given.*'9/10/26 21:32'"):
        read_gauge(write(text), datum="unknown")
    for form, day in (("%m/%d/%y %H:%M", "2026-09-10"), ("%d/%m/%y %H:%M", "2026-10-09")):
        record = read_gauge(write(text), datum="unknown", time_format=form)
        assert (record.attrs["format"], record.attrs["unit_given"], record.attrs["utc_offset_h"]) == ("csv", "m", 0.0)
        assert str(record["time"].values[0])[:10] == day
