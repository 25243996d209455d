"""Answers that an old hand would not give, known and not yet put right: each expected to fail, and strictly."""

from __future__ import annotations

import pytest

from tests.scenarios.cards import cards

_MUD = (
    "a way back without a walking time, as over soft mud, is not assessed at all: that its sill is under water needs "
    "no walking time"
)
_BATHERS = "bathing hours of the access calendar close a mark, and are not taken for bathers in the casting arc"
_PERIOD = "the danger of a swell on rock is told by its height alone; its period, which makes it one, is not said"
_MUD_CARD, _BATHERS_CARD = "soft_mud_on_the_flood", "bathers_on_a_summer_sunday"

#: What is wrong by the test and the beginning of its case.
FAULTS: dict[tuple[str, str], str] = {
    ("test_the_first_choice_is_that_of_an_old_hand", _MUD_CARD): _MUD,
    ("test_the_last_choice_is_stopped_by_what_would_stop_him", _MUD_CARD): _MUD,
    ("test_what_must_be_said_is_said_and_what_must_not_is_not", _MUD_CARD): _MUD,
    ("test_what_is_dangerous_is_shown_to_who_asks_for_it_and_stays_marked", _MUD_CARD): _MUD,
    ("test_the_last_choice_is_a_danger_of_the_kind_that_the_card_names", _MUD_CARD): _MUD,
    ("test_an_outing_is_graded_as_an_old_hand_would", f"{_MUD_CARD}-mud-"): _MUD,
    ("test_what_endangers_an_outing_is_found_for_as_long_as_it_does", f"{_MUD_CARD}-mud-"): _MUD,
    ("test_an_outing_is_graded_as_an_old_hand_would", f"{_BATHERS_CARD}-bay-12"): _BATHERS,
    ("test_what_endangers_an_outing_is_found_for_as_long_as_it_does", f"{_BATHERS_CARD}-bay-12"): _BATHERS,
    ("test_what_must_be_said_is_said_and_what_must_not_is_not", "swell_on_a_sunny_ledge"): _PERIOD,
}


@pytest.fixture(autouse=True)
def _known_faults(request: pytest.FixtureRequest) -> None:
    """Expect a known fault; a card that is answered as it should be after all fails until it is struck off here."""
    name, _, case = request.node.name.partition("[")
    for (test, beginning), reason in FAULTS.items():
        if name == test and case.startswith(beginning):
            request.applymarker(pytest.mark.xfail(reason=reason, strict=True))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Refuse a fault of a card that there is not."""
    strange = [case for _, case in FAULTS if not any(case.startswith(ref) for ref in cards())]
    if strange:
        raise pytest.UsageError(f"faults of no card: {strange}")
