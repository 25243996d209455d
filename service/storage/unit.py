"""The store and its unit of work: rolled back unless it commits, for one account.

Every transaction begins here, and says in this one place whose rows it may see. On PostgreSQL the policies of
`service.storage.row_security` go by it, whatever a query asks for; on SQLite, which has no such thing, the
repositories alone see to it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Engine, event, text
from sqlalchemy.exc import DBAPIError, IntegrityError, SQLAlchemyError
from sqlalchemy.exc import TimeoutError as PoolTimeout
from sqlalchemy.orm import Session, SessionTransaction

from service.errors import StoreConflict, StoreUnavailable
from service.logs import get_log
from service.storage.engine import is_postgresql
from service.storage.pulse import Pulse
from service.storage.records import CREATED, UPDATED, Change
from service.storage.repositories.answers import AnswerRepository
from service.storage.repositories.changes import ChangeRepository
from service.storage.repositories.conditions import condition_repository, warning_repository
from service.storage.repositories.document_tables import (
    DIARY_ROWS,
    MARKS,
    METHODS,
    REGULATIONS,
    SAFETY_THRESHOLDS,
    SLACK_NOTES,
    SPECIES_RULES,
    TRIPS,
)
from service.storage.repositories.documents import DocumentRepository
from service.storage.repositories.feeds import FeedRepository, FeedTokens
from service.storage.repositories.fits import FitRepository
from service.storage.repositories.imports import ImportRepository
from service.storage.repositories.jobs import JobQueue, JobRepository
from service.storage.repositories.joins import JoinRepository
from service.storage.repositories.keys import AccountRepository, KeyRepository
from service.storage.repositories.log_days import LogDayRepository
from service.storage.repositories.log_months import LogMonthRepository
from service.storage.repositories.log_sums import SumRepository
from service.storage.repositories.plans import PlanRepository
from service.storage.repositories.stations import StationRepository
from service.storage.row_security import ACCOUNT_SETTING, SERVICE_SETTING
from service.storage.tables import AccountRow

log = get_log("storage")

#: Says for the length of a transaction whose rows it may see.
_WHO = text(
    f"SELECT set_config('{ACCOUNT_SETTING}', :account_id, true), set_config('{SERVICE_SETTING}', :service, true)"
)
#: Two units of work that write for one account queue up, as on SQLite; those of different accounts do not.
_QUEUE = text("SELECT pg_advisory_xact_lock(hashtextextended(:account_id, 8321))")
#: What a unit of work that only reads is held to: one moment of the store.
_READS = {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}

#: Codes of PostgreSQL by which it gave up one of two transactions that met, and what is said then.
_MET = {"40001": "another write came between", "40P01": "two writes waited for each other"}


class _AccountSession(Session):
    """A session whose every transaction says whose rows it may see."""

    def __init__(self, engine: Engine, account_id: str, *, service: bool, writes: bool) -> None:
        super().__init__(engine, expire_on_commit=False)
        self.account_id, self.service, self.writes = account_id, service, writes


@event.listens_for(_AccountSession, "after_begin")
def _say_who(session: _AccountSession, _transaction: SessionTransaction, connection: Connection) -> None:
    if connection.dialect.name != "postgresql":
        return
    service = "on" if session.service else "off"
    connection.execute(_WHO, {"account_id": session.account_id, "service": service})
    if session.writes and session.account_id:
        connection.execute(_QUEUE, {"account_id": session.account_id})


class UnitOfWork:
    """What one use case does to the store for one account; nothing stays unless `commit` is called."""

    def __init__(self, session: Session, account_id: str) -> None:
        """Hold the ``session`` and the account."""
        self._session = session
        self.account_id = account_id
        self.stations = StationRepository(session, account_id)
        self.fits = FitRepository(session, account_id)
        self.jobs = JobRepository(session, account_id)
        self.imports = ImportRepository(session, account_id)
        self.marks = DocumentRepository(session, account_id, MARKS)
        self.species_rules = DocumentRepository(session, account_id, SPECIES_RULES)
        self.methods = DocumentRepository(session, account_id, METHODS)
        self.slack_notes = DocumentRepository(session, account_id, SLACK_NOTES)
        self.safety_thresholds = DocumentRepository(session, account_id, SAFETY_THRESHOLDS)
        self.trips = DocumentRepository(session, account_id, TRIPS)
        self.diary_rows = DocumentRepository(session, account_id, DIARY_ROWS)
        self.regulations = DocumentRepository(session, account_id, REGULATIONS)
        self.joins = JoinRepository(session, account_id)
        self.sums = SumRepository(session, account_id)
        self.log_days = LogDayRepository(session, account_id)
        self.log_months = LogMonthRepository(session, account_id)
        self.conditions = condition_repository(session, account_id)
        self.warnings = warning_repository(session, account_id)
        self.plans = PlanRepository(session, account_id)
        self.feeds = FeedRepository(session, account_id)
        self.changes = ChangeRepository(session, account_id)
        self.answers = AnswerRepository(session, account_id)
        self._noted: dict[tuple[str, str], Change] = {}
        #: Kinds of things that were made, many at once and after all that is in the other, their ids, and when.
        self._made: list[tuple[str, Sequence[str], datetime]] = []

    def note(self, change: Change) -> None:
        """Note a change, for the list of changes to have it once this unit of work commits."""
        for kind, ids, now in self._made:
            self._noted.update({(kind, key): Change(kind, key, CREATED, 1, now) for key in ids})
        self._made.clear()
        earlier = self._noted.pop((change.kind, change.thing_id), None)
        if earlier is not None and earlier.change == CREATED and change.change == UPDATED:
            change = change._replace(change=CREATED)
        self._noted[change.kind, change.thing_id] = change

    def note_new(self, kind: str, ids: Sequence[str], now: datetime) -> None:
        """Note that many things were made, each in its first version and not noted before."""
        self._made.append((kind, ids, now))

    def commit(self) -> None:
        """Make everything done so far last; what was noted as changed gets its place in the order of commits here."""
        if self._noted:
            self.changes.add(list(self._noted.values()))
        for kind, ids, now in self._made:
            self.changes.add_made(kind, ids, now)
        self._session.commit()
        self._noted.clear()
        self._made.clear()


class AcrossAccounts:
    """What is done before an account is known, or for all of them: accounts, their keys, tokens of feeds, and nothing
    else."""

    def __init__(self, session: Session) -> None:
        """Hold the ``session``."""
        self._session = session
        self.accounts = AccountRepository(session)
        self.keys = KeyRepository(session)
        self.feeds = FeedTokens(session)

    def commit(self) -> None:
        """Make everything done so far last."""
        self._session.commit()


class Store:
    """A database and the way to work on it."""

    def __init__(self, engine: Engine) -> None:
        """Hold the ``engine``."""
        self.engine = engine
        self.pulse = Pulse(engine)

    @contextmanager
    def unit(self, account_id: str, *, writes: bool = False) -> Iterator[UnitOfWork]:
        """Open a unit of work for an account; it must be said when it ``writes``.

        Raises
        ------
        StoreConflict
            If a constraint refuses what is written.
        StoreUnavailable
            If the store cannot be reached, is locked or full.
        """
        with self._session(writes, account_id) as session:
            yield UnitOfWork(session, account_id)

    @contextmanager
    def across_accounts(self, *, writes: bool = False) -> Iterator[AcrossAccounts]:
        """Open a unit of work on accounts and keys, the only one that is of no account; raises as `unit`."""
        with self._session(writes, "", service=True) as session:
            yield AcrossAccounts(session)

    @contextmanager
    def translated(self) -> Iterator[None]:
        """Say errors of the database in the words of the service; raises as `unit`."""
        try:
            yield
        except IntegrityError as error:
            raise StoreConflict() from error
        except (DBAPIError, PoolTimeout) as error:
            reason = _reason(error)
            log.error("store_unavailable", reason=reason)
            raise StoreUnavailable(reason) from error

    @contextmanager
    def _session(self, writes: bool, account_id: str, *, service: bool = False) -> Iterator[Session]:
        """Open a session: of an account, or for the ``service`` itself, the one way to rows of more than one.

        On PostgreSQL the service sees only tables that are isolated with ``service``: accounts, keys, what is leased.
        """
        session = _AccountSession(self.engine, account_id, service=service, writes=writes)
        options: dict[str, Any] = {"ebbmark_writes": writes}
        if not writes and is_postgresql(self.engine):
            options |= _READS
        # Closing rolls back what is open, and may be the first to hear that the server is gone.
        with self.translated(), closing(session):
            session.connection(execution_options=options)
            yield session

    def ensure_account(self, account_id: str, name: str, now: datetime) -> None:
        """Add an account where it is not there yet; another process may be doing so at this moment."""
        try:
            with self._session(True, "", service=True) as session:
                if session.get(AccountRow, account_id) is None:
                    session.add(AccountRow(account_id=account_id, name=name, created_at=now))
                    session.commit()
        except StoreConflict:
            with self._session(False, "", service=True) as session:
                if session.get(AccountRow, account_id) is None:
                    raise

    def check(self) -> None:
        """Ask the database something, and refuse a role that would see every account's rows; raises as `unit`."""
        with self._session(False, "") as session:
            if not is_postgresql(self.engine):
                session.execute(text("SELECT 1"))
            elif session.scalar(text("SELECT rolsuper OR rolbypassrls FROM pg_roles WHERE rolname = current_user")):
                raise StoreUnavailable(
                    "its role passes by row-level security (SUPERUSER or BYPASSRLS) and would see the rows of every "
                    "account; connect as a role without"
                )

    @contextmanager
    def queue(self, *, writes: bool = False) -> Iterator[JobQueue]:
        """Open the jobs of all accounts for a runner; what it ``writes`` is committed at the end. Raises as `unit`."""
        with self._session(writes, "", service=True) as session:
            yield JobQueue(session)
            session.commit()

    def close(self) -> None:
        """Close every connection."""
        self.pulse.close()
        self.engine.dispose()


def _reason(error: SQLAlchemyError) -> str:
    """Return the cause without statement or values, which may hold what is private."""
    original = getattr(error, "orig", None)
    if original is None:
        return "no connection came free in time"
    code = getattr(original, "sqlstate", None)
    if code in _MET:
        return f"{_MET[code]}; try again"
    # Only the first line of what PostgreSQL says: those below it quote the statement, and may quote values.
    diagnosis = getattr(original, "diag", None)
    return str((diagnosis and diagnosis.message_primary) or str(original).partition("\n")[0] or type(original).__name__)
