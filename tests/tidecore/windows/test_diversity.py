"""The diverse order held to its definition, worked out one by one in plain Python."""

from __future__ import annotations

import math

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tidecore.windows.test_ranking import made
from tidecore.timebase import US_PER_HOUR
from tidecore.windows import Outing
from tidecore.windows.diversity import SAME_DAY_SAME_MARK, SAME_TIDE, SAME_TIDE_SAME_MARK, diversified, without_overlaps

#: Worths far enough from each other that no rounding decides, and some that are equal.
WORTHS = st.integers(1, 60).map(lambda k: k / 8.0)
CHOICES = st.lists(
    st.tuples(st.sampled_from(["ledge", "reef", "bar"]), st.sampled_from([0.0, 2.9, 3.0, 12.4, 24.8, 27.9]), WORTHS),
    max_size=14,
)


def beside(one: Outing, chosen: list[Outing]) -> float:
    """What an outing is worth beside those that were chosen, in their order."""
    worth = one.score_hours
    for other in chosen:
        mark = bool(set(one.marks) & set(other.marks))
        if abs(one.tide_us - other.tide_us) < 3 * US_PER_HOUR:
            worth *= SAME_TIDE_SAME_MARK if mark else SAME_TIDE
        if mark and date(one) == date(other):
            worth *= SAME_DAY_SAME_MARK
    return worth


def date(one: Outing) -> str:
    return str(one.arrive_us // (24 * US_PER_HOUR))


@settings(max_examples=60)
@given(CHOICES, st.integers(0, 15))
def test_each_is_the_one_worth_most_beside_those_before_it(choices, most):
    outings = [made(mark, tide_h, tide_h + 5.0, worth) for mark, tide_h, worth in choices]
    order = diversified(outings, [one.score_hours for one in outings], [date(one) for one in outings], most)
    ranked = [outings[k] for k in order]
    assert sorted(order) == list(range(len(outings)))
    for place, one in enumerate(ranked):
        # Those after the ones wanted go by what they are worth beside these.
        before = ranked[: min(place, most)]
        mine = beside(one, before)
        for later in ranked[place + 1 :]:
            other = beside(later, before)
            assert mine > other or math.isclose(mine, other, rel_tol=1e-9), (place, mine, other)
            if mine == other and one.score_hours == later.score_hours:
                assert one.order <= later.order


def test_what_an_outing_is_worth_beside_its_like_is_less_the_more_alike_they_are():
    assert SAME_TIDE_SAME_MARK * SAME_DAY_SAME_MARK < SAME_TIDE_SAME_MARK < SAME_DAY_SAME_MARK < SAME_TIDE < 1.0


def test_outings_that_meet_end_to_end_can_both_be_made():
    first, second, third = (made("ledge", 0.0, start, 3.0) for start in (0.0, 3.0, 2.999))
    assert without_overlaps([first, second]) == [0, 1]
    assert without_overlaps([second, first]) == [0, 1]
    assert without_overlaps([first, third]) == [0]
