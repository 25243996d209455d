"""The invented diary of ten years: the same rows every time, taken in once, and not again."""

from __future__ import annotations

import csv
import io
import json

from demo_stations.make_diary import FIRST, HEADER, LAST, MARKS, rows
from tests.conftest import ROOT
from tests.service.coast import example
from tests.service.conftest import databases, serve  # noqa: F401
from tests.service.importing import CSV, take


def as_csv() -> bytes:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows([HEADER, *rows()])
    return text.getvalue().encode()


def test_ten_years_come_in_twice_without_doubling(serve):  # noqa: F811
    client = serve(workers=0)
    assert client.post("/v1/stations", json=example("create_station")).status_code == 201
    for name in MARKS:
        assert client.post("/v1/marks", json={**example("create_mark"), "external_ref": name}).status_code == 201
    # What a code of FAO stands for, the rules of the account say.
    for path in sorted((ROOT / "demo_stations" / "rules").glob("*.json")):
        assert client.post("/v1/species-rules", json=json.loads(path.read_text("utf-8"))).status_code == 201
    diary = as_csv()
    assert diary == as_csv()
    number = diary.count(b"\n") - 1
    assert number > 500
    done, _ = take(client, diary, CSV, "diary_row")
    assert (done["created"], done["invalid"]) == (number, 0)
    done, _ = take(client, diary, CSV, "diary_row")
    assert (done["created"], done["unchanged"]) == (0, number)
    years = range(FIRST.year, LAST.year + 1)
    assert {row[1][:4] for row in rows()} == {str(year) for year in years}
    outcomes = {row[-2] for row in rows()}
    assert outcomes == {"fished", "blank", "not_fished"}
    exported = client.get("/v1/exports/diary-rows", params={"format": "ndjson"}).text.splitlines()
    assert len(exported) == number
