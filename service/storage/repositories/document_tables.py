"""The kinds of versioned documents, each with its tables and the prefix of its ids."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Select, bindparam, select

from service.storage.tables import (
    DiaryRowRow,
    DiaryRowVersionRow,
    DocumentRow,
    DocumentVersionRow,
    MarkRow,
    MarkVersionRow,
    MethodRow,
    MethodVersionRow,
    RegulationRow,
    RegulationVersionRow,
    RuleRow,
    RuleVersionRow,
    SafetyThresholdsRow,
    SafetyThresholdsVersionRow,
    SlackNoteRow,
    SlackNoteVersionRow,
    TripRow,
    TripVersionRow,
)


def _many_of(row: type[DocumentRow]) -> Select[str, str | None, int, datetime, datetime]:
    """Return the query of several documents by id; its columns are those of the record, in its order."""
    return select(row.key, row.external_ref, row.version, row.created_at, row.updated_at).where(
        row.account_id == bindparam("account_id"), row.key.in_(bindparam("keys", expanding=True))
    )


@dataclass(frozen=True, slots=True)
class DocumentTables:
    """The two tables of a kind of document, the prefix of its ids, and what is put together once for its queries."""

    prefix: str
    row: type[DocumentRow]
    version_row: type[DocumentVersionRow]
    many: Select[str, str | None, int, datetime, datetime]
    #: Whether documents have a local day, by whose month they are told to be written to.
    dated: bool = False


MARKS = DocumentTables("mrk", MarkRow, MarkVersionRow, _many_of(MarkRow))
SPECIES_RULES = DocumentTables("rul", RuleRow, RuleVersionRow, _many_of(RuleRow))
SLACK_NOTES = DocumentTables("sln", SlackNoteRow, SlackNoteVersionRow, _many_of(SlackNoteRow))
METHODS = DocumentTables("mth", MethodRow, MethodVersionRow, _many_of(MethodRow))
SAFETY_THRESHOLDS = DocumentTables(
    "sft", SafetyThresholdsRow, SafetyThresholdsVersionRow, _many_of(SafetyThresholdsRow)
)
TRIPS = DocumentTables("trp", TripRow, TripVersionRow, _many_of(TripRow), dated=True)
DIARY_ROWS = DocumentTables("dia", DiaryRowRow, DiaryRowVersionRow, _many_of(DiaryRowRow), dated=True)
REGULATIONS = DocumentTables("reg", RegulationRow, RegulationVersionRow, _many_of(RegulationRow))
