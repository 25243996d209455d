"""CSV of somebody else: their columns, dates, numbers and letters, and a header that says what cannot be read."""

from __future__ import annotations

import pytest

from service.errors import FileUnreadable
from service.imports.cells import clock_cell, day_cell, json_cell, list_cell, moment_cell, number_cell, text_cell
from service.imports.formats import read_rows
from service.imports.mapping import ColumnMapping
from tidecore.errors import InvalidInput

COLUMNS = {
    "date": day_cell, "at": moment_cell, "hours.from": clock_cell, "mark": text_cell, "length.cm": number_cell,
    "beds": list_cell, "bites": json_cell, "caught.*": number_cell, "fate": text_cell, "rods": number_cell,
}  # fmt: skip


@pytest.fixture
def rows(tmp_path):
    def read(text, letters="utf-8", /, **mapping):
        path = tmp_path / "rows.csv"
        path.write_bytes(text.encode(letters))
        said = ColumnMapping.parse(mapping) if mapping else None
        return list(read_rows("csv", path, COLUMNS, said))

    return read


@pytest.fixture
def read(rows):
    return lambda *text, **mapping: [row.document for row in rows(*text, **mapping)]


def test_their_columns_lead_to_ours(read):
    text = (
        "Tag;Zeit;Ort;Länge;Dorsch;Butt;Wetter;Luft\r\n"
        '5.6.98;5.6.98 18.30;"Große; Mole";47,5;3;;heiter;12\r\n'
        " ;;;;;;;\r\n"
        '05.06.2004;;Steg;"104,5 m";;x;"zwei\nZeilen";\r\n'
    )
    mapping = {
        "columns": {
            "Tag": "date", "Zeit": "at", "Ort": "mark", "Länge": "length.cm", "Dorsch": "caught.cod",
            "Butt": "caught.Platichthys flesus",
        },
        "ignore": ["Wetter", "Lu*"], "constants": {"rods": 2, "fate": "kept"}, "values": {"mark": {"Steg": "jetty"}},
        "client_ref_from": ["Tag", "Ort"], "skip_without": "Tag", "date_format": "DD.MM.YY", "decimal": ",",
        "delimiter": ";", "encoding": "latin-1", "time_zone": "mark",
    }  # fmt: skip
    assert read(text, "latin-1", **mapping) == [
        {
            "date": "1998-06-05", "at": "1998-06-05T18:30", "mark": "Große; Mole", "length": {"cm": 47.5},
            "caught": {"cod": 3.0}, "rods": 2, "fate": "kept", "client_ref": "5.6.98 Große; Mole",
        },
        # What cannot be read stands as it is, for the document to say what is wrong with it.
        {
            "date": "05.06.2004", "mark": "jetty", "length": {"cm": "104,5 m"}, "caught": {"Platichthys flesus": "x"},
            "rods": 2, "fate": "kept", "client_ref": "05.06.2004 Steg",
        },
    ]  # fmt: skip


def test_a_point_among_numbers_with_commas_is_refused(rows):
    text = "client_ref;length.cm;caught.cod\na;1.250;\nb;1.047,5;2\nc;-1,5;1.5\nd;n.a.;2\ne;ten;3\n"
    read = rows(text, delimiter=";", decimal=",", values={"length.cm": {"ten": "10.5"}})
    assert [[fault.field for fault in row.faults] for row in read] == [
        ["length.cm"], ["length.cm"], ["caught.cod"], [], [],
    ]  # fmt: skip
    assert "'1.250', which has a point" in read[0].faults[0].problem
    assert [row.document["length"] for row in read] == [{}, {}, {"cm": -1.5}, {"cm": "n.a."}, {"cm": 10.5}]
    # Without such a mapping a comma is no part of a number.
    assert rows('client_ref,length.cm\na,"1,250"\nb,1.250\n')[0].document["length"] == {"cm": "1,250"}


@pytest.mark.parametrize(
    ("form", "written"),
    [("YYYY-MM-DD", "2019-11-5"), ("DD/MM/YYYY", "5/11/2019"), ("MM/DD/YY", "11/05/19"), ("YYYY.DD.MM", "2019.05.11")],
)
def test_dates_are_read_as_they_are_said_to_be(read, form, written):
    assert read(f"client_ref,date\na,{written}\n", date_format=form)[0]["date"] == "2019-11-05"


def test_a_time_with_an_offset_keeps_it(read):
    text = "client_ref,at,hours.from\na,2025-06-01T18:30:00+02:00,6.05\nb,2025-06-01T18:30Z,0630\n"
    first, second = read(text, time_zone="mark")
    assert (first["at"], first["hours"], second["at"]) == (
        "2025-06-01T18:30:00+02:00", {"from": "06:05"}, "2025-06-01T18:30Z",
    )  # fmt: skip
    assert second["hours"] == {"from": "0630"}
    text = "client_ref,at,hours.from\na,1.6.2025 6.30 +02:00,6.05+01:00\nb,noon or so,5-6 h\nc,early z,9:00z\n"
    read = read(text, time_zone="mark", date_format="DD.MM.YYYY")
    assert [(one["at"], one["hours"]["from"]) for one in read] == [
        ("2025-06-01T06:30+02:00", "06:05+01:00"), ("noon or so", "5-6 h"), ("early z", "09:00Z"),
    ]  # fmt: skip


def test_a_guarded_text_comes_back_as_it_was(read):
    text = "client_ref,mark,length.cm,fate\n'=a,'+5,-5,''=b\n"
    assert read(text) == [{"client_ref": "=a", "mark": "+5", "length": {"cm": -5.0}, "fate": "'=b"}]
    assert read("client_ref,mark\n'a,'\n") == [{"client_ref": "'a", "mark": "'"}]


def test_a_line_break_within_a_cell_is_a_line_feed(read):
    text = 'client_ref,mark,fate\r\na,"one\r\ntwo\n\r\nthree",kept\r\n"b\rc",x,kept\r\n'
    assert read(text) == [
        {"client_ref": "a", "mark": "one\ntwo\n\nthree", "fate": "kept"},
        {"client_ref": "b\rc", "mark": "x", "fate": "kept"},
    ]


@pytest.mark.parametrize(
    ("header", "mapping", "says"),
    [
        ("client_ref,Wind,Moon", {"ignore": ["M"]}, "the header names columns 'Wind', 'Moon'"),
        ("client_ref,date", {"columns": {"Day": "date"}}, "the header has no column 'Day', which the mapping names"),
        ("date,mark", {"client_ref_from": ["Mark"]}, "the header has no column 'Mark'"),
        ("date,mark", {"delimiter": ";"}, "the header names a column 'date,mark'"),
        ("date,mark", {"decimal": ","}, "the header has no column client_ref"),
        ("client_ref,mark,Ort", {"columns": {"Ort": "mark"}}, "the header names a column twice"),
        ("client_ref,mark", {"constants": {"mark": "x"}}, "the header says 'mark' twice"),
    ],
)
def test_a_header_that_cannot_be_read_says_why(read, header, mapping, says):
    with pytest.raises(FileUnreadable, match="line 1") as refused:
        read(header + "\n", **mapping)
    assert refused.value.reason.startswith(says)


def test_other_letters_than_said_are_refused_with_their_place(read):
    with pytest.raises(FileUnreadable, match="line 2: byte 4 is not UTF-8"):
        read("client_ref,mark\na,Mü\n", "latin-1")
    assert read("client_ref,mark\na,Mü\n", "utf-8-sig", encoding="utf-8-sig") == [{"client_ref": "a", "mark": "Mü"}]


@pytest.mark.parametrize(
    ("text", "delimiter", "line", "problem", "between"),
    [
        ('a;"x;1\nb;y;2\n', ";", 2, None, "semicolons"),
        ('a,"x\n",2\nb,"y"", ""\n\n', ",", 4, None, "commas"),
        ('a|b|"x\n""y"|"z\nb|y|2\n', "|", 3, None, "bars"),
        ('a\t5" pipe\t2\nb\t"y"x\t2\n', "\t", 3, "'\t' expected after '\"'", "tabs"),
    ],
)  # fmt: skip
def test_a_quote_that_does_not_close_is_told_where_it_opens(read, text, delimiter, line, problem, between):
    with pytest.raises(FileUnreadable) as refused:
        read(f"client_ref{delimiter}mark{delimiter}date\n{text}", delimiter=delimiter)
    what = problem or "a quote opens here that does not close"
    assert str(refused.value).startswith(f"line {line}: this is no CSV: {what}; expected cells between {between}, ")


def test_a_row_of_another_width_keeps_its_name(rows):
    text = "client_ref,mark,date\n'=a,x\n b ,x,y,z\n,x\n"
    assert [row.document for row in rows(text)] == [{"client_ref": "=a"}, {"client_ref": " b "}, {}]
    text = "date,mark,fate\n 1 ,x\n2\n"
    assert [row.document for row in rows(text, client_ref_from=["date", "mark"])] == [{"client_ref": "1 x"}, {}]
    assert [row.document for row in rows("mark,client_ref,date\nx\nx,y\n")] == [{}, {"client_ref": "y"}]


def test_a_cell_that_is_no_json_is_called_so(rows):
    read = rows('client_ref,bites\na,[oops]\nb,"[""whole""]"\nc,NaN\n')
    assert [row.faults[0].problem for row in read if row.faults] == [
        "is '[oops]', which is no JSON", "is 'NaN', which is no JSON",
    ]  # fmt: skip
    assert read[1].document["bites"] == ["whole"]


def test_all_that_is_wrong_with_a_mapping_is_said_at_once():
    with pytest.raises(InvalidInput) as refused:
        ColumnMapping.parse({"date_format": "DD.DD.YY", "time_zone": "Atlantis/Deep", "decimal": "-", "column": {}})
    assert {one.field for one in refused.value.faults} == {"date_format", "time_zone", "decimal", "column"}
    with pytest.raises(InvalidInput) as refused:
        ColumnMapping.parse(
            {
                "columns": {"a": "mark", "b": "mark", "c": "client_ref"},
                "constants": {"mark": 1},
                "client_ref_from": ["a"],
            }
        )
    assert [one.field for one in refused.value.faults] == [
        "columns.b", "constants.mark", "client_ref_from",
    ]  # fmt: skip
    mapping = ColumnMapping.parse({"columns": {"x": "depth", "y": "caught.cod"}, "values": {"caught": {}}})
    assert [flaw.path for flaw in mapping.strangers(COLUMNS)] == [("columns", "x"), ("values", "caught")]
