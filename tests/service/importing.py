"""Imports over HTTP: files are sent, done here where no runner does them, and their reports read whole."""

from __future__ import annotations

import json
import time
from datetime import timedelta

from service.jobs.worker import JobTask, Place, do_work
from service.storage.records import DONE, FAILED
from service.usecases.context import utc_now
from service.usecases.importing import import_rows

NDJSON, CSV, GEOJSON = "application/x-ndjson", "text/csv", "application/geo+json"


def ndjson(*rows):
    return b"".join(json.dumps(row).encode() + b"\n" for row in rows)


def ended(client, place, **headers):
    ends = time.monotonic() + 60.0
    while (found := client.get(place, headers=headers).json())["state"] in ("queued", "running"):
        assert time.monotonic() < ends, "the import is stuck"
        time.sleep(0.02)
    return found


def take(client, content, media_type=NDJSON, kind="mark", **more):
    """Import a file, and return the import at its end and its report; without a runner the work is done here."""
    sent = client.post(
        "/v1/imports", params={"kind": kind, **more}, content=content, headers={"content-type": media_type}
    )
    assert sent.status_code == 202, sent.text
    if client.app.state.house.settings.workers == 0:
        work(client.app.state.house)
    return ended(client, sent.headers["location"]), report(client, sent.headers["location"])


def work(house):
    """Do the job that waits as a runner and its worker do it, in this process."""
    with house.store.queue(writes=True) as queue:
        job = queue.claim(["import"], "run_test", utc_now(), utc_now() + timedelta(minutes=5))
    place = Place(str(house.settings.spool_folder), database_url=house.settings.database_url)
    outcome = do_work(import_rows, JobTask(job.claim, dict(job.input), place), lambda *_: None)
    assert outcome.trace is None, outcome.trace
    with house.store.unit(job.account_id, writes=True) as unit:
        state = DONE if outcome.problem is None else FAILED
        unit.jobs.finish(job.claim, state, utc_now(), result=outcome.result, problem=outcome.problem)
        unit.commit()


def report(client, place, **params):
    lines: list[dict] = []
    cursor: dict[str, str] = {}
    while True:
        page = client.get(f"{place}/rows", params={**params, **cursor}).json()
        lines += page["items"]
        if page["next_cursor"] is None:
            return lines
        cursor = {"cursor": page["next_cursor"]}


def counts(found):
    return [found[name] for name in ("rows", "created", "unchanged", "conflict", "invalid")]


def statuses(lines):
    return [line["status"] for line in lines]
