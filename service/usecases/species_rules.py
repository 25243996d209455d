"""Species rules: made and read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.errors import NotFound, ReferenceTaken
from service.security import Caller
from service.storage.identifiers import is_id
from service.storage.records import RuleRecord
from service.storage.unit import UnitOfWork
from service.usecases.context import Context
from service.usecases.page import Page, one_page
from tidecore.rules import SpeciesRule


@dataclass(frozen=True, slots=True)
class RuleView:
    """A species rule: its record, and what it says in that version."""

    record: RuleRecord
    rule: SpeciesRule


def create_rule(context: Context, caller: Caller, rule: SpeciesRule, external_ref: str | None) -> RuleView:
    """Make a species rule; ReferenceTaken if another one has the external reference."""
    with context.store.unit(caller.account_id, writes=True) as unit:
        if external_ref is not None:
            holder = unit.species_rules.by_reference(external_ref)
            if holder is not None:
                raise ReferenceTaken("species rule", external_ref, holder.rule_id)
        record = unit.species_rules.add(rule.to_document(), external_ref=external_ref, now=context.clock())
        unit.commit()
    return RuleView(record, context.decoded.keep(record.rule_id, record.version, rule))


def get_rule(context: Context, caller: Caller, rule_id: str) -> RuleView:
    """Return a species rule in its current version; NotFound if the account has none of this id."""
    with context.store.unit(caller.account_id) as unit:
        return find_rules(context, unit, [rule_id])[0]


def list_rules(context: Context, caller: Caller, after: str | None, limit: int) -> Page[RuleView]:
    """Return a page of species rules."""
    with context.store.unit(caller.account_id) as unit:
        page = one_page(lambda most: unit.species_rules.page(after, most), limit, lambda record: record.rule_id)
        return Page(_decode(context, unit, page.items), page.after)


def find_rules(context: Context, unit: UnitOfWork, rule_ids: Sequence[str]) -> list[RuleView]:
    """Return species rules by id, in the order given; NotFound for the first that is not there."""
    found = unit.species_rules.many([rule_id for rule_id in rule_ids if is_id(rule_id)])
    for rule_id in rule_ids:
        if rule_id not in found:
            raise NotFound("species rule", rule_id)
    return _decode(context, unit, [found[rule_id] for rule_id in rule_ids])


def all_rules(context: Context, unit: UnitOfWork, most: int) -> list[RuleView]:
    """Return every species rule of the account, at most ``most`` + 1 of them."""
    return _decode(context, unit, unit.species_rules.page(None, most + 1))


def _decode(context: Context, unit: UnitOfWork, records: Sequence[RuleRecord]) -> list[RuleView]:
    """Return records with their documents; only versions not decoded before are read."""
    known = {record.rule_id: context.decoded.find(SpeciesRule, record.rule_id, record.version) for record in records}
    wanted = [(record.rule_id, record.version) for record in records if known[record.rule_id] is None]
    documents = unit.species_rules.documents(wanted) if wanted else {}
    views = []
    for record in records:
        rule = known[record.rule_id]
        if rule is None:
            document = documents[record.rule_id, record.version]
            rule = context.decoded.keep(record.rule_id, record.version, SpeciesRule.parse(document))
        views.append(RuleView(record, rule))
    return views
