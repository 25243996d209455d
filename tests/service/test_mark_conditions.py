"""What conditions come to at a mark: merged series, what they rest on, and that timelines and windows use them."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from itertools import count
from typing import Any

import pytest
from starlette.testclient import TestClient

from service.api.v1.schemas.official_warnings import CAP_EXAMPLE
from service.app import create_app
from tests.service.coast import PEER, URL, example, make_coast
from tests.service.conftest import settings_for
from tests.service.problems import problem

DAY = {"start": "2026-06-01T00:00:00Z", "end": "2026-06-02T00:00:00Z", "step": "1h"}
HOURS = [f"2026-06-01T{hour:02d}:00:00Z" for hour in range(0, 24, 3)]
#: The sea grows by 0.2 m every three hours, so that it is 0.5 m at 00:00 and 1.9 m at 21:00.
HEIGHTS = [round(0.5 + 0.2 * place, 1) for place in range(len(HOURS))]
FORECAST: dict[str, Any] = {
    "kind": "forecast",
    "source": "Invented marine forecast",
    "issued_at": "2026-05-31T18:00:00Z",
    "waves_at": "offshore",
    "wave_period_kind": "peak",
    "times": HOURS,
    "values": {"wave_height_m": HEIGHTS, "wave_period_s": [8.0] * len(HOURS), "wind_speed_m_per_s": [6.0] * len(HOURS)},
}
_numbers = count()


@pytest.fixture(scope="module")
def shore(tmp_path_factory):
    """A coast that the tests of this module may change."""
    app = create_app(settings_for(tmp_path_factory.mktemp("sea")))
    with TestClient(app, base_url=URL, client=PEER, raise_server_exceptions=False) as client:
        yield client, make_coast(client)


@pytest.fixture
def coastal(shore):
    """That coast, with a mark and an area of the test's own."""
    client, coast = shore
    area = f"Invented shore {next(_numbers)}"
    body = {**example("create_mark"), "external_ref": None, "conditions_area": area, "facing_degree": 180.0}
    made = client.post("/v1/marks", json=body)
    return client, replace(coast, mark=made.json()["id"]), area


def give(client, **changes):
    made = client.post("/v1/conditions", json={**FORECAST, **changes})
    assert made.status_code == 201, made.text
    return made.json()["items"][0]["id"]


def told(client, mark, headers=None, **query):
    return client.get(f"/v1/marks/{mark}/conditions", params={**DAY, **query}, headers=headers or {})


def timeline(client, mark, *factors, headers=None, **query):
    asked = {**DAY, **query, "factor": list(factors)}
    return client.get(f"/v1/marks/{mark}/timeline", params=asked, headers=headers or {})


def test_a_mark_of_which_nothing_is_told_says_so(coastal):
    client, coast, _ = coastal
    found = told(client, coast.mark).json()
    assert (found["count"], found["issues"], found["warnings"], found["basis"]) == (24, [], [], [])
    assert set(found["columns"]["wave_height_m"]) == {None}
    assert set(found["unknown"]) >= {"wave_height_m", "wind_speed_m_per_s", "sea_temperature_c", "wind_onshore"}
    assert any(sentence.startswith("sea not assessed") for sentence in found["said"])


def test_the_conditions_of_its_area_are_a_marks_own(coastal):
    client, coast, area = coastal
    issue = give(client, area=area)
    found = told(client, coast.mark).json()
    assert found["conditions_area"] == area
    # Linear between the times of the issue, and unknown after the last.
    expected = [round(0.5 + 0.2 * hour / 3, 2) for hour in range(22)]
    assert found["columns"]["wave_height_m"] == pytest.approx([*expected, None, None])
    assert "wave_height_m" not in found["unknown"]
    assert "pressure_hpa" in found["unknown"]
    (basis,) = [one for one in found["basis"] if one["variable"] == "wave_height_m"]
    assert [use["condition_id"] for use in basis["uses"]] == [issue]
    assert (basis["uses"][0]["start"], basis["uses"][0]["age_h"]) == ("2026-06-01T00:00:00Z", 6.0)
    assert basis["ends_at"] == "2026-06-01T21:00:00Z"
    assert [one["id"] for one in found["issues"]] == [issue]
    assert any("sea not assessed after 2026-06-01T21:00Z" in sentence for sentence in found["said"])
    # A mark of another area knows nothing of it.
    other = told(client, coast.bare_mark)
    problem(other, 409, "no-model")


def test_the_newest_issue_counts_and_the_older_where_it_ends(coastal):
    client, coast, area = coastal
    older = give(client, area=area)
    newer = give(
        client, mark_id=coast.mark, issued_at="2026-06-01T00:00:00Z", times=HOURS[:3],
        values={"wave_height_m": [2.0, 2.0, 2.0]}, wave_period_kind=None,
    )  # fmt: skip
    found = told(client, coast.mark).json()
    assert found["columns"]["wave_height_m"][:7] == [2.0] * 7
    assert found["columns"]["wave_height_m"][9] == pytest.approx(1.1)
    (basis,) = [one for one in found["basis"] if one["variable"] == "wave_height_m"]
    assert [use["condition_id"] for use in basis["uses"]] == [newer, older]
    assert {one["id"] for one in found["issues"]} == {older, newer}
    # Deleted, it is the older one again.
    assert client.delete(f"/v1/conditions/{newer}", headers={"If-Match": "*"}).status_code == 204
    assert told(client, coast.mark).json()["columns"]["wave_height_m"][0] == 0.5


def test_a_value_does_not_depend_on_the_span_that_is_asked(coastal):
    client, coast, area = coastal
    give(client, area=area)
    give(client, area=area, source="Another", issued_at="2026-06-01T02:00:00Z", times=HOURS[2:4],
         values={"wave_height_m": [3.0, 2.0]}, wave_period_kind=None)  # fmt: skip
    whole = told(client, coast.mark).json()
    for hour in range(0, 24, 5):
        start, end = f"2026-06-01T{hour:02d}:00:00Z", f"2026-06-01T{hour:02d}:30:00Z"
        part = told(client, coast.mark, start=start, end=end).json()
        assert {name: column[0] for name, column in part["columns"].items()} == {
            name: column[hour] for name, column in whole["columns"].items()
        }
        assert {name: column[0] for name, column in part["derived"].items()} == {
            name: column[hour] for name, column in whole["derived"].items()
        }


def test_csv_says_what_json_says(coastal):
    client, coast, area = coastal
    give(client, area=area)
    shown = told(client, coast.mark).json()
    answer = told(client, coast.mark, headers={"accept": "text/csv"})
    assert answer.headers["content-type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert [row["time"] for row in rows] == [f"2026-06-01T{hour:02d}:00:00Z" for hour in range(24)]
    for name, column in shown["columns"].items():
        # What was seen is told from what follows for the mark.
        field = f"{name}_seen" if name in ("clarity", "weed") else name
        assert [float(row[field]) if row[field] else None for row in rows] == column, name


def test_timelines_take_the_conditions_of_the_mark(coastal):
    client, coast, area = coastal
    before = timeline(client, coast.mark, "wave_height", "wind_onshore").json()
    assert before["unknown"] == ["wave_height", "wind_onshore"]
    give(client, area=area, values={**FORECAST["values"], "wind_from_degree": [180.0] * len(HOURS)})
    found = timeline(client, coast.mark, "wave_height", "wind_onshore", "height").json()
    assert found["columns"]["wave_height"][:2] == pytest.approx([0.5, 0.567], abs=1e-3)
    # It looks out to where the wind comes from: all of the wind is onshore.
    assert found["columns"]["wind_onshore"][0] == pytest.approx(6.0)
    assert found["columns"]["wave_height"][22] is None
    assert found["unknown"] == []
    many = client.get("/v1/timelines", params={**DAY, "mark_id": [coast.mark], "factor": ["wave_height"]}).json()
    assert many["marks"][0]["columns"]["wave_height"] == found["columns"]["wave_height"]


def test_the_etag_of_a_timeline_moves_with_the_conditions(coastal):
    client, coast, area = coastal
    first = timeline(client, coast.mark, "wave_height")
    again = timeline(client, coast.mark, "wave_height", headers={"If-None-Match": first.headers["etag"]})
    assert again.status_code == 304
    issue = give(client, area=area)
    second = timeline(client, coast.mark, "wave_height", headers={"If-None-Match": first.headers["etag"]})
    assert (second.status_code, second.headers["etag"] != first.headers["etag"]) == (200, True)
    held = told(client, coast.mark).headers["etag"]
    give(client, area="Somewhere else")
    assert told(client, coast.mark, headers={"If-None-Match": held}).status_code == 304
    client.delete(f"/v1/conditions/{issue}", headers={"If-Match": "*"})
    assert timeline(client, coast.mark, "wave_height").headers["etag"] == first.headers["etag"]
    assert told(client, coast.mark, headers={"If-None-Match": held}).status_code == 200


def rule_on_the_sea(client):
    """The id of a rule that wants less than 1 m of sea, and nothing else."""
    body = {
        "name": "A quiet sea",
        "species": {"scientific_name": "Dicentrarchus labrax"},
        "require": [{"factor": "wave_height", "shape": {"kind": "trapezoid", "full_to": 0.9, "to": 1.0}}],
    }
    made = client.post("/v1/species-rules", json=body)
    assert made.status_code == 201, made.text
    return made.json()["id"]


def search(client, mark, rule):
    span = {"start": DAY["start"], "end": DAY["end"]}
    found = client.post("/v1/windows/search", json={**span, "mark_ids": [mark], "rule_ids": [rule]})
    assert found.status_code == 200, found.text
    return found.json()


def test_rules_on_the_sea_bite(coastal):
    client, coast, area = coastal
    rule = rule_on_the_sea(client)
    # Unknown: what is required and unknown excludes, and the answer says so.
    nothing = search(client, coast.mark, rule)
    assert nothing["windows"] == []
    assert "wave_height" in " ".join(nothing["without_window"][0]["excluded_by"])
    issue = give(client, area=area)
    (window,) = search(client, coast.mark, rule)["windows"]
    # 0.95 m, where the score is half, comes at 3 h x 0.45 / 0.2 after midnight.
    assert window["start"] == DAY["start"]
    assert window["end"] == "2026-06-01T06:45:00Z"
    # A newer issue, and a deletion, are seen by the very next search.
    rough = give(client, mark_id=coast.mark, issued_at="2026-06-01T00:00:00Z",
                 values={"wave_height_m": [3.0] * len(HOURS)}, wave_period_kind=None)  # fmt: skip
    assert search(client, coast.mark, rule)["windows"] == []
    client.delete(f"/v1/conditions/{rough}", headers={"If-Match": "*"})
    assert search(client, coast.mark, rule)["windows"] == [window]
    client.delete(f"/v1/conditions/{issue}", headers={"If-Match": "*"})
    assert search(client, coast.mark, rule)["windows"] == []


def test_a_warning_holds_where_it_was_given_or_where_it_says(coastal):
    client, coast, area = coastal

    def warned(hour):
        column = timeline(client, coast.mark, "official_warning").json()["columns"]["official_warning"]
        return column[hour]

    def send(text, **query):
        made = client.post("/v1/warnings", params=query, content=text, headers={"content-type": "application/cap+xml"})
        assert made.status_code == 201, made.text
        return made.headers["location"]

    far = CAP_EXAMPLE.replace("51.2,-20.4 40", "10.0,10.0 5").replace("invented-gale-1", f"far-{next(_numbers)}")
    assert warned(13) is None
    away = send(far)
    assert warned(13) is None
    # An alert that draws no area holds where it was given; what it draws, holds inside alone.
    elsewhere = send(far, area=area)
    assert warned(13) is None
    shapeless = CAP_EXAMPLE.replace("      <circle>51.2,-20.4 40</circle>\n", "")
    given = send(shapeless.replace("invented-gale-1", f"given-{next(_numbers)}"), area=area)
    assert warned(13) == "severe"
    assert warned(11) in (None, "none")
    shown = [one["id"] for one in told(client, coast.mark).json()["warnings"]]
    assert shown == [one.rpartition("/")[2] for one in (elsewhere, given)]
    client.delete(given, headers={"If-Match": "*"})
    assert warned(13) is None
    name = f"here-{next(_numbers)}"
    here = send(CAP_EXAMPLE.replace("invented-gale-1", name))
    assert warned(13) == "severe"
    # What takes it back has no area of its own, and holds where it did.
    reference = f"<references>office@weather.invalid,{name},2026-06-01T04:00:00-00:00</references>"
    alert = CAP_EXAMPLE.replace("invented-gale-1", f"{name}-off").replace("T04:00:00", "T05:00:00")
    alert = alert.replace(">Alert<", ">Cancel<")
    back = send(alert[: alert.index("  <info>")] + f"  {reference}\n</alert>")
    assert warned(13) in (None, "none")
    client.delete(back, headers={"If-Match": "*"})
    assert warned(13) == "severe"
    for place in (here, away, elsewhere):
        client.delete(place, headers={"If-Match": "*"})
