from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.tidecore.conditions.cap_examples import ABDUCTION, ADVISORY, EARTHQUAKE, THUNDERSTORM
from tidecore.conditions import OfficialWarning, read_cap
from tidecore.errors import CoreError, InvalidInput, RecordTooLarge, RecordUnreadable


def test_the_advisory_of_the_standard():
    (warning,) = read_cap(ADVISORY)
    assert (warning.identifier, warning.sender, warning.msg_type) == ("43b080713727", "hsas@dhs.gov", "alert")
    assert warning.sent == datetime(2003, 4, 2, 19, 39, 1, tzinfo=UTC)
    assert (warning.event, warning.severity) == ("Homeland Security Advisory System Update", "severe")
    assert (warning.urgency, warning.certainty) == ("immediate", "likely")
    assert warning.headline == "Homeland Security Sets Code ORANGE"
    # Neither effective nor expires: it counts from when it was sent, and for a day.
    assert warning.in_force_from == warning.sent
    assert warning.in_force_until == datetime(2003, 4, 3, 19, 39, 1, tzinfo=UTC)
    assert [area.description for area in warning.areas] == ["U.S. nationwide and interests worldwide"]
    assert warning.covers(50.0, -4.0) is None


def test_the_thunderstorm_of_the_standard():
    (warning,) = read_cap(THUNDERSTORM)
    assert warning.identifier == "KSTO1055887203"
    assert warning.in_force_from == datetime(2003, 6, 17, 21, 57, tzinfo=UTC)
    assert warning.in_force_until == datetime(2003, 6, 17, 23, 0, tzinfo=UTC)
    (area,) = warning.areas
    assert area.polygons == (
        ((38.47, -120.14), (38.34, -119.95), (38.52, -119.74), (38.62, -119.89), (38.47, -120.14)),
    )
    assert warning.covers(38.48, -119.95) is True
    for outside in ((38.30, -119.95), (38.48, -120.2), (38.48, -119.7), (38.7, -119.9), (38.35, -120.10)):
        assert warning.covers(*outside) is False


def test_the_earthquake_of_the_standard_updates_its_first_report():
    (warning,) = read_cap(EARTHQUAKE)
    assert (warning.msg_type, warning.urgency, warning.severity) == ("update", "past", "minor")
    (reference,) = warning.references
    assert (reference.sender, reference.identifier) == ("trinet@caltech.edu", "TRI13970876.1")
    assert reference.sent == datetime(2003, 6, 12, 3, 30, tzinfo=UTC)
    (circle,) = warning.areas[0].circles
    assert (circle.latitude, circle.longitude, circle.radius_km) == (32.9525, -115.5527, 0.0)
    assert warning.covers(32.9525, -115.5527) is True
    assert warning.covers(32.96, -115.55) is False


def test_of_two_languages_the_one_asked_for_is_kept():
    (english,) = read_cap(ABDUCTION)
    assert (english.language, english.event, english.block) == ("en-US", "Child Abduction", 0)
    (spanish,) = read_cap(ABDUCTION, "es")
    assert (spanish.language, spanish.event, spanish.block) == ("es-US", "Abducción de Niño", 1)
    (first,) = read_cap(ABDUCTION, "fr")
    assert first == english


def test_blocks_that_warn_of_different_things_are_all_kept():
    second = ABDUCTION.replace(b"<severity>Severe</severity>", b"<severity>Minor</severity>", 1)
    assert [warning.severity for warning in read_cap(second)] == ["minor", "severe"]
    same_tongue = ABDUCTION.replace(b"es-US", b"en-US")
    assert [warning.block for warning in read_cap(same_tongue)] == [0, 1]


def test_a_cancel_may_have_no_block():
    message = EARTHQUAKE.replace(b"Update<", b"Cancel<")
    message = message[: message.index(b"<info>")] + b"</alert>"
    (warning,) = read_cap(message)
    assert (warning.msg_type, warning.severity, warning.areas) == ("cancel", "unknown", ())


@pytest.mark.parametrize("message", [ADVISORY, THUNDERSTORM, EARTHQUAKE, ABDUCTION])
def test_a_warning_goes_through_its_document(message):
    for warning in read_cap(message):
        assert OfficialWarning.parse(warning.to_document()) == warning


@pytest.mark.parametrize(
    ("old", "new", "fields"),
    [
        (b"Actual", b"Exercise", ["status"]),
        (b"Actual", b"Test", ["status"]),
        (b"Alert<", b"Ack<", ["msgType"]),
        (b"Public", b"Private", ["scope"]),
        (b"Actual</status>\n  <msgType>Alert", b"Draft</status>\n  <msgType>Error", ["status", "msgType"]),
        (b"<severity>Severe", b"<severity>Orange", ["severity"]),
        (b"2003-06-17T14:57:00-07:00", b"2003-06-17T14:57:00", ["sent"]),
        (b"<identifier>KSTO1055887203</identifier>", b"", ["identifier"]),
        (b"2003-06-17T16:00:00-07:00", b"2003-06-16T16:00:00-07:00", ["document"]),
        (b"Alert<", b"Update<", ["document"]),
        (b"38.47,-120.14 38.34", b"38.47,-120.15 38.34", ["areas.0.polygons.0"]),
        (b"38.47,-120.14 38.34,", b"38.47 38.34,", ["info.0.area.0.polygon"]),
        (b"38.47,-120.14", b"98.47,-120.14", ["areas.0.polygons.0.0.0", "areas.0.polygons.0.4.0"]),
    ],
)
def test_what_is_no_warning_is_refused_by_name(old, new, fields):
    assert old in THUNDERSTORM
    with pytest.raises(InvalidInput) as refused:
        read_cap(THUNDERSTORM.replace(old, new))
    assert [fault.field for fault in refused.value.faults] == fields


BOMB = b"""<?xml version="1.0"?><!DOCTYPE alert [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>
<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"><identifier>&b;</identifier></alert>"""


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "no XML"),
        (b"no warning", "no XML"),
        (THUNDERSTORM[:-20], "no XML"),
        (BOMB, "declares a document type"),
        (b'<!DOCTYPE alert SYSTEM "file:///etc/passwd"><alert/>', "declares a document type"),
        (THUNDERSTORM.replace(b"cap:1.2", b"cap:1.1"), "the root is 'urn:oasis:names:tc:emergency:cap:1.1 alert'"),
        (THUNDERSTORM.replace(b"UTF-8", b"KLINGON"), "no XML"),
        (THUNDERSTORM.replace(b"<contact>", b"<x>" * 30 + b"<contact>"), "too many elements"),
        (b'<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2">' + b"<x/>" * 100_001, "too many elements"),
    ],
)
def test_what_is_no_message_is_refused(content, said):
    with pytest.raises(RecordUnreadable, match=said):
        read_cap(content)


def test_a_message_may_not_be_too_large():
    with pytest.raises(RecordTooLarge):
        read_cap(THUNDERSTORM + b" " * 2_000_000)


@given(st.integers(0, len(THUNDERSTORM) - 1), st.binary(max_size=3))
def test_damage_anywhere_is_read_or_refused(place, other):
    damaged = THUNDERSTORM[:place] + other + THUNDERSTORM[place + len(other) :]
    try:
        found = len(read_cap(damaged))
    except CoreError:
        found = 0
    assert found in (0, 1)
    assert found == 1 or damaged != THUNDERSTORM


def test_a_polygon_over_the_date_line():
    ring = b"10,179 10,-179 12,-179 12,179 10,179"
    polygon = THUNDERSTORM[THUNDERSTORM.index(b"<polygon>") + 9 : THUNDERSTORM.index(b"</polygon>")]
    (warning,) = read_cap(THUNDERSTORM.replace(polygon, ring))
    assert [warning.covers(11.0, east) for east in (179.5, -179.5, 178.5, -178.5, 0.0)] == [
        True,
        True,
        False,
        False,
        False,
    ]
