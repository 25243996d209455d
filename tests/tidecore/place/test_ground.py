"""The ground of a mark: what it may say, and every contradiction at its own path."""

from __future__ import annotations

import json
import math
import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.tidecore.place.marks import PROFILE, document, faults_of
from tidecore.place import Exposure, Mark


def test_a_mark_in_full_survives_json_and_pickling():
    mark = Mark.parse(document())
    assert Mark.parse(json.loads(json.dumps(mark.to_document()))) == mark
    assert pickle.loads(pickle.dumps(mark)) == mark
    assert hash(mark) == hash(Mark.parse(document()))
    # Whole, as sent: nothing is filled in but what was left out.
    sent, kept = document(), mark.to_document()
    assert kept["profile"] == [{"bed": None, "snag": None, **point} for point in sent["profile"]]
    same = ("facing_degree", "exposure", "peg", "cliff", "regulation_areas", "facilities", "phone_signal")
    assert [kept[name] for name in same] == [sent[name] for name in same]


def test_a_mark_of_before_reads_and_says_that_nothing_more_is_known():
    # As it was stored before marks had a ground.
    old = {
        "name": "Long Ledge", "latitude": 50.25, "longitude": -4.5, "time_zone": "Etc/UTC", "station": "invented-1",
        "kind": "rock_ledge", "beds": ["mussel"], "offsets": None, "slack_lags": None, "stream_rates": None,
        "notes": "",
    }  # fmt: skip
    mark = Mark.parse(old)
    assert (mark.profile, mark.access, mark.way_back, mark.species) == ((), (), (), ())
    assert (mark.ground_datum, mark.facing_degree, mark.exposure, mark.phone_signal) == (None, None, None, None)


def test_beds_of_the_profile_are_beds_of_the_mark():
    mark = Mark.parse(document(beds=["mussel", "shingle"]))
    assert mark.all_beds == ("mussel", "shingle", "shingle_to_sand", "clean_sand")


def test_a_profile_that_runs_backwards_is_refused_wherever_it_does():
    points = [{"distance_m": distance, "level_m": 1} for distance in (0, 10, 5, 5, 20)]
    found = faults_of(profile=points, peg=None)
    assert set(found) == {"profile.2.distance_m", "profile.3.distance_m"}
    assert "5 after 10: the profile runs backwards" in found["profile.2.distance_m"]


@given(st.lists(st.integers(0, 30), min_size=2, max_size=8))
def test_a_profile_is_taken_exactly_if_it_goes_on_seaward(distances):
    points = [{"distance_m": distance, "level_m": -k} for k, distance in enumerate(distances)]
    flawed = {
        f"profile.{k}.distance_m"
        for k, distance in enumerate(distances)
        if k and (distance < distances[k - 1] or [distance] * 3 == distances[max(k - 2, 0) : k + 1])
    }
    if flawed:
        assert set(faults_of(profile=points, peg=None)) == flawed
    else:
        assert len(Mark.parse(document(profile=points, peg=None)).profile) == len(distances)


@pytest.mark.parametrize(("snag", "fits"), [(1, True), (1.0, True), (1.5, False), ("1", False), (True, False)])
def test_a_snag_level_is_a_whole_number(snag, fits):
    points = [{**PROFILE[0], "snag": snag}, *PROFILE[1:]]
    if fits:
        assert Mark.parse(document(profile=points)).profile[0].snag == 1
    else:
        assert set(faults_of(profile=points)) == {"profile.0.snag"}


def test_an_upright_face_has_two_levels():
    face = [{"distance_m": distance, "level_m": level} for distance, level in ((0, 6), (3, 6), (3, -2), (40, -4))]
    assert len(Mark.parse(document(profile=face, peg=None)).profile) == 4
    face[2]["level_m"] = 6
    assert "upright face" in faults_of(profile=face, peg=None)["profile.2.distance_m"]


def test_faults_of_every_part_come_at_once():
    found = faults_of(
        latitude=95,
        facing_degree=400,
        exposure={"from_degree": -1, "to_degree": 400},
        ground_datum={"name": "", "uncertainty_m": -0.1, "source": "x"},
        profile=[{"distance_m": 0, "level_m": 1, "bed": "feathers", "snag": 4}, {"distance_m": 9, "level_m": math.nan}],
        beach_slope=1.5,
        ledge_height_m=-300,
        cliff=["side"],
        species=[{"scientific_name": "Piscis inventus", "fao_code": "pin"}],
        access=[{"kind": "gate", "state": "ajar"}],
        facilities=["toilets", "toilets"],
        regulation_areas=["one", " ", "one"],
        phone_signal="excellent",
        way_back=[{"name": "gully", "lowest_sill_m": 1, "bed": "mud", "length_m": -60, "minutes": 0}],
    )
    assert set(found) == {
        "latitude",
        "facing_degree",
        "exposure.from_degree",
        "exposure.to_degree",
        "ground_datum.name",
        "ground_datum.uncertainty_m",
        "profile.0.bed",
        "profile.0.snag",
        "profile.1.level_m",
        "beach_slope",
        "ledge_height_m",
        "cliff.0",
        "species.0.fao_code",
        "access.0.state",
        "facilities.1",
        "regulation_areas.1",
        "phone_signal",
        "way_back.0.length_m",
        "way_back.0.minutes",
    }


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"facing_degree": 360}, "facing_degree", "less than 360"),
        ({"exposure": {"from_degree": 90, "to_degree": 90}}, "exposure", "no sector"),
        ({"profile": PROFILE[:1], "peg": None}, "profile", "one point"),
        ({"profile": [PROFILE[0]] * 201, "peg": None}, "profile", "200"),
        ({"profile": [], "peg": {"distance_m": 3}}, "peg", "a profile that is not given"),
        ({"peg": {"distance_m": 301}}, "peg.distance_m", "0 to 300 m"),
        ({"peg": {"distance_m": -0.5}}, "peg.distance_m", "off the profile"),
        ({"beach_slope": 0.1}, "beach_slope", "beside a profile"),
        ({"profile": [], "peg": None, "beach_slope": 0.0}, "beach_slope", "0.001"),
        ({"kind": "pier_or_wall", "ledge_height_m": -1}, "ledge_height_m", "pier"),
        ({"ground_datum": {"name": "z", "source": "s", "uncertainty_m": 0.1}}, "ground_datum.uncertainty_m", "known"),
        ({"ground_datum": {"name": "z", "above_datum_m": 0.1}}, "ground_datum.source", "missing"),
        ({"cliff": ["top", "top"]}, "cliff.1", "again"),
        ({"conditions_area": " "}, "conditions_area", "not blank"),
        ({"way_back": [{"name": "x", "lowest_sill_m": 1, "bed": "mud", "length_m": 9, "surveyed": "May"}]},
         "way_back.0.surveyed", "YYYY-MM-DD"),
    ],
)  # fmt: skip
def test_what_no_ground_can_be_is_refused(changes, field, words):
    found = faults_of(**changes)
    assert set(found) == {field}
    assert words in found[field]


def test_a_rock_ledge_may_lie_below_its_zero():
    assert Mark.parse(document(ledge_height_m=-0.4)).ledge_height_m == -0.4


@given(st.integers(0, 359), st.integers(0, 359), st.integers(-720, 720))
def test_an_exposure_goes_clockwise(first, last, direction):
    if first == last:
        return
    walked = [(first + k) % 360 for k in range(360)]
    inside = walked[: walked.index(last) + 1]
    exposure = Exposure.parse({"from_degree": first, "to_degree": last})
    assert exposure.holds(np.array([float(direction)]))[0] == (direction % 360 in inside)


def test_no_wave_comes_from_an_unknown_direction():
    assert not Exposure.parse({"from_degree": 0, "to_degree": 359}).holds(np.array([np.nan]))[0]
