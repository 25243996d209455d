"""The catch log as files: read back by readers that are not ours, and never worth more than was asked for."""

from __future__ import annotations

import csv
import io
import json
import math
import random
import xml.etree.ElementTree as ElementTree
import zipfile
from datetime import UTC, date, datetime

import pytest
from dwca.darwincore.terms import TERMS as READERS_TERMS
from dwca.read import DwCAReader

from service.exports.catch_log.archive import trip_archive
from service.exports.catch_log.darwin_core import EVENT_TERMS, MEASUREMENT_TERMS, OCCURRENCE_TERMS
from service.exports.catch_log.grid import blurred
from service.exports.catch_log.lines import trip_lines
from service.exports.catch_log.sheet import DIARY_COLUMNS, diary_sheet, trip_sheet
from service.exports.catch_log.things import Logged, MarkPlace
from service.exports.formulas import guarded, unguarded
from tidecore.catchlog import DiaryRow, TripRecord

DWC = "http://rs.tdwg.org/dwc/terms/"
#: Terms by the classes in which the Darwin Core maintenance group lists them for archives: files
#: build/xml/event_core_list.csv (commit 6e645c9), build/xml/occurrence_core_list.csv (1d8e9d2) and
#: build/extended_mof_list.csv (db0a54b) of https://github.com/tdwg/dwc, those of them that are used here typed off.
LISTED = {
    "event": {
        "eventID", "eventDate", "year", "month", "day", "verbatimEventDate", "samplingProtocol", "sampleSizeValue",
        "sampleSizeUnit", "samplingEffort", "eventRemarks", "locality", "decimalLatitude", "decimalLongitude",
        "geodeticDatum", "coordinateUncertaintyInMeters", "dataGeneralizations", "informationWithheld",
    },
    "occurrence": {
        "eventID", "occurrenceID", "basisOfRecord", "occurrenceStatus", "individualCount", "scientificName",
        "vernacularName", "eventDate", "vitality", "occurrenceRemarks", "dynamicProperties",
    },
    "measurement": {
        "occurrenceID", "measurementID", "measurementType", "measurementValue", "measurementUnit",
        "measurementAccuracy", "measurementMethod",
    },
}  # fmt: skip
#: Terms that are younger than the reader's own list.
YOUNGER = {DWC + "vitality"}
HERE = MarkPlace("mrk_1", "ledge", "Secret Ledge", 51.2345, -20.3711, "WET")
BASS = {"scientific_name": "Dicentrarchus labrax", "fao_code": "BSS", "local_name": "bass"}
COD = {"scientific_name": "Gadus morhua", "fao_code": "COD", "local_name": None}
SAID = '=HYPERLINK("x")'


def fished(**trip):
    return {
        "trip": {
            "mark": "mrk_1", "start": "2025-07-01T22:30:00Z", "end": "2025-07-02T02:30:00Z", "outcome": "fished",
            "target": [BASS, COD], "sea_seen": "slight", "notes": SAID, **trip,
        },
        "deployments": [
            {"ref": "left", "rod": "A", "start": "2025-07-01T22:30:00Z", "end": "2025-07-02T02:30:00Z",
             "reach": {"metres": 60, "known": "paced"}, "casts": [
                 {"out": "2025-07-01T22:40:00Z", "in": "2025-07-02T00:10:00Z"}]},
            {"ref": "right", "rod": "B", "start": "2025-07-01T22:30:00Z", "end": "2025-07-02T00:30:00Z", "casts": [
                {"out": "2025-07-01T22:40:00Z", "in": "2025-07-01T23:10:00Z"}]},
        ],
        "catches": [
            {"ref": "c1", "at": "2025-07-01T23:10:00Z", "deployment": "left", "species": BASS,
             "length": {"cm": 47.5, "kind": "total"}, "weight": {"grams": 1e-05, "how": "estimated"},
             "fate": "returned", "condition": "alive", "notes": 'Took, a "soft" crab,\nthen ran.'},
            {"ref": "+c2", "at": "2025-07-01T23:50:00Z", "species": BASS, "fate": "kept"},
        ],
    }  # fmt: skip


BLANK = {"trip": fished(outcome="blank", end=None, notes="")["trip"]}
LOST = {"trip": fished(outcome="not_fished", why_not="surf", end=None)["trip"]}


def logged(document, key="trp_1", **changes):
    stored = TripRecord.parse(document).to_document()
    return Logged(key, changes.get("external_ref"), 1, datetime(2025, 7, 3, tzinfo=UTC), stored, HERE)


LOG = [logged(fished()), logged(BLANK, "trp_2", external_ref="-blank"), logged(LOST, "trp_3")]


def rows_of(pieces):
    return list(csv.DictReader(io.StringIO(b"".join(pieces).decode(), newline="")))


def member(archive, name):
    with zipfile.ZipFile(archive) as zipped:
        return zipped.read(name).decode()


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    path = tmp_path_factory.mktemp("archive") / "log.zip"
    path.write_bytes(b"".join(trip_archive(LOG, 10.0, names=False)))
    return path


@pytest.mark.parametrize("text", ["=1", "+1", "-", "@a", "\ta", "\ra", "'=1", "''-", "'a", "a=1", "", "'", "-5.5"])
def test_the_guard_is_taken_off_again(text):
    assert unguarded(guarded(text)) == text
    assert guarded(text)[:1] not in ("=", "+", "-", "@", "\t", "\r")


def test_a_sheet_has_a_row_a_catch():
    first, second, blank, lost = rows_of(trip_sheet(LOG, names=False))
    assert (first["client_ref"], second["client_ref"], blank["client_ref"]) == ("c1", "'+c2", "")
    assert (first["trip"], blank["trip"], blank["trip_id"]) == ("trp_1", "'-blank", "trp_2")
    assert first["trip_notes"] == "'" + SAID
    assert first["notes"] == 'Took, a "soft" crab,\nthen ran.'
    # 22:30 and 23:10 UTC in summer are half past eleven of the same day, and past midnight.
    assert (first["trip_date_local"], first["at"], first["at_date_local"]) == (
        "2025-07-01", "2025-07-01T23:10:00Z", "2025-07-02",
    )  # fmt: skip
    assert (first["length.cm"], first["weight.grams"], first["trip_party"]) == ("47.5", "0.00001", "1")
    # Four hours and two of rods in use; an hour and a half and half an hour of bait in the water.
    assert (first["trip_rods"], first["trip_raw_rod_hours"], first["trip_bait_on_hours"]) == ("2", "6.0", "2.0")
    assert (first["deployment_rod"], first["deployment_reach_metres"], second["deployment_rod"]) == ("A", "60.0", "")
    assert (blank["trip_outcome"], lost["trip_why_not"]) == ("blank", "surf")
    assert (blank["trip_raw_rod_hours"], blank["trip_bait_on_hours"]) == ("", "")
    assert (lost["trip_raw_rod_hours"], lost["trip_bait_on_hours"]) == ("0.0", "0.0")
    assert {name.count("Secret") for row in (first, blank) for name in row.values()} == {0}
    assert rows_of(trip_sheet(LOG, names=True))[0]["mark_name"] == "Secret Ledge"


def test_lines_name_their_mark_as_an_import_finds_it():
    first, blank, _ = (json.loads(line) for line in b"".join(trip_lines(LOG)).splitlines())
    assert (first["client_ref"], blank["client_ref"], first["trip"]["mark"]) == ("trp_1", "-blank", "ledge")
    document = {name: value for name, value in first.items() if name != "client_ref"}
    assert TripRecord.parse(document) == TripRecord.parse(fished(mark="ledge"))


def test_a_diary_row_has_the_columns_of_its_import():
    document = DiaryRow.parse(
        {"date": "1998-11-05", "mark": "mrk_1", "tide": {"event": "high_water", "from_h": -2, "to_h": 2},
         "rods": 2, "caught": [{"species": COD, "count": 3}], "outcome": "fished", "notes": "-"}
    ).to_document()  # fmt: skip
    row = Logged("dia_1", "old-1", 1, datetime(2025, 1, 1, tzinfo=UTC), document, HERE)
    (found,) = rows_of(diary_sheet([row], names=False))
    assert tuple(found) == DIARY_COLUMNS
    assert (found["tide.from_h"], found["hours.from"], found["notes"]) == ("-2.0", "", "'-")
    assert json.loads(found["caught"]) == document["caught"]


def test_every_term_is_listed_by_the_standard():
    assert set(EVENT_TERMS) == LISTED["event"]
    assert set(OCCURRENCE_TERMS) == LISTED["occurrence"]
    assert set(MEASUREMENT_TERMS) == LISTED["measurement"] | {"eventID"}
    # The reader has a list of its own, of an earlier year and without measurements.
    used = {DWC + name for file in ("event", "occurrence") for name in LISTED[file]}
    assert used - set(READERS_TERMS) == YOUNGER


def test_an_independent_reader_reads_the_archive(archive):
    with DwCAReader(str(archive)) as read:
        assert read.descriptor.core.type == DWC + "Event"
        assert [one.file_location for one in read.descriptor.extensions] == ["occurrence.txt", "measurement.txt"]
        first, blank, lost = read.rows
        parts = {row.id: row.extensions for row in (first, blank, lost)}
    event = {name.removeprefix(DWC): value for name, value in first.data.items()}
    assert event["eventDate"] == "2025-07-01T22:30:00Z/2025-07-02T02:30:00Z"
    assert (event["sampleSizeValue"], event["sampleSizeUnit"]) == ("6.0", "rod-hour")
    assert event["samplingEffort"] == "2 rods, 6.00 rod-hours, 2.00 h of bait in the water"
    assert {blank.data[DWC + "samplingEffort"], lost.data[DWC + "samplingEffort"]} == {"not on record", "none"}
    assert lost.data[DWC + "eventRemarks"] == "not fished: surf"

    def told(row, *names, kind="Occurrence"):
        return [tuple(one.data[DWC + name] for name in names) for one in parts[row.id] if one.rowtype.endswith(kind)]

    status = ("occurrenceStatus", "scientificName", "individualCount")
    assert told(first, *status) == [
        ("present", "Dicentrarchus labrax", "1"), ("present", "Dicentrarchus labrax", "1"),
        ("absent", "Gadus morhua", "0"),
    ]  # fmt: skip
    assert told(blank, *status) == [("absent", "Dicentrarchus labrax", "0"), ("absent", "Gadus morhua", "0")]
    assert told(lost, *status) == []
    measured = told(first, "measurementType", "measurementValue", "measurementUnit", "occurrenceID", kind="Fact")
    assert ("total length", "47.5", "cm", "trp_1:c1") in measured
    assert ("distance of the bait from the waterline", "60.0", "m", "trp_1:c1") in measured
    ids = [one for row in (first, blank) for (one,) in told(row, "occurrenceID")]
    assert len(set(ids)) == len(ids) == 5


def test_an_archive_gives_neither_name_nor_place_nor_notes_away(archive):
    whole = "".join(member(archive, name) for name in ("event.txt", "occurrence.txt", "measurement.txt", "eml.xml"))
    for secret in ("Secret", "51.2345", "20.3711", "HYPERLINK", "soft", "mrk_1", "ledge"):
        assert secret not in whole
    named = b"".join(trip_archive(LOG, 10.0, names=True))
    assert named != archive.read_bytes()
    assert b"".join(trip_archive(LOG, 10.0, names=False)) == archive.read_bytes()


def test_the_metadata_is_well_formed_and_complete(archive):
    dataset = ElementTree.fromstring(member(archive, "eml.xml")).find("dataset")
    # In the order of the schema of EML 2.1.1: eml-resource, then eml-dataset.
    assert dataset is not None
    assert [one.tag for one in dataset] == [
        "title", "creator", "metadataProvider", "pubDate", "language", "abstract", "intellectualRights", "coverage",
        "contact", "methods",
    ]  # fmt: skip
    assert dataset.findtext("coverage/temporalCoverage/rangeOfDates/beginDate/calendarDate") == "2025-07-01"


@pytest.mark.parametrize("trips", [LOG, []], ids=["a log", "no trip"])
def test_the_metadata_has_what_the_schema_requires(trips):
    """By the modules eml, eml-resource, eml-dataset, eml-party, eml-coverage and eml-methods of EML's schema, as the
    NCEAS publishes it: what has no ``minOccurs`` of 0 there, and the order of the sequences."""
    with zipfile.ZipFile(io.BytesIO(b"".join(trip_archive(trips, 10.0, names=False)))) as archive:
        root = ElementTree.fromstring(archive.read("eml.xml"))
    assert root.tag == "{eml://ecoinformatics.org/eml-2.1.1}eml"
    assert all(root.get(name, "").strip() for name in ("packageId", "system"))
    assert root.get("scope") in ("system", "document")
    assert [one.tag for one in root] == ["dataset"]
    (dataset,) = root
    # A party has at least one name: of a person, an organisation or a position. Those of the dataset are required.
    for name in ("title", "creator", "contact"):
        assert dataset.find(name) is not None, name
    for party in (one for name in ("creator", "metadataProvider", "contact") for one in dataset.findall(name)):
        assert {one.tag for one in party} & {"individualName", "organizationName", "positionName"}
        assert all((one.text or "").strip() for one in party)
    assert all("".join(one.itertext()).strip() for one in dataset), "an element says nothing"
    for text in ("abstract", "intellectualRights", "methods/methodStep/description"):
        assert {one.tag for one in dataset.findall(f"{text}/*")} <= {"para", "section"}
        assert dataset.find(f"{text}/para") is not None
    geographic, temporal = (dataset.find(f"coverage/{name}Coverage") for name in ("geographic", "temporal"))
    assert (geographic is not None, temporal is not None) == (bool(trips), bool(trips))
    if geographic is None or temporal is None:
        return
    assert [one.tag for one in geographic] == ["geographicDescription", "boundingCoordinates"]
    sides = [(one.tag, float(one.text or "")) for one in geographic[1]]
    assert [name for name, _ in sides] == [f"{side}BoundingCoordinate" for side in ("west", "east", "north", "south")]
    west, east, north, south = (value for _, value in sides)
    assert -180.0 <= west <= east <= 180.0
    assert -90.0 <= south <= north <= 90.0
    days = [temporal.findtext(f"rangeOfDates/{end}Date/calendarDate") for end in ("begin", "end")]
    assert days == sorted(date.fromisoformat(day or "").isoformat() for day in days)


def test_a_cell_holds_its_positions_and_tells_them_alike():
    chance = random.Random(20261129)
    for _ in range(300):
        size = chance.choice([1.0, 10.0, 50.0, 500.0])
        place = (chance.uniform(-89.9, 89.9), chance.uniform(-180.0, 180.0))
        cell = blurred(*place, size)
        north, south = math.radians(place[0]), math.radians(cell.latitude)
        apart = math.radians(place[1] - cell.longitude)
        cosine = math.sin(north) * math.sin(south) + math.cos(north) * math.cos(south) * math.cos(apart)
        # The spherical law of cosines, on the largest radius of the ellipsoid.
        away = 6_378_137.0 * math.acos(min(1.0, cosine))
        assert away <= cell.uncertainty_m <= 1000.0 * size * 1.2
        # The middle is its own cell's: nothing more is learnt by blurring again.
        assert blurred(cell.latitude, cell.longitude, size) == cell
