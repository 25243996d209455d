"""The application: settings in, ASGI out."""

from __future__ import annotations

import re
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from functools import cache
from typing import Any

import anyio.to_thread
from fastapi import APIRouter, FastAPI
from starlette.routing import compile_path

from service.api.conditional import MOST_ETAGS
from service.api.contract import DESCRIPTION, build_contract
from service.api.guard import Guard
from service.api.limits import RateLimiter
from service.api.pages import install_pages
from service.api.problems import install_handlers
from service.api.repeated import MOST_ANSWERS
from service.api.v1 import (
    bait_outings,
    changes,
    conditions,
    constituents,
    contact_notes,
    conventions,
    current_fits,
    datums,
    diary_rows,
    exports,
    extremes,
    factors,
    feeds,
    fits,
    flow,
    health,
    heights,
    imports,
    insights,
    jobs,
    mark_charts,
    mark_conditions,
    mark_extremes,
    marks,
    methods,
    month_sheets,
    now,
    official_warnings,
    peg_plans,
    plan_calendars,
    plan_charts,
    plans,
    queryables,
    regulations,
    safety_thresholds,
    sessions,
    slack_notes,
    species_rules,
    stations,
    summary,
    timeline,
    trip_parts,
    trip_regulations,
    trips,
    two_rods,
    water_levels,
    why_not,
    windows,
)
from service.bootstrap import House
from service.logs import configure_logs
from service.settings import Settings, tell_slips
from service.storage.pulse import Remembered
from tidecore import __version__

#: Routers of version 1, in the order of the contract.
ROUTERS: tuple[APIRouter, ...] = (
    stations.router,
    summary.router,
    fits.router,
    heights.router,
    extremes.router,
    flow.router,
    constituents.router,
    datums.router,
    conventions.router,
    marks.router,
    mark_charts.router,
    mark_extremes.router,
    slack_notes.router,
    safety_thresholds.router,
    current_fits.router,
    conditions.router,
    official_warnings.router,
    mark_conditions.router,
    now.router,
    timeline.router,
    water_levels.router,
    queryables.router,
    species_rules.router,
    factors.router,
    methods.router,
    windows.router,
    why_not.router,
    sessions.router,
    peg_plans.router,
    contact_notes.router,
    bait_outings.router,
    plan_calendars.router,
    plans.router,
    plan_charts.router,
    month_sheets.router,
    feeds.router,
    two_rods.router,
    regulations.router,
    trip_regulations.router,
    imports.router,
    trips.router,
    insights.router,
    trip_parts.router,
    diary_rows.router,
    exports.router,
    changes.router,
    jobs.router,
    health.router,
)


def create_app(
    settings: Settings, house: House | None = None, monotonic: Callable[[], float] = time.monotonic
) -> FastAPI:
    """Return the application.

    Parameters
    ----------
    settings : Settings
        Every setting there is.
    house : House, optional
        What the use cases need, if the caller has opened it already, and will close it.
    monotonic : function, optional
        The clock of the rate limits [s].
    """
    configure_logs(settings.log_format, settings.log_level)
    tell_slips()
    mine = house is None
    inside = House(settings) if house is None else house

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        if mine:
            await anyio.to_thread.run_sync(inside.open)
        yield
        if mine:
            await anyio.to_thread.run_sync(inside.close)

    app = FastAPI(
        title="Ebbmark",
        version=__version__,
        description=DESCRIPTION,
        lifespan=lifespan,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
    )
    app.state.house = inside
    app.state.remembered = Remembered(MOST_ETAGS)
    app.state.answers = Remembered(MOST_ANSWERS)
    for router in ROUTERS:
        app.include_router(router, prefix="/v1")
    install_pages(app)
    install_handlers(app)
    per_minute = settings.requests_per_minute
    limiter = RateLimiter(per_minute, settings.rate_burst, monotonic) if per_minute else None
    app.add_middleware(Guard, context=inside.context, limiter=limiter)
    app.openapi = lambda: build_contract(app)  # type: ignore[method-assign]
    app.state.methods = cache(lambda: _methods(build_contract(app)))
    return app


def _methods(contract: dict[str, Any]) -> list[tuple[re.Pattern[str], frozenset[str]]]:
    """Return the methods of every path, for the Allow header; a path without parameters comes before one with."""
    pages = {path: {"get": None} for path in ("/docs", "/redoc", "/problems", "/problems/{slug}", "/openapi.json")}
    paths = {**contract["paths"], **pages}
    return [
        (compile_path(path)[0], frozenset(method.upper() for method in taken))
        for path, taken in sorted(paths.items(), key=lambda item: "{" in item[0])
    ]
