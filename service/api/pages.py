"""Pages for people, out of this package alone: coming sessions, the interactive contract, a page a type of problem."""

from __future__ import annotations

import html
import importlib.util
from pathlib import Path

from fastapi import FastAPI
from fastapi.openapi.docs import get_redoc_html, get_swagger_ui_html
from fastapi.responses import FileResponse, HTMLResponse
from fastapi.staticfiles import StaticFiles

from service.api.problem_types import PROBLEMS, Problem
from service.errors import NotFound

_ASSETS = "/docs-assets"
_SHORE = Path(__file__).parent / "shore_page"
#: The page of sessions runs its own script and asks its own service, nothing else.
_SHORE_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
    "img-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'",
    "Cache-Control": "no-cache",
}


def install_pages(app: FastAPI) -> None:
    """Add ``/``, ``/docs``, ``/redoc``, ``/problems`` and ``/problems/{slug}`` to ``app``."""
    app.mount(_ASSETS, StaticFiles(directory=_asset_folder()), name="docs-assets")
    app.mount("/shore", StaticFiles(directory=_SHORE), name="shore")

    @app.get("/", include_in_schema=False)
    def show_sessions() -> FileResponse:
        """Show the coming sessions at a mark; the page asks /v1 for them."""
        return FileResponse(_SHORE / "index.html", headers=_SHORE_HEADERS)

    @app.get("/docs", include_in_schema=False)
    async def show_contract() -> HTMLResponse:
        """Show the contract, to be tried out."""
        return get_swagger_ui_html(
            openapi_url="/openapi.json",
            title="Ebbmark API",
            swagger_js_url=f"{_ASSETS}/swagger-ui-bundle.js",
            swagger_css_url=f"{_ASSETS}/swagger-ui.css",
            swagger_favicon_url=f"{_ASSETS}/favicon.png",
        )

    @app.get("/redoc", include_in_schema=False)
    async def read_contract() -> HTMLResponse:
        """Show the contract, to be read."""
        return get_redoc_html(
            openapi_url="/openapi.json",
            title="Ebbmark API",
            redoc_js_url=f"{_ASSETS}/redoc.standalone.js",
            redoc_favicon_url=f"{_ASSETS}/favicon.png",
            with_google_fonts=False,
        )

    @app.get("/problems", include_in_schema=False)
    async def list_problems() -> HTMLResponse:
        """List every type of problem."""
        return _page("Problems", "".join(_entry(problem) for problem in PROBLEMS.values()))

    @app.get("/problems/{slug}", include_in_schema=False)
    async def show_problem(slug: str) -> HTMLResponse:
        """Explain one type of problem."""
        if slug not in PROBLEMS:
            raise NotFound("problem type", slug, "one of those that /problems lists")
        return _page(PROBLEMS[slug].title, _entry(PROBLEMS[slug]))


def _asset_folder() -> Path:
    found = importlib.util.find_spec("fastapi_offline")
    if found is None or not found.submodule_search_locations:
        raise ModuleNotFoundError("fastapi-offline is not installed; install the extra 'service'")
    return Path(found.submodule_search_locations[0]) / "static"


def _entry(problem: Problem) -> str:
    title, advice = html.escape(problem.title), html.escape(problem.advice)
    heading = f'<h2 id="{problem.slug}"><code>{problem.type}</code></h2>'
    return f"{heading}<p>{title} (status {problem.status}).</p><p>{advice}</p>"


def _page(title: str, body: str) -> HTMLResponse:
    head = f'<meta charset="utf-8"><title>{html.escape(title)}</title>'
    return HTMLResponse(f'<!doctype html><html lang="en"><head>{head}</head><body>{body}</body></html>')
