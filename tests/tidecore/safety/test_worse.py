"""No outing looks safer for being worse, or for being less known; `tests.tidecore.safety.worse` runs many thousands."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tidecore.safety.worse import check


@settings(max_examples=60)
@given(st.integers(min_value=0, max_value=10**9))
def test_what_is_worse_never_looks_safer_and_what_is_unknown_is_never_forgotten(seed):
    assert check(seed) == []
