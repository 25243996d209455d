"""Plans whose server is killed while it works on them: every mark is there once, as in a plan that nobody disturbed."""

from __future__ import annotations

import json
import time
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any

from tests.faults.killed_imports import MOST_KILLS_OF_ONE
from tests.faults.killing import Served
from tests.faults.writers import Connection, read_pages
from tests.service.coast import example

_WHILE_S = 0.2
_PATIENCE_S = 120.0
_ASKED = {"start": "2026-06-01T00:00:00Z", "end": "2026-06-05T00:00:00Z"}


@dataclass(frozen=True)
class PlansTold:
    """What a run of kills of plans came to."""

    kills: int
    plans: int
    marks: int
    done_before: int

    def __str__(self) -> str:
        return (
            f"{self.kills} kills in {self.plans} plans of {self.marks} marks each, {self.done_before} of them done"
            " before a kill"
        )


def run_plan_kills(folder: Path, kills: int, marks: int, seed: int, processes: int = 1) -> PlansTold:
    """Kill the server ``kills`` times while it makes plans of so many marks in ``processes``, at most twice each.

    Each is then made again with nothing known and nobody disturbing it, and must come to the same.
    """
    chance = Random(seed)
    done = plans = done_before = 0
    with Served(folder, workers=1, plan_workers=processes, job_lease_s=1.0) as served:
        with closing(Connection(served.port)) as connection:
            _make_marks(connection, marks)
        while done < kills:
            with closing(Connection(served.port)) as connection:
                place = _ask(connection, plans)
            plans += 1
            for _ in range(min(MOST_KILLS_OF_ONE, kills - done)):
                with closing(Connection(served.port)) as connection:
                    if _await(connection, place, chance.randrange(marks)):
                        break
                    time.sleep(chance.uniform(0.0, _WHILE_S))
                    before = list(read_pages(connection, f"{place}/marks"))
                served.kill()
                done, done_before = done + 1, done_before + len(before)
                served.check_file()
                served.start()
                with closing(Connection(served.port)) as connection:
                    after = {one["mark_id"]: one for one in read_pages(connection, f"{place}/marks")}
                assert all(after[one["mark_id"]] == one for one in before), "a mark that was read has changed"
            with closing(Connection(served.port)) as connection:
                _compare(connection, place, plans - 1, marks)
    return PlansTold(done, plans, marks, done_before)


def _compare(connection: Connection, place: str, number: int, marks: int) -> None:
    """Fail unless a plan that was disturbed is whole, and says what it says when it is made anew."""
    _await(connection, place, None)
    found = _read(connection, place, marks)
    removed = connection.send("DELETE", place, headers={"If-Match": "*"})
    assert removed.status == 204, removed.text
    anew = _ask(connection, number)
    _await(connection, anew, None)
    plan = json.loads(connection.send("GET", anew).text)
    assert plan["marks"] == {"done": marks, "reused": 0, "failed": 0, "changed": 0}, "results outlived their plan"
    assert _read(connection, anew, marks) == found, "a plan that was killed says something else"
    assert connection.send("DELETE", anew, headers={"If-Match": "*"}).status == 204


def _read(connection: Connection, place: str, marks: int) -> list[Any]:
    """Return the sessions of a plan that has every mark once."""
    ids = [one["mark_id"] for one in read_pages(connection, f"{place}/marks")]
    assert len(ids) == len(set(ids)) == marks, "a mark is missing, or there twice"
    sessions = list(read_pages(connection, f"{place}/sessions"))
    assert len({(one["mark_id"], one["key"]) for one in sessions}) == len(sessions), "a session is there twice"
    return sessions


def _make_marks(connection: Connection, marks: int) -> None:
    made = [connection.send("POST", "/v1/stations", example("create_station"))]
    made.append(connection.send("POST", "/v1/species-rules", example("create_species_rule")))
    for number in range(marks):
        mark = {**example("create_mark"), "external_ref": f"ledge-{number}", "latitude": 51.0 + 0.01 * number}
        made.append(connection.send("POST", "/v1/marks", mark))
    assert {one.status for one in made} == {201}, made[-1].text


def _ask(connection: Connection, number: int) -> str:
    asked = connection.send("POST", "/v1/plans", {**_ASKED, "series": f"plan {number}"})
    assert asked.status == 202, asked.text
    return f"/v1/plans/{json.loads(asked.text)['id']}"


def _await(connection: Connection, place: str, marks: int | None) -> bool:
    """Wait until so many marks of a plan are done, or it is at its end; return whether it is at its end."""
    ends = time.monotonic() + _PATIENCE_S
    while True:
        told = json.loads(connection.send("GET", place).text)
        assert told["state"] in ("queued", "running", "done"), told
        if told["state"] == "done" or (marks is not None and told["marks"]["done"] > marks):
            return bool(told["state"] == "done")
        assert time.monotonic() < ends, f"the plan does not go on: {told}"
        time.sleep(0.02)
