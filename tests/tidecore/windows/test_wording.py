"""Words of reasons."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tidecore.windows.wording import short_score


@pytest.mark.parametrize(
    ("score", "told"), [(0.495, "0.49"), (0.4999, "0.49"), (0.5, "0.50"), (0.29, "0.29"), (0.0, "0.00"), (1.0, "1.00")]
)
def test_a_score_that_falls_short_is_not_told_as_what_is_needed(score, told):
    assert short_score(score) == told


@given(st.floats(0.0, 1.0))
def test_it_is_told_to_a_hundredth(score):
    assert score - 0.01 < float(short_score(score)) <= score + 1e-9
