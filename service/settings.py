"""Every setting of the service, read from the environment with the prefix ``EBBMARK_``."""

from __future__ import annotations

import os
from difflib import get_close_matches
from pathlib import Path
from typing import Literal

from pydantic import Field, ValidationError
from pydantic_settings import BaseSettings, SettingsConfigDict

from service.errors import SettingsInvalid
from service.logs import get_log
from tidecore.documents import expected_by, shown
from tidecore.errors import Fault

log = get_log("settings")

#: The checkout this package lies in; in an installed wheel the folder above the package.
CHECKOUT = Path(__file__).resolve().parents[1]

MEBIBYTE = 1024 * 1024

#: What the names of the variables begin with.
PREFIX = "EBBMARK_"

#: How alike two names are of which one is a slip for the other.
_SLIP = 0.9

#: Requests a minute of one key, unless set.
DEFAULT_RATE = 600


class Settings(BaseSettings):
    """What can be set; a field ``port`` is the variable ``EBBMARK_PORT``. An empty one is as one not set."""

    model_config = SettingsConfigDict(env_prefix=PREFIX, frozen=True, extra="ignore", env_ignore_empty=True)

    auth: Literal["keys", "open"] = Field(
        default="keys",
        description="'open' drops keys for use on this machine alone; 'keys' asks for them.",
    )
    store: str = Field(default="./.ebbmark", description="Folder of the store, or the URL of a database.")
    store_owner: str | None = Field(
        default=None,
        description="URL of a PostgreSQL store as the owner of its tables; migrations run as it, nothing else does.",
    )
    spool: Path | None = Field(
        default=None, description="Folder for uploaded records; by default 'uploads' inside the store folder."
    )
    host: str = Field(default="127.0.0.1", description="Address to listen on.")
    port: int = Field(default=8321, ge=1, le=65535, description="Port to listen on.")
    demo_dir: Path = Field(default=CHECKOUT / "demo_stations", description="Folder of the invented demo coast.")
    log_format: Literal["json", "console"] = Field(default="json", description="How log lines are written.")
    log_level: Literal["debug", "info", "warning", "error"] = Field(default="info", description="Least level logged.")

    max_upload_bytes: int = Field(default=64 * MEBIBYTE, gt=0, description="Largest upload taken.")
    max_import_rows: int = Field(default=1_000_000, gt=0, description="Most rows of one import.")
    max_body_bytes: int = Field(default=MEBIBYTE, gt=0, description="Largest JSON document taken.")
    max_json_depth: int = Field(default=32, gt=0, le=500, description="Deepest nesting of a JSON document.")
    max_points: int = Field(default=200_000, gt=0, description="Most values in one answer (times x stations).")
    max_span_days: float = Field(
        default=7000.0, gt=0, description="Longest span of extremes, all stations together [days]."
    )
    max_timeline_days: float = Field(default=400.0, gt=0, description="Longest span of a timeline [days].")
    max_search_days: float = Field(default=100.0, gt=0, description="Longest span of a window search [days].")
    max_search_cells: int = Field(default=10_000, gt=0, description="Most marks x rules x days in one window search.")
    max_plan_cells: int = Field(default=5_000_000, gt=0, description="Most marks x rules x days in one plan.")
    kept_plans: int = Field(
        default=3, ge=1, description="Plans kept of one series, the newest among them; older ones go."
    )
    max_condition_issues: int = Field(
        default=300, gt=0, description="Most issues of conditions, and most warnings, kept of one place; the oldest go."
    )
    max_condition_values: int = Field(
        default=200_000, gt=0, description="Most values of conditions (times x variables) kept of one place."
    )
    max_condition_bytes: int = Field(
        default=4 * MEBIBYTE, gt=0, description="Largest CSV, NetCDF or XML body of conditions and warnings."
    )
    max_page: int = Field(default=500, gt=0, description="Most items on one page of a list.")

    rate_limit: int | None = Field(
        default=None,
        ge=0,
        description="Most requests a minute of one key, 0 for no limit; unless set 600, and no limit in open mode.",
    )
    rate_burst: int = Field(default=60, ge=1, description="Most requests of one key at once, within the limit.")

    workers: int = Field(
        default=1, ge=0, le=64, description="Worker processes for jobs; with 0 this process only serves."
    )
    plan_workers: int = Field(
        default=0,
        ge=0,
        le=256,
        description="Processes that plans are computed, many records fitted and rows of large imports checked in; "
        "with 0 one for each processor.",
    )
    dask_scheduler: str | None = Field(
        default=None,
        description="Address of a Dask scheduler, as tcp://host:8786, on whose workers this is done instead.",
    )
    job_timeout_s: float = Field(default=1800.0, gt=0, description="Longest a job may run [s].")
    job_lease_s: float = Field(
        default=20.0, gt=0, description="A job whose runner is silent this long is another's to take [s]."
    )
    max_waiting_jobs: int = Field(default=100, gt=0, description="Most jobs of one account queued or running at once.")
    busy_timeout_s: float = Field(default=10.0, gt=0, description="Longest wait for a lock of the store [s].")
    statement_timeout_s: float = Field(default=60.0, gt=0, description="Longest a statement of PostgreSQL may run [s].")

    @property
    def requests_per_minute(self) -> int:
        """Most requests a minute of one key, 0 for no limit."""
        if self.rate_limit is None:
            return 0 if self.auth == "open" else DEFAULT_RATE
        return self.rate_limit

    @property
    def database_url(self) -> str:
        """URL of the database that `store` names."""
        if "://" in self.store:
            return self.store
        return f"sqlite+pysqlite:///{self.store_folder / 'ebbmark.sqlite3'}"

    @property
    def store_folder(self) -> Path:
        """Folder of the store; for a database by URL the folder that holds what is not in it."""
        return Path("./.ebbmark" if "://" in self.store else self.store).resolve()

    @property
    def spool_folder(self) -> Path:
        """Folder that holds uploaded records until their fit ends."""
        return self.spool.resolve() if self.spool is not None else self.store_folder / "uploads"


def read_settings() -> Settings:
    """Return the settings of the environment.

    Raises
    ------
    SettingsInvalid
        With every variable that sets nothing.
    """
    try:
        return Settings()
    except ValidationError as error:
        found = error.errors(include_url=False)
    raise SettingsInvalid([
        Fault(f"{PREFIX}{str(one['loc'][0]).upper()}", f"is {shown(one['input'])}", expected_by(one)) for one in found
    ])  # fmt: skip


def tell_slips() -> None:
    """Log each variable of the environment that sets nothing and is spelled nearly as one that does."""
    known = {f"{PREFIX}{name.upper()}" for name in Settings.model_fields}
    for name in sorted(name for name in os.environ if name.startswith(PREFIX) and name not in known):
        near = get_close_matches(name, known, 1, _SLIP)
        if near:
            log.warning("setting_unknown", setting=name, meant=near[0])
