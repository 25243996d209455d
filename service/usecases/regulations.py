"""Regulations: the rules on file of an account, by area."""

from __future__ import annotations

from collections.abc import Mapping

from service.storage.repositories.documents import Link
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.documents import Documents, DocumentView
from tidecore.catchlog import Regulation

RegulationView = DocumentView[Regulation]


def _settle(_context: Context, _unit: UnitOfWork, rule: Regulation) -> tuple[Regulation, Mapping[str, Link]]:
    return rule, {"area": rule.area}


REGULATIONS = Documents("regulation", "regulation", Regulation, lambda unit: unit.regulations, _settle)
