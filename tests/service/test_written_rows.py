"""Rows of the log are written straight from their fields, to the letter as pydantic writes them."""

from __future__ import annotations

from functools import cached_property
from types import SimpleNamespace
from typing import Any

import pytest
from pydantic import Field

from service.storage.plain import write_json
from service.usecases.import_kinds.catches import CatchRow
from service.usecases.import_kinds.known import current
from service.usecases.import_kinds.trips import TripRow
from service.usecases.import_kinds.written import fields_of, write_fields, write_longer
from tests.tidecore.catchlog.trips import BASS, at, cast, catch, deployment, record
from tidecore.catchlog import Catch, TripRecord
from tidecore.documents import Document

OTHERWISE = "otherwise"
FULL = record(
    trip={"notes": 'Ünï\n\t"\\ \u2028 \x80', "slack_seen": ["2026-10-10T19:10:00.000120+01:00"], "target": [BASS]},
    deployments=[
        deployment(
            casts=[cast("18:05", "18:25", bait_back="crabbed")],
            reach={"metres": 1e-7, "known": "guessed"},
            changes=[{"at": at("18:25"), "what": "range"}],
        )
    ],
    bites=[{"at": at("18:20"), "deployment": "a", "kind": "rattle", "outcome": "missed", "precision_min": 15.0}],
    catches=[
        catch(length={"cm": 44, "kind": "total", "precision_cm": 0.1}, weight={"grams": 1234.5, "how": "measured"})
    ],
    corrections=[{"path": "trip.party", "was": [1e22, -0.0, None, {"é": True}], "now": 5e-324, "at": at("18:00")}],
)


@pytest.mark.parametrize("plain", [record(), FULL])
def test_a_trip_is_written_as_it_ever_was(plain):
    row = TripRow.parse({**plain, "client_ref": "one"})
    text = write_fields(fields_of(row, TripRecord), lambda: OTHERWISE)
    assert text == TripRecord.parse(plain).model_dump_json(by_alias=True)


def test_a_document_is_written_by_its_fields_alone():
    class Part(Document):
        in_: int = Field(alias="in")

        @cached_property
        def twice(self) -> int:
            return 2 * self.in_

    class Plain(Document):
        part: Part

        @cached_property
        def thrice(self) -> int:
            return 3 * self.part.in_

    one = Plain.parse({"part": {"in": 7}})
    assert (one.part.twice, one.thrice) == (14, 21)
    assert write_fields({"plain": one}, lambda: OTHERWISE) == '{"plain":{"part":{"in":7}}}'


@pytest.mark.parametrize("odd", ["\ud800", 1 << 64])
def test_what_only_pydantic_writes_is_left_to_it(odd):
    row = TripRow.parse({**FULL, "client_ref": "one", "corrections": [{**FULL["corrections"][0], "now": odd}]})
    assert write_fields(fields_of(row, TripRecord), lambda: OTHERWISE) == OTHERWISE


@pytest.mark.parametrize("plain", [catch(), {**FULL["catches"][0], "notes": "Ünï\n\u2028", "at": at("18:30")}])
def test_a_catch_is_written_as_it_ever_was(plain):
    row = CatchRow.parse({**plain, "ref": "one", "client_ref": "one", "trip": "its"})
    text = write_fields(fields_of(row, Catch), lambda: OTHERWISE)
    assert text == Catch.parse({**plain, "ref": "one"}).model_dump_json(by_alias=True)


@pytest.mark.parametrize("odd", ["plain", "\ud800", 1 << 64])
def test_a_list_gains_what_is_written_already(odd):
    document = {"odd": odd, "catches": [{"a": None}], "last": "é"}
    more = [{"b": 1.5}, {"c": ["é"]}]
    wanted = write_json({**document, "catches": [*document["catches"], *more]})
    assert write_longer(document, "catches", [write_json(one) for one in more]) == wanted


def test_what_is_stored_is_read_whatever_was_written():
    things: Any = SimpleNamespace(texts=lambda records: {one.id: one.text for one in records})
    texts = {"halves": r'{"was":"\ud800","now":"\ud83d\ude00"}', "long": '{"was":1180591620717411303424,"now":1e-7}'}
    named = {name: SimpleNamespace(id=name, text=text) for name, text in texts.items()}
    assert current(things, {**named, "again": named["long"]}) == {
        "halves": {"was": "\ud800", "now": "\U0001f600"},
        "long": {"was": 1 << 70, "now": 1e-7},
    }
    assert current(things, {}) == {}
