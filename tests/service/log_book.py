"""Invented trips for tests of the log, and the work of joining them done in this process."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from fastapi.testclient import TestClient

from service.bootstrap import House
from service.jobs.worker import JobTask, Place
from service.storage.records import DONE, JobRecord
from service.usecases.joining import join_stale, look_again
from service.usecases.stale_joins import JOIN
from tests.service.coast import example

BASS = {"scientific_name": "Piscis inventus", "fao_code": "ZZZ", "local_name": "invented fish"}
FLAT = {"scientific_name": "Piscis planus"}
START = dt.datetime(2026, 3, 20, 14, 3, 7, tzinfo=dt.UTC)


def near_and_far(client: TestClient) -> list[str]:
    """Make two marks of one station, called so, and return their ids."""
    station = client.post("/v1/stations", json=example("create_station")).json()["id"]
    return [
        client.post("/v1/marks", json={**example("create_mark"), "station": station, "external_ref": name}).json()["id"]
        for name in ("near", "far")
    ]


def trip_document(
    mark: str,
    start: dt.datetime = START,
    *,
    caught: Sequence[tuple[float, dict[str, Any]]] = ((60.0, BASS), (130.0, FLAT), (131.0, BASS)),
    casts: bool = True,
    **trip: Any,
) -> dict[str, Any]:
    """Two rods over four hours, and what was ``caught``: minutes from the start, and the species."""

    def at(minutes: float) -> str:
        return (start + dt.timedelta(minutes=minutes)).isoformat()

    cast = [{"out": at(7 + 30 * k), "in": at(35 + 30 * k)} for k in range(6)]
    return {
        "trip": {
            "mark": mark,
            "start": at(0),
            "end": at(240),
            "outcome": "fished" if caught else "blank",
            **trip,
        },
        "deployments": [
            {"ref": "near", "rod": "near", "start": at(5), "end": at(230), "casts": cast if casts else []},
            {"ref": "far", "rod": "far", "start": at(20.5), "end": at(200), "casts": cast[1:5] if casts else []},
        ],
        "bites": [{"ref": "first", "at": at(50), "kind": "knock", "outcome": "missed", "deployment": "near"}],
        "catches": [
            {
                "at": at(minutes),
                "species": species,
                "fate": "kept" if place else "returned",
                "deployment": "near",
                "length": {"cm": 30.0 + place, "kind": "total"},
            }
            for place, (minutes, species) in enumerate(caught)
        ],
    }


def active_joins(house: House, account: str) -> list[JobRecord]:
    """The jobs of joining that wait or run."""
    with house.store.unit(account) as unit:
        return [one for one in unit.jobs.page(None, JOIN, None, 100) if one.state in ("queued", "running")]


def do_joins(house: House, account: str, meanwhile: Any = None) -> int:
    """Do the queued job of joining as a runner would, with something done ``meanwhile`` before its end; how many."""
    now = house.context.clock()
    with house.store.queue(writes=True) as queue:
        job = queue.claim([JOIN], "run_test", now, now + dt.timedelta(minutes=5))
    assert job is not None, "no job of joining waits"
    outcome = join_stale(
        JobTask(job.claim, dict(job.input), Place("", database_url=house.settings.database_url)),
        lambda *_: None,
    )
    if meanwhile is not None:
        meanwhile()
    with house.store.unit(account, writes=True) as unit:
        assert unit.jobs.finish(job.claim, DONE, house.context.clock(), result=outcome.result)
        look_again(unit, job, outcome)
        unit.commit()
    assert outcome.result is not None
    done: int = outcome.result["trips"]
    return done
