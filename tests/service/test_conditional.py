"""ETags change with anything an answer rests on and with nothing else; 304 comes before any tide is computed."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.api import conditional
from service.api.conditional import document_etag, names_etag, series_etag
from service.api.negotiation import COVERAGEJSON, CSV, JSON, NETCDF
from service.storage.pulse import Pulse
from service.usecases.inputs import Input
from tests.service.coast import SPAN, example
from tidecore.errors import CoreError
from tidecore.model import TideModel

STAMP = datetime(2026, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Asked:
    """A basis made by hand."""

    inputs: tuple[Input, ...]
    query: dict[str, object]


INPUTS = st.lists(
    st.builds(
        Input,
        kind=st.sampled_from(["station", "mark"]),
        key=st.text("abc", min_size=1, max_size=3),
        version=st.integers(1, 3),
        stamp=st.integers(0, 2).map(lambda us: STAMP + timedelta(microseconds=us)),
    ),
    max_size=3,
).map(tuple)
QUERIES = st.fixed_dictionaries(
    {
        "start_us": st.integers(0, 2),
        "step_us": st.sampled_from([1, 60]),
        "lags": st.none() | st.tuples(st.floats(-1, 1), st.floats(-1, 1)),
        "factors": st.lists(st.sampled_from(["height", "rate"]), max_size=2),
    }
)
BASES = st.builds(Asked, INPUTS, QUERIES)
FORMS = st.sampled_from([JSON, CSV, NETCDF])


@settings(max_examples=300, deadline=None)
@given(BASES, BASES, FORMS, FORMS)
def test_an_etag_is_equal_where_all_it_rests_on_is_and_only_there(first, second, form, other):
    same = (first, form) == (second, other)
    assert (series_etag(first, form, None) == series_etag(second, other, None)) is same


@settings(max_examples=50, deadline=None)
@given(BASES, FORMS)
def test_an_etag_does_not_depend_on_the_order_in_which_the_query_was_put_together(basis, form):
    turned = Asked(basis.inputs, dict(reversed(basis.query.items())))
    assert series_etag(turned, form, None) == series_etag(basis, form, None)


@pytest.mark.parametrize("name", ["NUMERICS", "FORMAT"])
def test_an_etag_changes_with_the_numbers_of_the_code(name, monkeypatch):
    basis = Asked((Input("station", "stn_1", 1, STAMP),), {"series": "heights"})
    before = series_etag(basis, JSON, None)
    monkeypatch.setattr(conditional, name, getattr(conditional, name) + 1)
    assert series_etag(basis, JSON, None) != before


def test_the_etag_of_a_document_changes_with_each_part_of_it():
    parts = ("mark", "mrk_1", 1, STAMP)
    others = [("station", *parts[1:]), ("mark", "mrk_2", 1, STAMP), ("mark", "mrk_1", 2, STAMP),
              (*parts[:3], STAMP + timedelta(microseconds=1))]  # fmt: skip
    assert document_etag(*parts) == document_etag(*parts)
    assert len({document_etag(*one) for one in (parts, *others)}) == 5
    assert all(document_etag(*one).startswith('"') for one in (parts, *others))


@pytest.mark.parametrize(
    ("header", "weak", "strong"),
    [
        ('"a"', True, True),
        ('W/"a"', True, False),
        ('"b", "a"', True, True),
        ('"b" ,\tW/"a" ', True, False),
        (', "a",,', True, True),
        ("*", True, True),
        (" * ", True, True),
        ('"b"', False, False),
        ('"A"', False, False),
        ("a", False, False),
        ('"a', False, False),
        ('"b" "a"', False, False),
        ('w/"a"', False, False),
        ('"x,"a"', False, False),
        ('*, "a"', False, False),
        ("", False, False),
    ],
)
def test_entity_tags_are_compared_as_the_standard_says(header, weak, strong):
    assert names_etag(header, '"a"', weak=True) is weak
    assert names_etag(header, '"a"', weak=False) is strong


def test_a_long_list_of_tags_costs_little():
    assert names_etag('"b", ' * 10_000 + '"a"', '"a"', weak=True)
    assert not names_etag('"b", ' * 10_000 + "x", '"a"', weak=True)


def series_paths(coast):
    station, mark = f"/v1/stations/{coast.station}", f"/v1/marks/{coast.mark}"
    return [
        (f"{station}/heights", SPAN), (f"{station}/flow", SPAN), (f"{station}/extremes", SPAN),
        (f"{station}/constituents", {}), (f"{station}/summary", {}), (f"{mark}/timeline", SPAN),
        ("/v1/heights", {**SPAN, "station_id": coast.station}), ("/v1/flow", {**SPAN, "station_id": coast.station}),
        ("/v1/extremes", {**SPAN, "station_id": coast.station}), ("/v1/timelines", {**SPAN, "mark_id": coast.mark}),
    ]  # fmt: skip


def document_paths(coast):
    return [f"/v1/stations/{coast.station}", f"/v1/marks/{coast.mark}", f"/v1/species-rules/{coast.rule}"]


def refuse(*_args, **_kwargs):
    raise CoreError("computed")


@pytest.fixture
def computing_refused(monkeypatch):
    # Nothing is remembered either: the inputs are read, as with a store that has no pulse.
    monkeypatch.setattr(Pulse, "read", lambda _pulse: None)
    for name in ("heights", "rates", "extremes", "flow_index", "range_cycle", "character"):
        monkeypatch.setattr(TideModel, name, refuse)
    monkeypatch.setattr("service.usecases.heights.heights_at_stations", refuse)
    monkeypatch.setattr("service.usecases.timeline.build_timeline", refuse)
    for name in ("write_constituents", "export_constituents"):
        monkeypatch.setattr(f"service.api.v1.constituents.{name}", refuse)


def tags_of(client, coast, form=JSON):
    found = {}
    for path, params in series_paths(coast):
        response = client.get(path, params=params, headers={"accept": form})
        if response.status_code != 406:
            assert response.status_code == 200, response.text
            assert response.headers["vary"] == "Accept, Authorization"
            assert response.headers["cache-control"] == "private, no-cache"
            found[path] = (params, response.headers["etag"])
    return found


@pytest.mark.parametrize("form", [JSON, CSV, COVERAGEJSON, NETCDF])
def test_what_has_not_changed_is_not_computed_again(coastal, form, request):
    client, coast = coastal
    tags = tags_of(client, coast, form)
    assert len(tags) >= 6
    request.getfixturevalue("computing_refused")
    for path, (params, etag) in tags.items():
        for given_tags in (etag, f"W/{etag}", f'"other", {etag}'):
            response = client.get(path, params=params, headers={"accept": form, "if-none-match": given_tags})
            assert (response.status_code, response.content) == (304, b""), path
            assert response.headers["etag"] == etag
            assert response.headers["vary"] == "Accept, Authorization"
            assert response.headers["cache-control"] == "private, no-cache"
            assert "content-type" not in response.headers
        response = client.get(path, params=params, headers={"accept": form, "if-none-match": '"other"'})
        assert response.status_code == 500, "the refusal to compute is seen"


def test_each_form_has_an_etag_of_its_own(coastal):
    client, coast = coastal
    path = f"/v1/stations/{coast.station}/heights"
    tags = {client.get(path, params=SPAN, headers={"accept": form}).headers["etag"] for form in (JSON, CSV, NETCDF)}
    assert len(tags) == 3


def test_two_spellings_of_a_question_have_one_etag(coastal):
    client, coast = coastal
    path = f"/v1/stations/{coast.station}/heights"

    def etag(**params):
        return client.get(path, params={**SPAN, **params}).headers["etag"]

    plain = etag()
    for same in (
        {"step": "600s"},
        {"start": "2026-06-01T01:00:00+01:00"},
        {"start": "2026-06-01T00:00Z", "step": "10min"},
        {"version": 1},
    ):
        assert etag(**same) == plain, same
    others = [{"step": "1h"}, {"end": "2026-06-03T00:00:00Z"}, {"start": "2026-05-31T23:50:00Z"}, {"tz": "Etc/UTC"}]
    assert len({plain, *(etag(**other) for other in others)}) == 1 + len(others)
    timeline = f"/v1/marks/{coast.mark}/timeline"
    chosen = [["height"], ["rate"], ["height", "rate"], ["rate", "height"]]
    tags = {client.get(timeline, params={**SPAN, "factor": names}).headers["etag"] for names in chosen}
    assert len(tags) == 4
    flow = f"/v1/stations/{coast.station}/flow"
    lags = [{}, {"after_hw_min": 0, "after_lw_min": 0}, {"after_hw_min": 0, "after_lw_min": 1}]
    assert len({client.get(flow, params={**SPAN, **one}).headers["etag"] for one in lags}) == 3
    extremes = f"/v1/stations/{coast.station}/extremes"
    with_and_without = [{"secondary": "true"}, {"secondary": "false"}]
    assert len({client.get(extremes, params={**SPAN, **one}).headers["etag"] for one in with_and_without}) == 2


def test_head_has_the_headers_of_get(coastal):
    client, coast = coastal
    for path, params in [*series_paths(coast), *((path, {}) for path in document_paths(coast))]:
        full, bare = client.get(path, params=params), client.head(path, params=params)
        assert (bare.status_code, bare.content) == (200, b"")
        for name in ("etag", "vary", "cache-control", "content-type", "content-length"):
            assert bare.headers[name] == full.headers[name], (path, name)
        unchanged = client.head(path, params=params, headers={"if-none-match": full.headers["etag"]})
        assert unchanged.status_code == 304


def test_documents_have_an_etag_and_answer_304(coastal):
    client, coast = coastal
    tags = set()
    for path in document_paths(coast):
        response = client.get(path)
        # Marks come as GeoJSON too.
        assert response.headers["vary"] == ("Accept, Authorization" if "/marks/" in path else "Authorization")
        etag = response.headers["etag"]
        tags.add(etag)
        again = client.get(path, headers={"if-none-match": etag})
        assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", etag)
        assert client.get(path, headers={"if-none-match": '"other"'}).status_code == 200
    assert len(tags) == 3


def test_a_new_version_of_the_tide_changes_every_etag_that_rests_on_it(client):
    station = client.post("/v1/stations", json=example("create_station")).json()["id"]
    mark = client.post("/v1/marks", json=example("create_mark")).json()["id"]
    heights, timeline = f"/v1/stations/{station}/heights", f"/v1/marks/{mark}/timeline"
    asked = [(heights, SPAN), (f"/v1/stations/{station}", {}), (timeline, SPAN), (f"/v1/marks/{mark}", {})]
    before = [client.get(path, params=params).headers["etag"] for path, params in asked]
    house = client.app.state.house
    with house.store.unit("acc_local", writes=True) as unit:
        document = unit.stations.document(station, 1)
        stamps = {"datum": "x", "input_hash": "x", "numerics": 1, "code_version": "x"}
        unit.stations.add_model(
            station, document, source="fit", fit_id=None, stamps=stamps, now=datetime(2030, 1, 1, tzinfo=UTC)
        )
        unit.commit()
    after = [client.get(path, params=params).headers["etag"] for path, params in asked]
    assert [one != other for one, other in zip(before, after, strict=True)] == [True, True, True, False]
    old = client.get(heights, params=SPAN, headers={"if-none-match": before[0]})
    assert old.status_code == 200
    assert old.json()["stations"][0]["version"] == 2


def test_an_error_has_no_etag(coastal):
    client, coast = coastal
    missing = client.get("/v1/stations/stn_0/heights", params=SPAN, headers={"if-none-match": "*"})
    assert missing.status_code == 404
    assert "etag" not in missing.headers
    bare = client.get(f"/v1/stations/{coast.bare_station}/heights", params=SPAN, headers={"if-none-match": "*"})
    assert bare.status_code == 409


def test_any_answer_at_all_is_not_said_of_what_cannot_be_computed(coastal):
    client, coast = coastal
    beyond = {"start": "2060-01-01T00:00:00Z", "end": "2060-01-02T00:00:00Z"}
    for tags in ({}, {"if-none-match": "*"}):
        assert client.get(f"/v1/marks/{coast.mark}/timeline", params=beyond, headers=tags).status_code == 422
    timeline = client.get(f"/v1/marks/{coast.mark}/timeline", params=SPAN, headers={"if-none-match": "*"})
    assert (timeline.status_code, timeline.content) == (304, b"")


def test_inputs_are_compared_whole():
    one = Input("station", "stn_1", 1, STAMP)
    for change in ({"kind": "mark"}, {"key": "stn_2"}, {"version": 2}, {"stamp": STAMP + timedelta(seconds=1)}):
        changed = Asked((dataclasses.replace(one, **change),), {})
        assert series_etag(changed, JSON, None) != series_etag(Asked((one,), {}), JSON, None), change
