"""Charts of a mark: what they show is what the search and the tide say, in any look, as drawing and as pixels."""

from __future__ import annotations

import struct
import xml.etree.ElementTree as ElementTree

import pytest

from service.api.v1.schemas.mark_charts import Danger, gather_hazards
from service.exports.mark_chart import THEMES, raster
from tests.service.coast import example
from tests.service.problems import problem

SVG, PNG = {"accept": "image/svg+xml"}, {"accept": "image/png"}
NAMESPACE = "{http://www.w3.org/2000/svg}"
DATE = "2026-06-03"


@pytest.fixture(scope="module")
def charted(coastal):
    client, coast = coastal
    path = f"/v1/marks/{coast.mark}/chart"

    def get(**query):
        return client.get(path, params={"date": DATE, "rule_id": coast.rule, **query}, headers=SVG)

    return client, coast, path, get


def words(content: bytes) -> list[str]:
    """The texts of a drawing; it must be well-formed XML."""
    return ["".join(one.itertext()) for one in ElementTree.fromstring(content).iter(f"{NAMESPACE}text")]


def test_a_day_tells_high_and_low_waters_by_the_clocks_of_the_mark(charted):
    client, coast, _, get = charted
    said = words(get().content)
    zone = example("create_mark")["time_zone"]
    span = {"start": "2026-06-02T23:00:00Z", "end": "2026-06-03T23:00:00Z", "tz": zone}
    events = client.get(f"/v1/marks/{coast.mark}/extremes", params=span).json()
    told = [
        f"{'HW' if kind == 'high' else 'LW'} {time[11:16]}"
        for time, kind in zip(events["times"], events["kinds"], strict=True)
        if time.startswith(DATE)
    ]
    assert len(told) >= 3
    for one in told:
        assert any(text.startswith(one) for text in said), (one, said)
    assert any(one.startswith(f"clock times: {zone}") for one in said)
    assert "Wednesday 3 June 2026" in said


def test_the_range_of_a_day_is_its_highest_water_over_its_lowest_on_every_picture(charted):
    client, coast, _, get = charted
    zone = example("create_mark")["time_zone"]
    span = {"start": "2026-06-01T00:00:00Z", "end": "2026-06-12T00:00:00Z", "tz": zone}
    events = client.get(f"/v1/marks/{coast.mark}/extremes", params=span).json()
    week = words(get(kind="week").content)
    told = [one for one in week if one.startswith("range ")]
    for place, expected in enumerate(told):
        date = f"2026-06-{3 + place:02d}"
        waters = zip(events["times"], events["heights_m"], strict=True)
        heights = [height for time, height in waters if time.startswith(date)]
        assert expected == f"range {max(heights) - min(heights):.1f} m", date
        assert any(one.startswith(f"{expected} ") for one in words(get(date=date).content)), date
    assert len(told) == 7


def test_a_day_tells_whether_tides_make_or_take_off(charted):
    client, coast, _, get = charted
    span = {"start": "2026-06-01T00:00Z", "end": "2026-06-16T00:00Z", "step": "12h", "factor": "making"}
    told = client.get(f"/v1/marks/{coast.mark}/timeline", params=span).json()["columns"]["making"]
    assert set(told) == {"making", "taking_off"}
    for day in (1, 5, 9, 13):
        phase = f"tides {told[2 * day - 1].replace('_', ' ')}"
        assert any(phase in one for one in words(get(date=f"2026-06-{day:02d}").content)), day


def test_a_day_numbers_the_sessions_of_the_search(charted):
    client, coast, _, get = charted
    asked = {
        "start": "2026-06-02T23:00:00Z",
        "end": "2026-06-03T23:00:00Z",
        "mark_ids": [coast.mark],
        "rule_ids": [coast.rule],
        "plan": True,
        "diverse": False,
        "each": 4,
        "tz": example("create_mark")["time_zone"],
    }
    found = client.post("/v1/sessions/search", json=asked).json()["sessions"]
    said = words(get().content)
    assert found
    for place, one in enumerate(found, start=1):
        start = one["session"]["legs"][0]["start"][11:16]
        assert any(text.startswith(f"{place}. {start}") for text in said)


def test_a_time_to_turn_back_is_told_of_its_own_session_alone():
    dark = [Danger("not_assessed", "dark", at, at + 9, f"Dark from {at}.") for at in (1, 2)]
    ends = [Danger("info", "cut_off", at, at + 9, f"Turn back by {at}.") for at in (5, 18)]
    sign = Danger("info", "cold_water", 0, 30, "Cold.")
    sessions = [(place, [dark[place - 1], ends[place - 1], sign]) for place in (1, 2)]
    assert [one.text for one in gather_hazards("day", sessions)] == [
        "Turn back by 5. (session 1)",
        "Turn back by 18. (session 2)",
        "Dark from 1. (session 1; the like at every other)",
        "Cold. (every session)",
    ]
    assert "Turn back by 5. (session 1; the like at every other)" in [
        one.text for one in gather_hazards("month", sessions)
    ]


@pytest.mark.parametrize(("kind", "days"), [("week", 7), ("month", 30)])
def test_strips_are_a_day_each(charted, kind, days):
    _, _, _, get = charted
    said = words(get(kind=kind).content)
    names = ("Mon ", "Tue ", "Wed ", "Thu ", "Fri ", "Sat ", "Sun ")
    assert sum(text.startswith(names) for text in said) == days
    assert any("Not for navigation" in text for text in said)


@pytest.mark.parametrize("kind", ["day", "week"])
def test_nothing_is_written_outside_the_page(charted, kind):
    _, _, _, get = charted
    root = ElementTree.fromstring(get(kind=kind).content)
    width, height = float(root.attrib["width"]), float(root.attrib["height"])
    for one in root.iter(f"{NAMESPACE}text"):
        x, y, length = float(one.attrib["x"]), float(one.attrib["y"]), len("".join(one.itertext()))
        room = length * (7.6 if "small" in (one.get("class") or "") else 15.0 if one.get("class") == "name" else 8.4)
        of = one.get("class") or ""
        left = x - room if "end" in of.split() else x - 0.5 * room if "mid" in of.split() else x
        assert left > 0.0, ElementTree.tostring(one)
        assert 0.0 < y < height
        assert left + 0.8 * room < width, ElementTree.tostring(one)


@pytest.mark.skipif(raster.font_family() is None, reason="this machine has no font to write a PNG with")
def test_pixels_are_two_a_unit(charted):
    client, _, path, get = charted
    drawn = ElementTree.fromstring(get().content)
    found = client.get(path, params={"date": DATE, "theme": "dark"}, headers=PNG)
    assert (found.status_code, found.headers["content-type"]) == (200, "image/png")
    # PNG, second edition (ISO/IEC 15948): the signature, then the chunk IHDR with width and height.
    assert found.content[:8] == b"\x89PNG\r\n\x1a\n"
    width, _ = struct.unpack(">II", found.content[16:24])
    assert width == 2 * int(float(drawn.attrib["width"]))


def test_without_fonts_there_are_no_pixels_and_it_says_so(charted, monkeypatch):
    client, _, path, _ = charted
    monkeypatch.setattr(raster, "font_family", lambda: None)
    found = problem(client.get(path, params={"date": "2026-06-09"}, headers=PNG), 503, "no-fonts")
    assert "fonts-dejavu-core" in found["detail"]


def _luminance(colour: str) -> float:
    """Relative luminance of sRGB as WCAG 2.2 defines it."""
    parts = [int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    lighter, darker = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


@pytest.mark.parametrize("name", sorted(THEMES))
def test_words_stand_out_from_every_ground_they_are_on(name):
    """WCAG 2.2, success criterion 1.4.3: 4.5 to 1 for text; 1.4.11: 3 to 1 for what carries meaning."""
    look = THEMES[name]
    grounds = (look.paper, look.night, look.dim, look.dusk, look.shallow, look.session, look.window)
    assert all(_contrast(look.ink, ground) >= 4.5 for ground in grounds)
    assert _contrast(look.quiet, look.paper) >= 4.5
    assert _contrast(look.paper, look.danger) >= 4.5
    assert _contrast(look.paper, look.caution) >= 4.5
    for sign in (look.water, look.flood, look.ebb, look.danger, look.caution, look.border, look.best):
        assert _contrast(sign, look.paper) >= 3.0


def test_a_chart_is_not_drawn_again_for_who_has_it(charted):
    client, _, path, get = charted
    etag = get().headers["etag"]
    query = {"date": DATE, "rule_id": charted[1].rule}
    assert client.get(path, params=query, headers={**SVG, "if-none-match": etag}).status_code == 304
    assert get(theme="dark").headers["etag"] != etag
    assert get(kind="week").headers["etag"] != etag


def test_what_cannot_be_drawn_says_why(charted):
    client, coast, path, _ = charted
    problem(client.get(path, params={"date": "2026-02-30"}), 422, "invalid-request")
    problem(client.get(path, params={"date": DATE, "kind": "year"}), 422, "invalid-request")
    problem(client.get(path, params={"date": DATE, "rule_id": "rul_none"}), 404, "not-found")
    problem(client.get(f"/v1/marks/{coast.bare_mark}/chart", params={"date": DATE}), 409, "no-model")
    problem(client.get(path, params={"date": DATE}, headers={"accept": "application/json"}), 406, "not-acceptable")
