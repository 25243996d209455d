"""Convention "ticon" against gauge records: the constituents of TICON-4 predict better by it than by "utide".

TICON-4: Hart-Davis et al. 2025, SEANOE, doi:10.17882/109129 (CC BY 4.0). Records: University of Hawaii Sea Level Center
(Nuuk, Chatham, Honolulu), Australian Bureau of Meteorology (Hillarys, Portland VIC).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.reference import published, ticon_records
from tidecore.errors import UnknownName
from tidecore.harmonics import Harmonics, constituent_names, lines_of
from tidecore.harmonics.arguments import satellite_sums


@pytest.mark.parametrize("record", ticon_records.RECORDS)
def test_constituents_predict_a_record_better_than_by_the_other_convention(open_data: Path, record: str) -> None:
    slow, fast = ticon_records.missed(open_data, record, "ticon")
    other_slow, other_fast = ticon_records.missed(open_data, record, "utide")
    # Slower than 40 h it is SA that differs: 70 degrees of a seasonal line of some centimetres.
    assert slow < 0.94 * other_slow
    # Faster it is S1 and the small lines, most where S1 is strong.
    assert fast < 0.97 * other_fast


@pytest.mark.parametrize(
    ("record", "within"),
    [
        ("Hillarys 2012-2014", {"S1": 5, "S3": 6, "T3": 5, "R3": 6, "MB2": 12, "SGM": 20, "K1": 3, "M2": 2, "SA": 12}),
        ("Nuuk 2014-2020", {"S1": 5, "S3": 8, "T3": 5, "R3": 6, "MB2": 5, "MA2": 8, "LAMBDA2": 5, "M2": 1, "EP2": 5}),
    ],
)
def test_phase_lags_fitted_to_a_record_are_the_published_ones(
    open_data: Path, record: str, within: dict[str, float]
) -> None:
    """Degrees; a wrong constant of an argument would be 90 or 180 of them, h - p' for h 77."""
    station = ticon_records.RECORDS[record]
    given = published.constituents(open_data / "ticon4")[station]
    latitude = float(published.station_rows(open_data / "ticon4")[station]["latitude"])
    times, levels = ticon_records.hourly(record, open_data)
    times, levels = times[np.isfinite(levels)], levels[np.isfinite(levels)]
    # L2 and N2 cannot be told from the lines of the third degree beside them in a few years.
    names = tuple(name for name in given if name not in ("3L2", "3N2"))
    lines = lines_of("ticon", names)
    waves = np.exp(2j * np.pi * lines.phases(times))
    waves *= lines.node_factors(satellite_sums(times), np.array([latitude]))[0]
    basis = np.hstack((waves.real, -waves.imag, np.ones((len(times), 1))))
    # By normal equations: columns are near orthogonal, and a quarter of the time.
    found = np.linalg.solve(basis.T @ basis, basis.T @ levels)
    lags = -np.degrees(np.angle(found[: len(names)] + 1j * found[len(names) : -1]))
    for name, degrees in within.items():
        off = (lags[names.index(name)] - given[name][1] + 180.0) % 360.0 - 180.0
        assert abs(off) < degrees, name


def test_every_name_of_the_data_set_is_known(open_data: Path) -> None:
    for lines in published.constituents(open_data / "ticon4").values():
        assert set(lines) <= set(constituent_names("ticon"))


def test_the_rest_is_the_same_as_in_the_other_convention() -> None:
    times = np.array(["2026-03-01", "2027-08-09T10:11"], dtype="datetime64[us]")
    for name, other in (("M2", "M2"), ("LAMBDA2", "LDA2"), ("EP2", "EPS2"), ("L2", "L2"), ("MKS2", "MKS2")):
        one, two = (
            Harmonics((n,), np.ones(1), np.zeros(1), 40.0, convention=c).heights(times)
            for n, c in ((name, "ticon"), (other, "utide"))
        )
        assert np.abs(one - two).max() < 1e-12


def test_speeds_are_those_of_the_names() -> None:
    """Degrees an hour: Doodson numbers and mean motions; 3L2 and 3N2 lie between L2, N2 and their neighbours."""
    expected = {
        "S1": 15.0, "S3": 45.0, "T3": 44.9589314, "R3": 45.0410686, "MA2": 28.9430356, "MB2": 29.0251729,
        "MTM": 1.6424078, "MSQM": 2.1139288, "3L2": 29.5331207, "3N2": 28.4350877, "SGM": 12.9271398, "M1": 14.4966939,
        "2MK5": 73.0092771, "2MO5": 71.9112440, "SA": 0.0410686,
    }  # fmt: skip
    names = tuple(expected)
    tide = Harmonics(names, np.ones(len(names)), np.zeros(len(names)), 40.0, convention="ticon")
    assert np.abs(tide.speeds_deg_per_hour - np.array(list(expected.values()))).max() < 4e-7


@pytest.mark.parametrize("name", ["LAM2", "LDA2", "NO1", "RHO", "H1", "Z0"])
def test_names_of_other_conventions_are_refused(name: str) -> None:
    with pytest.raises(UnknownName, match="constituent of convention 'ticon'") as caught:
        Harmonics((name,), np.ones(1), np.zeros(1), 40.0, convention="ticon")
    assert caught.value.known == constituent_names("ticon")
