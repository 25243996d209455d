"""Health: whether the service is ready, and what versions it runs."""

from __future__ import annotations

import platform
from importlib.metadata import version

from service.errors import NotReady, ServiceError
from service.storage.migrating import NEWEST_REVISION, revision_of
from service.usecases.context import Context
from service.usecases.keys import NO_KEY, has_usable_key
from tidecore import NUMERICS, __version__

#: Libraries whose versions an answer about health names.
LIBRARIES = ("fastapi", "numpy", "orjson", "pydantic", "skyfield", "sqlalchemy", "starlette", "utide", "uvicorn")


def check_ready(context: Context) -> dict[str, str]:
    """Return what was checked, name -> finding; NotReady says everything that is missing."""
    missing, found = [], {}
    try:
        context.store.check()
        found["store"] = "answers"
        with context.store.translated():
            revision, newest = revision_of(context.store.engine), NEWEST_REVISION
        if revision != newest:
            missing.append(
                f"the store is at revision {revision}, this version needs {newest}: run `ebbmark db upgrade`"
            )
        else:
            found["schema"] = newest
            if context.settings.auth == "keys":
                if has_usable_key(context):
                    found["access"] = "by API key"
                else:
                    missing.append(NO_KEY)
    except ServiceError as error:
        missing.append(str(error))
    if context.settings.auth == "open":
        found["access"] = "open to this machine alone"
    if missing:
        raise NotReady(missing)
    return found


def list_versions() -> dict[str, str]:
    """Return the version of the service, of its numbers, of Python and of the libraries under it."""
    versions = {"ebbmark": __version__, "numerics": str(NUMERICS), "python": platform.python_version()}
    return versions | {name: version(name) for name in LIBRARIES}
