"""Documents as they stand and as they were, and reports of imports, as the store keeps them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any, get_args

import pytest
from alembic import command
from pydantic import BaseModel
from sqlalchemy import text
from sqlalchemy.engine import make_url

from service.security import LOCAL_ACCOUNT
from service.storage.engine import open_engine
from service.storage.identifiers import new_id
from service.storage.migrating import _changing, _config, upgrade_store
from service.storage.records import ROW_STATUSES, ImportLine, ImportRun, VersionRecord
from tidecore.place import Mark

NOW = datetime(2026, 3, 1, tzinfo=UTC)
#: The revision before documents lay in the rows of what they are of.
BEFORE = "2026_11_29_log_versions"


def later(minutes: int) -> datetime:
    return NOW + timedelta(minutes=minutes)


def dated(*times: datetime) -> list[VersionRecord]:
    return [VersionRecord(*one) for one in enumerate(times, 1)]


def edited(unit):
    """A method of three versions, and one whose reference alone was changed."""
    first = unit.methods.add({"said": 1}, external_ref="rough", now=NOW, links={})
    second = unit.methods.replace(first, {"said": 2}, external_ref="rough", now=later(1), links={})
    third = unit.methods.replace(second, {"said": 3}, external_ref="rough", now=later(2), links={})
    plain = unit.methods.add({"said": "once"}, external_ref="plain", now=NOW, links={})
    named = unit.methods.replace(plain, None, external_ref="clean", now=later(5), links={})
    return third, named


def everything(unit, third, named):
    keys = [(third.id, number) for number in (0, 1, 2, 3, 4)] + [(named.id, 1), (named.id, 2), ("mth_none", 1)]
    versions = {one.id: unit.methods.versions(one.id) for one in (third, named)}
    return unit.methods.documents(keys), versions, unit.methods.many([third.id, named.id])


def test_what_a_document_said_before_is_kept(house):
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        third, named = edited(unit)
        unit.commit()
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        documents, versions, records = everything(unit, third, named)
        assert documents == {
            **{(third.id, number): {"said": number} for number in (1, 2, 3)},
            (named.id, 1): {"said": "once"},
        }
        assert versions[third.id] == dated(NOW, later(1), later(2))
        assert versions[named.id] == dated(NOW)
        assert records == {third.id: third, named.id: named}
        assert unit.methods.texts([named])[named.id].replace(" ", "") == '{"said":"once"}'


def test_an_edit_of_what_is_not_so_any_more_leaves_no_version(house):
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        first = unit.methods.add({"said": 1}, external_ref=None, now=NOW, links={})
        unit.methods.replace(first, {"said": 2}, external_ref=None, now=later(1), links={})
        assert unit.methods.replace(first, {"said": "late"}, external_ref=None, now=later(2), links={}) is None
        assert unit.methods.versions(first.id) == dated(NOW, later(1))
        assert unit.methods.documents([(first.id, 1), (first.id, 2)]) == {
            (first.id, 1): {"said": 1},
            (first.id, 2): {"said": 2},
        }


def test_documents_and_reports_go_down_and_up_with_the_migrations(house):
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        third, named = edited(unit)
        import_id = an_import(unit)
        unit.imports.advance(
            import_id, [ImportRun(1, ["a", "b"], ["mrk_1", "mrk_2"]), ImportLine(3, "c", "invalid", None, ())]
        )
        before = everything(unit, third, named)
        report = unit.imports.lines(import_id, None, 0, 10)
        unit.commit()
    engine = open_engine(house.settings.store_owner or house.settings.database_url)
    with _changing(engine) as connection:
        command.downgrade(_config(connection), BEFORE)
    upgrade_store(engine, served_as=make_url(house.settings.database_url).username)
    engine.dispose()
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        assert everything(unit, third, named) == before
        assert unit.imports.lines(import_id, None, 0, 10) == report
        # As lines of their own now, as a report of an older version has them.
        assert unit._session.scalar(text("SELECT count(*) FROM import_runs")) == 0


def an_import(unit) -> str:
    job = unit.jobs.add("import", new_id("x12"), {}, NOW)
    given = {"kind": "mark", "format": "csv", "dry_run": False, "body_sha256": "0", "body_bytes": 1}
    return unit.imports.add(new_id("imp"), job_id=job.job_id, given=given, now=NOW).import_id


@pytest.mark.parametrize("limit", [1, 2, 3, 4, 100])
@pytest.mark.parametrize("status", [None, *ROW_STATUSES])
def test_a_report_is_paged_over_runs_and_lines(house, status, limit):
    whole: list[ImportLine] = []

    def made(first: int, count: int) -> ImportRun:
        run = ImportRun(first, [f"ref {first + k}" for k in range(count)], [f"mrk_{first + k}" for k in range(count)])
        pairs = zip(run.client_refs, run.thing_ids, strict=True)
        whole.extend(ImportLine(row, ref, "created", key, ()) for row, (ref, key) in enumerate(pairs, first))
        return run

    def line(row: int, its: str) -> ImportLine:
        found = ImportLine(row, None, its, None, ({"field": "x"},) if its == "invalid" else ())
        whole.append(found)
        return found

    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        import_id, other = an_import(unit), an_import(unit)
        unit.imports.advance(other, [ImportRun(1, ["other"], ["mrk_9"])])
        unit.imports.advance(import_id, [made(1, 5)])
        unit.imports.advance(import_id, [line(6, "invalid"), line(7, "created"), made(8, 1), line(9, "unchanged")])
        unit.imports.advance(import_id, [made(10, 3)])
        unit.imports.advance(import_id, [made(13, 2), line(15, "conflict")])
        found: list[ImportLine] = []
        after = 0
        while page := unit.imports.lines(import_id, status, after, limit):
            assert len(page) <= limit
            found, after = found + page, page[-1].row
        wanted = [one for one in whole if status in (None, one.status)]
        assert [(one.row, one.client_ref, one.status, one.thing_id) for one in found] == [
            (one.row, one.client_ref, one.status, one.thing_id) for one in wanted
        ]
        counted = unit.imports.get(import_id)
        assert (counted.rows, counted.counts["created"], counted.counts["invalid"]) == (15, 12, 1)


def parts_of(model: type[BaseModel]) -> set[type[BaseModel]]:
    """A document and all documents that may lie in it."""
    found, left = {model}, [model]
    while left:
        annotations: list[Any] = [field.annotation for field in left.pop().model_fields.values()]
        while annotations:
            one = annotations.pop()
            annotations += get_args(getattr(one, "__value__", one))
            if isinstance(one, type) and issubclass(one, BaseModel) and one not in found:
                found.add(one)
                left.append(one)
    return found


def test_what_is_left_out_of_a_stored_mark_is_none_when_it_is_read():
    parts = parts_of(Mark)
    assert len(parts) > 10
    for part in parts:
        for name, field in part.model_fields.items():
            if type(None) in get_args(field.annotation):
                assert field.default is None, f"{part.__name__}.{name} would be {field.default!r}"
