"""Two rods, and two rates, over HTTP."""

from __future__ import annotations

import pytest
import scipy.stats

from service.api.v1.schemas.two_rods import EXAMPLE
from tests.service.problems import problem

NEAR, FAR = EXAMPLE["rods"]


def at(clock):
    return f"2026-06-03T{clock}:00Z"


def rod(name, *, catches=(), bites=(), casts=(("19:30", "21:00"),), **more):
    return {
        "rod": name,
        "casts": [{"out": at(out), "in": at(in_)} for out, in_ in casts],
        "catches": [at(clock) for clock in catches],
        "bites": [at(clock) for clock in bites],
        **more,
    }


def ask(client, *rods, now="21:00", **more):
    return client.post("/v1/two-rods", json={"now": at(now), "rods": list(rods), **more})


def told(client, *rods, **more):
    response = ask(client, *rods, **more)
    assert response.status_code == 200, response.text
    return response.json()


@pytest.fixture(scope="module")
def client(coastal):
    return coastal[0]


def test_two_quick_fish_mean_double_up_and_are_one_burst(client):
    found = client.post("/v1/two-rods", json=EXAMPLE).json()
    assert (found["advice"], found["better"], found["rod"]) == ("double_up", "near", "far")
    # Two fish against none, half a fish on either side as prior: the beta distribution of another library.
    assert found["chance"] == pytest.approx(scipy.stats.beta.sf(0.5, 2.5, 0.5), abs=5e-4)
    assert found["at"] == "2026-06-03T21:00:00Z"
    # Since the bait was changed at 19:54: 19:56 to 20:18, 20:22 to 20:30 and 20:33 to 21:00 with both in.
    assert found["compared_since"] == "2026-06-03T19:54:00Z"
    assert found["shared_h"] == pytest.approx((22 + 8 + 27) / 60, abs=1e-4)
    near, far = found["rods"]
    assert (near["fish"], near["bursts"], near["bites"], near["fish_left_out"]) == (2, 1, 1, 0)
    assert (near["bait_on_h"], far["bait_on_h"]) == (pytest.approx(82 / 60, abs=1e-4), pytest.approx(82 / 60, abs=1e-4))
    assert (found["over_dispersion"]["fish_per_burst"], found["over_dispersion"]["bursts"]) == (2.0, 1)
    assert "2 fish in 1 burst" in found["over_dispersion"]["words"]
    assert found["by_fish"]["ratio"] is None  # none on the other: no ratio
    assert found["by_bites"]["p_value"] == 1.0


def test_patience_then_one_change_then_one_rod(client):
    early = told(client, rod("near", casts=[("20:50", "21:00")], catches=["20:55"]), rod("far"))
    assert (early["advice"], early["rod"], early["change"]) == ("leave", None, None)
    assert "20 min" in early["tell_more"]
    sure = told(client, rod("near", catches=["19:40", "20:05", "20:30"]), rod("far", bites=["20:40"]))
    assert (sure["advice"], sure["rod"], sure["change"]) == ("change_one_thing", "far", "range")
    assert sure["chance"] == pytest.approx(scipy.stats.beta.sf(0.5, 3.5, 0.5), abs=5e-4)
    assert (sure["rods"][1]["bites"], sure["by_bites"]["ratio"]) == (1, 0.0)
    assert sure["over_dispersion"]["words"].endswith("no bursts")
    one = told(client, rod("near"), rod("far"), hindrances=["weed"])
    assert (one["advice"], one["chance"], one["better"]) == ("one_rod", 0.5, None)
    aims = told(client, rod("near", catches=["20:00", "20:30"]), rod("far", aim="one big fish"))
    assert (aims["advice"], aims["chance"]) == ("leave", None)


def test_habits_say_whose_they_are_and_may_be_overridden(client):
    found = told(client, rod("near", catches=["20:56"]), rod("far"))
    bases = {one["name"]: (one["value"], one["basis"]) for one in found["habits"]}
    assert bases["judge_min"] == (30.0, "common practice")
    assert bases["quick_fish"] == (2.0, "common practice")
    assert {name for name, (_, basis) in bases.items() if basis == "a choice of ours"} == {
        "quick_min", "burst_min", "memory_min", "sure", "fast_per_h"
    }  # fmt: skip
    mine = told(client, rod("near", catches=["19:50"]), rod("far"), habits={"sure": 0.7, "judge_min": 40})
    assert (found["advice"], mine["advice"]) == ("leave", "change_one_thing")
    assert {one["name"]: one["basis"] for one in mine["habits"]}["sure"] == "given"
    assert "common practice" in mine["caution"]


def test_what_is_outside_the_time_of_both_is_named(client):
    found = told(client, rod("near", catches=["19:40", "20:30"]), rod("far", casts=[("20:00", "20:45")]))
    assert (found["shared_h"], found["rods"][0]["fish"], found["rods"][0]["fish_left_out"]) == (0.75, 1, 1)
    never = told(client, rod("near", casts=[("19:00", "19:30")]), rod("far", casts=[("20:00", "20:30")]))
    assert (never["shared_h"], never["by_fish"], never["advice"]) == (0.0, None, "leave")


@pytest.mark.parametrize(
    ("rods", "more", "faults"),
    [
        ([rod("near")], {}, {"rods": "two rods"}),
        ([rod("near"), rod("near")], {}, {"rods.1.rod": "names of their own"}),
        ([rod("near"), rod("far", casts=[])], {}, {"rods.1.casts": "one cast at least"}),
        (
            [rod("near", casts=[("20:00", "19:00"), ("19:10", "19:20")]), rod("far", catches=["20:00", "23:00"])],
            {"habits": {"sure": 0.4, "quick_fish": 1}},
            {"rods.0.casts.0.in": "after the bait went out", "habits.sure": "0.5", "habits.quick_fish": "2"},
        ),
        (
            [rod("near", casts=[("19:00", "20:00"), ("19:50", "20:30")]), rod("far")],
            {},
            {"rods.0.casts.1.out": "one after the other"},
        ),
        (
            [rod("near", catches=["21:01"]), rod("far", changes=[{"at": at("22:00"), "what": "bait"}])],
            {},
            {"rods.0.catches.0": "up to now", "rods.1.changes.0.at": "up to now"},
        ),
        (
            [{**rod("near"), "casts": [{"out": at("19:00")}, {"out": at("20:00")}]}, rod("far")],
            {},
            {"rods.0.casts.0.in": "when the bait came in"},
        ),
    ],
)
def test_bad_rods_are_refused_with_what_would_be_right(client, rods, more, faults):
    response = ask(client, *rods, **more)
    assert response.status_code == 422, response.text
    found = {one["field"]: one["expected"] for one in response.json()["errors"]}
    assert set(found) == set(faults)
    for field, words in faults.items():
        assert words in found[field]


@pytest.mark.parametrize(
    ("first", "second", "ratio"),
    [
        # Gu and others (2008), from memory; in counts and person-years, which are hours to this service.
        ((60, 51477.5), (30, 54308.7), 2.11),
        # The breast-cancer example of Graham and others (2003), from memory.
        ((41, 28010), (15, 19017), 1.856),
    ],
)
def test_two_rates_of_the_literature(client, first, second, ratio):
    body = {"first": dict(zip(("count", "effort_h"), first, strict=True)),
            "second": dict(zip(("count", "effort_h"), second, strict=True))}  # fmt: skip
    found = client.post("/v1/two-rods/rates", json=body).json()
    assert found["ratio"] == pytest.approx(ratio, abs=0.005)
    share = first[1] / (first[1] + second[1])
    test = scipy.stats.binomtest(first[0], first[0] + second[0], share)
    limits = test.proportion_ci(0.95, method="exact")
    odds = [second[1] / first[1] * one / (1.0 - one) for one in (limits.low, limits.high)]
    assert (found["lower"], found["upper"]) == pytest.approx(odds, rel=1e-3)
    assert found["p_value"] == pytest.approx(test.pvalue, abs=1e-6)
    assert found["chance"] > 0.95


def test_rates_that_cannot_be_are_refused(client):
    bad = {"first": {"count": -1, "effort_h": 0}, "second": {"count": 2, "effort_h": 1}, "level": 1}
    document = problem(client.post("/v1/two-rods/rates", json=bad), 422, "invalid-request")
    assert [one["field"] for one in document["errors"]] == ["first.count", "first.effort_h", "level"]
    many = {"first": {"count": 700_000, "effort_h": 1}, "second": {"count": 700_000, "effort_h": 1}}
    document = problem(client.post("/v1/two-rods/rates", json=many), 422, "invalid-input")
    assert [one["field"] for one in document["errors"]] == ["second.count"]
    instant = {"first": {"count": 2026, "effort_h": 12}, "second": {"count": 94, "effort_h": 2.1e-236}}
    document = problem(client.post("/v1/two-rods/rates", json=instant), 422, "invalid-request")
    assert [one["field"] for one in document["errors"]] == ["second.effort_h"]
