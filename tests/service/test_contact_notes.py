"""Notes for whoever stays at home: what they say, what they never leave out, and their alarms."""

from __future__ import annotations

import zoneinfo
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import icalendar
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from service.errors import DocumentInvalid
from service.exports.contact_note import MOST_CHARACTERS, ContactFacts, contact_note
from service.exports.icalendar import Alarm, alarm_calendar
from tests.service.problems import problem
from tests.service.rfc5545 import read_calendar
from tests.service.test_peg_plans import HOURS, forecast, make_mark

OUTING = {
    "arrive": "2026-06-03T18:00:00Z",
    "leave": "2026-06-03T22:00:00Z",
    "back_home": "2026-06-03T22:45:00Z",
    "who": "Ann Roe",
    "how_many": 2,
    "parking": "above the slip, blue van",
    "emergency_number": "112",
}
#: High water covers the gully in the evening.
GULLY = {"name": "gully", "lowest_sill_m": 3.5, "bed": "clean_sand", "length_m": 400.0}
MOMENT = datetime(2026, 6, 3, 18, 0, tzinfo=UTC)
FACTS = ContactFacts(
    who="Ann Roe",
    how_many=2,
    place="Long Beach",
    latitude=51.234567,
    longitude=-4.5,
    parking="above the slip, blue van",
    arrive=MOMENT,
    leave=MOMENT + timedelta(hours=4),
    back="at",
    turn_back=MOMENT + timedelta(hours=3, minutes=10),
    dry_until=MOMENT + timedelta(hours=5, minutes=45),
    overdue=MOMENT + timedelta(hours=5, minutes=45),
    emergency_number="112",
    phone_signal="none",
    zone=zoneinfo.ZoneInfo("Etc/GMT-1"),
)


def essentials(facts):
    """What must stand in every note."""
    local = facts.overdue.astimezone(facts.zone)
    people = "1 person" if facts.how_many == 1 else f"{facts.how_many} people"
    signal = {"none": "No phone", "patchy": "Patchy phone", "good": "Good phone", None: "Phone signal not known"}
    found = [facts.who, people, f"{facts.latitude:.3f}"[:-1], f"{facts.longitude:.3f}"[:-1], f"Car: {facts.parking}."]
    found += [f"call {facts.emergency_number}.", signal[facts.phone_signal], local.strftime("%H:%M"), str(local.day)]
    if facts.back == "at":
        found += ["Turn back by", facts.turn_back.astimezone(facts.zone).strftime("%H:%M")]
    else:
        words = {
            "past": "Turn-back was due over a day",
            "dry": "Way back expected dry until",
            "unknown": "Turn-back not known",
        }
        found.append(words[facts.back])
    return found


def test_a_note_says_all_in_words_that_anyone_reads():
    assert contact_note(FACTS) == (
        "Ann Roe, 2 people, fishing from the shore at Long Beach, Wed 3 Jun 19:00 to 23:00. Position 51.23457, "
        "-4.50000. Car: above the slip, blue van. Turn back by 22:10 Wed 3 Jun. If not home by 00:45 Thu 4 Jun call "
        "112. No phone signal."
    )


def test_what_is_less_needed_goes_first_and_whole():
    def note(**changes):
        return contact_note(replace(FACTS, **changes))

    long = [note(parking="p" * count) for count in range(1, 121)]
    assert "Wed 3 Jun 19:00 to 23:00" in long[0]
    gone = [
        (", Wed 3 Jun 19:00 to 23:00" not in text, "19:00 to 23:00" not in text, "Long Beach" not in text)
        for text in (note(parking="p" * count, who="w" * 25) for count in range(1, 118))
    ]
    assert gone == sorted(gone)
    assert (True, True, True) in gone
    assert {(True, False, False), (True, True, False)} & set(gone)


def test_a_note_too_long_is_refused_and_says_what_fits():
    with pytest.raises(DocumentInvalid) as caught:
        contact_note(replace(FACTS, who="w" * 110, parking="p" * 120))
    (fault,) = caught.value.faults
    assert fault.field == "parking"
    fits = int(fault.expected.split()[2])
    assert len(contact_note(replace(FACTS, who="w" * 110, parking="p" * fits))) == MOST_CHARACTERS
    with pytest.raises(DocumentInvalid):
        contact_note(replace(FACTS, who="w" * 110, parking="p" * (fits + 1)))


def test_clocks_that_change_in_the_outing_are_told_apart():
    zone = zoneinfo.ZoneInfo("Europe/London")
    late = datetime(2026, 10, 24, 23, 30, tzinfo=UTC)
    text = contact_note(
        replace(FACTS, zone=zone, arrive=late, leave=late + timedelta(hours=3), turn_back=late + timedelta(hours=1),
                overdue=late + timedelta(hours=2))
    )  # fmt: skip
    assert "Turn back by 01:30+01:00" in text
    assert "If not home by 01:30+00:00 Sun 25 Oct" in text


WORDS = st.text("abcdefghij éß東🎣,.;\\'-", min_size=1, max_size=120).filter(lambda text: text.strip() == text)


@settings(max_examples=150, deadline=None)
@given(
    WORDS,
    WORDS,
    st.integers(1, 99),
    st.sampled_from(["at", "past", "dry", "unknown"]),
    st.sampled_from([None, "none", "patchy", "good"]),
    st.floats(-90, 90),
    st.floats(-180, 180),
    st.sampled_from(["112", "+44 (0)1234 567890-12"]),
)
def test_no_note_is_longer_or_leaves_out_what_matters(who, parking, many, back, signal, latitude, longitude, number):
    facts = replace(
        FACTS,
        who=who,
        parking=parking,
        how_many=many,
        back=back,
        turn_back=FACTS.turn_back if back == "at" else None,
        phone_signal=signal,
        latitude=round(latitude, 2) + 0.0012,
        longitude=round(longitude, 2) + 0.0012,
        emergency_number=number,
    )
    try:
        text = contact_note(facts)
    except DocumentInvalid:
        # What cannot be left out is 175 characters at most.
        assume(len(who) + len(parking) <= 125)
        raise
    assert len(text) <= MOST_CHARACTERS
    assert text.endswith(".")
    for needed in essentials(facts):
        assert needed in text


@pytest.fixture(scope="module")
def gully(coastal):
    client, coast = coastal
    return client, make_mark(client, coast.station, way_back=[GULLY], phone_signal="patchy", name="Long, Beach; \\1")


def ask(client, mark, accept=None, **changes):
    headers = {} if accept is None else {"accept": accept}
    return client.post("/v1/sessions/contact-note", json={"mark_id": mark, **OUTING, **changes}, headers=headers)


def test_a_note_over_http_is_told_in_three_forms(gully):
    client, mark = gully
    found = ask(client, mark).json()
    assert found["overdue"] == "2026-06-03T23:45:00Z"
    assert found["characters"] == len(found["text"]) <= 300
    turned = found["turn_back"]
    assert turned["sill"] == "gully"
    assert turned["time"] is not None
    plain = ask(client, mark, "text/plain")
    assert plain.headers["content-type"] == "text/plain; charset=utf-8"
    assert plain.text == found["text"] + "\n"
    told = ask(client, mark, "text/calendar")
    assert told.headers["content-type"] == "text/calendar; charset=utf-8; method=PUBLISH"
    assert told.content == ask(client, mark, "text/calendar").content
    problem(ask(client, mark, "image/png"), 406, "not-acceptable")


def test_alarms_are_read_back_by_the_package_and_line_by_line(gully):
    client, mark = gully
    found = ask(client, mark).json()
    raw = ask(client, mark, "text/calendar").content
    calendar: Any = icalendar.Calendar.from_ical(raw)
    assert calendar["METHOD"] == "PUBLISH"
    events = calendar.walk("VEVENT")
    turned, overdue = events
    assert turned["DTSTART"].dt == datetime.fromisoformat(found["turn_back"]["time"]).replace(second=0)
    assert overdue["DTSTART"].dt == datetime(2026, 6, 3, 23, 45, tzinfo=UTC)
    assert [alarm["TRIGGER"].dt for alarm in turned.walk("VALARM")] == [timedelta(minutes=-15), timedelta(0)]
    assert [alarm["TRIGGER"].dt for alarm in overdue.walk("VALARM")] == [timedelta(0)]
    assert str(turned["DESCRIPTION"]) == found["text"]
    assert str(turned["LOCATION"]) == "Long, Beach; \\1"
    # The same again by a reader of lines that knows the standard and not the package.
    ours = read_calendar(raw)
    assert [name for name, _ in ours] == ["VCALENDAR", "VEVENT", "VALARM", "VALARM", "VEVENT", "VALARM"]
    for event, (_, lines) in zip(events, [one for one in ours if one[0] == "VEVENT"], strict=True):
        assert {"UID", "DTSTAMP", "DTSTART", "SUMMARY", "GEO", "TRANSP"} <= set(lines)
        assert lines["DESCRIPTION"] == found["text"]
        assert lines["LOCATION"] == "Long, Beach; \\1"
        assert lines["DTSTART"] == event["DTSTART"].dt.strftime("%Y%m%dT%H%M%SZ")
        assert lines["UID"] == str(event["UID"])


def test_alarms_are_the_same_when_they_are_made_again_and_not_those_of_another_outing(gully):
    client, mark = gully

    def uids(**changes):
        return [lines["UID"] for name, lines in read_calendar(ask(client, mark, "text/calendar", **changes).content)
                if name == "VEVENT"]  # fmt: skip

    plain = uids()
    assert len(set(plain)) == 2
    assert uids(leave="2026-06-03T22:30:00Z", parking="by the road") == plain
    assert not set(uids(arrive="2026-06-03T17:00:00Z")) & set(plain)


@settings(max_examples=100, deadline=None)
@given(st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Zl", "Zp")), max_size=200))
def test_any_text_comes_back_through_folding_and_escaping(text):
    alarm = Alarm(("one",), MOMENT, f"s{text}", f"d{text}")
    made = alarm_calendar([alarm], MOMENT, 50.0, -4.0, f"p{text}", "one.ics")
    (event,) = [lines for name, lines in read_calendar(made.content) if name == "VEVENT"]
    assert (event["SUMMARY"], event["DESCRIPTION"], event["LOCATION"]) == (f"s{text}", f"d{text}", f"p{text}")


def test_a_way_back_that_is_not_known_is_said_and_has_no_alarm(coastal):
    client, coast = coastal
    mark = make_mark(client, coast.station, told=False, way_back=[], phone_signal=None)
    found = ask(client, mark).json()
    assert found["turn_back"] is None
    assert "Turn-back not known." in found["text"]
    assert "Phone signal not known." in found["text"]
    assert found["not_assessed"] == ["turn-back not assessed: the mark does not tell the way back"]
    calendar = read_calendar(ask(client, mark, "text/calendar").content)
    assert [name for name, _ in calendar].count("VEVENT") == 1


def test_going_when_it_is_too_late_is_warned_of(coastal):
    client, coast = coastal
    low = GULLY | {"lowest_sill_m": 1.5}
    mark = make_mark(client, coast.station, told=False, way_back=[low])
    found = ask(client, mark).json()
    assert found["cautions"][0].startswith("do not go")
    assert ", before arriving. If not home" in found["text"]
    assert "Turn back by" not in found["text"]
    asked = {"mark_id": mark, "start": OUTING["arrive"], "end": OUTING["leave"]}
    plan = client.post("/v1/sessions/peg-plan", json=asked).json()
    assert any(one.startswith("Turning back was due at") for one in plan["sentences"])


def test_a_sill_that_is_never_dry_has_no_time_at_which_turning_back_was_due(coastal):
    client, coast = coastal
    mark = make_mark(client, coast.station, told=False, way_back=[GULLY | {"lowest_sill_m": -40.0}])
    found = ask(client, mark).json()
    assert found["turn_back"]["already_covered"] is True
    assert found["cautions"][0].startswith("do not go")
    assert "Turn-back was due over a day before arriving." in found["text"]


def test_low_pressure_turns_one_back_as_early_as_a_surge_that_is_given(coastal):
    client, coast = coastal
    mark = make_mark(client, coast.station, told=False, way_back=[GULLY])
    alone, lifted = ask(client, mark).json(), ask(client, mark, surge_m=0.3).json()
    assert any(one.startswith("surge not assessed") for one in alone["not_assessed"])
    # 30 hPa under 1013.25 hPa are 0.30 m by the inverse barometer.
    told = {"mark_id": mark, **forecast(pressure_hpa=[983.25] * len(HOURS))}
    assert client.post("/v1/conditions", json=told).status_code == 201
    by_pressure = ask(client, mark).json()
    assert by_pressure["turn_back"] == lifted["turn_back"]
    assert by_pressure["turn_back"]["time"] < alone["turn_back"]["time"]
    assert not any(one.startswith("surge not assessed") for one in by_pressure["not_assessed"])


@pytest.mark.parametrize(
    ("changes", "slug", "field"),
    [
        ({"emergency_number": "call mum"}, "invalid-request", "emergency_number"),
        ({"how_many": 0}, "invalid-request", "how_many"),
        ({"who": ""}, "invalid-request", "who"),
        ({"who": "w\nw"}, "invalid-input", "who"),
        ({"back_home": "2026-06-03T21:00:00Z"}, "invalid-input", "back_home"),
        ({"back_home": "2026-06-09T21:00:00Z"}, "invalid-input", "back_home"),
        ({"parking": "p" * 120, "who": "w" * 110}, "invalid-input", "parking"),
        ({"leave": "2026-06-03T17:00:00Z"}, "invalid-span", "end"),
    ],
)
def test_what_makes_no_note_is_refused(gully, changes, slug, field):
    client, mark = gully
    problem(ask(client, mark, **changes), 422, slug, field)


@pytest.mark.parametrize(
    ("thresholds", "asked"),
    [({}, {}), ({"sill_margin_m": 1.0, "spare_min": 40.0}, {}), ({"spare_min": 0.0}, {"pace": 3.0, "surge_m": -0.5})],
)
def test_hazards_a_note_a_plan_of_pegs_and_now_tell_one_turn_back(gully, thresholds, asked):
    client, mark = gully
    first, last, whole = "2026-06-03T11:00:00Z", "2026-06-03T16:00:00Z", {"if-match": "*"}
    assert client.put("/v1/safety-thresholds", json=thresholds, headers=whole).status_code == 200
    try:
        note = ask(client, mark, arrive=first, leave=last, **asked).json()
        plan = client.post("/v1/sessions/peg-plan", json={"mark_id": mark, "start": first, "end": last, **asked}).json()
        now = client.get(f"/v1/marks/{mark}/now", params={"at": first, "until": last, **asked}).json()
    finally:
        assert client.put("/v1/safety-thresholds", json={}, headers=whole).status_code == 200
    due = note["turn_back"]["time"]
    assert due > first
    assert plan["turn_back"] == now["turn_back"] == note["turn_back"]
    assert f"Turn back by {due[11:16]}" in note["text"]
    for found in (plan, now):
        said = [one["text"] for one in found["hazards"] if one["kind"] == "cut_off"]
        assert said
        assert all(f"by {due[11:16]}" in one or f"due at {due[11:16]}" in one for one in said), said
    left = datetime.fromisoformat(due) - datetime.fromisoformat(first)
    assert now["shore"]["minutes_to_turn_back"] == pytest.approx(left.total_seconds() / 60.0, abs=0.1)


def test_a_note_of_who_means_to_have_left_tells_when_the_way_would_be_cut_off(gully):
    client, mark = gully

    def told(arrive: str, leave: str, home: str) -> str:
        times = {"arrive": arrive, "leave": leave, "back_home": home}
        return ask(client, mark, **{name: f"2026-06-03T{time}:00Z" for name, time in times.items()}).json()["text"]

    assert "Turn back by 14:54." in told("12:00", "13:00", "13:30")
    assert "Way back expected dry until 12:30." in told("11:00", "11:15", "11:30")
