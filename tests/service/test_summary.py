"""A station's tidal character over HTTP: the numbers of the model, and one chart that says the same."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree

import pytest

from service.exports.tide_chart import Line, TideChart, draw_chart
from tests.service.coast import example
from tests.service.problems import problem
from tidecore import TideModel

SVG = {"accept": "image/svg+xml"}
NAMESPACE = "{http://www.w3.org/2000/svg}"


def path(coast) -> str:
    return f"/v1/stations/{coast.station}/summary"


@pytest.fixture(scope="module")
def model():
    given = example("create_station")
    lines = {name: (one["amplitude_m"], one["phase_deg"]) for name, one in given["model"]["constituents"].items()}
    return TideModel.from_constituents(
        lines, latitude=given["latitude"], convention="utide", mean_level=given["model"]["mean_level_m"]
    )


def texts(content: str) -> list[str]:
    """The words of a chart; it must be well-formed XML."""
    return ["".join(one.itertext()) for one in ElementTree.fromstring(content).iter(f"{NAMESPACE}text")]


def test_a_summary_is_the_character_of_the_model(coastal, model):
    client, coast = coastal
    found = client.get(path(coast)).json()
    character = model.character()
    assert (found["station_id"], found["version"], found["name"]) == (coast.station, 1, "Pellwick Roads")
    assert (found["tide_type"], found["cycle"], found["datum"]) == ("semidiurnal", "springs-neaps", "gauge zero")
    assert found["form_number"] == round(character.form_number, 3)
    assert found["mean_range_m"] == round(character.mean_range, 3)
    assert found["mean_spring_range_m"] == round(character.spring_range, 3)
    assert found["mean_neap_range_m"] == round(character.neap_range, 3)
    assert found["mean_neap_range_m"] < found["mean_range_m"] < found["mean_spring_range_m"]
    # (187 - 141) degrees over 1.0159 degrees an hour.
    assert found["phase_age_h"] == 45.3
    # 141 degrees of M2 at 28.984 degrees an hour are 4.86 h; N2, S2 and M4 move the mean by some minutes.
    assert found["high_waters"]["interval_h"] == pytest.approx(141.0 / 28.984, abs=0.25)
    assert found["high_waters"]["mean_height_m"] - found["low_waters"]["mean_height_m"] == pytest.approx(
        found["mean_range_m"], abs=0.0011
    )
    assert found["main_constituents"][:3] == ["M2", "S2", "N2"]
    assert sum(found["main_shares"]) == pytest.approx(1.0, abs=1e-3)
    assert (found["means_start"], found["means_end"]) == ("2001-01-01T00:00:00Z", "2019-08-13T00:00:00Z")
    rests = found["rests_on"]
    assert (rests["source"], rests["convention"], rests["record"]) == ("constituents", "utide", None)
    assert client.get(path(coast), params={"version": 1}).json() == found


def test_the_chart_says_what_the_numbers_say(coastal):
    client, coast = coastal
    numbers = client.get(path(coast)).json()
    response = client.get(path(coast), headers=SVG)
    assert response.headers["content-type"] == "image/svg+xml"
    assert response.headers["content-disposition"].startswith("inline")
    said = texts(response.text)
    for field in ("mean_range_m", "mean_spring_range_m", "mean_neap_range_m", "great_diurnal_range_m"):
        assert f"{numbers[field]:.2f} m" in said, field
    assert f"mean high water {numbers['high_waters']['mean_height_m']:.2f} m" in said
    assert {"Pellwick Roads", "springs", "neaps", "Not for navigation.", "heights in metres above gauge zero"} <= set(
        said
    )
    root = ElementTree.fromstring(response.text)
    assert root.get("role") == "img"
    labels = {one.get("id"): one.text for one in root if one.tag in (f"{NAMESPACE}title", f"{NAMESPACE}desc")}
    assert set((root.get("aria-labelledby") or "").split()) == set(labels)
    assert "Pellwick Roads" in (labels["name"] or "")
    assert "Not for navigation" in (labels["about"] or "")
    # Curves stay on the page.
    for line in root.iter(f"{NAMESPACE}polyline"):
        points = [tuple(map(float, pair.split(","))) for pair in (line.get("points") or "").split()]
        assert len(points) > 100
        assert all(0 <= x <= 900 and 0 <= y <= 660 for x, y in points)


def test_each_form_has_an_etag_and_is_304_while_nothing_changes(coastal, monkeypatch):
    client, coast = coastal
    tags = [client.get(path(coast), headers=headers).headers["etag"] for headers in ({}, SVG)]
    assert tags[0] != tags[1]
    monkeypatch.setattr("service.usecases.summary.tidal_character", lambda *_: pytest.fail("computed"))
    again = client.get(path(coast), headers={**SVG, "if-none-match": tags[1]})
    assert (again.status_code, again.content) == (304, b"")


def test_what_cannot_be_summed_up(coastal):
    client, coast = coastal
    problem(client.get(f"/v1/stations/{coast.bare_station}/summary"), 409, "no-model")
    problem(client.get(path(coast), params={"version": 7}), 404, "not-found")
    found = problem(client.get(path(coast), headers={"accept": "text/csv"}), 406, "not-acceptable")
    assert found["available"] == ["application/json", "image/svg+xml"]


@pytest.mark.parametrize(
    ("lines", "kind", "said"),
    [
        ({"M2": (0.02, 0), "S2": (0.01, 0), "K1": (0.3, 10), "O1": (0.25, 350)}, "diurnal", "tropic tides"),
        ({"M2": (0.6, 0), "S2": (0.2, 0), "K1": (0.3, 10), "O1": (0.25, 350)}, "mixed-semidiurnal", "springs"),
        ({"M2": (1.0, 0), "M4": (0.7, 180)}, "semidiurnal", "100% of tides, 4.8 h apart"),
        ({"M2": (1.0, 0)}, "semidiurnal", "The range does not vary enough to tell two kinds of day apart."),
        ({"M2": (0.004, 0)}, "none", "daily range"),
    ],
)
def test_every_type_of_tide_has_a_summary_and_a_chart(client, lines, kind, said):
    constituents = {name: {"amplitude_m": size, "phase_deg": lag} for name, (size, lag) in lines.items()}
    tide = {"convention": "utide", "datum": "unknown", "mean_level_m": -1.0, "constituents": constituents}
    station = client.post("/v1/stations", json={"name": 'Odd <&> "Bay"', "latitude": 51.0, "model": tide}).json()["id"]
    found = client.get(f"/v1/stations/{station}/summary").json()
    assert found["tide_type"] == kind
    assert (found["high_waters"] is None) == (kind == "none")
    shown = texts(client.get(f"/v1/stations/{station}/summary", headers=SVG).text)
    assert said in shown
    assert {'Odd <&> "Bay"', "heights in metres, datum unknown"} <= set(shown)


def test_a_name_cannot_break_the_chart():
    import numpy as np

    line = Line(np.linspace(-3.5, 11.5, 50), np.sin(np.arange(50.0)))
    chart = TideChart("f", "\x00\x1b</svg>\uffff" + "x" * 300, "k", "d", "springs", "neaps", line, None, None, None,
                      [("mean level", 0.0)] * 12, [], [], "n")  # fmt: skip
    said = texts(draw_chart(chart).content.decode())
    assert any(one.startswith("\ufffd\ufffd</svg>") and len(one) == 60 for one in said)
