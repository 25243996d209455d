"""Issues of conditions and warnings in the store: found by place and span, by an index, and only their account's."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import event, text

from service.security import LOCAL_ACCOUNT
from service.storage.engine import is_postgresql
from service.storage.identifiers import new_id

NOON = datetime(2026, 6, 1, 12, tzinfo=UTC)


@pytest.fixture
def mark(house):
    """A mark in the store."""
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        station = unit.stations.add(
            name="Hollow Point", latitude=51.0, longitude=None, time_zone="Etc/UTC", external_ref=None, public=False,
            now=NOON,
        )  # fmt: skip
        made = unit.marks.add({}, external_ref=None, now=NOON, links={"station_id": station.station_id}).id
        unit.commit()
    return made


def issue(unit, first_day, last_day, mark_id=None, area=None):
    columns = {"kind": "forecast", "source": "harbour", "issued_at": NOON, "valid_until": None, "points": 2}
    begins, ends = NOON + timedelta(days=first_day), NOON + timedelta(days=last_day)
    return unit.conditions.add(
        {"day": first_day}, mark_id=mark_id, area=area, content_hash="0" * 64, summary={}, now=NOON,
        starts_at=begins, ends_at=ends, **columns,
    ).id  # fmt: skip


def warning(unit, sent_day, last_day, mark_id=None, area=None):
    ends = None if last_day is None else NOON + timedelta(days=last_day)
    return unit.warnings.add(
        {}, mark_id=mark_id, area=area, content_hash="0" * 64, summary={}, now=NOON, ends_at=ends,
        identifier=str(sent_day), sender="office", sent_at=NOON + timedelta(days=sent_day),
    ).id  # fmt: skip


def test_issues_are_found_by_place_and_span(house, mark):
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        ended = issue(unit, -9, -2, mark_id=mark)
        running = issue(unit, -1, 6, mark_id=mark)
        of_area = issue(unit, 0, 7, area="north shore")
        elsewhere = issue(unit, 0, 7, area="south shore")
        coming = issue(unit, 5, 9, mark_id=mark)
        unit.commit()
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        found = unit.conditions

        def of(areas, first=None, last=None):
            start, end = (None if day is None else NOON + timedelta(days=day) for day in (first, last))
            return {one.id for one in found.of([mark], areas, start, end)}

        assert of([]) == {ended, running, coming}
        assert of(["north shore"]) == {ended, running, coming, of_area}
        assert of(["north shore"], 0, 4) == {running, of_area}
        # What ends at the start still says something there; what begins at the end is outside.
        assert of([], -2, 5) == {ended, running}
        assert [one.id for one in found.at(None, "south shore")] == [elsewhere]
        assert [one.id for one in found.at(mark, None)] == sorted([ended, running, coming])
        assert found.documents([running, of_area]) == {running: {"day": -1}, of_area: {"day": 0}}
        assert found.documents([]) == {}
        everything = sorted([ended, running, of_area, elsewhere, coming])
        assert [one.id for one in found.page(everything[0], 2)] == everything[1:3]


def test_a_warning_without_an_end_is_found_from_when_it_was_sent(house, mark):
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        endless = warning(unit, 0, None, mark_id=mark)
        short = warning(unit, 0, 1, mark_id=mark)
        anywhere = warning(unit, 0, 1)
        unit.commit()
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        later, last = NOON + timedelta(days=20), NOON + timedelta(days=21)
        assert [one.id for one in unit.warnings.of([mark], [], later, last)] == [endless]
        assert {one.id for one in unit.warnings.of([mark], [], NOON, last)} == {endless, short}
        assert [one.id for one in unit.warnings.unplaced(NOON, last)] == [anywhere]
        assert unit.warnings.unplaced(later, last) == []


def test_rows_of_another_account_are_not_there(house, mark):
    with house.store.unit(LOCAL_ACCOUNT, writes=True) as unit:
        mine = issue(unit, 0, 1, area="north shore")
        unit.commit()
    other = new_id("acc")
    house.store.ensure_account(other, "other", NOON)
    with house.store.unit(other, writes=True) as unit:
        assert unit.conditions.get(mine) is None
        assert unit.conditions.of([mark], ["north shore"], None, None) == []
        assert unit.conditions.documents([mine]) == {}
        unit.conditions.remove([mine])
        unit.commit()
    with house.store.unit(LOCAL_ACCOUNT) as unit:
        assert unit.conditions.get(mine) is not None


def plans(house, ask):
    """The plan of every query that ``ask`` makes of a unit of work."""
    asked = []

    def note(_connection, _cursor, statement, parameters, _context, _many):
        if "FROM condition_issues" in statement or "FROM official_warnings" in statement:
            asked.append((statement, parameters))

    event.listen(house.store.engine, "before_cursor_execute", note)
    try:
        with house.store.unit(LOCAL_ACCOUNT) as unit:
            ask(unit)
    finally:
        event.remove(house.store.engine, "before_cursor_execute", note)
    postgresql = is_postgresql(house.store.engine)
    with house.store.engine.connect() as connection:
        if postgresql:
            # A table of a few rows is read whole, whatever its indexes.
            connection.execute(text("SET LOCAL enable_seqscan = off"))
        explain = "EXPLAIN " if postgresql else "EXPLAIN QUERY PLAN "
        return [
            "\n".join(str(row) for row in connection.exec_driver_sql(explain + statement, parameters))
            for statement, parameters in asked
        ]


def test_what_is_told_of_places_is_found_by_an_index(house, mark):
    span = (NOON, NOON + timedelta(days=14))

    def ask(unit):
        for repository in (unit.conditions, unit.warnings):
            repository.of([mark, new_id("mrk")], ["north shore", "south shore"], *span)
            repository.of([mark], ["north shore"], None, None)
            repository.at(mark, None)
            repository.at(None, "north shore")
            repository.page(None, 10)
            repository.get(new_id("cnd"))

    found = plans(house, ask)
    assert len(found) == 2 * 8
    for plan in found:
        assert "USING INDEX" in plan or "Index" in plan, plan
        assert "SCAN condition" not in plan, plan
        assert "SCAN official" not in plan, plan
        assert "Seq Scan" not in plan, plan
    by_place = [plan for plan in found if "mark_id_ends_at" in plan or "area_ends_at" in plan]
    assert len(by_place) >= 2 * 6, found
