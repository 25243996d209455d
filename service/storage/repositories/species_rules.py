"""Queries of species rules and of their versions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, select, tuple_

from service.storage.codecs import rule_record
from service.storage.identifiers import new_id
from service.storage.records import RuleRecord
from service.storage.repositories.base import Repository
from service.storage.tables import RuleRow, RuleVersionRow

#: Put together once: a search asks it for every request. The columns are those of the record, in its order.
_MANY = select(RuleRow.rule_id, RuleRow.external_ref, RuleRow.version, RuleRow.created_at, RuleRow.updated_at).where(
    RuleRow.account_id == bindparam("account_id"), RuleRow.rule_id.in_(bindparam("keys", expanding=True))
)


class RuleRepository(Repository):
    """Species rules of one account."""

    def add(self, document: Mapping[str, Any], *, external_ref: str | None, now: datetime) -> RuleRecord:
        """Add a species rule in its first version and return it."""
        row = RuleRow(
            rule_id=new_id("rul"),
            account_id=self._account_id,
            external_ref=external_ref,
            version=1,
            created_at=now,
            updated_at=now,
        )
        self._session.add(row)
        self._session.flush()
        self._session.add(
            RuleVersionRow(
                rule_id=row.rule_id,
                version=1,
                account_id=self._account_id,
                document=dict(document),
                created_at=now,
            )
        )
        self._session.flush()
        return rule_record(row)

    def get(self, rule_id: str) -> RuleRecord | None:
        """Return a species rule in its current version."""
        row = self._session.scalar(self._mine().where(RuleRow.rule_id == rule_id))
        return None if row is None else rule_record(row)

    def many(self, rule_ids: Sequence[str]) -> dict[str, RuleRecord]:
        """Return those of the species rules that there are, by id."""
        found = self._session.connection().execute(_MANY, {"account_id": self._account_id, "keys": list(rule_ids)})
        return {row.rule_id: RuleRecord(*row) for row in found}

    def by_reference(self, external_ref: str) -> RuleRecord | None:
        """Return the species rule that has an external reference."""
        row = self._session.scalar(self._mine().where(RuleRow.external_ref == external_ref))
        return None if row is None else rule_record(row)

    def page(self, after: str | None, limit: int) -> list[RuleRecord]:
        """Return species rules in the order of their ids."""
        return [rule_record(row) for row in self._page(self._mine(), RuleRow.rule_id, after, limit)]

    def documents(self, versions: Iterable[tuple[str, int]]) -> dict[tuple[str, int], dict[str, Any]]:
        """Return the documents of pairs of id and version, those that there are."""
        query = select(RuleVersionRow.rule_id, RuleVersionRow.version, RuleVersionRow.document).where(
            RuleVersionRow.account_id == self._account_id,
            tuple_(RuleVersionRow.rule_id, RuleVersionRow.version).in_(list(versions)),
        )
        return {(key, version): document for key, version, document in self._session.execute(query)}

    def _mine(self) -> Any:
        return select(RuleRow).where(RuleRow.account_id == self._account_id)
