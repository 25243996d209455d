"""From settings to what the use cases need: engine, store, runner and clock, made in one place."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from service.jobs.runner import ProcessRunner
from service.jobs.worker import Place
from service.logs import get_log
from service.security import LOCAL_ACCOUNT
from service.settings import Settings
from service.storage.engine import make_folder, open_engine
from service.storage.migrating import upgrade_store
from service.storage.unit import Store
from service.usecases.context import Context, utc_now
from service.usecases.kinds import KINDS

log = get_log("bootstrap")


class House:
    """The service without HTTP: what is opened together and closed together."""

    def __init__(self, settings: Settings, clock: Callable[[], datetime] = utc_now) -> None:
        """Put the parts together; nothing is opened yet."""
        self.settings = settings
        self._clock = clock
        engine = open_engine(settings.database_url, settings.busy_timeout_s)
        self.store = Store(engine)
        self.runner = ProcessRunner(
            self.store,
            Place(str(settings.spool_folder), settings.max_upload_bytes, settings.database_url),
            clock,
            workers=settings.workers,
            lease_s=settings.job_lease_s,
            timeout_s=settings.job_timeout_s,
            kinds=KINDS,
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
        make_folder(self.store.engine)
        with self.store.translated():
            upgrade_store(self.store.engine)
        self.store.ensure_account(LOCAL_ACCOUNT, "local", self._clock())
        if with_runner and self.settings.workers:
            self.runner.start()

    def close(self) -> None:
        """Stop the runner and close the store."""
        self.runner.stop()
        self.store.close()
