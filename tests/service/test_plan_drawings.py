"""Charts and month sheets of a plan: what is stored on the tide that it rests on, as drawings and as a page."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest
from starlette.testclient import TestClient

from service.app import create_app
from service.exports.mark_chart import raster
from service.exports.month_sheet import STYLE_HASH
from tests.service.coast import PEER, URL, make_coast
from tests.service.conftest import settings_for
from tests.service.problems import problem
from tests.service.test_mark_charts import words
from tests.service.test_plans import items, made

SVG, PNG, HTML = {"accept": "image/svg+xml"}, {"accept": "image/png"}, {"accept": "text/html"}
#: Factors of the example rule as an angler calls them; where nothing holds a session down, nothing is said.
IN_WORDS = {
    None: "",
    "hours_from_lw": "held down most by the time from low water",
    "flow_strength": "held down most by the run of the tide",
    "wave_height": "held down most by the height of the waves",
    "light": "held down most by the light",
}
KINDS = ("day", "week", "month")
EDIT = {"if-match": "*", "content-type": "application/merge-patch+json"}


class Page(HTMLParser):
    """What a page says, cell by cell of its tables, and what it would fetch or run."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.rows: list[list[str]] = []
        self.fetched: list[str] = []
        self.tags: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.fetched += [value for name, value in attrs if name in ("src", "href", "style", "action")]
        if tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th"):
            self.rows[-1].append("")
        elif tag in ("span", "br") and self.rows and self.rows[-1]:
            self.rows[-1][-1] += " "

    def handle_data(self, data):
        if self.rows and self.rows[-1]:
            self.rows[-1][-1] += data


@pytest.fixture(scope="module")
def shore(tmp_path_factory):
    """An application of this module with a plan of a month, and the mark renamed and its tide changed since."""
    app = create_app(settings_for(tmp_path_factory.mktemp("drawings"), plan_workers=1))
    with TestClient(app, base_url=URL, client=PEER) as client:
        coast = make_coast(client)
        plan = made(client, {"month": "2026-06", "mark_ids": [coast.mark, coast.bare_mark], "travel_min": 20})
        assert plan["state"] == "done"
        place = f"/v1/plans/{plan['id']}/marks/{coast.mark}"
        sessions = sorted(client.get(place).json()["sessions"], key=lambda one: one["rank"])
        before = client.get(f"{place}/chart", headers=SVG), client.get(f"{place}/sheet", headers=HTML)
        assert client.patch(f"/v1/marks/{coast.mark}", json={"name": "Renamed <b>"}, headers=EDIT).status_code == 200
        yield client, coast, plan, sessions, before


def test_a_chart_has_the_sessions_of_the_plan_by_rank(shore):
    client, _, _, sessions, (chart, _) = shore
    said = words(chart.content)
    assert "June 2026" in said
    assert len(sessions) > 10
    assert any(f"{len(sessions)} sessions of the plan" in one for one in said)
    # A month tells the rank of every session that begins in it and has room for words.
    assert sum(any(one.startswith(f"{rank} bass") for one in said) for rank in range(1, len(sessions) + 1)) >= 10
    first = sessions[0]
    day = words(client.get(chart_of(shore), params={"kind": "day", "date": first["date_local"]}, headers=SVG).content)
    when = f"1. {first['start'][11:16]}\N{EN DASH}{first['end'][11:16]}"
    assert when[:7] in {one[:7] for one in day}, (when, day)
    if raster.font_family() is not None:
        drawn = client.get(chart_of(shore), params={"kind": "week", "theme": "dark"}, headers=PNG)
        assert drawn.content[:8] == b"\x89PNG\r\n\x1a\n"


def chart_of(shore) -> str:
    _, coast, plan, _, _ = shore
    return f"/v1/plans/{plan['id']}/marks/{coast.mark}/chart"


def test_what_is_drawn_of_a_plan_stays_as_it_is_and_is_not_drawn_again(shore):
    client, _, _, _, before = shore
    for kind, was, accept in (("chart", before[0], SVG), ("sheet", before[1], HTML)):
        path = chart_of(shore).replace("chart", kind)
        again = client.get(path, headers=accept)
        assert (again.headers["etag"], again.content) == (was.headers["etag"], was.content)
        known = client.get(path, headers={**accept, "if-none-match": was.headers["etag"]})
        assert (known.status_code, known.content) == (304, b"")
    assert (
        client.get(chart_of(shore), params={"theme": "dark"}, headers=SVG).headers["etag"] != before[0].headers["etag"]
    )


def test_a_sheet_tells_every_day_and_the_best_sessions(shore):
    client, coast, _, sessions, (_, sheet) = shore
    page = Page(sheet.text)
    days = [row for row in page.rows if re.match(r"(Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d", row[0])]
    assert [re.findall(r"\d+", row[0])[0] for row in days] == [str(day) for day in range(1, 31)]
    span = {"start": "2026-06-01T00:00:00Z", "end": "2026-07-01T00:00:00Z"}
    events = client.get(f"/v1/marks/{coast.mark}/extremes", params=span).json()
    highs = [time for time, kind in zip(events["times"], events["kinds"], strict=True) if kind == "high"]
    told = [f"{day:02d} {clock}" for day, row in enumerate(days, 1) for clock in re.findall(r"\d\d:\d\d", row[2])]
    # To the nearest minute.
    assert len(told) == len(highs)
    assert sum(one == f"{time[8:10]} {time[11:16]}" for one, time in zip(told, highs, strict=True)) > 0.3 * len(highs)
    assert sum("springs" in row[0] for row in days) == sum("neaps" in row[0] for row in days) == 2
    assert sum("full moon" in row[0] for row in days) == 1
    for one in sessions:
        row = days[int(one["start"][8:10]) - 1]
        assert f"{one['rank']} " in row[-1]
    # With a way to go, home is spoken of; packing up is due before leaving.
    head = next(row for row in page.rows if row[0] == "no.")
    assert head[3:8] == ["leave home, arrive", "fishing", "best hour", "leave, home", "pack up by"]
    best = [row for row in page.rows if row[0].isdecimal()]
    assert [row[0] for row in best] == [str(one["rank"]) for one in sessions[:6]]
    limits = set()
    for row, one in zip(best, sessions, strict=False):
        assert "not all assessed" in row[-1] or one["verdicts"]["safe"] != "not_assessed"
        feeding = one["verdicts"]["feeding"]
        assert f"feeding {feeding['mean_score']:.2f}" in row[-1]
        limits.add(feeding["limiting_factor"])
        assert IN_WORDS[feeding["limiting_factor"]] in row[-1]
    assert limits - {None}, "something holds one of them down"
    assert "Not for navigation" in sheet.text
    assert "coastguard" in sheet.text


def test_a_sheet_is_one_file_that_runs_nothing(shore):
    client, coast, _, _, (_, sheet) = shore
    assert sheet.headers["content-type"] == "text/html; charset=utf-8"
    policy = sheet.headers["content-security-policy"]
    assert policy.startswith(f"default-src 'none'; style-src {STYLE_HASH}; ")
    assert "unsafe" not in policy
    page = Page(sheet.text)
    assert page.fetched == []
    assert "script" not in page.tags
    live = client.get(f"/v1/marks/{coast.mark}/sheet", params={"month": "2026-06"}, headers=HTML)
    assert "<h1>Renamed &lt;b&gt;</h1>" in live.text
    # As a plan of the same month with no way to go finds them.
    head = next(row for row in Page(live.text).rows if row[0] == "no.")
    assert (head[3], head[6]) == ("arrive", "leave")
    assert [row[0] for row in Page(live.text).rows if row[0].isdecimal()] == [str(k) for k in range(1, 7)]
    known = {**HTML, "if-none-match": live.headers["etag"]}
    assert client.get(f"/v1/marks/{coast.mark}/sheet", params={"month": "2026-06"}, headers=known).status_code == 304


def test_what_cannot_be_drawn_of_a_plan_says_why(shore):
    client, coast, plan, *_ = shore
    path = chart_of(shore)
    problem(client.get(path, params={"date": "2026-08-01"}), 422, "invalid-input", "date")
    problem(client.get(path.replace(coast.mark, coast.bare_mark)), 404, "not-found")
    problem(client.get(path, headers=HTML), 406, "not-acceptable")
    sheet = path.replace("chart", "sheet")
    problem(client.get(sheet, params={"month": "2026-13"}), 422, "invalid-input", "month")
    problem(client.get(sheet, params={"month": "2026-07"}), 422, "invalid-input", "date")
    problem(client.get(f"/v1/marks/{coast.bare_mark}/sheet", params={"month": "2026-06"}), 409, "no-model")
    assert items(client, f"/v1/plans/{plan['id']}/marks")


def test_what_is_loosened_is_named_wherever_hazards_are_told(serve):
    client = serve(plan_workers=1)
    coast = make_coast(client)
    asked = {"month": "2026-06", "mark_ids": [coast.mark]}
    line = "This account has loosened deck_caution_m, sill_margin_m."

    def forms(plan: str) -> list[str]:
        place, mark = f"/v1/plans/{plan}", f"/v1/marks/{coast.mark}"
        day = {"date": "2026-06-03"}
        told = [
            client.get(f"{place}/marks/{coast.mark}/sheet", headers=HTML),
            client.get(f"{mark}/sheet", params={"month": "2026-06"}, headers=HTML),
            client.get(f"{place}/calendar"),
            client.get(f"{place}/calendar", headers={"accept": "text/csv"}),
            *(
                client.get(f"{place}/marks/{coast.mark}/chart", params=day | {"kind": kind}, headers=SVG)
                for kind in KINDS
            ),
            *(client.get(f"{mark}/chart", params=day | {"kind": kind}, headers=SVG) for kind in KINDS),
        ]
        assert {one.status_code for one in told} == {200}
        return [one.text.replace("\r\n ", "").replace("\\,", ",") for one in told]

    assert not any("loosened" in one for one in forms(made(client, asked)["id"]))
    looser = {"deck_caution_m": 0, "sill_margin_m": 0}
    assert client.put("/v1/safety-thresholds", json=looser, headers={"if-match": "*"}).status_code == 200
    plan = made(client, asked)["id"]
    told = forms(plan)
    assert [line in one for one in told] == [True] * 10
    # Every session of calendar and table says it, for each is looked at alone; a picture and a sheet once.
    sessions = len(items(client, f"/v1/plans/{plan}/sessions"))
    assert [one.count(line) for one in told] == [1, 1, sessions, sessions, *[1] * 6]
