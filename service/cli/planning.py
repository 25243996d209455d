"""``ebbmark plan``: plans made here and now, for cron, systemd timers and the like: one line, and an exit code."""

from __future__ import annotations

import contextlib
import json
import signal
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from queue import Empty, SimpleQueue
from typing import Any

import typer

from service.api.v1.schemas.plans import PlanCreate
from service.bootstrap import House, place_of
from service.cli.named import ids_of
from service.errors import (
    DocumentInvalid,
    NotFound,
    SearchTooLarge,
    ServiceError,
    SettingsInvalid,
    SpanTooLong,
    StoreUnavailable,
)
from service.jobs.runner import ProcessRunner
from service.logs import configure_logs
from service.security import LOCAL_ACCOUNT, WRITE, Caller
from service.settings import read_settings
from service.storage.records import ACTIVE, DONE, RUNNING, JobRecord
from service.usecases.context import Context, utc_now
from service.usecases.jobs import content_hash, get_job
from service.usecases.kinds import KINDS
from service.usecases.marks import MARKS
from service.usecases.planning import PLAN
from service.usecases.plans import request_plan
from service.usecases.species_rules import SPECIES_RULES
from service.usecases.stations import check_zone
from tidecore.errors import CoreError

#: Days from today on that a plan is of unless told otherwise, and what their series is called.
DAYS, ROLLING = 31, "rolling"
#: Exit codes; of several plans the highest.
ALL_DONE, SOME_FAILED, USAGE, NO_STORE, ANOTHER_RUN, NOT_DONE = range(6)
_POLL_S = 0.1


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the command asks of each account; no account is the local one, and ``everybody`` is all there are.

    Without a ``month`` it is so many ``days`` from today on.
    """

    days: int | None
    month: str | None
    time_zone: str
    mark_ids: Sequence[str] | None
    rule_ids: Sequence[str] | None
    most_per_mark: int | None
    series: str | None
    account: str | None
    everybody: bool


class _Interrupted(Exception):
    """Somebody wants the command to stop: what runs is given back."""


@dataclass(frozen=True, slots=True)
class _Running:
    """The runner of this command: its id, and what asks it to stop."""

    runner_id: str
    stopping: SimpleQueue[int]


def make_plans(wanted: Wanted, *, as_json: bool) -> int:
    """Make the plan of one account, or of all; say what came of each in a line, and return the exit code."""
    try:
        settings = read_settings()
        configure_logs(settings.log_format, "error")
        with contextlib.closing(House(settings)) as house:
            house.open(with_runner=False)
            accounts = _accounts(house, wanted)
            with _running(house) as running:
                codes = [_make_for(house.context, one, wanted, running, as_json=as_json) for one in accounts]
            return max(codes, default=ALL_DONE)
    except (ServiceError, CoreError) as error:
        typer.echo(f"ebbmark: {error}", err=True)
        return _code_of(error)
    except _Interrupted:
        typer.echo("ebbmark: interrupted; what is done is kept, and the next run goes on from there", err=True)
        return NOT_DONE


def _code_of(error: ServiceError | CoreError) -> int:
    """Return the exit code of an error: what was asked wrongly stays wrong, and anything else may pass."""
    if isinstance(error, StoreUnavailable):
        return NO_STORE
    wrong = (DocumentInvalid, NotFound, SettingsInvalid, SearchTooLarge, SpanTooLong, CoreError)
    return USAGE if isinstance(error, wrong) else NOT_DONE


def _make_for(context: Context, account_id: str, wanted: Wanted, running: _Running, *, as_json: bool) -> int:
    """Make the plan of one account; among all of them, what is wrong with one keeps no other from its plan."""
    try:
        return _make_one(context, account_id, wanted, running, as_json=as_json)
    except (ServiceError, CoreError) as error:
        if not wanted.everybody or isinstance(error, StoreUnavailable):
            raise
        typer.echo(f"ebbmark: {account_id}: {error}", err=True)
        return _code_of(error)


def read_month(text: str, now: datetime) -> str:
    """Return a month as 2026-12; ``this`` and ``next`` are by the clock, in UTC."""
    if text not in ("this", "next"):
        return text
    year, number = now.year, now.month + (text == "next")
    return f"{year + number // 13:04}-{(number - 1) % 12 + 1:02}"


def asked_of(wanted: Wanted, now: datetime) -> dict[str, Any]:
    """Return the body of the plan that is wanted, as `PlanCreate` takes it; DocumentInvalid if there is no such zone.

    Days from today on keep the name of their series from night to night, one for each choice of marks and rules, so
    that calendars and changes follow them; a month without a name is a series of its own.
    """
    chosen = {"mark_ids": wanted.mark_ids, "rule_ids": wanted.rule_ids}
    fields: dict[str, Any] = {**chosen, "most_per_mark": wanted.most_per_mark, "series": wanted.series}
    if wanted.month is not None:
        fields |= {"month": read_month(wanted.month, now), "time_zone": wanted.time_zone}
    else:
        here = now.astimezone(check_zone(wanted.time_zone, "time_zone"))
        today = here.replace(hour=0, minute=0, second=0, microsecond=0)
        end = today + timedelta(days=DAYS if wanted.days is None else wanted.days)
        fields |= {"start": today.isoformat(), "end": end.isoformat()}
        fields["series"] = wanted.series or _rolling(**chosen)
    return {name: value for name, value in fields.items() if value is not None}


def _rolling(**chosen: Sequence[str] | None) -> str:
    """Return the name of the series of plans of the coming days of the marks and rules that are chosen."""
    if not any(chosen.values()):
        return ROLLING
    return f"{ROLLING} {content_hash({name: sorted(set(ids or ())) for name, ids in chosen.items()})[:12]}"


@contextlib.contextmanager
def _running(house: House) -> Iterator[_Running]:
    """Run jobs of plans, and of nothing else, in this process; what asks it to stop is put into the queue."""
    settings = house.settings
    runner = ProcessRunner(
        house.store,
        place_of(settings),
        utc_now,
        lease_s=settings.job_lease_s,
        timeout_s=settings.job_timeout_s,
        kinds=KINDS,
        only=(PLAN,),
    )
    stopping: SimpleQueue[int] = SimpleQueue()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda received, _frame: stopping.put(received))
    runner.start()
    try:
        yield _Running(runner.runner_id, stopping)
    finally:
        runner.stop()


def _accounts(house: House, wanted: Wanted) -> list[str]:
    with house.store.across_accounts() as across:
        known = [one.account_id for one in across.accounts.all()]
    if wanted.everybody:
        return known
    account = wanted.account or LOCAL_ACCOUNT
    if account not in known:
        raise NotFound("account", account, "one that `ebbmark accounts list` shows")
    return [account]


def _make_one(context: Context, account_id: str, wanted: Wanted, running: _Running, *, as_json: bool) -> int:
    """Make the plan of one account."""
    caller, began = Caller(account_id, frozenset({WRITE})), utc_now()
    marks = ids_of(context, caller, MARKS, wanted.mark_ids)
    rules = ids_of(context, caller, SPECIES_RULES, wanted.rule_ids)
    fields = asked_of(replace(wanted, mark_ids=marks, rule_ids=rules), began)
    body = PlanCreate.parse(fields)
    # What it is of, as said: a month, or the day it begins.
    of = {"month": fields["month"]} if "month" in fields else {"from": fields["start"][:10]}
    try:
        plan = request_plan(context, caller, body.request())
    except DocumentInvalid as error:
        if not wanted.everybody:
            raise
        # Among all accounts there are some without marks or rules, which want no plan.
        _say({"account_id": account_id, **of, "skipped": str(error)}, as_json=as_json)
        return ALL_DONE
    job = get_job(context, caller, plan.job_id)
    told: dict[str, Any] = {"account_id": account_id, **of, "series": plan.series, "plan_id": plan.plan_id}
    if plan.created_at < began and _held(job) and job.runner_id != running.runner_id:
        _say({**told, "state": "running", "note": "another run is at it"}, as_json=as_json)
        return ANOTHER_RUN
    job = _waited(lambda: get_job(context, caller, plan.job_id), running.stopping)
    told |= {"state": job.state, "seconds": round((utc_now() - began).total_seconds(), 1)}
    if job.state != DONE:
        told["problem"] = None if job.problem is None else job.problem.get("detail")
        _say(told, as_json=as_json)
        return NOT_DONE
    with context.store.unit(account_id) as unit:
        counts = unit.plans.counts(plan.plan_id)
    result = job.result or {}
    told |= {
        "marks": counts.marks,
        "computed": result.get("computed"),
        "reused": counts.reused,
        "failed": counts.failed,
        "changed": counts.changed,
    }
    _say(told, as_json=as_json)
    return SOME_FAILED if counts.failed else ALL_DONE


def _held(job: JobRecord) -> bool:
    """Return whether somebody works on a job, and has been heard of lately."""
    return job.state == RUNNING and job.lease_until is not None and job.lease_until > utc_now()


def _waited(read: Callable[[], JobRecord], stopping: SimpleQueue[int]) -> JobRecord:
    """Return a job once it has ended, with a bar meanwhile where somebody looks on."""
    with _bar() as show:
        while True:
            job = read()
            show(job.progress)
            if job.state not in ACTIVE:
                return job
            with contextlib.suppress(Empty):
                stopping.get(timeout=_POLL_S)
                raise _Interrupted


@contextlib.contextmanager
def _bar() -> Iterator[Callable[[Mapping[str, Any] | None], None]]:
    """Show a bar on standard error if that is a terminal, and nothing otherwise."""
    if not sys.stderr.isatty():
        yield lambda _progress: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("marks"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        shown = bar.add_task("marks", total=None)

        def show(progress: Mapping[str, Any] | None) -> None:
            if progress is not None:
                bar.update(shown, completed=progress["done"], total=progress["total"])

        yield show


def _say(told: Mapping[str, Any], *, as_json: bool) -> None:
    """Say what came of the plan of one account, in one line."""
    if as_json:
        typer.echo(json.dumps(told))
        return
    whose = f"plan {'of ' + told['month'] if 'month' in told else 'from ' + told['from']}, {told['account_id']}"
    if "skipped" in told:
        typer.echo(f"{whose}: none; {told['skipped']}")
    elif told["state"] != DONE:
        why = told.get("note") or told.get("problem") or "no reason was given"
        typer.echo(f"{whose}: {told['state']} ({told['plan_id']}); {why}")
    else:
        marks = f"{told['marks']} {'mark' if told['marks'] == 1 else 'marks'}"
        typer.echo(
            f"{whose}: {told['plan_id']}, {marks}: {told['computed']} computed, {told['reused']} taken "
            f"over, {told['failed']} failed, {told['changed']} changed; {told['seconds']:.1f} s"
        )
