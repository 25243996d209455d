"""What marks share of a search changes none of their answers."""

from __future__ import annotations

import gc
from typing import Any

import numpy as np
import pytest

from tests.tidecore.conditions.issues import issue
from tests.tidecore.timeline.places import TIDES, mark_at
from tests.tidecore.windows.doubles import rule, trapezoid
from tidecore.conditions import Conditions
from tidecore.model import TideModel
from tidecore.place import Mark
from tidecore.timeline import Timeline, build_timeline, factors
from tidecore.windows import Window, find_windows
from tidecore.windows.axis import Axis
from tidecore.windows.tracks import tracks_of

START, END = "2026-10-05T00:00", "2026-10-08T00:00"
ELSEWHERE = {
    "latitude": 47.0,
    "longitude": 8.0,
    "kind": "estuary",
    "beds": ["mud"],
    "slack_lags": {"after_hw_min": -30, "after_lw_min": 70},
    "stream_rates": {
        "spring_flood_m_per_s": 1.2,
        "spring_ebb_m_per_s": 1.0,
        "neap_flood_m_per_s": 0.6,
        "neap_ebb_m_per_s": 0.5,
    },
}
#: What hangs on the ground of the mark besides is shared by some of the marks of a sea.
SHARING = [name for name, factor in factors().items() if factor.hangs_on is not None and name != "clarity"]


def model() -> TideModel:
    return TideModel.from_constituents(TIDES["large"], latitude=50.0, mean_level=3.0, convention="utide")


def sea(wind: float = 6.0) -> Conditions:
    hours = list(range(-48, 96, 3))
    given: dict[str, Any] = {
        "wave_height_m": [1.0 + 0.6 * np.sin(k / 3) for k in range(len(hours))],
        "wind_speed_m_per_s": [wind + np.cos(k) for k in range(len(hours))],
        "pressure_hpa": [1010.0 + k for k in range(len(hours))],
    }
    return Conditions.of([issue(hours, **given)])


def line(mark: Mark, tide: TideModel, known: Conditions, end: str = END) -> Timeline:
    return build_timeline(mark, tide, START, end, conditions=known)


def asked(corner: float = 0.5) -> Any:
    return rule(
        require=[("wind_speed", trapezoid(None, None, 6.3, 8.0), {})],
        prefer=[
            ("hours_from_hw", trapezoid(-3.0, -1.0, 1.0, 3.0), {}),
            ("wave_height", trapezoid(0.2, corner, None, None), {}),
        ],
        threshold=0.3,
    )


def test_some_factors_are_shared() -> None:
    assert {"hours_from_hw", "range_ratio", "calendar_day", "wind_speed", "sea_trend"} <= set(SHARING)
    assert not {"flow_index", "light", "clarity", "wind_onshore"} & set(SHARING)


@pytest.mark.parametrize("name", SHARING)
def test_marks_that_share_what_a_factor_hangs_on_have_the_same_of_it(name: str) -> None:
    tide, known, factor = model(), sea(), factors()[name]
    here, there = (line(mark_at(**other), tide, known) for other in ({}, ELSEWHERE))
    assert factor.hangs_on is not None
    assert factor.hangs_on(here.sources) is factor.hangs_on(there.sources) is not None
    np.testing.assert_array_equal(here.columns[name], there.columns[name])
    np.testing.assert_array_equal(here.breaks_us([name]), there.breaks_us([name]))


def test_marks_over_beds_that_clear_alike_share_the_clarity() -> None:
    tide, known, hangs_on = model(), sea(), factors()["clarity"].hangs_on
    assert hangs_on is not None
    shingle, structure, sand, mud, estuary = (
        line(mark_at(beds=[bed], kind=kind), tide, known)
        for bed, kind in (
            ("shingle", "open_beach"),
            ("structure", "pier_or_wall"),
            ("clean_sand", "open_beach"),
            ("mud", "open_beach"),
            ("shingle", "estuary"),
        )
    )
    assert hangs_on(shingle.sources) is hangs_on(structure.sources) is not None
    assert hangs_on(mud.sources) is None
    assert len({id(hangs_on(one.sources)) for one in (shingle, sand, estuary)}) == 3
    np.testing.assert_array_equal(shingle.columns["clarity"], structure.columns["clarity"])
    assert (shingle.columns["clarity"] != sand.columns["clarity"]).any()


def told(windows: list[Window]) -> list[str]:
    return [repr(window) for window in windows]


def test_a_mark_finds_alone_what_it_finds_after_others() -> None:
    tide, known = model(), sea()
    first = told(find_windows(asked(), line(mark_at(), tide, known)))
    second = told(find_windows(asked(), line(mark_at(**ELSEWHERE), tide, known)))
    assert first
    assert second
    assert second == told(find_windows(asked(), line(mark_at(**ELSEWHERE), model(), sea())))
    assert first == told(find_windows(asked(), line(mark_at(), tide, known)))


def test_another_sea_another_span_and_another_rule_are_answered_anew() -> None:
    tide, known, mark = model(), sea(), mark_at()
    first = told(find_windows(asked(), line(mark, tide, known)))
    for other, rough, end in ((asked(), sea(7.5), END), (asked(1.4), known, END), (asked(), known, "2026-10-07T05:00")):
        found = told(find_windows(other, line(mark, tide, rough, end)))
        assert found != first
        assert found == told(
            find_windows(other, line(mark_at(), model(), sea(7.5) if rough is not known else sea(), end))
        )


def test_marks_of_one_tide_share_tracks_and_a_sea_let_go_is_forgotten() -> None:
    from tidecore.windows import tracks

    tide, known = model(), sea()
    lines = [line(mark_at(**other), tide, known) for other in ({}, ELSEWHERE)]
    for one in lines:
        Axis([one]).prepare([("range_ratio", "pressure", "sun_altitude")])
    here, there = map(tracks_of, lines)
    assert here.track("range_ratio") is there.track("range_ratio")
    assert here.track("pressure") is there.track("pressure")
    assert here.track("sun_altitude") is not there.track("sun_altitude")
    assert known in tracks._SHARED
    count = len(tracks._SHARED)
    del known, lines, one, here, there
    gc.collect()
    assert len(tracks._SHARED) < count
