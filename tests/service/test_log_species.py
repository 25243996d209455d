"""A species that is logged with its FAO code here, without it there, and under a local name, is one species."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from service.app import create_app
from service.security import LOCAL_ACCOUNT
from service.usecases.log_species import keys_of, names_meant
from tests.service.coast import PEER, URL, example
from tests.service.conftest import settings_for
from tests.service.log_book import BASS, FLAT, START, do_joins, trip_document

PLAIN = {"scientific_name": "piscis Inventus"}
#: Minutes and spelling of what three trips caught, and the length of each: 30 cm and one more for each before it.
CAUGHT = ([(60.0, PLAIN), (90.0, BASS)], [(60.0, PLAIN)], [(60.0, BASS), (61.0, FLAT)])
YEAR = 365


@pytest.fixture(scope="module")
def shore(tmp_path_factory):
    """Two trips of this year and one of the year before, which has no code; a coarse row of it without one as well."""
    app = create_app(settings_for(tmp_path_factory.mktemp("spelled"), workers=0))
    with TestClient(app, base_url=URL, client=PEER) as client:
        client.post("/v1/stations", json=example("create_station"))
        mark = client.post("/v1/marks", json=example("create_mark")).json()["id"]
        for days, caught in zip((0, -YEAR, 30), CAUGHT, strict=True):
            document = trip_document(mark, START + days * (START.resolution * 86_400_000_000), caught=caught)
            assert client.post("/v1/trips", json=document).status_code == 201
        row = {"date": "2026-05-02", "mark": mark, "outcome": "fished", "hours": {"from": "10:00", "to": "12:00"}}
        row["caught"] = [{"species": PLAIN, "count": 5}]
        assert client.post("/v1/diary-rows", json=row).status_code == 201
        do_joins(app.state.house, LOCAL_ACCOUNT)
        yield client


def ask(client, path, **query):
    found = client.get(f"/v1/insights/{path}", params=query)
    assert found.status_code == 200, found.text
    return found.json()


def test_totals_tell_it_once_and_a_trip_that_spells_it_twice_caught_it_once(shore):
    bass, flat = ask(shore, "totals")["species"]
    assert bass["species"]["fao_code"] == "ZZZ"
    assert (bass["count"], bass["trips"], bass["from_diary"]) == (9, 3, 5)
    assert flat["species"]["scientific_name"] == "Piscis planus"


@pytest.mark.parametrize("name", ["ZZZ", "zzz", "Piscis inventus", "invented fish"])
def test_whoever_asks_by_code_or_name_is_told_of_all_of_it(shore, name):
    assert ask(shore, "totals", species=name)["caught"] == 9
    # A year in which nobody wrote the code.
    assert ask(shore, "totals", species=name, to_day="2025-12-31")["caught"] == 1
    for by in ("mark", "month", "light"):
        found = ask(shore, "rates", by=by, species=name, effort="raw")
        assert sum(one["rate"]["count"] for one in found["bins"]) == 4, by
    assert ask(shore, "seasons/2026", species=name)["caught"] == 3


def test_a_season_knows_it_from_before_and_has_one_longest(shore):
    found = ask(shore, "seasons/2026")
    firsts = {one["species"]["scientific_name"].casefold(): one for one in found["firsts"]}
    assert len(found["firsts"]) == 2
    assert not firsts["piscis inventus"]["first_on_record"]
    assert firsts["piscis planus"]["first_on_record"]
    longest = {one["species"]["scientific_name"].casefold(): one["length_cm"] for one in found["longest"]}
    assert len(found["longest"]) == 2
    assert longest["piscis inventus"] == 31.0


def test_what_a_season_counts_adds_up(shore):
    found = ask(shore, "seasons/2026")
    assert (found["caught"], found["diary_caught"], found["diary_rows"], found["coarse_rod_h"]) == (4, 5, 1, 2.0)
    assert sum(one["count"] for one in found["species"]) == found["caught"] + found["diary_caught"]
    for name in ("caught", "diary_caught", "diary_rows"):
        assert sum(month[name] for month in found["months"]) == found[name]
        assert sum(mark[name] for mark in found["marks"]) == found[name]


def test_a_name_that_nothing_is_called_by_is_said(shore):
    found = ask(shore, "rates", by="mark", species="codling")
    assert found["together"]["count"] == 0
    assert any("Nothing in the log is called 'codling'" in remark for remark in found["remarks"])
    assert not any("called" in remark for remark in ask(shore, "rates", by="mark", species="ZZZ")["remarks"])


def test_one_name_under_two_codes_stays_two_species():
    one, other, plain = ("Piscis a", "AAA", None), ("Piscis a", "BBB", None), ("piscis A", None, None)
    assert keys_of([one, plain]) == {one: "AAA", plain: "AAA"}
    assert keys_of([one, other, plain]) == {one: "AAA", other: "BBB", plain: "piscis a"}
    assert names_meant("aaa", [one, other]) == {"aaa", "piscis a"}
    assert names_meant("none", [one, other, plain]) == set()
