"""The order of outings: by worth, diverse, in groups, as a plan; and two marks in one outing."""

from __future__ import annotations

import random
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tidecore.windows.doubles import rule, trapezoid
from tests.tidecore.windows.evenings import DOWN_AND_UP, NIGHT_FLOOD, search, timeline_over
from tidecore.errors import UnknownName
from tidecore.timebase import US_PER_HOUR, US_PER_MINUTE
from tidecore.windows import (
    Outing,
    SessionOptions,
    complete,
    find_double_outings,
    find_outings,
    rank_outings,
)
from tidecore.windows.outings import OutingLeg

OPTIONS = SessionOptions()
SEARCHES = {key: search(DOWN_AND_UP, NIGHT_FLOOD, key=key) for key in ("ledge", "reef")}
OUTINGS = [one for found in SEARCHES.values() for one in find_outings(found, OPTIONS)]


def made(mark: str, tide_h: float, start_h: float, worth: float) -> Outing:
    """An outing worth so much, on the tide of an hour, from an hour on."""
    base = timeline_over().span.start_us
    start = base + round(start_h * US_PER_HOUR)
    leg = OutingLeg(mark, start, start, start + 3 * US_PER_HOUR, start + 3 * US_PER_HOUR, worth, (("x", worth),))
    return Outing((leg,), 0, 0, base + round(tide_h * US_PER_HOUR), (start, start + US_PER_HOUR), worth / 3)


def test_one_tide_is_not_named_ten_times_before_the_next():
    slices = [made("ledge", 6.0, 5.0 + 0.1 * k, 3.0 - 0.01 * k) for k in range(10)]
    other = made("ledge", 42.0, 41.0, 2.0)
    ranked = rank_outings([*slices, other], SEARCHES)
    assert [one.outing for one in ranked[:2]] == [slices[0], other]
    assert [one.outing for one in rank_outings([*slices, other], SEARCHES, diverse=False)[:10]] == slices


def test_another_mark_on_the_same_tide_stays_a_choice():
    first, same_tide, elsewhere = (
        made("ledge", 6.0, 5.0, 3.0),
        made("ledge", 6.1, 6.0, 2.9),
        made("reef", 6.5, 5.0, 2.7),
    )
    ranked = rank_outings([same_tide, elsewhere, first], SEARCHES)
    assert [one.outing for one in ranked] == [first, elsewhere, same_tide]


@settings(max_examples=20)
@given(seed=st.integers(0, 2**32), by=st.sampled_from(["overall", "mark", "species", "day"]), diverse=st.booleans())
def test_the_order_does_not_depend_on_that_of_the_marks(seed, by, diverse):
    shuffled = list(OUTINGS)
    random.Random(seed).shuffle(shuffled)
    wanted = rank_outings(OUTINGS, SEARCHES, by=by, diverse=diverse)
    assert rank_outings(shuffled, dict(reversed(SEARCHES.items())), by=by, diverse=diverse) == wanted


@settings(max_examples=20)
@given(
    st.lists(st.tuples(st.sampled_from(["ledge", "reef"]), st.floats(0, 72), st.floats(0.1, 4)), max_size=20),
    st.floats(0, 120),
)
def test_the_sessions_of_a_plan_never_overlap(places, way_min):
    way = round(way_min * US_PER_MINUTE)
    outings = [made(mark, start, start, worth)._replace(there_us=way, back_us=way) for mark, start, worth in places]
    planned = [one.outing for one in rank_outings(outings, SEARCHES, overlapping=False)]
    spans = sorted((one.arrive_us - way, one.leave_us + way) for one in planned)
    assert all(later[0] >= earlier[1] for earlier, later in pairwise(spans))
    # Nothing else would fit in.
    for one in outings:
        away = (one.arrive_us - way, one.leave_us + way)
        assert one in planned or any(start < away[1] and end > away[0] for start, end in spans)
    if outings:
        best = max(one.score_hours for one in outings)
        assert max(one.score_hours for one in planned) == best


def test_groups_hold_each_outing_where_it_belongs():
    by_mark = rank_outings(OUTINGS, SEARCHES, by="mark", each=3)
    assert {one.group for one in by_mark} == {"ledge", "reef"}
    assert [one.rank for one in by_mark] == [1, 2, 3, 1, 2, 3]
    by_species = rank_outings(OUTINGS, SEARCHES, by="species", diverse=False)
    for one in by_species:
        name = {"Piscis nocturnus": "flood in the dark", "Piscis inventus": "two down, two up"}[one.group]
        assert one.worth_h == one.outing.rule_hours[name]
    days = [one.group for one in rank_outings(OUTINGS, SEARCHES, by="day")]
    assert days == sorted(days)
    with pytest.raises(UnknownName, match="colour"):
        rank_outings(OUTINGS, SEARCHES, by="colour")  # type: ignore[arg-type]


REEF = rule(name="reef", require=[("hours_from_lw", trapezoid(-2.0, -1.5, 0.25, 0.75), {})])
BEACH = rule(name="beach", require=[("hours_from_lw", trapezoid(0.5, 1.0, 3.0, 3.5), {})])


def test_the_reef_over_low_water_then_the_beach_on_the_flood():
    reef, beach = search(REEF, key="reef"), search(BEACH, key="beach")
    single = [*find_outings(reef, OPTIONS), *find_outings(beach, OPTIONS)]
    options = SessionOptions(most_h=7.0)
    found = find_double_outings(reef, beach, options, 15.0, single=single)
    assert found
    for one in found:
        assert one.marks == ("reef", "beach")
        early, late = one.legs
        assert late.arrive_us - early.leave_us == 15 * US_PER_MINUTE
        assert early.end_us - early.start_us >= 45 * US_PER_MINUTE
        assert 3.0 <= (one.leave_us - one.arrive_us) / US_PER_HOUR <= 7.0
        staying = [o.score_hours for o in single if o.arrive_us < one.leave_us and o.leave_us > one.arrive_us]
        assert one.score_hours >= 1.1 * max(staying)
    session = complete(found[0], {"reef": reef, "beach": beach})
    assert len(session.legs) == 2
    assert "by road" in " ".join(session.reasons)
    # The other way round the tide does not come.
    assert not find_double_outings(beach, reef, SessionOptions(), 15.0, single=single)


@pytest.mark.parametrize(("least_h", "most_h"), [(3.0, 4.0), (3.0, 4.5), (4.9, 5.0)])
def test_an_outing_to_two_marks_is_no_longer_than_asked_and_no_shorter(least_h, most_h):
    reef, beach = search(REEF, key="reef"), search(BEACH, key="beach")
    found = find_double_outings(reef, beach, SessionOptions(least_h=least_h, most_h=most_h, least_leg_min=30.0), 15.0)
    lengths = [(one.leave_us - one.arrive_us) / US_PER_HOUR for one in found]
    assert len(lengths) > 10
    assert least_h <= min(lengths)
    # Both marks fish for longer than that, so all of it is used.
    assert most_h - 0.1 < max(lengths) <= most_h


def test_the_change_of_mark_is_the_best_there_is():
    reef, beach = search(REEF, key="reef"), search(BEACH, key="beach")
    one = find_double_outings(reef, beach, SessionOptions(most_h=7.0), 15.0)[0]
    early, late = one.legs
    change = late.start_us - early.end_us
    for shift in np.arange(-40, 45, 10) * US_PER_MINUTE:
        end = early.end_us + int(shift)
        worth = reef.best.integral(early.start_us, end) + beach.best.integral(end + change, late.end_us)
        assert worth <= one.score_hours + 0.01


def test_two_marks_lie_in_one_free_span():
    reef, beach = search(REEF, key="reef"), search(BEACH, key="beach")
    whole = find_double_outings(reef, beach, SessionOptions(most_h=7.0), 15.0)[0]
    start, end = whole.arrive_us - 20 * US_PER_MINUTE, whole.leave_us + 30 * US_PER_MINUTE
    options = SessionOptions(most_h=7.0)
    free = np.array([[start, end]], dtype=np.int64)
    (kept,) = find_double_outings(reef, beach, options, 15.0, free, (20.0, 30.0))
    assert start <= kept.arrive_us - kept.there_us
    assert kept.leave_us + kept.back_us <= end
    middle = (start + end) // 2
    halves = np.array([[start, middle - 1], [middle, end]], dtype=np.int64)
    assert not find_double_outings(reef, beach, options, 15.0, halves, (20.0, 30.0))
