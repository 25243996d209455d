"""From settings to what the use cases need: engine, store, runner and clock, made in one place."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from service.errors import StoreUnavailable
from service.jobs.runner import ProcessRunner
from service.jobs.worker import Place
from service.logs import get_log
from service.security import LOCAL_ACCOUNT
from service.settings import Settings
from service.storage.engine import is_postgresql, make_folder, open_engine
from service.storage.migrating import NEWEST_REVISION, revision_of, upgrade_store
from service.storage.unit import Store
from service.usecases.context import Context, utc_now
from service.usecases.kinds import KINDS
from service.usecases.stale_joins import queue_stale_joins

log = get_log("bootstrap")


def place_of(settings: Settings) -> Place:
    """Return what a worker process needs to know besides the input of a job."""
    return Place(
        str(settings.spool_folder),
        settings.max_upload_bytes,
        settings.database_url,
        settings.plan_workers,
        settings.dask_scheduler,
        settings.kept_plans,
    )


class House:
    """The service without HTTP: what is opened together and closed together."""

    def __init__(self, settings: Settings, clock: Callable[[], datetime] = utc_now) -> None:
        """Put the parts together; nothing is opened yet."""
        self.settings = settings
        self._clock = clock
        engine = open_engine(settings.database_url, settings.busy_timeout_s, settings.statement_timeout_s)
        self.store = Store(engine)
        self.runner = ProcessRunner(
            self.store,
            place_of(settings),
            clock,
            workers=settings.workers,
            lease_s=settings.job_lease_s,
            timeout_s=settings.job_timeout_s,
            kinds=KINDS,
            look_round=lambda: queue_stale_joins(self.context),
        )
        self.context = Context(self.store, self.runner, clock, settings)

    def open(self, *, with_runner: bool = True) -> None:
        """Bring the store up to date, see that the local account is there, and start the runner if wanted.

        With `Settings.workers` at 0 no runner is started: another process runs the jobs.

        Raises
        ------
        StoreUnavailable
            If the store cannot be used.
        """
        if is_postgresql(self.store.engine) and self.settings.store_owner is None:
            self._expect_newest()
        else:
            self.upgrade()
        self.store.check()
        self.store.ensure_account(LOCAL_ACCOUNT, "local", self._clock())
        if with_runner and self.settings.workers:
            self.runner.start()

    def upgrade(self) -> None:
        """Bring the store to the schema of this version: on PostgreSQL as its owner, where that is set.

        Raises
        ------
        StoreUnavailable
            If the store cannot be used.
        """
        engine = self.store.engine
        make_folder(engine)
        owner = self.settings.store_owner
        if owner is None or not is_postgresql(engine):
            with self.store.translated():
                upgrade_store(engine)
            return
        owning = Store(open_engine(owner, self.settings.busy_timeout_s, self.settings.statement_timeout_s))
        try:
            with owning.translated():
                upgrade_store(owning.engine, served_as=engine.url.username)
        finally:
            owning.close()

    def _expect_newest(self) -> None:
        """Refuse a store of another revision, which a service without the owner's rights cannot upgrade."""
        with self.store.translated():
            revision = revision_of(self.store.engine)
        if revision != NEWEST_REVISION:
            raise StoreUnavailable(
                f"it is at revision {revision}, this version needs {NEWEST_REVISION}: run `ebbmark db upgrade`, with "
                "EBBMARK_STORE_OWNER set if the tables have another owner"
            )

    def close(self) -> None:
        """Stop the runner and close the store."""
        self.runner.stop()
        self.store.close()
