"""The beds along a mark's profile are ground of the mark, as much as those that it lists."""

from __future__ import annotations

import pytest

from tests.tidecore.place.marks import document
from tests.tidecore.windows.test_ground import rule
from tidecore.place import Mark
from tidecore.rules import suitability


@pytest.mark.parametrize(
    ("wanted", "suits"), [("clean_sand", True), ("shingle", True), ("mussel", True), ("rough_rock_and_kelp", False)]
)
def test_a_bed_of_the_profile_is_accepted_as_one_of_the_mark(wanted, suits):
    mark = Mark.parse(document(beds=["mussel"]))
    assert rule(wanted).accepts_ground(mark) is suits
    bare = Mark.parse(document(beds=[]))
    assert rule(wanted).accepts_ground(bare) is (suits and wanted != "mussel")


def test_ground_is_unknown_only_where_neither_says_it():
    wants = rule("clean_sand")
    assert suitability(wants, Mark.parse(document(beds=[]))) != "unknown"
    assert suitability(wants, Mark.parse(document(beds=[], species=[], profile=[], peg=None))) == "unknown"
