from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from tidecore.catchstats import Habits, RodLog, advise
from tidecore.errors import InvalidInput

MINUTE = 60_000_000
NOW = 10_000 * MINUTE


def ago(*minutes):
    return np.array([NOW - minute * MINUTE for minute in minutes], dtype=np.int64)


def rod(name, *, catches=(), bites=(), on=((90, 0),), **more):
    spans = np.array([[NOW - start * MINUTE, NOW - end * MINUTE] for start, end in on], dtype=np.int64)
    return RodLog(name, spans.reshape(-1, 2), ago(*catches), ago(*bites), **more)


def test_two_quick_fish_mean_double_up_now():
    found = advise(rod("near", catches=(4, 11)), rod("far"), NOW)
    assert (found.advice, found.better, found.rod) == ("double_up", "near", "far")
    assert found.chance == pytest.approx(scipy.stats.beta.sf(0.5, 2.5, 0.5))
    assert "none on far" in found.why
    assert found.sides[0].bursts == 1
    assert found.fish_per_burst == 2.0


def test_one_fish_does_not():
    found = advise(rod("near", catches=(4,)), rod("far"), NOW)
    assert found.advice == "leave"
    assert found.better == "near"
    assert 0.5 < found.chance < 0.85
    assert "more fish" in found.tell_more


@pytest.mark.parametrize("catches", [(40, 47), (4, 60)])
def test_a_burst_that_is_over_or_none_is_not_followed(catches):
    assert advise(rod("near", catches=catches), rod("far"), NOW).advice != "double_up"


def test_a_quiet_rod_is_changed_in_one_thing_when_the_other_is_surely_better():
    catches = (25, 50, 75)
    found = advise(rod("near", catches=catches), rod("far", last_change="range"), NOW)
    assert (found.advice, found.rod, found.change) == ("change_one_thing", "far", "bait")
    assert found.chance == pytest.approx(scipy.stats.beta.sf(0.5, 3.5, 0.5))
    first = advise(rod("near", catches=catches), rod("far"), NOW)
    assert first.change == "range"
    assert advise(rod("near", catches=catches), rod("far", last_change="rig"), NOW).change == "range"
    assert first.by_fish is not None
    assert first.by_fish.p_value == pytest.approx(0.25)


def test_too_early_to_judge():
    found = advise(rod("near", on=((12, 0),)), rod("far", on=((20, 0),)), NOW)
    assert found.advice == "leave"
    assert found.shared_h == pytest.approx(0.2)
    assert found.tell_more == "another 18 min with both baits in"
    assert found.better == ""
    none = advise(rod("near", on=()), rod("far"), NOW)
    assert (none.advice, none.by_fish, none.shared_h) == ("leave", None, 0.0)


@pytest.mark.parametrize(("minutes", "advice"), [(29, "leave"), (30, "change_one_thing")])
def test_a_change_is_judged_from_half_an_hour_on(minutes, advice):
    assert advise(rod("near", on=((minutes, 0),)), rod("far"), NOW).advice == advice


def test_bites_alike_on_both_are_no_silence():
    found = advise(rod("near", bites=(40,)), rod("far", bites=(50,)), NOW)
    assert (found.advice, found.chance) == ("leave", 0.5)
    assert found.why.startswith("no telling them apart")


def test_silence_on_both_changes_one_thing_on_one():
    found = advise(rod("near"), rod("far"), NOW)
    assert (found.advice, found.better) == ("change_one_thing", "")
    assert found.chance == 0.5
    assert "neither has had a bite" in found.why


@pytest.mark.parametrize("reason", ["weed", "surf", "rock_at_night"])
def test_one_rod_is_an_answer(reason):
    found = advise(rod("near", catches=(4, 11)), rod("far"), NOW, hindrances=(reason,))
    assert found.advice == "one_rod"
    assert reason.replace("_", " ") in found.why


def test_fast_bites_are_one_rod_s_work():
    bites = tuple(range(1, 90, 5))
    found = advise(rod("near", bites=bites), rod("far", bites=bites), NOW)
    assert found.advice == "one_rod"
    assert found.by_bites is not None
    assert found.by_bites.ratio == pytest.approx(1.0)


def test_a_rod_with_an_aim_of_its_own_is_not_failing():
    found = advise(rod("near", catches=(25, 50, 75)), rod("far", aim="conger"), NOW)
    assert found.advice == "leave"
    assert math.isnan(found.chance)
    assert found.better == ""


def test_only_time_with_both_baits_in_counts():
    one = rod("near", on=((90, 60), (40, 10)), catches=(70, 50, 20), bites=(65, 45, 15))
    other = rod("far", on=((100, 80), (75, 30), (20, 0)))
    found = advise(one, other, NOW)
    # 90 to 80, 75 to 60, 40 to 30 and 20 to 10 minutes ago.
    assert found.shared_h == pytest.approx(45 / 60)
    assert (found.sides[0].fish, found.sides[0].bites) == (2, 2)


def test_a_fish_that_ends_its_cast_counts():
    found = advise(rod("near", on=((90, 40),), catches=(40,)), rod("far"), NOW)
    assert found.sides[0].fish == 1


def test_what_was_before_a_change_and_what_is_old_are_forgotten():
    one = rod("near", on=((600, 0),), catches=(500, 70, 20))
    found = advise(one, rod("far", on=((600, 0),)), NOW)
    assert found.shared_h == pytest.approx(2.0)
    assert found.sides[0].fish == 2
    changed = advise(one, rod("far", on=((600, 0),), last_change="bait", changed_us=NOW - 45 * MINUTE), NOW)
    assert changed.shared_h == pytest.approx(0.75)
    assert changed.sides[0].fish == 1


def test_a_burst_counts_once_for_the_chance():
    burst = advise(rod("near", catches=(50, 52, 55, 58)), rod("far"), NOW)
    single = advise(rod("near", catches=(50,)), rod("far"), NOW)
    assert burst.chance == single.chance
    assert burst.fish_per_burst == 4.0
    assert burst.by_fish is not None
    assert burst.by_fish.chance > 0.95


def test_fish_of_a_burst_are_those_of_both_rods():
    # A burst of three and a single fish here, a burst of two there.
    found = advise(rod("near", catches=(50, 52, 55, 80)), rod("far", catches=(30, 32)), NOW)
    assert [side.bursts for side in found.sides] == [2, 1]
    assert found.fish_per_burst == 2.0


@pytest.mark.parametrize(("minutes", "advice"), [(15, "one_rod"), (14, "leave")])
def test_bites_are_called_fast_from_half_of_the_time_to_judge_on(minutes, advice):
    # Two bites on each in a quarter of an hour: sixteen an hour.
    one, other = (rod(name, on=((minutes, 0),), bites=(3, 8)) for name in ("near", "far"))
    assert advise(one, other, NOW).advice == advice


@given(st.lists(st.integers(1, 110), max_size=6), st.lists(st.integers(1, 110), max_size=6))
def test_the_order_of_the_rods_does_not_matter(near, far):
    one = advise(rod("near", catches=near), rod("far", catches=far), NOW)
    other = advise(rod("far", catches=far), rod("near", catches=near), NOW)
    assert (one.advice, one.better) == (other.advice, other.better)
    assert one.chance == pytest.approx(other.chance)
    assert one.chance >= 0.5 or one.advice == "double_up"
    if one.better:
        assert one.tell_more == other.tell_more


@pytest.mark.parametrize(("ahead", "behind"), [(1, 0), (2, 0), (2, 1), (3, 2), (5, 4), (4, 1)])
def test_what_would_settle_it_is_the_fewest_bursts_that_make_it_sure(ahead, behind):
    # One fish every 12 min is a burst of its own; the rates of both after Jeffreys, over the same time.
    found = advise(
        rod("far", catches=range(66, 66 - 12 * behind, -12)), rod("near", catches=range(85, 85 - 12 * ahead, -12)), NOW
    )
    assert (found.better, found.advice) == ("near", "leave" if found.chance < 0.85 else "change_one_thing")
    sure = [scipy.stats.beta.sf(0.5, ahead + more + 0.5, behind + 0.5) >= 0.95 for more in range(40)]
    more = sure.index(True)
    fish = "fish" if more == 1 else "fish, well apart,"
    assert found.tell_more.startswith(f"{more} more {fish} on near and none on far would make it 0.95")
    # As many again as it has take as long again.
    assert f"in about {more * 1.5 / ahead:.1f} h" in found.tell_more


def test_rods_of_equal_rate_are_seldom_told_apart():
    """Two rods alike, fish one by one, asked once after two hours: how often one is called the better."""
    rng = np.random.default_rng(3)
    asked, wrong = 400, 0
    for _ in range(asked):
        near, far = (np.sort(rng.uniform(0, 120, rng.poisson(2.0))) for _ in range(2))
        found = advise(
            rod("near", catches=near.astype(int), on=((120, 0),)),
            rod("far", catches=far.astype(int), on=((120, 0),)),
            NOW,
        )
        wrong += found.advice == "change_one_thing" and found.chance >= 0.85
    assert wrong / asked < 0.3


def test_habits_that_are_none_are_refused_at_once():
    with pytest.raises(InvalidInput) as caught:
        Habits(judge_min=0.0, burst_min=math.nan, sure=0.5, quick_fish=1)
    assert [fault.field for fault in caught.value.faults] == ["judge_min", "burst_min", "sure", "quick_fish"]
    with pytest.raises(InvalidInput):
        advise(rod("near"), rod("near"), NOW)
