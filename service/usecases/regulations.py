"""Regulations: the rules on file of an account, by area."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

from service.security import Caller
from service.storage.repositories.documents import Link
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.documents import Documents, DocumentView
from service.usecases.page import Page
from tidecore.catchlog import Regulation

RegulationView = DocumentView[Regulation]


def _settle(_context: Context, _unit: UnitOfWork, rule: Regulation) -> tuple[Regulation, Mapping[str, Link]]:
    return rule, {"area": rule.area}


REGULATIONS = Documents("regulation", "regulation", Regulation, lambda unit: unit.regulations, _settle)


def today(context: Context) -> date:
    """Return the day of the service, by which rules are told to be stale."""
    return context.clock().date()


def list_regulations(
    context: Context, caller: Caller, area: str | None, after: str | None, limit: int, external_ref: str | None
) -> Page[RegulationView]:
    """Return a page of the rules on file, of one ``area`` where it is given, or the one with a reference."""
    if area is None or external_ref is not None:
        found = REGULATIONS.page(context, caller, after, limit, external_ref)
        return Page([one for one in found.items if area in (None, one.document.area)], found.after)
    with context.store.unit(caller.account_id) as unit:
        return REGULATIONS.page_of(context, unit, "area", area, after, limit)


def rules_of_areas(context: Context, unit: UnitOfWork, areas: Iterable[str]) -> list[RegulationView]:
    """Return the rules on file of some areas; none is read where there are none."""
    wanted = sorted(set(areas))
    return REGULATIONS.with_any(context, unit, "area", wanted) if wanted else []
