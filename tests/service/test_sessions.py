"""Sessions, why not, comparisons and bait outings over HTTP."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise

import pytest

from service.api.v1.schemas import bait_outings, session_search, why_not
from tests.service.coast import example
from tests.service.problems import problem
from tidecore import NUMERICS

SEARCH = session_search.EXAMPLE
SPAN = {"start": SEARCH["start"], "end": SEARCH["end"]}
OPEN = {**SPAN, "limit": 50}


def search(coastal, **changes):
    client, coast = coastal
    body = {**OPEN, "mark_ids": [coast.mark], "rule_ids": [coast.rule], **changes}
    return client.post("/v1/sessions/search", json=body)


def instant(text):
    return datetime.fromisoformat(text)


def hours(session):
    return (instant(session["leave"]) - instant(session["arrive"])).total_seconds() / 3600


def test_sessions_are_ranked_and_explained(coastal):
    _, coast = coastal
    found = search(coastal, diverse=False).json()
    assert found["numerics"] == NUMERICS
    assert found["found"] == len(found["sessions"]) > 3
    worth = [one["worth_h"] for one in found["sessions"]]
    assert worth == sorted(worth, reverse=True)
    assert [one["rank"] for one in found["sessions"]] == list(range(1, len(worth) + 1))
    first = found["sessions"][0]["session"]
    assert first["mark_ids"] == [coast.mark]
    assert first["verdicts"]["safe"]["grade"] == "not_assessed"
    assert first["verdicts"]["safe"]["reasons"]
    assert first["verdicts"]["fishable"]["grade"] == "unknown"
    assert first["verdicts"]["feeding"]["rule_id"] == coast.rule
    leg = first["legs"][0]
    assert instant(first["arrive"]) < instant(leg["start"]) < instant(leg["end"]) < instant(first["leave"])
    assert leg["windows"]
    assert any(leg["mark_id"] == coast.mark and "arrive" in reason for reason in first["reasons"])
    assert all(2.99 <= hours(one["session"]) <= 5.01 for one in found["sessions"])


def test_a_session_lies_in_free_time_with_the_way(coastal):
    free = {"weekly": [{"weekdays": ["saturday"], "hours": {"from": "21:00", "to": "07:00"}}]}
    found = search(coastal, free_time=free, travel_min=30).json()
    assert found["sessions"]
    for one in found["sessions"]:
        away, home = instant(one["session"]["leave_home"]), instant(one["session"]["back_home"])
        evening = (away - timedelta(hours=12)).replace(hour=21, minute=0, second=0)
        assert evening.strftime("%A") == "Saturday"
        assert evening <= away < home <= evening + timedelta(hours=10)
        assert (instant(one["session"]["arrive"]) - away).total_seconds() == 1800


def test_a_mark_without_a_session_says_why(coastal):
    _, coast = coastal
    free = {"weekly": [{"weekdays": ["saturday"], "hours": {"from": "12:00", "to": "13:30"}}]}
    found = search(coastal, free_time=free).json()
    assert found["sessions"] == []
    assert found["without_session"][0]["mark_id"] == coast.mark
    assert "1 h 30 min" in " ".join(found["without_session"][0]["reasons"])


def test_changes_of_the_clocks_are_said(client):
    for name, path in (("create_station", "stations"), ("create_species_rule", "species-rules")):
        assert client.post(f"/v1/{path}", json=example(name)).status_code == 201
    assert client.post("/v1/marks", json={**example("create_mark"), "time_zone": "Europe/London"}).status_code == 201
    body = {
        "start": "2026-10-24T12:00:00Z",
        "end": "2026-10-25T12:00:00Z",
        "free_time": {"weekly": [{"weekdays": ["saturday"], "hours": {"from": "20:00", "to": "06:00"}}]},
        "most_h": 11.0,
        "least_h": 11.0,
    }
    found = client.post("/v1/sessions/search", json=body).json()
    (change,) = found["clock_changes"]
    assert (change["minutes"], change["time"]) == (-60.0, "2026-10-25T01:00:00Z")
    assert "twice" in change["sentence"]
    # From 20:00 to 06:00 are eleven hours of that night.
    (one,) = found["sessions"]
    assert (one["session"]["arrive"], one["session"]["leave"]) == ("2026-10-24T19:00:00Z", "2026-10-25T06:00:00Z")
    assert "twice" in " ".join(one["session"]["clock_changes"])


def between(first, last):
    return {"kind": "trapezoid", "from": first - 0.5, "full_from": first, "full_to": last, "to": last + 0.5}


def test_two_marks_are_fished_in_one_outing(client):
    assert client.post("/v1/stations", json=example("create_station")).status_code == 201
    marks, rules = [], []
    for name, bed, hours_from_lw in (("reef", "mussel", (-1.5, 0.25)), ("strand", "clean_sand", (1.0, 3.0))):
        mark = {**example("create_mark"), "name": name, "external_ref": name, "beds": [bed]}
        rule = {
            **example("create_species_rule"),
            "name": name,
            "external_ref": name,
            "beds": [bed],
            "require": [{"factor": "hours_from_lw", "shape": between(*hours_from_lw)}],
            "prefer": [],
        }
        marks.append(client.post("/v1/marks", json=mark).json()["id"])
        rules.append(client.post("/v1/species-rules", json=rule).json()["id"])
    drives = [{"from_mark_id": marks[0], "to_mark_id": marks[1], "minutes": 15}]
    body = {**OPEN, "end": "2026-06-03T00:00:00Z", "most_h": 7.0, "drives": drives, "diverse": False}
    first = client.post("/v1/sessions/search", json=body).json()["sessions"][0]["session"]
    assert first["mark_ids"] == marks
    reef, strand = first["legs"]
    assert instant(strand["arrive"]) - instant(reef["leave"]) == timedelta(minutes=15)
    assert [window["rule_id"] for leg in first["legs"] for window in leg["windows"]] == rules
    alone = client.post("/v1/sessions/search", json={**body, "drives": []}).json()["sessions"]
    assert {len(one["session"]["mark_ids"]) for one in alone} == {1}
    assert first["score_hours"] > alone[0]["session"]["score_hours"]
    # A drive to where one is leads nowhere.
    round_ = [{"from_mark_id": mark, "to_mark_id": mark, "minutes": 15} for mark in marks]
    assert client.post("/v1/sessions/search", json={**body, "drives": round_}).json()["sessions"] == alone


@pytest.mark.parametrize("by", ["mark", "species", "day"])
def test_lists_of_groups(coastal, by):
    found = search(coastal, by=by, each=1).json()
    groups = [one["group"] for one in found["sessions"]]
    assert len(set(groups)) == len(groups)
    assert {one["rank"] for one in found["sessions"]} == {1}
    if by == "day":
        assert groups == sorted(groups)
        assert groups == [one["session"]["date_local"] for one in found["sessions"]]


def test_the_sessions_of_a_plan_do_not_overlap(coastal):
    sessions = [one["session"] for one in search(coastal, plan=True, travel_min=60).json()["sessions"]]
    spans = sorted((instant(one["leave_home"]), instant(one["back_home"])) for one in sessions)
    assert spans
    assert all(later[0] >= earlier[1] for earlier, later in pairwise(spans))


def test_pages_make_the_whole_list(coastal):
    whole = search(coastal).json()
    assert whole["next_cursor"] is None
    found, cursor = [], None
    while True:
        page = search(coastal, limit=4, cursor=cursor).json()
        found += page["sessions"]
        cursor = page["next_cursor"]
        if cursor is None:
            break
    assert found == whole["sessions"]


def test_a_cursor_whose_inputs_changed_is_gone(client):
    for name, path in (
        ("create_station", "stations"),
        ("create_mark", "marks"),
        ("create_species_rule", "species-rules"),
    ):
        made = client.post(f"/v1/{path}", json=example(name))
        assert made.status_code == 201
    body = {**OPEN, "limit": 2}
    cursor = client.post("/v1/sessions/search", json=body).json()["next_cursor"]
    assert cursor
    again = {**body, "cursor": cursor}
    assert client.post("/v1/sessions/search", json=again).status_code == 200
    problem(client.post("/v1/sessions/search", json={**again, "least_h": 3.5}), 422, "cursor-invalid")
    problem(client.post("/v1/sessions/search", json={**body, "cursor": "bm9uZQ"}), 422, "cursor-invalid")
    rule = made.json()
    edited = client.patch(
        f"/v1/species-rules/{rule['id']}",
        json={"notes": "another"},
        headers={"if-match": made.headers["etag"], "content-type": "application/merge-patch+json"},
    )
    assert edited.status_code == 200, edited.text
    problem(client.post("/v1/sessions/search", json=again), 410, "cursor-outdated")


@pytest.mark.parametrize(
    ("changes", "slug", "field"),
    [
        ({"end": SPAN["start"]}, "invalid-span", "end"),
        ({"least_h": 6.0}, "invalid-input", "most_h"),
        ({"least_h": 0.0, "most_h": 0.5}, "invalid-input", "most_h"),
        ({"lull_min": -1}, "invalid-request", "lull_min"),
        ({"by": "colour"}, "invalid-request", "by"),
        ({"free_time": {}}, "invalid-input", "free_time"),
        ({"free_time": {"weekly": [{"hours": {"from": "25:00", "to": "26:00"}}]}}, "invalid-input", None),
        (
            {
                "free_time": {
                    "weekly": [{}],
                    "off": [{"dates": [{"from": "2026-06-06", "to": "2026-06-07"}]}],
                    "on": [
                        {
                            "dates": [{"from": "2026-06-07", "to": "2026-06-07"}],
                            "hours": {"from": "09:00", "to": "12:00"},
                        }
                    ],
                }
            },
            "invalid-input",
            "free_time",
        ),
        ({"travel": [{"mark_id": "mrk_0", "minutes": 5}]}, "invalid-input", "travel.0.mark_id"),
        ({"drives": [{"from_mark_id": "mrk_0", "to_mark_id": "mrk_1", "minutes": 5}]}, "invalid-input",
         "drives.0.from_mark_id"),
        ({"limit": 0}, "invalid-request", "limit"),
        ({"tz": "Nowhere/None"}, "invalid-input", "tz"),
    ],
)  # fmt: skip
def test_what_makes_no_question_is_refused(coastal, changes, slug, field):
    found = problem(search(coastal, **changes), 422, slug)
    if field is not None:
        assert field in [one["field"] for one in found["errors"]]


def test_the_least_that_the_longest_session_must_be_is_named(coastal):
    client, _ = coastal
    found = client.post("/v1/sessions/search", json={**SPAN, "least_h": 6})
    (fault,) = problem(found, 422, "invalid-input", "most_h")["errors"]
    assert (fault["problem"], fault["expected"]) == ("is 5, under the least_h of 6", "6 or more, or a smaller least_h")


def test_unknown_ids_are_not_found(coastal):
    problem(search(coastal, mark_ids=["mrk_0"]), 404, "not-found")
    problem(search(coastal, rule_ids=["rul_0"]), 404, "not-found")
    _, coast = coastal
    problem(search(coastal, mark_ids=[coast.bare_mark]), 409, "no-model")


def ask(coastal, **changes):
    client, coast = coastal
    return client.post("/v1/windows/why-not", json={"mark_id": coast.mark, "rule_id": coast.rule, **changes})


def test_why_not_says_what_is_in_the_way_and_when_it_would_do(coastal):
    client, coast = coastal
    body = {**example("search_windows"), "limit": 2000, "mark_ids": [coast.mark], "rule_ids": [coast.rule]}
    windows = sorted(client.post("/v1/windows/search", json=body).json()["windows"], key=lambda one: one["start"])
    # Published ends are rounded to the second.
    second = timedelta(seconds=1)
    start, end = instant(windows[0]["end"]) + second, instant(windows[1]["start"]) - second
    found = ask(coastal, start=start.isoformat(), end=end.isoformat()).json()
    assert not found["inside"]
    assert found["before"]["end"] == windows[0]["end"]
    assert found["after"]["start"] == windows[1]["start"]
    found = ask(coastal, at=(start + (end - start) / 2).isoformat()).json()
    assert not found["holds"]
    assert found["score"] < found["threshold"]
    assert found["obstacles"]
    assert found["time_zone"] == "Etc/UTC"
    assert found["date_local"] == found["time"][:10]
    assert any("nearest window after" in reason for reason in found["reasons"])


@pytest.mark.parametrize("changes", [{}, {"at": SPAN["start"], **SPAN}, {"start": SPAN["start"]}])
def test_why_not_needs_one_time(coastal, changes):
    problem(ask(coastal, **changes), 422, "invalid-input")


@pytest.mark.parametrize(("end", "around", "fits"), [("2026-09-05", 2.0, True), ("2026-09-05", 2.1, False)])
def test_why_not_looks_no_further_than_a_search_may(coastal, end, around, fits):
    # 96 days, and what is around them on both sides; a search may be of 100.
    found = ask(coastal, start="2026-06-01T00:00:00Z", end=f"{end}T00:00:00Z", around_days=around)
    if fits:
        assert found.status_code == 200
    else:
        problem(found, 422, "span-too-long")


def test_two_sessions_are_compared(coastal):
    client, coast = coastal
    one, other = [found["session"] for found in search(coastal).json()["sessions"][:2]]
    body = {"first_mark_id": coast.mark, "second_mark_id": coast.mark, "rule_ids": [coast.rule]}
    for name, session in (("first", one), ("second", other)):
        body |= {f"{name}_start": session["legs"][0]["start"], f"{name}_end": session["legs"][0]["end"]}
    found = client.post("/v1/sessions/compare", json=body).json()
    assert found["first"]["score_hours"] == pytest.approx(one["score_hours"], abs=0.002)
    assert found["second"]["score_hours"] == pytest.approx(other["score_hours"], abs=0.002)
    assert {one["factor"] for one in found["factors"]} == {one["factor"] for one in one["legs"][0]["factors"]}
    assert "score_hours" in [one["what"] for one in found["advantages"]]
    assert found["reasons"]
    ends = ("mark_id", "start", "end")
    swapped = {f"first_{end}": body[f"second_{end}"] for end in ends} | {
        f"second_{end}": body[f"first_{end}"] for end in ends
    }
    swapped["rule_ids"] = [coast.rule]
    back = client.post("/v1/sessions/compare", json=swapped).json()
    assert {"first": "second", "second": "first", "neither": "neither"}[back["better"]] == found["better"]


def test_bait_is_gathered_in_the_days_before(coastal):
    client, coast = coastal
    body = {**bait_outings.EXAMPLE, "mark_ids": [coast.mark]}
    found = client.post("/v1/bait-outings/search", json=body).json()
    assert found["start"] == "2026-06-17T18:00:00Z"
    assert found["end"] == "2026-06-19T18:00:00Z"
    assert found["outings"]
    assert all(one["low_water_height_m"] < body["below_m"] for one in found["outings"])
    assert all("rules" in " ".join(one["reasons"]) for one in found["outings"])
    for one in found["outings"]:
        # Nothing is known of the ground of this mark: that is said of whoever walks out on it.
        assert "cut_off" in one["safe"]["not_assessed"]
        assert one["hazards"]
        assert "coastguard" in one["safe"]["sentences"][-1]
    assert not any("not assessed here" in reason for one in found["outings"] for reason in one["reasons"])
    none = client.post("/v1/bait-outings/search", json={**body, "below_m": -50.0}).json()
    assert none["outings"] == []
    problem(client.post("/v1/bait-outings/search", json={"below_m": 1.0}), 422, "invalid-input")


def test_the_examples_are_those_of_the_contract(coastal):
    client, _ = coastal
    contract = client.get("/openapi.json").json()
    shown = [one for schema in contract["components"]["schemas"].values() for one in schema.get("examples", ())]
    for known in (SEARCH, session_search.COMPARISON_EXAMPLE, why_not.EXAMPLE, bait_outings.EXAMPLE):
        assert known in shown


def test_a_filter_holds_windows_to_where_it_is_true(coastal):
    body = {"filter": "hours_from_lw > 1.5", "least_h": 1.0}
    found = search(coastal, **body).json()
    assert found["filter"] == {"op": ">", "args": [{"property": "hours_from_lw"}, 1.5]}
    assert found["sessions"]
    plain = search(coastal, least_h=1.0).json()
    assert sum(one["worth_h"] for one in found["sessions"]) < sum(one["worth_h"] for one in plain["sessions"])
    assert search(coastal, filter="height > 90").json()["sessions"] == []
    problem(search(coastal, filter="sea_monsters > 1"), 422, "invalid-filter")
