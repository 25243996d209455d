"""The store and its unit of work: rolled back unless it commits, for one account."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime

from sqlalchemy import Engine, text
from sqlalchemy.exc import DBAPIError, IntegrityError, SQLAlchemyError
from sqlalchemy.exc import TimeoutError as PoolTimeout
from sqlalchemy.orm import Session

from service.errors import StoreConflict, StoreUnavailable
from service.logs import get_log
from service.storage.repositories.fits import FitRepository
from service.storage.repositories.jobs import JobQueue, JobRepository
from service.storage.repositories.marks import MarkRepository
from service.storage.repositories.species_rules import RuleRepository
from service.storage.repositories.stations import StationRepository
from service.storage.tables import AccountRow

log = get_log("storage")


class UnitOfWork:
    """What one use case does to the store for one account; nothing stays unless `commit` is called."""

    def __init__(self, session: Session, account_id: str) -> None:
        """Hold the ``session`` and the account."""
        self._session = session
        self.account_id = account_id
        self.stations = StationRepository(session, account_id)
        self.fits = FitRepository(session, account_id)
        self.jobs = JobRepository(session, account_id)
        self.marks = MarkRepository(session, account_id)
        self.species_rules = RuleRepository(session, account_id)

    def commit(self) -> None:
        """Make everything done so far last."""
        self._session.commit()


class Store:
    """A database and the way to work on it."""

    def __init__(self, engine: Engine) -> None:
        """Hold the ``engine``."""
        self.engine = engine

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
        with self._session(writes) as session:
            yield UnitOfWork(session, account_id)

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
    def _session(self, writes: bool) -> Iterator[Session]:
        session = Session(self.engine, expire_on_commit=False)
        try:
            with self.translated():
                session.connection(execution_options={"ebbmark_writes": writes})
                yield session
        finally:
            session.close()

    def ensure_account(self, account_id: str, name: str, now: datetime) -> None:
        """Add an account where it is not there yet."""
        with self._session(True) as session:
            if session.get(AccountRow, account_id) is None:
                session.add(AccountRow(account_id=account_id, name=name, created_at=now))
                session.commit()

    def check(self) -> None:
        """Ask the database something; raises as `unit`."""
        with self._session(False) as session:
            session.execute(text("SELECT 1"))

    @contextmanager
    def queue(self, *, writes: bool = False) -> Iterator[JobQueue]:
        """Open the jobs of all accounts for a runner; what it ``writes`` is committed at the end. Raises as `unit`."""
        with self._session(writes) as session:
            yield JobQueue(session)
            session.commit()

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()


def _reason(error: SQLAlchemyError) -> str:
    """Return the cause without statement or values, which may hold what is private."""
    original = getattr(error, "orig", None)
    return str(original) if original is not None else "no connection came free in time"
